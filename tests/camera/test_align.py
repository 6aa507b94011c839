"""Laying one photo over another: how exactly, and when it says that it cannot tell."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from benchguide.camera.align import CLEAR_REASONS, align, checked_picture, features
from tests.camera.device_scenes import Pair, pair


@pytest.fixture(scope="module")
def scene() -> Pair:
    return pair(7001, 3)


@pytest.fixture(scope="module")
def other() -> Pair:
    return pair(7002, 3)


def test_the_visible_surface_is_found_to_a_fraction_of_a_pixel(scene: Pair) -> None:
    found = align(scene.found, scene.left)
    assert found.aligned, found.reason
    off = np.hypot(*(found.to_left(scene.points_found) - scene.points_left).T)
    assert np.median(off) < 0.5
    assert np.percentile(off, 95) < 2.5


def test_a_known_homography_comes_back(scene: Pair) -> None:
    true = np.array([[1.04, -0.11, 20.0], [0.10, 1.02, -30.0], [3e-5, -2e-5, 1.0]])
    size = (scene.found.shape[1], scene.found.shape[0])
    moved = cv2.warpPerspective(scene.found, true, size)
    found = align(scene.found, moved)
    grid = np.array([[x, y] for x in range(200, 1100, 100) for y in range(150, 600, 100)], float)
    flat = cv2.perspectiveTransform(grid.reshape(1, -1, 2), true)[0]
    inside = (flat > 20).all(1) & (flat[:, 0] < size[0] - 20) & (flat[:, 1] < size[1] - 20)
    off = np.hypot(*(found.to_left(grid) - flat).T)[inside]
    assert np.median(off) < 0.15
    assert off.max() < 1.0


def test_features_kept_give_the_same_as_the_picture(scene: Pair) -> None:
    kept = features(scene.found)
    a, b = align(kept, scene.left), align(scene.found, scene.left)
    assert a.homography is not None
    np.testing.assert_array_equal(a.homography, b.homography)


def test_a_guess_leads_to_the_same_place(scene: Pair) -> None:
    first = align(scene.found, scene.left)
    assert first.homography is not None
    nearby = np.array([[1, 0, 4.0], [0, 1, -3.0], [0, 0, 1]]) @ first.homography
    again = align(scene.found, scene.left, guess=nearby)
    assert again.aligned
    np.testing.assert_allclose(again.to_left([[640, 360]]), first.to_left([[640, 360]]), atol=0.5)


def test_a_wrong_guess_does_no_harm(scene: Pair) -> None:
    wrong = np.array([[1, 0, 400.0], [0, 1, -300.0], [0, 0, 1]])
    again = align(scene.found, scene.left, guess=wrong)
    off = np.hypot(*(again.to_left(scene.points_found) - scene.points_left).T)
    assert np.median(off) < 0.5


def test_another_device_cannot_be_told(scene: Pair, other: Pair) -> None:
    found = align(scene.found, other.left)
    assert not found.aligned
    assert found.reason == CLEAR_REASONS["other"]
    assert found.homography is None
    with pytest.raises(ValueError, match="not aligned"):
        found.to_left([[1, 1]])


def test_a_mirrored_picture_is_told_as_such(scene: Pair) -> None:
    found = align(scene.found, np.ascontiguousarray(scene.left[:, ::-1]))
    assert (found.aligned, found.reason) == (False, CLEAR_REASONS["mirror"])


@pytest.mark.parametrize(
    ("picture", "reason"),
    [
        (np.full((1, 1, 3), 90, np.uint8), "small"),
        (np.full((40, 900, 3), 90, np.uint8), "small"),
        (np.zeros((720, 1280, 3), np.uint8), "dark"),
        (np.full((720, 1280, 3), 255, np.uint8), "dark"),
        (np.full((720, 1280, 3), 120, np.uint8), "plain"),
    ],
)
def test_what_holds_no_picture_is_told_with_its_reason(scene: Pair, picture: np.ndarray, reason: str) -> None:
    assert align(scene.found, picture).reason == CLEAR_REASONS[reason]
    assert align(picture, scene.left).reason == CLEAR_REASONS[reason]


def test_noise_alone_is_no_device(scene: Pair) -> None:
    rng = np.random.default_rng(3)
    noise = rng.integers(0, 256, scene.found.shape, dtype=np.uint8)
    assert not align(scene.found, noise).aligned


def test_a_turned_picture_of_another_size_is_aligned(scene: Pair) -> None:
    turned = cv2.resize(
        np.ascontiguousarray(np.rot90(scene.left)), None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA
    )
    found = align(scene.found, turned)
    assert found.aligned, found.reason
    width = scene.left.shape[1]
    where = scene.points_left
    expected = np.c_[where[:, 1] + 0.5, width - where[:, 0] - 0.5] * 0.8 - 0.5
    off = np.hypot(*(found.to_left(scene.points_found) - expected).T)
    assert np.median(off) < 0.6


@pytest.mark.parametrize(
    ("shape", "kind"),
    [((60, 80), np.uint8), ((60, 80, 4), np.uint8), ((60, 80, 3), np.uint16), ((60, 80, 1), np.uint16)],
)
def test_other_depths_and_channels_become_bgr(shape: tuple[int, ...], kind: type) -> None:
    assert checked_picture(np.ones(shape, kind)).shape == (60, 80, 3)
    assert checked_picture(np.ones(shape, kind)).dtype == np.uint8


def test_sixteen_bits_keep_their_upper_half() -> None:
    assert checked_picture(np.full((2, 2, 3), 0x8123, np.uint16))[0, 0, 0] == 0x81


def test_what_is_transparent_lies_on_white() -> None:
    clear = np.zeros((2, 2, 4), np.uint8)
    assert checked_picture(clear)[0, 0].tolist() == [255, 255, 255]


@pytest.mark.parametrize(
    "wrong", [np.zeros((3, 3, 2), np.uint8), np.zeros((0, 3, 3), np.uint8), np.zeros((4, 4))]
)
def test_arrays_that_are_no_pictures_are_refused(wrong: np.ndarray) -> None:
    with pytest.raises(ValueError, match=r"A picture must"):
        checked_picture(wrong)
