"""One step made from the part map and from what a job says of the part, with the places its values came from.

Knows one part at a time. Public functions for single parts are part_steps.py, whole jobs generate.py.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Any
from zlib import crc32

from benchguide.procedure.basis import Plain
from benchguide.procedure.device import BARE_HANDS, DeviceMap, Part
from benchguide.procedure.planner_why import called
from benchguide.procedure.procedure import Step
from benchguide.procedure.special import Special, Wording
from benchguide.procedure.task import PartWork
from benchguide.procedure.words import ANSWER, REMOVAL_OF, Action, PartKind, Stage

Keys = tuple[str | int, ...]
MAX_TEXT = 600
_MAX_ID = 64

#: kinds that are put back with the tool that took them off
_SAME_TOOL = frozenset({PartKind.SCREWS, PartKind.CONNECTOR, PartKind.LOOSE})


@dataclass(frozen=True, slots=True)
class Source:
    """A place in one of the two files of a job."""

    in_map: bool
    """True for the part map, False for the procedure."""
    keys: Keys


@dataclass(frozen=True, slots=True)
class Made:
    """A step and where it came from: as a whole, and key by key where that is another place (`wait.limit_c` is a key
    inside another one)."""

    step: Step
    source: Source
    fields: Mapping[str, Source] = field(default_factory=dict)

    def where(self, keys: Keys) -> Source:
        """The place of the value that `keys` lead to inside the step."""
        if not keys:
            return self.source
        inner = self.fields.get(".".join(map(str, keys[:2]))) if len(keys) > 1 else None
        if inner is not None:
            return Source(inner.in_map, (*inner.keys, *keys[2:]))
        found = self.fields.get(str(keys[0]))
        return self.source if found is None else Source(found.in_map, (*found.keys, *keys[1:]))


#: gives a wished name of a step, or a free one like it
Namer = Callable[[str], str]


class Names:
    """Gives out step names, none twice."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        self._taken = set(taken)
        self._last: dict[str, int] = {}

    def __call__(self, wished: str) -> str:
        """The name itself, cut when it is too long, with a number behind it when it is taken."""
        if len(wished) > _MAX_ID - 6:
            wished = f"{wished[: _MAX_ID - 15]}-{crc32(wished.encode()):08x}"
        name, number = wished, self._last.get(wished, 1)
        while name in self._taken:
            number += 1
            name = f"{wished}-{number}"
        self._last[wished] = number
        self._taken.add(name)
        return name


def in_map(device: DeviceMap, part: Part, *keys: str | int) -> Source:
    """A place at a part of the part map."""
    return Source(True, ("parts", device.number_of[part.id], *keys))


@dataclass(frozen=True, slots=True)
class At:
    """What a job says of one part, with its number in the list."""

    number: int
    special: Special


def given(model: Plain) -> dict[str, Any]:
    """The values that were written, without those that are missing."""
    return {key: value for key in model.model_fields_set if (value := getattr(model, key)) is not None}


def made_work(
    device: DeviceMap,
    part: Part,
    work: PartWork,
    source: Source,
    names: Namer,
    stage: Stage,
    way: str,
) -> Made:
    """A piece of work at a part as a step; `way` is `in` or `back`."""
    name = names(f"{way}-{part.id}-{work.action}")
    step = Step(id=name, stage=stage, parts=(part.id,), **given(work))
    fields = {key: Source(source.in_map, (*source.keys, key)) for key in work.model_fields_set}
    return Made(step, source, fields)


def _own_work(part: Part, key: str) -> Sequence[PartWork]:
    """The part map's work, and for a bond of which it says nothing what every bond needs."""
    own: Sequence[PartWork] = getattr(part, key)
    if own or key != "before_on" or part.kind is not PartKind.BOND:
        return own
    # common practice: an old bond never holds twice
    text = f"Take what is left of {called(part)} off. Clean both faces. Let them dry."
    reason = "New adhesive holds on clean and dry faces only."
    return (PartWork(action=Action.WORK, text=text, reason=reason, time_s=(60, 300)),)


def made_works(
    device: DeviceMap, part: Part, key: str, at: At | None, names: Namer, stage: Stage, way: str
) -> list[Made]:
    """Work listed under `key`: the part map's unless the job leaves it out, and the job's round it."""
    own = _own_work(part, key) if at is None or key not in at.special.without else ()
    mine = [
        made_work(device, part, work, in_map(device, part, key, n), names, stage, way)
        for n, work in enumerate(own)
    ]
    if at is None:
        return mine
    theirs = [
        made_work(device, part, work, Source(False, ("at", at.number, key, n)), names, stage, way)
        for n, work in enumerate(getattr(at.special, key))
    ]
    return theirs + mine if key.startswith("before") else mine + theirs


