"""The part map: what a device is made of and what holds what. Only the model; reading files is loader.py.

Lengths are millimetres, positions are measured from the upper left corner of the device seen from
the part's own face. `held_by` names the parts that hold a part in place, `under` the parts that lie over it;
both must be off before it can come off.
"""

from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from benchguide.procedure.words import Face, PartKind, SignalWord

Ident = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=600)]
Label = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Millimetre = Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)]
Seconds = Annotated[int, Field(ge=0, le=7 * 86400)]
Point = tuple[Millimetre, Millimetre]
Box = tuple[Millimetre, Millimetre, Millimetre, Millimetre]


class Plain(BaseModel):
    """Common habits of every file model: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True, allow_inf_nan=False)


class Caution(Plain):
    """One caution, shown before the action it belongs to."""

    word: SignalWord
    """Signal word: DANGER, WARNING, CAUTION (injury) or NOTICE (damage only)."""
    text: Text
    """A clear command or condition first, then the risk."""


class ScrewType(Plain):
    """What every screw of one group has in common."""

    count: Annotated[int, Field(ge=1, le=500)]
    """How many screws there are in the group."""
    drive: Label
    """Recess, for example `cross PH00` or `hexalobular T5`."""
    thread: Annotated[str, StringConstraints(pattern=r"^(M\d+(\.\d+)?|ST\d+(\.\d+)?)$")]
    """Metric thread (`M1.6`) or tapping thread (`ST1.8`), ISO 261 / ISO 1478."""
    length_mm: Annotated[float, Field(gt=0, le=200)]
    """Nominal length in mm (under head to tip; flat head: whole length)."""
    head: Literal["pan", "flat", "cheese", "shoulder"] = "pan"
    """Shape of the head."""
    head_mm: Annotated[float, Field(gt=0, le=50)] | None = None
    """Diameter of the head in mm."""
    depth_mm: Annotated[float, Field(gt=0, le=200)] | None = None
    """How deep the hole takes a thread, in mm."""


class Part(Plain):
    """One part, or one group of like screws."""

    id: Ident
    """Short name used in procedures: lower case letters, digits, hyphens."""
    kind: PartKind
    """What it is."""
    name: Label
    """Name shown to a person."""
    face: Face = Face.BACK
    """Side of the device that must be up to reach it."""
    held_by: tuple[Ident, ...] = ()
    """Parts that hold this one in place."""
    under: tuple[Ident, ...] = ()
    """Parts that lie over this one."""
    isolates: tuple[Ident, ...] = ()
    """Energy sources this connector disconnects (names of cells)."""
    serves: tuple[Label, ...] = ()
    """Functions that stop working when this part is off or badly seated."""
    screws: ScrewType | None = None
    """Needed for kind `screws`."""
    places: tuple[Point, ...] = ()
    """Positions in mm: one for each screw, or the middle of the part."""
    box: Box | None = None
    """Left, top, width, height in mm."""
    path: tuple[Point, ...] = ()
    """Course of a cable or of a glue line, in mm."""
    z_mm: Millimetre = 0.0
    """Height of its upper side above the lowest board, in mm."""
    cell: Annotated[str, StringConstraints(pattern=r"^[A-Z][0-9]{1,2}$")] | None = None
    """Cell of the parts mat where it lies while it is out."""
    limit_c: Annotated[float, Field(gt=-50, lt=500)] | None = None
    """Highest temperature this part may see, in degrees Celsius."""
    tool: Ident | None = None
    """Tool for taking it off."""
    off_text: Text | None = None
    """Instruction for taking it off."""
    on_text: Text | None = None
    """Instruction for putting it back."""
    key_point: Text | None = None
    """What makes the action succeed."""
    reason: Text | None = None
    """Why the key point matters."""
    cautions: tuple[Caution, ...] = ()
    """Cautions shown before the part is touched."""
    off_s: tuple[Seconds, Seconds] | None = None
    """Expected time to take it off, shortest and longest usual seconds."""
    on_s: tuple[Seconds, Seconds] | None = None
    """Expected time to put it back, shortest and longest usual seconds."""
    once: bool = False
    """True for parts that are replaced by new ones on the way back (adhesive, one-time screws)."""

    @property
    def pieces(self) -> int:
        """How many single pieces come off: the screw count, else one."""
        return self.screws.count if self.screws else 1

    @model_validator(mode="after")
    def _screws_fit(self) -> Self:
        if (self.kind is PartKind.SCREWS) != (self.screws is not None):
            raise ValueError("`screws` is needed for kind `screws` and for no other kind")
        if self.screws and self.places and len(self.places) != self.screws.count:
            raise ValueError(
                f"{len(self.places)} places are given for {self.screws.count} screws; "
                "list one place for each screw"
            )
        if self.isolates and self.kind is not PartKind.CONNECTOR:
            raise ValueError("only a connector can isolate an energy source")
        return self


class Tool(Plain):
    """A tool by its class, never by make."""

    id: Ident
    name: Label


class Outline(Plain):
    """The device seen from above."""

    width_mm: Annotated[float, Field(gt=0, le=5000)]
    height_mm: Annotated[float, Field(gt=0, le=5000)]
    corner_mm: Millimetre = 0.0


class DeviceMap(Plain):
    """A whole part map."""

    benchguide: Literal["device/1"]
    """Kind and version of this file."""
    id: Ident
    name: Label
    about: Text
    """What the device is, in one or two sentences."""
    outline: Outline
    tools: tuple[Tool, ...] = ()
    cautions: tuple[Caution, ...] = ()
    """Cautions that hold for every job on this device."""
    parts: Annotated[tuple[Part, ...], Field(min_length=1, max_length=20000)]

    @cached_property
    def by_id(self) -> dict[str, Part]:
        """Parts by their short name."""
        return {part.id: part for part in self.parts}

    @cached_property
    def needed_by(self) -> dict[str, tuple[str, ...]]:
        """For each part that holds or covers others: those others, in the order of the file."""
        found: dict[str, list[str]] = {}
        for part in self.parts:
            for name in dict.fromkeys(part.held_by + part.under):
                found.setdefault(name, []).append(part.id)
        return {name: tuple(others) for name, others in found.items()}

    @cached_property
    def tool_names(self) -> dict[str, str]:
        """Tool names by their short name."""
        return {tool.id: tool.name for tool in self.tools}

    @cached_property
    def isolators(self) -> tuple[Part, ...]:
        """Connectors that isolate an energy source."""
        return tuple(part for part in self.parts if part.isolates)
