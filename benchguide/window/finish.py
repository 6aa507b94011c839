"""How much is left to do, read four times a second and after each command: the plan is added up only once.

The estimate is that of session/forecast.py to the last digit but one (tests/window/test_finish.py compares them).
"""

from __future__ import annotations

from dataclasses import dataclass

from benchguide.procedure.procedure import Step
from benchguide.session.countdown import left_s
from benchguide.session.forecast import Estimate, three_point
from benchguide.session.moment import Moment
from benchguide.session.state import Mark, State
from benchguide.window.visit_sums import VisitSums


@dataclass(frozen=True, slots=True)
class _Planned:
    """One step of the plan: its estimate in seconds, its longest usual time, its wait."""

    name: str
    mean_s: float
    var_s2: float
    longest_s: float
    wait_s: float


class Finish:
    """Remembers the plan of the steps it was asked about last."""

    def __init__(self) -> None:
        self._steps: tuple[Step, ...] = ()
        self._plan: list[_Planned] = []

    def left(self, state: State, now: Moment, sums: VisitSums) -> Estimate:
        """Time still to work and wait, for a state that was read at `now`."""
        if state.steps is not self._steps:
            self._steps, self._plan = state.steps, [_planned(step) for step in state.steps]
        spent, marks = sums.of_steps(state), state.marks
        started = {countdown.step for countdown in state.countdowns.values()}
        mean = var = 0.0
        for step in self._plan:
            mark = marks.get(step.name)
            if mark is not None and mark.mark is not Mark.OPEN:
                continue
            times = spent.get(step.name)
            touch = times.touch_s if times is not None else 0.0
            if touch < step.longest_s:
                mean += max(0.0, step.mean_s - touch)
                var += step.var_s2
            if step.wait_s and step.name not in started:
                mean += step.wait_s
        return Estimate(mean + sum(max(0.0, left_s(c, now)) for c in state.running), var)


def _planned(step: Step) -> _Planned:
    shortest, longest = step.time_s
    usual = three_point(shortest, (shortest + longest) / 2, longest)
    return _Planned(
        step.id, usual.mean_s, usual.var_s2, longest, float(step.wait.for_s) if step.wait else 0.0
    )
