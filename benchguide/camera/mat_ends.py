"""Where a lying part ends along its axis, told in two ways from the colours there. Lengths are mat_length.py's.

By distance: where the colour has gone half the way from the part to the paper. A dark contact shadow is far from
paper too, so that this reads long in it. By hue: shade changes all colours of the paper alike, so what is left of a
colour without its share of paper's own hue belongs to the part, however dark the shadow; but metal that mirrors the
paper has its hue as well, so that this reads short. What lies between the two is what the picture does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.mat_blobs import Blob
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Map = NDArray[np.float32]
    Profile = NDArray[np.float64]

#: Share of the part's own hue at which it ends, and share of the colour distance.
HUE, HALF = 0.3, 0.5
#: Less colour distance cannot be followed, in picture values.
LEAST_CONTRAST = 18.0


@dataclass(frozen=True, slots=True)
class End:
    """One end as one band of rows along the axis shows it."""

    at: float
    """By colour distance: pixels from the middle of the turned picture, outward."""
    by_hue: float | None
    """The same by hue, where it can be told."""
    contrast: float
    """Colour distance of part and paper, in picture values."""
    hue: float
    """How much of the part's colour is not the paper's, against the paper."""
    bright: float
    """Of the part against the paper beside it."""
    near: float
    """Of the paper beside the end against that a millimetre on: less in a shadow."""
    dip: float
    """Darkest between part and paper, against the darker of the two: less where a contact shadow shows."""


@dataclass(frozen=True, slots=True)
class Line:
    """What lies along the axis, outward to higher columns."""

    colours: Map
    """(n, 3) picture values."""
    inside: Map
    """1 where the part is."""
    clear: Map
    """1 where no other part is."""

    def turned(self) -> Line:
        """The same from the other end."""
        return Line(self.colours[::-1], self.inside[::-1], self.clear[::-1])


def find_end(line: Line, reach: int, ppm: float, native: float, power: float) -> End | None:
    """The end towards higher columns; None where it cannot be made out.

    reach: column of the middle. ppm, native: pixels a millimetre of the line and of the picture. power: of the
    picture values in which edges mix straight (mat_tone.py).
    """
    import numpy as np

    on = np.flatnonzero(line.inside > 0.5)
    if not len(on):
        return None
    last = int(on[-1])
    blur = max(0.2, 1.4 / native) * ppm
    a, b = last - round(blur + 0.35 * ppm), last - round(blur)
    c, d = last + 1 + round(blur), last + 1 + round(blur + 0.3 * ppm)
    if a < 0 or d >= len(line.colours) or b <= a:
        return None
    free = line.clear > 0.9
    outside = free[c : d + 1]
    if outside.sum() < 2:
        return None
    part = np.median(line.colours[a : b + 1], 0)
    contrast = float(np.linalg.norm(part - np.median(line.colours[c : d + 1][outside], 0)))
    if contrast < LEAST_CONTRAST:
        return None
    lit = np.maximum(line.colours.astype(np.float64), 0) ** power
    inner, outer = np.median(lit[a : b + 1], 0), np.median(lit[c : d + 1][outside], 0)
    share = np.linalg.norm(lit - outer, axis=1) / max(float(np.linalg.norm(inner - outer)), 1e-9)
    at = _crossing(share, b, d, HALF)
    if at is None:
        return None
    beyond = slice(d + 1, d + 1 + round(0.8 * ppm))
    far = np.median(lit[beyond][free[beyond]], 0) if free[beyond].sum() > 2 else outer
    way = outer / max(float(np.linalg.norm(outer)), 1e-9)
    own = inner - float(inner @ way) * way
    size = max(float(np.linalg.norm(own)), 1e-9)
    by_hue = _crossing(lit @ own / size**2, max(1, a - round(0.35 * ppm)), d, HUE)
    bright = float(inner.sum() / max(outer.sum(), 1e-9))
    least = float(lit[b : d + 1].sum(1).min()) / max(min(float(far.sum()), float(inner.sum())), 1e-9)
    return End(
        at - reach,
        None if by_hue is None else by_hue - reach,
        contrast,
        size / max(float(np.linalg.norm(outer)), 1e-9),
        bright,
        float(outer.sum() / max(far.sum(), 1e-9)),
        least,
    )


def _crossing(share: Profile, first: int, last: int, level: float) -> float | None:
    """Where the share falls below `level` for good, between two columns."""
    for i in range(last - 1, first - 1, -1):
        if share[i] >= level > share[i + 1]:
            return i + float((share[i] - level) / (share[i] - share[i + 1]))
    return None


def shade_around(blob: Blob, ppm: float, paper: float) -> tuple[float, float]:
    """How much darker the paper around a part is than clear paper: the usual and the darkest tenth, 0 to 1.

    paper: brightness of clear paper, in picture values.
    """
    import numpy as np

    cv, kernel = cv2(), np.ones((3, 3), np.uint8)
    near = cv.dilate(blob.mask, kernel, iterations=max(1, round(0.2 * ppm)))
    wide = cv.dilate(blob.mask, kernel, iterations=max(1, round(0.75 * ppm)))
    ring = (wide > 0) & (near == 0) & (blob.others == 0)
    if ring.sum() <= 10 or paper <= 0:
        return 0.0, 0.0
    values = blob.picture[ring].mean(1) / paper
    return float(np.clip(1 - np.median(values), -0.2, 1)), float(np.clip(1 - np.percentile(values, 10), 0, 1))
