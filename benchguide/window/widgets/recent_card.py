"""After an interruption: the last three actions with their photos, and whether the last one stands.

It asks; what the answer means is decided elsewhere.
"""

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import QHBoxLayout, QLabel, QVBoxLayout, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.key_button import BigKey
from benchguide.window.widgets.themed import Panel, label

#: One action in words (with its time), and its photo if there is one.
RecentAction = tuple[str, QPixmap | None]


class RecentCard(Panel):
    """You were here."""

    confirmed = Signal()
    taken_back = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "You were here", parent, role="present")
        self.title = label("You were here", "heading")
        self.question = label("Look at the device. Is the last action as it should be?", wrap=True)
        self.standing = label("", "", wrap=True)
        self.standing.setAccessibleName("What is open, out, connected and running")
        self.standing.hide()
        self.confirm = BigKey(None, theme, "Confirm the last action", "Y", primary=True)
        self.take_back = BigKey(None, theme, "Take it back", "Ctrl+Z")
        self.confirm.clicked.connect(self.confirmed)
        self.take_back.clicked.connect(self.taken_back)
        self._rows = QVBoxLayout()
        self._keys = QHBoxLayout()
        self._keys.addWidget(self.confirm, 2)
        self._keys.addWidget(self.take_back, 1)
        self._box = QVBoxLayout(self)
        self._box.addWidget(self.title)
        self._box.addLayout(self._rows)
        self._box.addWidget(self.standing)
        self._box.addWidget(self.question)
        self._box.addLayout(self._keys)
        self._actions: tuple[RecentAction, ...] = ()
        self._shown: list[QWidget] = []
        self.restyle()

    def restyle(self) -> None:
        """Spacing and thumbnails follow the sizes."""
        gap = self.theme.sizes.gap
        self._box.setContentsMargins(2 * gap, 2 * gap, 2 * gap, 2 * gap)
        for layout in (self._box, self._rows, self._keys):
            layout.setSpacing(round(1.5 * gap))
        self._fill()

    def set_keys(self, confirm: str, take_back: str) -> None:
        """The keys that answer as the two buttons do."""
        self.confirm.set_text(self.confirm.text(), confirm)
        self.take_back.set_text(self.take_back.text(), take_back)

    def set_actions(self, actions: Sequence[RecentAction]) -> None:
        """Show these, oldest first; at most the last three."""
        self._actions = tuple(actions)[-3:]
        self._fill()

    def set_standing(self, sentences: Sequence[str]) -> None:
        """Say how the device stands: what is open, out, connected, running."""
        self.standing.setText(" ".join(sentences))
        self.standing.setVisible(bool(sentences))

    def _fill(self) -> None:
        for row in self._shown:
            row.deleteLater()
        self._shown = []
        for number, action in enumerate(self._actions):
            row = self._row(action, number == len(self._actions) - 1)
            self._rows.addWidget(row)
            self._shown.append(row)
        words = [text for text, _photo in self._actions]
        self.setAccessibleDescription("; ".join(words) + ". " + self.question.text())

    def _row(self, action: RecentAction, last: bool) -> QWidget:
        text, photo = action
        row = Panel(self.theme, text, role="row")
        gap = self.theme.sizes.gap
        box = QHBoxLayout(row)
        box.setContentsMargins(gap, gap, gap, gap)
        box.setSpacing(2 * gap)
        box.addWidget(self._thumbnail(text, photo))
        words = QVBoxLayout()
        words.setSpacing(0)
        if last:
            words.addWidget(label("Last action", "accent"))
        words.addWidget(label(text, "strong" if last else "", wrap=True))
        words.addStretch(1)
        box.addLayout(words, 1)
        return row

    def _thumbnail(self, text: str, photo: QPixmap | None) -> QLabel:
        width = round(self.theme.sizes.body_px * 6)
        picture = label("no photo", "soft")
        picture.setAlignment(Qt.AlignmentFlag.AlignCenter)
        picture.setFixedSize(width, width * 9 // 16)
        if photo is not None and not photo.isNull():
            ratio = self.devicePixelRatioF()
            scaled = photo.scaled(
                picture.size() * ratio,
                Qt.AspectRatioMode.KeepAspectRatio,
                Qt.TransformationMode.SmoothTransformation,
            )
            scaled.setDevicePixelRatio(ratio)
            picture.setPixmap(scaled)
            picture.setAccessibleName(f"Photo of: {text}")
        return picture
