"""The procedure: the planned order of work for one job. Only the model; reading files is loader.py.

A written-out procedure lists its `steps`. One without steps names its `target` and says only what is special in
the job; generate.py makes the steps of it from the part map.
"""

from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from benchguide.procedure.basis import Caution, Ident, Label, Plain, Text
from benchguide.procedure.special import Special
from benchguide.procedure.task import CheckLine, PlacedTask, Reading, Wait
from benchguide.procedure.words import Stage

__all__ = ["SECTIONS", "CheckLine", "Procedure", "Reading", "Step", "Supply", "Wait"]

#: keys of a procedure without `steps`, and the stage of the tasks they list
SECTIONS: dict[str, Stage] = {
    "preparation": Stage.PREPARATION,
    "swap": Stage.SWAP,
    "tests": Stage.TEST,
    "sealing": Stage.SEAL,
    "close_out": Stage.CLOSE_OUT,
}

Tasks = Annotated[tuple[PlacedTask, ...], Field(max_length=20000)]


class Step(PlacedTask):
    """One action, with its cautions before it."""

    stage: Stage


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
    also: tuple[Ident, ...] = ()
    """Further parts that come off, beside the target and what is in its way. Only without `steps`."""
    preparation: Tasks = ()
    """Tasks before anything comes off. Only without `steps`, like all that follow."""
    at: Annotated[tuple[Special, ...], Field(max_length=20000)] = ()
    """What is special at single parts that come off in this job."""
    swap: Tasks = ()
    """Tasks once the target is out."""
    tests: Tasks = ()
    """Tasks before sealing; each with lines or a reading must be answered before the device is closed."""
    sealing: Tasks = ()
    """Tasks after the tests, before the device is closed."""
    close_out: Tasks = ()
    """Tasks after the last part went back."""
    steps: Annotated[tuple[Step, ...], Field(max_length=20000)] = ()
    """Every step written out. Without it the steps are generated from the part map and the keys above."""

    @model_validator(mode="after")
    def _one_way_of_writing(self) -> Self:
        special = [key for key in ("also", "at", *SECTIONS) if getattr(self, key)]
        if self.steps and special:
            raise ValueError(
                f"`{special[0]}` is for procedures without `steps`; write its tasks into `steps`, or delete `steps`"
            )
        if not self.steps and self.target is None:
            raise ValueError("there are no `steps` and no `target`; write one of the two")
        return self

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
