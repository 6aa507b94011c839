"""Where the parts of a step lie in a photo: by the part map where picture and device are registered, otherwise as an
earlier photo of the same place shows them. Judges nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.align import Features
    from benchguide.camera.quality import Region

#: less of an outline than this inside the picture is not the part's place
IN_VIEW = 0.5


@dataclass(frozen=True, slots=True)
class PartOutline:
    """A part as its map gives it: name for sentences, points around it in millimetres, height above the floor."""

    name: str
    points: tuple[tuple[float, float], ...]
    z_mm: float


def by_map(
    part: PartOutline, to_pixels: Callable[[float], NDArray[np.float64]], size: tuple[int, int]
) -> Region | None:
    """Where a part lies in a picture of `size` (width, height) pixels, as shares of it; None where it is not in view.

    to_pixels: height in millimetres to the 3x3 matrix from device millimetres on that plane to pixels.
    """
    return _box(part.points, to_pixels(part.z_mm), size)


def by_earlier(
    region: Region, found: Features, matrix: NDArray[np.float64], size: tuple[int, int]
) -> Region | None:
    """The same place in a later photo; `region` in shares of the earlier one, `matrix` from `registered`."""
    left, top = region[0] * found.size[0], region[1] * found.size[1]
    right, foot = left + region[2] * found.size[0], top + region[3] * found.size[1]
    return _box(((left, top), (right, top), (right, foot), (left, foot)), matrix, size)


def remembered(photo: Any) -> Features:
    """What is kept of an earlier photo, (H, W, 3) uint8 BGR, so that later ones can be registered to it."""
    from benchguide.camera.align import features
    from benchguide.camera.compare import LIVE_WORK

    return features(photo, work=LIVE_WORK)


def registered(found: Features, image: Any) -> NDArray[np.float64] | None:
    """3x3 matrix from pixels of the earlier photo to pixels of this one, or None where that cannot be told."""
    from benchguide.camera.align import align, features
    from benchguide.camera.compare import LIVE_WORK

    return align(found, features(image, work=LIVE_WORK), thorough=False).homography


def _box(
    points: Sequence[tuple[float, float]], matrix: NDArray[np.float64], size: tuple[int, int]
) -> Region | None:
    """The box around some points once they are mapped, cut off at the border of the picture."""
    import numpy as np

    flat = np.c_[np.asarray(points, np.float64), np.ones(len(points))] @ matrix.T
    if not len(flat) or (flat[:, 2] <= 1e-9).any():
        return None
    spots = flat[:, :2] / flat[:, 2:] / np.array(size, np.float64)
    low, high = spots.min(axis=0), spots.max(axis=0)
    inside_low, inside_high = np.clip(low, 0, 1), np.clip(high, 0, 1)
    wide, high_ = (float(v) for v in inside_high - inside_low)
    whole = float(np.prod(high - low))
    if wide <= 0 or high_ <= 0 or wide * high_ < IN_VIEW * whole:
        return None
    return float(inside_low[0]), float(inside_low[1]), wide, high_
