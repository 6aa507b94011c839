"""The part map: what a device is made of and what holds what. Only the model; reading files is loader.py.

Lengths are millimetres, positions are measured from the upper left corner of the device seen from
the part's own face. `held_by` names the parts that hold a part in place, `under` the parts that lie over it;
both must be off before it can come off.
"""

from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from benchguide.procedure.basis import (
    Box,
    Caution,
    Celsius,
    Countdown,
    Ident,
    Label,
    Millimetre,
    Plain,
    Point,
    Seconds,
    Text,
    Unit,
)
from benchguide.procedure.task import Works
from benchguide.procedure.words import Face, PartKind

__all__ = [
    "Caution",
    "DeviceMap",
    "Heat",
    "Ident",
    "Label",
    "Outline",
    "Part",
    "Plain",
    "ScrewType",
    "Seconds",
    "StoredEnergy",
    "Text",
    "Tool",
]

#: word for "no tool" under `on_tool`
BARE_HANDS = "hands"


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


class Heat(Plain):
    """How a part is warmed before it comes off; the touch or temperature check after it is added by itself."""

    for_s: Countdown
    """How long it is warmed, in seconds."""
    at_c: Celsius | None = None
    """Set temperature in degrees Celsius; else the lowest `limit_c` of the part map."""
    tool: Ident | None = None
    """What warms it."""
    text: Text | None = None
    """Instruction for warming; it ends with starting the countdown."""
    key_point: Text | None = None
    reason: Text | None = None
    cautions: tuple[Caution, ...] = ()
    """Cautions before the heat; one about burns and cells stands there if none is given."""
    time_s: tuple[Seconds, Seconds] = (20, 90)
    """Touch time in seconds, without the countdown."""
    measured_c: tuple[Celsius, Celsius] | None = None
    """Lowest and highest temperature at which it comes off, when it is measured; else it is touched briefly."""
    measured_with: Ident | None = None
    """Tool for measuring it."""
    measured_text: Text | None = None
    """Instruction for measuring or touching."""
    measured_key_point: Text | None = None
    """What makes measuring or touching succeed."""
    measured_reason: Text | None = None
    """Why that key point matters."""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.time_s[0] > self.time_s[1]:
            raise ValueError("`time_s` must give the shorter time first")
        if self.measured_c and self.measured_c[0] > self.measured_c[1]:
            raise ValueError("`measured_c` must give the lower temperature first")
        return self


class StoredEnergy(Plain):
    """Energy that stays in a part after isolation. It counts as gone only once it has been measured."""

    quantity: Label
    """What is measured, for example `bank voltage`."""
    unit: Unit
    full: Annotated[float, Field(gt=0, le=1e6)]
    """Highest value it can hold."""
    gone_at: Annotated[float, Field(ge=0, le=1e6)]
    """A measured value of this or less counts as discharged, by the data of the maker."""
    exposed_by: Ident
    """Part that, once off, opens the way to it; it is measured right after that."""
    bleed_s: Countdown | None = None
    """Time it needs after isolation, in seconds, before the next part comes off."""
    text: Text | None = None
    """Instruction for measuring it."""
    again_text: Text | None = None
    """Instruction for measuring it once more after `release`; else `text`."""
    key_point: Text | None = None
    reason: Text | None = None
    tool: Ident | None = None
    """What it is measured with."""
    cautions: tuple[Caution, ...] = ()
    """Cautions before measuring; one stands there if none is given."""
    time_s: tuple[Seconds, Seconds] = (40, 150)
    """Time for measuring once, in seconds."""
    before: Works = ()
    """What proves the measuring device, before the way to the part is opened."""
    release: Works = ()
    """How it is discharged, between the value as found and the value that counts."""
    after: Works = ()
    """What proves the measuring device once more, and what may be done only now."""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.time_s[0] > self.time_s[1]:
            raise ValueError("`time_s` must give the shorter time first")
        if self.gone_at >= self.full:
            raise ValueError("`gone_at` is not below `full`; correct one of the two")
        return self


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
    limit_c: Celsius | None = None
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
    new_name: Label | None = None
    """What the new one of a `once` part is called among the consumables; else its name."""
    closes: bool = False
    """True for the part that closes the device: the test before sealing comes before it goes back."""
    heat: Heat | None = None
    """How it is warmed before it comes off."""
    stores: StoredEnergy | None = None
    """Energy that stays in it after isolation."""
    on_tool: Ident | None = None
    """Tool for putting it back, or `hands`; else `tool` for screws, connectors and loose items, hands for the rest."""
    on_key_point: Text | None = None
    """Key point of putting it back; else `key_point` for screws, none for the rest."""
    on_reason: Text | None = None
    """Why that key point matters."""
    on_cautions: tuple[Caution, ...] = ()
    """Cautions before putting it back, shown with `cautions`."""
    before_off: Works = ()
    """Work before it comes off, heat left out."""
    after_off: Works = ()
    """Work right after it came off: look, measure, move over."""
    before_on: Works = ()
    """Return-only work before it goes back: clean the seat, lay new adhesive. Work at a bond comes before the
    parts that it holds go back."""
    after_on: Works = ()
    """Return-only work after it went back: route under the clip, measure, let it cure."""

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

    @model_validator(mode="after")
    def _new_is_once(self) -> Self:
        if self.new_name and not self.once:
            raise ValueError("`new_name` is only for parts with `once: true`; add that or delete the name")
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
    def number_of(self) -> dict[str, int]:
        """The number of each part in the list, from 0."""
        return {part.id: number for number, part in enumerate(self.parts)}

    @cached_property
    def needed_by(self) -> dict[str, tuple[str, ...]]:
        """For each part that holds or covers others: those others, in the order of the file."""
        found: dict[str, list[str]] = {}
        for part in self.parts:
            for name in dict.fromkeys(part.held_by + part.under):
                found.setdefault(name, []).append(part.id)
        return {name: tuple(others) for name, others in found.items()}

    @cached_property
    def stores(self) -> tuple[Part, ...]:
        """Parts that keep energy after isolation."""
        return tuple(part for part in self.parts if part.stores)

    @cached_property
    def cut_outside(self) -> tuple[Part, ...]:
        """Connectors that isolate something that is not a cell: they cut off a supply from outside."""

        def outside(part: Part) -> bool:
            sources = (self.by_id.get(name) for name in part.isolates)
            return any(source is not None and source.kind is not PartKind.CELL for source in sources)

        return tuple(part for part in self.isolators if outside(part))

    @property
    def isolated_first(self) -> bool:
        """True when nothing may come off before isolation, not only no connector."""
        return bool(self.stores or self.cut_outside)

    @cached_property
    def tool_names(self) -> dict[str, str]:
        """Tool names by their short name."""
        return {tool.id: tool.name for tool in self.tools}

    @cached_property
    def isolators(self) -> tuple[Part, ...]:
        """Connectors that isolate an energy source."""
        return tuple(part for part in self.parts if part.isolates)
