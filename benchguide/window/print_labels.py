"""What lies in which cell of the parts mat, as words for its labels and as plain values for the reader.

The bridge between part map, procedure and ledger on one side and mat and camera on the other, which know
nothing of each other. Cells of the mat carry the names that the part map uses (`A1` to `F8`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchguide.camera.mat_check import Expected
from benchguide.camera.mat_layout import MatLayout
from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.planner import plan_way_in
from benchguide.procedure.procedure import Procedure
from benchguide.procedure.words import REMOVALS
from benchguide.session.ledger import Ledger
from benchguide.window.widgets.marks import screw_letters, screw_size


@dataclass(frozen=True, slots=True)
class CellLabel:
    """The words on one cell."""

    cell: str
    lines: tuple[str, ...]
    """One for each group of parts, for example `B: 4 × M2 × 8`."""


def parts_of_job(device: DeviceMap, procedure: Procedure) -> tuple[Part, ...]:
    """The parts that come off in this job, in the order of the part map: as written, or as planned."""
    names = {name for step in procedure.steps if step.action in REMOVALS for name in step.parts}
    if not names and procedure.target:
        names = {step.part.id for step in plan_way_in(device, procedure.target, procedure.keep).removals}
    return tuple(part for part in device.parts if part.id in names)


def label_line(part: Part, letter: str | None) -> str:
    """Screws by letter, number and size; other parts by name."""
    return f"{letter}: {screw_size(part)}" if letter else part.name


def cell_labels(device: DeviceMap, parts: Iterable[Part]) -> dict[str, CellLabel]:
    """Labels by cell, for those of the parts that have a cell of their own."""
    letters = screw_letters(device)
    lines: dict[str, list[str]] = {}
    for part in parts:
        if part.cell:
            lines.setdefault(part.cell, []).append(label_line(part, letters.get(part.id)))
    return {cell: CellLabel(cell, tuple(words)) for cell, words in sorted(lines.items())}


def expected_cells(device: DeviceMap, ledger: Ledger, layout: MatLayout) -> dict[str, Expected]:
    """What the ledger says lies in every cell of the mat now; empty cells are expected to be empty."""
    pieces: dict[str, dict[str, int]] = {cell: {} for cell in layout.cells}
    for item in ledger.out:
        if item.cell in pieces:
            found = pieces[item.cell]
            found[item.part] = found.get(item.part, 0) + item.pieces
    return {cell: _expected(device, found) for cell, found in pieces.items()}


def _expected(device: DeviceMap, pieces: dict[str, int]) -> Expected:
    from benchguide.camera.mat_check import overall_mm

    lengths: list[tuple[float, float]] = []
    others = 0
    for name, count in pieces.items():
        part = device.by_id.get(name)
        if part is None or part.screws is None:
            others += count
            continue
        screw = part.screws
        lengths += [overall_mm(screw.length_mm, screw.head, screw.thread)] * count
    return Expected(sum(pieces.values()), tuple(lengths), others)
