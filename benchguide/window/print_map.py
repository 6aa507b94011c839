"""The part map at 1:1 as a placemat for screws: outline, screw places with letters, cells of the parts mat.

A device larger than the page is turned, and then divided over pages that overlap; it is never made smaller.
Screws of different length, thread or head have different letters; there are no colour codes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainterPath, QPolygonF

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.words import Face, PartKind
from benchguide.window.print_page import PAPER_MM, UNITS_PER_MM, Sheet, open_sheet
from benchguide.window.widgets.marks import described, screw_letters

MARGIN_MM = 8.0
HEAD_MM = 16.0
#: Diameter of a screw head whose map does not give it.
USUAL_HEAD_MM = 3.0
OVERLAP_MM = 10.0
LEGEND_LINE_MM = 4.2
FAINT = QColor(150, 150, 150)
MOST_PAGES = 60


@dataclass(frozen=True, slots=True)
class Tile:
    """One page: which face, and which part of the device it shows."""

    face: Face
    left: float
    top: float
    width: float
    height: float
    row: int
    column: int


@dataclass(frozen=True, slots=True)
class Pages:
    """How a device is laid out on paper."""

    paper: str
    landscape: bool
    rows: int
    columns: int
    tiles: tuple[Tile, ...]


def lay_out(device: DeviceMap, paper: str) -> Pages:
    """Divide the device over as few pages as it needs. Raises ValueError for unknown paper or too many pages."""
    if paper not in PAPER_MM:
        raise ValueError(f"Paper {paper!r} is not known. Choose one of {', '.join(PAPER_MM)}.")
    choices = [(landscape, *_grid(device, paper, landscape)) for landscape in (False, True)]
    landscape, rows, columns = min(choices, key=lambda c: (c[1] * c[2], c[0]))
    faces = [face for face in Face if any(p.face is face and p.kind is PartKind.SCREWS for p in device.parts)]
    faces = faces or [Face.BACK]
    if rows * columns * len(faces) > MOST_PAGES:
        raise ValueError(
            f"{device.name} needs {rows * columns * len(faces)} pages of {paper}, more than {MOST_PAGES}: "
            "it is too large for a placemat at 1:1."
        )
    room_w, room_h = _room(paper, landscape)
    tiles = []
    for face in faces:
        for row in range(rows):
            for column in range(columns):
                left, top = column * (room_w - OVERLAP_MM), row * (room_h - OVERLAP_MM)
                width = min(room_w, device.outline.width_mm - left)
                height = min(room_h, device.outline.height_mm - top)
                tiles.append(Tile(face, left, top, width, height, row, column))
    return Pages(paper, landscape, rows, columns, tuple(tiles))


def _room(paper: str, landscape: bool) -> tuple[float, float]:
    short, long = PAPER_MM[paper]
    width, height = (long, short) if landscape else (short, long)
    return width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - HEAD_MM


def _grid(device: DeviceMap, paper: str, landscape: bool) -> tuple[int, int]:
    """Rows and columns of pages."""
    room_w, room_h = _room(paper, landscape)

    def needed(size: float, room: float) -> int:
        return 1 if size <= room else 1 + math.ceil((size - room) / (room - OVERLAP_MM))

    return needed(device.outline.height_mm, room_h), needed(device.outline.width_mm, room_w)


def print_map(device: DeviceMap, path: Path, paper: str = "A4") -> Pages:
    """Write the placemat; returns how it was laid out. Raises ValueError and OSError."""
    pages = lay_out(device, paper)
    letters = screw_letters(device)
    with open_sheet(path, paper, landscape=pages.landscape, title=f"Placemat: {device.name}") as sheet:
        for number, tile in enumerate(pages.tiles):
            if number:
                sheet.new_page()
            _head(sheet, device, pages, tile, number)
            _device(sheet, device, tile, letters)
            if pages.rows * pages.columns > 1:
                _overlaps(sheet, pages, tile)
        _legend(sheet, device, pages, letters)
    return pages


def _head(sheet: Sheet, device: DeviceMap, pages: Pages, tile: Tile, number: int) -> None:
    width = sheet.width_mm - 2 * MARGIN_MM
    words = f"{device.name}, {tile.face.value} up"
    sheet.text(words, (MARGIN_MM, MARGIN_MM, width - 40, 5), 3.0, bold=True)
    page = f"Page {number + 1} of {len(pages.tiles)}"
    if pages.rows * pages.columns > 1:
        page += f", row {tile.row + 1}, column {tile.column + 1}"
    sheet.text(
        page, (sheet.width_mm - MARGIN_MM - 40, MARGIN_MM, 40, 5), 2.0, align=Qt.AlignmentFlag.AlignRight
    )
    _bar(sheet, MARGIN_MM, MARGIN_MM + 11.0, 50.0 if width > 60 else 20.0)
    words = "1:1. Print at 100 %, and check this bar with a ruler."
    sheet.text(words, (MARGIN_MM + 52, MARGIN_MM + 8.6, width - 52, 3), 1.8)


def _bar(sheet: Sheet, x: float, y: float, length: float) -> None:
    sheet.fill()
    sheet.painter.drawRect(sheet.rect(x, y - 0.3, length, 0.3))
    for end in (x, x + length - 0.2):
        sheet.painter.drawRect(sheet.rect(end, y - 1.6, 0.2, 1.6))
    sheet.text(f"{length:g} mm", (x + 1, y - 3.2, length - 2, 2.4), 1.6)


def _device(sheet: Sheet, device: DeviceMap, tile: Tile, letters: dict[str, str]) -> None:
    """The outline and everything on this face, clipped to what the page shows."""
    painter, outline = sheet.painter, device.outline
    x0, y0 = MARGIN_MM - tile.left, MARGIN_MM + HEAD_MM - tile.top
    painter.save()
    # half a line and a letter may stand over the edge of the device
    painter.setClipRect(sheet.rect(MARGIN_MM - 1, MARGIN_MM + HEAD_MM - 1, tile.width + 2, tile.height + 2))
    sheet.pen(0.35)
    corner = outline.corner_mm * UNITS_PER_MM
    painter.drawRoundedRect(sheet.rect(x0, y0, outline.width_mm, outline.height_mm), corner, corner)
    parts = [part for part in device.parts if part.face is tile.face]
    for part in parts:
        if part.kind is not PartKind.SCREWS:
            _shape(sheet, part, x0, y0)
    for part in parts:
        if part.kind is PartKind.SCREWS:
            _screws(sheet, part, letters[part.id], x0, y0)
    painter.restore()


def _shape(sheet: Sheet, part: Part, x0: float, y0: float) -> None:
    """Other parts as thin outlines for orientation."""
    sheet.pen(0.12, FAINT)
    if part.box:
        x, y, w, h = part.box
        sheet.painter.drawRect(sheet.rect(x0 + x, y0 + y, w, h))
    elif part.path:
        sheet.painter.drawPolyline(QPolygonF([sheet.point(x0 + x, y0 + y) for x, y in part.path]))


def _screws(sheet: Sheet, part: Part, letter: str, x0: float, y0: float) -> None:
    """Each place a circle as large as the head, with a cross at its middle, the letter, and the mat's cell."""
    assert part.screws is not None
    radius = (part.screws.head_mm or USUAL_HEAD_MM) / 2
    for x, y in part.places:
        cx, cy = x0 + x, y0 + y
        sheet.fill(QColor(255, 255, 255))
        sheet.painter.drawEllipse(sheet.point(cx, cy), radius * UNITS_PER_MM, radius * UNITS_PER_MM)
        sheet.pen(0.25)
        sheet.painter.drawEllipse(sheet.point(cx, cy), radius * UNITS_PER_MM, radius * UNITS_PER_MM)
        sheet.pen(0.1)
        for dx, dy in ((0.5, 0), (0, 0.5)):
            sheet.painter.drawLine(sheet.point(cx - dx, cy - dy), sheet.point(cx + dx, cy + dy))
        words = f"{letter} {part.cell}" if part.cell else letter
        wide = 1.9 * len(words)
        box = QRectF(sheet.rect(cx + radius + 0.3, cy - 1.4, wide, 2.8))
        ground = QPainterPath()
        ground.addRect(box)
        sheet.painter.fillPath(ground, QColor(255, 255, 255, 215))
        sheet.text(words, (cx + radius + 0.4, cy - 1.4, wide, 2.8), 1.9, bold=True, smallest_mm=1.3)


