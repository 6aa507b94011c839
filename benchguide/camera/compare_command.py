"""The body of `benchguide compare`: reads two picture files, compares them, writes what it found.

Knows nothing of the command line's library: plain values in, text and an exit code out.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchguide.camera.photo_file import read_photo, write_photo

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.compare import Comparison, Place

    Image = NDArray[np.uint8]

KINDS = "screw, connector, or another word for the part"
PLACE_FORM = "KIND,X,Y,SIZE or KIND,X,Y,WIDTH,HEIGHT[,ANGLE]"
ENDINGS = {".jpg", ".jpeg", ".png"}


class BadComparison(ValueError):
    """Something given cannot be used; its text is one sentence for a person."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Text for the screen and the exit code: 0 nothing differs; 1 for a candidate, a changed place or "cannot tell".

    Two photos that cannot be compared are no bad input: they are what the check has found.
    """

    text: str
    code: int


def run_compare(
    as_found: Path,
    as_left: Path,
    *,
    as_json: bool = False,
    marked: Path | None = None,
    px_per_mm: float | None = None,
    places: Sequence[str] = (),
) -> Answer:
    """Compare two files. Raises BadComparison with one sentence for what cannot be read, used or written."""
    from benchguide.camera.compare import compare

    if px_per_mm is not None and not 0.05 <= px_per_mm <= 1000:
        raise BadComparison("Give --px-per-mm as pixels per millimetre of the as-found photo, 0.05 to 1000.")
    spots = [parse_place(text) for text in places]
    if marked is not None and marked.suffix.lower() not in ENDINGS:
        raise BadComparison(f"{marked} should end in .jpg or .png.")
    found, left = read_photo(as_found), read_photo(as_left)
    said = compare(found, left, px_per_mm=px_per_mm, places=spots)
    if marked is not None:
        from benchguide.camera.overlay import outlined

        write_photo(marked, outlined(left, said.candidates))
    quiet = said.aligned and not said.candidates and all(v.state == "there" for v in said.places)
    code = 0 if quiet else 1
    return Answer(json.dumps(as_dict(said)) if as_json else as_text(said), code)


def parse_place(text: str) -> Place:
    """Read `KIND,X,Y,SIZE` or `KIND,X,Y,WIDTH,HEIGHT[,ANGLE]`. Raises BadComparison."""
    import math

    from benchguide.camera.compare import Place

    kind, *rest = (each.strip() for each in text.split(","))
    try:
        values = [float(each) for each in rest]
    except ValueError:
        values = []
    if not kind or len(values) not in (3, 4, 5) or not all(map(math.isfinite, values)):
        raise BadComparison(f"--place {text[:60]}: write {PLACE_FORM}, in pixels of the as-found photo.")
    if min(values[2:4]) <= 0:
        raise BadComparison(f"--place {text[:60]}: the size must be larger than 0.")
    height = values[3] if len(values) > 3 else None
    return Place(kind, values[0], values[1], values[2], height, values[4] if len(values) > 4 else 0.0)


def as_dict(said: Comparison) -> dict[str, Any]:
    """The comparison as plain values for JSON, lengths in pixels of as-left."""
    return {
        "aligned": said.aligned,
        "reason": said.reason,
        "candidates": [
            {"x": c.x, "y": c.y, "w": c.w, "h": c.h, "score": c.score, "kind": c.kind}
            for c in said.candidates
        ],
        "places": [
            {
                "kind": v.place.kind,
                "x": None if v.x is None else round(v.x, 1),
                "y": None if v.y is None else round(v.y, 1),
                "state": v.state,
                "measure": None if v.measure is None else round(v.measure, 2),
                "reason": v.reason,
            }
            for v in said.places
        ],
        "homography": None if said.homography is None else [float(v) for v in said.homography.ravel()],
        "common": round(said.common, 3),
    }


def as_text(said: Comparison) -> str:
    """The comparison in words. Candidates are never called more than that."""
    lines = []
    if not said.aligned:
        lines.append(f"Cannot tell. {said.reason}")
    elif not said.candidates:
        lines.append("No difference stands out. That is no proof that there is none.")
    else:
        count = len(said.candidates)
        lines.append(f"{count} place{'s' if count > 1 else ''} to look at, most likely first:")
    for number, c in enumerate(said.candidates, start=1):
        lines.append(f"{number:3}  {c.kind}, score {c.score:.2f}, at {c.x},{c.y}, {c.w} x {c.h} pixels")
    for v in said.places:
        where = f"{v.place.kind} at {v.place.x:g},{v.place.y:g}"
        lines.append(f"     {where}: {v.state}. {v.reason}".rstrip(". ") + ".")
    return "\n".join(lines)
