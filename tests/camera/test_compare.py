"""As-left against as-found on drawn devices: what is told, what is not, and what cannot be told."""

from __future__ import annotations

import time

import numpy as np
import pytest

from benchguide.camera.compare import Comparison, Place, compare, features
from tests.camera.device_scenes import Pair, pair

Box = tuple[int, int, int, int]


@pytest.fixture(scope="module")
def changed() -> list[Pair]:
    return [pair(seed, turn) for seed, turn in ((7101, 0), (7102, 1), (7103, 2))]


@pytest.fixture(scope="module")
def same() -> Pair:
    return pair(7001, 3)


def _covers(said: Comparison, box: Box) -> bool:
    for c in said.candidates:
        x, y = c.x + c.w / 2, c.y + c.h / 2
        if box[0] <= x <= box[2] and box[1] <= y <= box[3]:
            return True
        wide = max(0, min(c.x + c.w, box[2]) - max(c.x, box[0]))
        high = max(0, min(c.y + c.h, box[3]) - max(c.y, box[1]))
        both = wide * high
        if both / (c.w * c.h + (box[2] - box[0]) * (box[3] - box[1]) - both) >= 0.2:
            return True
    return False


def test_what_was_changed_is_among_the_candidates(changed: list[Pair]) -> None:
    boxes = 0
    for each in changed:
        said = compare(each.found, each.left)
        assert said.aligned, said.reason
        for kind, box in zip(each.kinds, each.boxes, strict=True):
            boxes += 1
            assert _covers(said, box), (each.name, kind, box, said.candidates)
    assert boxes >= 3


def test_the_most_likely_comes_first_and_all_lie_inside_as_left(changed: list[Pair]) -> None:
    for each in changed:
        said = compare(each.found, each.left)
        scores = [c.score for c in said.candidates]
        assert scores == sorted(scores, reverse=True)
        assert all(0 < s < 1 for s in scores)
        height, width = each.left.shape[:2]
        for c in said.candidates:
            assert c.x >= 0
            assert c.y >= 0
            assert c.w >= 1
            assert c.h >= 1
            assert c.x + c.w <= width
            assert c.y + c.h <= height
            assert c.kind


def test_a_picture_compared_with_itself_shows_nothing(same: Pair) -> None:
    said = compare(same.found, same.found)
    assert said.aligned
    assert said.candidates == ()
    assert said.common > 0.99


def test_other_light_and_noise_alone_show_nothing(same: Pair) -> None:
    rng = np.random.default_rng(4)
    slope = np.linspace(0.7, 1.2, same.found.shape[1])[None, :, None] * np.array([0.9, 1.0, 1.1])
    other = np.clip(same.found * slope + rng.normal(0, 2, same.found.shape), 0, 255).astype(np.uint8)
    said = compare(same.found, other)
    assert said.aligned
    assert said.candidates == ()


