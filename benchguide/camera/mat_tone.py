"""How the picture mixes bright and dark at an edge, told by the mat's own markers.

A lens mixes light, and the camera then bends the values; sharpening, scaling and compression mix values. Where an
edge lies half-way therefore depends on the picture: between black and white it differs by a quarter of a pixel.
The markers are black and white of known area. In the right power of the picture values their mean over a marker is
exactly what their area says, blurred or not; that power is sought here. Reads no cells.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from benchguide.camera.mat_layout import DICTIONARY, MARKER_MM, Box
from benchguide.camera.mat_plane import Plane
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Map = NDArray[np.float32]

#: Values mixed as they are, and light mixed behind the usual curve of cameras.
VALUES, LIGHT = 1.0, 2.2
#: Where no marker tells.
USUAL = 1.7
_POWERS = (0.7, 1.0, 1.3, 1.6, 1.9, 2.2, 2.5, 2.8)
_PPM = 12.0
_MODULES = 7
_BORDER_MM = 0.9


def mixing_power(grey: NDArray[np.uint8], plane: Plane) -> float:
    """Power of the picture values that mixes straight at edges, 1 (values) to 2.2 (light)."""
    import numpy as np

    found = []
    for marker in plane.seen:
        box = plane.layout.markers[marker]
        wide = Box(box.x - _BORDER_MM, box.y - _BORDER_MM, box.w + 2 * _BORDER_MM, box.h + 2 * _BORDER_MM)
        if not plane.inside(np.array(wide.corners)):
            continue
        power = _power_of(grey, plane, marker, wide)
        if power is not None:
            found.append(power)
    if len(found) < 3:
        return USUAL
    return float(np.clip(np.median(found), VALUES, LIGHT))


def _power_of(grey: NDArray[np.uint8], plane: Plane, marker: int, box: Box) -> float | None:
    """The power that makes one marker's mean right, None where its black and white cannot be told."""
    import numpy as np

    white, deep = _drawn(marker)
    side = white.shape[0]
    step = 8
    at = (np.arange(0, side + step, step) + 0.5) / _PPM
    coarse = plane.to_pixel(np.stack(np.meshgrid(at + box.x, at + box.y), -1)).astype(np.float32)
    u, v = np.meshgrid(np.arange(side, dtype=np.float32) / step, np.arange(side, dtype=np.float32) / step)
    place = cv2().remap(coarse, u, v, cv2().INTER_LINEAR)
    seen = cv2().remap(grey, place[..., 0], place[..., 1], cv2().INTER_LINEAR).astype(np.float32)
    light, dark = _fitted(seen, deep > 0), _fitted(seen, deep < 0)
    if light is None or dark is None or float((light - dark).min()) < 40 or float(light.max()) > 250:
        return None
    off = []
    for power in _POWERS:
        low, high = np.maximum(dark, 1) ** power, light**power
        off.append(float(((np.maximum(seen, 1) ** power - low) / (high - low)).mean() - white.mean()))
    # a higher power always lowers the share of white
    if off[0] <= 0:
        return _POWERS[0]
    if off[-1] >= 0:
        return _POWERS[-1]
    return float(np.interp(0.0, off[::-1], _POWERS[::-1]))


def _fitted(seen: Map, where: NDArray[np.bool_]) -> Map | None:
    """Values over the whole marker, a slanting plane fitted to those places."""
    import numpy as np

    y, x = np.nonzero(where)
    if len(x) < 50:
        return None
    terms = np.stack([np.ones(len(x)), x, y], 1)
    a = np.linalg.lstsq(terms, seen[where], rcond=None)[0]
    gy, gx = np.mgrid[: seen.shape[0], : seen.shape[1]]
    return np.asarray(a[0] + a[1] * gx + a[2] * gy, np.float32)


@cache
def _drawn(marker: int) -> tuple[Map, NDArray[np.int8]]:
    """Share of white at every place of the marker with a border, and 1 / -1 deep inside white / black."""
    import numpy as np

    cv = cv2()
    words = cv.aruco.getPredefinedDictionary(getattr(cv.aruco, DICTIONARY))
    bits = cv.aruco.generateImageMarker(words, marker, _MODULES) > 0
    module = MARKER_MM / _MODULES * _PPM * 4
    side = round((MARKER_MM + 2 * _BORDER_MM) * _PPM)
    at = np.floor((np.arange(side * 4) + 0.5 - _BORDER_MM * _PPM * 4) / module).astype(int) + 1
    framed = np.pad(bits, 1, constant_values=True)
    full = framed[np.ix_(np.clip(at, 0, _MODULES + 1), np.clip(at, 0, _MODULES + 1))]
    white = full.astype(np.float32).reshape(side, 4, side, 4).mean((1, 3))
    edge = np.ones((2 * round(0.45 * _PPM) + 1,) * 2, np.uint8)
    lit = cv.erode((white > 0.99).astype(np.uint8), edge) > 0
    black = cv.erode((white < 0.01).astype(np.uint8), edge) > 0
    return white, (lit.astype(np.int8) - black.astype(np.int8))
