"""What the camera saw, as a second table: CSV after RFC 4180, one row a poor photo, comparison, difference or cell.

Same conventions as table.py; a row belongs to the visit whose number it carries.
"""

import csv
import io
from collections.abc import Iterator

from benchguide.review.record import Record
from benchguide.review.seen import (
    Candidate,
    ComparedLine,
    MatCell,
    MatLine,
    MeasuredLine,
    PoorLine,
    comparisons_of,
    mat_readings_of,
    measured_of,
    poor_photos_of,
)
from benchguide.review.table import description_of, guarded, iso_time
from benchguide.session import events as ev
from benchguide.session.moment import Moment

#: every column: name, type (XML Schema datatype as CSV on the Web uses it), meaning
SEEN_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("session", "string", "Identifier of the session"),
    ("job", "string", "Job number"),
    ("row", "integer", "Number of the row within the session, from 1"),
    ("visit", "integer", "Newest visit to the step by then, as numbered in the table of visits"),
    ("at", "dateTime", "When it was told, ISO 8601 with UTC offset"),
    ("person", "string", "Who was at the bench"),
    ("step", "string", "Short name of the step"),
    ("kind", "string", "poor photo, comparison, difference, mat cell or screw"),
    ("photo", "string", "SHA-256 of the photo it was seen on"),
    ("beside", "string", "SHA-256 of the as-found photo it was compared with"),
    ("number", "integer", "Number of the difference on the photo, from 1"),
    ("x", "decimal", "Box of the difference in pixels of the photo: left"),
    ("y", "decimal", "top"),
    ("width", "decimal", "width"),
    ("height", "decimal", "height"),
    ("score", "decimal", "How sure the difference is, 0 to 1"),
    ("told", "string", "What the bench said: fault, what it may be, or why it cannot tell"),
    (
        "answer",
        "string",
        "What a person said of it, or what became of the photo; empty when nothing was said",
    ),
    ("answered", "dateTime", "When the answer was given, ISO 8601 with UTC offset"),
    ("answered_by", "string", "Who gave it"),
    ("cell", "string", "Cell of the parts mat"),
    ("ledger", "integer", "Pieces in the cell by the ledger"),
    ("counted", "integer", "Pieces counted; empty where it could not be told"),
    ("at_least", "integer", "Pieces that lie there at least"),
    (
        "verdict",
        "string",
        "agree, disagree or cannot tell; of a screw: matches, does not match, longer: stop",
    ),
    ("lengths_mm", "string", "Measured lengths with their standard uncertainty, separated by ' | '"),
)

Row = dict[str, object]


def table_seen(record: Record) -> bytes:
    """The CSV file; only its header where the camera saw nothing that is told."""
    out = io.StringIO(newline="")
    names = [name for name, _, _ in SEEN_COLUMNS]
    writer = csv.DictWriter(out, names, restval="", dialect="excel", lineterminator="\r\n")
    writer.writeheader()
    head: Row = {"session": record.session, "job": guarded(record.job)}
    order = {fact.at: place for place, fact in enumerate(record.facts)}
    for number, (at, row) in enumerate(sorted(_rows(record), key=lambda pair: order[pair[0]]), start=1):
        writer.writerow({**head, "row": number, "at": iso_time(at), **row})
    return out.getvalue().encode("utf-8", "replace")


def description_seen(csv_name: str) -> bytes:
    """What the columns mean, as table.description."""
    return description_of(csv_name, SEEN_COLUMNS, ["session", "row"])


def _rows(record: Record) -> Iterator[tuple[Moment, Row]]:
    visits = _visits(record)
    lines: list[PoorLine | ComparedLine | MatLine | MeasuredLine] = [
        *poor_photos_of(record),
        *comparisons_of(record),
        *mat_readings_of(record),
        *measured_of(record),
    ]
    for line in lines:
        about: Row = {
            "visit": visits.get((line.at, line.step), ""),
            "person": guarded(line.by),
            "step": line.step,
        }
        for row in _of(line):
            yield line.at, {**about, **row}


def _visits(record: Record) -> dict[tuple[Moment, str], int]:
    """The newest visit to its step by then, for the moment and step of each fact."""
    number, newest, found = 0, dict[str, int](), {}
    for fact in record.facts:
        step = str(getattr(fact.what, "step", ""))
        if isinstance(fact.what, ev.StepEntered):
            number += 1
            newest[step] = number
        if step in newest:
            found[fact.at, step] = newest[step]
    return found


def _of(line: PoorLine | ComparedLine | MatLine | MeasuredLine) -> Iterator[Row]:
    if isinstance(line, PoorLine):
        yield _poor(line)
    elif isinstance(line, ComparedLine):
        pair = {"photo": line.as_left, "beside": line.as_found}
        yield {"kind": "comparison", **pair, "told": guarded(line.words)}
        for candidate in line.candidates:
            yield {"kind": "difference", **pair, **_difference(candidate)}
    elif isinstance(line, MatLine):
        for cell in line.telling:
            yield {"kind": "mat cell", "photo": line.photo, **_cell(cell)}
    else:
        yield {
            "kind": "screw",
            "told": guarded(line.told),
            "verdict": line.verdict,
            "lengths_mm": _length(line.length_mm, line.sigma_mm),
        }


def _poor(line: PoorLine) -> Row:
    kept = {"answered": iso_time(line.kept), "answered_by": guarded(line.kept_by)} if line.kept else {}
    return {
        "kind": "poor photo",
        "photo": line.photo.sha256,
        "told": line.faults,
        "answer": line.became,
        **kept,
    }


def _difference(candidate: Candidate) -> Row:
    said: Row = {}
    if candidate.answered is not None:
        said = {"answered": iso_time(candidate.answered), "answered_by": guarded(candidate.answered_by)}
    places = zip(("x", "y", "width", "height"), (f"{value:g}" for value in candidate.left), strict=True)
    return {
        "number": candidate.number,
        **dict(places),
        "score": f"{candidate.score:.3f}",
        "told": guarded(candidate.hint),
        "answer": candidate.answer,
        **said,
    }


def _cell(cell: MatCell) -> Row:
    return {
        "cell": cell.cell,
        "ledger": cell.expected,
        "counted": "" if cell.count is None else cell.count,
        "at_least": cell.at_least,
        "verdict": cell.verdict,
        "told": guarded(cell.told),
        "lengths_mm": " | ".join(_length(mm, sigma) for _kind, mm, sigma in cell.lengths),
    }


def _length(length_mm: float, sigma_mm: float) -> str:
    return f"{length_mm:.2f} ± {sigma_mm:.2f}"
