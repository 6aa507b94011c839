"""The camera view with what was seen in it: numbered outlines, marked places, as-found in its place, a banner.

Shows plain values in shares of the picture; finds nothing itself. Violet on ink: these are no safety colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.camera_view import CameraView, fitted
from benchguide.window.widgets.themed import wrap_flags, wrapped

if TYPE_CHECKING:
    from benchguide.window.live_compare import Outlined

#: the words on the photo beside the live picture
AS_FOUND = "as found"
#: a mark that is set with one tap, as share of the width of the photo
TAP_SIZE = {"screw": 0.03, "connector": 0.09}


@dataclass(frozen=True, slots=True)
class Banner:
    """Large words over the foot of the picture. `left` (0 to 1) draws the bar of a countdown; None draws none."""

    text: str
    strong: bool = False
    left: float | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """A marked place on the as-found photo: middle and size (of the width) as shares."""

    number: int
    kind: str
    x: float
    y: float
    size: float


class SeenView(CameraView):
    """Camera view of the bench."""

    tapped = Signal(float, float, float)
    """A place on the as-found photo while places are marked: middle and size as shares (size of the width)."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.outlines: tuple[Outlined, ...] = ()
        self.spots: tuple[Spot, ...] = ()
        self.banner: Banner | None = None
        self.note = ""
        self.marking = ""
        self.laid: QImage | None = None
        self._laid_shown: tuple[QSize, QImage] | None = None
        self._pressed: QPointF | None = None

    def set_seen(self, outlines: Sequence[Outlined], laid: QImage | None, note: str = "") -> None:
        """Outlines on the live picture, the as-found photo as it lies over it (None lays it as it was taken), and a
        few words beside the label."""
        outlines = tuple(outlines)
        if (outlines, note) == (self.outlines, self.note) and laid is self.laid:
            return
        self.outlines, self.laid, self.note = outlines, laid, note
        self._laid_shown = None
        self._tell()

    def set_spots(self, spots: Sequence[Spot]) -> None:
        """Marked places, shown on the as-found photo."""
        if tuple(spots) != self.spots:
            self.spots = tuple(spots)
            self._look_anew()

    def set_marking(self, kind: str) -> None:
        """Take taps on the as-found photo as places of this kind; empty ends it."""
        self.marking = kind
        self.setCursor(Qt.CursorShape.CrossCursor if kind else Qt.CursorShape.ArrowCursor)

    def set_banner(self, banner: Banner | None) -> None:
        """Words over the foot of the picture, or None."""
        if banner != self.banner:
            self.banner = banner
            self.setAccessibleDescription(banner.text if banner else self.status)
            self._look_anew()

    @property
    def live_label(self) -> str:
        """The words on the live picture, with what the comparison says."""
        words = super().live_label
        return f"{words}  ·  {self.note}" if self.note else words

    # -- painting

    def _paint_reference(self, painter: QPainter, box: QRectF) -> None:
        if self.shown_mode == "over" and self.laid is not None:
            painter.drawImage(box, self._laid_at(self.laid, box))
            return
        super()._paint_reference(painter, box)
        if self.shown_mode == "beside":
            for each in self.outlines:
                self._paint_numbered(painter, box, each.found, str(each.number))
            for spot in self.spots:
                self._paint_spot(painter, box, spot)

    def _laid_at(self, laid: QImage, box: QRectF) -> QImage:
        ratio = self.devicePixelRatioF()
        size = QSize(round(box.width() * ratio), round(box.height() * ratio))
        if self._laid_shown is None or self._laid_shown[0] != size:
            self._laid_shown = (size, laid.scaled(size, Qt.AspectRatioMode.IgnoreAspectRatio))
        return self._laid_shown[1]

    def _paint_outline(self, painter: QPainter, box: QRectF) -> None:
        super()._paint_outline(painter, box)
        for each in self.outlines:
            self._paint_numbered(painter, box, each.box, str(each.number))
        if self.banner is not None:
            self._paint_banner(painter, self.banner)

    def _paint_numbered(self, painter: QPainter, box: QRectF, share: QRectF, number: str) -> None:
        """An outline a little outside the place, with its number on a plate at the upper left."""
        stroke = max(2, self.theme.sizes.stroke)
        area = QRectF(
            box.left() + share.left() * box.width(),
            box.top() + share.top() * box.height(),
            share.width() * box.width(),
            share.height() * box.height(),
        ).adjusted(-2 * stroke, -2 * stroke, 2 * stroke, 2 * stroke)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        # the light line under the violet one shows it on dark and on bright boards
        for colour, width in ((QColor("white"), 3.0 * stroke), (self._violet, 1.6 * stroke)):
            painter.setPen(QPen(colour, width, j=Qt.PenJoinStyle.RoundJoin))
            painter.drawRect(area)
        font = self.theme.font(bold=True)
        metrics = QFontMetricsF(font)
        plate = QRectF(0, 0, metrics.horizontalAdvance(number) + self.theme.sizes.gap, metrics.height())
        plate.moveBottomLeft(area.topLeft())
        if plate.top() < box.top():
            plate.moveTopLeft(area.bottomLeft())
        plate.moveLeft(min(plate.left(), box.right() - plate.width()))
        painter.fillRect(plate, self._violet)
        painter.setFont(font)
        painter.setPen(QColor("white"))
        painter.drawText(plate, int(Qt.AlignmentFlag.AlignCenter), number)

    @property
    def _violet(self) -> QColor:
        """The accent, dark enough in both themes to carry white figures."""
        accent = self.theme.colour("accent")
        return accent if accent.lightnessF() < 0.5 else QColor.fromHslF(accent.hueF(), 0.6, 0.42)

    def _paint_spot(self, painter: QPainter, box: QRectF, spot: Spot) -> None:
        half = max(4.0, spot.size * box.width() / 2)
        middle = QPointF(box.left() + spot.x * box.width(), box.top() + spot.y * box.height())
        painter.setBrush(Qt.BrushStyle.NoBrush)
        stroke = max(2, self.theme.sizes.stroke)
        for colour, width in ((QColor("white"), 2.6 * stroke), (self._violet, 1.2 * stroke)):
            painter.setPen(QPen(colour, width))
            if spot.kind == "screw":
                painter.drawEllipse(middle, half, half)
            else:
                painter.drawRect(QRectF(middle.x() - half, middle.y() - half, 2 * half, 2 * half))

    def _paint_label(self, painter: QPainter, box: QRectF, text: str) -> None:
        """Above the picture where there is room: inside it, a label would hide what was found."""
        high = QFontMetricsF(self.theme.font(bold=True)).height() + self.theme.sizes.gap
        super()._paint_label(painter, box.translated(0, -high) if box.top() >= high else box, text)
        # what was found lies over the words, never under them
        if text == AS_FOUND:
            for each in self.outlines:
                self._paint_numbered(painter, box, each.found, str(each.number))
            for spot in self.spots:
                self._paint_spot(painter, box, spot)
        elif text == self.live_label:
            for each in self.outlines:
                self._paint_numbered(painter, box, each.box, str(each.number))
            if self.banner is not None:
                self._paint_banner(painter, self.banner)

    def _paint_banner(self, painter: QPainter, banner: Banner) -> None:
        gap = self.theme.sizes.gap
        font = self.theme.font("heading")
        # as wide as the whole view: half of it would be all words
        area = QRectF(self.rect())
        room = area.width() - 4 * gap
        high = wrapped(font, banner.text, round(room)).height()
        plate = QRectF(0, 0, area.width(), high + 2 * gap)
        plate.moveBottom(area.bottom())
        ground = self._violet if banner.strong else self.theme.colour("picture")
        painter.fillRect(plate, ground)
        if banner.left is not None:
            bar = QRectF(
                plate.left(), plate.top() - gap, plate.width() * min(1.0, max(0.0, banner.left)), gap
            )
            painter.fillRect(
                QRectF(plate.left(), bar.top(), plate.width(), gap), self.theme.colour("picture")
            )
            painter.fillRect(bar, QColor("white"))
        painter.setFont(font)
        painter.setPen(QColor("white") if banner.strong else self.theme.colour("picture_ink"))
        painter.drawText(plate.adjusted(2 * gap, gap, -2 * gap, -gap), wrap_flags(), banner.text)

    # -- marking places

    def _photo_box(self) -> QRectF | None:
        cells = self._cells()
        if self.shown_mode != "beside" or self._reference is None or len(cells) < 2:
            return None
        return fitted(self._reference.size(), cells[0])

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A tap on the as-found photo begins a mark."""
        self._pressed = event.position() if self.marking and self._photo_box() else None
        if self._pressed is None:
            super().mousePressEvent(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """A tap sets a mark of the usual size; dragging from the middle outwards sets its size."""
        start, self._pressed, box = self._pressed, None, self._photo_box()
        if start is None or box is None or not box.contains(start):
            super().mouseReleaseEvent(event)
            return
        moved = event.position() - start
        drawn = 2 * (moved.x() ** 2 + moved.y() ** 2) ** 0.5 / box.width()
        size = drawn if drawn > 0.012 else TAP_SIZE.get(self.marking, 0.05)
        self.tapped.emit(
            (start.x() - box.left()) / box.width(), (start.y() - box.top()) / box.height(), min(1.0, size)
        )
