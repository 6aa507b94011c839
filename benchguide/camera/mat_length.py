"""Length of one lying screw with its standard uncertainty, from the colours along its axis.

An end is where the colour, on its way from just inside to just outside, has gone half the distance, in the power of
the picture values that mixes straight at edges (mat_tone.py). The length is what the camera sees on the paper, the
projected one; `own_length` allows for the tilt of a screw that rests on head and tip, and for the slant of the view.
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


#: Fitted to rendered pictures of two kinds (tests/camera/mat_scene.py, mat_scene_flat.py), which disagree about
#: contact shadows and bevels as real light does; the middle between them. See `_too_long`.
FOOT, SHARP, BRIGHT = 2.9, 0.01, 0.9
#: See `sigma_of`.
LIGHT, LEAST_MM = 4.0, 0.03


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
    brightness: float
    """Of the metal against the paper."""


def measure(blob: Blob, shape: Shape, ppm: float, native: float, power: float = 1.0) -> Length | None:
    """Overall length of a screw, or None where an end cannot be made out.

    power: of the picture values in which edges mix straight (mat_tone.py).
    """
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
        tip = _end(line, inside, clear, reach, ppm, native, power)
        top = _end(line[::-1], inside[::-1], clear[::-1], reach, ppm, native, power)
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
    brightness = float(np.median([end.brightness for pair in found for end in pair]))
    return Length(
        (top_at + tip_at) / ppm - _too_long(brightness, native),
        sigma,
        (x - top_at * c, y - top_at * s),
        (x + tip_at * c, y + tip_at * s),
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


def _end(
    line: Map, inside: Map, clear: Map, reach: int, ppm: float, native: float, power: float
) -> _End | None:
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
    lit, inner, outer = (_bent(values, power) for values in (line, metal, paper))
    share = np.linalg.norm(lit - outer, axis=1) / float(np.linalg.norm(inner - outer))
    at = _crossing(share, b, d, 0.5)
    if at is None:
        return None
    return _End(at - reach, contrast, float(inner @ outer) / float(outer @ outer))


def _bent(values: Map, power: float) -> Profile:
    import numpy as np

    return np.asarray(np.maximum(values.astype(np.float64), 0) ** power)


def _too_long(brightness: float, native: float) -> float:
    """By how many mm both ends together read long, for a part so much brighter than the paper (1: as bright).

    A blurred edge takes in the darkest of the contact shadow, which no longer looks like paper: parts read long,
    the more so the fewer pixels there are. The bright tip of a part that outshines the paper drowns in it instead.
    """
    lost = min(max((brightness - 0.9) / 0.5, 0.0), 1.0)
    return FOOT / native**2 - SHARP - BRIGHT / native * lost


def _crossing(share: Profile, first: int, last: int, level: float) -> float | None:
    """Where the share falls below `level` for good, between two columns."""
    for i in range(last - 1, first - 1, -1):
        if share[i] >= level > share[i + 1]:
            return i + float((share[i] - level) / (share[i] - share[i + 1]))
    return None


def own_length(seen: Length, shape: Shape, slant: tuple[float, float] | None) -> tuple[float, float]:
    """The screw's own overall length with its standard uncertainty, in mm, from its length as seen on the paper.

    A screw rests on the rim of its head and on its tip. So tilted, its ends are slanting discs that stick out, the
    more so where the camera looks at them from the other end. How much shows depends on the form of head and tip:
    the length may be anything from as seen to less by all of that, and this is the middle of it.
    slant: shift of a thing 1 mm high (mat_plane.slant_at), None where it is not known.
    """
    head, shank = shape.head_mm, shape.shank_mm
    tilt = math.atan2((head - shank) / 2, max(seen.mm - 0.3 * head, 0.8))
    sx, sy = slant or (0.0, 0.0)
    along = sx * math.cos(shape.angle) + sy * math.sin(shape.angle)
    if along > 0:
        lean = shank * along
    else:
        lean = max(head * (-along - math.sin(tilt)), 0.0) - shank * min(-along, math.sin(tilt))
    sticks = (head + shank) / 2 * math.sin(tilt) + lean
    short = (seen.mm - sticks) / math.cos(tilt)
    unknown = abs(seen.mm - short) / math.sqrt(12)
    doubt = 0.0 if slant else 0.1 * head
    return (seen.mm + short) / 2, math.sqrt(seen.sigma_mm**2 + unknown**2 + doubt**2)


def sigma_of(native: float, spread: float, contrast: float) -> float:
    """Standard uncertainty in mm from pixels a millimetre, disagreement between bands, and colour distance.

    `LIGHT` stands for what no picture tells, contact shadows against bevels; blur adds to it as in `_too_long`.
    """
    found = (LIGHT / native**2) ** 2 + (0.35 * spread) ** 2 + (16 / contrast / native) ** 2
    return math.sqrt(found + LEAST_MM**2)
