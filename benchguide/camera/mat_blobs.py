"""Parts in a straightened cell: where they are and what each one can be. Lengths are mat_length.py's.

A blob is called a screw, a washer or a screw on its head only when it has the shape of one single such part.
What has the shape of several parts is told as touching, never divided by guess.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.mat_paper import Patch
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Map = NDArray[np.float32]
    Mask = NDArray[np.uint8]

#: Coverage from which on a pixel belongs to a part.
ON = 0.45
#: Smaller things are dust, in mm2; the smallest screw of the trade (M1 x 1) shows 1.5 mm2.
DUST_MM2 = 0.55
CLOSE_MM = 0.3
HOLE_MM2 = 0.5
#: A single lying screw looks the same on both sides of its axis, but for shine and slant.
LEAST_SYMMETRY = 0.81
#: Notches from here on, in mm, tell several parts from an odd one; a screw has two at most, beneath its head.
NOTCH_MM = 0.32
#: What fills so much of its hull and still has shallower notches is a heap, or must look the same on both sides.
SHALLOW_MM, FULL, FINE_SYMMETRY = 0.22, 0.9, 0.9
#: The larger a full outline is, the likelier it is a heap, in mm2: M4 x 10 shows 45.
LARGE_MM2, LARGE_SYMMETRY = 34.0, 0.93
#: More parts than this in one cell are a heap.
MOST_BLOBS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Blob:
    """One connected thing on the paper."""

    picture: NDArray[np.uint8]
    """(H, W, 3) it and what is around it."""
    others: Mask
    """1 where another part is."""
    mask: Mask
    """1 where it is, with small holes filled."""
    corner: tuple[int, int]
    """Column and row of the upper left pixel in the patch."""
    area_mm2: float
    hole_mm2: float
    """Paper seen through it."""
    at_rim: bool
    """True where it reaches the rim of the cell."""


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """What a blob looks like."""

    kind: str
    """`screw`, `standing screw`, `washer`, `other` or `touching`."""
    angle: float
    """Direction of the axis from head to tip, in radians, for screws."""
    symmetry: float
    """Overlap of the blob with its mirror image at the axis, 0 to 1."""
    head_mm: float
    """Diameter of the head or of the whole, in mm."""
    shank_mm: float
    """Diameter of the shank, in mm; 0 where there is none."""


def find_blobs(patch: Patch) -> list[Blob]:
    """Everything that lies in the cell, from the upper left to the lower right."""
    import numpy as np

    cv = cv2()
    mm2 = patch.ppm**2
    mask = (cv.medianBlur(patch.cover, 3) > ON).astype(np.uint8)
    size = 2 * round(CLOSE_MM * patch.ppm / 2) + 1
    mask = cv.morphologyEx(mask, cv.MORPH_CLOSE, cv.getStructuringElement(cv.MORPH_ELLIPSE, (size, size)))
    mask = _without_small_holes(mask, HOLE_MM2 * mm2)
    count, labels, stats, _ = cv.connectedComponentsWithStats(mask, connectivity=4)
    blobs = []
    for i in range(1, min(count, 400)):
        x, y, w, h, area = (int(value) for value in stats[i])
        if area < DUST_MM2 * mm2:
            continue
        blobs.append(_blob(patch, labels, i, (x, y, w, h), area))
        if len(blobs) > MOST_BLOBS:
            break
    return blobs


def _blob(patch: Patch, labels: NDArray[np.int32], i: int, box: tuple[int, int, int, int], area: int) -> Blob:
    import numpy as np

    cv = cv2()
    x, y, w, h = box
    high, wide = labels.shape
    margin = round(0.9 * patch.ppm)
    x0, y0, x1, y1 = (
        max(0, x - margin),
        max(0, y - margin),
        min(wide, x + w + margin),
        min(high, y + h + margin),
    )
    own = labels[y0:y1, x0:x1]
    mask = (own == i).astype(np.uint8)
    others = cv.dilate(((own != i) & (own != 0)).astype(np.uint8), np.ones((3, 3), np.uint8))
    # small holes (a glint that mirrors the paper) count as part
    whole = _filled(mask)
    hole = float(whole.sum() - mask.sum()) / patch.ppm**2
    at_rim = x <= 1 or y <= 1 or x + w >= wide - 1 or y + h >= high - 1
    return Blob(patch.picture[y0:y1, x0:x1], others, mask, (x0, y0), area / patch.ppm**2, hole, at_rim)


def _filled(mask: Mask) -> Mask:
    import numpy as np

    cv = cv2()
    framed = cv.copyMakeBorder(mask, 1, 1, 1, 1, cv.BORDER_CONSTANT, value=0)
    outside = framed.copy()
    cv.floodFill(outside, None, (0, 0), 1)
    return np.asarray((framed | (1 - outside))[1:-1, 1:-1])


def _without_small_holes(mask: Mask, most: float) -> Mask:
    import numpy as np

    cv = cv2()
    count, labels, stats, _ = cv.connectedComponentsWithStats(1 - mask, connectivity=4)
    small = stats[:, cv.CC_STAT_AREA] < most
    small[0] = False
    return np.asarray(mask | small[labels].astype(np.uint8)) if count > 1 else mask


def judge_shape(blob: Blob, ppm: float, slant: float) -> Shape:
    """What the blob is. `slant` is how far 1 mm of height seems shifted here, in mm."""
    disc = _disc(blob, ppm)
    if blob.hole_mm2 > 0:
        if disc is not None and blob.hole_mm2 > 0.06 * (blob.area_mm2 + blob.hole_mm2):
            return Shape("washer", 0.0, 1.0, disc, 0.0)
        return _no_screw(blob, ppm, 0.0)
    if disc is not None:
        return Shape("standing screw", 0.0, 1.0, disc, 0.0)
    best, symmetry = None, 0.0
    for angle, value in _axes(blob):
        symmetry = max(symmetry, value)
        if _heaped(blob, ppm, value):
            continue
        found = _screw(blob, ppm, angle, value, slant)
        if found is not None and (best is None or _likeness(found) > _likeness(best)):
            best = found
    return best or _no_screw(blob, ppm, symmetry)


def _heaped(blob: Blob, ppm: float, symmetry: float) -> bool:
    """True for an outline that screws on a heap have and one screw has not: full, and yet notched or lopsided."""
    outline = _outline(blob.mask)
    if _fullness(blob, ppm, outline) <= FULL or symmetry >= LARGE_SYMMETRY:
        return False
    notches = _notches(outline, SHALLOW_MM * ppm)
    if blob.area_mm2 > LARGE_MM2 and notches >= (2 if symmetry < FINE_SYMMETRY - 0.03 else 3):
        return True
    return notches > 3 or (notches == 3 and symmetry < FINE_SYMMETRY)


def _fullness(blob: Blob, ppm: float, outline: NDArray[np.int32]) -> float:
    """Share of its convex hull that a blob fills, small holes counted in."""
    hull = float(cv2().contourArea(cv2().convexHull(outline)))
    return (blob.area_mm2 + blob.hole_mm2) * ppm**2 / max(1.0, hull)


def _likeness(shape: Shape) -> float:
    """Which of two axes is the better one: the more symmetric, and the one with the clearer head."""
    return shape.symmetry + 0.12 * math.log(shape.head_mm / shape.shank_mm)


def _disc(blob: Blob, ppm: float) -> float | None:
    """Diameter in mm of a round blob, holes filled; None for anything that is not round."""
    import numpy as np

    cv = cv2()
    whole = _filled(blob.mask)
    outline = _outline(whole)
    if len(outline) < 8:
        return None
    moments = cv.moments(whole, binaryImage=True)
    area = moments["m00"]
    cx, cy = moments["m10"] / area, moments["m01"] / area
    radii = np.hypot(outline[:, 0] - cx, outline[:, 1] - cy) + 0.5
    spread = float(np.std(radii) / np.mean(radii))
    allowed = 0.055 + 0.3 / max(3.0, float(np.mean(radii)))
    if spread > allowed or radii.max() / radii.min() > 1.32 + 1.2 / float(np.mean(radii)):
        return None
    return 2 * math.sqrt(area / math.pi) / ppm


def _axes(blob: Blob) -> list[tuple[float, float]]:
    """The best mirror axes through the middle: angle in radians (0 to pi) and overlap, best first."""
    import numpy as np

    coarse = [(a, _overlap(blob, a)) for a in np.arange(12) * math.pi / 12]
    found: list[tuple[float, float]] = []
    for i, (angle, value) in enumerate(coarse):
        if value < coarse[i - 1][1] or value < coarse[(i + 1) % 12][1]:
            continue
        for step in (math.radians(6), math.radians(2.5), math.radians(1)):
            tries = [(a, _overlap(blob, a)) for a in (angle - step, angle + step)]
            angle, value = max([(angle, value), *tries], key=lambda pair: pair[1])
        found.append((angle, value))
    return sorted(found, key=lambda pair: -pair[1])[:4]


def turned(picture: Map, middle: tuple[float, float], angle: float) -> Map:
    """The picture turned so that a line through `middle` at `angle` lies along the middle row."""
    import numpy as np

    cv = cv2()
    reach = math.ceil(math.hypot(*picture.shape[:2])) // 2 + 2
    side = 2 * reach + 1
    c, s = math.cos(angle), math.sin(angle)
    back = np.array([[c, -s, middle[0] - c * reach + s * reach], [s, c, middle[1] - s * reach - c * reach]])
    return np.asarray(cv.warpAffine(picture, back, (side, side), flags=cv.INTER_LINEAR | cv.WARP_INVERSE_MAP))


def middle_of(blob: Blob) -> tuple[float, float]:
    """Centre of gravity in pixels of the blob's own picture."""
    moments = cv2().moments(blob.mask, binaryImage=True)
    return moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]


