"""What a phoneme network is to this program, and which one is there. Runs none itself; see phonemes_hama.py.

A network takes sound and gives, for every frame, how likely each phoneme symbol is. Which network that is
does not matter to the rest; the phrases are written in its symbols (IPA).
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    import numpy as np

RATE = 16_000


class VoiceMissing(Exception):
    """A package for spoken commands is missing; the message says which and how to get it."""


def optional(module: str, package: str) -> Any:
    """A module of the optional extra `voice`. Raises VoiceMissing with the name of the package that brings it."""
    try:
        return import_module(module)
    except ImportError as error:
        raise VoiceMissing(
            f"Spoken commands need the package '{package}', which is not installed. "
            "Install it with: pip install 'benchguide[voice]'"
        ) from error


class PhonemeNet(Protocol):
    """One offline network from sound to phonemes, trained with a blank symbol (connectionist temporal classification).

    `symbols` names the columns of the posteriors (IPA), `blank` is the column that stands for no new phoneme,
    `boundary` the column for the gap between two words (or None).
    """

    name: str
    symbols: tuple[str, ...]
    blank: int
    boundary: int | None

    def phonemes(self, samples: np.ndarray) -> np.ndarray:
        """Posteriors of `samples` (float32 in -1..1, mono, 16 kHz): natural log, shape (frames, symbols), float32."""
        ...


def load_net(prefer: str | None = None) -> PhonemeNet:
    """The network to use: hama, or pocketsphinx where hama has no library. Raises VoiceMissing.

    `prefer` names one ("hama" or "pocketsphinx") and takes no other.
    """
    from benchguide.speech.phonemes_hama import HamaNet
    from benchguide.speech.phonemes_sphinx import SphinxNet

    makers: dict[str, Callable[[], PhonemeNet]] = {"hama": HamaNet, "pocketsphinx": SphinxNet}
    if prefer is not None and prefer not in makers:
        raise ValueError(f"There is no phoneme network called '{prefer}'. Use hama or pocketsphinx.")
    reasons = []
    for name, make in makers.items():
        if prefer in (None, name):
            try:
                return make()
            except VoiceMissing as missing:
                reasons.append(str(missing))
    raise VoiceMissing(reasons[0])
