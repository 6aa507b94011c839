"""The times in the log against RFC 3339 and ISO 8601.

Sources: RFC 3339, section 5.6 (grammar) and section 5.8 (the examples quoted below). ISO 8601 readings are
checked with the general-purpose library isodate.
"""

import re
from datetime import UTC, datetime, timedelta, timezone

import isodate
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchguide.session.moment import Moment, elapsed, moment_from_doc

#: RFC 3339, section 5.6, `date-time`, written as a regular expression
DATE_TIME = re.compile(
    r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])"
    r"T([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?(Z|[+-]([01]\d|2[0-3]):[0-5]\d)"
)

offsets = st.integers(-23 * 60 - 59, 23 * 60 + 59).map(lambda minutes: timezone(timedelta(minutes=minutes)))
walls = st.datetimes(datetime(1900, 1, 2), datetime(2199, 12, 30), timezones=offsets)  # noqa: DTZ001


def read(wall: str) -> Moment:
    return moment_from_doc({"wall": wall, "boot_us": 0, "awake_us": 0, "boot_id": wall})


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, 0, UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC)),
    ],
)
def test_the_examples_of_rfc_3339(text: str, utc: datetime) -> None:
    moment = read(text)
    assert moment.wall == utc
    written = str(moment.to_doc()["wall"])
    assert DATE_TIME.fullmatch(written)
    assert read(written).wall == utc
    assert isodate.parse_datetime(text) == utc


def test_a_leap_second_is_told_as_unreadable() -> None:
    """Valid in RFC 3339 (section 5.8), unknown to Python: refused as a ValueError, never misread."""
    with pytest.raises(ValueError, match="second"):
        read("1990-12-31T23:59:60Z")


@given(walls)
def test_what_is_written_is_rfc_3339_and_iso_8601(wall: datetime) -> None:
    written = str(Moment(wall, 0, 0, "b").to_doc()["wall"])
    assert DATE_TIME.fullmatch(written)
    assert isodate.parse_datetime(written) == wall
    assert read(written).wall == wall
    assert read(written).wall.utcoffset() == wall.utcoffset()


@pytest.mark.parametrize(
    ("duration", "seconds"),
    [("PT1.5S", 1.5), ("PT36H", 129_600), ("P1DT12H", 129_600), ("PT90M", 5_400), ("P1W", 604_800)],
)
def test_durations_across_a_restart(duration: str, seconds: float) -> None:
    """ISO 8601 durations, read by isodate, come out of the two logged wall times again."""
    first = read("1996-12-19T16:39:57-08:00")
    then = Moment(first.wall.astimezone(UTC) + isodate.parse_duration(duration), 0, 0, "next")
    assert elapsed(first, moment_from_doc(then.to_doc())).total_us == seconds * 1_000_000
