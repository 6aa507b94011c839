"""Length of one lying screw with its standard uncertainty, from where it ends along its axis (mat_ends.py).

The length is what the camera sees on the paper, the projected one; `own_length` allows for the tilt of a screw that
rests on head and tip, and for the slant of the view. Its uncertainty is told from the picture at hand: shadow around
the part and at its ends, how far the two ways to tell an end disagree, contrast, and how bright the metal is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.mat_blobs import Blob, Shape, middle_of, turned
from benchguide.camera.mat_ends import End, Line, find_end, shade_around

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Map = NDArray[np.float32]

#: Fewer pixels a millimetre give no length.
FEWEST_PX_MM = 5.0

# The figures below were fitted to pictures of three independent makers (tests/camera/mat_scene*.py), which disagree
# about contact shadows, bevels and gloss as real light does, each group of maker and density weighing in.
#: See `_too_long`.
BLUR, GAP, SHORT_GAP, BRIGHT_GAP = 0.609, 0.803, 0.28, 0.673
SHOWN, SHADE, DARK, OUTSHINE = 1.001, 0.773, 0.165, 0.293
#: See `_sigma`.
SPREAD, CONTRAST, SHADED, SHADED_GAP, GLOSS, LEAST_MM = 0.496, 66.7, 0.277, 3.21, 0.045, 0.012
#: Rows of the bands around the axis that are looked at, as shares of half the shank.
BANDS = (0.5, 1.0, 1.5)


@dataclass(frozen=True, slots=True)
class Length:
    """A measured length."""

    mm: float
    sigma_mm: float
    top: tuple[float, float]
    """End at the head, in pixels of the patch."""
    tip: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Seen:
    """One end over all bands; distances in mm."""

    at: float
    spread: float
    """Disagreement between the bands."""
    gap: float
    """By colour distance less by hue, 0 where the hue tells nothing."""
    hue: float
    """0 to 1: how far the hue can tell part from paper. Black metal has none."""
    contrast: float
    bright: float
    near: float
    dip: float


def measure(
    blob: Blob, shape: Shape, ppm: float, native: float, power: float = 1.0, paper: float = 0.0
) -> Length | None:
    """Overall length of a screw, or None where an end cannot be made out.

    power: of the picture values in which edges mix straight (mat_tone.py). paper: brightness of clear paper in this
    cell, in picture values; 0 where it is not known.
    """
    import numpy as np

    middle = middle_of(blob)
    mask = turned(blob.mask.astype(np.float32), middle, shape.angle)
    colours = turned(blob.picture.astype(np.float32), middle, shape.angle)
    free = turned(1 - blob.others.astype(np.float32), middle, shape.angle)
    reach = mask.shape[0] // 2
    row = _axis_row(mask, reach)
    half = max(0.25 * shape.shank_mm * ppm, 1.0)
    found: list[tuple[End, End]] = []
    for share in BANDS:
        weight = _band(mask.shape[0], row, half * share)
        line = Line(np.tensordot(weight, colours, (0, 0)), weight @ mask, weight @ free)
        tip = find_end(line, reach, ppm, native, power)
        top = find_end(line.turned(), reach, ppm, native, power)
        if top is not None and tip is not None:
            found.append((top, tip))
    if not found:
        return None
    ends = tuple(_seen([pair[i] for pair in found], ppm) for i in (0, 1))
    usual, darkest = shade_around(blob, ppm, paper)
    mm = ends[0].at + ends[1].at - _too_long(ends, native, usual)
    if mm <= 0:
        return None
    c, s = math.cos(shape.angle), math.sin(shape.angle)
    x, y = middle[0] + blob.corner[0], middle[1] + blob.corner[1]
    top_at, tip_at = (end.at * ppm for end in ends)
    return Length(
        mm,
        _sigma(ends, native, darkest),
        (x - top_at * c, y - top_at * s),
        (x + tip_at * c, y + tip_at * s),
    )


def _seen(bands: list[End], ppm: float) -> _Seen:
    import numpy as np

    at = [end.at / ppm for end in bands]
    hues = [end.by_hue / ppm for end in bands if end.by_hue is not None]
    hue = min(max((float(np.median([end.hue for end in bands])) - 0.08) / 0.15, 0.0), 1.0)
    gap = float(np.median(at) - np.median(hues)) if hues else 0.0
    return _Seen(
        float(np.median(at)),
        float(np.ptp(at)) if len(at) > 1 else 0.15,
        min(max(gap, -0.2), 0.6) * hue,
        hue,
        min(end.contrast for end in bands),
        float(np.median([end.bright for end in bands])),
        float(np.median([end.near for end in bands])),
        float(np.median([end.dip for end in bands])),
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


def _too_long(ends: tuple[_Seen, ...], native: float, shade: float) -> float:
    """By how many mm both ends together read long by colour distance.

    Blur takes in the darkest of the contact shadow; a gap between the two ways is mostly that shadow, unless it shows
    beside the end and was seen for what it is. The bright end of a part that outshines the paper drowns in it instead.
    """
    long = BLUR / native - SHADE * shade
    for end in ends:
        glare = min(max(end.bright - 1, 0.0), 0.8)
        seen = end.hue * max(end.gap, 0.0) * min(max(1 - end.dip, 0.0), 1.0)
        long += GAP * max(end.gap, 0.0) - SHOWN * seen
        long += (SHORT_GAP + BRIGHT_GAP * glare) * min(end.gap, 0.0)
        long -= DARK * (1 - end.hue) * min(max(1 - end.near, 0.0), 0.6)
        long -= OUTSHINE / native * min(max(end.bright - 0.9, 0.0), 0.5)
    return long


def _sigma(ends: tuple[_Seen, ...], native: float, shade: float) -> float:
    """Standard uncertainty in mm of both ends together, from what the picture shows there."""
    spread = min(sum(end.spread for end in ends), 0.6)
    contrast = min(end.contrast for end in ends)
    hue = sum(end.hue for end in ends) / len(ends)
    gap = math.hypot(*(end.gap for end in ends))
    gloss = sum(min(max(end.bright - 1, 0.0), 0.8) for end in ends)
    return math.hypot(
        LEAST_MM,
        SPREAD * spread,
        CONTRAST / contrast / native,
        SHADED * shade * hue,
        SHADED_GAP * shade * gap,
        GLOSS * gloss,
    )


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
