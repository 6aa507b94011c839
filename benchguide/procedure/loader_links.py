"""Names that must lead somewhere: parts, tools, devices; loops, positions, actions that fit the part.

It looks at the plain values, not at the models, so that these errors are found together with the models' own.
Values of the wrong shape are passed over here: the models complain about them.
"""

from collections.abc import Iterator, Mapping
from typing import Any, TypeGuard

from benchguide.procedure.device import BARE_HANDS, DeviceMap
from benchguide.procedure.loader_yaml import Spot
from benchguide.procedure.order import loops
from benchguide.procedure.problems import MAX_PROBLEMS, Problem, Severity, did_you_mean, shown
from benchguide.procedure.procedure import SECTIONS
from benchguide.procedure.words import ANSWER, REFITS, REMOVAL_OF, REMOVALS, Action, PartKind

Keys = tuple[str | int, ...]


class _Notes:
    """Collects problems of one file by the keys of the value they belong to."""

    def __init__(self, spots: Spot, file: str) -> None:
        self.spots = spots
        self.file = file
        self.found: list[Problem] = []

    def add(self, keys: Keys, rule: str, value: object, message: str, remedy: str) -> None:
        """Note one problem; once there are MAX_PROBLEMS the rest is dropped."""
        if len(self.found) > MAX_PROBLEMS:
            return
        spot = self.spots.find(keys)
        told = "" if value is None else shown(value)
        self.found.append(
            Problem(self.file, spot.line, spot.column, Severity.ERROR, rule, told, message, remedy)
        )

    @property
    def full(self) -> bool:
        """True when further looking is of no use."""
        return len(self.found) > MAX_PROBLEMS

    def unknown(self, keys: Keys, name: str, what: str, known: Mapping[str, Any], otherwise: str) -> None:
        """Note `name` when it is not among `known`."""
        if name not in known and not self.full:
            rule = f"unknown-{what.replace(' ', '-')}"
            self.add(
                keys, rule, name, f"there is no {what} of this name", did_you_mean(name, known, otherwise)
            )


