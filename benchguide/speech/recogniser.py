"""From a stream of sound to commands: cut the speech out, score the phrases, reject what is none.

Opens no microphone and no file (see recording.py), plays nothing, and does not know what a command does. Works in
constant memory and gives the same whatever the size of the pieces it is fed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchguide.speech.level import Level, LevelMeter
from benchguide.speech.phonemes import RATE, PhonemeNet, load_net
from benchguide.speech.phrases import Group, Phrase, PhraseTable
from benchguide.speech.recogniser_judge import Limits, PhraseJudge, Verdict
from benchguide.speech.voice_activity import CHUNK, CHUNK_S, Cutter, Cutting, SileroJudge, Stretch, VoiceJudge

#: After the program's own voice has ended, its echo is still in the room.
ECHO_S = 0.4


@dataclass(frozen=True, slots=True)
class Heard:
    """One command that was understood: its name, the words of the table, when (s of the stream), how surely (0..1).

    `number` is set for a count; `risky` asks the listener to have it confirmed by a phrase of the group "answer".
    """

    command: str
    words: str
    start_s: float
    end_s: float
    confidence: float
    number: int | None = None
    risky: bool = False


class Recogniser:
    """Feed it sound, get commands. Not for several threads at once.

    `numbers` switches the counts on, `asking` the answers to a question; both start off. `further` stands for the
    phrases of that group and starts on. `talker_db` is the talker's level from the microphone check (dBFS); without
    it talk across the room is not told from the talker's.
    Raises VoiceMissing when a package is missing.
    """

    def __init__(
        self,
        table: PhraseTable,
        *,
        net: PhonemeNet | None = None,
        voice: VoiceJudge | None = None,
        cutting: Cutting | None = None,
        limits: Limits | None = None,
        judge: PhraseJudge | None = None,
    ) -> None:
        self._cutter = Cutter(voice or SileroJudge(), cutting)
        self._judge = judge or PhraseJudge(table, net or load_net(), limits)
        self._meter = LevelMeter()
        self._rest = np.empty(0, np.float32)
        self._muted = False
        self._mute_left = 0
        # the network's time does not add to the silence that must be waited for: it works during that
        self._guess: tuple[tuple[float, float, tuple[Group, ...]], Verdict] | None = None
        self.numbers = False
        self.asking = False
        self.further = True
        #: What became of the last stretch of speech, understood or not; for the window and for setting up.
        self.last: Verdict | None = None

    @property
    def talker_db(self) -> float | None:
        """The talker's level in dBFS, as the microphone check gave it."""
        return self._cutter.talker_db

    @talker_db.setter
    def talker_db(self, level: float | None) -> None:
        if level is not None and not -120 <= level <= 0:
            raise ValueError(
                f"The talker's level is {level:g} dB; it lies between -120 and 0 dB below full scale."
            )
        self._cutter.talker_db = level

    @property
    def level(self) -> Level:
        """The levels of talker and room."""
        return self._meter.level

    @property
    def speaking(self) -> bool:
        """True while somebody near speaks; reading aloud should stop."""
        return self._cutter.speaking

    @property
    def muted(self) -> bool:
        """True while nothing is listened to."""
        return self._muted or self._mute_left > 0

    def mute(self) -> None:
        """The program is about to speak: listen to nothing until unmute()."""
        self._muted = True
        self._mute_left = 0
        self._cutter.forget()

    def unmute(self, after_s: float = ECHO_S) -> None:
        """The program has ended speaking; listening goes on after `after_s` more seconds of sound."""
        self._muted = False
        self._mute_left = round(after_s / CHUNK_S)

    def feed(self, sound: np.ndarray) -> list[Heard]:
        """Take the next piece of the stream, float32 in -1..1, mono, 16 kHz, any length; the commands it completed."""
        sound = np.nan_to_num(np.asarray(sound, np.float32), nan=0.0, posinf=1.0, neginf=-1.0)
        if sound.ndim != 1:
            raise ValueError(f"Sound of one channel is needed; this has the shape {sound.shape}.")
        waiting = np.concatenate([self._rest, sound])
        whole = len(waiting) // CHUNK * CHUNK
        self._rest = waiting[whole:].copy()
        found = (self._chunk(waiting[i : i + CHUNK]) for i in range(0, whole, CHUNK))
        return [heard for heard in found if heard]

    def finish(self) -> list[Heard]:
        """The stream has ended: the command that was still being listened to, if any."""
        quiet = np.zeros(round(RATE * 1.2) - len(self._rest) % CHUNK, np.float32)
        return self.feed(quiet)

    def _chunk(self, chunk: np.ndarray) -> Heard | None:
        if self.muted:
            self._mute_left = max(0, self._mute_left - 1)
            self._cutter.skip(1)
            return None
        stretch = self._cutter.feed(chunk)
        self._meter.feed(chunk, self._cutter.voiced)
        if stretch:
            return self._heard(stretch)
        if probable := self._cutter.probable():
            groups = self._groups()
            self._guess = (probable.start_s, probable.end_s, groups), self._judged(probable, groups)
        return None

    def _groups(self) -> tuple[Group, ...]:
        groups = [Group.COMMAND]
        groups += [Group.FURTHER] if self.further else []
        groups += [Group.NUMBER] if self.numbers else []
        groups += [Group.ANSWER] if self.asking else []
        return tuple(groups)

    def _judged(self, stretch: Stretch, groups: tuple[Group, ...]) -> Verdict:
        spoken = (stretch.before_s, stretch.before_s + stretch.end_s - stretch.start_s)
        return self._judge.judge(stretch.samples, groups, stretch.too_long, spoken)

    def _heard(self, stretch: Stretch) -> Heard | None:
        groups, guess = self._groups(), self._guess
        self._guess = None
        if guess and guess[1].clear and guess[0] == (stretch.start_s, stretch.end_s, groups):
            verdict = guess[1]
        else:
            verdict = self._judged(stretch, groups)
        self.last = verdict
        phrase: Phrase | None = verdict.phrase
        if phrase is None:
            return None
        return Heard(
            phrase.command,
            phrase.words,
            round(stretch.start_s, 3),
            round(stretch.end_s, 3),
            round(verdict.confidence, 3),
            phrase.number,
            phrase.risky,
        )
