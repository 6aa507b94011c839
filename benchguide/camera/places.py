"""Screws and connectors whose place is known: there, missing, turned, lifted, or cannot tell.

Much surer than looking for anything anywhere (residual.py), because the place was marked
on the as-found photo or comes from the part map. Works on photos that lie over each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.align import Alignment
from benchguide.camera.laid import Laid
from benchguide.camera.opencv import cv2
from benchguide.camera.residual import Blob, distribution_map, ring_distance

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]

THERE, MISSING, TURNED, LIFTED, CHANGED, CANNOT_TELL = (
    "there", "missing", "turned", "lifted", "changed", "cannot tell",
)  # fmt: skip

SCREW_RING = 13.0  # grey levels; re-driven heads stay below, empty holes lie above
SCREW_SHARE, LEAST_RING = 0.42, 4.0  # the same for heads of little contrast: share of it, and never below
TURNED_DEG = 1.5
PLAIN = 2.0  # weight from which a difference found in the whole picture counts at a connector
MOVED_PX, MOVED_SHARE = 2.2, 0.03  # work pixels, share of the connector's longest side
GONE = 0.35  # correlation below which a connector is no longer recognised
DIFFERENT = 14.0  # Wasserstein-1 distance in grey levels, other kinds of part
SMALLEST = 7.0  # work pixels across


@dataclass(frozen=True, slots=True)
class Place:
    """A part marked on the as-found photo.

    kind: "screw", "connector", or any other word. x, y: its centre, w, h: its size along its
    own sides, in pixels of as-found; h may be left out for round and square things, or where
    it is not known. angle: how far the sides are turned, degrees clockwise on the screen.
    """

    kind: str
    x: float
    y: float
    w: float
    h: float | None = None
    angle: float = 0.0


@dataclass(frozen=True, slots=True)
class PlaceVerdict:
    """What became of a marked place: `state` is one of the words above, `reason` why it cannot be told.

    measure: ring distance in grey levels (screw), degrees (connector), Wasserstein-1 distance
    (others), or None. moved: how far a connector has moved, pixels of as-found.
    x, y: where the place lies in as-left, pixels, or None.
    """

    place: Place
    state: str
    measure: float | None = None
    moved: float | None = None
    x: float | None = None
    y: float | None = None
    reason: str = ""


def judge_places(
    laid: Laid | None, places: Sequence[Place], alignment: Alignment, told: Sequence[Blob] = ()
) -> tuple[PlaceVerdict, ...]:
    """One verdict a place, in their order. Without `laid`, each says that it cannot tell.

    told: what the whole picture shows (residual.worth_telling), weighed for connectors.
    """
    if laid is None:
        return tuple(PlaceVerdict(p, CANNOT_TELL, reason=alignment.reason) for p in places)
    return tuple(_judged(laid, p, alignment, told) for p in places)


def _judged(laid: Laid, place: Place, alignment: Alignment, told: Sequence[Blob]) -> PlaceVerdict:
    x, y = (float(v) for v in alignment.to_left([[place.x, place.y]])[0])
    centre = ((place.x + 0.5) * laid.scale - 0.5, (place.y + 0.5) * laid.scale - 0.5)
    longest = max(place.w, place.h or 0.0) * laid.scale
    if not _in_view(laid, centre, 0.6 * longest):
        return PlaceVerdict(place, CANNOT_TELL, x=x, y=y, reason="The place lies outside one of the photos.")
    if longest < SMALLEST:
        return PlaceVerdict(
            place, CANNOT_TELL, x=x, y=y, reason="The place is too small in the photo; come nearer."
        )
    if place.kind == "screw":
        ring = ring_distance(
            laid.found, laid.left, centre, 0.5 * 1.15 * longest, min(2.0, max(0.8, 0.12 * longest))
        )
        limit = min(SCREW_RING, max(LEAST_RING, SCREW_SHARE * _contrast(laid.found, centre, 0.58 * longest)))
        return PlaceVerdict(place, THERE if ring < limit else MISSING, ring, x=x, y=y)
    if place.kind == "connector":
        return _connector(laid, place, centre, (x, y), told)
    margin = int(longest)
    a, b, _ = _crops(laid, centre, margin)
    unlike = float(distribution_map(a, b, max(2.0, min(6.6, longest / 4))).max())
    return PlaceVerdict(place, THERE if unlike < DIFFERENT else CHANGED, unlike, x=x, y=y)


def _in_view(laid: Laid, centre: tuple[float, float], half: float) -> bool:
    height, width = laid.seen.shape
    x0, x1, y0, y1 = centre[0] - half, centre[0] + half, centre[1] - half, centre[1] + half
    if x0 < 0 or y0 < 0 or x1 > width - 1 or y1 > height - 1:
        return False
    return bool((laid.seen[int(y0) : int(y1) + 1, int(x0) : int(x1) + 1] > 0).all())


def _crops(laid: Laid, centre: tuple[float, float], half: int) -> tuple[Image, Image, tuple[int, int]]:
    height, width = laid.seen.shape
    x0, y0 = max(0, int(centre[0]) - half), max(0, int(centre[1]) - half)
    x1, y1 = min(width, int(centre[0]) + half + 1), min(height, int(centre[1]) + half + 1)
    return laid.found[y0:y1, x0:x1], laid.left[y0:y1, x0:x1], (x0, y0)


def _contrast(image: Image, centre: tuple[float, float], half: float) -> float:
    """Standard deviation in a square about a place, mean of the channels, grey levels."""
    x0, y0 = max(0, int(centre[0] - half)), max(0, int(centre[1] - half))
    part = image[y0 : int(centre[1] + half) + 1, x0 : int(centre[0] + half) + 1]
    return float(part.std(axis=(0, 1)).mean()) if part.size else 0.0


@dataclass(frozen=True, slots=True)
class _Motion:
    degrees: float
    dx: float
    dy: float
    alike: float


def _connector(
    laid: Laid,
    place: Place,
    centre: tuple[float, float],
    at: tuple[float, float],
    told: Sequence[Blob],
) -> PlaceVerdict:
    """Turned and moved against what lies around it, by enhanced correlation (Evangelidis, Psarakis, 2008)."""
    longest = max(place.w, place.h or 0.0) * laid.scale
    a, b, (x0, y0) = _crops(laid, centre, int(1.5 * longest + 8))
    local = (centre[0] - x0, centre[1] - y0)
    best: tuple[float, float, float, _Motion] | None = None
    around = None
    for w, h, angle in _outlines(place, laid.scale):
        inner = _mask(a.shape[:2], local, w, h, angle, 1.12)
        own = _motion(a, b, inner, local, (0.0, -5.0, 5.0))
        if around is None:
            ring = _mask(a.shape[:2], local, 2.6 * longest, 2.6 * longest, 0.0, 1.0)
            ring[_mask(a.shape[:2], local, w, h, angle, 1.5) > 0] = 0
            around = _motion(a, b, ring, local)
        if own is None:
            continue
        base = around or _Motion(0.0, 0.0, 0.0, 1.0)
        turn = abs(own.degrees - base.degrees)
        moved = math.hypot(own.dx - base.dx, own.dy - base.dy)
        if best is None or own.alike > best[2]:
            best = (turn, moved, own.alike, own)
    if best is None or best[2] < GONE:
        return PlaceVerdict(place, MISSING, None, None, *at)
    turn, moved, _, _ = best
    state = THERE
    if turn > TURNED_DEG:
        state = TURNED
    elif moved > max(MOVED_PX, MOVED_SHARE * longest) or _differs_inside(told, place, centre, laid.scale):
        state = LIFTED
    return PlaceVerdict(place, state, turn, moved / laid.scale, *at)


def _differs_inside(told: Sequence[Blob], place: Place, centre: tuple[float, float], scale: float) -> bool:
    """Whether the middle of a plain difference of the whole picture lies inside the connector."""
    for blob in told:
        dx = blob.box[0] + blob.box[2] / 2 - centre[0]
        dy = blob.box[1] + blob.box[3] / 2 - centre[1]
        a = math.radians(place.angle)
        along, across = dx * math.cos(a) + dy * math.sin(a), dy * math.cos(a) - dx * math.sin(a)
        w, h = place.w * scale, (place.h or place.w) * scale
        if blob.weight >= PLAIN and abs(along) <= w / 2 and abs(across) <= h / 2:
            return True
    return False


def _outlines(place: Place, scale: float) -> list[tuple[float, float, float]]:
    w = place.w * scale
    if place.h is not None:
        return [(w, place.h * scale, place.angle)]
    return [(w, 0.45 * w, place.angle), (0.45 * w, w, place.angle)]


def _mask(
    shape: tuple[int, ...], centre: tuple[float, float], w: float, h: float, angle: float, grow: float
) -> Image:
    import numpy as np

    cv = cv2()
    mask = np.zeros(shape[:2], np.uint8)
    corners = cv.boxPoints((centre, (w * grow, h * grow), angle))
    cv.fillConvexPoly(mask, np.round(corners).astype(np.int32), 255)
    return mask


def _motion(
    a: Image, b: Image, mask: Image, centre: tuple[float, float], starts: tuple[float, ...] = (0.0,)
) -> _Motion | None:
    """How the masked part of `a` has turned and moved about `centre` in `b`, or None."""
    import numpy as np

    cv = cv2()
    to_centre = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1]], np.float64)
    back = np.linalg.inv(to_centre)
    one, two = (cv.cvtColor(p, cv.COLOR_BGR2GRAY) for p in (a, b))
    stop = (cv.TERM_CRITERIA_EPS | cv.TERM_CRITERIA_COUNT, 30, 1e-4)
    best: _Motion | None = None
    for degrees in starts:
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        start = (back @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ to_centre)[:2].astype(np.float32)
        try:
            alike, warp = cv.findTransformECC(one, two, start, cv.MOTION_EUCLIDEAN, stop, mask, 3)
        except cv.error:
            continue
        full = to_centre @ np.vstack([warp, [0, 0, 1]]).astype(np.float64) @ back
        turned = math.degrees(math.atan2(full[1, 0], full[0, 0]))
        if best is None or alike > best.alike:
            best = _Motion(turned, float(full[0, 2]), float(full[1, 2]), float(alike))
    return best
