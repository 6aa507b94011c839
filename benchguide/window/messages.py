"""The message line: one sentence at a time for the person, shown inside the window and never stealing the focus."""

from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

SHOWN_MS = 9000


class MessageLine(QLabel):
    """Shows the newest sentence; it goes after a while, trouble stays until the next message."""

    shown = Signal(bool)
    """A sentence is about to be shown, or is gone: what shares the line with it goes before and comes after it, or
    both would push the window down for a moment."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("message")
        self.setWordWrap(True)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.setAccessibleName("Message")
        self._clear = QTimer(self, singleShot=True, interval=SHOWN_MS)
        self._clear.timeout.connect(self.clear)
        self.hide()

    def say(self, sentence: str) -> None:
        """Something happened."""
        self._show(sentence)
        self._clear.start()

    def warn(self, sentence: str) -> None:
        """Something needs the person; stays."""
        self._show(f"\u25b2  {sentence}")
        self._clear.stop()

    def _show(self, sentence: str) -> None:
        self.setText(sentence)
        self.setAccessibleDescription(sentence)
        self.shown.emit(True)
        self.show()

    def clear(self) -> None:
        """Nothing to say; the line gives its room back."""
        super().clear()
        self.hide()
        self.shown.emit(False)
