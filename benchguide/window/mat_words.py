"""From the camera's reading of the mat to the session's words, and from the ledger to what should lie there. No Qt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchguide.procedure.words import PartKind
from benchguide.session.commands import CellSeen
from benchguide.session.mat import DISAGREE, CellBeside, expected_in_cells, mat_is_empty

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchguide.camera.mat_check import Expected
    from benchguide.camera.mat_reading import CellReading, MatReading
    from benchguide.procedure.device import Part
    from benchguide.session.state import State


def expected_of(state: State) -> dict[str, Expected]:
    """What the ledger says lies in each cell, with the lengths its screws may have."""
    from benchguide.camera.mat_check import Expected

    made: dict[str, Expected] = {}
    for cell, count in expected_in_cells(state).items():
        lengths: list[tuple[float, float]] = []
        for item in state.ledger.out:
            if item.cell == cell:
                lengths += (
                    [span] * item.pieces if (span := span_of(state.job.device.by_id[item.part])) else []
                )
        made[cell] = Expected(count, tuple(lengths), count - len(lengths))
    return made


def span_of(part: Part) -> tuple[float, float] | None:
    """Shortest and longest overall length of a part's screws in mm; None for other parts."""
    from benchguide.camera.mat_check import overall_mm

    if part.kind is not PartKind.SCREWS or part.screws is None:
        return None
    return overall_mm(part.screws.length_mm, part.screws.head, part.screws.thread)


def cells_seen(reading: MatReading) -> tuple[CellSeen, ...]:
    """Every cell as the session keeps it."""
    return tuple(_seen(cell) for cell in reading.cells.values())


def _seen(cell: CellReading) -> CellSeen:
    items = tuple((item.kind, _rounded(item.length_mm), _rounded(item.sigma_mm)) for item in cell.items)
    return CellSeen(cell.cell, cell.count, cell.at_least, items, cell.reason or "", _odd(cell))


def _odd(cell: CellReading) -> str:
    """A length that does not belong there; counts are the session's to judge."""
    from benchguide.camera.mat_check import Verdict

    judged = cell.judged
    odd = judged is not None and judged.verdict is Verdict.DIFFERS and "does not belong" in judged.sentence
    return judged.sentence if judged is not None and odd else ""


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def summary(rows: Sequence[CellBeside], cells: Sequence[CellSeen]) -> str:
    """One sentence about the whole mat; a disagreement names its cells."""
    odd = [row.cell for row in rows if row.verdict == DISAGREE]
    open_ = [row.cell for row in rows if row.verdict not in (DISAGREE, "agree")]
    told = []
    if odd:
        told.append(f"{'Cell' if len(odd) == 1 else 'Cells'} {', '.join(odd)} differ{'s' if len(odd) == 1 else ''}"
                    " from the ledger.")  # fmt: skip
    if open_:
        told.append(f"Cannot tell: {', '.join(open_)}.")
    if not told:
        told.append(
            "The mat is empty, as in the ledger." if mat_is_empty(cells) else "Counts agree with the ledger."
        )
    return " ".join(told)
