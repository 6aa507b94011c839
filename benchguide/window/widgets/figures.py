"""Times in figures, as the bench shows them. Text only."""


def clock(seconds: float) -> str:
    """`04:05`, or `1:02:03` from one hour on; a time below zero is shown as zero."""
    whole = max(0, int(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{left:02}" if hours else f"{minutes:02}:{left:02}"


def left(seconds: float) -> str:
    """Time left of a countdown, rounded up, so that 00:00 means due."""
    return clock(-(-seconds // 1))


def span(shortest: float, longest: float) -> str:
    """An expected time: `20 to 60 s`, `2 to 5 min`, `1:30 to 2:00 h`; one value when both agree."""
    if longest <= 90:
        ends, unit = (f"{shortest:.0f}", f"{longest:.0f}"), "s"
    elif longest <= 5400:
        ends, unit = (_minutes(shortest), _minutes(longest)), "min"
    else:
        ends, unit = (_hours(shortest), _hours(longest)), "h"
    return f"{ends[0]} {unit}" if ends[0] == ends[1] else f"{ends[0]} to {ends[1]} {unit}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f}".removesuffix(".0") if seconds < 600 else f"{seconds / 60:.0f}"


def _hours(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02}"
