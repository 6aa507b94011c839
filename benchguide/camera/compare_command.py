"""The body of `benchguide compare`: reads two picture files, compares them, writes what it found.

Knows nothing of the command line's library: plain values in, text and an exit code out.
"""

from __future__ import annotations

import io
import json
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.compare import Comparison, Place

    Image = NDArray[np.uint8]

KINDS = "screw, connector, or another word for the part"
PLACE_FORM = "KIND,X,Y,SIZE or KIND,X,Y,WIDTH,HEIGHT[,ANGLE]"
FORMATS = ("JPEG", "PNG", "TIFF", "BMP", "WEBP")
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
    found, left = read_picture(as_found), read_picture(as_left)
    said = compare(found, left, px_per_mm=px_per_mm, places=spots)
    if marked is not None:
        _write_marked(marked, left, said)
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


def read_picture(path: Path) -> Image:
    """A picture file as (H, W, 3) uint8 BGR, upright by its Exif orientation.

    JPEG, PNG, TIFF, BMP and WebP, of 8 or 16 bit, grey, RGB, CMYK or palette; what is
    transparent lies on white. Raises BadComparison, before memory is taken, for more than
    100 megapixels or 256 MB.
    """
    import numpy as np
    from PIL import Image as Pictures
    from PIL import ImageOps

    from benchguide.camera.decode import MAX_FILE_BYTES, MAX_PIXELS

    try:
        if path.is_dir():
            raise BadComparison(f"{path} is a folder; name a picture file.")
        if not path.is_file():
            raise BadComparison(f"{path} is not there; check the name.")
        if path.stat().st_size > MAX_FILE_BYTES:
            raise BadComparison(f"{path} is larger than 256 MB; use a smaller picture.")
        data = path.read_bytes()
    except OSError as error:
        raise BadComparison(f"{path} cannot be read ({error.strerror}); look at its rights.") from None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            picture = Pictures.open(io.BytesIO(data), formats=FORMATS)
        except Pictures.DecompressionBombError:
            raise BadComparison(f"{path} is larger than 100 megapixels; use a smaller picture.") from None
        except Exception:
            raise BadComparison(f"{path} is not a JPEG, PNG, TIFF, BMP or WebP picture.") from None
        with picture:
            if picture.width * picture.height > MAX_PIXELS:
                raise BadComparison(f"{path} is larger than 100 megapixels; use a smaller picture.")
            try:
                picture.load()
                upright = ImageOps.exif_transpose(picture)
                rgb = _eight_bit(upright)
            except Exception:
                raise BadComparison(f"{path} is cut short or damaged; copy it again.") from None
    return np.ascontiguousarray(np.asarray(rgb)[:, :, ::-1])


def _eight_bit(picture: Any) -> Any:
    """RGB of 8 bit from any mode; 16-bit values are scaled, not cut off."""
    import numpy as np
    from PIL import Image as Pictures

    if picture.mode.startswith(("I", "F")):
        values = np.asarray(picture, np.float64)
        deep = picture.mode.startswith("I;16") or values.max(initial=0) > 255
        grey = np.clip(values / 257 if deep else values, 0, 255).astype(np.uint8)
        return Pictures.fromarray(grey).convert("RGB")
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        full = picture.convert("RGBA")
        ground = Pictures.new("RGBA", full.size, "white")
        return Pictures.alpha_composite(ground, full).convert("RGB")
    return picture.convert("RGB")


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


def _write_marked(path: Path, left: Image, said: Comparison) -> None:
    from benchguide.camera.opencv import cv2
    from benchguide.camera.overlay import outlined

    kind = ".png" if path.suffix.lower() == ".png" else ".jpg"
    done, data = cv2().imencode(kind, outlined(left, said.candidates))
    if not done:
        raise BadComparison(f"{path} could not be encoded; use a smaller picture or another ending.")
    try:
        path.write_bytes(bytes(data))
    except OSError as error:
        raise BadComparison(f"{path} cannot be written ({error.strerror}); choose another place.") from None
