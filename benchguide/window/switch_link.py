"""A foot switch and what its presses mean: learning the key, short, long and double to commands, and its lamp.

The lamp tells within two seconds, with a sound, when a press would go unheard: the window has not the focus and no
device can be read.
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Qt, QTimer, Signal
from PySide6.QtGui import QGuiApplication

from benchguide.window.answering import accept
from benchguide.window.press_pattern import PressTimes
from benchguide.window.raiser import REFUSED, Outcome, Raiser
from benchguide.window.settings import Settings
from benchguide.window.switch_device import SwitchDevice
from benchguide.window.switch_keys import LearntKey, SwitchKeys

#: A window that is left for a moment is no fault; two seconds are the bar.
TELL_AFTER_MS = 1200
DOUBLE_S = 0.35


class SwitchLink(QObject):
    """`use` the settings; `learn` the next key."""

    pressed = Signal(str)
    """The name of the command a press raises, before it is raised."""
    raised = Signal(str, object)
    """That command, and its Outcome."""
    refused = Signal(str)
    tried = Signal(str)
    """A press while it is only tried: short, long or double; nothing is raised."""
    learnt = Signal(object)
    """The LearntKey."""
    state_changed = Signal(bool, bool, str)
    """Whether there is a switch at all, whether it would be heard, and one sentence."""

    def __init__(self, raiser: Raiser, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._raiser = raiser
        self._commands: dict[str, str] = {}
        self._device: SwitchDevice | None = None
        self._device_path = ""
        self.keys: SwitchKeys | None = None
        self._double = False
        self._told: tuple[bool, bool, str] | None = None
        self.trying = False
        """True while presses are only shown."""
        self.sentence = "No foot switch is learnt."
        self._late = QTimer(self, singleShot=True, interval=TELL_AFTER_MS)
        self._late.timeout.connect(self._tell)
        app = QGuiApplication.instance()
        if isinstance(app, QGuiApplication):
            app.applicationStateChanged.connect(self._focus_moved)

    @property
    def learning(self) -> bool:
        """True while the next key is taken for the switch."""
        return bool(self.keys and self.keys.learning)

    def use(self, settings: Settings) -> None:
        """Hear the switch of these settings."""
        self._commands = {
            "short": settings.switch_short,
            "long": settings.switch_long,
            "double": settings.switch_double,
        }
        key = LearntKey(settings.switch_key, settings.switch_scan)
        wanted = key if (key.key or key.scan) else None
        double = bool(settings.switch_double)
        if self.keys is None or double != self._double:
            self._make_keys(double)
        assert self.keys is not None
        self.keys.key = wanted
        self._filter()
        self._use_device(settings.switch_device)
        self._tell()

    def _make_keys(self, double: bool) -> None:
        app = QGuiApplication.instance()
        assert app is not None
        if self.keys is not None:
            self.keys.stop(app)
            self.keys.deleteLater()
        self._double = double
        # without a command for a double press none is waited for: a short one is heard at once
        self.keys = SwitchKeys(PressTimes(double_s=DOUBLE_S if double else 0.0), parent=self)
        self.keys.pressed.connect(self._pressed)
        self.keys.learnt.connect(self._filter)
        self.keys.learnt.connect(self.learnt)
        if self._device is not None:
            self._device.key.connect(self._device_key)

    def _use_device(self, path: str) -> None:
        if path == self._device_path:
            return
        self._device_path = path
        if self._device is not None:
            self._device.stop()
            self._device.deleteLater()
            self._device = None
        if path:
            self._device = device = SwitchDevice(Path(path), self)
            device.key.connect(self._device_key)
            device.state_changed.connect(lambda _heard, _told: self._late.start())
            device.start()

    def _filter(self, *_: object) -> None:
        """Look at the program's events only while there is a switch: every single one of them passes the filter."""
        app = QGuiApplication.instance()
        if self.keys is None or app is None:
            return
        self.keys.stop(app)
        if self.keys.key is not None or self.keys.learning:
            self.keys.start(app)

    def learn(self) -> None:
        """Take the next key that is pressed, in the window or on the device, for the switch."""
        if self.keys is not None:
            self.keys.learn()
            self._filter()

    def forget_learning(self) -> None:
        """Take no key after all."""
        if self.keys is not None:
            self.keys.learning = False
            self._filter()

    def close(self) -> None:
        """Hear nothing any more."""
        self._late.stop()
        app = QGuiApplication.instance()
        if self.keys is not None and app is not None:
            self.keys.stop(app)
        if self._device is not None:
            self._device.stop()

    def _device_key(self, code: int, down: bool) -> None:
        # with the focus the same press comes as a key too; the pattern takes the second edge for a bounce
        if self.keys is not None:
            self.keys.device_key(code, down)

    def _pressed(self, press: str) -> None:
        if self.trying:
            self.tried.emit(press)
            return
        name = self._commands.get(press, "")
        if not name:
            return
        self.pressed.emit(name)
        outcome = self._raise(name)
        self.raised.emit(name, outcome)
        if outcome.result == REFUSED and outcome.sentence:
            self.refused.emit(outcome.sentence)

    def _raise(self, name: str) -> Outcome:
        driver = self._raiser.driver
        if self._raiser.question.is_open and name == "step-done":
            return accept(self._raiser.question)
        if name == "step-done" and driver is not None and driver.state.open and driver.state.to_confirm:
            return self._raiser.raise_command("confirm")
        return self._raiser.raise_command(name)

    # -- the lamp

    @property
    def _focused(self) -> bool:
        return QGuiApplication.applicationState() is Qt.ApplicationState.ApplicationActive

    @property
    def heard(self) -> bool:
        """True when a press now would be heard."""
        return self._focused or bool(self._device and self._device.heard)

    def _focus_moved(self, _state: Qt.ApplicationState) -> None:
        if self._focused:
            self._late.stop()
            self._tell()
        else:
            self._late.start()

    def _tell(self) -> None:
        on = self.keys is not None and self.keys.key is not None
        heard = self.heard
        if not on:
            told = "No foot switch is learnt."
        elif heard:
            told = "The foot switch is heard."
        else:
            told = "The foot switch would not be heard: another window has the focus. Click into this one."
        self.sentence = told
        if (on, heard, told) != self._told:
            self._told = (on, heard, told)
            self.state_changed.emit(on, heard, told)
