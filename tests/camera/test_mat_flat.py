"""The mat read from the second maker of pictures, how edges mix told by the markers, and a screw's own length."""

import math
from dataclasses import replace

import numpy as np
import pytest

from benchguide.camera.mat_blobs import Shape
from benchguide.camera.mat_layout import MatLayout, mat_layout
from benchguide.camera.mat_length import Length, own_length
from benchguide.camera.mat_reading import locate, read_mat
from benchguide.camera.mat_tone import USUAL, mixing_power
from benchguide.camera.opencv import cv2
from tests.camera.mat_scene import page_raster
from tests.camera.mat_scene_flat import make_flat_scene


@pytest.fixture(scope="module")
def layout() -> MatLayout:
    return mat_layout("A5")


@pytest.fixture(scope="module")
def page(layout, tmp_path_factory) -> np.ndarray:
    from benchguide.window.print_mat import write_mat

    folder = tmp_path_factory.mktemp("mat")
    write_mat(layout, folder / "mat.pdf", "Test")
    return page_raster(folder / "mat.pdf", folder)


def test_flat_sprites_are_counted_and_measured(layout, page):
    scene = make_flat_scene(3, layout, page, 7.5, touching=0.0)
    reading = read_mat(scene.image)
    whole = {n: c for n, c in reading.cells.items() if c.px_per_mm >= 5 and c.count is not None}
    assert len(whole) >= 20
    assert sum(c.count == len(scene.cells[n]) for n, c in whole.items()) >= len(whole) - 1
    errors = []
    for name, cell in whole.items():
        for part in scene.cells[name]:
            at = scene.spot(part)
            near = [i for i in cell.items if np.hypot(i.spot[0] - at[0], i.spot[1] - at[1]) < 8]
            if part.seen_mm is not None and near and near[0].length_mm is not None:
                errors.append((near[0].length_mm - part.seen_mm, near[0].sigma_mm))
    off = np.array(errors)
    assert len(off) >= 20
    # one light shifts all lengths of a picture alike; what that may be is part of the stated uncertainty
    assert abs(np.median(off[:, 0])) < 0.15
    assert (abs(off[:, 0]) < 3 * off[:, 1]).mean() > 0.85
    assert (abs(off[:, 0]) < 1.0).all()


@pytest.mark.parametrize(("power", "about"), [(1.0, 1.0), (2.2, 2.2)])
def test_the_markers_tell_how_edges_mix(page, power, about):
    mixed = cv2().GaussianBlur((page / 255.0) ** power, (0, 0), 2.4)
    mixed = cv2().resize(mixed, None, fx=0.4, fy=0.4, interpolation=cv2().INTER_AREA)
    image = np.rint((0.1 + 0.65 * mixed ** (1 / power)) * 255 if power == 1 else 190 * mixed ** (1 / power))
    image = cv2().copyMakeBorder(
        image.astype(np.uint8), 40, 40, 40, 40, cv2().BORDER_CONSTANT, value=(90,) * 3
    )
    grey = cv2().cvtColor(image, cv2().COLOR_BGR2GRAY)
    plane = locate(image, grey, None)
    assert mixing_power(grey, plane) == pytest.approx(about, abs=0.25)
    assert plane.mixing == pytest.approx(mixing_power(grey, plane))
    assert mixing_power(grey, replace(plane, seen=())) == USUAL
    assert mixing_power(np.full_like(grey, 128), plane) == USUAL


def test_own_length_allows_for_tilt_and_slant():
    """By plane trigonometry: a cylinder seen straight down is as long as it looks; one seen at 45 degrees from its
    head's side shows its far end as well, one diameter at a slant of 1."""
    seen = Length(5.0, 0.05, (0, 0), (1, 0))
    rod = Shape("screw", 0.0, 1.0, 2.0, 2.0)
    assert own_length(seen, rod, (0.0, 0.0)) == pytest.approx((5.0, 0.05))
    mm, sigma = own_length(seen, rod, (1.0, 0.0))
    assert mm == pytest.approx(5.0 - 2.0 / 2)
    assert sigma == pytest.approx(math.hypot(0.05, 2.0 / math.sqrt(12)))
    # across the axis nothing shows
    assert own_length(seen, rod, (0.0, 1.0))[0] == pytest.approx(5.0)
    screw = Shape("screw", 0.0, 1.0, 4.0, 2.0)
    mm, sigma = own_length(seen, screw, (0.0, 0.0))
    tilt = math.atan2(1.0, 5.0 - 0.3 * 4.0)
    assert mm == pytest.approx((5.0 + (5.0 - 3.0 * math.sin(tilt)) / math.cos(tilt)) / 2)
    assert own_length(seen, screw, None)[1] > sigma
