"""What was read from the parts mat beside what the ledger says lies there, cell by cell. Sees no picture.

Counts are never kinder than the reading: where it cannot tell, the verdict is "cannot tell".
"""

from collections.abc import Sequence
from dataclasses import dataclass

from benchguide.session.commands import CellSeen
from benchguide.session.events import MatRead
from benchguide.session.state import State

AGREE, DISAGREE, CANNOT_TELL = "agree", "disagree", "cannot tell"


@dataclass(frozen=True, slots=True)
class CellBeside:
    """One cell: how many pieces the ledger says, what was seen, the verdict and its sentence (names the cell)."""

    cell: str
    expected: int
    count: int | None
    at_least: int
    verdict: str
    sentence: str


def expected_in_cells(state: State) -> dict[str, int]:
    """Pieces that lie in each cell by the ledger, found items included; what lies on the bench is left out."""
    found: dict[str, int] = {}
    for item in state.ledger.out:
        if item.cell:
            found[item.cell] = found.get(item.cell, 0) + item.pieces
    for extra in state.ledger.extras:
        if extra.cell:
            found[extra.cell] = found.get(extra.cell, 0) + 1
    return found


def mat_against_ledger(state: State, reading: Sequence[CellSeen]) -> tuple[CellBeside, ...]:
    """A verdict for each cell that was read, and for each that the ledger names and the reading has not."""
    expected = expected_in_cells(state)
    seen = {cell.cell for cell in reading}
    rows = [_beside(cell, expected.get(cell.cell, 0)) for cell in reading]
    for cell, count in expected.items():
        if cell not in seen:
            told = f"{cell}: cannot tell, this mat has no such cell; {_pieces(count)} by the ledger."
            rows.append(CellBeside(cell, count, None, 0, CANNOT_TELL, told))
    return tuple(rows)


def mat_is_empty(reading: Sequence[CellSeen]) -> bool:
    """True when every cell was read and nothing lies in any."""
    return bool(reading) and all(cell.count == 0 for cell in reading)


def left_on_mat(state: State, read: MatRead) -> list[tuple[str, str]]:
    """Cells of a kept reading that do not show what the ledger says now, each with its verdict."""
    expected = expected_in_cells(state)
    left = []
    for doc in read.cells:
        count, cell = doc["count"], str(doc["cell"])
        at_least = doc["at_least"]
        if count is None and isinstance(at_least, int) and at_least <= expected.get(cell, 0):
            left.append((cell, CANNOT_TELL))
        elif count != expected.get(cell, 0):
            left.append((cell, DISAGREE))
    return left


def _beside(cell: CellSeen, expected: int) -> CellBeside:
    verdict, told = _judged(cell, expected)
    return CellBeside(cell.cell, expected, cell.count, cell.at_least, verdict, f"{cell.cell}: {told}")


def _judged(cell: CellSeen, expected: int) -> tuple[str, str]:
    if cell.count is None:
        if cell.at_least > expected:
            return DISAGREE, f"at least {cell.at_least} counted, {expected} in the ledger."
        return CANNOT_TELL, cell.reason or "it cannot be counted."
    if cell.count != expected:
        doubt = f" {cell.reason}" if cell.reason else ""
        return DISAGREE, f"{cell.count} counted, {expected} in the ledger.{doubt}"
    if cell.odd:
        return DISAGREE, cell.odd
    return AGREE, f"{cell.count} counted, as in the ledger." if expected else "empty, as in the ledger."


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"
