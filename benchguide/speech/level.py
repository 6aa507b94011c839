"""How loud the talker and the room are: the meter beside the microphone lamp, and the microphone check.

All levels are dB below full scale (root mean square). Decides nothing about words.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from benchguide.speech.voice_activity import CHUNK, CHUNK_S, FLOOR_DB, Cutter, VoiceJudge, level_db

MEMORY_S = 12.0
#: Commands are measured down to 5 dB (tests/bench/bench_voice.py); the warning comes a little before that.
RELIABLE_SNR_DB = 7.0
CLIPPED = 0.99
#: A check needs this much voice to go by.
CHECK_VOICE_S = 0.8
FAINT_DB = -45.0


@dataclass(frozen=True, slots=True)
class Level:
    """What the meter shows. `speech_db` is None before anything was said."""

    now_db: float
    room_db: float
    speech_db: float | None
    clipping: bool

    @property
    def snr_db(self) -> float | None:
        """Speech over room noise in dB; None before anything was said."""
        return None if self.speech_db is None else self.speech_db - self.room_db

    @property
    def too_noisy(self) -> bool:
        """True when the room is so loud against the talker that commands will be missed."""
        return self.snr_db is not None and self.snr_db < RELIABLE_SNR_DB


class LevelMeter:
    """Follows the levels of the last twelve seconds of room and of speech. Constant memory."""

    def __init__(self) -> None:
        kept = round(MEMORY_S / CHUNK_S)
        self._room: deque[float] = deque(maxlen=kept)
        self._speech: deque[float] = deque(maxlen=kept)
        self._now = FLOOR_DB
        self._clipped_for = 0

    def feed(self, chunk: np.ndarray, voiced: bool) -> None:
        """One chunk of 512 samples, and whether it holds a voice."""
        self._now = level_db(chunk)
        (self._speech if voiced else self._room).append(self._now)
        clipped = np.count_nonzero(np.abs(chunk) >= CLIPPED) >= 4
        self._clipped_for = round(2.0 / CHUNK_S) if clipped else max(0, self._clipped_for - 1)

    @property
    def level(self) -> Level:
        """The levels now."""
        room = float(np.median(self._room)) if self._room else FLOOR_DB
        speech = active_level(self._speech, room) if len(self._speech) >= 8 else None
        return Level(self._now, room, speech, self._clipped_for > 0)


def active_level(chunk_levels: deque[float] | list[float], room_db: float = FLOOR_DB) -> float:
    """Mean power of the voiced chunks less the room's, without the faint ones between the words; dBFS."""
    power = 10 ** (np.asarray(chunk_levels, np.float64) / 10)
    loud = power[power > power.max() * 10**-2.5]
    return max(FLOOR_DB, 10 * float(np.log10(max(loud.mean() - 10 ** (room_db / 10), loud.mean() * 0.1))))


@dataclass(frozen=True, slots=True)
class MicrophoneCheck:
    """The result of a short check: the talker's level, to be kept as Recogniser.talker_db, or why there is none."""

    speech_db: float | None
    room_db: float
    sentence: str


def check_microphone(samples: np.ndarray, judge: VoiceJudge) -> MicrophoneCheck:
    """Judge some seconds (float32, 16 kHz, mono) in which the talker speaks as at the bench."""
    meter, cutter, voiced = LevelMeter(), Cutter(judge), []
    for start in range(0, len(samples) - CHUNK + 1, CHUNK):
        chunk = samples[start : start + CHUNK]
        cutter.feed(chunk)
        meter.feed(chunk, cutter.voiced)
        if cutter.voiced:
            voiced.append(cutter.chunk_db)
    level = meter.level
    if level_db(samples) <= -90:
        return MicrophoneCheck(
            None, level.room_db, "The microphone gives silence. Is it muted or switched off?"
        )
    if len(voiced) * CHUNK_S < CHECK_VOICE_S:
        return MicrophoneCheck(
            None, level.room_db, "No voice was heard. Say a sentence as loud as at the bench."
        )
    speech = active_level(voiced, level.room_db)
    return MicrophoneCheck(
        speech, level.room_db, _judged(speech, level.room_db, float(np.abs(samples).max()))
    )


def _judged(speech: float, room: float, peak: float) -> str:
    told = f"Speech {speech:.0f} dB, room {room:.0f} dB below full scale."
    if peak >= CLIPPED:
        return f"{told} The microphone is overdriven: turn its volume down or step back."
    if speech < FAINT_DB:
        return f"{told} That is faint: turn the system's microphone volume up or come nearer."
    if speech - room < RELIABLE_SNR_DB:
        return f"{told} The room is too noisy to rely on spoken commands; keys and switch work as ever."
    return told
