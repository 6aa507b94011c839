"""From millimetres on the mat to pixels of the picture: one homography and one radial term, fitted together.

No camera calibration is needed: the corners of all markers carry nine unknowns. Also how slantwise the camera
looks at a place. Reads no cells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera.mat_layout import MatLayout, mat_layout
from benchguide.camera.mat_markers import Markers, NoMat
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Points = NDArray[np.float64]

#: Residual of a corner in pixels from which on it counts less and less (soft-L1).
_SOFT_PX = 0.5
#: Radial terms of usual lenses, as a standard deviation.
_USUAL_K1 = 0.08
#: More of a residual, in mm, and the mat is bent or not one plane.
MOST_RMS_MM = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """The mat's plane in one picture."""

    layout: MatLayout
    matrix: Points
    """(3, 3) homography from mm to pixels from the middle of the picture, before the lens error."""
    k1: float
    """Radial term, for a radius of 1 at the corner of the picture."""
    size: tuple[int, int]
    """Width and height of the picture in pixels."""
    rms_mm: float
    """Root mean square residual of the marker corners."""
    seen: tuple[int, ...] = ()
    """Markers that were read."""
    mixing: float = 1.7
    """Power of the picture values in which edges mix straight (mat_tone.py)."""

    @property
    def middle(self) -> tuple[float, float]:
        """Middle of the picture in pixels."""
        return (self.size[0] - 1) / 2, (self.size[1] - 1) / 2

    def to_pixel(self, points: Points) -> Points:
        """(..., 2) mm to (..., 2) pixels; an integer is the middle of a pixel."""
        return _project(self.matrix, self.k1, self.size, points)

    def to_mm(self, pixels: Points) -> Points:
        """(..., 2) pixels to (..., 2) mm."""
        import numpy as np

        d = np.asarray(pixels, np.float64) - self.middle
        u, unit = d, _unit(self.size)
        for _ in range(6):
            u = d / (1 + self.k1 * (u**2).sum(-1, keepdims=True) / unit**2)
        q = np.concatenate([u, np.ones((*u.shape[:-1], 1))], -1) @ np.linalg.inv(self.matrix).T
        return np.asarray(q[..., :2] / q[..., 2:])

    def px_per_mm(self, point: tuple[float, float]) -> float:
        """Pixels a millimetre at a place, in the direction in which there are fewest."""
        import numpy as np

        x, y = point
        spots = self.to_pixel(np.array([(x, y), (x + 0.5, y), (x, y + 0.5)]))
        step = (spots[1:] - spots[0]).T / 0.5
        return float(np.linalg.svd(step, compute_uv=False)[-1])

    def inside(self, points: Points, margin: float = 2.0) -> bool:
        """True when all these (n, 2) mm lie in the picture."""
        at = self.to_pixel(points)
        w, h = self.size
        return bool(
            at[:, 0].min() >= margin and at[:, 1].min() >= margin
            and at[:, 0].max() <= w - 1 - margin and at[:, 1].max() <= h - 1 - margin
        )  # fmt: skip

    @property
    def turned_deg(self) -> float:
        """How far the mat is turned in the picture, -180 to 180 degrees; 0 is upright."""
        import numpy as np

        x, y = self.layout.width_mm / 2, self.layout.height_mm / 2
        a, b = self.to_pixel(np.array([(x - 5, y), (x + 5, y)]))
        return math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))


def _unit(size: tuple[int, int]) -> float:
    return math.hypot(*size) / 2


def _project(matrix: Points, k1: float, size: tuple[int, int], points: Points) -> Points:
    import numpy as np

    p = np.asarray(points, np.float64)
    q = np.concatenate([p, np.ones((*p.shape[:-1], 1))], -1) @ matrix.T
    u = q[..., :2] / q[..., 2:]
    r2 = (u**2).sum(-1, keepdims=True) / _unit(size) ** 2
    return np.asarray(u * (1 + k1 * r2) + ((size[0] - 1) / 2, (size[1] - 1) / 2))


def fit_plane(markers: Markers, size: tuple[int, int]) -> Plane:
    """Fit the plane to all marker corners. Raises NoMat when they do not fit one flat mat."""
    import numpy as np

    layout = mat_layout(markers.paper)
    mm = np.concatenate([np.array(layout.markers[marker].corners) for marker in markers.corners])
    px = np.concatenate(list(markers.corners.values()))
    middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    start, _ = cv2().findHomography(mm, px - middle, cv2().RANSAC, 6.0)
    if start is None:
        raise NoMat("The markers do not lie on one plane: lay the mat flat.")
    matrix, k1 = fit_points(start / start[2, 2], size, mm, px)
    plane = Plane(layout, matrix, k1, size, 0.0)
    off = np.linalg.norm(plane.to_mm(px) - mm, axis=1)
    rms = float(np.sqrt(np.median(off**2) * 1.44))
    if not math.isfinite(rms) or rms > 4 * MOST_RMS_MM:
        raise NoMat("The markers do not fit this mat: it is bent, cut up, or not one of ours.")
    return Plane(layout, matrix, k1, size, rms, tuple(markers.corners))


