"""How much of a countdown is left. Derived from when it started, so it survives sleep and restart."""

from benchguide.session.moment import Moment, elapsed
from benchguide.session.state import Countdown, State


def left_s(countdown: Countdown, now: Moment) -> float:
    """Seconds left at `now`; negative once it is due."""
    return countdown.seconds - elapsed(countdown.started, now).total_us / 1_000_000


def due(state: State, now: Moment) -> tuple[Countdown, ...]:
    """Running countdowns whose time is up; none once the session is closed."""
    if not state.open:
        return ()
    return tuple(c for c in state.running if left_s(c, now) <= 0)
