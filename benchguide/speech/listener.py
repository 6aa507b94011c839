"""Listens through a process of its own: commands as they are understood, levels, the state of the microphone.

What a command does is not known here. Never blocks the window.
"""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from benchguide.speech.helper_process import HelperProcess
from benchguide.speech.level import Level, MicrophoneCheck
from benchguide.speech.recogniser import Heard

_LEVEL = ("now_db", "room_db", "speech_db", "clipping")


class Listener(QObject):
    """`start` and `stop`, once each; `mute` before the program speaks; `expect` what the bench asks."""

    heard = Signal(object)
    """A Heard."""
    level = Signal(object)
    """A Level, five times a second."""
    speaking = Signal(bool)
    """Somebody near begins or ends speaking."""
    state_changed = Signal(bool, str)
    """Whether the microphone is heard, and one sentence."""
    volume_warned = Signal(str)
    """The system's microphone volume is far down: one sentence; empty when it is well again."""
    checked = Signal(object)
    """A MicrophoneCheck."""
    muted = Signal()
    inputs_changed = Signal()
    """`inputs` has changed."""

    def __init__(
        self,
        microphone: str = "",
        talker_db: float | None = None,
        phrases: str = "",
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._microphone, self._talker_db, self._phrases = microphone, talker_db, phrases
        self._process: HelperProcess | None = None
        self._numbers = self._asking = self._muted = False
        self._final = self._on = False
        self.hearing, self.sentence = False, "Not listening."
        #: The microphones that are plugged in, by name. Asked in the process: a sound server may take its time.
        self.inputs: tuple[str, ...] = ()

    @property
    def on(self) -> bool:
        """True while it is meant to listen."""
        return self._on

    def start(self) -> None:
        """Listen from now on."""
        if self._process is not None:
            return
        self._on = True
        level = "" if self._talker_db is None else f"{self._talker_db:g}"
        arguments = (self._microphone, level, self._phrases)
        self._process = process = HelperProcess("benchguide.speech.listener_process", arguments, self)
        self._final = False
        process.told.connect(self._told)
        process.came.connect(self._set_up)
        process.died.connect(self._lost)
        self._tell(False, "Getting ready to listen.")
        process.start()

    def stop(self, wait: bool = False) -> None:
        """Listen no more, for good. With `wait` the process has ended when this returns."""
        if self._process is not None:
            self._process.stop(wait)
        self._on = False
        self._tell(False, "Not listening.")

    def mute(self) -> None:
        """The program is about to speak."""
        self._muted = True
        self._send(mute=True)

    def unmute(self) -> None:
        """The program has ended speaking; listening goes on 0.4 s later."""
        self._muted = False
        self._send(unmute=True)

    def expect(self, numbers: bool, asking: bool) -> None:
        """Whether a count, and whether an answer, is waited for."""
        if (numbers, asking) != (self._numbers, self._asking):
            self._numbers, self._asking = numbers, asking
            self._send(numbers=numbers, asking=asking)

    def set_talker(self, talker_db: float | None) -> None:
        """The talker's level in dBFS from the microphone check; None when there was none."""
        self._talker_db = talker_db
        self._send(talker_db=talker_db)

    def check(self, seconds: float = 5.0) -> None:
        """The person speaks for some seconds now; the answer comes as `checked`."""
        self._send(check=seconds)

    def _send(self, **doc: object) -> None:
        if self._process is not None:
            self._process.send(**doc)

    def _set_up(self) -> None:
        self._send(numbers=self._numbers, asking=self._asking, talker_db=self._talker_db)
        if self._muted:
            self._send(mute=True)

    def _told(self, doc: dict[str, object]) -> None:
        if not self._on:
            return
        match doc:
            case {"heard": dict(one)}:
                self.heard.emit(Heard(**one))
            case {"level": dict(one)}:
                self.level.emit(Level(*(one[key] for key in _LEVEL)))
            case {"speaking": bool(now)}:
                self.speaking.emit(now)
            case {"state": bool(hearing), "why": str(why)}:
                self._final = bool(doc.get("final"))
                self._tell(hearing, why)
            case {"volume": str(warning)}:
                self.volume_warned.emit(warning)
            case {"checked": dict(one)}:
                self.checked.emit(MicrophoneCheck(**one))
            case {"inputs": list(names)}:
                self.inputs = tuple(map(str, names))
                self.inputs_changed.emit()
            case {"muted": True}:
                self.muted.emit()

    def _lost(self, _why: str = "") -> None:
        if self._final and self._process is not None:
            # a package is missing: starting it again would not bring it
            self._process.stop()
            return
        self._tell(False, "Listening stopped by itself; it is started again.")

    def _tell(self, hearing: bool, sentence: str) -> None:
        if (hearing, sentence) != (self.hearing, self.sentence):
            self.hearing, self.sentence = hearing, sentence
            self.state_changed.emit(hearing, sentence)
