"""Pictures of a comparison: the overlay with its opacity, and numbered outlines."""

from __future__ import annotations

import numpy as np
import pytest

from benchguide.camera.compare import Candidate
from benchguide.camera.overlay import outlined, overlay

PLANE = np.array([[1, 0, 20.0], [0, 1, 10.0], [0, 0, 1]])


def test_opacity_mixes_where_as_found_reaches_and_leaves_the_rest() -> None:
    found, left = np.full((100, 200, 3), 200, np.uint8), np.full((100, 200, 3), 100, np.uint8)
    mixed = overlay(found, left, PLANE, 0.5)
    assert mixed[50, 100].tolist() == [150, 150, 150]
    assert mixed[5, 5].tolist() == [100, 100, 100]
    assert overlay(found, left, PLANE, 1.0)[50, 100].tolist() == [200, 200, 200]
    assert (overlay(found, left, PLANE, 0.0) == left).all()
    assert (left == 100).all()


@pytest.mark.parametrize("opacity", [-0.1, 1.5, float("nan")])
def test_an_opacity_that_is_none_is_refused(opacity: float) -> None:
    with pytest.raises(ValueError, match="opacity"):
        overlay(np.zeros((9, 9, 3), np.uint8), np.zeros((9, 9, 3), np.uint8), PLANE, opacity)


def test_outlines_are_drawn_on_a_copy_and_numbered_at_the_edge_too() -> None:
    left = np.full((300, 400, 3), 90, np.uint8)
    spots = [(150, 120, 60, 40), (0, 0, 20, 20), (380, 280, 20, 20)]
    marks = [Candidate(*s, 0.9, "changed", s) for s in spots]
    picture = outlined(left, marks)
    assert (left == 90).all()
    for x, y, w, h in spots:
        around = picture[max(0, y - 6) : y + h + 6, max(0, x - 6) : x + w + 6]
        assert (around != 90).any(axis=2).sum() > w
    assert (picture[130:150, 160:200] == 90).all()


def test_without_candidates_nothing_is_drawn() -> None:
    left = np.full((30, 40, 3), 90, np.uint8)
    assert (outlined(left, []) == left).all()
