"""A PDF page on which a millimetre is a millimetre: sizes, type and painter for what is printed at 1:1.

Knows nothing of mats and devices. Nothing here is ever scaled to fit; what does not fit is the caller's to split.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QMarginsF, QPointF, QRectF, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QGuiApplication,
    QPageLayout,
    QPageSize,
    QPainter,
    QPdfWriter,
    QPen,
)

from benchguide.window.theme import load_fonts

DPI = 1200
UNITS_PER_MM = DPI / 25.4

#: Portrait width and height in mm: ISO 216, and US Letter (8.5 x 11 inches).
PAPER_MM = {"A4": (210.0, 297.0), "A5": (148.0, 210.0), "Letter": (215.9, 279.4)}
_PAGE = {"A4": QPageSize.PageSizeId.A4, "A5": QPageSize.PageSizeId.A5, "Letter": QPageSize.PageSizeId.Letter}

INK = QColor(0, 0, 0)


@dataclass(slots=True)
class Sheet:
    """One open document; all arguments are millimetres from the upper left corner of the page."""

    writer: QPdfWriter
    painter: QPainter
    width_mm: float
    height_mm: float

    def new_page(self) -> None:
        """Begin the next page of the same size. Raises OSError when it cannot be written."""
        if not self.writer.newPage():
            raise OSError("The next page could not be written: the disk may be full.")

    def rect(self, x: float, y: float, w: float, h: float) -> QRectF:
        """A rectangle in the units of the painter."""
        return QRectF(x * UNITS_PER_MM, y * UNITS_PER_MM, w * UNITS_PER_MM, h * UNITS_PER_MM)

    def point(self, x: float, y: float) -> QPointF:
        """A point in the units of the painter."""
        return QPointF(x * UNITS_PER_MM, y * UNITS_PER_MM)

    def pen(self, width_mm: float, colour: QColor = INK, dashed: bool = False) -> None:
        """Draw outlines of this width from now on, and fill nothing."""
        pen = QPen(colour, width_mm * UNITS_PER_MM)
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        if dashed:
            pen.setDashPattern([6, 4])
        self.painter.setPen(pen)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)

    def fill(self, colour: QColor = INK) -> None:
        """Fill from now on, and draw no outlines."""
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(colour)

    def text(
        self,
        words: str,
        box: tuple[float, float, float, float],
        size_mm: float,
        *,
        bold: bool = False,
        align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
        smallest_mm: float = 1.5,
    ) -> None:
        """One line of type with capitals and ascenders about `size_mm` high, made smaller (down to
        `smallest_mm`) and then cut with an ellipsis where it does not fit."""
        rect = self.rect(*box)
        font = _type(size_mm, bold)
        wide = QFontMetricsF(font, self.writer).horizontalAdvance(words)
        if wide > rect.width() > 0:
            font = _type(max(smallest_mm, size_mm * rect.width() / wide * 0.99), bold)
        metrics = QFontMetricsF(font, self.writer)
        self.painter.setFont(font)
        self.painter.setPen(INK)
        shown = metrics.elidedText(words, Qt.TextElideMode.ElideRight, rect.width())
        flags = align | Qt.AlignmentFlag.AlignVCenter
        self.painter.drawText(rect, int(flags) | int(Qt.TextFlag.TextDontClip), shown)


def _type(size_mm: float, bold: bool) -> QFont:
    from benchguide.window.theme import FAMILY

    font = QFont(FAMILY)
    # capitals of B612 are 0.73 of the type size
    font.setPixelSize(max(1, round(size_mm / 0.73 * UNITS_PER_MM)))
    font.setBold(bold)
    return font


@contextmanager
def open_sheet(path: Path, paper: str, *, landscape: bool, title: str) -> Iterator[Sheet]:
    """A PDF of `paper` (`A4`, `A5`, `Letter`) at 1:1, without margins of its own.

    Written beside its place and put there when it is whole. Raises ValueError for an unknown paper and
    OSError when it cannot be written.
    """
    if paper not in PAPER_MM:
        raise ValueError(f"Paper {paper!r} is not known. Choose one of {', '.join(PAPER_MM)}.")
    _need_application()
    if not path.parent.is_dir():
        raise FileNotFoundError(2, "There is no such folder", str(path.parent))
    part = path.with_name(path.name + ".part")
    writer = QPdfWriter(str(part))
    writer.setTitle(title)
    writer.setCreator("Benchguide")
    writer.setResolution(DPI)
    turn = QPageLayout.Orientation.Landscape if landscape else QPageLayout.Orientation.Portrait
    writer.setPageLayout(QPageLayout(QPageSize(_PAGE[paper]), turn, QMarginsF(0, 0, 0, 0)))
    short, long = PAPER_MM[paper]
    painter = QPainter()
    if not painter.begin(writer):
        raise PermissionError(13, "The PDF cannot be written", str(path))
    try:
        yield Sheet(writer, painter, long if landscape else short, short if landscape else long)
        if not painter.end():
            raise OSError(28, "The PDF could not be finished", str(path))
        part.replace(path)
    finally:
        if painter.isActive():
            painter.end()
        part.unlink(missing_ok=True)


def _need_application() -> None:
    """Type on paper needs Qt's font system, which needs an application; printing needs no screen."""
    if QGuiApplication.instance() is None:
        _kept.append(_screenless())
    load_fonts()


def _screenless() -> QGuiApplication:
    """One that a window may use later too: there can be only one in a process."""
    import os

    from PySide6.QtWidgets import QApplication

    if not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    return QApplication(["benchguide"])


#: Qt wants its application object to outlive everything that was drawn with it.
_kept: list[QGuiApplication] = []
