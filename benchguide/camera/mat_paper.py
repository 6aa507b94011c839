"""How much of every pixel of a cell is covered: the mat's cyan paper told from whatever lies on it.

Light that came off cyan paper has little red; off metal, white, black and brass alike, it has as much red as green
and blue or more. The surplus of green and blue over red is therefore the amount of paper light in a pixel:
mixing at an edge changes it in proportion, a lamp's glare on the paper leaves it alone, and a shadow lowers it
together with the red, which metal does not. Finds no parts; that is mat_blobs.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.mat_layout import Box
from benchguide.camera.mat_plane import Plane
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Map = NDArray[np.float32]

#: Red light beyond the paper's own that makes a pixel surely metal, against the paper's green and blue.
SHINE = 0.5
#: White paper around the cell that is looked at for the colour of the light, in mm.
RING_MM = 1.2
#: Print and focus blur the rim of a cell; this much of it is not read, in mm.
RIM_MM = 0.35


class NoPaper(ValueError):
    """The cell does not look like the mat's paper; its text is one clause that says why."""


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """One cell, straightened."""

    box: Box
    """What the map shows, in mm: the cell without its rim."""
    ppm: float
    """Pixels of the map a millimetre."""
    native: float
    """Pixels of the picture a millimetre."""
    cover: Map
    """(H, W) 0 to 1: share of the pixel that is not paper."""
    picture: NDArray[np.uint8]
    """(H, W, 3) the cell itself."""
    burnt: float
    """Share of the cell where the picture is at its upper limit."""
    paper: float
    """Brightness of clear paper, in picture values; 0 where none is seen."""


def linear_table() -> NDArray[np.float32]:
    """Linear light (0 to 1) of the 256 picture values, by the sRGB curve (IEC 61966-2-1)."""
    import numpy as np

    x = np.arange(256) / 255
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4).astype(np.float32)


def straighten(image: NDArray[np.uint8], plane: Plane, box: Box, ppm: float) -> NDArray[np.uint8]:
    """The part of the picture that shows `box`, (H, W, 3), seen straight down at `ppm` pixels a millimetre."""
    import numpy as np

    cv = cv2()
    w, h = max(2, round(box.w * ppm)), max(2, round(box.h * ppm))
    step = 8
    xs = (np.arange(0, w + step, step) + 0.5) / ppm + box.x
    ys = (np.arange(0, h + step, step) + 0.5) / ppm + box.y
    coarse = plane.to_pixel(np.stack(np.meshgrid(xs, ys), -1)).astype(np.float32)
    u, v = np.meshgrid(np.arange(w, dtype=np.float32) / step, np.arange(h, dtype=np.float32) / step)
    at = cv.remap(coarse, u, v, cv.INTER_LINEAR)
    lo = np.floor(at.reshape(-1, 2).min(0)).astype(int) - 3
    hi = np.ceil(at.reshape(-1, 2).max(0)).astype(int) + 4
    x0, y0 = np.maximum(lo, 0)
    x1, y1 = np.minimum(hi, [image.shape[1], image.shape[0]])
    if x1 <= x0 or y1 <= y0:
        raise NoPaper("it is not in the picture")
    part = image[y0:y1, x0:x1]
    at -= np.array([x0, y0], np.float32)
    return np.asarray(cv.remap(part, at[..., 0], at[..., 1], cv.INTER_CUBIC, borderMode=cv.BORDER_REPLICATE))


def read_patch(image: NDArray[np.uint8], plane: Plane, cell: Box) -> Patch:
    """Straighten one cell and tell paper from the rest. Raises NoPaper when it shows no cyan paper."""
    import numpy as np

    native = plane.px_per_mm(cell.middle)
    ppm = float(min(max(native * 1.3, 7.0), 18.0))
    wide = Box(cell.x - RING_MM, cell.y - RING_MM, cell.w + 2 * RING_MM, cell.h + 2 * RING_MM)
    picture = straighten(image, plane, wide, ppm)
    light = linear_table()[picture]
    rim = round((RING_MM + RIM_MM) * ppm)
    inner = light[rim:-rim, rim:-rim]
    white = _white(light, round((RING_MM - 0.25) * ppm))
    cover = _cover(inner / white, native / ppm)
    burnt = float((picture[rim:-rim, rim:-rim].min(2) >= 250).mean())
    h, w = cover.shape
    box = Box(wide.x + rim / ppm, wide.y + rim / ppm, w / ppm, h / ppm)
    own = np.ascontiguousarray(picture[rim:-rim, rim:-rim])
    clear = cover < 0.2
    paper = float(np.median(own[clear].mean(1))) if clear.any() else 0.0
    return Patch(box, ppm, native, cover, own, burnt, paper)


