"""Length of one lying screw with its standard uncertainty, from the colours along its axis.

An end is where the colour, on its way from just inside to just outside, has gone half the distance: neither
brightness nor finish of the metal nor the sharpness of the picture moves that place much. The length is what the
camera sees on the paper: a screw rests on head and tip and so reads some hundredths short, and one seen slantwise
reads long.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.mat_blobs import Blob, Shape, middle_of, turned

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Map = NDArray[np.float32]
    Profile = NDArray[np.float64]

#: Fewer pixels a millimetre give no length.
FEWEST_PX_MM = 5.0


#: Brightness of paper in a contact shadow and of a bevel that mirrors it, against paper in the light, both in the
#: picture's own values.
SHADED, BEVEL = 0.9, 0.55


SYSTEMATIC_MM = 0.055


@dataclass(frozen=True, slots=True)
class Length:
    """A measured length."""

    mm: float
    sigma_mm: float
    top: tuple[float, float]
    """End at the head, in pixels of the patch."""
    tip: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _End:
    at: float
    """Pixels from the middle of the turned picture, outward."""
    contrast: float
    width: float
    """Length over which the colour changes, in pixels."""


def measure(blob: Blob, shape: Shape, ppm: float, native: float) -> Length | None:
    """Overall length of a screw, or None where an end cannot be made out."""
    import numpy as np

    middle = middle_of(blob)
    mask = turned(blob.mask.astype(np.float32), middle, shape.angle)
    colours = turned(blob.picture.astype(np.float32), middle, shape.angle)
    free = turned(1 - blob.others.astype(np.float32), middle, shape.angle)
    reach = mask.shape[0] // 2
    row = _axis_row(mask, reach)
    half = max(0.25 * shape.shank_mm * ppm, 1.0)
    found = []
    for share in (0.5, 1.0, 1.5):
        weight = _band(mask.shape[0], row, half * share)
        inside, clear = weight @ mask, weight @ free
        line = np.tensordot(weight, colours, (0, 0))
        tip = _end(line, inside, clear, reach, ppm, native)
        top = _end(line[::-1], inside[::-1], clear[::-1], reach, ppm, native)
        if top is not None and tip is not None:
            found.append((top, tip))
    if not found:
        return None
    tops, tips = [a.at for a, _ in found], [b.at for _, b in found]
    top_at, tip_at = float(np.median(tops)), float(np.median(tips))
    spread = (float(np.ptp(tops)) + float(np.ptp(tips))) / ppm if len(found) > 1 else 0.3
    contrast = min(min(a.contrast, b.contrast) for a, b in found)
    c, s = math.cos(shape.angle), math.sin(shape.angle)
    x, y = middle[0] + blob.corner[0], middle[1] + blob.corner[1]
    sigma = sigma_of(native, spread, contrast)
    return Length(
        (top_at + tip_at) / ppm, sigma, (x - top_at * c, y - top_at * s), (x + tip_at * c, y + tip_at * s)
    )


def _axis_row(mask: Map, reach: int) -> float:
    """The row of the axis: middle of the shank half, so that a head seen slantwise does not pull it aside."""
    import numpy as np

    weight = mask[:, reach:].sum(1)
    total = float(weight.sum())
    return float((np.arange(len(weight)) * weight).sum() / total) if total > 0 else float(reach)


def _band(rows: int, row: float, half: float) -> Map:
    """Weights of the rows within `half` of `row`, the outer ones by their share; they add up to 1."""
    import numpy as np

    weight = np.clip(half + 0.5 - np.abs(np.arange(rows) - row), 0, 1).astype(np.float32)
    return np.asarray(weight / weight.sum())


def _end(line: Map, inside: Map, clear: Map, reach: int, ppm: float, native: float) -> _End | None:
    """The end towards higher columns, from the colours (n, 3) along the axis."""
    import numpy as np

    on = np.flatnonzero(inside > 0.5)
    if not len(on):
        return None
    last = int(on[-1])
    blur = max(0.2, 1.4 / native) * ppm
    a, b = last - round(blur + 0.35 * ppm), last - round(blur)
    c, d = last + 1 + round(blur), last + 1 + round(blur + 0.3 * ppm)
    if a < 0 or d >= len(line) or b <= a:
        return None
    outside = line[c : d + 1][clear[c : d + 1] > 0.9]
    if len(outside) < 2:
        return None
    metal, paper = np.median(line[a : b + 1], 0), np.median(outside, 0)
    contrast = float(np.linalg.norm(metal - paper))
    if contrast < 18:
        return None
    share = _share(line.astype(np.float64), metal.astype(np.float64), paper.astype(np.float64))
    at = _crossing(share, b, d, 0.5)
    near, far = _crossing(share, b, d, 0.75), _crossing(share, b, d, 0.25)
    if at is None:
        return None
    width = far - near if near is not None and far is not None else 2 * blur
    return _End(at - reach, contrast, width)


def _share(line: Profile, metal: Profile, paper: Profile) -> Profile:
    """How much of every place (n, 3) is metal, 0 to 1 and beyond.

    The mean of two readings that err in opposite ways. The plain distance of the colours takes a contact shadow
    for some metal and reads long. The other one counts darkness only beyond what a contact shadow does, and so reads
    short where a bevel mirrors the paper darkly.
    """
    import numpy as np

    plain = np.linalg.norm(line - paper, axis=1) / float(np.linalg.norm(metal - paper))
    size = float(np.linalg.norm(paper))
    way = paper / size
    bright, metal_bright = line @ way / size, float(metal @ way) / size
    dark = np.maximum((SHADED - bright) / max(SHADED - metal_bright, SHADED - BEVEL), 0)
    metal_colour = float(np.linalg.norm(metal - (metal @ way) * way)) / size
    if metal_colour < 0.2:
        return np.asarray((plain + dark) / 2)
    colour = np.linalg.norm(line - np.outer(line @ way, way), axis=1) / size / metal_colour
    return np.asarray((plain + np.hypot(colour, dark)) / 2)


def _crossing(share: Profile, first: int, last: int, level: float) -> float | None:
    """Where the share falls below `level` for good, between two columns."""
    for i in range(last - 1, first - 1, -1):
        if share[i] >= level > share[i + 1]:
            return i + float((share[i] - level) / (share[i] - share[i + 1]))
    return None


def sigma_of(native: float, spread: float, contrast: float) -> float:
    """Standard uncertainty in mm from pixels a millimetre, disagreement between bands, and colour distance.

    `SYSTEMATIC_MM` stands for light that no picture tells: contact shadows against bevels (see `_share`).
    """
    found = (0.52 / native) ** 2 + (0.35 * spread) ** 2 + (12 / contrast / native) ** 2
    return math.sqrt(found + SYSTEMATIC_MM**2)
