"""Where everything sits on the parts mat, in millimetres from the upper left corner of the page.

Plain values for whoever prints the mat and whoever reads it. It draws nothing and sees nothing.
Page sizes: ISO 216 (A4, A5) and US Letter, all landscape. Markers: OpenCV's predefined DICT_5X5_50; each paper
has its own ids, so the ids of any two markers tell which mat it is, which way it lies and whether two lie there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import NamedTuple

#: Saturated cyan, red-green-blue. Shadows keep its colour ratios and metal does not. Red is not zero, so that
#: a ratio can still be told in a shadow.
FILL_RGB = (24, 174, 214)

MARKER_MM = 12.0
DICTIONARY = "DICT_5X5_50"
BAR_MM = 100.0
#: White that a marker needs around it: one of its seven modules.
QUIET_MM = MARKER_MM / 7

PAPERS = ("A4", "A5", "Letter")

_MARGIN = 5.0


class Box(NamedTuple):
    """Left, top, width, height in mm."""

    x: float
    y: float
    w: float
    h: float

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Upper left, upper right, lower right, lower left."""
        x1, y1 = self.x + self.w, self.y + self.h
        return ((self.x, self.y), (x1, self.y), (x1, y1), (self.x, y1))

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the box."""
        return self.x + self.w / 2, self.y + self.h / 2


@dataclass(frozen=True, slots=True)
class MatLayout:
    """One mat."""

    paper: str
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    cells: dict[str, Box]
    """Cells by name, `A1` at the upper left: a letter for the row, a number for the column."""
    labels: dict[str, Box]
    """The white strip above each cell, for its name and what belongs there."""
    markers: dict[int, Box]
    """Markers by id, clockwise from the upper left corner."""
    measuring: Box
    """Cyan place for one single screw, laid along its long side. In the middle of the lower edge: there a
    camera over the mat sees a screw that lies along the edge without slant."""
    bar: tuple[float, float, float]
    """Left end, height and length of the scale bar."""
    title: tuple[Box, ...]
    """Free places between the upper markers, for words."""

    @property
    def reach(self) -> Box:
        """The part of the page that is read: cells and measuring place."""
        boxes = [*self.cells.values(), self.measuring]
        x, y = min(b.x for b in boxes), min(b.y for b in boxes)
        return Box(x, y, max(b.x + b.w for b in boxes) - x, max(b.y + b.h for b in boxes) - y)


class _Plan(NamedTuple):
    width: float
    height: float
    columns: int
    rows: int
    cell: tuple[float, float]
    pitch: tuple[float, float]
    top: int
    side: int
    measuring: float
    first_id: int


_PLANS = {
    "A4": _Plan(297, 210, 8, 6, (29.5, 22.5), (32, 27.5), 6, 2, 70, 0),
    "A5": _Plan(210, 148, 6, 4, (26.5, 22), (28.4, 26.6), 4, 1, 50, 14),
    "Letter": _Plan(279.4, 215.9, 8, 6, (28, 23.5), (29.8, 28.5), 6, 2, 70, 24),
}


@cache
def mat_layout(paper: str = "A4") -> MatLayout:
    """The mat for a paper (`A4`, `A5`, `Letter`). Raises ValueError for another one."""
    if paper not in _PLANS:
        raise ValueError(f"There is no parts mat for paper {paper!r}. Choose one of {', '.join(PAPERS)}.")
    plan = _PLANS[paper]
    left = (plan.width - (plan.columns - 1) * plan.pitch[0] - plan.cell[0]) / 2
    strip = plan.pitch[1] - plan.cell[1] - 1.0
    top = _MARGIN + MARKER_MM + QUIET_MM + strip
    cells, labels = {}, {}
    for row in range(plan.rows):
        for column in range(plan.columns):
            name = f"{chr(ord('A') + row)}{column + 1}"
            x, y = left + column * plan.pitch[0], top + row * plan.pitch[1]
            cells[name] = Box(x, y, *plan.cell)
            labels[name] = Box(x, y - strip, plan.cell[0], strip)
    markers = _markers(plan)
    bottom = plan.height - _MARGIN - MARKER_MM
    measuring = Box((plan.width - plan.measuring) / 2, bottom, plan.measuring, MARKER_MM)
    bar = ((plan.width - BAR_MM) / 2, bottom - QUIET_MM - 0.4, BAR_MM)
    tops = sorted(box.x for box in markers.values() if box.y == _MARGIN)
    gap = MARKER_MM + QUIET_MM
    title = tuple(Box(a + gap, _MARGIN, b - a - gap - QUIET_MM, MARKER_MM) for a, b in pairwise(tops))
    return MatLayout(
        paper, plan.width, plan.height, plan.columns, plan.rows, cells, labels, markers, measuring, bar, title
    )


def _markers(plan: _Plan) -> dict[int, Box]:
    """Clockwise from the upper left: upper edge, right side, lower edge, left side."""
    right, bottom = plan.width - _MARGIN - MARKER_MM, plan.height - _MARGIN - MARKER_MM
    xs = [_MARGIN + i * (right - _MARGIN) / (plan.top - 1) for i in range(plan.top)]
    ys = [_MARGIN + (i + 1) * (bottom - _MARGIN) / (plan.side + 1) for i in range(plan.side)]
    beside = (plan.width - plan.measuring) / 2 - MARKER_MM - 3 * QUIET_MM
    spots = [(x, _MARGIN) for x in xs]
    spots += [(right, y) for y in ys]
    spots += [(right, bottom), (plan.width - beside - MARKER_MM, bottom), (beside, bottom), (_MARGIN, bottom)]
    spots += [(_MARGIN, y) for y in reversed(ys)]
    return {plan.first_id + i: Box(x, y, MARKER_MM, MARKER_MM) for i, (x, y) in enumerate(spots)}


def paper_of(marker: int) -> str | None:
    """The paper a marker id belongs to; None for ids that are on no mat."""
    return next((paper for paper in PAPERS if marker in mat_layout(paper).markers), None)


def paper_for(cells: set[str]) -> str:
    """The smallest paper that has all these cells. Raises ValueError when none has."""
    for paper in ("A5", "A4"):
        if cells <= set(mat_layout(paper).cells):
            return paper
    lacking = sorted(cells - set(mat_layout("A4").cells))
    raise ValueError(f"No parts mat has the cell {lacking[0]}. Cells go from A1 to F8; change the part map.")
