"""Corners of a marker to a fraction of a pixel: a line through each edge, then where the lines meet.

Edges are sought at half level of the picture's own values: cameras sharpen those, and on a real photo of a printed
sheet (tests/outside) the corners then fit the sheet better than at half level of linear light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_ALONG = 16
_ACROSS = 25


def refined(grey: NDArray[np.uint8], quad: NDArray[np.float64]) -> NDArray[np.float64]:
    """The (4, 2) corners of a black square on white, near `quad`; `quad` itself where the edges are unclear."""
    import numpy as np

    sides = np.linalg.norm(np.roll(quad, -1, 0) - quad, axis=1)
    half = float(np.clip(sides.min() / 7 * 0.75, 1.2, 5.0))
    lines = []
    for i in range(4):
        points = _edge_points(grey, quad[i], quad[(i + 1) % 4], half)
        if points is None:
            return quad
        lines.append(_line(points))
    corners = np.array([_meet(lines[i - 1], lines[i]) for i in range(4)])
    if not np.isfinite(corners).all() or np.abs(corners - quad).max() > max(2.5, 0.12 * sides.min()):
        return quad
    return corners


def _edge_points(
    grey: NDArray[np.uint8], a: NDArray[np.float64], b: NDArray[np.float64], half: float
) -> NDArray[np.float64] | None:
    """Points (n, 2) where the side from a to b changes from white to black; the black is on its right."""
    import numpy as np

    cv = cv2()
    way = (b - a) / max(1e-6, float(np.linalg.norm(b - a)))
    outward = np.array([way[1], -way[0]])
    steps = np.linspace(-half, half, _ACROSS)
    along = a + (b - a) * np.linspace(0.14, 0.86, _ALONG)[:, None]
    grid = along[:, None] + outward * steps[:, None]
    h, w = grey.shape
    if (
        grid[..., 0].min() < 0
        or grid[..., 1].min() < 0
        or grid[..., 0].max() > w - 1
        or grid[..., 1].max() > h - 1
    ):
        return None
    x0, y0 = np.floor(grid.reshape(-1, 2).min(0)).astype(int)
    x1, y1 = np.ceil(grid.reshape(-1, 2).max(0)).astype(int) + 1
    light = grey[y0:y1, x0:x1].astype(np.float32)
    at = (grid - [x0, y0]).astype(np.float32)
    level = cv.remap(light, at[..., 0], at[..., 1], cv.INTER_LINEAR)
    quarter = _ACROSS // 4
    dark, bright = level[:, :quarter].mean(1), level[:, -quarter:].mean(1)
    clear = bright - dark > 0.25 * max(2.0, float(np.median(bright - dark)))
    above = level > ((dark + bright) / 2)[:, None]
    crossing = above[:, 1:] & ~above[:, :-1]
    clear &= crossing.any(1)
    if clear.sum() < _ALONG // 2:
        return None
    last = crossing.argmax(1)
    rows = np.arange(len(level))
    low, high = level[rows, last], level[rows, last + 1]
    share = ((dark + bright) / 2 - low) / np.maximum(high - low, 1e-6)
    spot = steps[last] + share * (steps[1] - steps[0])
    return np.asarray((along + outward * spot[:, None])[clear])


def _line(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A point and a direction; the worst points are dropped once."""
    import numpy as np

    for _ in range(2):
        middle = points.mean(0)
        _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
        off = np.abs((points - middle) @ axes[1])
        keep = off <= max(0.15, 2.5 * float(np.median(off)))
        if keep.all() or keep.sum() < 5:
            break
        points = points[keep]
    return middle, axes[0]


def _meet(
    first: tuple[NDArray[np.float64], NDArray[np.float64]],
    second: tuple[NDArray[np.float64], NDArray[np.float64]],
) -> NDArray[np.float64]:
    """Where two lines cross; not finite for parallel ones."""
    import numpy as np

    (p, d), (q, e) = first, second
    cross = d[0] * e[1] - d[1] * e[0]
    if abs(cross) < 1e-6:
        return np.array([np.nan, np.nan])
    t = ((q[0] - p[0]) * e[1] - (q[1] - p[1]) * e[0]) / cross
    return np.asarray(p + t * d)
