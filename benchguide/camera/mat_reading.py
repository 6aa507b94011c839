"""Reading the parts mat: what lies in every cell, how long the screws are, and what cannot be told and why.

Pictures in, plain values out. What should lie there is the caller's to say (mat_check.py judges it).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchguide.camera.mat_blobs import MOST_BLOBS, Blob, Shape, find_blobs, judge_shape, middle_of
from benchguide.camera.mat_check import Expected, Judged, ScaleCheck, judge_cell, scale_by_ruler
from benchguide.camera.mat_edges import scale_by_edges
from benchguide.camera.mat_layout import Box, MatLayout
from benchguide.camera.mat_length import FEWEST_PX_MM, Length, measure, own_length
from benchguide.camera.mat_markers import NoMat, one_mat
from benchguide.camera.mat_paper import NoPaper, Patch, read_patch
from benchguide.camera.mat_plane import Plane, fit_plane, slant_at
from benchguide.camera.mat_tone import mixing_power
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]

#: Parts are counted from here on, and a cell is told empty from the second figure on, in pixels a millimetre.
FEWEST_FOR_COUNT, FEWEST_FOR_EMPTY = 3.5, 2.0
#: More of a cell at the upper limit of the picture cannot be read.
MOST_BURNT = 0.2
#: Larger pictures are made smaller first; at this size an A4 mat has 20 pixels a millimetre.
MOST_PIXELS = 26_000_000
#: Name of the measuring place where a cell's name is asked for.
MEASURING = "measuring place"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing in a cell."""

    kind: str
    """`screw`, `standing screw` (on its head), `washer` (or nut), `other`, or `touching` (two parts or more)."""
    length_mm: float | None
    """Overall length of a screw from the top of its head to its tip, as seen on the paper."""
    sigma_mm: float | None
    """Standard uncertainty of the length as seen."""
    reason: str | None
    """Why there is no length, or what is doubtful; one sentence."""
    head_mm: float | None
    """Diameter of the head, washer or whole, roughly."""
    spot: tuple[float, float]
    """Middle, in pixels of the picture."""
    ends: tuple[tuple[float, float], tuple[float, float]] | None
    """Top of the head and tip, in pixels of the picture."""
    own_mm: float | None = None
    """The screw's own overall length, its tilt and the slant of the view allowed for; compare this with a part map."""
    own_sigma_mm: float | None = None
    """Standard uncertainty of `own_mm`; larger than `sigma_mm`."""


@dataclass(frozen=True, slots=True)
class CellReading:
    """What lies in one cell."""

    cell: str
    count: int | None
    """Number of parts; None where it cannot be told."""
    at_least: int
    """Parts that are certainly there."""
    items: tuple[Item, ...]
    reason: str | None
    """Why the count cannot be told, or what makes it doubtful; one sentence."""
    px_per_mm: float
    judged: Judged | None = None
    """Against what should lie there, where the caller said it."""

    @property
    def empty(self) -> bool | None:
        """True for nothing in it, None where it cannot be told."""
        return None if self.count is None and not self.at_least else not self.at_least


@dataclass(frozen=True, slots=True, eq=False)
class MatReading:
    """What a whole mat shows."""

    paper: str
    cells: dict[str, CellReading]
    px_per_mm: float
    """Fewest pixels a millimetre in any cell."""
    scale: ScaleCheck
    covered: tuple[int, ...]
    """Markers that should be visible and are not."""
    outside: tuple[int, ...]
    """Markers that are not in the picture."""
    turned_deg: float
    warnings: tuple[str, ...]
    plane: Plane
    """Pass it to `read_cell` to look at one cell again while the camera has not moved."""


@dataclass(frozen=True, slots=True)
class ScrewReading:
    """The single screw at the measuring place."""

    length_mm: float | None
    sigma_mm: float | None
    reason: str | None
    """Why there is no length; one sentence."""
    head_mm: float | None
    px_per_mm: float
    own_mm: float | None = None
    """The screw's own overall length, as in `Item`."""
    own_sigma_mm: float | None = None


def read_mat(
    photo: Image,
    layout: MatLayout | None = None,
    expected: Mapping[str, Expected] | None = None,
    bar_mm: float | None = None,
) -> MatReading:
    """Read every cell of the one parts mat in the picture.

    photo: (H, W, 3) uint8, blue-green-red, upright or not. layout: the mat that should lie there, None for any.
    expected: what should lie in which cell, to be judged. bar_mm: length of the scale bar as a ruler shows it.
    Raises NoMat with one sentence when there is no such mat, and ValueError for arguments that are none.
    """
    photo, grey = _checked(photo)
    plane = locate(photo, grey, layout)
    scale = scale_by_ruler(bar_mm) if bar_mm is not None else scale_by_edges(grey, plane)
    factor = scale.factor if scale.by == "ruler" and scale.factor else 1.0
    covered, outside = _missing(plane)
    cells = {}
    for name, box in plane.layout.cells.items():
        found = _read(photo, plane, name, box, factor)
        if expected is not None:
            found = _judged(found, expected.get(name, Expected(0)))
        cells[name] = found
    density = min(cell.px_per_mm for cell in cells.values())
    notes = _warnings(plane, scale, covered, outside, density)
    return MatReading(
        plane.layout.paper, cells, density, scale, covered, outside, plane.turned_deg, notes, plane
    )


