"""The record as a table: CSV after RFC 4180, one row a visit. UTF-8 without a byte order mark, lines end
in CR LF.

Times are ISO 8601 with UTC offset, durations are seconds with three decimals. Words that people typed get an
apostrophe in front where a spreadsheet would take them for a formula.
"""

import csv
import io
import json
from collections.abc import Iterable, Iterator

from benchguide.review.lines import StepLine, VisitLine
from benchguide.review.record import Record
from benchguide.session.moment import Moment

#: every column of the table: name, type (XML Schema datatype as CSV on the Web uses it), meaning
COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("session", "string", "Identifier of the session"),
    ("job", "string", "Job number"),
    ("device", "string", "Device as named in its part map"),
    ("procedure", "string", "Title of the procedure"),
    ("revision", "integer", "Revision of the procedure"),
    ("visit", "integer", "Number of the visit within the session, from 1"),
    ("person", "string", "Who was at the bench when the visit began"),
    ("step_number", "integer", "Place of the step in the plan, from 1"),
    ("step", "string", "Short name of the step"),
    ("stage", "string", "Stage of the job"),
    ("action", "string", "What the step does"),
    ("visit_of_step", "integer", "Which visit to this step, from 1"),
    ("why", "string", "next, back, again or chosen"),
    ("began", "dateTime", "Start of the visit, ISO 8601 with UTC offset"),
    ("ended", "dateTime", "End of the visit; empty while it goes on"),
    ("touch_s", "decimal", "Hands at work, seconds"),
    ("waiting_s", "decimal", "Heat, cure or soak, seconds"),
    ("hold_s", "decimal", "Interruptions with a reason, seconds"),
    ("asleep_s", "decimal", "The machine slept, seconds"),
    ("away_s", "decimal", "The program was closed, seconds"),
    ("total_s", "decimal", "Sum of the five durations, seconds"),
    ("time_doubtful", "boolean", "true where only the wall clock could be used"),
    ("expected_low_s", "integer", "Shortest usual touch time of the step, seconds"),
    ("expected_high_s", "integer", "Longest usual touch time of the step, seconds"),
    ("step_state", "string", "open, done or skipped at the end of the record"),
    ("photos", "integer", "Photos taken during the visit"),
    ("notes", "string", "Notes of the visit, separated by ' | '"),
    ("holds", "string", "Reasons of holds begun during the visit, separated by ' | '"),
    ("waivers", "string", "Waivers given during the visit, separated by ' | '"),
)

#: a cell that begins with one of these is read as a formula by spreadsheets; full-width forms as well
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def table(record: Record) -> bytes:
    """The CSV file."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, dialect="excel", lineterminator="\r\n")
    writer.writerow(name for name, _, _ in COLUMNS)
    writer.writerows(_rows(record))
    return out.getvalue().encode("utf-8", "replace")


def description(csv_name: str) -> bytes:
    """What the columns mean, as W3C CSV on the Web metadata (JSON), to lie beside the table."""
    return description_of(csv_name, COLUMNS, ["session", "visit"])


def description_of(csv_name: str, columns: Iterable[tuple[str, str, str]], key: list[str]) -> bytes:
    """The same for any table: columns as name, datatype and meaning, and those that name a row."""
    described = [
        {"name": name, "titles": name, "datatype": kind, "dc:description": meaning}
        for name, kind, meaning in columns
    ]
    document = {
        "@context": "http://www.w3.org/ns/csvw",
        "url": csv_name,
        "dialect": {"encoding": "utf-8", "header": True, "delimiter": ",", "lineTerminators": ["\r\n"]},
        "tableSchema": {"columns": described, "primaryKey": key},
    }
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def guarded(text: str) -> str:
    """Free text with an apostrophe in front where a spreadsheet would take it for a formula."""
    if text.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA):
        return "'" + text
    return text


def _rows(record: Record) -> Iterator[list[object]]:
    by_id = {line.step.id: line for line in record.steps}
    of_step: dict[str, int] = {}
    for visit in record.visits:
        step = visit.visit.step
        of_step[step] = of_step.get(step, 0) + 1
        yield [*_head(record), *_visit(visit, by_id.get(step), of_step[step])]


def _head(record: Record) -> list[object]:
    revision = record.state.job.procedure.revision
    return [record.session, guarded(record.job), guarded(record.device), guarded(record.title), revision]


def _visit(line: VisitLine, step: StepLine | None, nth: int) -> list[object]:
    visit = line.visit
    plan = step.step if step else None
    return [
        line.number,
        guarded(line.by),
        line.step_number or "",
        visit.step,
        plan.stage.value if plan else "",
        plan.action.value if plan else "",
        nth,
        visit.why,
        iso_time(visit.began),
        iso_time(visit.ended) if visit.ended else "",
        *(
            _seconds(us)
            for us in (visit.touch_us, visit.waiting_us, visit.hold_us, visit.asleep_us, visit.away_us)
        ),
        _seconds(visit.total_us),
        "true" if visit.doubtful else "false",
        *(plan.time_s if plan else ("", "")),
        step.mark.value if step else "",
        line.photos,
        _joined(line.notes),
        _joined(line.holds),
        _joined(line.waivers),
    ]


def iso_time(at: Moment) -> str:
    """A moment, ISO 8601 to the millisecond with UTC offset."""
    return at.wall.isoformat(timespec="milliseconds")


def _seconds(microseconds: int) -> str:
    """Seconds to the millisecond, without passing through a float."""
    whole, rest = divmod(round(microseconds / 1000), 1000)
    return f"{whole}.{rest:03d}"


def _joined(texts: Iterable[str]) -> str:
    return guarded(" | ".join(texts))
