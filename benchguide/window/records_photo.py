"""One photo of a record, as large as the room allows, inside the window. Left and Right turn the pages,
Escape goes back.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import QRect, QSize, Qt, Signal
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from benchguide.window.records_rows import Row
from benchguide.window.records_thumbs import Thumbs
from benchguide.window.theme import Theme
from benchguide.window.widgets.themed import label


class PhotoPage(QWidget):
    """Shows one of several photos. `left` is emitted when the person goes back to the record."""

    left = Signal()

    def __init__(self, theme: Theme, thumbs: Thumbs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._rows: list[Row] = []
        self._number = 0
        self.picture = _Picture(theme, thumbs, self)
        self.words: QLabel = label("", "strong", wrap=True)
        self.back = _button("Back to the record", "Esc", self.left.emit)
        self.previous = _button("Previous photo", "Left", lambda: self.turn(-1))
        self.next = _button("Next photo", "Right", lambda: self.turn(1))
        bar = QHBoxLayout()
        for button in (self.back, self.previous, self.next):
            bar.addWidget(button)
        bar.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.words)
        layout.addWidget(self.picture, 1)
        layout.addLayout(bar)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Photo")

    def show_photo(self, rows: Sequence[Row], sha256: str) -> None:
        """Show this photo; the others are reached with Left and Right."""
        self._rows = list(rows)
        self._number = next((n for n, row in enumerate(rows) if row.photo == sha256), 0)
        self._renew()

    @property
    def sha256(self) -> str:
        """The photo in view."""
        return self._rows[self._number].photo if self._rows else ""

    def turn(self, by: int) -> None:
        """Go on by so many photos; stays at the ends."""
        self._number = min(max(0, self._number + by), max(0, len(self._rows) - 1))
        self._renew()

    def _renew(self) -> None:
        if not self._rows:
            return
        row = self._rows[self._number]
        place = f"{self._number + 1} of {len(self._rows)}"
        self.words.setText(f"{row.strong} · {row.right or row.lead} · {place}\n{' '.join(row.soft)}".strip())
        self.previous.setEnabled(self._number > 0)
        self.next.setEnabled(self._number + 1 < len(self._rows))
        self.picture.setAccessibleName(f"Photo {place}: {row.spoken}")
        self.picture.show_photo(row.photo)

    def keyPressEvent(self, event: Any) -> None:
        """Left, Right, Home, End, Escape."""
        key = event.key()
        moves = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_Home: -(10**6), Qt.Key.Key_End: 10**6}
        if key in moves:
            self.turn(moves[key])
        elif key in (Qt.Key.Key_Escape, Qt.Key.Key_Backspace):
            self.left.emit()
        else:
            super().keyPressEvent(event)


def _button(text: str, key: str, then: Any) -> QPushButton:
    """A button that leaves the arrow keys to the page."""
    button = QPushButton(f"{text}  [{key}]")
    button.setAccessibleName(text)
    button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    button.clicked.connect(lambda _checked=False: then())
    return button


class _Picture(QWidget):
    """The photo, fitted; black around it."""

    def __init__(self, theme: Theme, thumbs: Thumbs, parent: QWidget) -> None:
        super().__init__(parent)
        self._theme, self._thumbs, self._sha256 = theme, thumbs, ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        thumbs.arrived.connect(lambda _sha: self.update())

    def show_photo(self, sha256: str) -> None:
        self._sha256 = sha256
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(640, 360)

    def paintEvent(self, _event: object) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self._theme.colour("picture"))
        if not self._sha256:
            return
        ratio = self.devicePixelRatioF()
        wanted = round(max(self.width(), self.height()) * ratio)
        # in steps, so that resizing the window does not read the file anew for every pixel
        pixmap = self._thumbs.picture(self._sha256, max(640, -(-wanted // 640) * 640))
        if pixmap is None:
            painter.setPen(self._theme.colour("picture_ink"))
            painter.setFont(self._theme.font())
            words = self._thumbs.trouble(self._sha256) or "Loading the photo"
            flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
            painter.drawText(self.rect().adjusted(20, 20, -20, -20), flags, words)
            return
        size = pixmap.size().scaled(self.size(), Qt.AspectRatioMode.KeepAspectRatio)
        target = QRect(0, 0, size.width(), size.height())
        target.moveCenter(self.rect().center())
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawPixmap(target, pixmap)
