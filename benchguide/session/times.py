"""Sums over visits: what one step or the whole session took, by kind of time. No statistics over sessions."""

from collections.abc import Iterable
from dataclasses import dataclass

from benchguide.session.clock import Visit
from benchguide.session.state import State


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds by kind."""

    touch_s: float = 0.0
    waiting_s: float = 0.0
    hold_s: float = 0.0
    asleep_s: float = 0.0
    away_s: float = 0.0
    doubtful: bool = False

    @property
    def total_s(self) -> float:
        """All kinds together."""
        return self.touch_s + self.waiting_s + self.hold_s + self.asleep_s + self.away_s


def times_of(visits: Iterable[Visit]) -> Times:
    """The sums over some visits."""
    touch = waiting = hold = asleep = away = 0
    doubtful = False
    for v in visits:
        touch += v.touch_us
        waiting += v.waiting_us
        hold += v.hold_us
        asleep += v.asleep_us
        away += v.away_us
        doubtful = doubtful or v.doubtful
    return Times(touch / 1e6, waiting / 1e6, hold / 1e6, asleep / 1e6, away / 1e6, doubtful)


def session_times(state: State) -> Times:
    """The sums over the whole session."""
    return times_of(state.all_visits)


def step_times(state: State) -> dict[str, Times]:
    """The sums for every step that was visited."""
    by_step: dict[str, list[Visit]] = {}
    for visit in state.all_visits:
        by_step.setdefault(visit.step, []).append(visit)
    return {step: times_of(visits) for step, visits in by_step.items()}
