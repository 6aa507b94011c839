"""Countdowns across steps, and what the clock counts beside them."""

from benchguide.session import commands as cmd
from benchguide.session.clock import Mode
from benchguide.session.countdown import due, left_s
from tests.session.small_job import SECOND, Bench


def curing() -> Bench:
    bench = Bench()
    bench.go_to("bond-on")
    bench.photo()
    bench.do(cmd.StartCountdown())
    return bench


def test_it_goes_on_across_steps() -> None:
    bench = curing()
    assert bench.state.mode is Mode.WAITING
    bench.do(cmd.FinishStep(), 30)
    assert bench.state.mode is Mode.TOUCH
    bench.do(cmd.GoTo("tidy"), 40)
    assert bench.state.mode is Mode.TOUCH
    bench.do(cmd.GoTo("bond-on"), 50)
    assert bench.state.mode is Mode.WAITING
    bench.do(cmd.AddNote("still soft"), 60)
    waits = [(v.step, v.waiting_us // SECOND, v.touch_us // SECOND) for v in bench.state.all_visits[-4:]]
    assert waits == [("bond-on", 30, 0), ("screws-on", 0, 40), ("tidy", 0, 50), ("bond-on", 60, 0)]
    (countdown,) = bench.state.running
    assert left_s(countdown, bench.clock.now()) == 1800 - 180


def test_a_hold_or_absence_comes_before_waiting() -> None:
    bench = curing()
    bench.do(cmd.BeginHold("lunch"))
    assert bench.state.mode is Mode.HOLD
    bench.do(cmd.LeaveBench())
    assert bench.state.mode is Mode.AWAY


def test_due_through_sleep_and_a_set_wall_clock() -> None:
    bench = curing()
    bench.clock.jump(7 * 86_400 * SECOND)
    assert due(bench.state, bench.clock.now()) == ()
    bench.clock.suspend(1800 * SECOND - 1)
    assert due(bench.state, bench.clock.now()) == ()
    (countdown,) = due(bench.state, bench.clock.advance(1))
    bench.do(cmd.RingCountdown(countdown.id))
    assert due(bench.state, bench.clock.advance(SECOND)) == ()
    assert bench.state.countdowns[countdown.id].state == "rang"


def test_it_can_ring_during_a_hold() -> None:
    bench = curing()
    bench.do(cmd.BeginHold("lunch"))
    bench.do(cmd.RingCountdown("bond-on#1"), 1800)
    assert not bench.state.running


def test_nothing_rings_in_a_closed_session() -> None:
    bench = curing()
    bench.do(cmd.AbandonSession("broken", "Ada"))
    assert due(bench.state, bench.clock.advance(9_000 * SECOND)) == ()
