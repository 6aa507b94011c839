"""A record and the list of sessions as rows of words for the records room. No widgets, no reading."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchguide.review.exceptions import exceptions_of
from benchguide.review.record import Record
from benchguide.review.seen import (
    ComparedLine,
    MatCell,
    comparisons_of,
    mat_readings_of,
    measured_of,
    poor_photos_of,
)
from benchguide.review.timeline import timeline_of
from benchguide.review.words import clock, count, day_and_time, span, span_range
from benchguide.session.state import Mark
from benchguide.store.tables import SessionRow
from benchguide.window.records_past import Past
from benchguide.window.records_rows import Row

#: the words of a comparison in the row of its as-left photo begin with one of these
COMPARED = ("May differ", "Cannot tell", "No place stood out")


@dataclass(frozen=True, slots=True)
class Summary:
    """What the list shows beyond the quick row of the store."""

    times: str
    exceptions: int
    status: str


def summary_of(record: Record) -> Summary:
    """The figures of one record in words."""
    t = record.times
    times = f"touch {span(t.touch_s)} · waiting {span(t.waiting_s)} · hold {span(t.hold_s)}"
    found = [e for e in exceptions_of(record) if e.kind != "open"]
    return Summary(times, len(found), record.status_words)


def session_row(row: SessionRow, summary: Summary | None, trouble: str = "") -> Row:
    """One session; its times come when it has been read."""
    state = "given up" if row.abandoned else row.state
    who = " · ".join(x for x in (row.device, row.person, _day(row.started)) if x)
    photos = count(row.photos, "photo")
    if trouble:
        last = f"{photos} · {trouble}"
    elif summary:
        last = f"{summary.times} · {photos} · {count(summary.exceptions, 'exception')}"
    else:
        last = photos
    strong = f"{row.job}  {row.procedure}" if row.job or row.procedure else row.session_id
    return Row(row.session_id, strong, summary.status if summary else state, (who, last))


def found_by(row: SessionRow, text: str) -> bool:
    """Whether every word of the search stands somewhere in the row."""
    state = "given up" if row.abandoned else row.state
    hay = " ".join((row.job, row.device, row.procedure, row.person, row.started, state)).casefold()
    return all(word in hay for word in text.casefold().split())


def _day(rfc3339: str) -> str:
    try:
        return f"{datetime.fromisoformat(rfc3339):%Y-%m-%d %H:%M}"
    except ValueError:
        return rfc3339


def heading(record: Record) -> str:
    """Device, persons, start and end."""
    began = day_and_time(record.facts[0].at)
    ended = f" to {clock(record.state.ended)}" if record.state.ended else ""
    return f"{record.device} · {', then '.join(record.persons)} · {began}{ended} · {record.status_words}"


def figures(record: Record) -> str:
    """The figures on top of a record, in one sentence."""
    t = record.times
    done = sum(s.mark is Mark.DONE for s in record.steps)
    skips = f", {len(record.skips)} skipped" if record.skips else ""
    parts = (
        f"{done} of {len(record.steps)} steps done{skips}",
        f"touch {span(t.touch_s)}, planned {span_range(*record.expected_s)}",
        f"waiting {span(t.waiting_s)}",
        f"hold {span(t.hold_s)}",
        count(len(record.photos), "photo"),
        "log unaltered" if record.chain.verified else "LOG ALTERED",
    )
    # lines break between figures only
    return " · ".join(part.replace(" ", "\u00a0") for part in parts)


def exception_rows(record: Record) -> list[Row]:
    """Everything out of the ordinary."""
    numbers = {s.step.id: s for s in record.steps}
    rows = []
    for n, e in enumerate(exceptions_of(record)):
        step = numbers.get(e.step)
        soft = [f"“{e.said}”"] if e.said else []
        if step:
            soft.append(f"Step {step.number}: {step.step.text}")
        rows.append(Row(str(n), e.sentence, clock(e.at) if e.at else "", tuple(soft), e.kind))
    if not rows:
        text = "That says how the job was logged, not how well it was done."
        rows.append(Row("none", "Nothing in this record differs from the plan.", "", (text,)))
    return rows


def time_rows(record: Record, past: Past | None = None) -> list[Row]:
    """Every step with its times beside the plan and beside past jobs of the same procedure."""
    widest = max((max(s.times.touch_s, float(s.step.time_s[1])) for s in record.steps), default=1.0) or 1.0
    rows = []
    for s in record.steps:
        bar = (s.times.touch_s / widest, s.step.time_s[0] / widest, s.step.time_s[1] / widest)
        parts = [f"touch {span(s.times.touch_s)}", f"plan {span_range(*s.step.time_s)}"]
        if s.times.waiting_s:
            parts.append(f"waiting {span(s.times.waiting_s)}")
        if s.times.hold_s:
            parts.append(f"hold {span(s.times.hold_s)}")
        if s.visits > 1:
            parts.append(f"{s.visits} visits")
        lines = (" · ".join(parts), past.words(s.step.id)) if past else (" · ".join(parts),)
        words = s.mark.value if s.pace == "not done" else f"{s.mark.value}, {s.pace}"
        rows.append(Row(s.step.id, s.step.text, words, lines, f"{s.number}", bar=bar))
    return rows


def photo_rows(record: Record) -> list[Row]:
    """Photos in the order of the plan: as-found, as-left, others of each step; what was wrong, what may differ."""
    poor = {line.photo.sha256: line for line in poor_photos_of(record)}
    compared = {line.as_left: line for line in comparisons_of(record)}
    rows = []
    for s in record.steps:
        for p in s.photos:
            soft = [s.step.text]
            if p.sha256 in compared:
                line = compared[p.sha256]
                # a card has room for one line: what should be looked at comes first
                soft.insert(0 if line.candidates or not line.aligned else 1, _compared_words(line))
            if p.sha256 in poor:
                soft.insert(0, f"Poor: {poor[p.sha256].faults}; {poor[p.sha256].became}.")
            title = f"Step {s.number}, {p.purpose}"
            rows.append(Row(p.sha256, title, clock(p.at), tuple(soft), photo=p.sha256))
    return rows


def _compared_words(line: ComparedLine) -> str:
    if not line.aligned:
        return f"{COMPARED[1]} what differs: {line.why}"
    if not line.candidates:
        return f"{COMPARED[2]} beside as-found."
    answers = dict.fromkeys(each.answer or "not answered" for each in line.candidates)
    return f"{COMPARED[0]}: {count(len(line.candidates), 'place')}, {', '.join(answers)}."


def timeline_rows(record: Record) -> list[Row]:
    """What happened, one row an entry; a photo stands in its row."""
    numbers = {s.step.id: s for s in record.steps}
    rows = []
    for n, e in enumerate(timeline_of(record)):
        step = numbers.get(e.step)
        soft = [f"“{e.said}”"] if e.said else []
        if step and e.kind == "step":
            soft.append(f"{step.number}: {step.step.text}")
        right = f"step {step.number}" if step and e.kind != "step" else ""
        rows.append(Row(str(n), e.text, right, tuple(soft), clock(e.at), e.photo))
    return rows


def proof_rows(record: Record) -> list[Row]:
    """Readings, answers, countdowns and pieces accounted for."""
    return [
        *_reading_rows(record),
        *_answer_rows(record),
        *_countdown_rows(record),
        *_count_rows(record),
        *_mat_rows(record),
    ] or [Row("none", "Nothing was measured, tested or counted.")]


def _step_words(record: Record, step: str) -> str:
    number = record.state.index.get(step, -1) + 1
    return f"step {number}" if number else ""


def _reading_rows(record: Record) -> Iterator[Row]:
    for n, r in enumerate(record.readings):
        within = {None: "no limits", True: "within its limits", False: "OUTSIDE its limits"}[r.within]
        soft = f"{within} ({r.limits})" + (", measured again later" if r.replaced else "")
        yield Row(
            f"r{n}",
            f"{r.quantity}: {r.value:g} {r.unit}",
            _step_words(record, r.step),
            (soft, r.by),
            clock(r.at),
        )


def _answer_rows(record: Record) -> Iterator[Row]:
    for n, a in enumerate(record.answers):
        before = f"before that: {', '.join(a.before)}" if a.before else ""
        yield Row(f"a{n}", f"{a.text} - {a.answer}", _step_words(record, a.step), (before, a.by), clock(a.at))


def _countdown_rows(record: Record) -> Iterator[Row]:
    for n, c in enumerate(record.countdowns):
        how = {"rang": "ran its time", "running": "still running"}.get(
            c.how, f"stopped after {span(c.ran_s or 0)}"
        )
        reason = f"“{c.reason}”" if c.reason else ""
        text = f"{c.kind} time of {span(c.planned_s)}: {how}"
        yield Row(f"c{n}", text, _step_words(record, c.step), (reason,), clock(c.at))


def _count_rows(record: Record) -> Iterator[Row]:
    parts = record.state.job.device.by_id
    for n, r in enumerate(record.reconciled):
        text = f"{r.pieces} x {parts[r.part].name}: {r.what.replace('-', ' ')}"
        yield Row(f"p{n}", text, "", (f"“{r.reason}”", r.name), clock(r.at))


def photo_order(rows: Sequence[Row]) -> list[Row]:
    """The rows that hold a photo, for turning pages."""
    return [row for row in rows if row.photo]


def _mat_rows(record: Record) -> Iterator[Row]:
    """Readings of the parts mat beside the ledger, and screws that were measured."""
    for n, line in enumerate(mat_readings_of(record)):
        cells = [f"{cell.told}{_lengths(cell)}" for cell in line.telling]
        empty = len(line.cells) - len(cells)
        if empty:
            cells.append(f"{count(empty, 'cell')} empty, as in the ledger.")
        title = f"Parts mat beside the ledger, {line.paper}"
        where = _step_words(record, line.step)
        yield Row(f"mat{n}", title, where, (*cells, *line.warnings), clock(line.at))
    for n, screw in enumerate(measured_of(record)):
        name = record.state.job.device.by_id[screw.part].name
        told = f"{screw.length_mm:.1f} ± {screw.sigma_mm:.1f} mm: {screw.verdict}"
        soft = (screw.told,) if screw.told else ()
        where = _step_words(record, screw.step)
        yield Row(f"screw{n}", f"Screw for {name}: {told}", where, soft, clock(screw.at))


def _lengths(cell: MatCell) -> str:
    """The measured lengths of a cell."""
    told = ", ".join(f"{mm:.1f} ± {sigma:.1f} mm" for _kind, mm, sigma in cell.lengths)
    return f" {told}." if told else ""
