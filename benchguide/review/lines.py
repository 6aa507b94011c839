"""The rows a record is made of: plain values, each with when, who and at which step. No reading, no
layout.
"""

from dataclasses import dataclass

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Agreement, Answer
from benchguide.session.clock import Visit
from benchguide.session.events import PhotoTaken
from benchguide.session.moment import Moment
from benchguide.session.state import Mark
from benchguide.session.times import Times

#: kinds of hold point as they stand in a waiver's `gate`, in words
GATE_WORDS = {
    "as-found": "as-found photo",
    "as-left": "as-left photo",
    "poor-as-found": "good as-found photo",
    "poor-as-left": "good as-left photo",
    "stop": "no screw longer than what came out",
    "isolation": "isolation before any other connector",
    "isolation-last": "energy source connected last",
    "discharge": "discharge measured",
    "held": "part still held or covered",
    "missing-under": "part below still out",
    "answers": "every line answered",
    "empty-mat": "photo of the empty mat",
    "reading": "measured value",
    "limits": "measured value within its limits",
    "wait": "countdown",
    "after": "countdown over before this step",
    "pieces": "every piece of the step accounted for",
    "test": "test before sealing",
    "failed": "no failed function before sealing",
    "count": "counts agree",
    "open": "every step done or skipped",
}


#: answers that need no second look
FINE: frozenset[str] = frozenset({Answer.WORKS, Agreement.AGREES})


@dataclass(frozen=True, slots=True)
class Line:
    """What every row has: the moment, the person at the bench, and the step that was on it."""

    at: Moment
    by: str
    step: str


@dataclass(frozen=True, slots=True)
class PhotoLine(Line):
    """One photo; `number` counts the photos of this step and purpose from 1."""

    photo: PhotoTaken
    number: int

    @property
    def purpose(self) -> str:
        """as-found, as-left or free."""
        return self.photo.purpose

    @property
    def sha256(self) -> str:
        """Hash of the original file, hex."""
        return self.photo.sha256


@dataclass(frozen=True, slots=True)
class NoteLine(Line):
    text: str


@dataclass(frozen=True, slots=True)
class HoldLine(Line):
    """An interruption. `ended` is None and `seconds` counts to the last fact while it goes on."""

    reason: str
    ended: Moment | None
    seconds: float


@dataclass(frozen=True, slots=True)
class WaiverLine(Line):
    gate: str
    reason: str
    name: str

    @property
    def words(self) -> str:
        """The hold point that was passed, in words."""
        return GATE_WORDS.get(self.gate.split(":", 1)[0], self.gate)


@dataclass(frozen=True, slots=True)
class SkipLine(Line):
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class ReadingLine(Line):
    """One measured value. `replaced` is true when a later one was entered at the same step."""

    quantity: str
    unit: str
    value: float
    low: float | None
    high: float | None
    replaced: bool

    @property
    def within(self) -> bool | None:
        """Whether it lies within its limits; None when there are none."""
        if self.low is None and self.high is None:
            return None
        above = self.low is None or self.value >= self.low
        return above and (self.high is None or self.value <= self.high)

    @property
    def limits(self) -> str:
        """The limits in words, with the unit."""
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g} {self.unit}"
        if self.low is not None:
            return f"at least {self.low:g} {self.unit}"
        return f"at most {self.high:g} {self.unit}" if self.high is not None else "no limits given"


@dataclass(frozen=True, slots=True)
class AnswerLine(Line):
    """The last answer to one line of a list; `before` are earlier answers to the same line."""

    line: str
    text: str
    serves: str
    answer: str
    before: tuple[str, ...]

    @property
    def plain(self) -> bool:
        """True when the answer is `works` or `agrees` and was never anything else."""
        return all(answer in FINE for answer in (self.answer, *self.before))


@dataclass(frozen=True, slots=True)
class CountdownLine(Line):
    """A heat, cure or soak time. `how` is rang, stopped or running; `ran_s` is how long it went on."""

    kind: str
    planned_s: int
    ran_s: float | None
    how: str
    reason: str


@dataclass(frozen=True, slots=True)
class ReconciledLine(Line):
    part: str
    pieces: int
    what: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class TakenBackLine(Line):
    pass


@dataclass(frozen=True, slots=True)
class HandoverLine(Line):
    was: str
    now: str
    pieces_out: int


@dataclass(frozen=True, slots=True)
class VisitLine:
    """One visit with what happened during it; `number` counts from 1 over the session."""

    number: int
    visit: Visit
    step_number: int
    by: str
    photos: int
    notes: tuple[str, ...]
    holds: tuple[str, ...]
    waivers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step of the plan and what became of it; `number` is its place in the plan, from 1."""

    number: int
    step: Step
    mark: Mark
    visits: int
    times: Times
    as_found: tuple[PhotoLine, ...]
    as_left: tuple[PhotoLine, ...]
    free: tuple[PhotoLine, ...]
    missing: tuple[str, ...]

    @property
    def photos(self) -> tuple[PhotoLine, ...]:
        """All its photos, as-found first."""
        return (*self.as_found, *self.as_left, *self.free)

    @property
    def over_s(self) -> float:
        """Touch time beyond the longest usual time, in seconds; 0 when within."""
        return max(0.0, self.times.touch_s - self.step.time_s[1])

    @property
    def pace(self) -> str:
        """Touch time beside the plan, in words."""
        if not self.visits:
            return "not visited"
        if self.over_s:
            return "longer than planned"
        if self.mark is Mark.DONE and self.times.touch_s < self.step.time_s[0]:
            return "shorter than planned"
        return "as planned" if self.mark is Mark.DONE else "not done"
