"""Reads aloud through a process of its own: say, stop, say again. Never blocks, whatever the speech service does.

What is said is made by reader_text.py. There is no pause: with speech-dispatcher it ends the sound and never resumes.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from time import monotonic

from PySide6.QtCore import QObject, QTimer, Signal

from benchguide.speech.helper_process import HelperProcess

#: A sentence is spoken at this many characters a second at the slowest rate; much longer means nobody speaks.
SLOWEST_CHARACTERS_S = 5.0
#: Speaking is said to have begun or ended within this time, or the service hangs.
ANSWER_S = 6.0
#: The constructor of Qt's speech can take seconds, under load many.
OPEN_S = 30.0
LOOK_MS = 250


class ReadingState(StrEnum):
    """What the lamp says about reading aloud."""

    OFF = "off"
    OPENING = "opening"
    READY = "ready"
    SPEAKING = "speaking"
    ABSENT = "absent"


class Reader(QObject):
    """`say` replaces what is being said. `begins` comes before the first sound, `ended` after the last."""

    begins = Signal(str)
    """It is about to speak these words: the recogniser is to be muted now."""
    ended = Signal()
    """It is silent: by the end of the words, by `stop`, or by a fault."""
    state_changed = Signal(str, str)
    """A ReadingState, and one sentence."""
    voices_known = Signal(object)

    def __init__(
        self,
        *,
        engine: str = "speechd",
        locale: str = "en_US",
        voice: str = "",
        rate: float = 0.0,
        clock: Callable[[], float] = monotonic,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._engine, self._locale, self._voice, self._rate = engine, locale, voice, rate
        self._clock = clock
        self._process: HelperProcess | None = None
        self.state, self.sentence = ReadingState.OFF, "Reading aloud is off."
        self.voices: list[str] = []
        self.last = ""
        self._number = 0
        self._saying = False
        self._heard_start = False
        self._since = self._limit_at = 0.0
        self._watch = QTimer(self, interval=LOOK_MS)
        self._watch.timeout.connect(self._look)

    @property
    def speaking(self) -> bool:
        """True from just before the first sound until the last."""
        return self._saying

    def start(self) -> None:
        """Open the speech service in the background."""
        if self._process is not None:
            return
        arguments = (self._engine, self._locale, self._voice, str(self._rate))
        self._process = process = HelperProcess("benchguide.speech.reader_process", arguments, self)
        process.told.connect(self._told)
        process.died.connect(self._died)
        process.came.connect(self._opening)
        self._opening()
        process.start()
        self._watch.start()

    def close(self, wait: bool = False) -> None:
        """Fall silent and let go of the service, for good. With `wait` its process has ended when this returns."""
        self._watch.stop()
        self._end()
        if self._process:
            self._process.send(stop=True)
            self._process.told.disconnect(self._told)
            self._process.stop(wait)
        self._set(ReadingState.OFF, "Reading aloud is off.")

    def say(self, words: str) -> bool:
        """Say these words now, in place of what is being said. False when nobody can."""
        self.last = words or self.last
        if (
            not words
            or self._process is None
            or self.state not in (ReadingState.READY, ReadingState.SPEAKING)
        ):
            return False
        self._number += 1
        self._since, self._heard_start, self._saying = self._clock(), False, True
        self._limit_at = self._since + ANSWER_S + len(words) / SLOWEST_CHARACTERS_S
        self.begins.emit(words)
        # stop first: said over the old words, the new ones would end with their end
        self._process.send(stop=True)
        self._process.send(say=words, id=self._number)
        self._set(ReadingState.SPEAKING, "Reading aloud.")
        return True

    def again(self) -> bool:
        """Say the last words once more, from their beginning."""
        return self.say(self.last)

    def stop(self) -> None:
        """Fall silent at once."""
        if self._process and self._saying:
            self._process.send(stop=True)
            self._end()
            self._set(ReadingState.READY, "Ready to read aloud.")

    def choose(self, voice: str, rate: float, locale: str = "") -> None:
        """Another voice (its name, "" for the usual one), speed (-1 to 1) and language."""
        self._voice, self._rate, self._locale = voice, rate, locale or self._locale
        if self._process:
            self._process.send(voice=voice, rate=rate, locale=self._locale)

    # -- what the process tells

    def _opening(self) -> None:
        self._since = self._clock()
        if self.state is not ReadingState.ABSENT:
            self._set(ReadingState.OPENING, "The speech service is being opened.")

    def _told(self, doc: dict[str, object]) -> None:
        voices = doc.get("voices")
        if isinstance(voices, list) and voices:
            self.voices = [str(voice) for voice in voices]
            self.voices_known.emit(self.voices)
        state, number = doc.get("state"), doc.get("id")
        if state == "error":
            self._end()
            self._set(ReadingState.ABSENT, f"Nothing is read aloud: {_reason(str(doc.get('why', '')))}")
        elif state == "ready" and number is None:
            self._set(ReadingState.READY, "Ready to read aloud.")
        elif number == self._number and self._saying:
            if state == "speaking":
                self._heard_start = True
            elif state == "ready" and self._heard_start:
                self._end()
                self._set(ReadingState.READY, "Ready to read aloud.")

    def _died(self, _why: str) -> None:
        self._end()
        if self.state is not ReadingState.ABSENT:
            self._set(ReadingState.ABSENT, f"Nothing is read aloud: {_reason('')}")

    def _look(self) -> None:
        """The daemon dies without a word: what takes far too long is taken for dead, and opened afresh."""
        now = self._clock()
        late = self._saying and (
            now > self._limit_at or (not self._heard_start and now - self._since > ANSWER_S)
        )
        late = late or (self.state is ReadingState.OPENING and now - self._since > OPEN_S)
        if late and self._process:
            self._end()
            self._set(ReadingState.ABSENT, "Nothing is read aloud: the speech service does not answer.")
            self._process.restart()

    def _end(self) -> None:
        if self._saying:
            self._saying = False
            self.ended.emit()

    def _set(self, state: ReadingState, sentence: str) -> None:
        if (state, sentence) != (self.state, self.sentence):
            self.state, self.sentence = state, sentence
            self.state_changed.emit(str(state), sentence)


def _reason(why: str) -> str:
    if why and "no speech engine" in why:
        return why
    return "the speech service does not answer ('benchguide preflight' says what is missing)."
