"""As-left against as-found: the places that differ, most likely first, as candidates and never more.

Puts align.py (how the photos lie over each other), residual.py (what differs beyond light
and play) and places.py (screws and connectors whose place is known) together. Arrays and
plain values in, frozen dataclasses out; reads no files and draws nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchguide.camera.align import CLEAR_REASONS, Alignment, Features, align, features
from benchguide.camera.laid import Laid, lay_over
from benchguide.camera.places import Place, PlaceVerdict, judge_places
from benchguide.camera.residual import Blob, Limits, blobs, limits_for, smaller, worth_telling
from benchguide.camera.second_look import looked_again

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "Candidate",
    "Comparison",
    "Features",
    "Place",
    "PlaceVerdict",
    "compare",
    "features",
]

WORK = 1280  # longest side at which photos are compared
LIVE_WORK = 640  # and frames of a live picture
TOO_MUCH = 0.35  # share of the common view that may differ before it is another device or another side


@dataclass(frozen=True, slots=True)
class Candidate:
    """A place that differs: x, y, w, h in pixels of as-left, score 0 to 1, what it might be.

    kind is a guess in words ("screw missing or extra"), or "changed" where none is likely.
    found_box: the same place in pixels of as-found (x, y, w, h).
    """

    x: int
    y: int
    w: int
    h: int
    score: float
    kind: str
    found_box: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """What a comparison says. Where `aligned` is False it cannot tell, and `reason` is one sentence.

    candidates: most likely first. places: one verdict for each marked place, in their order.
    homography: (3, 3) float64, pixels of as-found to pixels of as-left, or None.
    alignment: for drawing one photo over the other and for the next live comparison.
    common: share of as-found that as-left shows.
    """

    aligned: bool
    reason: str
    candidates: tuple[Candidate, ...] = ()
    places: tuple[PlaceVerdict, ...] = ()
    homography: NDArray[np.float64] | None = None
    alignment: Alignment | None = None
    common: float = 0.0


def compare(
    as_found: Any,
    as_left: Any,
    *,
    px_per_mm: float | None = None,
    places: Sequence[Place] = (),
    found_features: Features | None = None,
    careful: bool = True,
    guess: Any = None,
) -> Comparison:
    """Compare two photos of the same part, (H, W, 3) uint8 BGR each (or what `features` takes).

    px_per_mm: scale of the as-found photo at the device; sharpens the eye for small parts.
    places: screws and connectors marked on as-found, judged one by one.
    found_features: `features(as_found)` from before; as_found may then be None.
    careful: False works at half the size, for moving pictures.
    guess: homography of an earlier comparison of nearly the same view.
    Raises ValueError for arrays that are no pictures; pictures that cannot be compared come
    back with `aligned` False and a reason.
    """
    work = WORK if careful else LIVE_WORK
    found = found_features if found_features is not None else features(as_found, work=work)
    left = features(as_left, work=work)
    alignment = align(found, left, guess=guess, thorough=careful)
    if not alignment.aligned:
        return Comparison(False, alignment.reason, places=judge_places(None, places, alignment))
    laid = lay_over(found, left, alignment)
    limits = _limits(found, laid, px_per_mm)
    told = worth_telling(looked_again(blobs(laid.found, laid.left, laid.seen, limits), laid, limits), limits)
    verdicts = judge_places(laid, places, alignment, told)
    trouble = _too_different(told, laid)
    if trouble:
        return Comparison(False, trouble, (), verdicts, alignment.homography, alignment, laid.common)
    made = tuple(_candidate(b, laid, found.size, left.size, alignment) for b in told)
    return Comparison(True, "", made, verdicts, alignment.homography, alignment, laid.common)


def _limits(found: Features, laid: Laid, px_per_mm: float | None) -> Limits:
    factor = max(found.work.shape[:2]) / WORK
    scale = None if px_per_mm is None else px_per_mm * laid.scale / min(1.0, factor)
    limits = limits_for(scale)
    return limits if factor > 0.95 else smaller(limits, max(0.3, factor))


def _too_different(told: list[Blob], laid: Laid) -> str:
    """A reason not to tell anything, or an empty string."""
    import numpy as np

    seen = laid.seen[::4, ::4] > 0
    total = max(1, int(np.count_nonzero(seen)))
    burnt = [int(np.count_nonzero((p[::4, ::4].min(2) >= 250) & seen)) for p in (laid.found, laid.left)]
    if max(burnt) > 0.3 * total and min(burnt) < 0.1 * total:
        return CLEAR_REASONS["light"]
    if sum(b.area for b in told) > TOO_MUCH * 16 * total:
        return CLEAR_REASONS["other"]
    return ""


def _candidate(
    blob: Blob, laid: Laid, found: tuple[int, int], left: tuple[int, int], alignment: Alignment
) -> Candidate:
    x, y = ((v + 0.5) / laid.scale - 0.5 for v in (blob.box[0], blob.box[1]))
    w, h = (v / laid.scale for v in (blob.box[2], blob.box[3]))
    corners = alignment.to_left([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    x0, y0, x1, y1 = (float(v) for v in (*corners.min(0), *corners.max(0)))
    score = blob.weight / (1 + blob.weight)
    return Candidate(
        *_whole(x0, y0, x1, y1, left),
        round(min(0.999, score), 3),
        _kind(blob),
        _whole(x, y, x + w, y + h, found),
    )


def _whole(x0: float, y0: float, x1: float, y1: float, size: tuple[int, int]) -> tuple[int, int, int, int]:
    """Box in whole pixels inside a picture, at least one pixel each way."""
    left, top = min(max(0, round(x0)), size[0] - 1), min(max(0, round(y0)), size[1] - 1)
    right, bottom = min(max(left + 1, round(x1)), size[0]), min(max(top + 1, round(y1)), size[1])
    return left, top, right - left, bottom - top


def _kind(blob: Blob) -> str:
    """What it might be, from its shape alone. A guess, and worded as one."""
    w, h = blob.box[2:]
    longest, roundness = max(w, h), min(w, h) / max(w, h)
    if roundness > 0.75 and longest < 75 and blob.fill > 0.4:
        return "screw missing or extra" if blob.ring > 12 else "small part missing or extra"
    if blob.fill > 0.56 and longest > 80:
        return "cover or part absent or new"
    if blob.fill < 0.56 and longest > 60 and blob.strength > 2.6:
        return "cable routed another way"
    if blob.fill > 0.35 and 30 < longest < 140:
        return "connector or part turned or not seated"
    return "something left inside or missing" if longest <= 75 else "changed"
