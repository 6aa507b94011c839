"""Where a part lies in a photo: by its map on the simulated bench, and by an earlier photo of drawn devices."""

import numpy as np
import pytest

from benchguide.camera.opencv import cv2
from benchguide.camera.part_place import PartOutline, by_earlier, by_map, registered, remembered
from benchguide.camera.simulated import Scene, Shape, SimulatedBench, millimetres_to_pixels
from tests.camera.device_scenes import pair

SIZE = (960, 540)


def test_the_outline_on_the_simulated_bench_is_where_the_part_is_drawn():
    """The picture with the part and the one without differ inside the outline (a little more: shadow and side)."""
    corners = ((60, 40), (80, 55))
    plain = Scene(150, 90, 6, ())
    fitted = Scene(150, 90, 6, (Shape("plug", "connector", 5.0, corners, tone="#ffffff"),))
    shown = {}
    for name, scene in (("plain", plain), ("fitted", fitted)):
        source = SimulatedBench(lambda scene=scene: scene, size=SIZE)
        source.open()
        shown[name] = source.read().image
    differs = np.abs(shown["plain"].astype(int) - shown["fitted"]).max(axis=2) > 40
    ys, xs = np.nonzero(differs)
    part = PartOutline("plug", ((60, 40), (80, 40), (80, 55), (60, 55)), 5.0)
    x, y, w, h = by_map(part, millimetres_to_pixels(plain, SIZE), SIZE)
    assert abs(x * SIZE[0] - xs.min()) < 8
    assert abs(y * SIZE[1] - ys.min()) < 8
    assert abs((x + w) * SIZE[0] - xs.max()) < 14
    assert abs((y + h) * SIZE[1] - ys.max()) < 14


def test_a_place_is_found_again_in_a_turned_and_moved_photo():
    scene = pair(1000, 0)
    height, width = scene.found.shape[:2]
    turn = np.vstack([cv2().getRotationMatrix2D((width / 2, height / 2), 7, 0.95), [0, 0, 1]])
    moved = cv2().warpPerspective(scene.found, turn, (width, height), borderMode=cv2().BORDER_REPLICATE)
    found = remembered(scene.found)
    matrix = registered(found, moved)
    assert matrix is not None
    region = (0.4, 0.4, 0.1, 0.1)
    place = by_earlier(region, found, matrix, (width, height))
    corners = np.array([(0.4, 0.4), (0.5, 0.4), (0.5, 0.5), (0.4, 0.5)]) * (width, height)
    there = np.c_[corners, np.ones(4)] @ turn.T
    there = there[:, :2] / (width, height)
    assert place == pytest.approx((*there.min(axis=0), *(there.max(axis=0) - there.min(axis=0))), abs=0.004)


def test_another_picture_and_a_place_out_of_view_are_nowhere():
    found = remembered(pair(1000, 0).found)
    rng = np.random.default_rng(1)
    assert registered(found, rng.integers(0, 255, (540, 960, 3), dtype=np.uint8)) is None
    away = np.array([[1.0, 0, 10_000], [0, 1, 0], [0, 0, 1]])
    assert by_earlier((0.4, 0.4, 0.1, 0.1), found, away, SIZE) is None
    half = np.array([[1.0, 0, -0.47 * found.size[0]], [0, 1, 0], [0, 0, 1]])
    assert by_earlier((0.4, 0.4, 0.1, 0.1), found, half, found.size) is None
