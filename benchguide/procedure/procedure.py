"""The procedure: the planned order of work for one job. Only the model; reading files is loader.py.

A written-out procedure lists its steps. One that names only `target` leaves the steps to be computed
from the part map.
"""

from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from benchguide.procedure.device import Caution, Ident, Label, Plain, Seconds, Text
from benchguide.procedure.words import Action, Face, Stage, WaitKind


class Wait(Plain):
    """A countdown that a step starts; it goes on while other steps are done."""

    kind: WaitKind
    for_s: Annotated[int, Field(ge=1, le=7 * 86400)]
    """How long, in seconds."""
    limit_c: Annotated[float, Field(gt=-50, lt=500)] | None = None
    """Set temperature of the heat, in degrees Celsius."""


class Reading(Plain):
    """A value that is measured and typed in, never ticked."""

    quantity: Label
    unit: Annotated[str, StringConstraints(strip_whitespace=True, max_length=12)]
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


class Step(Plain):
    """One action, with its cautions before it."""

    id: Ident
    stage: Stage
    action: Action
    text: Text
    """The instruction: imperative, at most 20 words a sentence."""
    parts: tuple[Ident, ...] = ()
    """Parts of the part map that this step moves or concerns."""
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
    before_seal: bool = False
    """True for the test that must be answered before sealing."""
    seals: bool = False
    """True for the step that closes the device for good (adhesive)."""
    as_found: bool | None = None
    """True asks for an as-found photo also where the program would not."""
    as_left: bool | None = None
    """True asks for an as-left photo also where the program would not."""

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if self.time_s[0] > self.time_s[1]:
            raise ValueError("`time_s` must give the shorter time first")
        if self.action is Action.WAIT and self.wait is None:
            raise ValueError("a `wait` step needs `wait` with kind and for_s")
        if self.action is Action.READ and self.reading is None:
            raise ValueError("a `read` step needs `reading` with quantity and unit")
        return self


class Supply(Plain):
    """A part or consumable the job uses up."""

    name: Label
    count: Annotated[int, Field(ge=1, le=1000)] = 1
    note: Text | None = None


class Procedure(Plain):
    """A whole procedure file."""

    benchguide: Literal["procedure/1"]
    """Kind and version of this file."""
    id: Ident
    title: Label
    device: Ident
    """Short name of the part map this job belongs to."""
    revision: Annotated[int, Field(ge=1)] = 1
    about: Text
    """What is repaired and when this procedure applies."""
    target: Ident | None = None
    """Part that is to be replaced."""
    tools: tuple[Ident, ...] = ()
    """Tools of the device's list that must lie ready; an empty list means none."""
    supplies: tuple[Supply, ...] = ()
    """New parts to lie ready."""
    consumables: tuple[Supply, ...] = ()
    cautions: tuple[Caution, ...] = ()
    """Cautions that hold for the whole job."""
    keep: tuple[Ident, ...] = ()
    """Parts that must stay fitted."""
    steps: Annotated[tuple[Step, ...], Field(max_length=20000)] = ()

    @cached_property
    def by_id(self) -> dict[str, Step]:
        """Steps by their short name."""
        return {step.id: step for step in self.steps}

    @property
    def expected_s(self) -> tuple[int, int]:
        """Shortest and longest usual touch time of the whole job in seconds, without waits."""
        return sum(s.time_s[0] for s in self.steps), sum(s.time_s[1] for s in self.steps)

    @property
    def waits_s(self) -> int:
        """All waits one after the other, in seconds."""
        return sum(s.wait.for_s for s in self.steps if s.wait)