def _overlaps(sheet: Sheet, pages: Pages, tile: Tile) -> None:
    """Dashed lines where the neighbouring page begins, with crosses that come to lie on each other."""
    left, top = MARGIN_MM, MARGIN_MM + HEAD_MM
    room_w, room_h = _room(pages.paper, pages.landscape)
    half = OVERLAP_MM / 2
    xs, ys = [], []
    if tile.column:
        xs.append(left + half)
    if tile.column + 1 < pages.columns:
        xs.append(left + room_w - half)
    if tile.row:
        ys.append(top + half)
    if tile.row + 1 < pages.rows:
        ys.append(top + room_h - half)
    sheet.pen(0.15, FAINT, dashed=True)
    for x in xs:
        sheet.painter.drawLine(sheet.point(x, top), sheet.point(x, top + tile.height))
    for y in ys:
        sheet.painter.drawLine(sheet.point(left, y), sheet.point(left + tile.width, y))
    sheet.pen(0.2)
    spots = [(x, top + tile.height * share) for x in xs for share in (0.1, 0.9)]
    spots += [(left + tile.width * share, y) for y in ys for share in (0.1, 0.9)]
    for x, y in spots:
        sheet.painter.drawLine(sheet.point(x - 2, y), sheet.point(x + 2, y))
        sheet.painter.drawLine(sheet.point(x, y - 2), sheet.point(x, y + 2))


def _legend(sheet: Sheet, device: DeviceMap, pages: Pages, letters: dict[str, str]) -> None:
    """Letters, sizes and cells, under the device where there is room, else on a page of its own."""
    groups = sorted((p for p in device.parts if p.screws), key=lambda p: (letters[p.id], p.name))
    lines = [
        f"{letters[p.id]}  {p.name}: {described(p)}" + (f", cell {p.cell}" if p.cell else "") for p in groups
    ]
    last = pages.tiles[-1]
    x, width = MARGIN_MM, sheet.width_mm - 2 * MARGIN_MM
    y = MARGIN_MM + HEAD_MM + last.height + 4
    bottom = sheet.height_mm - MARGIN_MM
    if pages.rows * pages.columns > 1 or y + LEGEND_LINE_MM * len(lines) > bottom:
        sheet.new_page()
        y = MARGIN_MM
    for line in lines:
        if y + LEGEND_LINE_MM > bottom:
            sheet.new_page()
            y = MARGIN_MM
        sheet.text(line, (x, y, width, LEGEND_LINE_MM), 2.0)
        y += LEGEND_LINE_MM
