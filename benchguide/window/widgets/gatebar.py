"""The hold points that are open now, in words, with the photo that must come first as a banner above them.

It shows gates and says which one a person chose; releasing and waiving happen elsewhere.
"""

from collections.abc import Iterator, Sequence

from PySide6.QtCore import QRectF, QSize, QSizeF, Qt, Signal
from PySide6.QtGui import QPainter, QPen, QPixmap, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.session.gate import Gate
from benchguide.window.theme import Theme
from benchguide.window.widgets import shapes
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.themed import PaintedButton, Panel, wrap_flags, wrapped

#: hold points of one row that are kept drawn: the usual ones ask for a photo, at every step in the same words
MOST_KEPT = 6
PHOTO_KINDS = ("as-found", "as-left", "poor-as-found", "poor-as-left")


def _photo_first(gate: Gate | None) -> bool:
    return gate is not None and gate.kind == "as-found"


def _words(gate: Gate | None) -> tuple[str, str]:
    """Title and text of a hold point."""
    if gate is None:
        return "", ""
    if _photo_first(gate):
        return "Photo first", f"{gate.sentence} {gate.remedy}"
    return gate.sentence, gate.remedy


class GateRow(PaintedButton):
    """One open hold point: a shape, what is missing, and what to do about it."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "", parent)
        self.gate: Gate | None = None
        self._kept = Kept(MOST_KEPT)
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    @property
    def photo_first(self) -> bool:
        """True for the banner: an as-found photo, to be taken before anything is touched."""
        return _photo_first(self.gate)

    def set_gate(self, gate: Gate) -> None:
        """Show this hold point."""
        if gate == self.gate:
            return
        self.gate = gate
        title, text = _words(gate)
        self.setAccessibleName(f"{title} {text}")
        self.updateGeometry()
        self.update()

    def _measures(self, gate: Gate | None, width: int) -> tuple[int, int, int]:
        s = self.theme.sizes
        icon = round(s.body_px * 2)
        room = width - icon - 5 * s.gap + 1
        title, text = _words(gate)
        strong = wrapped(self.theme.font(bold=True), title, room).height()
        return icon, strong, wrapped(self.theme.font(), text, room).height()

    def hasHeightForWidth(self) -> bool:
        """True: the text wraps."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height in pixels that the whole text needs at this width."""
        return self._height(self.gate, width)

    def _height(self, gate: Gate | None, width: int) -> int:
        icon, strong, text = self._measures(gate, width)
        return max(icon, strong + text) + 2 * self.theme.sizes.gap

    def sizeHint(self) -> QSize:
        """A sensible width and the height that goes with it."""
        width = round(self.theme.sizes.body_px * 26)
        return QSize(width, self.heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        """Narrow, two lines high; the real height follows from the width."""
        em = self.theme.sizes.body_px
        return QSize(round(em * 12), round(em * 3))

    def paintEvent(self, _event: object) -> None:
        """Lay down the picture of this hold point."""
        touched = self.hasFocus() or self.underMouse()
        QPainter(self).drawPixmap(0, 0, self._picture(self.gate, self.size(), touched))

    def prepare(self, gate: Gate, width: int) -> None:
        """Draw ahead of time how this hold point will look."""
        self._picture(gate, QSize(width, self._height(gate, width)), False)

    def _picture(self, gate: Gate | None, size: QSize, touched: bool) -> QPixmap:
        key = (size.width(), size.height(), self.devicePixelRatioF(), gate, touched, self.theme)

        def draw(painter: QPainter) -> None:
            self._draw(painter, gate, size, touched)

        return self._kept.picture(key, QSizeF(size), self.devicePixelRatioF(), self.ground, draw)

    def _draw(self, painter: QPainter, gate: Gate | None, size: QSize, touched: bool) -> None:
        s = self.theme.sizes
        icon, strong, text_high = self._measures(gate, size.width())
        photo_first = _photo_first(gate)
        marked = photo_first or touched
        ink = self.theme.colour("ink")
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        width = s.stroke * (2 if marked else 1)
        painter.setPen(QPen(self.theme.colour("accent" if marked else "edge"), width))
        painter.setBrush(self.theme.colour("tint" if photo_first else "panel"))
        inset = width / 2
        painter.drawRoundedRect(
            QRectF(0, 0, size.width(), size.height()).adjusted(inset, inset, -inset, -inset),
            s.radius,
            s.radius,
        )
        glyph = QRectF(2 * s.gap, (size.height() - icon) / 2, icon, icon)
        kind = gate.kind if gate else ""
        if kind in PHOTO_KINDS:
            shapes.camera(painter, glyph, ink, s.stroke * 1.2)
        else:
            shapes.hold(painter, glyph, ink, s.stroke)
        title, text = _words(gate)
        left, top = icon + 4 * s.gap, (size.height() - strong - text_high) / 2
        painter.setPen(ink)
        painter.setFont(self.theme.font(bold=True))
        room = size.width() - left - s.gap + 1
        painter.drawText(QRectF(left, top, room, 1e5), wrap_flags(), title)
        painter.setFont(self.theme.font())
        painter.drawText(QRectF(left, top + strong, room, 1e5), wrap_flags(), text)


class GateBar(Panel):
    """All open hold points of the present step; hidden while there is none."""

    chosen = Signal(str)
    """The id of the gate a person pressed."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Hold points", parent, role="bare")
        self._rows: list[GateRow] = []
        self.gates: tuple[Gate, ...] = ()
        self._ground = ""
        self.setVisible(False)

    def hasHeightForWidth(self) -> bool:
        """True: the words wrap."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height in pixels of all rows at this width."""
        shown = self._rows[: len(self.gates)]
        return sum(row.heightForWidth(width) for row in shown) + self.theme.sizes.gap * max(0, len(shown) - 1)

    def sizeHint(self) -> QSize:
        """A sensible width and the height that goes with it."""
        width = round(self.theme.sizes.body_px * 26)
        return QSize(width, self.heightForWidth(width))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The rows are as wide as the bar."""
        super().resizeEvent(event)
        self._arrange()

    def _arrange(self) -> None:
        top = 0
        for row in self._rows[: len(self.gates)]:
            high = row.heightForWidth(self.width())
            row.setGeometry(0, top, self.width(), high)
            top += high + self.theme.sizes.gap

    def stand_on(self, colour: str) -> None:
        """Say that nothing but this colour of the palette lies behind the bar."""
        self._ground = colour
        for row in self._rows:
            row.stand_on(colour)

    def set_gates(self, gates: Sequence[Gate]) -> None:
        """Show these gates; a missing as-found photo comes first."""
        wanted = tuple(sorted(gates, key=lambda gate: gate.kind != "as-found"))
        if wanted == self.gates:
            return
        self.gates = wanted
        while len(self._rows) < len(self.gates):
            self._rows.append(self._new_row())
        for row, gate in zip(self._rows, self.gates, strict=False):
            row.set_gate(gate)
        for i, row in enumerate(self._rows):
            row.setVisible(i < len(self.gates))
        self._arrange()
        self.setVisible(bool(self.gates))
        self.updateGeometry()
        self.setAccessibleDescription(" ".join(f"{g.sentence} {g.remedy}" for g in self.gates))

    def prepare(self, gates: Sequence[Gate]) -> Iterator[None]:
        """Draw ahead of time how the bar will look, a row at each turn."""
        for number, gate in enumerate(sorted(gates, key=lambda gate: gate.kind != "as-found")):
            if number == len(self._rows):
                self._rows.append(self._new_row())
                self._rows[number].hide()
            self._rows[number].prepare(gate, self._width())
            yield

    def _width(self) -> int:
        # hidden bars are not laid out: they will be as wide as what holds them
        around = self.parentWidget()
        return self.width() if self.isVisible() or around is None else around.contentsRect().width()

    def _new_row(self) -> GateRow:
        row = GateRow(self.theme, self)
        if self._ground:
            row.stand_on(self._ground)
        row.setCursor(Qt.CursorShape.PointingHandCursor)
        row.clicked.connect(lambda: self.chosen.emit(row.gate.id if row.gate else ""))
        return row
