"""The mat read from the third maker of pictures, heaps told as such, and where an end lies beside a dark shadow."""

from itertools import pairwise

import numpy as np
import pytest

from benchguide.camera.mat_ends import Line, find_end
from benchguide.camera.mat_layout import MatLayout, mat_layout
from benchguide.camera.mat_reading import MatReading, read_mat
from benchguide.camera.opencv import cv2
from tests.camera.mat_scene import page_raster
from tests.camera.mat_scene_drawn import DrawnScene, make_drawn_scene


@pytest.fixture(scope="module")
def layout() -> MatLayout:
    return mat_layout("A5")


@pytest.fixture(scope="module")
def scene(layout, tmp_path_factory) -> DrawnScene:
    from benchguide.window.print_mat import write_mat

    folder = tmp_path_factory.mktemp("mat")
    write_mat(layout, folder / "mat.pdf", "Test")
    return make_drawn_scene(4, layout, page_raster(folder / "mat.pdf", folder), 7.5, piles=0.2)


@pytest.fixture(scope="module")
def reading(scene) -> MatReading:
    return read_mat(scene.image)


def test_heaps_are_told_and_not_counted(scene, reading):
    heaps = [reading.cells[name] for name in scene.piles if reading.cells[name].px_per_mm >= 5]
    assert len(heaps) >= 3
    for cell in heaps:
        assert cell.count is None
        assert cell.at_least >= 1
        assert "spread" in cell.reason
        assert all(item.length_mm is None for item in cell.items)


def test_no_filled_cell_is_empty_and_no_empty_one_filled(scene, reading):
    read = {name: cell for name, cell in reading.cells.items() if cell.empty is not None}
    assert len(read) >= 20
    assert all(cell.empty is not bool(scene.cells[name]) for name, cell in read.items())


def test_most_intervals_hold_in_a_picture_of_other_making(scene, reading):
    held = []
    for name, cell in reading.cells.items():
        if name in scene.touching or name in scene.piles:
            continue
        for part in scene.cells[name]:
            at = scene.spot(part)
            near = [i for i in cell.items if np.hypot(i.spot[0] - at[0], i.spot[1] - at[1]) < 12]
            if part.kind == "screw" and near and near[0].length_mm is not None:
                held.append(abs(near[0].length_mm - part.seen_mm) <= 2.2 * near[0].sigma_mm)
    assert len(held) >= 10
    assert np.mean(held) > 0.85


def _line(shadow: float) -> Line:
    """A grey part from 10 to 60 of 120 columns on cyan paper, 12 a millimetre, blurred; a shadow behind its end."""
    paper, part = np.array([190.0, 150.0, 30.0]), np.array([150.0, 150.0, 150.0])
    colours = np.tile(paper, (120, 1))
    colours[60:63] *= 1 - shadow
    colours[10:60] = part
    blurred = cv2().GaussianBlur(colours.reshape(-1, 1, 3), (1, 0), sigmaX=0.1, sigmaY=1.5).reshape(-1, 3)
    inside = np.zeros(120, np.float32)
    inside[10:60] = 1
    return Line(blurred.astype(np.float32), inside, np.ones(120, np.float32))


def test_a_dark_shadow_moves_the_end_by_distance_and_not_by_hue():
    ends = [find_end(_line(shadow), 0, 12.0, 8.0, 1.0) for shadow in (0.0, 0.4, 0.8)]
    assert all(end is not None and end.by_hue is not None for end in ends)
    assert ends[0].at == pytest.approx(59.5, abs=0.2)
    assert ends[2].at > ends[0].at + 1.0
    assert all(abs(end.by_hue - ends[0].by_hue) < 0.8 for end in ends)
    assert all(darker.dip < lighter.dip for lighter, darker in pairwise(ends))


def test_an_end_that_the_paper_swallows_is_not_made_out():
    line = _line(0.0)
    flat = Line(np.full_like(line.colours, 120), line.inside, line.clear)
    assert find_end(flat, 0, 12.0, 8.0, 1.0) is None
    assert find_end(Line(line.colours, np.zeros_like(line.inside), line.clear), 0, 12.0, 8.0, 1.0) is None
