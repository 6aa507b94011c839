"""The drawing of the device in the window: shows one look, and keeps the last few looks drawn.

How a device is drawn is in device_drawing.py. It knows no session.
"""

from collections.abc import Iterator

from PySide6.QtCore import QRectF, QSize, QSizeF, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPixmap
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Face
from benchguide.session.ledger import Ledger
from benchguide.window.theme import Theme
from benchguide.window.widgets.device_drawing import DeviceDrawing, Pieces, face_of, middles
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.marks import PartMark
from benchguide.window.widgets.part_places import parts_at
from benchguide.window.widgets.themed import Painted

__all__ = ["DeviceView", "face_of", "middles"]

#: Whole drawings that are kept: this step, those before it, and those that are likely next.
MOST_WHOLE = 6


class DeviceView(Painted):
    """The drawing with its legend."""

    part_chosen = Signal(str)
    """A click meant this part."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Drawing of the device", parent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.device: DeviceMap | None = None
        self.ledger = Ledger()
        self.step: Step | None = None
        self._drawing: DeviceDrawing | None = None
        self._pieces = Pieces()
        self._kept = Kept(MOST_WHOLE)

    def set_state(self, device: DeviceMap, ledger: Ledger, step: Step | None) -> None:
        """Draw `device` with what `ledger` says is out, and mark the places of `step`."""
        if device is self.device and step is self.step and ledger == self.ledger:
            return
        if device is not self.device:
            self._kept.clear()
            self._pieces = Pieces()
        before = self._drawing.key if self._drawing and device is self.device else None
        self.device, self.ledger, self.step = device, ledger, step
        self._drawing = self._draw_of(device, ledger, step)
        self.setAccessibleDescription("; ".join(self.legend) or f"{device.name}, {self.face.value} up")
        if self._drawing.key != before:
            self.update()

    def prepare(self, ledger: Ledger, step: Step) -> Iterator[None]:
        """Draw ahead of time how the same device will look, a little at each turn."""
        if self.device is None or self.width() < self.minimumSizeHint().width():
            # never shown: nobody knows how large it will be
            return
        drawing = self._draw_of(self.device, ledger, step)
        if self._whole_key(drawing) in self._kept:
            return
        for _piece in drawing.pieces(QRectF(self.rect())):
            yield
        self._picture(drawing)

    def _draw_of(self, device: DeviceMap, ledger: Ledger, step: Step | None) -> DeviceDrawing:
        return DeviceDrawing(self.theme, device, ledger, step, self.devicePixelRatioF(), self._pieces)

    def restyle(self) -> None:
        """Other colours or sizes: every part is drawn anew."""
        self._kept.clear()
        self._pieces = Pieces()
        if self.device is not None:
            self._drawing = self._draw_of(self.device, self.ledger, self.step)

    @property
    def face(self) -> Face:
        """The side that is up."""
        return self._drawing.face if self._drawing else Face.BACK

    @property
    def marks(self) -> tuple[PartMark, ...]:
        """The marks of the present step."""
        return self._drawing.marks if self._drawing else ()

    @property
    def legend(self) -> tuple[str, ...]:
        """What the signs of this step stand for."""
        return tuple(mark.legend for mark in self.marks)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose the part that lies there."""
        if self.device is None or self._drawing is None:
            return
        origin, scale = self._drawing.place(QRectF(self.rect()))
        found = parts_at(self.device, self.face, event.position(), origin, scale, self.theme.sizes.body_px)
        if found:
            self.part_chosen.emit(found[0])

    def sizeHint(self) -> QSize:
        """About the shape of the device."""
        width = round(self.theme.sizes.body_px * 30)
        return QSize(width, round(width * 0.62))

    def minimumSizeHint(self) -> QSize:
        """Small, but with its legend."""
        width = round(self.theme.sizes.body_px * 12)
        return QSize(width, round(width * 0.6))

    def paintEvent(self, _event: object) -> None:
        """Lay down the drawing."""
        painter = QPainter(self)
        if self._drawing is None:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            if (ground := self.ground) is not None:
                painter.fillRect(self.rect(), ground)
            DeviceDrawing.draw_frame(painter, QRectF(self.rect()), self.theme)
            return
        if self._drawing.ratio != self.devicePixelRatioF():
            # moved to another screen
            self.restyle()
        painter.drawPixmap(0, 0, self._picture(self._drawing))

    def _whole_key(self, drawing: DeviceDrawing) -> tuple[object, ...]:
        return self.width(), self.height(), drawing.key

    def _picture(self, drawing: DeviceDrawing) -> QPixmap:
        def draw(painter: QPainter) -> None:
            drawing.draw(painter, QRectF(self.rect()))

        return self._kept.picture(
            self._whole_key(drawing), QSizeF(self.size()), drawing.ratio, self.ground, draw
        )
