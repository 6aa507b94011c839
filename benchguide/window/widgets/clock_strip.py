"""The times of the bench in one strip: this step, the work so far, the finish as a range, running countdowns.

It shows figures that are handed in; it reads no clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.figures import clock, left, span
from benchguide.window.widgets.themed import Painted

MODE_WORDS = {"touch": "working", "waiting": "waiting", "hold": "on hold", "away": "away"}


@dataclass(frozen=True, slots=True)
class CountdownFigure:
    """One running countdown: its kind, its step in a word or two, seconds left (0 or less is due)."""

    kind: str
    step: str
    left_s: float


@dataclass(frozen=True, slots=True)
class ClockFigures:
    """Everything the strip shows. Seconds, save `finish`: two local times."""

    step_s: float
    expected_s: tuple[float, float]
    worked_s: float
    waiting_s: float
    hold_s: float
    finish: tuple[datetime, datetime] | None = None
    mode: str = "touch"
    """What the clock counts now: touch, waiting, hold or away."""
    countdowns: Sequence[CountdownFigure] = ()
    doubtful: bool = False
    """True when a duration rests on the wall clock alone."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One group of figures: a caption over a value, and whether it asks for attention."""

    caption: str
    value: str
    note: str = ""
    framed: bool = False


def cells_of(figures: ClockFigures) -> tuple[Cell, ...]:
    """The groups in the order they are shown."""
    over = figures.step_s > figures.expected_s[1] > 0
    usual = f"usually {span(*figures.expected_s)}"
    made = [
        Cell("This step" + (", longer than usual" if over else ""), clock(figures.step_s), usual),
        Cell("Worked" + (" about" if figures.doubtful else ""), clock(figures.worked_s)),
        Cell("Waiting", clock(figures.waiting_s)),
        Cell("Hold", clock(figures.hold_s)),
        Cell("Finish", _range(figures.finish)),
    ]
    if figures.mode in ("hold", "away"):
        made.insert(1, Cell("The clock is", MODE_WORDS[figures.mode], framed=True))
    for running in figures.countdowns:
        due = running.left_s <= 0
        what = running.kind.capitalize() + ("" if due else " left")
        what += f", {running.step}" if running.step else ""
        made.append(Cell(what, "due" if due else left(running.left_s), framed=True))
    return tuple(made)


def _range(finish: tuple[datetime, datetime] | None) -> str:
    if finish is None:
        return "cannot tell"
    first, last = (f"{moment:%H:%M}" for moment in finish)
    return first if first == last else f"{first} to {last}"


class ClockStrip(Painted):
    """Wraps into as many lines as the width needs."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Times", parent)
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.cells: tuple[Cell, ...] = ()

    def set_times(self, figures: ClockFigures) -> None:
        """Show these figures; repaints only when a shown figure changed."""
        cells = cells_of(figures)
        if cells == self.cells:
            return
        again = [c.caption for c in cells] != [c.caption for c in self.cells]
        self.cells = cells
        self.setAccessibleDescription("; ".join(f"{c.caption} {c.value} {c.note}".strip() for c in cells))
        if again:
            self.updateGeometry()
        self.update()

    def _widths(self) -> list[float]:
        strong, plain = QFontMetricsF(self._value_font()), QFontMetricsF(self.theme.font())
        pad = 3 * self.theme.sizes.gap
        room = []
        for cell in self.cells:
            value = strong.horizontalAdvance(cell.value)
            if cell.note:
                value += plain.horizontalAdvance(cell.note) + self.theme.sizes.gap
            room.append(max(value, plain.horizontalAdvance(cell.caption)) + pad)
        return room

    def _value_font(self) -> QFont:
        # the figures of B612 all have one width, and its colon sits closer than that of the Mono
        return self.theme.font("heading")

    def _line(self) -> float:
        value = QFontMetricsF(self._value_font()).height()
        return QFontMetricsF(self.theme.font()).height() + value + self.theme.sizes.gap

    def _places(self, width: float) -> list[QRectF]:
        line, x, y = self._line(), 0.0, 0.0
        places = []
        for room in self._widths():
            if x and x + room > width:
                x, y = 0.0, y + line + self.theme.sizes.gap / 2
            places.append(QRectF(x, y, room, line))
            x += room
        return places

    def hasHeightForWidth(self) -> bool:
        """True: the groups wrap."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height in pixels of all lines at this width."""
        places = self._places(width)
        return round((places[-1].bottom() if places else self._line()) + 1)

    def sizeHint(self) -> QSize:
        """One line."""
        width = round(sum(self._widths())) + 1
        return QSize(width, round(self._line()) + 1)

    def minimumSizeHint(self) -> QSize:
        """As wide as the widest group."""
        return QSize(round(max(self._widths(), default=0)), round(self._line()) + 1)

    def paintEvent(self, _event: object) -> None:
        """Draw the groups, a hairline between them."""
        s, painter = self.theme.sizes, QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        plain = QFontMetricsF(self.theme.font()).height()
        for cell, place in zip(self.cells, self._places(self.width()), strict=True):
            if cell.framed:
                painter.setPen(QPen(self.theme.colour("accent"), s.stroke))
                painter.setBrush(self.theme.colour("tint"))
                inset = s.stroke / 2
                painter.drawRoundedRect(
                    place.adjusted(inset, inset, -inset - s.gap / 2, -inset), s.radius, s.radius
                )
            elif place.left():
                painter.setPen(QPen(self.theme.colour("line"), s.stroke))
                painter.drawLine(place.topLeft(), place.bottomLeft())
            box = place.adjusted(s.gap, s.gap / 2, 0, 0)
            painter.setPen(self.theme.colour("ink" if cell.framed else "soft_ink"))
            painter.setFont(self.theme.font())
            left_top = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
            painter.drawText(box, left_top, cell.caption)
            painter.setPen(self.theme.colour("ink"))
            painter.setFont(self._value_font())
            painter.drawText(box.translated(0, plain), left_top, cell.value)
            if cell.note:
                shift = QFontMetricsF(painter.font()).horizontalAdvance(cell.value) + s.gap
                drop = QFontMetricsF(painter.font()).ascent() - QFontMetricsF(self.theme.font()).ascent()
                painter.setFont(self.theme.font())
                painter.setPen(self.theme.colour("soft_ink"))
                painter.drawText(box.translated(shift, plain + drop), left_top, cell.note)