def _overlap(blob: Blob, angle: float) -> float:
    import numpy as np

    view = turned(blob.mask.astype(np.float32), middle_of(blob), angle)
    other = view[::-1]
    return float(np.minimum(view, other).sum() / max(1.0, float(np.maximum(view, other).sum())))


def _screw(blob: Blob, ppm: float, angle: float, symmetry: float, slant: float) -> Shape | None:
    """The blob as one lying screw with this axis, or None where it cannot be one.

    From head to tip the width rises to the head, falls to the shank, and never rises again.
    """
    import numpy as np

    # the pixels of a small part spoil its symmetry
    if symmetry < LEAST_SYMMETRY - 0.8 / math.sqrt(blob.area_mm2 * ppm**2):
        return None
    view = turned(blob.mask.astype(np.float32), middle_of(blob), angle)
    width = view.sum(0) / ppm
    long = np.flatnonzero(width > 0.25 * min(1.0, float(width.max())))
    if len(long) < 5:
        return None
    width = width[long[0] : long[-1] + 1]
    length = len(width) / ppm
    if width[len(width) // 2 :].max() > width[: len(width) // 2].max():
        width, angle = width[::-1], angle + math.pi
    head_at = int(width.argmax())
    head = float(np.sort(width)[-max(1, round(0.12 * ppm)) :].mean())
    rest = width[head_at:]
    tail = rest[max(0, len(rest) - round(0.5 * len(rest))) : max(1, len(rest) - round(0.15 * ppm))]
    if len(tail) < 2:
        return None
    shank = float(np.median(tail))
    if not 0.5 <= shank <= 6 or not 1.22 <= head / shank <= 4.2 or length < 0.28 * head:
        return None
    below = np.flatnonzero(width[head_at:] < (head + shank) / 2)
    if not len(below):
        return None
    end_of_head = head_at + int(below[0])
    down = width[head_at : max(head_at + 2, len(width) - round(0.1 * ppm))]
    rough = 0.15 + 0.08 * shank + 1.0 / ppm
    if float((down - np.minimum.accumulate(down)).max()) > rough:
        return None
    up = width[: head_at + 1]
    if float((np.maximum.accumulate(up) - up).max()) > rough:
        return None
    # a screw that lies on head and tip is tilted and shows some of the head's top
    tilt = math.atan2((head - shank) / 2, max(0.3, length - 0.4 * head))
    if end_of_head / ppm > 1.0 * shank + 0.4 + head * (math.sin(tilt) + 1.15 * slant):
        return None
    if _gaps(view, ppm) > 0.12:
        return None
    return Shape("screw", angle, symmetry, head, shank)


def _gaps(view: Map, ppm: float) -> float:
    """Share of the columns in which the blob is not of one piece."""
    import numpy as np

    on = view > 0.5
    filled = on.any(0)
    changes = (np.diff(np.pad(on, ((1, 1), (0, 0))).astype(np.int8), axis=0) == 1).sum(0)
    return float((changes > 1).sum() / max(1, int(filled.sum())))


def _no_screw(blob: Blob, ppm: float, symmetry: float) -> Shape:
    """One odd part, or several: what is pinched in from two sides is several."""
    cv = cv2()
    outline = _outline(blob.mask)
    solid = _fullness(blob, ppm, outline)
    size = float(max(cv.minAreaRect(outline)[1])) / ppm
    notches = _notches(outline, NOTCH_MM * ppm)
    several = (solid <= 0.97 and notches >= 2) or _notches(outline, SHALLOW_MM * ppm) >= 3
    # a heap of many is round and full, and larger than anything that has no hole
    several |= blob.area_mm2 > LARGE_MM2 and notches >= 1
    return Shape("touching" if several else "other", 0.0, symmetry, size, 0.0)


def _outline(mask: Mask) -> NDArray[np.int32]:
    """Outer contour, (n, 2) pixels."""
    import numpy as np

    contours, _ = cv2().findContours(mask, cv2().RETR_EXTERNAL, cv2().CHAIN_APPROX_NONE)
    return np.asarray(max(contours, key=len)).reshape(-1, 2)


def _notches(outline: NDArray[np.int32], deep: float) -> int:
    """How many places of the outline lie further than `deep` pixels inside its hull."""
    import numpy as np

    cv = cv2()
    hull = np.sort(np.asarray(cv.convexHull(outline, returnPoints=False)).ravel())
    if len(hull) < 3:
        return 0
    count = 0
    for first, last in zip(hull, np.append(hull[1:], hull[0] + len(outline)), strict=True):
        a, b = outline[first], outline[last % len(outline)]
        between = outline[np.arange(first, last + 1) % len(outline)]
        way = b - a
        long = float(np.hypot(*way))
        if long < 2 or len(between) < 4:
            continue
        off = np.abs(way[0] * (between[:, 1] - a[1]) - way[1] * (between[:, 0] - a[0])) / long
        count += bool(off.max() > deep)
    return count
