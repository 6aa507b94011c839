"""Turns a procedure that names its target into one with every step written out, to be edited by hand.

Comments tell where each step came from. It makes no steps: that is generate.py. Loading what it writes gives the same
steps, which it proves by loading it before it hands it over.
"""

import io
from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any

from benchguide.procedure.basis import Plain
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded, load_procedure_text
from benchguide.procedure.loader_yaml import is_text
from benchguide.procedure.made import Made, Source
from benchguide.procedure.planner_why import one_line
from benchguide.procedure.problems import BadFile
from benchguide.procedure.procedure import Procedure
from benchguide.procedure.shelf import Shelf
from benchguide.procedure.words import Stage

_WIDTH = 110
_TOP = (
    "benchguide", "id", "title", "device", "revision", "about", "target", "tools", "supplies", "consumables",
    "cautions", "keep",
)  # fmt: skip
_STEP = (
    "id", "stage", "action", "parts", "cautions", "text", "key_point", "reason", "tool", "face", "wait", "reading",
    "lines", "before_seal", "seals", "as_found", "as_left", "after_wait", "time_s",
)  # fmt: skip
#: written on one line, as in the bundled files
_ON_ONE_LINE = frozenset({"parts", "tools", "keep", "time_s", "wait", "reading"})
#: lists with an empty line before them
_AIRED = frozenset({"tools", "supplies", "consumables", "cautions", "keep", "steps"})
#: lists whose entries are written on one line each
_ENTRIES_ON_ONE_LINE = frozenset({"lines", "supplies", "consumables"})


def write_out(path: Path, out: Path | None = None) -> str:
    """The text of the procedure at `path`, written out; with `out` it is also kept in that new file.

    Raises BadFile when the procedure cannot be read, ValueError with one sentence when its steps are written out
    already or `out` exists, OSError when `out` cannot be written.
    """
    entry = Shelf((path.parent,)).procedure_at(path)
    if entry.loaded is None or entry.device is None:
        raise BadFile(entry.problems)
    text = write_out_text(entry.device, entry.loaded)
    if out is not None:
        try:
            with out.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
        except FileExistsError:
            raise ValueError(f"{out} is there already and is left as it is. Name another file.") from None
    return text


def write_out_text(device: Loaded[DeviceMap], procedure: Loaded[Procedure]) -> str:
    """The YAML text of a generated procedure with every step in it. Raises ValueError, see write_out."""
    if procedure.generated is None:
        raise ValueError(f"{procedure.path}: the steps are written out already. Edit the file as it is.")
    for careful in (False, True):
        text = _text(device, procedure, procedure.generated.made, careful)
        # the writer leaves spaces at the ends of folded lines, which mean nothing in most texts
        tidy = "\n".join(line.rstrip(" ") for line in text.split("\n"))
        for candidate in (tidy, text):
            if _same(candidate, procedure.model, device.model):
                return candidate
    raise AssertionError("the written-out file does not give the same steps")


def _same(text: str, model: Procedure, device: DeviceMap) -> bool:
    try:
        again = load_procedure_text(text, Path("written out"), {device.id: device}).model
    except BadFile:
        return False
    # a time that is assumed must not become one that is stated
    timed = [["time_s" in step.model_fields_set for step in job.steps] for job in (again, model)]
    return again == model and timed[0] == timed[1]


def _text(
    device: Loaded[DeviceMap], procedure: Loaded[Procedure], made: tuple[Made, ...], careful: bool
) -> str:
    from ruamel.yaml import YAML
    from ruamel.yaml.comments import CommentedMap, CommentedSeq

    yaml = YAML()
    yaml.width = _WIDTH
    yaml.indent(mapping=2, sequence=4, offset=2)
    top = CommentedMap(_values(procedure.model, _TOP, careful))
    steps = CommentedSeq(CommentedMap(_values(m.step, _STEP, careful)) for m in made)
    top["steps"] = steps
    top.yaml_set_start_comment("\n".join(_head(device, procedure, len(made))))
    stage: Stage | None = None
    for number, m in enumerate(made):
        lines = list(_origin(m, device, procedure))
        if m.step.stage is not stage:
            stage = m.step.stage
            lines.insert(0, f"{'-' * 60} {stage.value}")
        steps.yaml_set_comment_before_after_key(number, before="\n".join(lines), indent=2)
    stream = io.StringIO()
    yaml.dump(top, stream)
    return _aired(stream.getvalue())


def _aired(text: str) -> str:
    """An empty line before every step, and before each list at the top, as in the bundled files."""
    lines: list[str] = []
    in_steps = comment = False
    for line in text.split("\n"):
        begins = line.startswith(("  - ", "  #"))
        top = line[:1].isalpha() and line.split(":")[0] in _AIRED
        if (in_steps and begins and not comment and not lines[-1].startswith("steps:")) or (top and lines):
            lines.append("")
        comment = line.startswith("  #")
        in_steps = in_steps or line.startswith("steps:")
        lines.append(line)
    return "\n".join(lines)


def _head(device: Loaded[DeviceMap], procedure: Loaded[Procedure], count: int) -> Iterator[str]:
    yield f"Written out from {one_line(procedure.path.name)} and {one_line(device.path.name)}: all {count} steps."
    yield "From here on it is edited by itself: a change of the part map no longer changes these steps."
    yield "Give it another `id` if both files stay on one shelf."


def _origin(made: Made, device: Loaded[DeviceMap], procedure: Loaded[Procedure]) -> Iterator[str]:
    """Where the step came from, and which of its values came from elsewhere."""
    yield f"from {_place(made.source, device, procedure)}"
    other = [key for key, place in made.fields.items() if place.in_map is not made.source.in_map]
    if other:
        place = made.fields[other[0]]
        yield f"{', '.join(other)}: {_place(place, device, procedure)}"


def _place(source: Source, device: Loaded[DeviceMap], procedure: Loaded[Procedure]) -> str:
    if source.in_map:
        line, _ = device.where(*source.keys)
        part = device.model.parts[int(source.keys[1])].id
        return f"part map, line {line} ({part})"
    spot = procedure.spots.find(source.keys)
    if source.keys == ("target",):
        return "Benchguide itself, for every job"
    return f"{one_line(procedure.path.name)}, line {spot.line}"


def _values(model: Plain, keys: tuple[str, ...], careful: bool) -> dict[str, Any]:
    """Values that were set, in the order of `keys`, as YAML nodes."""
    found: dict[str, Any] = {}
    for key in keys:
        if key not in model.model_fields_set:
            continue
        value = getattr(model, key)
        if value is None or value == ():
            continue
        if value == type(model).model_fields[key].default and key not in ("time_s", "revision", "count"):
            continue
        found[key] = _node(value, key, careful)
    return found


def _node(value: Any, key: str, careful: bool) -> Any:
    from ruamel.yaml.comments import CommentedMap, CommentedSeq
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    node: Any
    if isinstance(value, Enum):
        value = value.value
    if isinstance(value, str):
        return DoubleQuotedScalarString(value) if careful or not is_text(value) else value
    if isinstance(value, Plain):
        node = CommentedMap(_values(value, tuple(type(value).model_fields), careful))
    elif isinstance(value, tuple):
        node = CommentedSeq(_node(item, "", careful) for item in value)
        if key in _ENTRIES_ON_ONE_LINE:
            for item in node:
                item.fa.set_flow_style()
    elif isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    else:
        return value
    if key in _ON_ONE_LINE:
        node.fa.set_flow_style()
    return node
