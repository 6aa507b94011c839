"""The command that judges one photo: reads it, marks it, prints the verdict. Judging itself is in quality.py."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.camera.opencv import cv2
from benchguide.camera.photo_file import read_photo, write_photo
from benchguide.camera.quality import PartShown, PhotoVerdict, Region, glare_over, judge_photo

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def photo_check(
    photo: Path,
    *,
    place: tuple[int, int, int, int] | None = None,
    before: Path | None = None,
    marked: Path | None = None,
    as_json: bool = False,
) -> tuple[str, bool]:
    """What to print, and whether the photo is good.

    place: x, y, width, height in pixels of what matters. before: an earlier photo of the same view, to tell new
    glare. marked: where to write the photo with the verdict drawn in. Raises ValueError with one sentence.
    """
    image = read_photo(photo)
    region = as_region(place, image.shape[1], image.shape[0]) if place else None
    earlier = read_photo(before) if before else None
    if region is None:
        verdict = judge_photo(image, before=earlier)
    else:
        glare = glare_over(earlier, region) if earlier is not None else None
        verdict = judge_photo(image, parts=(PartShown("the place", region, glare),))
    if marked:
        write_photo(marked, _marked(image, place, verdict))
    if as_json:
        return json.dumps(verdict.to_json(), indent=2), verdict.good
    lines = [reason.sentence for reason in verdict.reasons] or [verdict.sentence]
    return "\n".join([f"{photo}: {'good' if verdict.good else 'poor'}", *lines]), verdict.good


def as_region(place: tuple[int, int, int, int], width: int, height: int) -> Region:
    """Pixels to shares of the picture. Raises ValueError for a place outside it."""
    x, y, w, h = place
    if w < 1 or h < 1 or x < 0 or y < 0 or x + w > width or y + h > height:
        raise ValueError(
            f"The place {x},{y},{w},{h} is not inside the picture of {width} x {height} pixels; "
            "give x,y,width,height in pixels."
        )
    return x / width, y / height, w / width, h / height


def _marked(
    image: NDArray[np.uint8], place: tuple[int, int, int, int] | None, verdict: PhotoVerdict
) -> NDArray[np.uint8]:
    cv = cv2()
    picture = image.copy()
    size = max(0.5, picture.shape[1] / 1400)
    thick = max(1, round(2 * size))
    if place:
        x, y, w, h = place
        cv.rectangle(picture, (x, y), (x + w, y + h), (255, 255, 255), 2 * thick)
        cv.rectangle(picture, (x, y), (x + w, y + h), (0, 0, 0), thick)
    band = round(44 * size)
    cv.rectangle(picture, (0, 0), (picture.shape[1], band), (255, 255, 255), -1)
    words = f"{'good' if verdict.good else 'poor'}: {verdict.sentence}"
    cv.putText(
        picture,
        words,
        (round(12 * size), round(30 * size)),
        cv.FONT_HERSHEY_SIMPLEX,
        0.8 * size,
        (0, 0, 0),
        thick,
        cv.LINE_AA,
    )
    return picture
