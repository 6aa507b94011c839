"""The estimates that are kept between ticks agree with those that are worked out anew."""

import pytest

from benchguide.session import commands as cmd
from benchguide.session.forecast import left_to_do
from benchguide.session.gates import gates_for_step
from benchguide.session.times import session_times, step_times
from benchguide.window.ahead import likely_next
from benchguide.window.finish import Finish
from benchguide.window.visit_sums import VisitSums
from tests.window.bench_parts import Parts


@pytest.fixture
def parts(tmp_path, qtbot):
    made = Parts(tmp_path)
    yield made
    made.close()


def test_kept_sums_and_estimates_agree_with_fresh_ones(parts) -> None:
    sums, finish, driver = VisitSums(), Finish(), parts.driver
    steps = driver.state.steps
    for i in (0, 3, 1, 5, 5, 2, 8, 0):
        driver.do(cmd.GoTo(steps[i].id))
        parts.clock.advance(7 + 50 * i)
        if i == 5:
            driver.do(cmd.BeginHold("break"))
            parts.clock.advance(40)
            driver.do(cmd.EndHold())
            driver.do(cmd.SkipStep("not here", "Ada"))
        state, now = driver.read_clock()
        fresh = step_times(state)
        kept = sums.of_steps(state)
        assert kept.keys() == fresh.keys()
        for step, times in fresh.items():
            assert kept[step].touch_s == pytest.approx(times.touch_s)
            assert sums.of_step(state, step).hold_s == pytest.approx(times.hold_s)
        assert sums.of_session(state).touch_s == pytest.approx(session_times(state).touch_s)
        expected = left_to_do(state, now)
        assert finish.left(state, now, sums).range_s == pytest.approx(expected.range_s)


def test_sums_of_another_session_begin_anew(parts, tmp_path) -> None:
    sums = VisitSums()
    parts.clock.advance(30)
    parts.driver.do(cmd.GoTo(parts.driver.state.steps[2].id))
    state, _now = parts.driver.read_clock()
    assert sums.of_session(state).touch_s == pytest.approx(30)
    other = sums.copied()
    before = state.changed(visits=())
    assert other.of_session(before).touch_s == pytest.approx(session_times(before).touch_s)
    assert sums.of_session(state).touch_s == pytest.approx(30)


def test_what_is_likely_next_is_what_the_commands_do(parts) -> None:
    driver = parts.driver
    state, now = driver.read_clock()
    assert not gates_for_step(state, state.step) or driver.do(cmd.GoTo(state.steps[1].id))
    state, now = driver.read_clock()
    nexts = {after.here for after in likely_next(state, now)}
    driver.do(cmd.GoBack())
    back = driver.state.here
    assert back in nexts or back == state.here
    assert driver.state.facts >= state.facts
