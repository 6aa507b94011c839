"""The print scale of the mat by its page: how far the cut edges of the paper lie from the printed markers.

A camera alone cannot tell a mat printed at 94 % from one that lies farther away. But the sheet itself has a known
size, so where its edges can be seen against the bench, what was printed on it can be checked. A sheet that was cut
to another size looks the same as a wrong scale, and is told as that doubt.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchguide.camera.mat_check import EDGE_TOLERANCE, ScaleCheck
from benchguide.camera.mat_plane import Plane

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_BEYOND = 24.0
_STEP = 0.25
_TRACKS = 40

NOT_CHECKED = ScaleCheck(
    "not checked", None, "",
    "The print scale was not checked: the page edges cannot be seen. Lay a ruler on the scale bar once.",
)  # fmt: skip


def scale_by_edges(grey: NDArray[np.uint8], plane: Plane) -> ScaleCheck:
    """Compare the page with its printed layout, in a (H, W) grey picture."""
    w, h = plane.layout.width_mm, plane.layout.height_mm
    left, right = _edge(grey, plane, "x", -1), _edge(grey, plane, "x", 1)
    top, bottom = _edge(grey, plane, "y", -1), _edge(grey, plane, "y", 1)
    factors = []
    if left is not None and right is not None:
        factors.append(w / (right - left))
    if top is not None and bottom is not None:
        factors.append(h / (bottom - top))
    if not factors:
        return NOT_CHECKED
    worst = max(factors, key=lambda f: abs(f - 1))
    if abs(worst - 1) <= EDGE_TOLERANCE:
        return ScaleCheck("right", worst, "page edges", "The page edges fit a print at 100 %.")
    if len(factors) == 2 and abs(factors[0] - factors[1]) > EDGE_TOLERANCE:
        return ScaleCheck(
            "wrong", None, "page edges",
            "The page does not fit the mat printed on it: it was stretched in printing, or the sheet was cut.",
        )  # fmt: skip
    return ScaleCheck(
        "wrong", worst, "page edges",
        f"The mat seems to be printed at {worst * 100:.0f} % (or the sheet was cut): "
        "lay a ruler on the scale bar, and print it again at 100 %.",
    )  # fmt: skip


def _edge(grey: NDArray[np.uint8], plane: Plane, axis: str, side: int) -> float | None:
    """Where the sheet ends on one side, in mm of the mat; None where that cannot be seen clearly."""
    import numpy as np

    layout = plane.layout
    length = layout.height_mm if axis == "x" else layout.width_mm
    end = layout.width_mm if axis == "x" else layout.height_mm
    inner = end - 4.0 if side > 0 else 4.0
    along = np.linspace(0.08, 0.92, _TRACKS) * length
    out = np.arange(0, _BEYOND, _STEP)
    reach = inner + side * out
    first, second = (reach, along) if axis == "x" else (along, reach)
    grid = np.stack(np.meshgrid(first, second, indexing="ij" if axis == "y" else "xy"), -1)
    at = plane.to_pixel(grid)
    h, w = grey.shape
    inside = (at[..., 0] >= 1) & (at[..., 0] <= w - 2) & (at[..., 1] >= 1) & (at[..., 1] <= h - 2)
    x, y = (
        np.rint(np.clip(at[..., 0], 0, w - 1)).astype(int),
        np.rint(np.clip(at[..., 1], 0, h - 1)).astype(int),
    )
    level = grey[y, x].astype(float)
    found = []
    for values, seen in zip(level, inside, strict=True):
        place = _fall(values, seen)
        if place is not None:
            found.append(inner + side * place)
    if len(found) < _TRACKS // 2:
        return None
    places = np.array(found)
    middle = float(np.median(places))
    # a straight edge at one distance; anything ragged is no edge of a sheet
    close = np.abs(places - middle) < 1.5
    return float(np.median(places[close])) if close.mean() > 0.7 and close.sum() > _TRACKS // 2 else None


def _fall(values: NDArray[np.float64], seen: NDArray[np.bool_]) -> float | None:
    """Millimetres from the start of the track to where the white ends for good."""
    import numpy as np

    if not seen[:20].all():
        return None
    white = float(np.median(values[:6]))
    off = np.abs(values - white) > max(22.0, 0.16 * white)
    for i in range(2, len(values) - 6):
        if not seen[i + 5]:
            return None
        if off[i : i + 6].all():
            return float(i - 0.5) * _STEP
    return None
