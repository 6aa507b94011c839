"""What all widgets here share: a theme that can be changed, an accessible name, labels that read plain text.

Labels never interpret markup: their text comes from files that strangers wrote.
"""

from collections.abc import Collection
from functools import lru_cache

from PySide6.QtCore import QEvent, QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics, QKeyEvent
from PySide6.QtWidgets import QAbstractButton, QFrame, QLabel, QSizePolicy, QWidget

from benchguide.window.theme import Theme, set_role

RETURN_KEYS = (Qt.Key.Key_Return, Qt.Key.Key_Enter)

_WRAP = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)


def claimed(event: QEvent, keys: Collection[int]) -> bool:
    """True when the event asks whether one of `keys` is wanted here, not as a shortcut; says yes to it."""
    if event.type() is not QEvent.Type.ShortcutOverride or not isinstance(event, QKeyEvent):
        return False
    if event.key() not in keys:
        return False
    event.accept()
    return True


class Painted(QWidget):
    """A widget that draws itself."""

    def __init__(self, theme: Theme, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.setAccessibleName(name)

    def set_theme(self, theme: Theme) -> None:
        """Change the look."""
        self.theme = theme
        self.restyle()
        self.updateGeometry()
        self.update()

    def restyle(self) -> None:
        """Derive what depends on the theme; nothing by default."""


class PaintedButton(QAbstractButton):
    """A button that draws itself; Return presses it as Space does.

    A click leaves the focus where it was, so that Return and Space keep their meaning on the bench; a button
    reached by Tab keeps these two keys for itself.
    """

    def __init__(self, theme: Theme, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.setAccessibleName(name)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)

    def set_theme(self, theme: Theme) -> None:
        """Change the look."""
        self.theme = theme
        self.updateGeometry()
        self.update()

    def event(self, event: QEvent) -> bool:
        """Keep Return, Enter and Space from becoming shortcuts while this button has the focus."""
        if claimed(event, (*RETURN_KEYS, Qt.Key.Key_Space)):
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Return and Enter press the button."""
        if event.key() in RETURN_KEYS:
            self.click()
        else:
            super().keyPressEvent(event)


class Panel(QFrame):
    """A framed area with widgets in it."""

    def __init__(self, theme: Theme, name: str, parent: QWidget | None = None, role: str = "panel") -> None:
        super().__init__(parent)
        self.theme = theme
        self.setAccessibleName(name)
        set_role(self, role)

    def set_theme(self, theme: Theme) -> None:
        """Change the look, of everything inside too."""
        self.theme = theme
        for child in self.findChildren(QWidget):
            if isinstance(child, (Painted, PaintedButton, Panel)):
                child.theme = theme
        for child in self.findChildren(Painted):
            child.restyle()
        for child in self.findChildren(Panel):
            child.restyle()
        self.restyle()
        self.updateGeometry()
        self.update()

    def restyle(self) -> None:
        """Derive what depends on the theme; nothing by default."""


def label(text: str = "", role: str = "", wrap: bool = False) -> QLabel:
    """A label for plain text; `role` names its look in the sheet."""
    made = QLabel(text)
    made.setTextFormat(Qt.TextFormat.PlainText)
    if role:
        set_role(made, role)
    if wrap:
        made.setWordWrap(True)
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        made.setSizePolicy(policy)
    return made


def wrapped(font: QFont, text: str, width: int) -> QSize:
    """Room that `text` needs when it is wrapped to `width` pixels."""
    return _wrapped(font.key(), text, max(1, width))


@lru_cache(maxsize=4096)
def _wrapped(key: str, text: str, width: int) -> QSize:
    # lists measure the same few texts at every repaint, and measuring is most of their cost
    font = QFont()
    font.fromString(key)
    return QFontMetrics(font).boundingRect(QRect(0, 0, width, 100_000), _WRAP, text).size()


def wrap_flags() -> int:
    """Flags for `QPainter.drawText` that match `wrapped`."""
    return _WRAP