def test_a_painted_change_is_found_at_its_place(same: Pair) -> None:
    left = same.left.copy()
    x, y = (int(v) for v in same.points_left[len(same.points_left) // 2])
    left[y - 15 : y + 15, x - 15 : x + 15] = (30, 200, 220)
    said = compare(same.found, left)
    assert _covers(said, (x - 15, y - 15, x + 15, y + 15))


def test_kept_features_and_the_bare_picture_say_the_same(changed: list[Pair]) -> None:
    each = changed[0]
    a = compare(each.found, each.left)
    b = compare(None, each.left, found_features=features(each.found))
    assert a.candidates == b.candidates


def test_the_same_pictures_always_give_the_same_answer(changed: list[Pair]) -> None:
    each = changed[1]
    assert compare(each.found, each.left).candidates == compare(each.found, each.left).candidates


def test_a_black_screw_missing_from_a_dark_place_is_told() -> None:
    each = pair(7001, 3)
    mark = next(p for p in each.places if p[0] == "screw")
    x, y, r = int(mark[1]), int(mark[2]), int(mark[3] * 0.5)
    found, left = each.found.copy(), each.found.copy()
    for picture in (found, left):
        picture[y - 2 * r : y + 2 * r, x - 2 * r : x + 2 * r] = 40
    yy, xx = np.ogrid[: found.shape[0], : found.shape[1]]
    away = np.hypot(xx - x, yy - y)
    found[away < r] = 58  # head
    found[away < 0.3 * r] = 30  # recess
    left[away < 0.6 * r] = 26  # hole
    place = Place("screw", x, y, 2 * r)
    assert compare(found, left, places=[place]).places[0].state == "missing"
    assert compare(found, found, places=[place]).places[0].state == "there"


def test_marked_screws_are_there_or_missing() -> None:
    there = missing = 0
    for seed in (7001, 7002):
        each = pair(seed, 3)
        screws = [p for p in each.places if p[0] == "screw"]
        # a screw that is painted over with the board beside it stands for a missing one
        left, gone = each.left.copy(), screws[0]
        said = compare(each.found, left, places=[Place("screw", gone[1], gone[2], gone[3])])
        x, y = (int(v or 0) for v in (said.places[0].x, said.places[0].y))
        r = int(gone[3] * 0.55)
        left[y - r : y + r, x - r : x + r] = (25, 25, 28)
        said = compare(each.found, left, places=[Place("screw", p[1], p[2], p[3]) for p in screws])
        states = [v.state for v in said.places]
        assert states[0] == "missing"
        assert "missing" not in states[1:]
        there += states.count("there")
        missing += states.count("missing")
    assert missing == 2
    assert there > 12


def test_a_connector_that_turned_is_called_and_one_that_stayed_is_not() -> None:
    each = pair(7001, 3)
    plugs = [Place("connector", p[1], p[2], p[3], 0.36 * p[3]) for p in each.places if p[0] == "connector"]
    assert plugs
    said = compare(each.found, each.left, places=plugs)
    stayed = [v for v in said.places if v.state == "there"]
    assert stayed
    place = stayed[0].place
    x, y = int(stayed[0].x or 0), int(stayed[0].y or 0)
    import cv2

    r = int(place.w)
    cut = each.left[y - r : y + r, x - r : x + r]
    turn = cv2.getRotationMatrix2D((r, r), 7, 1)
    turned = cv2.warpAffine(cut, turn, (2 * r, 2 * r), borderMode=cv2.BORDER_REPLICATE)
    disc = np.zeros(cut.shape[:2], np.uint8)
    cv2.circle(disc, (r, r), int(0.62 * r), 255, -1)
    left = each.left.copy()
    left[y - r : y + r, x - r : x + r][disc > 0] = turned[disc > 0]
    again = compare(each.found, left, places=[place])
    assert again.places[0].state in ("turned", "lifted")


def test_a_place_outside_the_common_view_cannot_be_told(same: Pair) -> None:
    said = compare(same.found, same.left, places=[Place("screw", 3, 3, 30), Place("screw", 600, 300, 2)])
    assert [v.state for v in said.places] == ["cannot tell", "cannot tell"]
    assert all(v.reason for v in said.places)


def test_two_devices_are_not_outlined_all_over(changed: list[Pair], same: Pair) -> None:
    said = compare(changed[0].found, same.left, places=[Place("screw", 600, 300, 30)])
    assert not said.aligned
    assert said.candidates == ()
    assert "same device" in said.reason
    assert said.places[0].state == "cannot tell"


def test_different_sizes_are_compared(changed: list[Pair]) -> None:
    import cv2

    each = changed[0]
    small = cv2.resize(each.left, None, fx=0.75, fy=0.75, interpolation=cv2.INTER_AREA)
    said = compare(each.found, small)
    assert said.aligned
    assert _covers(said, tuple(int(v * 0.75) for v in each.boxes[0]))  # type: ignore[arg-type]


def test_a_large_part_gone_is_told_as_large(changed: list[Pair]) -> None:
    each = changed[0]
    said = compare(each.found, each.left, px_per_mm=each.px_per_mm)
    assert said.aligned
    assert _covers(said, each.boxes[0])


@pytest.mark.parametrize("wrong", [np.zeros((4, 4)), np.zeros((3, 3, 2), np.uint8)])
def test_what_is_no_picture_is_refused(same: Pair, wrong: np.ndarray) -> None:
    with pytest.raises(ValueError, match="A picture must"):
        compare(same.found, wrong)


def test_a_picture_of_one_pixel_cannot_be_told(same: Pair) -> None:
    said = compare(same.found, np.zeros((1, 1, 3), np.uint8))
    assert not said.aligned
    assert "too small" in said.reason


def test_a_comparison_is_quick_enough_for_a_person(same: Pair) -> None:
    kept = features(same.found)
    began = time.thread_time()
    compare(None, same.left, found_features=kept)
    assert time.thread_time() - began < 1.5
