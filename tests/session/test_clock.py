"""Booking of time on visits, and the last sign of life."""

import pytest

from benchguide.session.clock import Mode, Visit, book, closed, seen_alive
from tests.session.small_job import SECOND, FakeClock


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


def kinds(visit: Visit) -> tuple[int, int, int, int, int]:
    return visit.touch_us, visit.waiting_us, visit.hold_us, visit.asleep_us, visit.away_us


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        (Mode.TOUCH, (5 * SECOND, 0, 0, 60 * SECOND, 0)),
        (Mode.WAITING, (0, 65 * SECOND, 0, 0, 0)),
        (Mode.HOLD, (0, 0, 65 * SECOND, 0, 0)),
        (Mode.AWAY, (0, 0, 0, 0, 65 * SECOND)),
    ],
)
def test_only_touch_time_sets_sleep_apart(clock: FakeClock, mode: Mode, expected: tuple[int, ...]) -> None:
    since = clock.now()
    clock.advance(5 * SECOND)
    visit = book(Visit("s", since), mode, since, clock.suspend(60 * SECOND))
    assert kinds(visit) == expected
    assert visit.total_us == 65 * SECOND


def test_booking_adds_up(clock: FakeClock) -> None:
    first = clock.now()
    second = clock.advance(3)
    third = clock.advance(4)
    visit = book(Visit("s", first, 2, "again"), Mode.TOUCH, first, second)
    visit = book(visit, Mode.HOLD, second, third)
    assert (visit.step, visit.number, visit.why, kinds(visit)) == ("s", 2, "again", (3, 0, 4, 0, 0))
    assert closed(visit, third) == Visit("s", first, 2, "again", third, 3, 0, 4)


def test_doubt_stays(clock: FakeClock) -> None:
    first = clock.now()
    second = clock.reboot(SECOND)
    visit = book(Visit("s", first), Mode.AWAY, first, second)
    assert visit.doubtful
    assert book(visit, Mode.TOUCH, second, clock.advance(1)).doubtful


def test_sign_of_life_between_last_fact_and_return(clock: FakeClock) -> None:
    booked = clock.now()
    alive = clock.advance(SECOND)
    assert seen_alive(alive.to_doc(), booked, clock.advance(SECOND)) == alive
    assert seen_alive(alive.to_doc(), booked, clock.reboot(SECOND)) == alive


def test_sign_of_life_before_the_last_fact(clock: FakeClock) -> None:
    alive = clock.now()
    booked = clock.advance(SECOND)
    assert seen_alive(alive.to_doc(), booked, clock.advance(SECOND)) == booked


def test_sign_of_life_after_the_return(clock: FakeClock) -> None:
    booked = clock.now()
    now = clock.advance(SECOND)
    assert seen_alive(clock.advance(SECOND).to_doc(), booked, now) == now


def test_sign_of_life_of_another_run_proves_nothing(clock: FakeClock) -> None:
    booked = clock.now()
    alive = clock.reboot(SECOND)
    assert seen_alive(alive.to_doc(), booked, clock.advance(SECOND)) == booked


UNREADABLE = [{}, {"wall": "?"}, {"wall": 3, "boot_us": 1, "awake_us": 1, "boot_id": "boot-1"}]


@pytest.mark.parametrize("doc", UNREADABLE)
def test_unreadable_sign_of_life(clock: FakeClock, doc: dict[str, object]) -> None:
    booked = clock.now()
    assert seen_alive(doc, booked, clock.advance(SECOND)) == booked
