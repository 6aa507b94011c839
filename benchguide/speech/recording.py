"""A recording as a stream of 16 kHz mono pieces, whatever its rate, channels and length. Constant memory.

Reads what libsndfile reads (WAV, FLAC, Ogg, MP3 and more). Recognises nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from benchguide.speech.phonemes import RATE, optional

PIECE_S = 0.5
MAX_CHANNELS = 32
RATES = (4_000, 768_000)


class BadRecording(ValueError):
    """A file is no recording that can be read; one sentence with the remedy."""


class Recording:
    """One file. Iterate as often as needed; `fault` then says what was wrong with it, or is None.

    Raises BadRecording, VoiceMissing, OSError.
    """

    def __init__(self, path: Path) -> None:
        self._soundfile, self._soxr = optional("soundfile", "soundfile"), optional("soxr", "soxr")
        self.path = path
        self.fault: str | None = None
        if path.is_dir():
            raise BadRecording(f"{path} is a folder; give the file of one recording.")
        with path.open("rb") as file:  # says by itself when it is missing or may not be read
            if not file.read(1):
                raise BadRecording(f"{path} is empty; record it again.")
        with self._opened() as sound:
            self.rate, self.channels, self.frames = sound.samplerate, sound.channels, sound.frames
        if not RATES[0] <= self.rate <= RATES[1] or not 1 <= self.channels <= MAX_CHANNELS:
            raise BadRecording(
                f"{path} has {self.channels} channels at {self.rate} Hz; "
                f"use 1 to {MAX_CHANNELS} channels at {RATES[0]} to {RATES[1]} Hz."
            )

    def _opened(self) -> Any:
        try:
            return self._soundfile.SoundFile(self.path)
        except self._soundfile.LibsndfileError:
            raise BadRecording(
                f"{self.path} is not a recording that can be read; use WAV, FLAC, Ogg or MP3."
            ) from None

    def __iter__(self) -> Iterator[np.ndarray]:
        """Pieces of float32 in -1..1, mono, 16 kHz."""
        self.fault = None
        clipped = total = 0
        resample = self._soxr.ResampleStream(self.rate, RATE, 1, dtype="float32")
        with self._opened() as sound:
            for block in self._blocks(sound):
                total += len(block)
                mono = np.clip(np.nan_to_num(block.mean(axis=1, dtype=np.float32)), -1.0, 1.0)
                clipped += int(np.count_nonzero(np.abs(mono) >= 0.999))
                yield mono if self.rate == RATE else resample.resample_chunk(mono)
        if self.rate != RATE:
            yield resample.resample_chunk(np.empty(0, np.float32), last=True)
        if self.fault is None and total < self.frames != 2**63 - 1:
            self.fault = (
                f"{self.path} ends early, after {total / self.rate:.1f} s; what was read was listened to."
            )
        elif self.fault is None and clipped > max(100, total // 500):
            self.fault = f"{self.path} is overdriven; record it again with the microphone turned down."

    def _blocks(self, sound: Any) -> Iterator[np.ndarray]:
        size = round(PIECE_S * self.rate)
        while True:
            try:
                block = sound.read(size, dtype="float32", always_2d=True)
            except self._soundfile.LibsndfileError:
                at = sound.tell() / self.rate
                self.fault = f"{self.path} is damaged after about {at:.1f} s; what was read was listened to."
                return
            if not len(block):
                return
            yield block
