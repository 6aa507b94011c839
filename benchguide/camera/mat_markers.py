"""Finding the mat's markers in a picture, and what their ids alone tell. Fits nothing and reads no cell."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from benchguide.camera.mat_layout import DICTIONARY, paper_of
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]
    Points = NDArray[np.float64]

#: Fewer do not carry a plane with its lens error.
FEWEST = 3


class NoMat(ValueError):
    """The picture cannot be read as one parts mat; its text is one sentence with the remedy."""


@dataclass(frozen=True, slots=True, eq=False)
class Markers:
    """The markers of one mat."""

    paper: str
    corners: dict[int, Points]
    """By id: (4, 2) pixels, upper left corner of the marker first, clockwise as printed."""


@cache
def marker_modules(marker: int) -> tuple[tuple[bool, ...], ...]:
    """The 7 x 7 modules of one marker with its border; True is black."""
    cv = cv2()
    image = cv.aruco.generateImageMarker(_dictionary(), marker, 7)
    return tuple(tuple(bool(value < 128) for value in row) for row in image)


def _dictionary() -> Any:
    cv = cv2()
    return cv.aruco.getPredefinedDictionary(getattr(cv.aruco, DICTIONARY))


def find_markers(grey: Image) -> list[tuple[int, Points]]:
    """Every marker of the mats' dictionary in a (H, W) grey picture: id and (4, 2) corners in pixels.

    An integer coordinate is the middle of a pixel. Corners are brought to a fraction of a pixel by fitting
    lines to the edges of the marker.
    """
    import numpy as np

    from benchguide.camera.mat_corners import refined

    cv = cv2()
    settings = cv.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv.aruco.CORNER_REFINE_NONE
    settings.adaptiveThreshWinSizeMin = 7
    settings.adaptiveThreshWinSizeMax = 47
    settings.adaptiveThreshWinSizeStep = 20
    settings.minMarkerPerimeterRate = 0.02
    corners, ids, _ = cv.aruco.ArucoDetector(_dictionary(), settings).detectMarkers(grey)
    if ids is None:
        return []
    return [
        (int(marker), refined(grey, np.asarray(quad, np.float64).reshape(4, 2)))
        for marker, quad in zip(ids.ravel(), corners, strict=True)
    ]


def one_mat(grey: Image) -> Markers:
    """The markers of the one mat in the picture. Raises NoMat with the reason in one sentence."""
    found = find_markers(grey)
    known = [(marker, quad) for marker, quad in found if paper_of(marker)]
    if not known:
        raise NoMat(_nothing(grey))
    papers = Counter(paper_of(marker) for marker, _ in known)
    if len(papers) > 1:
        names = " and ".join(sorted(str(paper) for paper in papers))
        raise NoMat(f"Two parts mats are in the picture ({names}): take one away.")
    twice = [marker for marker, count in Counter(marker for marker, _ in known).items() if count > 1]
    if twice:
        raise NoMat("Two parts mats of one kind are in the picture: take one away.")
    if len(known) < FEWEST:
        count = "One marker" if len(known) == 1 else f"{len(known)} markers"
        raise NoMat(
            f"{count} of the parts mat can be read, and {FEWEST} are needed: "
            "uncover the border, or bring the whole mat into the picture."
        )
    return Markers(str(next(iter(papers))), dict(known))


def _nothing(grey: Image) -> str:
    """Why no marker was found, as far as it can be told."""
    import numpy as np

    if any(paper_of(marker) for marker, _ in find_markers(np.ascontiguousarray(grey[:, ::-1]))):
        return "The picture is mirrored: switch off mirroring in the camera."
    if any(paper_of(marker) for marker, _ in find_markers(255 - grey)):
        return "The picture is a negative: light and dark are exchanged."
    if float(np.percentile(grey, 99)) < 40:
        return "The picture is too dark to find a parts mat: add light."
    return "No parts mat is in the picture, or its markers are too small, blurred or covered."
