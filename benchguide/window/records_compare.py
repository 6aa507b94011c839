"""Two sessions beside each other, step by step, as rows of words. Says what differs; judges nothing and nobody."""

from __future__ import annotations

from benchguide.review.lines import StepLine
from benchguide.review.record import Record
from benchguide.review.words import count, span
from benchguide.store.tables import SessionRow
from benchguide.window.records_rows import Row

#: a difference below this many seconds is told as none
SAME_S = 1.0


def comparable(rows: list[SessionRow], record: Record) -> list[SessionRow]:
    """Other sessions of the same procedure and device, newest first."""
    return [
        row
        for row in rows
        if row.session_id != record.session and (row.procedure, row.device) == (record.title, record.device)
    ]


def session_name(row: SessionRow) -> str:
    """A session by job number and day, without a person."""
    state = "given up" if row.abandoned else row.state
    return f"{row.job}, {row.started[:10]}, {state}"


def compare_rows(one: Record, other: Record) -> list[Row]:
    """A row for each step of either session, in the order of the first, then what only the second has."""
    theirs = {line.step.id: line for line in other.steps}
    own = {line.step.id for line in one.steps}
    pairs = [(line, theirs.get(line.step.id)) for line in one.steps]
    rows = [_totals(one, other)]
    rows += [_row(one, other, line, match) for line, match in pairs]
    rows += [_row(one, other, None, line) for line in other.steps if line.step.id not in own]
    return rows


def _totals(one: Record, other: Record) -> Row:
    soft = []
    for record in (one, other):
        t = record.times
        parts = (
            f"touch {span(t.touch_s)}",
            f"waiting {span(t.waiting_s)}",
            f"hold {span(t.hold_s)}",
            count(len(record.photos), "photo"),
            count(len(record.waivers), "waiver"),
            count(len(record.skips), "skip"),
        )
        soft.append(f"{record.job}: {' · '.join(parts)}")
    return Row("totals", "Whole job", _difference(one.times.touch_s, other.times.touch_s), tuple(soft))


def _row(one: Record, other: Record, mine: StepLine | None, theirs: StepLine | None) -> Row:
    known = mine or theirs
    assert known is not None
    lead = str(mine.number) if mine else "–"
    soft = (f"{one.job}: {_told(mine)}", f"{other.job}: {_told(theirs)}")
    right = _difference(mine.times.touch_s, theirs.times.touch_s) if mine and theirs else "only in one"
    return Row(known.step.id, known.step.text, right, soft, lead)


def _told(line: StepLine | None) -> str:
    if line is None:
        return "not a step of this session"
    photos = len(line.as_found) + len(line.as_left) + len(line.free)
    parts = [line.mark.value, f"touch {span(line.times.touch_s)}"]
    if line.times.waiting_s:
        parts.append(f"waiting {span(line.times.waiting_s)}")
    if line.times.hold_s:
        parts.append(f"hold {span(line.times.hold_s)}")
    if line.visits > 1:
        parts.append(f"{line.visits} visits")
    if photos:
        parts.append(count(photos, "photo"))
    if line.missing:
        parts.append(f"without {' and '.join(line.missing)} photo")
    return " · ".join(parts)


def _difference(one_s: float, other_s: float) -> str:
    """How much longer the first took; no word of better or worse."""
    if abs(one_s - other_s) < SAME_S:
        return "same time"
    more = "longer" if one_s > other_s else "shorter"
    return f"{span(abs(one_s - other_s))} {more}"
