"""The comparison of the moving picture: the same answers at half the size, and never behind."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from benchguide.camera.compare import Comparison
from benchguide.camera.compare_live import ComparisonWorker, LiveComparison
from tests.camera.device_scenes import Pair, pair


@pytest.fixture(scope="module")
def scene() -> Pair:
    return pair(7001, 3)


def test_a_live_frame_is_aligned_and_a_change_is_seen(scene: Pair) -> None:
    live = LiveComparison(scene.found)
    assert live.see(scene.left).aligned
    frame = scene.left.copy()
    x, y = (int(v) for v in scene.points_left[20])
    frame[y - 30 : y + 30, x - 30 : x + 30] = (40, 210, 230)
    said = live.see(frame)
    assert any(abs(c.x + c.w / 2 - x) < 30 and abs(c.y + c.h / 2 - y) < 30 for c in said.candidates)


def test_it_follows_a_device_that_moves_and_comes_back_after_a_hand(scene: Pair) -> None:
    live = LiveComparison(scene.found)
    for step in range(3):
        frame = np.roll(scene.left, (3 * step, 5 * step), (0, 1))
        said = live.see(frame)
        assert said.aligned, said.reason
        off = np.hypot(
            *(said.alignment.to_left(scene.points_found) - scene.points_left - (5 * step, 3 * step)).T
        )
        assert np.median(off) < 1.5
    assert not live.see(np.full_like(scene.left, 90)).aligned
    assert live.see(scene.left).aligned


class Slow:
    """Stands in for the comparison: waits until it is let go, and remembers what it saw."""

    def __init__(self) -> None:
        self.seen: list[int] = []
        self.busy, self.go = threading.Event(), threading.Event()

    def see(self, frame: np.ndarray) -> Comparison:
        self.seen.append(int(frame[0, 0, 0]))
        self.busy.set()
        assert self.go.wait(5)
        return Comparison(True, "")


def _frame(number: int) -> np.ndarray:
    return np.full((4, 4, 3), number, np.uint8)


def test_the_newest_frame_wins_and_the_others_are_let_go() -> None:
    slow, told, done = Slow(), [], threading.Event()

    def tell(said: Comparison, frame: np.ndarray) -> None:
        told.append(int(frame[0, 0, 0]))
        if len(told) == 2:
            done.set()

    worker = ComparisonWorker(slow, tell, at_most=1000)  # type: ignore[arg-type]
    worker.start()
    worker.offer(_frame(1))
    assert slow.busy.wait(5)
    for number in range(2, 9):
        worker.offer(_frame(number))
    slow.go.set()
    assert done.wait(5)
    assert worker.stop()
    assert slow.seen == [1, 8]
    assert told == [1, 8]


def test_a_failure_is_survived(caplog: pytest.LogCaptureFixture) -> None:
    done = threading.Event()

    class Failing:
        def __init__(self) -> None:
            self.count = 0

        def see(self, frame: np.ndarray) -> Comparison:
            self.count += 1
            if self.count == 1:
                failed.set()
                raise RuntimeError("no")
            return Comparison(True, "")

    failed = threading.Event()
    worker = ComparisonWorker(Failing(), lambda said, frame: done.set(), at_most=1000)  # type: ignore[arg-type]
    worker.start()
    worker.offer(_frame(1))
    assert failed.wait(5)
    worker.offer(_frame(2))
    assert done.wait(5)
    assert worker.stop()
    assert "a live comparison failed" in caplog.text


def test_it_can_be_stopped_twice_and_started_again() -> None:
    slow, done = Slow(), threading.Event()
    slow.go.set()
    worker = ComparisonWorker(slow, lambda said, frame: done.set(), at_most=1000)  # type: ignore[arg-type]
    assert worker.stop()
    worker.start()
    worker.start()
    assert worker.stop()
    worker.start()
    worker.offer(_frame(3))
    assert done.wait(5)
    assert worker.stop()
    assert worker.stop()
