"""The second look: what parallax or a turned round thing explains vanishes, what is gone does not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from benchguide.camera.residual import CLIPPED, Limits, matched, went_round
from benchguide.camera.second_look import second_look

BOX = (70, 70, 60, 60)


def _board() -> np.ndarray:
    rng = np.random.default_rng(5)
    coarse = rng.uniform(60, 120, (40, 40, 3)).astype(np.float32)
    return cv2.resize(coarse, (200, 200), interpolation=cv2.INTER_CUBIC).clip(0, 255).astype(np.uint8)


def _with_part(dx: int = 0, dy: int = 0, degrees: float = 0.0) -> np.ndarray:
    picture = _board()
    corners = cv2.boxPoints(((100 + dx, 100 + dy), (56, 30), degrees))
    cv2.fillConvexPoly(picture, np.round(corners * 16).astype(np.int32), (205, 210, 215), cv2.LINE_AA, 4)
    return picture


def _looked(left: np.ndarray, reach: float = 6.0):  # type: ignore[no-untyped-def]
    rest = second_look(_with_part(), left, None, BOX, 14.0, 7.0, reach)
    assert rest is not None
    return rest


@pytest.mark.parametrize("way", [(5, 0), (0, -5), (3, 4)])
def test_a_part_displaced_as_a_whole_vanishes(way: tuple[int, int]) -> None:
    rest = _looked(_with_part(*way))
    assert rest.peak < 1.2
    assert rest.share < 0.2


def test_a_part_displaced_further_than_parallax_reaches_stays() -> None:
    assert _looked(_with_part(12, 0), reach=3.0).peak > 4


def test_a_part_that_is_gone_stays() -> None:
    rest = _looked(_board())
    assert rest.peak > 4
    assert rest.thick > 4


def test_a_turned_part_is_not_explained_in_full() -> None:
    assert _looked(_with_part(degrees=14)).peak > 1.3


def test_the_field_is_taken_out_before_looking() -> None:
    field = np.zeros((25, 25, 2), np.float32)
    field[..., 0] = 5.0
    board = _with_part()
    shifted = np.roll(board, -5, axis=1)  # laid with a field of 5 pixels everywhere, though nothing had moved
    rest = second_look(board, shifted, (field, 8.0), BOX, 14.0, 7.0, 2.0)
    assert rest is not None
    assert rest.peak < 0.5


def test_a_place_as_large_as_a_cover_is_not_looked_at() -> None:
    big = np.zeros((600, 600, 3), np.uint8)
    assert second_look(big, big, None, (10, 10, 400, 400), 14.0, 7.0, 3.0) is None


def _screw(glint_deg: float | None) -> np.ndarray:
    picture = np.full((120, 120, 3), 70, np.uint8)
    cv2.circle(picture, (60, 60), 22, (170, 172, 175), -1, cv2.LINE_AA)
    if glint_deg is not None:
        a = np.deg2rad(glint_deg)
        cv2.circle(picture, (round(60 + 14 * np.cos(a)), round(60 + 14 * np.sin(a))), 5, (240, 240, 240), -1)
    return picture


def test_a_glint_that_went_round_is_told_from_something_that_came() -> None:
    box = (68, 54, 12, 12)
    assert went_round(_screw(0), _screw(140), box, Limits())
    assert not went_round(_screw(0), _screw(None), box, Limits())


def test_a_value_cut_off_at_the_top_counts_as_at_least_so_much() -> None:
    found = np.full((160, 160, 3), 100, np.uint8)
    left = np.full((160, 160, 3), 125, np.uint8)  # the same at a quarter more light
    found[70:90, 70:90] = (100, 100, 235)
    left[70:90, 70:90] = (125, 125, 255)  # would be 294
    dark = left.copy()
    dark[70:90, 70:90, 2] = CLIPPED - 30
    seen = np.full((160, 160), 255, np.uint8)
    assert abs(int(matched(found, left, seen)[80, 80, 2]) - 235) < 4
    assert int(matched(found, dark, seen)[80, 80, 2]) < 200
