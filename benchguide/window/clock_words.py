"""The figures of the clock strip, from a state read at this moment. Computes nothing that session/ knows already."""

from datetime import timedelta

from benchguide.session.clock import Mode
from benchguide.session.countdown import left_s
from benchguide.session.moment import Moment
from benchguide.session.state import State
from benchguide.window.finish import Finish
from benchguide.window.visit_sums import VisitSums
from benchguide.window.widgets.clock_strip import ClockFigures, CountdownFigure


def clock_figures(state: State, now: Moment, sums: VisitSums, finish: Finish) -> ClockFigures:
    """What the clock strip shows for a state that was read at `now`."""
    step = state.step
    here, whole = sums.of_step(state, step.id), sums.of_session(state)
    wait = step.wait.for_s if step.wait else 0
    soonest, latest = finish.left(state, now, sums).range_s
    return ClockFigures(
        step_s=here.touch_s + here.waiting_s,
        expected_s=(step.time_s[0] + wait, step.time_s[1] + wait),
        worked_s=whole.touch_s,
        waiting_s=whole.waiting_s,
        hold_s=whole.hold_s + whole.away_s + whole.asleep_s,
        finish=(now.wall + timedelta(seconds=soonest), now.wall + timedelta(seconds=latest)),
        mode=str(state.mode if state.open else Mode.TOUCH),
        countdowns=tuple(CountdownFigure(c.kind, c.step, left_s(c, now)) for c in state.running),
        doubtful=whole.doubtful,
    )
