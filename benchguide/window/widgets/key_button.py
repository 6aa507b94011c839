"""A command as a 20 mm button that shows its key. It knows a QAction, not what that does."""

from PySide6.QtCore import QRectF, QSize, QSizeF, Qt
from PySide6.QtGui import QAction, QFontMetricsF, QKeySequence, QPainter, QPen
from PySide6.QtWidgets import QMenu, QSizePolicy, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.themed import PaintedButton, advance

#: looks of one key that are kept: words and key, enabled or not, primary, wanted, under the mouse
MOST_KEPT = 8


class BigKey(PaintedButton):
    """A large command button, for example `Next  [Page Down]`."""

    def __init__(
        self,
        action: QAction | None,
        theme: Theme,
        text: str = "",
        key: str = "",
        primary: bool = False,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(theme, text, parent)
        self.key, self.primary, self.wanted = "", primary, False
        self._action: QAction | None = None
        self._menu: QMenu | None = None
        self._kept = Kept(MOST_KEPT)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.clicked.connect(self._press)
        self.set_text(text, key)
        if action is not None:
            self.set_action(action)

    def set_text(self, text: str, key: str = "") -> None:
        """Show this command and this key."""
        if (text, key) == (self.text(), self.key):
            return
        self.setText(text)
        self.key = key
        self.setAccessibleName(text)
        self.setAccessibleDescription(f"Key {key}" if key else "")
        self.updateGeometry()
        self.update()

    def set_primary(self, primary: bool) -> None:
        """Make it the filled button, the one most likely wanted now."""
        if primary != self.primary:
            self.primary = primary
            self.update()

    def set_wanted(self, wanted: bool) -> None:
        """Mark it as what must be done first: a heavy frame and an arrow, beside the words that say so."""
        if wanted != self.wanted:
            self.wanted = wanted
            self.update()

    def set_action(self, action: QAction) -> None:
        """Take text, key and availability from `action`, follow its changes, and trigger it when pressed."""
        if action is self._action:
            return
        if self._action is not None:
            self._action.changed.disconnect(self._follow)
        self._action = action
        action.changed.connect(self._follow)
        self._follow()

    def show_menu(self, menu: QMenu, text: str, key: str = "") -> None:
        """Open `menu` above the button when pressed, instead of triggering an action."""
        if self._action is not None:
            self._action.changed.disconnect(self._follow)
            self._action = None
        self._menu = menu
        self.setEnabled(True)
        self.set_text(text, key)

    def _press(self) -> None:
        if self._menu is not None:
            above = self.mapToGlobal(self.rect().topLeft())
            above.setY(above.y() - self._menu.sizeHint().height())
            self._menu.popup(above)
        elif self._action is not None:
            self._action.trigger()

    def _follow(self) -> None:
        action = self._action
        if action is None:
            return
        key = action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)
        self.set_text(action.text().replace("&", ""), KEY_NAMES.get(key, key))
        self.setEnabled(action.isEnabled())

    def sizeHint(self) -> QSize:
        """At least 20 mm high; wide enough for text and key."""
        s = self.theme.sizes
        text = advance(self.theme.font(bold=True), "→ " + self.text())
        key = advance(self.theme.font("mono"), self.key) + 2 * s.gap
        lines = QFontMetricsF(self.theme.font()).height() * 2.2 + 2 * s.gap
        return QSize(round(max(text, key, s.target) + 3 * s.gap), round(max(s.target, lines)))

    def minimumSizeHint(self) -> QSize:
        """The same: a large key is never squeezed."""
        return self.sizeHint()

    def set_theme(self, theme: Theme) -> None:
        """Change the look."""
        self._kept.clear()
        super().set_theme(theme)

    def paintEvent(self, _event: object) -> None:
        """Lay down the picture of this look."""
        size, ratio, enabled = self.size(), self.devicePixelRatioF(), self.isEnabled()
        look, arrow = self._look(), "→ " if self.wanted and enabled else ""
        key = (size.width(), size.height(), ratio, self.text(), self.key, enabled, arrow, look, self.theme)

        def draw(painter: QPainter) -> None:
            self._draw(painter, QRectF(self.rect()), look, arrow)

        picture = self._kept.picture(key, QSizeF(size), ratio, self.ground, draw)
        QPainter(self).drawPixmap(0, 0, picture)

    def _draw(self, painter: QPainter, rect: QRectF, look: tuple[str, str, str, int], arrow: str) -> None:
        s = self.theme.sizes
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ground, ink, edge, width = look
        pen = QPen(self.theme.colour(edge), width)
        if not self.isEnabled():
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.setBrush(self.theme.colour(ground))
        inset = width / 2
        box = rect.adjusted(inset, inset, -inset, -inset)
        painter.drawRoundedRect(box, s.radius, s.radius)
        painter.setPen(self.theme.colour(ink))
        painter.setFont(self.theme.font(bold=True))
        line = QFontMetricsF(self.theme.font()).height()
        top = box.center().y() - line * (1.15 if self.key else 0.5)
        middle = int(Qt.AlignmentFlag.AlignCenter)
        painter.drawText(QRectF(box.left(), top, box.width(), line), middle, arrow + self.text())
        if self.key:
            self._paint_key(painter, box, top + line * 1.2, line)

    def _paint_key(self, painter: QPainter, box: QRectF, top: float, line: float) -> None:
        s = self.theme.sizes
        painter.setFont(self.theme.font("mono"))
        room = QFontMetricsF(painter.font()).horizontalAdvance(self.key) + 1.4 * s.gap
        chip = QRectF(box.center().x() - room / 2, top, room, line * 1.08)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(painter.pen().color(), max(1, s.stroke / 2)))
        painter.drawRoundedRect(chip, s.radius * 0.7, s.radius * 0.7)
        painter.drawText(chip, int(Qt.AlignmentFlag.AlignCenter), self.key)

    def _look(self) -> tuple[str, str, str, int]:
        stroke = self.theme.sizes.stroke
        if not self.isEnabled():
            return "ground", "soft_ink", "edge", stroke
        if self.isDown():
            return "accent", "accent_ink", "ink", stroke * 2
        if self.primary:
            focus = self.hasFocus() or self.underMouse()
            return "accent", "accent_ink", "ink" if focus else "accent", stroke * 2
        if self.hasFocus() or self.underMouse() or self.wanted:
            return "tint", "ink", "accent", stroke * 2
        return "raised", "ink", "edge", stroke


#: Names on the key tops, where Qt says something shorter.
KEY_NAMES = {"PgDown": "Page Down", "PgUp": "Page Up", "Ins": "Insert", "Del": "Delete", "Esc": "Escape"}
