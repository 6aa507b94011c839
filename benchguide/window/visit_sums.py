"""Times of every step, added up as visits come in: a clock that ticks must not add up the whole job each time.

The sums are those of session/times.py; this only remembers the part that cannot change any more.
"""

from __future__ import annotations

from benchguide.session.clock import Visit
from benchguide.session.state import State
from benchguide.session.times import Times, times_of


class VisitSums:
    """Remembers the sums over the closed visits of the state it was asked about last."""

    def __init__(self) -> None:
        self._closed: tuple[Visit, ...] = ()
        self._by_step: dict[str, Times] = {}
        self._whole = Times()

    def copied(self) -> VisitSums:
        """The same, to be asked about what might come next."""
        other = VisitSums()
        other._closed, other._by_step, other._whole = self._closed, self._by_step, self._whole
        return other

    def of_step(self, state: State, step: str) -> Times:
        """What was spent at one step."""
        self._follow(state)
        spent = self._by_step.get(step, Times())
        here = state.visit
        return added(spent, times_of((here,))) if here and here.step == step else spent

    def of_steps(self, state: State) -> dict[str, Times]:
        """What was spent at every step that was visited."""
        self._follow(state)
        here = state.visit
        if here is None:
            return self._by_step
        return {**self._by_step, here.step: self.of_step(state, here.step)}

    def of_session(self, state: State) -> Times:
        """What was spent in all."""
        self._follow(state)
        return added(self._whole, times_of((state.visit,))) if state.visit else self._whole

    def _follow(self, state: State) -> None:
        known, visits = len(self._closed), state.visits
        if visits is self._closed:
            return
        if known > len(visits) or (known and visits[known - 1] is not self._closed[-1]):
            # another session, or one that was read anew
            self._by_step, self._whole, known = {}, Times(), 0
        # a fresh dictionary: the one before was handed out
        by_step = dict(self._by_step)
        for visit in visits[known:]:
            times = times_of((visit,))
            by_step[visit.step] = added(by_step.get(visit.step, Times()), times)
            self._whole = added(self._whole, times)
        self._closed, self._by_step = visits, by_step


def added(one: Times, other: Times) -> Times:
    """Both together."""
    return Times(
        one.touch_s + other.touch_s,
        one.waiting_s + other.waiting_s,
        one.hold_s + other.hold_s,
        one.asleep_s + other.asleep_s,
        one.away_s + other.away_s,
        one.doubtful or other.doubtful,
    )
