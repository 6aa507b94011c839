"""Lines of standard input as a Qt signal, read in a thread of their own. What they mean is not known here."""

from __future__ import annotations

import sys
import threading
from typing import TextIO

from PySide6.QtCore import QObject, Signal

MOST_LINE = 20_000


class InputLines(QObject):
    """Emits `line` for every line and `ended` at the end. A line of more than 20,000 characters is cut there."""

    line = Signal(str)
    ended = Signal()

    def __init__(self, stream: TextIO | None = None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._stream = stream or sys.stdin

    def start(self) -> None:
        """Read from now on; the thread ends with the input, or with the program."""
        threading.Thread(target=self._read, name="input-lines", daemon=True).start()

    def _read(self) -> None:
        try:
            while text := self._stream.readline(MOST_LINE):
                self.line.emit(text.rstrip("\r\n"))
                while not text.endswith("\n"):  # the rest of an endless line is read past, not kept
                    text = self._stream.readline(MOST_LINE)
                    if not text:
                        break
            self.ended.emit()
        except (OSError, ValueError, RuntimeError):
            return  # the stream or the window is gone
