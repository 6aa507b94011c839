"""What a job says of single parts beyond the part map: other words, cautions, photos, waits, work round it.

Only the models. How they are joined with the part map is made.py; which parts a job moves is generate.py.
"""

from typing import Annotated, Self

from pydantic import Field, model_validator

from benchguide.procedure.basis import Caution, Ident, Plain, Seconds, Text
from benchguide.procedure.task import CheckLine, Reading, Wait, Works
from benchguide.procedure.words import Face, OwnWork


class Wording(Plain):
    """What replaces the part map's words in one step. Cautions are added, the rest takes the place of the map's."""

    text: Text | None = None
    """Instruction instead of `off_text` or `on_text`."""
    key_point: Text | None = None
    reason: Text | None = None
    tool: Ident | None = None
    cautions: tuple[Caution, ...] = ()
    """Cautions shown with those of the part map."""
    time_s: tuple[Seconds, Seconds] | None = None
    """Expected time instead of `off_s` or `on_s`."""
    face: Face | None = None
    wait: Wait | None = None
    reading: Reading | None = None
    lines: Annotated[tuple[CheckLine, ...], Field(max_length=1000)] = ()
    as_found: bool | None = None
    as_left: bool | None = None
    after_wait: Ident | None = None
    """Step whose countdown must be over before this step is done."""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.time_s and self.time_s[0] > self.time_s[1]:
            raise ValueError("`time_s` must give the shorter time first")
        return self


class Special(Plain):
    """What is special at one part in this job."""

    part: Ident
    off: Wording | None = None
    """Other words for the step that takes it off."""
    on: Wording | None = None
    """Other words for the step that puts it back."""
    before_off: Works = ()
    """Work before it comes off, ahead of the part map's own."""
    after_off: Works = ()
    """Work after it came off, following the part map's own."""
    before_on: Works = ()
    """Work before it goes back, ahead of the part map's own."""
    after_on: Works = ()
    """Work after it went back, following the part map's own."""
    without: tuple[OwnWork, ...] = ()
    """Work of the part map that is left out in this job, because the work given here takes its place."""
