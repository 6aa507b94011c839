"""The newest camera frame, alone, beside the as-found photo, or with that photo laid over it.

It never shows a picture as live that is not: while a status text is set, the text stands in its place.
Scaling is the cheapest Qt has, one repaint a frame, and nothing at all while the widget cannot be seen.
"""

from contextlib import suppress
from pathlib import Path
from typing import Literal

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt, QThreadPool, QTimer, Signal, SignalInstance
from PySide6.QtGui import QFontMetricsF, QImage, QImageReader, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.themed import Painted, wrapped

Mode = Literal["live", "over", "beside"]
MODES: tuple[Mode, ...] = ("live", "over", "beside")
#: what lies over the picture is painted with the next one; where none comes in this time, without it
NEXT_PICTURE_MS = 50
#: a step that was just asked for is painted before its photo is read
AFTER_STEP_MS = 30


class CameraView(Painted):
    """Live picture and as-found photo."""

    _loaded = Signal(int, QImage)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Camera picture", parent)
        self.mode: Mode = "live"
        self.opacity = 0.5
        self.status = "no camera yet"
        self.outline: QRectF | None = None
        self.outline_text = ""
        self._frame: QImage | None = None
        self._reference: QImage | None = None
        self._scaled: dict[QSize, QImage] = {}
        self._wanted = 0
        self._loaded.connect(self._take_loaded)
        self._anew = QTimer(self, singleShot=True, interval=NEXT_PICTURE_MS)
        self._anew.timeout.connect(self.update)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._tell()

    def set_frame(self, frame: QImage) -> None:
        """Show this frame from now on; the image is kept, not copied."""
        before, self._frame = self._frame, frame
        if self.status:
            return
        if before is None or before.size() != frame.size() or self._anew.isActive():
            self._anew.stop()
            self.update()
        else:
            self.update(self._live_box(self._cells()[-1]).toAlignedRect())

    def set_status(self, text: str) -> None:
        """Say why there is no live picture, for example `camera lost since 4 s`; empty when there is one."""
        if text != self.status:
            self.status = text
            self._tell()

    def set_reference(self, photo: QImage | None) -> None:
        """The as-found photo to compare with, or None."""
        self._wanted += 1
        if photo is None and self._reference is None:
            return
        self._reference = photo if photo is not None and not photo.isNull() else None
        self._scaled.clear()
        self._tell()

    def load_reference(self, path: Path | None) -> None:
        """The as-found photo from a file, or None. It appears once it is read, which takes longer than a step may;
        one that cannot be read is left out."""
        self.set_reference(None)
        if path is not None:
            wanted = self._wanted
            QTimer.singleShot(AFTER_STEP_MS, self, lambda: self._begin(path, wanted))

    def _begin(self, path: Path, wanted: int) -> None:
        loaded = self._loaded
        if wanted == self._wanted:
            QThreadPool.globalInstance().start(lambda: _load(path, wanted, loaded))

    def _take_loaded(self, wanted: int, photo: QImage) -> None:
        if wanted == self._wanted:
            self.set_reference(photo)

    def set_opacity(self, opacity: float) -> None:
        """How strongly the as-found photo is laid over the live picture, 0 to 1."""
        self.opacity = min(1.0, max(0.0, opacity))
        self._tell()

    def set_mode(self, mode: Mode) -> None:
        """`live`, `over` (photo laid over) or `beside` (photo left or above, live right or below)."""
        if mode not in MODES:
            raise ValueError(f"{mode!r} is not one of {', '.join(MODES)}")
        if mode != self.mode:
            self.mode = mode
            self._tell()

    def set_outline(self, box: QRectF | None, text: str = "") -> None:
        """Frame the part: left, top, width, height as shares of the picture (0 to 1), or None."""
        if (box, text) != (self.outline, self.outline_text):
            self.outline, self.outline_text = box, text
            self._look_anew()

    @property
    def shown_mode(self) -> Mode:
        """The mode that can be shown: without an as-found photo it is always `live`."""
        return self.mode if self._reference is not None else "live"

    @property
    def live_label(self) -> str:
        """The words on the live picture."""
        if self.shown_mode == "over":
            return f"live  +  as found {round(self.opacity * 100)} %"
        return "live"

    def _tell(self) -> None:
        words = {"live": "live", "over": "as-found photo laid over live", "beside": "as found beside live"}
        self.setAccessibleDescription(self.status or words[self.shown_mode])
        self._look_anew()

    def _look_anew(self) -> None:
        """What lies over the picture changed: while pictures come, it is painted once, with the next of them."""
        if self._frame is None or self.status:
            self.update()
        else:
            self._anew.start()

    def restyle(self) -> None:
        """A new look needs no new scaling."""

    def sizeHint(self) -> QSize:
        """Sixteen to nine."""
        width = round(self.theme.sizes.body_px * 30)
        return QSize(width, width * 9 // 16)

    def minimumSizeHint(self) -> QSize:
        """Room enough to recognise a connector."""
        width = round(self.theme.sizes.body_px * 11)
        return QSize(width, width * 9 // 16)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The prescaled photo no longer fits."""
        self._scaled.clear()
        super().resizeEvent(event)

    def _cells(self) -> tuple[QRectF, ...]:
        """Where pictures go: one area, or two beside or above each other, whichever shows more."""
        area = QRectF(self.rect())
        if self.shown_mode != "beside":
            return (area,)
        gap = self.theme.sizes.gap
        wide = (area.width() - gap) / 2
        high = (area.height() - gap) / 2
        across = covered(self._ratio(), wide, area.height())
        down = covered(self._ratio(), area.width(), high)
        if across >= down:
            return (
                QRectF(0, 0, wide, area.height()),
                QRectF(wide + gap, 0, wide, area.height()),
            )
        return QRectF(0, 0, area.width(), high), QRectF(0, high + gap, area.width(), high)

    def _ratio(self) -> float:
        image = self._frame or self._reference
        return image.width() / image.height() if image is not None and image.height() else 16 / 9

    def _live_box(self, cell: QRectF) -> QRectF:
        return fitted(self._frame.size(), cell) if self._frame is not None else cell

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw ground, pictures, outline and labels."""
        painter = QPainter(self)
        cells = self._cells()
        live = cells[-1]
        ready = self._frame is not None and not self.status
        box = self._live_box(live) if ready else live
        if not (ready and box.contains(QRectF(event.rect()))):
            painter.fillRect(event.rect(), self.theme.colour("picture"))
        if ready and self._frame is not None:
            painter.drawImage(box, self._frame)
            if self.shown_mode == "over":
                painter.setOpacity(self.opacity)
                self._paint_reference(painter, box)
                painter.setOpacity(1.0)
        else:
            self._paint_status(painter, live)
        if self.shown_mode == "beside" and self._reference is not None:
            photo = fitted(self._reference.size(), cells[0])
            if QRectF(event.rect()).intersects(photo):
                self._paint_reference(painter, photo)
                self._paint_label(painter, photo, "as found")
        if ready:
            self._paint_outline(painter, box)
            self._paint_label(painter, box, self.live_label)

    def _paint_reference(self, painter: QPainter, box: QRectF) -> None:
        if self._reference is None:
            return
        ratio = self.devicePixelRatioF()
        size = QSize(round(box.width() * ratio), round(box.height() * ratio))
        if size not in self._scaled:
            self._scaled.clear()
            self._scaled[size] = self._reference.scaled(
                size, Qt.AspectRatioMode.IgnoreAspectRatio, Qt.TransformationMode.SmoothTransformation
            ).convertToFormat(QImage.Format.Format_RGB32)
        painter.drawImage(box, self._scaled[size])

    def _paint_status(self, painter: QPainter, cell: QRectF) -> None:
        font = self.theme.font("heading")
        text = self.status or "no picture yet"
        gap = self.theme.sizes.gap
        size = wrapped(font, text, round(cell.width() - 4 * gap))
        painter.setFont(font)
        painter.setPen(self.theme.colour("picture_ink"))
        room = QRectF(0, 0, cell.width() - 4 * gap, size.height() + gap)
        room.moveCenter(cell.center())
        painter.drawText(room, int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap), text)
        pen = QPen(self.theme.colour("picture_ink"), self.theme.sizes.stroke, Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.drawRect(cell.adjusted(gap, gap, -gap, -gap))

    def _paint_label(self, painter: QPainter, box: QRectF, text: str) -> None:
        gap = self.theme.sizes.gap
        painter.setFont(self.theme.font(bold=True))
        metrics = QFontMetricsF(painter.font())
        text = metrics.elidedText(text, Qt.TextElideMode.ElideRight, max(1.0, box.width() - 2 * gap))
        plate = QRectF(
            box.left(), box.top(), metrics.horizontalAdvance(text) + 2 * gap, metrics.height() + gap
        )
        painter.fillRect(plate, self.theme.colour("picture"))
        painter.setPen(self.theme.colour("picture_ink"))
        painter.drawText(plate, int(Qt.AlignmentFlag.AlignCenter), text)

    def _paint_outline(self, painter: QPainter, box: QRectF) -> None:
        if self.outline is None:
            return
        area = QRectF(
            box.left() + self.outline.left() * box.width(),
            box.top() + self.outline.top() * box.height(),
            self.outline.width() * box.width(),
            self.outline.height() * box.height(),
        )
        arm = min(area.width(), area.height()) * 0.25
        stroke = self.theme.sizes.stroke * 2
        # a dark line under the light one: the outline must show on any picture
        for colour, width in (("picture", stroke * 2.2), ("picture_ink", stroke)):
            painter.setPen(QPen(self.theme.colour(colour), width, c=Qt.PenCapStyle.SquareCap))
            for corner, dx, dy in (
                (area.topLeft(), arm, arm),
                (area.topRight(), -arm, arm),
                (area.bottomLeft(), arm, -arm),
                (area.bottomRight(), -arm, -arm),
            ):
                painter.drawLine(corner, corner + QPointF(dx, 0))
                painter.drawLine(corner, corner + QPointF(0, dy))
        if self.outline_text:
            line = QFontMetricsF(self.theme.font(bold=True)).height() + self.theme.sizes.gap
            top = area.bottom() + stroke * 2
            if top + line > box.bottom():
                # no room below the frame: inside it, above its lower edge, where nothing cuts the words
                top = area.bottom() - line - stroke * 2
            inside = area.adjusted(stroke * 2, 0, -stroke * 2, 0)
            self._paint_label(painter, QRectF(inside.left(), top, inside.width(), line), self.outline_text)

    def live_rect(self) -> QRect:
        """Where the live picture is drawn, in widget pixels."""
        return self._live_box(self._cells()[-1]).toAlignedRect()


def _load(path: Path, wanted: int, loaded: SignalInstance) -> None:
    """Runs in a thread of the pool; the view may be gone when the photo is there."""
    photo = QImageReader(str(path)).read()
    with suppress(RuntimeError):
        loaded.emit(wanted, photo)


def covered(ratio: float, width: float, height: float) -> float:
    """Area that a picture of this aspect ratio covers inside width x height."""
    shown = min(width, height * ratio)
    return shown * shown / ratio


def fitted(size: QSize, cell: QRectF) -> QRectF:
    """The largest box of the aspect ratio of `size` in the middle of `cell`."""
    if size.isEmpty() or cell.isEmpty():
        return QRectF(cell)
    scale = min(cell.width() / size.width(), cell.height() / size.height())
    box = QRectF(0, 0, size.width() * scale, size.height() * scale)
    box.moveCenter(cell.center())
    return QRectF(box.toRect())
