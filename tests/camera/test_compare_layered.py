"""The comparison on pairs drawn nearer to photographs: what it must tell, what it must not, and what it cannot tell."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from benchguide.camera.align import CLEAR_REASONS
from benchguide.camera.compare import Comparison, Place, compare
from benchguide.camera.residual import Limits, matched, turned
from tests.camera.layered_devices import LayeredPair, found_photo, pair

# seeds and turns with a plug that was turned without being lifted; once taken for the head of a screw driven again
TURNED_PLUGS = ((1, 1), (3, 2))


@pytest.fixture(scope="module")
def plugs() -> list[tuple[LayeredPair, Comparison]]:
    made = [pair(seed, turn) for seed, turn in TURNED_PLUGS]
    return [(p, compare(p.found, p.left)) for p in made]


def _centre_inside(said: Comparison, box: tuple[int, int, int, int]) -> bool:
    return any(
        box[0] <= c.x + c.w / 2 <= box[2] and box[1] <= c.y + c.h / 2 <= box[3] for c in said.candidates
    )


def test_a_plug_turned_in_its_socket_is_told(plugs: list[tuple[LayeredPair, Comparison]]) -> None:
    for each, said in plugs:
        assert said.aligned, said.reason
        boxes = [c.box for c in each.changes if c.kind == "connector turned"]
        assert boxes
        for box in boxes:
            assert _centre_inside(said, box), (each.name, box, said.candidates)


def test_screws_that_are_there_are_never_called_missing(plugs: list[tuple[LayeredPair, Comparison]]) -> None:
    each = plugs[0][0]
    screws = [k for k in each.known if k.kind == "screw" and k.state == "there"]
    said = compare(each.found, each.left, places=[Place("screw", k.x, k.y, k.w) for k in screws])
    assert len(screws) >= 4
    assert {v.state for v in said.places} <= {"there", "cannot tell"}


def test_photos_of_two_different_devices_are_not_compared() -> None:
    photos = [found_photo(seed) for seed in (1, 2, 4, 5)]
    for one, other in itertools.pairwise(photos):
        said = compare(one, other)
        assert not said.aligned
        assert said.candidates == ()
        assert said.reason in CLEAR_REASONS.values()


def _head(angle: float, *, square: bool) -> np.ndarray:
    """A head with a cross recess on a bright washer, or a long plug, turned by `angle` degrees."""
    picture = np.full((90, 90, 3), 60, np.uint8)
    a = np.deg2rad(angle)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])

    def bar(w: float, h: float, tone: int) -> None:
        corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) @ turn.T + 45
        cv2.fillPoly(picture, [np.round(corners * 16).astype(np.int32)], (tone,) * 3, cv2.LINE_AA, 4)

    if square:
        bar(30, 11, 210)
    else:
        cv2.circle(picture, (45, 45), 17, (210,) * 3, -1, cv2.LINE_AA)
    bar(11, 2.5, 30)
    bar(2.5, 11, 30)
    return picture


def test_a_turned_round_head_is_known_by_its_round_edge_and_a_square_one_is_not() -> None:
    box = (33, 33, 25, 25)
    assert turned(_head(0, square=False), _head(35, square=False), box, Limits()) < Limits().ring
    assert turned(_head(0, square=True), _head(8, square=True), (28, 31, 35, 29), Limits()) >= Limits().ring


def test_what_is_cut_off_at_the_top_does_not_spoil_the_light_around_it() -> None:
    rng = np.random.default_rng(3)
    found = rng.integers(60, 90, (160, 240, 3)).astype(np.uint8)
    found[60:100, 60:180] = 190
    left = np.clip(found.astype(np.float32) * 1.8, 0, 255).astype(np.uint8)
    seen = np.full(found.shape[:2], 255, np.uint8)
    back = matched(found, left, seen)
    off = np.abs(back.astype(int) - found.astype(int)).max(2)
    assert off[30:130, 30:210].max() <= 4
