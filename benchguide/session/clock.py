"""The step clock: visits, with touch time, waiting, hold, sleep and absence kept apart. Reads no clock.

Every stretch between two facts is booked exactly once, on the visit that was open, under the mode that held.
"""

from dataclasses import dataclass
from enum import StrEnum

from benchguide.session.moment import Elapsed, Moment, elapsed, moment_from_doc, not_before
from benchguide.session.value import Value


class Mode(StrEnum):
    """What the clock is counting."""

    TOUCH = "touch"
    WAITING = "waiting"
    HOLD = "hold"
    AWAY = "away"


@dataclass(frozen=True)
class Visit(Value):
    """One stretch at one step. All times in microseconds."""

    step: str
    began: Moment
    number: int = 1
    why: str = "next"
    ended: Moment | None = None
    touch_us: int = 0
    waiting_us: int = 0
    hold_us: int = 0
    asleep_us: int = 0
    away_us: int = 0
    doubtful: bool = False

    @property
    def total_us(self) -> int:
        """Everything booked on this visit."""
        return self.touch_us + self.waiting_us + self.hold_us + self.asleep_us + self.away_us


def book(visit: Visit, mode: Mode, since: Moment, until: Moment) -> Visit:
    """The visit with the time from `since` to `until` booked under `mode`; sleep is booked apart."""
    return book_span(visit, mode, elapsed(since, until))


def book_span(visit: Visit, mode: Mode, span: Elapsed) -> Visit:
    """Like `book`, for a span that is known already."""
    doubtful = visit.doubtful or span.doubtful
    if mode is Mode.TOUCH:
        return visit.changed(
            touch_us=visit.touch_us + span.total_us - span.asleep_us,
            asleep_us=visit.asleep_us + span.asleep_us,
            doubtful=doubtful,
        )
    if mode is Mode.WAITING:
        # a cure goes on while the machine sleeps: all of it is waiting
        return visit.changed(waiting_us=visit.waiting_us + span.total_us, doubtful=doubtful)
    if mode is Mode.HOLD:
        return visit.changed(hold_us=visit.hold_us + span.total_us, doubtful=doubtful)
    return visit.changed(away_us=visit.away_us + span.total_us, doubtful=doubtful)


def closed(visit: Visit, at: Moment) -> Visit:
    """The visit ended at `at`; nothing more is booked on it."""
    return visit.changed(ended=at)


def seen_alive(last_alive: dict[str, object], booked: Moment, now: Moment) -> Moment:
    """The last sign of life between the last fact and the return, from the logged document.

    A sign of life proves work only within the run of the machine in which the last fact was logged. One that
    is missing, unreadable, older than the last fact or from another run gives `booked`; one later than
    `now` gives `now`.
    """
    try:
        alive = moment_from_doc(last_alive)
    except (KeyError, TypeError, ValueError):
        return booked
    if alive.boot_id != booked.boot_id:
        return booked
    alive = not_before(alive, booked)
    if now.boot_id == alive.boot_id and now.boot_us < alive.boot_us:
        return not_before(now, booked)
    return alive
