"""Pictures of a comparison: as-found laid into as-left, and as-left with numbered outlines.

Draws on copies; decides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.compare import Candidate

    Image = NDArray[np.uint8]

# violet on a light edge: seen on dark and on bright boards, and no safety colour
INK, EDGE = (230, 70, 150), (255, 255, 255)


def overlay(as_found: Image, as_left: Image, homography: Any, opacity: float = 0.5) -> Image:
    """As-found warped into as-left and mixed in, (h, w, 3) uint8 BGR of the size of as-left.

    homography: (3, 3), pixels of as-found to pixels of as-left. opacity: 0 shows as-left
    alone, 1 as-found where it reaches. Raises ValueError for an opacity outside 0 to 1.
    """
    import numpy as np

    if not 0 <= opacity <= 1:
        raise ValueError(f"The opacity must lie between 0 and 1, not {opacity}.")
    cv = cv2()
    height, width = as_left.shape[:2]
    plane = np.asarray(homography, np.float64).reshape(3, 3)
    laid = cv.warpPerspective(as_found, plane, (width, height), flags=cv.INTER_LINEAR)
    solid = np.full(as_found.shape[:2], 255, np.uint8)
    where = cv.warpPerspective(solid, plane, (width, height), flags=cv.INTER_NEAREST)
    mixed = cv.addWeighted(laid, opacity, as_left, 1 - opacity, 0)
    return cv.copyTo(mixed, where, as_left.copy())


def outlined(as_left: Image, candidates: Sequence[Candidate]) -> Image:
    """A copy of as-left with a numbered outline for each candidate, 1 the most likely."""
    cv = cv2()
    picture = as_left.copy()
    height, width = picture.shape[:2]
    thick = max(1, round(max(height, width) / 640))
    size = max(0.4, max(height, width) / 1800)
    for number, each in enumerate(candidates, start=1):
        pad = 3 * thick
        first = (max(0, each.x - pad), max(0, each.y - pad))
        last = (min(width - 1, each.x + each.w + pad), min(height - 1, each.y + each.h + pad))
        cv.rectangle(picture, first, last, EDGE, thick + 2, cv.LINE_AA)
        cv.rectangle(picture, first, last, INK, thick, cv.LINE_AA)
        _number(picture, str(number), first, last, size, thick)
    return picture


def _number(
    picture: Image, text: str, first: tuple[int, int], last: tuple[int, int], size: float, thick: int
) -> None:
    """The number on a plate above the outline, or below it where there is no room."""
    cv = cv2()
    (w, h), base = cv.getTextSize(text, cv.FONT_HERSHEY_DUPLEX, size, thick)
    tall = h + base + 2 * thick
    top = first[1] - tall if first[1] >= tall else min(picture.shape[0] - tall, last[1])
    left = min(first[0], max(0, picture.shape[1] - w - 4 * thick))
    cv.rectangle(picture, (left, top), (left + w + 4 * thick, top + tall), INK, -1)
    at = (left + 2 * thick, top + h + thick)
    cv.putText(picture, text, at, cv.FONT_HERSHEY_DUPLEX, size, EDGE, thick, cv.LINE_AA)
