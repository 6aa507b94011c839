"""Marks on a copy of the photo that show what was read: cells, counts, axes, lengths. Reads nothing itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchguide.camera.mat_check import Verdict
from benchguide.camera.mat_reading import CellReading, Item, MatReading
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# One violet ink, as in the window; white beneath keeps it legible on anything.
_INK, _UNDER = (190, 40, 110), (255, 255, 255)


def marked(photo: NDArray[np.uint8], reading: MatReading) -> NDArray[np.uint8]:
    """A copy of (H, W, 3) `photo`, at the size it was read, with the reading drawn on it."""
    cv = cv2()
    width, height = reading.plane.size
    picture = photo.copy() if photo.shape[1] == width else cv.resize(photo, (width, height))
    thick = max(1, round(width / 1100))
    for cell in reading.cells.values():
        _cell(picture, reading, cell, thick)
    return picture


def _cell(picture: NDArray[np.uint8], reading: MatReading, cell: CellReading, thick: int) -> None:
    import numpy as np

    cv = cv2()
    corners = reading.plane.to_pixel(np.array(reading.plane.layout.cells[cell.cell].corners))
    outline = np.rint(corners).astype(np.int32).reshape(-1, 1, 2)
    cv.polylines(picture, [outline], True, _INK, thick, cv.LINE_AA)
    words = f"{cell.cell}: {_count(cell)}"
    if cell.judged is not None:
        words += {Verdict.MATCHES: " ok", Verdict.CANNOT_TELL: " ??"}.get(cell.judged.verdict, " !!")
    size = reading.px_per_mm * 0.075
    _text(picture, words, (corners[0][0] + 3 * thick, corners[0][1] + 20 * size), size, thick)
    for item in cell.items:
        _item(picture, item, size * 0.75, thick)


def _count(cell: CellReading) -> str:
    if cell.count is not None:
        return str(cell.count)
    return f"at least {cell.at_least}" if cell.at_least else "cannot tell"


def _item(picture: NDArray[np.uint8], item: Item, size: float, thick: int) -> None:
    cv = cv2()
    x, y = item.spot
    if item.ends is not None and item.length_mm is not None and item.sigma_mm is not None:
        (ax, ay), (bx, by) = item.ends
        cv.line(picture, (round(ax), round(ay)), (round(bx), round(by)), _INK, thick, cv.LINE_AA)
        words = f"{item.length_mm:.1f}+-{2 * item.sigma_mm:.1f}"
    else:
        cv.circle(picture, (round(x), round(y)), 3 * thick, _INK, thick, cv.LINE_AA)
        words = item.kind
    _text(picture, words, (x + 6 * thick, y - 4 * thick), size, thick)


def _text(picture: NDArray[np.uint8], words: str, at: tuple[float, float], size: float, thick: int) -> None:
    cv = cv2()
    place = (round(at[0]), round(at[1]))
    size = max(size, 0.35)
    cv.putText(picture, words, place, cv.FONT_HERSHEY_SIMPLEX, size, _UNDER, thick + 2, cv.LINE_AA)
    cv.putText(picture, words, place, cv.FONT_HERSHEY_SIMPLEX, size, _INK, thick, cv.LINE_AA)
