"""The as-found photo as the camera would see it from where it is now; see-through where it shows nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchguide.camera.align import scaling
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def see_through(as_found: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A photo, (H, W, 3) uint8 BGR, with an opaque fourth channel: what `laid_picture` lays. Made once a photo."""
    cv = cv2()
    return cv.cvtColor(as_found, cv.COLOR_BGR2BGRA)


def laid_picture(
    as_found: NDArray[np.uint8], homography: Any, factor: float, left: tuple[int, int], width: int
) -> NDArray[np.uint8]:
    """As-found laid into as-left, (h, w, 4) uint8 blue, green, red, alpha; colours multiplied by alpha.

    as_found: `see_through` of the photo, shrunk by `factor` from what the homography is about. homography: (3, 3),
    pixels of as-found to pixels of as-left. left: (width, height) of as-left. width: of the picture that is made;
    its height follows. One pass, which lets other threads run.
    """
    import numpy as np

    cv = cv2()
    share = width / left[0]
    size = (width, max(1, round(left[1] * share)))
    plane = scaling(share) @ np.asarray(homography, np.float64).reshape(3, 3) @ np.linalg.inv(scaling(factor))
    picture: NDArray[np.uint8] = cv.warpPerspective(as_found, plane, size, flags=cv.INTER_LINEAR)
    return picture
