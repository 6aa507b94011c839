"""When the job will be finished, as a range. From the plan alone: no promise, no ranking.

Three-point estimates (programme evaluation and review technique): mean (a + 4m + b) / 6 and variance
((b - a) / 6) squared, the variances of independent steps added. The range is the mean plus and minus
1.645 standard deviations (nine in ten).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt

from benchguide.session.apply import as_at
from benchguide.session.countdown import left_s
from benchguide.session.moment import Moment
from benchguide.session.state import Mark, State

NINE_IN_TEN = 1.645


@dataclass(frozen=True, slots=True)
class Estimate:
    """Mean and variance of a duration, in seconds and seconds squared."""

    mean_s: float
    var_s2: float

    @property
    def range_s(self) -> tuple[float, float]:
        """Nine-in-ten range in seconds, never below zero."""
        half = NINE_IN_TEN * sqrt(self.var_s2)
        return max(0.0, self.mean_s - half), self.mean_s + half


def three_point(shortest: float, usual: float, longest: float) -> Estimate:
    """Estimate from three values in any one unit of time."""
    return Estimate((shortest + 4 * usual + longest) / 6, ((longest - shortest) / 6) ** 2)


def added(parts: Iterable[Estimate]) -> Estimate:
    """The estimate of independent durations one after the other."""
    together = list(parts)
    return Estimate(sum(e.mean_s for e in together), sum(e.var_s2 for e in together))


def left_to_do(state: State, now: Moment) -> Estimate:
    """Time still to work and wait, from all open steps (passed ones too) and running countdowns."""
    steps = [s for s in state.steps if state.mark_of(s.id).mark is Mark.OPEN]
    spent = _spent_s(as_at(state, now))
    parts = [_still(s.time_s, spent.get(s.id, 0.0)) for s in steps]
    started = {c.step for c in state.countdowns.values()}
    waits = [float(s.wait.for_s) for s in steps if s.wait and s.id not in started]
    waits += [max(0.0, left_s(c, now)) for c in state.running]
    return added([*parts, *(Estimate(w, 0.0) for w in waits)])


def _still(time_s: tuple[int, int], spent_s: float) -> Estimate:
    """What is left of one step: an overrun here takes nothing off the other steps."""
    shortest, longest = time_s
    planned = three_point(shortest, (shortest + longest) / 2, longest)
    if spent_s >= longest:
        return Estimate(0.0, 0.0)
    return Estimate(max(0.0, planned.mean_s - spent_s), planned.var_s2)


def _spent_s(state: State) -> dict[str, float]:
    """Touch time of every step so far, in seconds."""
    spent: dict[str, float] = {}
    for visit in state.all_visits:
        spent[visit.step] = spent.get(visit.step, 0.0) + visit.touch_us / 1_000_000
    return spent
