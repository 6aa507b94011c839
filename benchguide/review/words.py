"""Durations, dates and counts as a person reads them. Only formatting; no sums."""

from benchguide.session.moment import Moment


def span(seconds: float) -> str:
    """A duration: `45 s`, `3 min 05 s`, `1 h 02 min`."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def span_range(low_s: float, high_s: float) -> str:
    """A range of durations, in one unit where both can be said in it: `20 to 60 s`, `40 s to 2 min`."""
    if high_s < 120:
        return f"{round(low_s)} to {round(high_s)} s"
    if high_s < 3600 * 2 and low_s >= 60:
        return f"{round(low_s / 60)} to {round(high_s / 60)} min"
    return f"{_round_span(low_s)} to {_round_span(high_s)}"


def _round_span(seconds: float) -> str:
    """A planned duration; nobody plans to the second."""
    if seconds < 120:
        return f"{round(seconds)} s"
    if seconds < 3600:
        return f"{round(seconds / 60)} min"
    return span(seconds)


def day_and_time(at: Moment) -> str:
    """Date and time of the wall clock where it was logged, with its UTC offset."""
    offset = at.wall.strftime("%z")
    return f"{at.wall:%Y-%m-%d %H:%M:%S} {offset[:3]}:{offset[3:5]}"


def clock(at: Moment) -> str:
    """The time of day of the wall clock."""
    return f"{at.wall:%H:%M:%S}"


def count(number: int, one: str, many: str = "") -> str:
    """`1 step`, `2 steps`."""
    return f"{number} {one if number == 1 else many or one + 's'}"
