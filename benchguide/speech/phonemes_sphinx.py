"""The second phoneme recogniser: pocketsphinx's free phone loop (BSD), where hama has no library.

pocketsphinx says which phones it takes to be there, not how sure it is. So every phone it writes becomes two
rows: one in which it has most of the likelihood and the phones that sound like it a part, and one between it and
the next in which a phone it left out may still fit. Good for a quiet room only; measured in
tests/bench/bench_voice.py.
"""

from __future__ import annotations

import numpy as np

from benchguide.speech.phonemes import optional

#: ARPAbet, the phone names of the CMU Pronouncing Dictionary, in IPA
IPA = {
    "AA": "ɑ", "AE": "æ", "AH": "ʌ", "AO": "ɔ", "AW": "aʊ", "AY": "aɪ", "B": "b", "CH": "t͡ʃ", "D": "d",
    "DH": "ð", "EH": "ɛ", "ER": "ɝ", "EY": "eɪ", "F": "f", "G": "g", "HH": "h", "IH": "ɪ", "IY": "i",
    "JH": "d͡ʒ", "K": "k", "L": "l", "M": "m", "N": "n", "NG": "ŋ", "OW": "oʊ", "OY": "ɔɪ", "P": "p",
    "R": "ɹ", "S": "s", "SH": "ʃ", "T": "t", "TH": "θ", "UH": "ʊ", "UW": "u", "V": "v", "W": "w", "Y": "j",
    "Z": "z", "ZH": "ʒ",
}  # fmt: skip
#: Phones that are often taken for each other: by place and manner of articulation (common practice)
ALIKE = (
    "p t k b d g θ ð f", "b v ð d", "s z θ f ʃ", "ʃ ʒ t͡ʃ d͡ʒ z", "m n ŋ", "l ɹ w oʊ ɔ", "j i ɪ",
    "ɛ æ ɪ eɪ ʌ ə", "i ɪ eɪ", "ɑ ɔ ʌ aʊ oʊ", "u ʊ oʊ w ʌ", "aɪ æ ʌ eɪ ɔɪ ɑ", "ə ʌ ɪ ɛ ɝ ʊ", "ɝ ɹ ɚ ʌ", "ɝ ɚ",
)  # fmt: skip
SURE, NEAR, REST = 0.6, 0.35, 0.05


class SphinxNet:
    """See PhonemeNet. Raises VoiceMissing when the package is not there."""

    name = "pocketsphinx"
    symbols: tuple[str, ...] = (*sorted({*IPA.values(), "ə", "ɚ"}), "<blank>")
    blank = len(symbols) - 1
    boundary: int | None = None

    def __init__(self) -> None:
        sphinx = optional("pocketsphinx", "pocketsphinx")
        root = sphinx.get_model_path()
        self._decoder = sphinx.Decoder(
            hmm=f"{root}/en-us/en-us",
            allphone=f"{root}/en-us/en-us-phone.lm.bin",
            lm=None,
            dict=None,
            allphone_ci=True,
            lw=1.0,
            beam=1e-10,
            pbeam=1e-10,
            loglevel="FATAL",
        )
        self._rows = {arpa: self._row(ipa) for arpa, ipa in IPA.items()}
        self._silence = self._row("<blank>")

    def _row(self, symbol: str) -> np.ndarray:
        near = {x for group in ALIKE if symbol in group.split() for x in group.split()} - {symbol}
        row = np.full(len(self.symbols), REST / len(self.symbols))
        for other in near:
            row[self.symbols.index(other)] += NEAR / len(near)
        row[self.symbols.index(symbol)] += SURE
        row[self.blank] += 0.1
        return np.asarray(np.log(row / row.sum()), np.float32)

    def phonemes(self, samples: np.ndarray) -> np.ndarray:
        """See PhonemeNet.phonemes."""
        if len(samples) < 800:
            return np.empty((0, len(self.symbols)), np.float32)
        decoder = self._decoder
        decoder.start_utt()
        decoder.process_raw((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes(), full_utt=True)
        decoder.end_utt()
        rows = [
            row for part in decoder.seg() for row in (self._rows.get(part.word, self._silence), self._silence)
        ]
        return np.stack(rows) if rows else np.empty((0, len(self.symbols)), np.float32)
