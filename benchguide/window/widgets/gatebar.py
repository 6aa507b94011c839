"""The hold points that are open now, in words, with the photo that must come first as a banner above them.

It shows gates and says which one a person chose; releasing and waiving happen elsewhere.
"""

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPen
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from benchguide.session.gates import Gate
from benchguide.window.theme import Theme
from benchguide.window.widgets import shapes
from benchguide.window.widgets.themed import PaintedButton, Panel, wrap_flags, wrapped

PHOTO_KINDS = ("as-found", "as-left")


class GateRow(PaintedButton):
    """One open hold point: a shape, what is missing, and what to do about it."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "", parent)
        self.gate: Gate | None = None
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    @property
    def photo_first(self) -> bool:
        """True for the banner: an as-found photo, to be taken before anything is touched."""
        return self.gate is not None and self.gate.kind == "as-found"

    def set_gate(self, gate: Gate) -> None:
        """Show this hold point."""
        if gate == self.gate:
            return
        self.gate = gate
        title, text = self._words()
        self.setAccessibleName(f"{title} {text}")
        self.updateGeometry()
        self.update()

    def _words(self) -> tuple[str, str]:
        if self.gate is None:
            return "", ""
        if self.photo_first:
            return "Photo first", f"{self.gate.sentence} {self.gate.remedy}"
        return self.gate.sentence, self.gate.remedy

    def _measures(self, width: int) -> tuple[int, int, int]:
        s = self.theme.sizes
        icon = round(s.body_px * 2)
        room = width - icon - 5 * s.gap
        title, text = self._words()
        strong = wrapped(self.theme.font(bold=True), title, room).height()
        return icon, strong, wrapped(self.theme.font(), text, room).height()

    def hasHeightForWidth(self) -> bool:
        """True: the text wraps."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height in pixels that the whole text needs at this width."""
        icon, strong, text = self._measures(width)
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
        """Draw it."""
        s = self.theme.sizes
        icon, strong, _text = self._measures(self.width())
        ink = self.theme.colour("ink")
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        marked = self.photo_first or self.hasFocus() or self.underMouse()
        width = s.stroke * (2 if marked else 1)
        painter.setPen(QPen(self.theme.colour("accent" if marked else "edge"), width))
        painter.setBrush(self.theme.colour("tint" if self.photo_first else "panel"))
        inset = width / 2
        painter.drawRoundedRect(
            QRectF(self.rect()).adjusted(inset, inset, -inset, -inset), s.radius, s.radius
        )
        glyph = QRectF(2 * s.gap, (self.height() - icon) / 2, icon, icon)
        kind = self.gate.kind if self.gate else ""
        if kind in PHOTO_KINDS:
            shapes.camera(painter, glyph, ink, s.stroke * 1.2)
        else:
            shapes.hold(painter, glyph, ink, s.stroke)
        title, text = self._words()
        left, top = icon + 4 * s.gap, (self.height() - strong - _text) / 2
        painter.setPen(ink)
        painter.setFont(self.theme.font(bold=True))
        room = self.width() - left - s.gap + 1
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
        self._layout = QVBoxLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setSpacing(theme.sizes.gap)
        self.gates: tuple[Gate, ...] = ()
        self.setVisible(False)

    def restyle(self) -> None:
        """Spacing follows the sizes."""
        self._layout.setSpacing(self.theme.sizes.gap)

    def set_gates(self, gates: Sequence[Gate]) -> None:
        """Show these gates; a missing as-found photo comes first."""
        self.gates = tuple(sorted(gates, key=lambda gate: gate.kind != "as-found"))
        while len(self._rows) < len(self.gates):
            self._rows.append(self._new_row())
        for row, gate in zip(self._rows, self.gates, strict=False):
            row.set_gate(gate)
        for i, row in enumerate(self._rows):
            row.setVisible(i < len(self.gates))
        self.setVisible(bool(self.gates))
        self.setAccessibleDescription(" ".join(f"{g.sentence} {g.remedy}" for g in self.gates))

    def _new_row(self) -> GateRow:
        row = GateRow(self.theme, self)
        row.setCursor(Qt.CursorShape.PointingHandCursor)
        row.clicked.connect(lambda: self.chosen.emit(row.gate.id if row.gate else ""))
        self._layout.addWidget(row)
        return row