def _white(light: Map, ring: int) -> Map:
    """Colour of the light, (3,) with a mean of 1, from the white paper around the cell."""
    import numpy as np

    edge = np.concatenate([
        light[:ring].reshape(-1, 3), light[-ring:].reshape(-1, 3),
        light[:, :ring].reshape(-1, 3), light[:, -ring:].reshape(-1, 3),
    ])  # fmt: skip
    level = edge.mean(1)
    bright = edge[level >= np.percentile(level, 60)]
    white = np.median(bright, 0)
    if white.min() < 0.02:
        raise NoPaper("it is too dark")
    if white.max() > 2.5 * white.min():
        raise NoPaper("the light is too coloured, or something covers the white around it")
    return np.asarray(white / white.mean(), np.float32)


def _cover(light: Map, scale: float) -> Map:
    """Coverage from linear light (H, W, 3), blue-green-red, white balanced."""
    import numpy as np

    cv = cv2()
    soft = cv.GaussianBlur(light, (0, 0), 0.5 / scale)
    red = soft[..., 2]
    cyan = _surplus(soft)
    best = float(np.percentile(cyan, 90))
    usual = float(np.median(soft.mean(2)))
    if best < 0.03 or best < 0.35 * usual:
        # a cell that is quite full of parts still shows cyan between them
        raise NoPaper("no cyan paper can be seen: it is covered, or the light is too dim or too strong")
    level, paper = _level(cyan, best)
    share = cyan / level
    rest = float(np.median(red[paper] / cyan[paper])) if paper.any() else 0.1
    # grey light: what is red beyond the little that the paper itself sends; glare on paper and metal have it
    grey = np.maximum(red - rest * np.maximum(cyan, 0), 0) / level
    sure = _sure(share, grey)
    shaded = np.clip(_near(share, sure, 5.0 / scale, 1.0), 0.3, 1.4)
    cover = np.clip(1 - share / shaded, 0, 1)
    # Bright metal also by its red alone, beyond the glare on the paper around it: cameras and JPEG store colour
    # coarser than brightness, and a thin bright head hardly shows in colour.
    shine = grey - _near(grey, sure, 5.0 / scale, 0.0)
    cover = np.maximum(cover, np.clip(shine / SHINE, 0, 1)).astype(np.float32)
    return np.asarray(cover)


def _surplus(light: Map) -> Map:
    """Green and blue beyond red."""
    import numpy as np

    return np.asarray((light[..., 0] + light[..., 1]) / 2 - light[..., 2])


def _level(cyan: Map, best: float) -> tuple[Map, NDArray[np.bool_]]:
    """The paper's cyan over the cell, a surface of second order fitted to what is surely paper, and that."""
    import numpy as np

    h, w = cyan.shape
    y, x = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1)
    thin = (slice(None, None, 3), slice(None, None, 3))
    values, basis = cyan[thin].ravel(), terms[thin].reshape(-1, 6)
    paper = values > 0.6 * best
    fit = np.full(values.shape, best)
    for _ in range(4):
        if paper.sum() < 60:
            break
        # a little ridge keeps a nearly full cell from bending the surface where no paper shows
        a = basis[paper]
        ridge = np.diag([0, *[0.02 * paper.sum()] * 5])
        weights = np.linalg.solve(a.T @ a + ridge, a.T @ values[paper])
        fit = basis @ weights
        paper = (values > 0.8 * fit) & (values < 1.25 * fit)
    else:
        surface = np.maximum(terms @ weights, 0.3 * best).astype(np.float32)
        return surface, (cyan > 0.8 * surface) & (cyan < 1.25 * surface)
    surface = np.full(cyan.shape, best, np.float32)
    return surface, cyan > 0.6 * best


def _sure(share: Map, grey: Map) -> Map:
    """1 where a pixel can only be paper: darker by as much as a shadow can make it, but not greyer."""
    import numpy as np

    shadow = (share > 0.3) & (grey < 0.10 * share)
    sure = ((shadow | (share > 0.8)) & (share < 1.4)).astype(np.float32)
    return np.asarray(cv2().erode(sure, np.ones((3, 3), np.uint8)))


def _near(values: Map, sure: Map, wide: float, otherwise: float) -> Map:
    """Mean of the values of sure paper near every pixel, and `otherwise` where there is none."""
    import numpy as np

    cv = cv2()
    total = cv.GaussianBlur(sure, (0, 0), wide)
    mean = cv.GaussianBlur(sure * values, (0, 0), wide) / np.maximum(total, 1e-4)
    near = np.clip(total / 0.05, 0, 1)
    return np.asarray(mean * near + otherwise * (1 - near), np.float32)
