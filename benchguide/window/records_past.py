"""Times of a step in past jobs of the same procedure: the median with its number of jobs and an interval.

Figures and words only; reading the sessions is done elsewhere. Nobody is named or ranked: a figure is of a step.
The interval is that of order statistics, which asks nothing of how times are spread (W. J. Conover, Practical
Nonparametric Statistics): the chance that the median lies between the k-th and the k-th from the top of n values is
1 - 2 P(B < k), B binomial with n and one half.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import comb
from statistics import median

from benchguide.review.record import Record
from benchguide.review.words import count, span, span_range
from benchguide.session.state import Mark, Status

#: below this number of jobs nothing is said of the middle
FEWEST = 3
#: the interval aims at this coverage; with few jobs it reaches less, and says so
WANTED = 0.95


@dataclass(frozen=True, slots=True)
class Middle:
    """The middle of several durations in seconds."""

    jobs: int
    median_s: float
    low_s: float
    high_s: float
    coverage: float
    """Chance, 0 to 1, that such an interval holds the true median."""


def middle(seconds: Sequence[float]) -> Middle | None:
    """Median and interval; None for fewer than FEWEST values."""
    n, values = len(seconds), sorted(seconds)
    if n < FEWEST:
        return None
    rank = _rank(n)
    return Middle(n, median(values), values[rank - 1], values[n - rank], _coverage(n, rank))


def _coverage(n: int, rank: int) -> float:
    return 1 - 2 * sum(comb(n, i) for i in range(rank)) / 2**n


def _rank(n: int) -> int:
    """The largest rank whose interval covers enough; 1, the whole range, when none does."""
    rank = 1
    while rank + 1 <= n // 2 and _coverage(n, rank + 1) >= WANTED:
        rank += 1
    return rank


def step_seconds(record: Record) -> dict[str, float]:
    """Touch time in seconds of every step that was done, all its visits together; none for an open job."""
    if record.state.status is not Status.FINISHED:
        return {}
    return {line.step.id: line.times.touch_s for line in record.steps if line.mark is Mark.DONE}


@dataclass
class Past:
    """What was read of past jobs so far."""

    wanted: int = 0
    read: int = 0
    jobs: int = 0
    """Jobs that could be read and were finished."""
    steps: dict[str, list[float]] = field(default_factory=dict)

    def add(self, seconds: Mapping[str, float]) -> None:
        """One more job was read; it may have nothing to tell."""
        self.read += 1
        self.jobs += bool(seconds)
        for step, value in seconds.items():
            self.steps.setdefault(step, []).append(value)

    @property
    def complete(self) -> bool:
        """True when every past job has been read."""
        return self.read >= self.wanted

    def words(self, step: str) -> str:
        """What past jobs say of this step."""
        if not self.complete:
            return f"past jobs are being read, {self.read} of {self.wanted}"
        return middle_words(self.steps.get(step, ()))


def middle_words(seconds: Sequence[float]) -> str:
    """`past median 45 s, 30 to 60 s (7 jobs, 98 % interval)`, or that it cannot be told."""
    found = middle(seconds)
    if found is None:
        return (
            f"past: cannot tell ({count(len(seconds), 'job')})" if seconds else "past: cannot tell (no job)"
        )
    share = int(found.coverage * 100)
    interval = span_range(found.low_s, found.high_s)
    return f"past median {span(found.median_s)}, {interval} ({count(found.jobs, 'job')}, {share} % interval)"


def past_of(records: Iterable[Record]) -> Past:
    """The past of these records at once."""
    found = Past()
    for record in records:
        found.wanted += 1
        found.add(step_seconds(record))
    return found
