"""What is still to do."""

import pytest

from benchguide.session import commands as cmd
from benchguide.session.forecast import Estimate, left_to_do
from tests.session.small_job import SECOND, STEPS, Bench

USUAL_S = 20.0  # every step of the small job: 10 to 30 s
WAITS_S = 120 + 1800


def mean_left(bench: Bench) -> float:
    return left_to_do(bench.state, bench.clock.now()).mean_s


def test_at_the_start_everything_is_left() -> None:
    left = left_to_do(Bench().state, Bench().clock.now())
    assert left.mean_s == pytest.approx(len(STEPS) * USUAL_S + WAITS_S)
    assert left.var_s2 == pytest.approx(len(STEPS) * (20 / 6) ** 2)


def test_time_spent_here_comes_off_between_facts_too() -> None:
    bench = Bench()
    before = mean_left(bench)
    bench.clock.advance(5 * SECOND)
    assert mean_left(bench) == pytest.approx(before - 5)


def test_an_overrun_takes_nothing_off_the_other_steps() -> None:
    bench = Bench()
    before = mean_left(bench)
    bench.clock.advance(3600 * SECOND)
    assert mean_left(bench) == pytest.approx(before - USUAL_S)


def test_passed_steps_are_still_to_do_and_done_or_skipped_ones_are_not() -> None:
    bench = Bench()
    before = mean_left(bench)
    bench.do(cmd.GoTo("try-out"))
    assert mean_left(bench) == pytest.approx(before)
    bench.do(cmd.SkipStep("r", "n"))
    assert mean_left(bench) == pytest.approx(before - USUAL_S)


def test_a_running_countdown_counts_what_is_left_of_it() -> None:
    bench = Bench()
    bench.go_to("warm", after_s=10)
    bench.do(cmd.StartCountdown())
    before = mean_left(bench)
    bench.clock.advance(50 * SECOND)
    assert mean_left(bench) == pytest.approx(before - 50)


def test_at_the_end_nothing_is_left() -> None:
    bench = Bench()
    bench.finish()
    assert left_to_do(bench.state, bench.clock.now()) == Estimate(0, 0)


def test_a_range_never_begins_below_zero() -> None:
    assert Estimate(1.0, 100.0).range_s[0] == 0.0
