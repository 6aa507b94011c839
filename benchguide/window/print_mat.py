"""The parts mat as a PDF at 1:1, with the labels of one job. Where things sit is camera/mat_layout.py's."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainterPath, QPolygonF

from benchguide.camera.mat_layout import FILL_RGB, MARKER_MM, Box, MatLayout, mat_layout, paper_for
from benchguide.camera.mat_markers import marker_modules
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Procedure
from benchguide.window.print_labels import CellLabel, cell_labels, parts_of_job
from benchguide.window.print_page import Sheet, open_sheet

WHITE = QColor(255, 255, 255)


def print_mat(device: DeviceMap, procedure: Procedure, path: Path, paper: str | None = None) -> str:
    """Write the mat for one job; returns the paper that was used.

    Without `paper` the smallest ISO sheet that has all cells of the job is taken. Raises ValueError when the
    paper lacks a cell of the job or is not known, OSError when the file cannot be written.
    """
    labels = cell_labels(device, parts_of_job(device, procedure))
    layout = mat_layout(paper or paper_for(set(labels)))
    lacking = [cell for cell in labels if cell not in layout.cells]
    if lacking:
        raise ValueError(
            f"The {layout.paper} mat has no cell {lacking[0]}, which {procedure.title!r} uses. "
            "Print it with --paper A4 or Letter."
        )
    write_mat(layout, path, procedure.title, labels)
    return layout.paper


def write_mat(layout: MatLayout, path: Path, title: str, labels: dict[str, CellLabel] | None = None) -> None:
    """Write one mat with any labels, or none. Raises OSError."""
    with open_sheet(path, layout.paper, landscape=True, title=f"Parts mat: {title}") as sheet:
        for name, box in layout.cells.items():
            _cell(sheet, name, box, layout.labels[name], (labels or {}).get(name))
        for marker, box in layout.markers.items():
            _marker(sheet, marker, box)
        _measuring(sheet, layout)
        _bar(sheet, layout)
        _title(sheet, layout, title)


def _cell(sheet: Sheet, name: str, box: Box, strip: Box, label: CellLabel | None) -> None:
    sheet.fill(QColor(*FILL_RGB))
    sheet.painter.drawRect(sheet.rect(*box))
    high = strip.h - 0.8
    sheet.text(name, (strip.x, strip.y + 0.4, 7, high), min(2.6, high * 0.82), bold=True)
    if label:
        words = " + ".join(label.lines)
        sheet.text(words, (strip.x + 6.6, strip.y + 0.4, strip.w - 6.6, high), 1.9, smallest_mm=1.15)


def _marker(sheet: Sheet, marker: int, box: Box) -> None:
    """Black first, then all white modules as one shape, so that no hairlines come up between them."""
    module = MARKER_MM / 7
    white = QPainterPath()
    white.setFillRule(Qt.FillRule.WindingFill)
    for row, line in enumerate(marker_modules(marker)):
        for column, black in enumerate(line):
            if not black:
                white.addRect(sheet.rect(box.x + column * module, box.y + row * module, module, module))
    sheet.fill()
    sheet.painter.drawRect(sheet.rect(*box))
    sheet.fill(WHITE)
    sheet.painter.drawPath(white)


def _measuring(sheet: Sheet, layout: MatLayout) -> None:
    box = layout.measuring
    sheet.fill(QColor(*FILL_RGB))
    sheet.painter.drawRect(sheet.rect(*box))
    # ticks outside the fill show how to lay the screw, and nothing is printed where it lies
    sheet.fill()
    y = box.middle[1]
    for left in (box.x - 1.6, box.x + box.w + 0.4):
        sheet.painter.drawRect(sheet.rect(left, y - 0.15, 1.2, 0.3))
    # printers leave the last millimetres blank, so the words stand beside the scale bar and not below
    left = min(cell.x for cell in layout.cells.values())
    bar = layout.bar[0]
    words = "Below: measuring place for one screw"
    sheet.text(words, (left, layout.bar[1] - 1.8, bar - left - 1.2, 1.9), 1.4, smallest_mm=1.0)


def _bar(sheet: Sheet, layout: MatLayout) -> None:
    """The scale bar: 100 mm from the outer edge of one end mark to the outer edge of the other."""
    x, y, length = layout.bar
    sheet.fill()
    sheet.painter.drawRect(sheet.rect(x, y - 0.3, length, 0.3))
    for tick in range(11):
        high = 1.6 if tick in (0, 5, 10) else 0.9
        at = min(max(x + tick * length / 10 - 0.1, x), x + length - 0.2)
        sheet.painter.drawRect(sheet.rect(at, y - high, 0.2, high))
    words = f"{length:g} mm: check with a ruler"
    sheet.text(words, (x + length + 1.2, y - 1.8, 34, 1.9), 1.4, smallest_mm=1.0)


def _title(sheet: Sheet, layout: MatLayout, title: str) -> None:
    """Words between the upper markers, and an arrow to the edge that lies away from the person."""
    first, second, *rest = layout.title
    painter = sheet.painter
    arrow = [(first.x + 3, first.y + 1), (first.x + 6, first.y + 6), (first.x, first.y + 6)]
    sheet.fill()
    painter.drawPolygon(QPolygonF([sheet.point(*p) for p in arrow]))
    shaft: QRectF = sheet.rect(first.x + 2, first.y + 6, 2, 5)
    painter.drawRect(shaft)
    sheet.text(f"Parts mat {layout.paper}", (first.x + 8, first.y + 1, first.w - 8, 5), 2.8, bold=True)
    sheet.text("this edge away from you", (first.x + 8, first.y + 6.5, first.w - 8, 3), 1.6)
    sheet.text(title, (second.x, second.y + 1, second.w, 5), 2.6)
    sheet.text("Print at 100 %, not fitted to the page", (second.x, second.y + 6.5, second.w, 3), 1.6)
    if rest:
        place = rest[0]
        sheet.text("One part beside the other,", (place.x, place.y + 2, place.w, 3), 1.7)
        sheet.text("none touching, none on a line", (place.x, place.y + 6, place.w, 3), 1.7)