def _groups(owner: Mapping[str, Any], key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """The groups in a list, with their numbers."""
    value = owner.get(key)
    if isinstance(value, list):
        for number, item in enumerate(value):
            if isinstance(item, dict):
                yield number, item


def _names(owner: Mapping[str, Any], key: str) -> Iterator[tuple[int, str]]:
    """The texts in a list, with their numbers."""
    value = owner.get(key)
    if isinstance(value, list):
        for number, item in enumerate(value):
            if isinstance(item, str):
                yield number, item


def _ids(notes: _Notes, owner: Mapping[str, Any], key: str, what: str, prefix: Keys = ()) -> dict[str, int]:
    """Short names of a list of groups with their numbers; a second use of a name is a problem."""
    found: dict[str, int] = {}
    for number, item in _groups(owner, key):
        name = item.get("id")
        if not isinstance(name, str):
            continue
        if name in found:
            first = notes.spots.find((*prefix, key, found[name], "id")).line
            message = f"two {what}s have this name, the first in line {first}"
            notes.add((*prefix, key, number, "id"), f"double-{what}", name, message, "Rename one of the two.")
        found.setdefault(name, number)
    return found


def device_problems(tree: Mapping[str, Any], spots: Spot, file: str) -> list[Problem]:
    """Names, loops and positions of a part map."""
    notes = _Notes(spots, file)
    parts = _ids(notes, tree, "parts", "part")
    tools = _ids(notes, tree, "tools", "tool")
    size = _size(tree)
    for number, part in _groups(tree, "parts"):
        at: Keys = ("parts", number)
        for key in ("held_by", "under", "isolates"):
            for item, name in _names(part, key):
                notes.unknown((*at, key, item), name, "part", parts, "Add the part or correct the name.")
        for keys, tool in _part_tools(part):
            if not (keys == ("on_tool",) and tool == BARE_HANDS):
                notes.unknown((*at, *keys), tool, "tool", tools, "Add it under `tools` or correct the name.")
        exposed = _group(part, "stores").get("exposed_by")
        if isinstance(exposed, str):
            no_part = "Add the part or correct the name."
            notes.unknown((*at, "stores", "exposed_by"), exposed, "part", parts, no_part)
        if size:
            _positions(notes, at, part, size)
    _loops(notes, tree, parts)
    return notes.found


def _part_tools(part: Mapping[str, Any]) -> Iterator[tuple[Keys, str]]:
    """Every tool a part names, with its keys."""
    heat, stores = _group(part, "heat"), _group(part, "stores")
    single: list[tuple[Keys, object]] = [(("tool",), part.get("tool")), (("on_tool",), part.get("on_tool"))]
    single += [(("heat", key), heat.get(key)) for key in ("tool", "measured_with")]
    single.append((("stores", "tool"), stores.get("tool")))
    for owner, prefix, keys in (
        (part, (), ("before_off", "after_off", "before_on", "after_on")),
        (stores, ("stores",), ("before", "release", "after")),
    ):
        for key in keys:
            for number, work in _groups(owner, key):
                single.append(((*prefix, key, number, "tool"), work.get("tool")))
    for found, tool in single:
        if isinstance(tool, str):
            yield found, tool


def _group(owner: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = owner.get(key)
    return value if isinstance(value, dict) else {}


def _size(tree: Mapping[str, Any]) -> tuple[float, float] | None:
    outline = tree.get("outline")
    if not isinstance(outline, dict):
        return None
    width, height = outline.get("width_mm"), outline.get("height_mm")
    if not _number(width) or not _number(height):
        return None
    return width, height


def _number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _positions(notes: _Notes, at: Keys, part: Mapping[str, Any], size: tuple[float, float]) -> None:
    """Places, path and box must lie on the device."""
    for key in ("places", "path"):
        value = part.get(key)
        for number, point in enumerate(value if isinstance(value, list) else ()):
            if _numbers(point, 2) and not _inside(point[0], point[1], size):
                _outside(notes, (*at, key, number), f"{point[0]}, {point[1]}", size)
    box = part.get("box")
    if _numbers(box, 4) and not (
        _inside(box[0], box[1], size) and _inside(box[0] + box[2], box[1] + box[3], size)
    ):
        _outside(notes, (*at, "box"), ", ".join(str(n) for n in box), size)


def _numbers(value: Any, count: int) -> TypeGuard[list[float]]:
    return isinstance(value, list) and len(value) == count and all(_number(item) for item in value)


def _inside(x: float, y: float, size: tuple[float, float]) -> bool:
    # a hundredth of a millimetre for sums such as 0.1 + 0.2
    return -0.01 <= x <= size[0] + 0.01 and -0.01 <= y <= size[1] + 0.01


def _outside(notes: _Notes, keys: Keys, value: str, size: tuple[float, float]) -> None:
    message = f"this lies outside the device, which is {size[0]:g} x {size[1]:g} mm"
    notes.add(keys, "outside", value, message, "Correct the position or the `outline`; positions are in mm.")


def _loops(notes: _Notes, tree: Mapping[str, Any], parts: Mapping[str, int]) -> None:
    """`held_by` and `under` together must not lead back to the same part."""
    edges: dict[str, list[str]] = {}
    for _, part in _groups(tree, "parts"):
        name = part.get("id")
        if isinstance(name, str) and name not in edges:
            edges[name] = [other for key in ("held_by", "under") for _, other in _names(part, key)]
    for loop in loops(edges):
        first = parts[loop[0]]
        part = tree["parts"][first]
        following = loop[1] if len(loop) > 1 else loop[0]
        place = next(
            (key, item)
            for key in ("held_by", "under")
            for item, name in _names(part, key)
            if name == following
        )
        keys: Keys = ("parts", first, *place)
        if len(loop) == 1:
            notes.add(
                keys, "own-holder", loop[0], "a part cannot hold or cover itself", "Delete the name here."
            )
            continue
        lines = ", ".join(
            f"{name} (line {notes.spots.find(('parts', parts[name], 'id')).line})" for name in loop[:12]
        )
        more = ", …" if len(loop) > 12 else ""
        message = f"these parts wait for each other and none can come off first: {lines}{more}, {loop[0]}"
        notes.add(keys, "loop", None, message, "Delete one of these `held_by` or `under` names.")


def procedure_problems(
    tree: Mapping[str, Any], spots: Spot, file: str, devices: Mapping[str, DeviceMap] | None
) -> list[Problem]:
    """Names of a procedure; without `devices` only those that lead inside the file."""
    notes = _Notes(spots, file)
    _step_ids(notes, tree)
    for at, task in _tasks(tree):
        _ids(notes, task, "lines", "line", at)
        _twice(notes, (*at, "parts"), task)
    for at, work in _works(tree):
        _ids(notes, work, "lines", "line", at)
    _special_twice(notes, tree)
    name = tree.get("device")
    if devices is None or not isinstance(name, str):
        return notes.found
    notes.unknown(
        ("device",), name, "device", devices, f"Add the file {name}.device.yaml, or correct the name."
    )
    device = devices.get(name)
    if device is not None:
        _links(notes, tree, device)
    return notes.found


def _tasks(tree: Mapping[str, Any]) -> Iterator[tuple[Keys, dict[str, Any]]]:
    """Every step and every task of a procedure, with its keys."""
    for key in ("steps", *SECTIONS):
        for number, task in _groups(tree, key):
            yield (key, number), task


def _works(tree: Mapping[str, Any]) -> Iterator[tuple[Keys, dict[str, Any]]]:
    """Everything that is said of single parts, with its keys."""
    for number, special in _groups(tree, "at"):
        for key in ("off", "on"):
            value = special.get(key)
            if isinstance(value, dict):
                yield ("at", number, key), value
        for key in ("before_off", "after_off", "before_on", "after_on"):
            for item, work in _groups(special, key):
                yield ("at", number, key, item), work


def _step_ids(notes: _Notes, tree: Mapping[str, Any]) -> None:
    """No two steps or tasks of a procedure have one name, in whatever list they stand."""
    first: dict[str, Keys] = {}
    for at, task in _tasks(tree):
        name = task.get("id")
        if not isinstance(name, str):
            continue
        if name in first:
            line = notes.spots.find((*first[name], "id")).line
            message = f"two steps have this name, the first in line {line}"
            notes.add((*at, "id"), "double-step", name, message, "Rename one of the two.")
        first.setdefault(name, at)


def _special_twice(notes: _Notes, tree: Mapping[str, Any]) -> None:
    first: dict[str, int] = {}
    for number, special in _groups(tree, "at"):
        name = special.get("part")
        if isinstance(name, str):
            if name in first:
                line = notes.spots.find(("at", first[name], "part")).line
                message = f"this part has an entry already, in line {line}"
                notes.add(("at", number, "part"), "part-twice", name, message, "Make one entry of the two.")
            first.setdefault(name, number)


def _twice(notes: _Notes, at: Keys, step: Mapping[str, Any]) -> None:
    seen: set[str] = set()
    for number, name in _names(step, "parts"):
        if name in seen:
            notes.add(
                (*at, number), "part-twice", name, "the step names this part twice", "Delete one of the two."
            )
        seen.add(name)


def _links(notes: _Notes, tree: Mapping[str, Any], device: DeviceMap) -> None:
    parts, tools = device.by_id, device.tool_names
    no_part = f"Correct the name, or add the part to the part map of {device.id}."
    no_tool = f"Correct the name, or add the tool to the part map of {device.id}."
    target = tree.get("target")
    if isinstance(target, str):
        notes.unknown(("target",), target, "part", parts, no_part)
    for key in ("keep", "also"):
        for number, name in _names(tree, key):
            notes.unknown((key, number), name, "part", parts, no_part)
    for number, special in _groups(tree, "at"):
        at_part = special.get("part")
        if isinstance(at_part, str):
            notes.unknown(("at", number, "part"), at_part, "part", parts, no_part)
    for number, name in _names(tree, "tools"):
        notes.unknown(("tools", number), name, "tool", tools, no_tool)
    for at, task in (*_tasks(tree), *_works(tree)):
        tool = task.get("tool")
        if isinstance(tool, str):
            notes.unknown((*at, "tool"), tool, "tool", tools, no_tool)
        for item, name in _names(task, "parts"):
            notes.unknown((*at, "parts", item), name, "part", parts, no_part)
        _action(notes, at, task, device)


def _action(notes: _Notes, at: Keys, step: Mapping[str, Any], device: DeviceMap) -> None:
    """Screws, bonds and loose items come `off`, connectors `open`, covers, modules and cells `lift`."""
    word = step.get("action")
    # a list or a group here is told elsewhere
    if not isinstance(word, str) or (word not in REMOVALS and word not in REFITS):
        return
    action = Action(word)
    for _, name in _names(step, "parts"):
        part = device.by_id.get(name)
        if part is None:
            continue
        right = REMOVAL_OF[part.kind] if action in REMOVALS else ANSWER[REMOVAL_OF[part.kind]]
        if right is not action:
            what = part.kind.value if part.kind is not PartKind.LOOSE else "loose item"
            message = f"`{name}` is of kind {what} and cannot be moved with this action"
            notes.add((*at, "action"), "wrong-action", action.value, message, f"Write `{right.value}`.")
            return
