"""The placemat at 1:1, measured on its rendering, and divided where the page is too small."""

import itertools

import numpy as np
import pytest

from benchguide.bundled import procedures_folder
from benchguide.procedure.device import DeviceMap, Outline
from benchguide.procedure.shelf import Shelf
from benchguide.procedure.words import Face
from benchguide.window.print_map import HEAD_MM, MARGIN_MM, OVERLAP_MM, lay_out, print_map

from .test_print_mat import PPM, raster


@pytest.fixture(scope="module")
def device() -> DeviceMap:
    return Shelf((procedures_folder(),)).device("gloamreed").model


def sized(device: DeviceMap, width: float, height: float) -> DeviceMap:
    return device.model_copy(update={"outline": Outline(width_mm=width, height_mm=height)})


def test_the_outline_has_its_true_size(device, tmp_path):
    pages = print_map(device, tmp_path / "map.pdf", "A4")
    assert (pages.rows, pages.columns) == (1, 1)
    page = raster(tmp_path / "map.pdf", page=1 + [t.face for t in pages.tiles].index(Face.FRONT))
    middle = round((MARGIN_MM + HEAD_MM + device.outline.height_mm / 2) * PPM)
    dark = np.flatnonzero(page[middle] < 100)
    # from the middle of one line to the middle of the other
    left = dark[dark < dark[0] + 0.5 * PPM].mean()
    right = dark[dark > dark[-1] - 0.5 * PPM].mean()
    assert (right - left) / PPM == pytest.approx(device.outline.width_mm, abs=0.1)


def test_screw_places_are_where_the_part_map_says(device, tmp_path):
    pages = print_map(device, tmp_path / "map.pdf", "A4")
    page = raster(tmp_path / "map.pdf", page=1 + [t.face for t in pages.tiles].index(Face.BACK))
    for x, y in device.by_id["screws-back"].places:
        cx, cy = round((MARGIN_MM + x) * PPM), round((MARGIN_MM + HEAD_MM + y) * PPM)
        assert page[cy - 3 : cy + 4, cx - 3 : cx + 4].min() < 110
        # the circle of the head, 4.0 mm across, at its left side
        ring = page[cy, cx - round(2.4 * PPM) : cx - round(1.6 * PPM)]
        assert ring.min() < 110
        at = np.flatnonzero(ring < 110).mean() + cx - round(2.4 * PPM)
        assert (cx - at) / PPM == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize(
    ("width", "height", "paper", "landscape", "grid"),
    [
        (190, 250, "A4", False, (1, 1)),
        (270, 170, "A4", True, (1, 1)),
        (150, 90, "A5", True, (1, 1)),
        (300, 400, "A4", False, (2, 2)),
        (240, 150, "A5", False, (1, 2)),
    ],
)
def test_turned_first_then_divided_never_made_smaller(device, width, height, paper, landscape, grid):
    pages = lay_out(sized(device, width, height), paper)
    assert pages.landscape is landscape
    assert (pages.rows, pages.columns) == grid


@pytest.mark.parametrize("size", [(300, 400), (701, 95), (210, 297)])
def test_pages_cover_the_device_and_overlap(device, size):
    pages = lay_out(sized(device, *size), "A5")
    back = [tile for tile in pages.tiles if tile.face is pages.tiles[0].face]
    assert max(tile.left + tile.width for tile in back) == pytest.approx(size[0])
    assert max(tile.top + tile.height for tile in back) == pytest.approx(size[1])
    for first, second in itertools.pairwise(back):
        if first.row == second.row:
            assert first.left + first.width - second.left == pytest.approx(OVERLAP_MM)


def test_every_page_is_printed(device, tmp_path):
    pages = print_map(sized(device, 300, 400), tmp_path / "map.pdf", "A4")
    for number in range(1, len(pages.tiles) + 1):
        assert raster(tmp_path / "map.pdf", 4.0, number).min() < 128


def test_a_device_of_five_metres_is_refused(device):
    with pytest.raises(ValueError, match="too large for a placemat"):
        lay_out(sized(device, 5000, 5000), "A4")
    with pytest.raises(ValueError, match="Choose one of"):
        lay_out(device, "A0")
