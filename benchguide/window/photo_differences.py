"""From a comparison to what the session keeps: candidates with a box, a score and a hint. No Qt, no files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchguide.session.commands import Difference

if TYPE_CHECKING:
    from benchguide.camera.compare import Candidate, Comparison, Place, PlaceVerdict
    from benchguide.session.events import PlaceMarked

#: what a place that was marked by hand may have become, worth a look
TELLING = ("missing", "turned", "lifted", "changed")
#: a marked place is much surer than anything found anywhere
MARKED_SCORE = 0.999
Box = tuple[int, int, int, int]


def places_of(marked: Sequence[PlaceMarked | None]) -> tuple[Place, ...]:
    """Marked places as the comparison takes them; those taken away again are left out."""
    from benchguide.camera.compare import Place

    return tuple(Place(p.kind, p.x, p.y, p.size) for p in marked if p is not None)


def differences_of(comparison: Comparison) -> tuple[Difference, ...]:
    """All candidates, those at marked places first; a box that lies over such a place is told once."""
    marked = [_marked(v) for v in comparison.places if v.state in TELLING and v.x is not None]
    found = [_found(c) for c in comparison.candidates]
    return (*marked, *(d for d in found if not any(_over(d.box, m.box) for m in marked)))


def _found(candidate: Candidate) -> Difference:
    box = (candidate.x, candidate.y, candidate.w, candidate.h)
    return Difference(box, candidate.found_box, candidate.score, candidate.kind)


def _marked(verdict: PlaceVerdict) -> Difference:
    place = verdict.place
    half = max(place.w, place.h or 0.0) / 2
    side = max(1, round(2 * half))
    found = (max(0, round(place.x - half)), max(0, round(place.y - half)), side, side)
    left = (max(0, round((verdict.x or 0) - half)), max(0, round((verdict.y or 0) - half)), side, side)
    return Difference(left, found, MARKED_SCORE, f"marked {place.kind}: {verdict.state}")


def _over(one: Box, other: Box) -> bool:
    """True when a good part of the smaller box lies in the larger one."""
    wide = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    high = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    return min(wide, high) > 0 and wide * high > 0.3 * min(one[2] * one[3], other[2] * other[3])