def fit_points(matrix: Points, size: tuple[int, int], mm: Points, px: Points) -> tuple[Points, float]:
    """Homography (3, 3) and radial term that take `mm` (n, 2) to `px` (n, 2) in a picture of `size`.

    matrix: a first guess, to pixels from the middle of the picture. Levenberg-Marquardt over nine unknowns, residuals
    weighted soft-L1.
    """
    import numpy as np

    scale = np.array([1.0, 1.0, 100.0, 1.0, 1.0, 100.0, 1e-3, 1e-3, 0.1])
    centre = mm.mean(0)
    # millimetres from the middle of the markers: the entries then hardly work against each other
    back = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1.0]])
    local = matrix @ np.linalg.inv(back)
    p = np.append((local / local[2, 2]).ravel()[:8], 0.0) / scale

    def residuals(v: Points) -> Points:
        h = np.append((v * scale)[:8], 1.0).reshape(3, 3)
        k1 = float((v * scale)[8])
        # the last one says that lenses have some k1 and none has much; it decides only where few markers are seen
        return np.append((_project(h, k1, size, mm - centre) - px).ravel(), 0.3 * k1 / _USUAL_K1)

    def weights(r: Points) -> Points:
        return np.asarray(1 / np.sqrt(1 + (r / _SOFT_PX) ** 2))

    r = residuals(p)
    damp = 1e-3
    for _ in range(40):
        jac = np.stack([(residuals(p + np.eye(9)[i] * 1e-5) - r) / 1e-5 for i in range(9)], 1)
        w = weights(r)
        a, g = jac.T @ (jac * w[:, None]), jac.T @ (r * w)
        step = np.linalg.lstsq(a + damp * np.diag(np.diag(a) + 1e-12), -g, rcond=None)[0]
        new = residuals(p + step)
        if _cost(new) < _cost(r):
            done = _cost(r) - _cost(new) < 1e-9 * _cost(r)
            p, r, damp = p + step, new, max(damp / 5, 1e-9)
            if done:
                break
        else:
            damp *= 6
            if damp > 1e9:
                break
    v = p * scale
    return np.append(v[:8], 1.0).reshape(3, 3) @ back, float(v[8])


def _cost(r: Points) -> float:
    import numpy as np

    return float((np.sqrt(1 + (r / _SOFT_PX) ** 2) - 1).sum())


def slant_at(plane: Plane, point: tuple[float, float]) -> tuple[float, float] | None:
    """How far the top of a thing 1 mm high seems shifted on the paper at a place, in mm (x, y).

    From the homography, for a camera with square pixels whose optical axis meets the middle of the picture.
    The focal length comes out of the homography where the mat is tilted against the camera; for a camera that looks
    straight down it cannot, and a field of view of 68 degrees is assumed. None when nothing sensible comes out.
    """
    import numpy as np

    h1, h2, h3 = plane.matrix.T
    f2 = _focal_squared(h1, h2, plane.size)
    k = np.diag([1 / math.sqrt(f2), 1 / math.sqrt(f2), 1.0])
    a, b, t = k @ h1, k @ h2, k @ h3
    size = math.sqrt(float(np.linalg.norm(a) * np.linalg.norm(b)))
    a, b, t = a / size, b / size, t / size
    # in the mat's frame x is right, y down, and so z = x cross y points into the table
    rotation = np.stack([a, b, np.cross(a, b)], 1)
    u, _, v = np.linalg.svd(rotation)
    eye = -(u @ v).T @ t
    if t[2] < 0:
        eye = -eye
    high = -float(eye[2])
    if not math.isfinite(high) or high < 20:
        return None
    return (point[0] - float(eye[0])) / high, (point[1] - float(eye[1])) / high


def _focal_squared(h1: Points, h2: Points, size: tuple[int, int]) -> float:
    usual = (size[0] / (2 * math.tan(math.radians(34)))) ** 2
    lean = h1[2] * h2[2]
    straight = abs(lean) * usual < 0.003 * abs(h1[0] * h2[1] - h1[1] * h2[0])
    if straight:
        # the other constraint: both columns equally long
        gap = h1[2] ** 2 - h2[2] ** 2
        if abs(gap) * usual < 0.006 * abs(h1[0] * h2[1] - h1[1] * h2[0]):
            return float(usual)
        found = -((h1[:2] ** 2).sum() - (h2[:2] ** 2).sum()) / gap
    else:
        found = -(h1[0] * h2[0] + h1[1] * h2[1]) / lean
    return float(min(max(found, usual * 0.35), usual * 4)) if found > 0 else float(usual)