def made_move(
    device: DeviceMap,
    part: Part,
    at: At | None,
    names: Namer,
    stage: Stage,
    *,
    removal: bool,
    pieces: int | None = None,
    cell: str | None = None,
) -> Made:
    """The step that takes a part off or puts it back, in the part map's words or the job's."""
    values, keys = _removal_values(device, part) if removal else _refit_values(device, part)
    if pieces is not None and pieces < part.pieces:
        _of_some(values, part, pieces, removal)
    if cell and cell != part.cell and len(values["text"]) < MAX_TEXT - 40:
        values["text"] = f"{values['text']} It lies in cell {cell}."
    fields = {key: in_map(device, part, where) for key, where in keys.items() if key in values}
    side = "off" if removal else "on"
    wording = getattr(at.special, side) if at else None
    if at and wording is not None:
        _reword(values, fields, wording, ("at", at.number, side))
    action = REMOVAL_OF[part.kind] if removal else ANSWER[REMOVAL_OF[part.kind]]
    name = names(f"{'in' if removal else 'back'}-{part.id}")
    step = Step(id=name, stage=stage, action=action, parts=(part.id,), **values)
    return Made(step, in_map(device, part), fields)


def _reword(values: dict[str, Any], fields: dict[str, Source], wording: Wording, keys: Keys) -> None:
    for key, value in given(wording).items():
        values[key] = (*values.get(key, ()), *value) if key == "cautions" else value
        fields[key] = Source(False, (*keys, key))


def _removal_values(device: DeviceMap, part: Part) -> tuple[dict[str, Any], dict[str, str]]:
    values = {
        "text": part.off_text or _plain_text(part, removal=True),
        "key_point": part.key_point,
        "reason": part.reason,
        "tool": part.tool,
        "time_s": _ordered(part.off_s),
    }
    keys = {
        "text": "off_text",
        "key_point": "key_point",
        "reason": "reason",
        "tool": "tool",
        "time_s": "off_s",
    }
    return {key: value for key, value in values.items() if value is not None}, keys


def _refit_values(device: DeviceMap, part: Part) -> tuple[dict[str, Any], dict[str, str]]:
    like_off = part.on_key_point is None and part.kind is PartKind.SCREWS
    tool = part.on_tool or (part.tool if part.kind in _SAME_TOOL else None)
    values = {
        "text": part.on_text or _plain_text(part, removal=False),
        "key_point": part.key_point if like_off else part.on_key_point,
        "reason": part.reason if like_off and part.on_reason is None else part.on_reason,
        "tool": None if tool == BARE_HANDS else tool,
        "cautions": part.on_cautions or None,
        "time_s": _ordered(part.on_s),
    }
    keys = {
        "text": "on_text",
        "key_point": "key_point" if like_off else "on_key_point",
        "reason": "reason" if like_off and part.on_reason is None else "on_reason",
        "tool": "on_tool" if part.on_tool else "tool",
        "cautions": "on_cautions",
        "time_s": "on_s",
    }
    return {key: value for key, value in values.items() if value is not None}, keys


def _ordered(time: tuple[int, int] | None) -> tuple[int, int] | None:
    # the part map may still hold the longer time first, which the checker tells at its line
    return None if time is None else (min(time), max(time))


_PLAIN: dict[Action, str] = {
    Action.OFF: "Take {} off.",
    Action.ON: "Put {} back.",
    Action.OPEN: "Open {}.",
    Action.CLOSE: "Close {}.",
    Action.LIFT: "Lift {} off.",
    Action.FIT: "Fit {}.",
}


def _plain_text(part: Part, *, removal: bool) -> str:
    """An instruction for a part whose map has none."""
    off = REMOVAL_OF[part.kind]
    name = called(part)
    if part.once and not removal:
        return f"Put a new one on: {name}."
    return _PLAIN[off if removal else ANSWER[off]].format(name)


def _of_some(values: dict[str, Any], part: Part, pieces: int, removal: bool) -> None:
    """Words and time for some of the pieces of a group only."""
    verb = "Take out" if removal else "Put back"
    values["text"] = f"{verb} {pieces} of the {part.pieces} pieces of {called(part)}."
    if "time_s" in values:
        values["time_s"] = tuple(ceil(seconds * pieces / part.pieces) for seconds in values["time_s"])


def led(made: list[Made], lead: str) -> list[Made]:
    """The steps with one more sentence ahead of the first, unless a job gives that step words of its own."""
    if not made or not lead:
        return made
    first = made[0]
    text = first.fields.get("text")
    if (text is not None and not text.in_map) or len(lead) + len(first.step.text) >= MAX_TEXT:
        return made
    step = first.step.model_copy(update={"text": f"{lead} {first.step.text}"})
    return [Made(step, first.source, first.fields), *made[1:]]
