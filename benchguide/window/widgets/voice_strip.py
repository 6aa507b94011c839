"""What is heard and said, at a glance: microphone with level and room, reading aloud, foot switch, last words.

One quiet line of lamps told by shape as well as by words; a lamp that is off takes no room. Listens to nothing itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.themed import Painted, advance

#: what was understood stays in view for this long
WORDS_MS = 7000
#: the meter spans these levels, dB below full scale
QUIET_DB, LOUD_DB = -70.0, -6.0
#: the meter moves by this much before it is painted anew, as a share of its height
NOTCHES = 12
#: words ask for no more than this width, in heights of a lamp; what is longer is cut
MOST_WORDS = 8
Shape = Callable[[QPainter, QRectF], None]


class Lamp(StrEnum):
    """How a lamp is drawn: hollow and crossed, hollow, filled, filled with waves."""

    OFF = "off"
    FAULT = "fault"
    READY = "ready"
    BUSY = "busy"


@dataclass(frozen=True, slots=True)
class VoiceFigures:
    """What the strip shows; levels in dB below full scale."""

    microphone: Lamp = Lamp.OFF
    reading: Lamp = Lamp.OFF
    switch: Lamp = Lamp.OFF
    now_db: float = -120.0
    room_db: float = -120.0
    too_noisy: bool = False
    clipping: bool = False

    @property
    def notch(self) -> tuple[int, int]:
        """Level and room as notches of the meter."""
        return _notch(self.now_db), _notch(self.room_db)


def _notch(level_db: float) -> int:
    share = (level_db - QUIET_DB) / (LOUD_DB - QUIET_DB)
    return round(NOTCHES * min(1.0, max(0.0, share)))


class VoiceStrip(Painted):
    """`set_figures` and `say`. A click on it opens the setting up."""

    clicked = Signal()
    worded = Signal(bool)
    """Whether there are words now: whatever else stands in the line gives way to them, wholly."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Hands-free", parent)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.figures = VoiceFigures()
        self.words, self.strong = "", False
        self._worded = False
        self._clear = QTimer(self, singleShot=True, interval=WORDS_MS)
        self._clear.timeout.connect(lambda: self.say(""))
        self.hide()

    def set_figures(self, figures: VoiceFigures) -> None:
        """Show these; repaints only when something visible moved."""
        before, self.figures = self.figures, figures
        if replace(before, now_db=0, room_db=0) != replace(figures, now_db=0, room_db=0):
            self.setAccessibleDescription(self.told())
            self.setToolTip(self.told())
            self._fit()
        elif before.notch != figures.notch:
            self.update()

    def say(self, words: str, strong: bool = False) -> None:
        """What was understood, for some seconds; `strong` for what is refused or wants an answer."""
        self.words, self.strong = words, strong
        self._clear.start() if words else self._clear.stop()
        self.setAccessibleDescription(words or self.told())
        self._fit()

    def told(self) -> str:
        """The lamps in words."""
        f = self.figures
        said = []
        if f.microphone is not Lamp.OFF:
            heard = {Lamp.FAULT: "Microphone not heard", Lamp.BUSY: "Somebody speaks"}
            said.append(heard.get(f.microphone, "Microphone heard"))
            said += ["too noisy to rely on"] if f.too_noisy else []
            said += ["overdriven"] if f.clipping else []
        if f.reading is not Lamp.OFF:
            said.append(
                {Lamp.FAULT: "nothing is read aloud", Lamp.BUSY: "reading aloud"}.get(
                    f.reading, "ready to read"
                )
            )
        if f.switch is not Lamp.OFF:
            said.append("foot switch would not be heard" if f.switch is Lamp.FAULT else "foot switch heard")
        return ", ".join(said)

    def short(self) -> str:
        """The one thing that needs the person, in few words; what was understood comes first."""
        if self.words:
            return self.words
        f = self.figures
        if f.switch is Lamp.FAULT:
            return "Switch not heard"
        if f.microphone is Lamp.FAULT:
            return "Not hearing"
        if f.microphone is not Lamp.OFF and f.too_noisy:
            return "Too noisy"
        if f.microphone is not Lamp.OFF and f.clipping:
            return "Too loud"
        return "Not reading" if f.reading is Lamp.FAULT else ""

    def _fit(self) -> None:
        lit = any(lamp is not Lamp.OFF for lamp in self._lamps())
        self.setVisible(lit or bool(self.words))
        if bool(self.short()) != self._worded:
            self._worded = bool(self.short())
            self.worded.emit(self._worded)
        self.updateGeometry()
        self.update()

    def _lamps(self) -> tuple[Lamp, Lamp, Lamp]:
        return self.figures.microphone, self.figures.reading, self.figures.switch

    @property
    def _side(self) -> float:
        return QFontMetricsF(self.theme.font(bold=True)).height() * 1.25

    def _font(self) -> QFont:
        return self.theme.font(bold=True)

    def sizeHint(self) -> QSize:
        """As wide as lit lamps and words are."""
        gap, side = self.theme.sizes.gap, self._side
        width = sum(side + gap for lamp in self._lamps() if lamp is not Lamp.OFF)
        if self.figures.microphone is not Lamp.OFF:
            width += side * 0.6
        if self.short():
            width += advance(self._font(), self.short()) + gap
        lines = 2 * QFontMetricsF(self._font()).lineSpacing() if self.short() else 0
        return QSize(round(width), round(max(side + gap, lines)))

    def minimumSizeHint(self) -> QSize:
        """Words take two lines where the window is small; a very long sentence is cut, and spoken whole."""
        gap, side = self.theme.sizes.gap, self._side
        lit = sum(1 for lamp in self._lamps() if lamp is not Lamp.OFF)
        meter = side * 0.6 if self.figures.microphone is not Lamp.OFF else 0
        most = side * MOST_WORDS
        words = min(most, advance(self._font(), self.short()) * 0.62) + gap if self.short() else 0
        return QSize(round(lit * (side + gap) + meter + words), round(side))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        event.accept()
        self.clicked.emit()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        gap, side = self.theme.sizes.gap, self._side
        x = float(self.width())
        top = (self.height() - side) / 2
        shapes = (_pedal, _loudspeaker, _microphone)
        for shape, lamp in zip(shapes, reversed(self._lamps()), strict=True):
            if lamp is Lamp.OFF:
                continue
            x -= side
            self._lamp(painter, QRectF(x, top, side, side), shape, lamp)
            if shape is _microphone:
                x -= side * 0.6
                self._meter(painter, QRectF(x, top, side * 0.4, side))
            x -= gap
        self._words(painter, QRectF(0, 0, max(0.0, x), self.height()))

    def _words(self, painter: QPainter, box: QRectF) -> None:
        words = self.short()
        if not words or box.width() < self._side:
            return
        font = self._font()
        painter.setFont(font)
        painter.setPen(self.theme.colour("accent" if self.strong or not self.words else "ink"))
        metrics = QFontMetricsF(font)
        where = int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight)
        wrap = where | int(Qt.TextFlag.TextWordWrap)
        if metrics.boundingRect(box, wrap, words).height() <= box.height():
            painter.drawText(box, wrap, words)
        else:
            cut = metrics.elidedText(words, Qt.TextElideMode.ElideRight, box.width())
            painter.drawText(box, where, cut)

    def _lamp(self, painter: QPainter, box: QRectF, shape: Shape, lamp: Lamp) -> None:
        stroke = max(1.5, self.theme.sizes.stroke * 1.2)
        colour = self.theme.colour(
            "accent" if lamp is Lamp.BUSY else "ink" if lamp is Lamp.READY else "soft_ink"
        )
        painter.setPen(QPen(colour, stroke, c=Qt.PenCapStyle.RoundCap, j=Qt.PenJoinStyle.RoundJoin))
        painter.setBrush(colour if lamp is not Lamp.FAULT else Qt.BrushStyle.NoBrush)
        shape(painter, box)
        if lamp is Lamp.FAULT:
            painter.setPen(QPen(self.theme.colour("ink"), stroke * 1.5))
            painter.drawLine(box.bottomLeft(), box.topRight())

    def _meter(self, painter: QPainter, box: QRectF) -> None:
        """Level as a column, the room as a line across it."""
        level, room = self.figures.notch
        painter.setPen(QPen(self.theme.colour("edge"), 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(box)
        height = box.height() * level / NOTCHES
        painter.fillRect(
            QRectF(box.left(), box.bottom() - height, box.width(), height), self.theme.colour("accent")
        )
        y = box.bottom() - box.height() * room / NOTCHES
        painter.setPen(QPen(self.theme.colour("ink"), max(2, self.theme.sizes.stroke)))
        painter.drawLine(QPointF(box.left() - 2, y), QPointF(box.right() + 2, y))


def _microphone(painter: QPainter, box: QRectF) -> None:
    w, h = box.width(), box.height()
    painter.drawRoundedRect(
        QRectF(box.left() + w * 0.36, box.top() + h * 0.04, w * 0.28, h * 0.52), w * 0.14, w * 0.14
    )
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawArc(
        QRectF(box.left() + w * 0.22, box.top() + h * 0.18, w * 0.56, h * 0.56), 180 * 16, 180 * 16
    )
    middle = box.left() + w * 0.5
    painter.drawLine(QPointF(middle, box.top() + h * 0.74), QPointF(middle, box.top() + h * 0.94))
    painter.drawLine(
        QPointF(box.left() + w * 0.3, box.top() + h * 0.95),
        QPointF(box.left() + w * 0.7, box.top() + h * 0.95),
    )


def _loudspeaker(painter: QPainter, box: QRectF) -> None:
    w, h, x, y = box.width(), box.height(), box.left(), box.top()
    points = [(0.06, 0.35), (0.26, 0.35), (0.5, 0.12), (0.5, 0.88), (0.26, 0.65), (0.06, 0.65)]
    painter.drawPolygon(QPolygonF([QPointF(x + w * a, y + h * b) for a, b in points]))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for size in (0.3, 0.62):
        arc = QRectF(x + w * (0.56 - size / 2), y + h * (0.5 - size / 2), w * size, h * size)
        painter.drawArc(arc, -45 * 16, 90 * 16)


def _pedal(painter: QPainter, box: QRectF) -> None:
    w, h, x, y = box.width(), box.height(), box.left(), box.top()
    plate = [(0.08, 0.5), (0.9, 0.22), (0.94, 0.4), (0.12, 0.68)]
    painter.drawPolygon(QPolygonF([QPointF(x + w * a, y + h * b) for a, b in plate]))
    painter.drawLine(QPointF(x + w * 0.06, y + h * 0.86), QPointF(x + w * 0.94, y + h * 0.86))
    painter.drawLine(QPointF(x + w * 0.5, y + h * 0.56), QPointF(x + w * 0.5, y + h * 0.82))
