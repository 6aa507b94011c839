"""A foot switch that types a key: learns which one, and hears it anywhere in the window. No command is known here.

Works through an application event filter, because a shortcut does not fire in every place: a text field takes letters
for itself. A key is known by its scan code too: what a switch sends as F13 arrives under another name on some systems.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

from PySide6.QtCore import QCoreApplication, QEvent, QObject, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QWidget

from benchguide.window.press_pattern import Press, PressPattern, PressTimes

#: scan code on X is the evdev code plus this (X keyboard extension, protocol specification)
X_OFFSET = 8


@dataclass(frozen=True, slots=True)
class LearntKey:
    """The key a switch types: Qt's name for it and the scan code (0 where the system gives none)."""

    key: int
    scan: int

    def fits(self, event: QKeyEvent) -> bool:
        """Whether a key event comes from this switch."""
        if self.scan and event.nativeScanCode():
            return event.nativeScanCode() == self.scan
        return event.key() == self.key

    def fits_code(self, code: int) -> bool:
        """Whether an evdev key code is this key."""
        return self.scan == code + X_OFFSET


class SwitchKeys(QObject):
    """Hears one learnt key in every window of the program and tells short, long and double presses.

    Nothing else is done with that key. While `learn` is on, the next key pressed becomes the switch.
    """

    pressed = Signal(str)
    """A Press: "short", "long" or "double"."""
    learnt = Signal(object)
    """The LearntKey."""

    def __init__(
        self,
        times: PressTimes | None = None,
        clock: Callable[[], float] = monotonic,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self.key: LearntKey | None = None
        self.learning = False
        self._pattern = PressPattern(times)
        self._clock = clock
        self._timer = QTimer(self, singleShot=True)
        self._timer.timeout.connect(self._elapsed)

    def start(self, app: QCoreApplication) -> None:
        """Hear the keys of the whole program from now on."""
        app.installEventFilter(self)

    def stop(self, app: QCoreApplication) -> None:
        """Hear nothing any more."""
        app.removeEventFilter(self)
        self._timer.stop()

    def learn(self) -> None:
        """Take the next key that is pressed for the switch."""
        self.learning = True

    def device_key(self, code: int, down: bool) -> None:
        """A key of the device file (evdev code): learnt or told like one of the window."""
        if self.learning and down:
            self._learn(LearntKey(0, code + X_OFFSET))
        elif self.key is not None and self.key.fits_code(code):
            self._edge(down)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Qt's hook. True for key events of the switch: nobody else may take them for typing."""
        kind = event.type()
        if kind not in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease, QEvent.Type.ShortcutOverride):
            if kind == QEvent.Type.ApplicationStateChange:
                self._pattern.forget()
            return False
        if not isinstance(event, QKeyEvent):
            return False
        # Every key event goes to the window first and to its widget then; it is to count once.
        to_widget = isinstance(watched, QWidget)
        if self.learning and kind == QEvent.Type.KeyPress:
            if to_widget and not event.isAutoRepeat():
                self._learn(LearntKey(event.key(), event.nativeScanCode()))
            return to_widget
        if self.key is None or not self.key.fits(event):
            return False
        if kind == QEvent.Type.ShortcutOverride:
            event.accept()
            return True
        if not to_widget:
            return False
        if not event.isAutoRepeat():
            self._edge(kind == QEvent.Type.KeyPress)
        return True

    def _learn(self, key: LearntKey) -> None:
        self.learning = False
        self.key = key
        self._pattern.forget()
        self.learnt.emit(key)

    def _edge(self, down: bool) -> None:
        now = self._clock()
        self._tell(self._pattern.down(now) if down else self._pattern.up(now))
        self._await()

    def _elapsed(self) -> None:
        self._tell(self._pattern.elapsed(self._clock()))
        self._await()

    def _await(self) -> None:
        due = self._pattern.due_s
        if due is None:
            self._timer.stop()
        else:
            self._timer.start(max(0, round((due - self._clock()) * 1000) + 1))

    def _tell(self, press: Press | None) -> None:
        if press is not None:
            self.pressed.emit(str(press))
