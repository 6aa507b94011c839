"""What one step or one piece of work says, wherever it is written. Not where it stands in a job: procedure.py."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from benchguide.procedure.basis import Caution, Celsius, Countdown, Ident, Label, Plain, Seconds, Text, Unit
from benchguide.procedure.words import MOVELESS, Action, AnswerSet, Face, WaitKind


class Wait(Plain):
    """A countdown that a step starts; it goes on while other steps are done."""

    kind: WaitKind
    for_s: Countdown
    """How long, in seconds."""
    limit_c: Celsius | None = None
    """Set temperature of the heat, in degrees Celsius."""


class Reading(Plain):
    """A value that is measured and typed in, never ticked."""

    quantity: Label
    unit: Unit
    low: float | None = None
    high: float | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("`low` is above `high`; swap the two")
        return self


class CheckLine(Plain):
    """One line of a check or test list."""

    id: Ident
    text: Text
    serves: Label | None = None
    """Function tested; leads back to the parts that serve it."""
    answers: AnswerSet = AnswerSet.WORKS
    """Which answers the line can have: `works` (works, does not work, not testable, not present) or
    `agrees` (agrees, differs)."""


class Task(Plain):
    """What is said of one action, with its cautions before it."""

    action: Action
    text: Text
    """The instruction: imperative, at most 20 words a sentence."""
    key_point: Text | None = None
    reason: Text | None = None
    tool: Ident | None = None
    cautions: tuple[Caution, ...] = ()
    time_s: tuple[Seconds, Seconds] = (20, 60)
    """Expected time: shortest and longest usual seconds, without the wait."""
    face: Face | None = None
    wait: Wait | None = None
    reading: Reading | None = None
    lines: tuple[CheckLine, ...] = ()
    """Lines to be answered one by one."""
    as_found: bool | None = None
    """True asks for an as-found photo also where the program would not."""
    as_left: bool | None = None
    """True asks for an as-left photo also where the program would not."""
    after_wait: Ident | None = None
    """Step whose countdown, started earlier, must be over before this one is done."""

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if self.time_s[0] > self.time_s[1]:
            raise ValueError("`time_s` must give the shorter time first")
        if self.action is Action.WAIT and self.wait is None:
            raise ValueError("a `wait` step needs `wait` with kind and for_s")
        if self.action is Action.READ and self.reading is None:
            raise ValueError("a `read` step needs `reading` with quantity and unit")
        return self


class PlacedTask(Task):
    """One action of a job under a name of its own."""

    id: Ident
    parts: tuple[Ident, ...] = ()
    """Parts of the part map that this step moves or concerns."""
    before_seal: bool = False
    """True for the test that must be answered before sealing."""
    seals: bool = False
    """True for the step that closes the device for good (adhesive)."""


class PartWork(Task):
    """Work at one part that moves nothing: warm it, clean its seat, lay new adhesive, measure, let it cure."""

    @model_validator(mode="after")
    def _moves_nothing(self) -> Self:
        if self.action not in MOVELESS:
            raise ValueError("work at a part cannot take off or refit; use `check`, `wait`, `read` or `work`")
        return self


Works = Annotated[tuple[PartWork, ...], Field(max_length=100)]
