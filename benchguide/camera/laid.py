"""As-left laid over as-found: warped, brought to the same light and the same sharpness, ready to be compared.

Judges nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.align import Alignment, Features, field_map, scaling
from benchguide.camera.opencv import cv2
from benchguide.camera.residual import equally_sharp, matched

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]
    Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """The two photos in the pixels of the as-found work picture, (h, w, 3) uint8 BGR each.

    seen: (h, w) uint8, 255 where as-left shows the place. scale: work pixels per pixel of
    the as-found photo. common: share of as-found that is seen. field: (rows, cols, 2)
    float32, by how many of these pixels as-left was displaced beyond the plane, one cell for
    each `cell` pixels; parallax: the largest of it that is no outlier.
    """

    found: Image
    left: Image
    seen: Image
    scale: float
    common: float
    field: Floats
    cell: float
    parallax: float


def lay_over(found: Features, left: Features, alignment: Alignment) -> Laid:
    """Lay as-left over as-found. Raises ValueError where they are not aligned."""
    import numpy as np

    if alignment.homography is None or alignment.field is None:
        raise ValueError("The pictures are not aligned.")
    cv = cv2()
    height, width = found.work.shape[:2]
    to_left = scaling(left.work.shape[1] / left.size[0])
    plane = to_left @ alignment.homography @ np.linalg.inv(scaling(width / found.size[0]))
    at = field_map(plane, alignment.field * np.float32(to_left[0, 0]), (width, height))
    moved = cv.remap(left.work, at, None, cv.INTER_LINEAR, borderMode=cv.BORDER_REPLICATE)
    edge = (float(left.work.shape[1] - 1), float(left.work.shape[0] - 1), 0.0, 0.0)
    seen = cv.inRange(at, (0.0, 0.0, 0.0, 0.0), edge)
    a, b = equally_sharp(found.work, matched(found.work, moved, seen), seen)
    field = _in_found(alignment.homography, alignment.field, found.size) * np.float32(width / found.size[0])
    parallax = float(np.percentile(np.hypot(field[..., 0], field[..., 1]), 99))
    common = float(np.count_nonzero(seen)) / seen.size
    scale = width / found.size[0]
    return Laid(a, b, seen, scale, common, field, alignment.cell * scale, parallax)


def _in_found(plane: NDArray[np.float64], field: Floats, size: tuple[int, int]) -> Floats:
    """A displacement field in pixels of as-left as one in pixels of as-found (by the plane's middle)."""
    import numpy as np

    x, y = size[0] / 2, size[1] / 2
    spots = np.array([[x - 1, y, 1], [x + 1, y, 1], [x, y - 1, 1], [x, y + 1, 1]]) @ plane.T
    west, east, north, south = spots[:, :2] / spots[:, 2:]
    stretch = np.stack([east - west, south - north], axis=1) / 2
    back: Floats = field @ np.linalg.inv(stretch).T.astype(np.float32)
    return back