def read_cell(
    photo: Image, cell: str, plane: Plane | None = None, expected: Expected | None = None, factor: float = 1.0
) -> CellReading:
    """Read one cell alone. With the `plane` of an earlier reading no marker is sought.

    factor: printed size over true size, from `scale_by_ruler`. Raises NoMat, and ValueError for a cell that the mat
    has not.
    """
    photo, grey = _checked(photo)
    plane = _usable(plane, photo) or locate(photo, grey, None)
    if cell not in plane.layout.cells:
        raise ValueError(f"The {plane.layout.paper} mat has no cell {cell!r}.")
    found = _read(photo, plane, cell, plane.layout.cells[cell], factor)
    return _judged(found, expected) if expected is not None else found


def measure_screw(photo: Image, plane: Plane | None = None, factor: float = 1.0) -> ScrewReading:
    """Measure the single screw at the measuring place. Raises NoMat."""
    photo, grey = _checked(photo)
    plane = _usable(plane, photo) or locate(photo, grey, None)
    found = _read(photo, plane, MEASURING, plane.layout.measuring, factor)
    density = found.px_per_mm

    def none(why: str) -> ScrewReading:
        return ScrewReading(None, None, why, None, density)

    if found.count is None:
        return none(found.reason or "The measuring place cannot be read.")
    if found.count == 0:
        return none("The measuring place is empty: lay the screw there, along the line.")
    if found.count > 1:
        return none(f"{found.count} things lie at the measuring place: leave one screw there.")
    item = found.items[0]
    if item.kind != "screw":
        return none(f"What lies at the measuring place is no lying screw ({item.kind}).")
    if item.length_mm is None:
        return none(item.reason or "The ends of the screw cannot be made out.")
    return ScrewReading(
        item.length_mm, item.sigma_mm, item.reason, item.head_mm, density, item.own_mm, item.own_sigma_mm
    )


def locate(photo: Image, grey: Image, layout: MatLayout | None) -> Plane:
    """Find the mat and its plane. Raises NoMat."""
    markers = one_mat(grey)
    if layout is not None and markers.paper != layout.paper:
        raise NoMat(
            f"The {markers.paper} mat lies there, and the {layout.paper} mat is expected: change the mat."
        )
    plane = fit_plane(markers, (photo.shape[1], photo.shape[0]))
    return replace(plane, mixing=mixing_power(grey, plane))


def _usable(plane: Plane | None, photo: Image) -> Plane | None:
    return plane if plane is not None and plane.size == (photo.shape[1], photo.shape[0]) else None


def _checked(photo: Image) -> tuple[Image, Image]:
    """The picture, not too large, and its grey version. Raises ValueError."""
    cv = cv2()
    if photo.ndim != 3 or photo.shape[2] != 3 or str(photo.dtype) != "uint8":
        raise ValueError("A picture must have three channels of eight bits: blue, green, red.")
    height, width = photo.shape[:2]
    if min(height, width) < 60:
        raise NoMat(f"The picture is only {width} x {height} pixels: too small to show a parts mat.")
    if height * width > MOST_PIXELS:
        share = math.sqrt(MOST_PIXELS / (height * width))
        photo = cv.resize(photo, None, fx=share, fy=share, interpolation=cv.INTER_AREA)
    return photo, cv.cvtColor(photo, cv.COLOR_BGR2GRAY)


