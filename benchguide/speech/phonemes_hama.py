"""The phoneme network of the package `hama` (Apache-2.0, NumPy only): 20 ms frames, IPA symbols, no download.

Its library exists for Linux (x86-64, ARM 64) and macOS. Elsewhere VoiceMissing is raised and pocketsphinx is used.
"""

from __future__ import annotations

import numpy as np

from benchguide.speech.phonemes import VoiceMissing, optional

#: Shorter sound gives the network no frame to work on.
SHORTEST = 800


class HamaNet:
    """See PhonemeNet. Raises VoiceMissing when the package or its library is not there."""

    name = "hama"

    def __init__(self) -> None:
        asr = optional("hama.asr", "hama")
        try:
            model = asr.ASRModel()
        except (RuntimeError, OSError) as error:
            raise VoiceMissing(
                "Spoken commands: the package 'hama' has no library for this system. "
                "Install the second recogniser with: pip install pocketsphinx"
            ) from error
        self._session = model.session
        self.symbols: tuple[str, ...] = tuple(model.decoder_tokens)
        self.blank: int = model.blank_id
        self.boundary: int | None = self.symbols.index(model.decode_cfg.word_boundary_token)

    def phonemes(self, samples: np.ndarray) -> np.ndarray:
        """See PhonemeNet.phonemes."""
        if len(samples) < SHORTEST:
            return np.empty((0, len(self.symbols)), np.float32)
        sound = np.clip(np.ascontiguousarray(samples, np.float32), -1.0, 1.0)[np.newaxis]
        given = {"waveform": sound, "waveform_lengths": np.array([sound.shape[1]], np.int64)}
        rows, lengths = self._session.run(["log_probs", "out_lengths"], given)
        return np.asarray(rows[0][: int(lengths[0])], np.float32)
