"""The times of the bench in one strip: this step, the work so far, the finish as a range, running countdowns.

It shows figures that are handed in; it reads no clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, QSizeF
from PySide6.QtGui import QFont, QPainter, QPaintEvent, QPen, QPixmap
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.figures import clock, left, span
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.themed import Painted, advance, line_ascent, line_height

#: groups that are kept drawn without their figures: those in view and the last few before them
MOST_KEPT = 24
#: widths of groups are whole multiples of so many body-type ems
GRID_EMS = 2
#: figures and notes that are kept drawn
MOST_WORDS = 48
#: sets of figures at one width whose places are remembered
MOST_PLACED = 16

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
        self._kept, self._words = Kept(MOST_KEPT), Kept(MOST_WORDS)
        self._placed: dict[tuple[tuple[Cell, ...], float], list[QRectF]] = {}
        self._here: tuple[tuple[Cell, ...], float, list[QRectF]] | None = None

    def restyle(self) -> None:
        """Other colours or sizes: every group is drawn anew."""
        for kept in (self._kept, self._words):
            kept.clear()
        self._placed.clear()
        self._here = None

    def set_times(self, figures: ClockFigures) -> None:
        """Show these figures; repaints only the groups whose figure changed."""
        before, cells = self.cells, cells_of(figures)
        if cells == before:
            return
        again = [c.caption for c in cells] != [c.caption for c in before]
        old = () if again else self._places(self.width())
        self.cells = cells
        self.setAccessibleDescription("; ".join(f"{c.caption} {c.value} {c.note}".strip() for c in cells))
        if again:
            self.updateGeometry()
        places = self._places(self.width())
        if len(old) != len(places):
            self.update()
            return
        for one, other, was, is_now in zip(before, cells, old, places, strict=True):
            if one != other or was != is_now:
                self.update(was.united(is_now).toAlignedRect())

    def prepare(self, figures: ClockFigures) -> None:
        """Draw groups ahead of time that will be shown soon."""
        for cell, place in zip(cells := cells_of(figures), self._places(self.width(), cells), strict=True):
            self._picture(cell, place)

    def _widths(self, cells: tuple[Cell, ...] | None = None) -> list[float]:
        strong, plain = self._value_font(), self.theme.font()
        pad = 3 * self.theme.sizes.gap
        # in coarse widths: a figure that grows by a digit does not move all that stand behind it
        grid = GRID_EMS * self.theme.sizes.body_px
        room = []
        for cell in self.cells if cells is None else cells:
            value = advance(strong, cell.value)
            if cell.note:
                value += advance(plain, cell.note) + self.theme.sizes.gap
            room.append(ceil((max(value, advance(plain, cell.caption)) + pad) / grid) * grid)
        return room

    def _value_font(self) -> QFont:
        # the figures of B612 all have one width, and its colon sits closer than that of the Mono
        return self.theme.font("heading")

    def _line(self) -> float:
        value = line_height(self._value_font())
        return line_height(self.theme.font()) + value + self.theme.sizes.gap

    def _places(self, width: float, cells: tuple[Cell, ...] | None = None) -> list[QRectF]:
        """Where the groups stand; layouts and painting ask for the same few again and again."""
        if (
            cells is None
            and self._here is not None
            and self._here[0] is self.cells
            and self._here[1] == width
        ):
            return self._here[2]
        places = self._places_of(self.cells if cells is None else cells, width)
        if cells is None:
            self._here = (self.cells, width, places)
        return places

    def _places_of(self, cells: tuple[Cell, ...], width: float) -> list[QRectF]:
        key = (cells, width)
        places = self._placed.get(key)
        if places is None:
            while len(self._placed) >= MOST_PLACED:
                del self._placed[next(iter(self._placed))]
            places = self._placed[key] = self._place(*key)
        return places

    def _place(self, cells: tuple[Cell, ...], width: float) -> list[QRectF]:
        line, x, y = self._line(), 0.0, 0.0
        places = []
        for room in self._widths(cells):
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

    def paintEvent(self, event: QPaintEvent) -> None:
        """Lay down the groups, a hairline between them."""
        painter = QPainter(self)
        ground = self.ground
        if ground is not None:
            painter.fillRect(event.rect(), ground)
        for cell, place in zip(self.cells, self._places(self.width()), strict=True):
            if _room(place).intersects(event.rect()):
                painter.drawPixmap(_room(place).topLeft(), self._picture(cell, place))
                self._write_figures(painter, cell, place)

    def _picture(self, cell: Cell, place: QRectF) -> QPixmap:
        """The group at this place without its figures, which change with every second."""
        room, after_another = _room(place), place.left() > 0
        shifted = place.translated(-QPointF(room.topLeft()))
        key = (
            cell.caption,
            cell.framed,
            after_another,
            shifted.left(),
            place.width(),
            self.devicePixelRatioF(),
        )

        def draw(painter: QPainter) -> None:
            self._draw(painter, cell, shifted, after_another)

        return self._kept.picture(key, QSizeF(room.size()), self.devicePixelRatioF(), self.ground, draw)

    def _draw(self, painter: QPainter, cell: Cell, place: QRectF, after_another: bool) -> None:
        """Frame or hairline, and the caption; a hairline stands before all but the first of a line."""
        s = self.theme.sizes
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if cell.framed:
            painter.setPen(QPen(self.theme.colour("accent"), s.stroke))
            painter.setBrush(self.theme.colour("tint"))
            inset = s.stroke / 2
            painter.drawRoundedRect(
                place.adjusted(inset, inset, -inset - s.gap / 2, -inset), s.radius, s.radius
            )
        elif after_another:
            painter.setPen(QPen(self.theme.colour("line"), s.stroke))
            painter.drawLine(place.topLeft(), place.bottomLeft())
        corner = place.topLeft() + QPointF(s.gap, s.gap / 2)
        colour = "ink" if cell.framed else "soft_ink"
        self._write(painter, corner, self.theme.font(), colour, cell.caption)

    def _write_figures(self, painter: QPainter, cell: Cell, place: QRectF) -> None:
        s, plain, strong = self.theme.sizes, self.theme.font(), self._value_font()
        corner = place.topLeft() + QPointF(s.gap, s.gap / 2 + line_height(plain))
        self._write_kept(painter, corner, "heading", "ink", cell.value, cell.framed)
        if cell.note:
            shift = QPointF(advance(strong, cell.value) + s.gap, line_ascent(strong) - line_ascent(plain))
            self._write_kept(painter, corner + shift, "", "soft_ink", cell.note, cell.framed)

    def _write_kept(
        self, painter: QPainter, corner: QPointF, role: str, colour: str, text: str, framed: bool
    ) -> None:
        """As `_write`, on whole pixels: most figures were there a moment ago or stand in another group too."""
        ground = self.theme.colour("tint") if framed else self.ground
        if ground is None:
            self._write(painter, corner, self._font(role), colour, text)
            return

        def draw(fresh: QPainter) -> None:
            self._write(fresh, QPointF(0, 0), self._font(role), colour, text)

        font, ratio = self._font(role), self.devicePixelRatioF()
        size = QSizeF(advance(font, text) + 1, line_height(font))
        picture = self._words.picture((text, role, framed, ratio), size, ratio, ground, draw)
        painter.drawPixmap(corner.toPoint(), picture)

    def _font(self, role: str) -> QFont:
        return self.theme.font(role) if role else self.theme.font()

    def _write(self, painter: QPainter, corner: QPointF, font: QFont, colour: str, text: str) -> None:
        """One line from its left upper corner; cheaper than text laid out in a box."""
        painter.setFont(font)
        painter.setPen(self.theme.colour(colour))
        painter.drawText(corner + QPointF(0, line_ascent(font)), text)


def _room(place: QRectF) -> QRect:
    """The whole pixels of a group, with those its hairline reaches into."""
    return place.adjusted(-2, -2, 2, 2).toAlignedRect()