def _missing(plane: Plane) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Markers that should be seen and are not, and markers outside of the picture."""
    import numpy as np

    lacking = [marker for marker in plane.layout.markers if marker not in plane.seen]
    outside = [m for m in lacking if not plane.inside(np.array(plane.layout.markers[m].corners))]
    return tuple(m for m in lacking if m not in outside), tuple(outside)


def _read(photo: Image, plane: Plane, name: str, box: Box, factor: float) -> CellReading:
    import numpy as np

    native = plane.px_per_mm(box.middle)

    def none(why: str, at_least: int = 0) -> CellReading:
        return CellReading(name, None, at_least, (), why, native)

    if not plane.inside(np.array(box.corners)):
        return none("It is not wholly in the picture.")
    if native < FEWEST_FOR_EMPTY:
        return none(f"{native:.1f} pixels a millimetre are too few: bring the camera nearer.")
    try:
        patch = read_patch(photo, plane, box)
    except NoPaper as why:
        return none(f"It cannot be read: {why}.")
    if patch.burnt > MOST_BURNT:
        return none("Glare lies over it: turn the lamp.")
    blobs = find_blobs(patch)
    if len(blobs) > MOST_BLOBS:
        return none("It is a heap: spread the parts.", at_least=1)
    slant = slant_at(plane, box.middle)
    items = tuple(_item(blob, patch, plane, slant, factor) for blob in blobs)
    return _summed(name, items, patch, native, any(blob.at_rim for blob in blobs))


def _summed(name: str, items: tuple[Item, ...], patch: Patch, native: float, at_rim: bool) -> CellReading:
    touching = sum(item.kind == "touching" for item in items)
    at_least = len(items) + touching
    count: int | None = len(items)
    reason = None
    if float((patch.cover > 0.5).mean()) > 0.6:
        count, reason = None, "It is too full to tell parts apart: spread them."
    elif touching:
        count, reason = None, "Parts touch, or an odd one lies there: spread them."
    elif native < FEWEST_FOR_COUNT and items:
        count, at_least = None, 1
        reason = f"{native:.1f} pixels a millimetre are too few to count: bring the camera nearer."
    elif at_rim:
        reason = "Something lies on the line: push it into the cell."
    return CellReading(name, count, at_least, items, reason, native)


def _item(blob: Blob, patch: Patch, plane: Plane, slant: tuple[float, float] | None, factor: float) -> Item:
    shift = math.hypot(*slant) if slant else 0.2
    shape = judge_shape(blob, patch.ppm, shift)
    x, y = middle_of(blob)
    spot = _pixel(plane, patch, (x + blob.corner[0], y + blob.corner[1]))
    head = shape.head_mm * factor or None
    if shape.kind != "screw":
        return Item(shape.kind, None, None, _why_not(shape.kind), head, spot, None)
    why: str | None = None
    length: Length | None = None
    if patch.native < FEWEST_PX_MM:
        why = f"{patch.native:.1f} pixels a millimetre are too few for a length: bring the camera nearer."
    elif blob.at_rim:
        why = "It lies on the line: push it into the cell."
    else:
        length = measure(blob, shape, patch.ppm, patch.native, plane.mixing, patch.paper)
        why = None if length else "Its ends cannot be made out."
    if length is None:
        return Item("screw", None, None, why, head, spot, None)
    ends = (_pixel(plane, patch, length.top), _pixel(plane, patch, length.tip))
    if slant and _may_stand(shape, length.mm, slant):
        return Item("screw", None, None, "It may be standing on its head: lay it down.", head, spot, ends)
    if shift > 0.12 and shape.symmetry < 0.93 and length.mm < 1.15 * shape.head_mm:
        why = "Its head hides the rest of it: turn it across the view."
        return Item("screw", None, None, why, head, spot, ends)
    own, doubt = own_length(length, shape, slant)
    return Item(
        "screw",
        length.mm * factor,
        length.sigma_mm * factor,
        None,
        head,
        spot,
        ends,
        own * factor,
        doubt * factor,
    )


def _may_stand(shape: Shape, seen_mm: float, slant: tuple[float, float]) -> bool:
    """True where a screw that stands on its head would look like this: its shank leans away from the camera."""
    shift = math.hypot(*slant)
    if shift < 0.05:
        return False
    off = math.cos(shape.angle) * slant[0] / shift + math.sin(shape.angle) * slant[1] / shift
    return off > math.cos(math.radians(12)) and seen_mm < shape.head_mm / 2 + shape.shank_mm / 2 + 12 * shift


def _why_not(kind: str) -> str | None:
    return {
        "standing screw": "It stands on its head: lay it down to measure it.",
        "other": "It is no screw, or none that can be made out.",
        "touching": "Parts touch: spread them.",
    }.get(kind)


def _pixel(plane: Plane, patch: Patch, at: tuple[float, float]) -> tuple[float, float]:
    """Pixels of the patch to pixels of the picture."""
    import numpy as np

    mm = (patch.box.x + (at[0] + 0.5) / patch.ppm, patch.box.y + (at[1] + 0.5) / patch.ppm)
    x, y = plane.to_pixel(np.array(mm))
    return float(x), float(y)


def _judged(found: CellReading, expected: Expected) -> CellReading:
    screws = [(item.own_mm, item.own_sigma_mm) for item in found.items if item.kind == "screw"]
    return replace(found, judged=judge_cell(found.count, found.at_least, screws, expected))


def _warnings(
    plane: Plane, scale: ScaleCheck, covered: Collection[int], outside: Collection[int], density: float
) -> tuple[str, ...]:
    """What a person should know about this picture, each in one sentence."""
    found = []
    if scale.wrong:
        found.append(scale.sentence)
    if covered:
        count = "One marker" if len(covered) == 1 else f"{len(covered)} markers"
        found.append(f"{count} of the mat cannot be read: something covers the border, or glare lies on it.")
    if outside:
        found.append("The mat is not wholly in the picture: its edge is cut off.")
    if abs(plane.turned_deg) > 135:
        found.append("The mat lies upside down in the picture; it is read all the same.")
    if density < FEWEST_PX_MM:
        found.append(
            f"Only {density:.1f} pixels a millimetre: lengths need {FEWEST_PX_MM:g}, so bring the camera nearer."
        )
    if plane.rms_mm > 0.25:
        found.append("The mat is not flat: press it down, or lengths and places are less certain.")
    return tuple(found)
