"""How much time lies between two readings of the clocks."""

from datetime import datetime, timedelta, timezone

import pytest

from benchguide.session.moment import Elapsed, Moment, elapsed, moment_from_doc, not_before
from tests.session.small_job import SECOND, FakeClock


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


def test_time_passes(clock: FakeClock) -> None:
    first = clock.now()
    assert elapsed(first, clock.advance(1_500_001)) == Elapsed(1_500_001)


def test_sleep_counts_and_is_told_apart(clock: FakeClock) -> None:
    first = clock.now()
    clock.advance(2 * SECOND)
    assert elapsed(first, clock.suspend(3600 * SECOND)) == Elapsed(3602 * SECOND, 3600 * SECOND)


def test_jitter_between_the_clocks_is_not_sleep(clock: FakeClock) -> None:
    first = clock.now()
    assert elapsed(first, clock.suspend(999_999)) == Elapsed(999_999, 0)


@pytest.mark.parametrize("hours", [-30, 30])
def test_a_set_wall_clock_changes_nothing(clock: FakeClock, hours: int) -> None:
    first = clock.now()
    clock.jump(hours * 3600 * SECOND)
    assert elapsed(first, clock.advance(5 * SECOND)) == Elapsed(5 * SECOND)


def test_a_slewed_wall_clock_changes_nothing(clock: FakeClock) -> None:
    first = clock.now()
    assert elapsed(first, clock.slew(100 * SECOND, 99 * SECOND)) == Elapsed(100 * SECOND)


def test_across_a_restart_the_wall_clock_decides_and_is_doubtful(clock: FakeClock) -> None:
    first = clock.now()
    clock.advance(10 * SECOND)
    clock.reboot(50 * SECOND)
    assert elapsed(first, clock.advance(7)) == Elapsed(60 * SECOND + 7, 0, doubtful=True)


def test_a_wall_clock_set_back_across_a_restart_gives_nothing(clock: FakeClock) -> None:
    first = clock.now()
    clock.jump(-3600 * SECOND)
    assert elapsed(first, clock.reboot(SECOND)) == Elapsed(0, 0, doubtful=True)


def test_backwards_within_one_boot_gives_nothing(clock: FakeClock) -> None:
    first = clock.now()
    later = clock.advance(SECOND)
    assert elapsed(later, first) == Elapsed(0, 0, doubtful=True)
    assert not_before(first, later) is later
    assert not_before(later, first) is later


def test_a_moment_of_another_boot_is_never_before(clock: FakeClock) -> None:
    first = clock.now()
    rebooted = clock.reboot(0)
    assert not_before(rebooted, first) is rebooted


def test_document_and_back_without_loss() -> None:
    zone = timezone(timedelta(hours=-3, minutes=-30))
    moment = Moment(datetime(2031, 3, 4, 23, 59, 59, 999_999, tzinfo=zone), 7, 5, "a")
    doc = moment.to_doc()
    assert doc["wall"] == "2031-03-04T23:59:59.999999-03:30"
    assert moment_from_doc(doc) == moment


@pytest.mark.parametrize(
    ("change", "error"),
    [
        ({"wall": "2031-03-04T10:00:00"}, ValueError),
        ({"wall": "yesterday"}, ValueError),
        ({"boot_us": 1.5}, TypeError),
        ({"awake_us": None}, TypeError),
        ({"boot_us": "7"}, TypeError),
    ],
)
def test_anything_else_is_refused(
    clock: FakeClock, change: dict[str, object], error: type[Exception]
) -> None:
    with pytest.raises(error):
        moment_from_doc({**clock.now().to_doc(), **change})


def test_a_missing_key_is_refused(clock: FakeClock) -> None:
    doc = clock.now().to_doc()
    del doc["boot_id"]
    with pytest.raises(KeyError):
        moment_from_doc(doc)
