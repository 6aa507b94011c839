"""What all widgets here share: a theme that can be changed, an accessible name, labels that read plain text.

Labels never interpret markup: their text comes from files that strangers wrote.
"""

from collections.abc import Collection
from functools import lru_cache

from PySide6.QtCore import QEvent, QObject, QRect, QSize, QSizeF, Qt
from PySide6.QtGui import (
    QColor,
    QFocusEvent,
    QFont,
    QFontMetrics,
    QFontMetricsF,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QShowEvent,
)
from PySide6.QtWidgets import QAbstractButton, QFrame, QLabel, QSizePolicy, QStyle, QStyleOption, QWidget

from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.kept import Kept

#: looks of a frame that are kept: sizes come and go with what stands below
MOST_FRAMES = 4
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


def stand_on(widget: QWidget, colour: str) -> None:
    """Remember the colour behind a widget, which then fills all of itself."""
    widget.setProperty("ground", colour)
    fill_all(widget)


def fill_all(widget: QWidget) -> None:
    """Tell Qt once more that a widget with a known ground fills all of itself: a style that is put on forgets it."""
    widget.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent, bool(widget.property("ground")))


def ground_of(widget: QWidget, theme: Theme) -> QColor | None:
    """The colour that was said to lie behind a widget, None if none was."""
    name = widget.property("ground")
    return theme.colour(name) if name else None


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

    def stand_on(self, colour: str) -> None:
        """Say that nothing but this colour of the palette lies behind: it need not be painted first."""
        stand_on(self, colour)

    @property
    def ground(self) -> QColor | None:
        """What lies behind, None where it is not known."""
        return ground_of(self, self.theme)


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

    def stand_on(self, colour: str) -> None:
        """Say that nothing but this colour of the palette lies behind: it need not be painted first."""
        stand_on(self, colour)

    @property
    def ground(self) -> QColor | None:
        """What lies behind, None where it is not known."""
        return ground_of(self, self.theme)

    def showEvent(self, event: QShowEvent) -> None:
        """Dressed by now."""
        fill_all(self)
        super().showEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Look at all events from now on."""
        # only while it has the focus: a filter is asked at every move and repaint
        self.installEventFilter(self)
        super().focusInEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Look no longer."""
        self.removeEventFilter(self)
        super().focusOutEvent(event)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keep Return, Enter and Space from becoming shortcuts while this button has the focus."""
        return claimed(event, (*RETURN_KEYS, Qt.Key.Key_Space))

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
        self._frame = Kept(MOST_FRAMES)
        set_role(self, role)

    def stand_on(self, colour: str) -> None:
        """Say that nothing but this colour of the palette lies behind: it need not be painted first."""
        stand_on(self, colour)

    def showEvent(self, event: QShowEvent) -> None:
        """Dressed by now."""
        fill_all(self)
        super().showEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw ground and frame, kept from the last time; where the ground is not known, as any frame."""
        ground, size, ratio = ground_of(self, self.theme), self.size(), self.devicePixelRatioF()
        if ground is None:
            super().paintEvent(event)
            return

        def draw(painter: QPainter) -> None:
            option = QStyleOption()
            option.initFrom(self)
            option.rect = self.rect()
            self.style().drawPrimitive(QStyle.PrimitiveElement.PE_Widget, option, painter, self)

        key = (size.width(), size.height(), ratio, self.property("role"), self.theme)
        picture = self._frame.picture(key, QSizeF(size), ratio, ground, draw)
        QPainter(self).drawPixmap(0, 0, picture)

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
    return _wrapped(font, text, max(1, width))


@lru_cache(maxsize=4096)
def _wrapped(font: QFont, text: str, width: int) -> QSize:
    # lists measure the same few texts at every repaint, and measuring is most of their cost;
    # the fonts are those a theme hands out, which nobody changes
    return QFontMetrics(font).boundingRect(QRect(0, 0, width, 100_000), _WRAP, text).size()


def advance(font: QFont, text: str) -> float:
    """Width of one line of `text` in pixels."""
    return _advance(font, text)


@lru_cache(maxsize=4096)
def _advance(font: QFont, text: str) -> float:
    return QFontMetricsF(font).horizontalAdvance(text)


def line_height(font: QFont) -> float:
    """Height of one line in pixels."""
    return _heights(font)[0]


def line_ascent(font: QFont) -> float:
    """Pixels from the top of a line to its base line."""
    return _heights(font)[1]


@lru_cache(maxsize=64)
def _heights(font: QFont) -> tuple[float, float]:
    metrics = QFontMetricsF(font)
    return metrics.height(), metrics.ascent()


def wrap_flags() -> int:
    """Flags for `QPainter.drawText` that match `wrapped`."""
    return _WRAP
