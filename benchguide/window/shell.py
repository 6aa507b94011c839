"""The window itself: the strip of rooms, the room in view, the message line. Knows no session and no camera.

It is painted before anything else is loaded; rooms move in afterwards.
"""

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QCloseEvent, QKeyEvent, QPaintEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from benchguide.window.actions import Actions
from benchguide.window.messages import MessageLine
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.pages import Pages
from benchguide.window.widgets.question import QuestionBar

ROOMS = ("procedures", "bench", "records")


class Shell(QWidget):
    """Top-level window. `place(name, room)` moves a room in, `show_room(name)` brings it to the front."""

    painted = Signal()
    """Emitted once, after the first paint."""
    closing = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.setObjectName("shell")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setWindowTitle("Benchguide")
        self.actions_by_name = Actions(self)
        self.message = MessageLine(self)
        self.question = QuestionBar(theme)
        self._theme = theme
        self._was_painted = False
        self._rooms: dict[str, QWidget] = {}
        self._stack = Pages(self)
        self._waiting = QLabel("Opening the bench …", alignment=Qt.AlignmentFlag.AlignCenter)
        set_role(self._waiting, "heading")
        self._stack.addWidget(self._waiting)
        self._tabs: dict[str, QPushButton] = {}
        self._subtitle = QLabel(wordWrap=True)
        self._subtitle.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        set_role(self._subtitle, "soft")
        self._spoken = self._said = False
        self.message.shown.connect(self._message_shown)
        self._arrange()

    def _arrange(self) -> None:
        gap = self._theme.sizes.gap
        strip = QHBoxLayout()
        strip.setSpacing(gap)
        for name in ROOMS:
            action = self.actions_by_name[f"room-{name}"]
            tab = QPushButton(action.text(), self)
            tab.setCheckable(True)
            tab.setObjectName(f"tab-{name}")
            tab.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            tab.setToolTip(f"{action.toolTip()}  [{action.shortcut().toString()}]")
            tab.clicked.connect(action.trigger)
            action.triggered.connect(lambda _=False, name=name: self.show_room(name))
            self._tabs[name] = tab
            strip.addWidget(tab)
        said = QVBoxLayout()
        said.addWidget(self._subtitle)
        said.addWidget(self.message)
        strip.addLayout(said, 1)
        # as high as a sentence of two lines, which must not push down what stands below
        two_lines = QLabel("\n", self)
        two_lines.setFixedWidth(0)
        strip.addWidget(two_lines)
        self._lamps = QHBoxLayout()
        strip.addLayout(self._lamps)
        for name in ("keys", "setup", "theme", "camera", "cautions"):
            strip.addWidget(self._small_key(name))
        column = QVBoxLayout(self)
        column.setContentsMargins(gap, gap, gap, gap)
        column.setSpacing(gap)
        column.addLayout(strip)
        column.addWidget(self._stack, 1)
        column.addWidget(self.question)

    def _small_key(self, name: str) -> QPushButton:
        action = self.actions_by_name[name]
        key = QPushButton(action.text(), self)
        key.setObjectName(f"key-{name}")
        key.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        key.setToolTip(f"{action.toolTip()}  [{action.shortcut().toString()}]")
        key.clicked.connect(action.trigger)
        return key

    def show_strip(self, lamps: QWidget) -> None:
        """A small widget of lamps, left of the window's own keys."""
        self._lamps.addWidget(lamps)

    def make_way(self, spoken: bool) -> None:
        """What was understood stands in the line now, or no more: the quiet words go, they are not cut."""
        self._spoken = spoken
        self._share_line()

    def _message_shown(self, shown: bool) -> None:
        self._said = shown
        self._share_line()

    def _share_line(self) -> None:
        self._subtitle.setHidden(self._spoken or self._said)

    def place(self, name: str, room: QWidget) -> None:
        """Move a room in, in place of the one that had the name."""
        old = self._rooms.pop(name, None)
        self._rooms[name] = room
        self._stack.addWidget(room)
        if old is not None:
            in_view = self._stack.currentWidget() is old
            self._stack.removeWidget(old)
            old.deleteLater()
            if in_view:
                self.show_room(name)

    def show_room(self, name: str) -> None:
        """Bring a room to the front; a room that has not moved in yet is left alone."""
        room = self._rooms.get(name)
        if room is not None:
            self._stack.setCurrentWidget(room)
            self._drop_pages()
            room.setFocus()
        for other, tab in self._tabs.items():
            tab.setChecked(other == name and room is not None)

    def cannot_open(self, sentence: str) -> None:
        """No room will move in: say why, large and for good."""
        self._waiting.setWordWrap(True)
        self._waiting.setText(sentence)

    def show_page(self, page: QWidget) -> None:
        """Show a page that is no room; it is gone once another room is shown."""
        self._stack.addWidget(page)
        self._stack.setCurrentWidget(page)
        page.setFocus()
        for tab in self._tabs.values():
            tab.setChecked(False)

    def _drop_pages(self) -> None:
        kept = {*self._rooms.values()}
        for i in reversed(range(self._stack.count())):
            page = self._stack.widget(i)
            if page is not None and page not in kept:
                self._stack.removeWidget(page)
                page.deleteLater()

    @property
    def room(self) -> str:
        """Name of the room in view, empty while the window is opening."""
        current = self._stack.currentWidget()
        return next((name for name, room in self._rooms.items() if room is current), "")

    def say_what(self, words: str) -> None:
        """The quiet line beside the rooms: what this window is about."""
        self._subtitle.setText(words)

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if not self._was_painted:
            self._was_painted = True
            self.painted.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        # nothing may close the window by accident: Escape belongs to questions
        event.accept() if event.key() == Qt.Key.Key_Escape else super().keyPressEvent(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        self.closing.emit()
        super().closeEvent(event)
