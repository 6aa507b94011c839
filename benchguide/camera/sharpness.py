"""How steep the edges of a picture are: the measure behind "out of focus" and "shaken". Judges nothing.

At every strong edge: the largest change from one pixel to the next, divided by the whole change across the edge.
A ratio, so that neither exposure nor the contrast of the subject moves it. Blur lowers it in all directions,
shaking in one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: pictures are measured at this width (pixels): one scale for every camera
WIDTH = 640
#: an edge counts when grey changes by at least this much (of 255) within 11 x 11 pixels
CONTRAST = 16
#: share of what is looked at, the strongest edges, that counts
STRONGEST = 0.2
#: fewer edge pixels than this tell nothing
ENOUGH = 60
DIRECTIONS = 6


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Edge steepness, 0 to about 0.6 a pixel at 640 pixels width.

    all_ways: over edges of every direction, low when out of focus.
    worst_way: of the direction where it is lowest, low when shaken.
    Both None when the picture has too few edges to tell.
    """

    all_ways: float | None
    worst_way: float | None


def measured_grey(image: NDArray[np.uint8], width: int = WIDTH) -> NDArray[np.float32]:
    """The picture in grey, (H, W) float32 of 0 to 255, `width` pixels wide; never enlarged.

    image: (H, W, 3) BGR or (H, W) grey, uint8.
    """
    import numpy as np

    cv = cv2()
    grey = image if image.ndim == 2 else cv.cvtColor(image, cv.COLOR_BGR2GRAY)
    if grey.shape[1] > width:
        height = max(1, round(grey.shape[0] * width / grey.shape[1]))
        grey = cv.resize(grey, (width, height), interpolation=cv.INTER_AREA)
    return grey.astype(np.float32)


def sharpness(image: NDArray[np.uint8], mask: NDArray[np.bool_] | None = None) -> Sharpness:
    """Measure one picture, or what `mask` (same height and width) shows of it.

    Some 60 ms of one core at 1080p; `steepness` alone takes a third of it.
    """

    grey, wide = _prepared(image, mask)
    right, down = _slopes(grey)
    all_ways = _steepness(grey, right, down, wide)
    if all_ways is None:
        return Sharpness(None, None)
    ways = [way for angle in _angles() if (way := _along(grey, right, down, angle, wide)) is not None]
    return Sharpness(all_ways, min(ways, default=None))


def steepness(image: NDArray[np.uint8], mask: NDArray[np.bool_] | None = None) -> float | None:
    """`Sharpness.all_ways` alone: enough to choose the sharpest of several frames."""
    grey, wide = _prepared(image, mask)
    return _steepness(grey, *_slopes(grey), wide)


def steepness_of(cut: NDArray[np.uint8], width: int) -> float | None:
    """The same of a cut of a picture that is `width` pixels wide, on the scale of the whole."""
    grey = measured_grey(cut, max(1, round(cut.shape[1] * min(1.0, WIDTH / width))))
    grey = cv2().GaussianBlur(grey, (0, 0), 0.7)
    return _steepness(grey, *_slopes(grey), None)


def _prepared(
    image: NDArray[np.uint8], mask: NDArray[np.bool_] | None
) -> tuple[NDArray[np.float32], NDArray[np.bool_] | None]:
    import numpy as np

    cv = cv2()
    grey = cv.GaussianBlur(measured_grey(image), (0, 0), 0.7)
    wide = cv.resize(mask.astype(np.uint8), grey.shape[::-1]) > 0 if mask is not None else None
    return grey, wide


def _slopes(grey: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    cv = cv2()
    return cv.Sobel(grey, cv.CV_32F, 1, 0, scale=1 / 8), cv.Sobel(grey, cv.CV_32F, 0, 1, scale=1 / 8)


def _steepness(
    grey: NDArray[np.float32],
    right: NDArray[np.float32],
    down: NDArray[np.float32],
    mask: NDArray[np.bool_] | None,
) -> float | None:
    import numpy as np

    cv = cv2()
    square = np.ones((11, 11), np.uint8)
    across = cv.dilate(grey, square) - cv.erode(grey, square)
    steep = cv.dilate(cv.magnitude(right, down), square)
    return _typical(steep, across, mask)


def _typical(
    steep: NDArray[np.float32], across: NDArray[np.float32], mask: NDArray[np.bool_] | None
) -> float | None:
    """The upper quartile of steep / across over the strongest edges; None where there are too few."""
    import numpy as np

    good = across >= CONTRAST
    if mask is not None:
        good &= mask
    count = int(good.sum())
    if count < ENOUGH:
        return None
    kept = across[good]
    size = across.size if mask is None else int(mask.sum())
    floor = float(np.quantile(kept, 1 - min(1.0, STRONGEST * size / count)))
    places = good & (across >= floor)
    return float(np.quantile(steep[places] / across[places], 0.75))


def _angles() -> list[float]:
    import math

    return [math.pi * number / DIRECTIONS for number in range(DIRECTIONS)]


def _along(
    grey: NDArray[np.float32],
    right: NDArray[np.float32],
    down: NDArray[np.float32],
    angle: float,
    mask: NDArray[np.bool_] | None,
) -> float | None:
    """Steepness of the edges that one direction crosses; None where there are too few of them."""
    import math

    import numpy as np

    cv = cv2()
    slope = np.abs(math.cos(angle) * right + math.sin(angle) * down)
    line = _line(angle)
    steep = cv.dilate(slope, line)
    across = cv.dilate(grey, line) - cv.erode(grey, line)
    return _typical(steep, across, mask)


def _line(angle: float) -> NDArray[np.uint8]:
    """A kernel of the 11 pixels that lie in one direction."""
    import math

    import numpy as np

    kernel = np.zeros((11, 11), np.uint8)
    dx, dy = round(5 * math.cos(angle)), round(5 * math.sin(angle))
    cv2().line(kernel, (5 - dx, 5 - dy), (5 + dx, 5 + dy), 1)
    return kernel
