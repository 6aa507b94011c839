"""Hands come and go in streams with a known truth; the bar itself is measured in tests/bench/bench_quality.py."""

import numpy as np
import pytest

from benchguide.camera.hands import HandsClear, Seen

from .hand_streams import stream as made_stream


def stream(seed, visits=3):
    return made_stream(seed, visits, size=(320, 180))


def watch(shots):
    watcher, found, last_hand = HandsClear(), [], {}
    for shot in shots:
        seen = watcher.see(shot.image, shot.at_s)
        if shot.hand:
            last_hand[shot.visit] = shot.at_s
        if seen.seen is Seen.CLEAR:
            found.append((shot.visit, shot.hand, shot.at_s - last_hand.get(shot.visit, 0.0)))
    return found


@pytest.mark.parametrize("seed", [3, 11, 29])
def test_one_photo_a_visit_and_none_with_a_hand_in_it(seed):
    found = watch(stream(seed))
    assert [visit for visit, _, _ in found] == [1, 2, 3]
    assert all(hand == 0 for _, hand, _ in found)
    assert max(wait for _, _, wait in found) < 1.1


def test_nothing_is_taken_while_nobody_was_there():
    shots = [shot for shot in stream(5, visits=1) if shot.visit == 0] * 8
    watcher = HandsClear()
    assert {watcher.see(s.image, n / 15).seen for n, s in enumerate(shots)} == {Seen.WAITING}


def test_a_hand_held_still_is_no_photo_and_an_offer_comes():
    shots = list(stream(17, visits=1))
    middle = max((s for s in shots if s.hand), key=lambda s: s.hand)
    watcher = HandsClear()
    for number, shot in enumerate(s for s in shots if s.visit == 0):
        watcher.see(shot.image, number / 15)
    rng = np.random.default_rng(0)
    seen = []
    for number in range(60):
        image = np.clip(middle.image + rng.normal(0, 2, middle.image.shape), 0, 255).astype(np.uint8)
        seen.append(watcher.see(image, 2 + number / 15))
    assert Seen.CLEAR not in {watch.seen for watch in seen}
    assert seen[-1].seen is Seen.HAND
    assert seen[-1].offer
    assert not seen[10].offer


def test_the_countdown_runs_down_before_the_photo():
    watcher, left = HandsClear(), []
    for shot in stream(3, visits=1):
        seen = watcher.see(shot.image, shot.at_s)
        if seen.seen is Seen.SETTLING:
            left.append(seen.left_s)
        if seen.seen is Seen.CLEAR:
            break
    assert left == sorted(left, reverse=True)
    assert left[0] > 0.4


def test_a_change_of_light_is_no_hand():
    shots = [shot for shot in stream(8, visits=1) if shot.visit == 0]
    watcher = HandsClear()
    watcher.see(shots[0].image, 0.0)
    watcher.arm(worked=True)
    for number, shot in enumerate(shots[1:], 1):
        darker = (shot.image * 0.8).astype(np.uint8)
        seen = watcher.see(darker, number / 15)
        if seen.seen is Seen.CLEAR:
            return
    pytest.fail("the dimmer picture was never taken for clear")
