"""The procedure: the planned order of work for one job. Only the model; reading files is loader.py.

A written-out procedure lists its steps. One that names only `target` leaves the steps to be computed
from the part map.
"""

from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field

from benchguide.procedure.basis import Caution, Ident, Label, Plain, Text
from benchguide.procedure.task import CheckLine, PlacedTask, Reading, Wait
from benchguide.procedure.words import Stage

__all__ = ["CheckLine", "Procedure", "Reading", "Step", "Supply", "Wait"]


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
