"""Part map and procedure files into models. All errors of a file at once, with line, column and remedy.

Raises BadFile and nothing else for anything a file can hold. What follows from a sound file (the order of the
steps, cautions, times) is check.py; finding files in folders is shelf.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.generate import CannotGenerate, Generated, generate
from benchguide.procedure.loader_links import device_problems, procedure_problems
from benchguide.procedure.loader_words import problems_of
from benchguide.procedure.loader_yaml import MAX_BYTES, Spot, read_text, read_tree, too_big
from benchguide.procedure.planner_why import CannotReach
from benchguide.procedure.problems import MAX_PROBLEMS, BadFile, Problem, Severity, did_you_mean, shown
from benchguide.procedure.procedure import Procedure

M = TypeVar("M", bound=BaseModel)

_TAGS: dict[type[BaseModel], str] = {DeviceMap: "device", Procedure: "procedure"}
_KINDS = {"device": "part map", "procedure": "procedure"}
_VERSION = 1


@dataclass(frozen=True)
class Loaded(Generic[M]):
    """A model together with the file it came from."""

    model: M
    path: Path
    spots: Spot
    generated: Generated | None = None
    """For a procedure whose steps were made from the part map: what it was made from."""

    def where(self, *keys: str | int) -> tuple[int, int]:
        """Line and column, from 1, of the value reached by `keys`: `where("steps", 3, "parts", 0)`.

        A value that is not written in the file is answered with the nearest group round it; a value that came
        from the part map with the target of the procedure. `source` tells where it stands in the part map.
        """
        in_map, keys = self.source(*keys)
        spot = self.spots.find(("target",) if in_map else keys)
        return spot.line, spot.column

    def source(self, *keys: str | int) -> tuple[bool, tuple[str | int, ...]]:
        """The keys under which the value reached by `keys` is written, and True when that is in the part map.

        For a file whose steps are written out, and for a part map, these are False and the keys themselves.
        """
        if self.generated is None:
            return False, keys
        found = self.generated.source(keys)
        return found.in_map, found.keys

    def place(self, device: Loaded[DeviceMap], *keys: str | int) -> tuple[Path, int, int]:
        """File, line and column of the value reached by `keys`, in the part map when it came from there."""
        in_map, keys = self.source(*keys)
        file: Loaded[DeviceMap] | Loaded[M] = device if in_map else self
        spot = file.spots.find(keys)
        return file.path, spot.line, spot.column


def load_device(path: Path | str) -> Loaded[DeviceMap]:
    """Read a part map. Raises BadFile with every problem of the file."""
    return load_device_text(_read(Path(path)), Path(path))


def load_procedure(path: Path | str, devices: Mapping[str, DeviceMap] | None) -> Loaded[Procedure]:
    """Read a procedure; with `devices` its names are checked against its part map. Raises BadFile."""
    return load_procedure_text(_read(Path(path)), Path(path), devices)


def load_device_text(data: bytes | str, path: Path = Path("part map")) -> Loaded[DeviceMap]:
    """Like load_device, for a text that has been read already; `path` is only named."""
    tree, spots, problems = _tree(data, path)
    problems += _tag_problems(tree, spots, DeviceMap, path)
    problems += device_problems(tree, spots, str(path))
    return _model(DeviceMap, tree, spots, problems, path)


def load_procedure_text(
    data: bytes | str, path: Path = Path("procedure"), devices: Mapping[str, DeviceMap] | None = None
) -> Loaded[Procedure]:
    """Like load_procedure, for a text that has been read already; `path` is only named."""
    tree, spots, problems = _tree(data, path)
    problems += _tag_problems(tree, spots, Procedure, path)
    problems += procedure_problems(tree, spots, str(path), devices)
    loaded = _model(Procedure, tree, spots, problems, path)
    if devices is not None and not loaded.model.steps:
        loaded = _with_steps(loaded, devices[loaded.model.device])
    waits = wait_problems(loaded)
    if waits:
        raise BadFile(_in_order(waits))
    return loaded


def _with_steps(loaded: Loaded[Procedure], device: DeviceMap) -> Loaded[Procedure]:
    """The procedure with its steps made from the part map. Raises BadFile."""
    file = str(loaded.path)
    try:
        generated = generate(device, loaded.model)
    except CannotReach as error:
        keys = _forbidding(loaded.model, error)
        told = shown(error.part)
        remedies = {"target": "Delete it from `keep`.", "loop": "Mend the part map first."}
        remedy = remedies.get(error.rule, "Delete it from `keep`, or name another target.")
        message = f"the target cannot be reached (rule `{error.rule}`): {str(error).rstrip('.')}"
        problem = Problem(file, *loaded.where(*keys), Severity.ERROR, "cannot-reach", told, message, remedy)
        raise BadFile([problem]) from None
    except CannotGenerate as error:
        raise BadFile(
            Problem(file, *loaded.where(*keys), Severity.ERROR, "not-on-the-way", "", message, remedy)
            for keys, message, remedy in error.problems
        ) from None
    return Loaded(generated.procedure, loaded.path, loaded.spots, generated)


def _forbidding(procedure: Procedure, error: CannotReach) -> tuple[str | int, ...]:
    """Where the procedure says that the part has to stay, else its target."""
    if error.part in procedure.keep:
        return "keep", procedure.keep.index(error.part)
    return ("target",)


def wait_problems(loaded: Loaded[Procedure]) -> list[Problem]:
    """Steps that wait for the countdown of a step that has none, or that comes later."""
    found = []
    started: dict[str, bool] = {}
    for number, step in enumerate(loaded.model.steps):
        if step.after_wait is not None and not started.get(step.after_wait, False):
            known = [name for name, waits in started.items() if waits]
            none = "No step before this one starts a countdown; delete the key."
            remedy = did_you_mean(
                step.after_wait, known, f"Name one of: {', '.join(known[:5])}." if known else none
            )
            message = "no earlier step of this name starts a countdown"
            if loaded.source("steps", number, "after_wait")[0]:
                message += f"; the part map asks for it at `{', '.join(step.parts)}`"
            where = loaded.where("steps", number, "after_wait")
            told = shown(step.after_wait)
            found.append(
                Problem(str(loaded.path), *where, Severity.ERROR, "unknown-wait", told, message, remedy)
            )
        started[step.id] = step.wait is not None
    return found


def dump_json(model: BaseModel) -> str:
    """A model as JSON text without the values that are defaults; read it again with load_*_json."""
    return model.model_dump_json(exclude_defaults=True)


def load_device_json(text: str | bytes, name: str = "part map") -> DeviceMap:
    """The part map kept with a stored session, from the text dump_json made. Raises BadFile."""
    return _from_json(DeviceMap, text, name)


def load_procedure_json(text: str | bytes, name: str = "procedure") -> Procedure:
    """The procedure kept with a stored session, from the text dump_json made. Raises BadFile."""
    return _from_json(Procedure, text, name)


def _from_json(model: type[M], text: str | bytes, name: str) -> M:
    try:
        return model.model_validate_json(text)
    except ValidationError as error:
        if any(item["type"] == "json_invalid" for item in error.errors(include_url=False)):
            message, remedy = "the stored text is not JSON", "The record is damaged; restore it from a copy."
            problem = Problem(name, 1, 1, Severity.ERROR, "json", "", message, remedy)
            raise BadFile([problem]) from None
        raise BadFile(problems_of(error, model, Spot(1, 1), name)) from None


def _read(path: Path) -> bytes:
    """The bytes of a file, never more than one over the limit."""
    try:
        # a pipe or a device would wait or never end
        if path.exists() and not path.is_file() and not path.is_dir():
            raise OSError(0, "it is not an ordinary file")
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        remedy = "Look at the name, and whether you may read the file."
        if isinstance(error, IsADirectoryError):
            remedy = "Name a file in this folder."
        problem = Problem(
            str(path), 1, 1, Severity.ERROR, "unreadable", "", f"the file cannot be read: {reason}", remedy
        )
        raise BadFile([problem]) from None


def _tree(data: bytes | str, path: Path) -> tuple[dict[str, Any], Spot, list[Problem]]:
    file = str(path)
    if isinstance(data, str):
        data = data.encode("utf-8", "surrogatepass")
    if len(data) > MAX_BYTES:
        raise BadFile([too_big(file)])
    tree, spots, problems = read_tree(read_text(data, file), file)
    if not isinstance(tree, dict):
        message = "the file must begin with keys at the left margin"
        remedy = "Begin with `benchguide: device/1` or `benchguide: procedure/1`."
        problem = Problem(
            file, spots.line, spots.column, Severity.ERROR, "not-a-group", shown(tree), message, remedy
        )
        raise BadFile([problem, *problems])
    return tree, spots, problems


def _tag_problems(tree: dict[str, Any], spots: Spot, model: type[BaseModel], path: Path) -> list[Problem]:
    """Raises BadFile at once for another kind of file or a newer version: the rest would be noise."""
    kind = _TAGS[model]
    tag = tree.get("benchguide")
    if tag is None or tag == f"{kind}/{_VERSION}":
        return []
    spot = spots.find(("benchguide",))
    name, _, version = tag.partition("/") if isinstance(tag, str) else ("", "", "")
    if (
        name == kind
        and version.isascii()
        and version.isdigit()
        and len(version) < 10
        and int(version) > _VERSION
    ):
        message = f"the file is newer than this program, which understands {kind}/{_VERSION}"
        rule, remedy = "newer-version", "Update Benchguide, or ask for the file in the older form."
    elif name in _KINDS and name != kind:
        message = f"this is a {_KINDS[name]}, not a {_KINDS[kind]}"
        rule, remedy = "wrong-kind", f"Name a file that begins with `benchguide: {kind}/{_VERSION}`."
    else:
        message = "the kind and version of the file are not known"
        rule, remedy = "wrong-kind", f"Write `benchguide: {kind}/{_VERSION}`."
    raise BadFile(
        [Problem(str(path), spot.line, spot.column, Severity.ERROR, rule, shown(tag), message, remedy)]
    )


def _model(
    model: type[M], tree: dict[str, Any], spots: Spot, problems: list[Problem], path: Path
) -> Loaded[M]:
    found: M | None = None
    try:
        found = model.model_validate(tree)
    except ValidationError as error:
        problems = problems + problems_of(error, model, spots, str(path))
    if problems or found is None:
        raise BadFile(_in_order(problems))
    return Loaded(found, path, spots)


def _in_order(problems: list[Problem]) -> list[Problem]:
    """By line, each once, and not without end."""
    ordered = sorted(dict.fromkeys(problems), key=lambda p: (p.line, p.column))
    if len(ordered) <= MAX_PROBLEMS:
        return ordered
    last = ordered[MAX_PROBLEMS - 1]
    rest = len(ordered) - MAX_PROBLEMS + 1
    message, remedy = f"there are at least {rest} more problems below", "Mend these first and check again."
    ordered[MAX_PROBLEMS - 1 :] = [
        Problem(last.file, last.line, last.column, Severity.ERROR, "many-more", "", message, remedy)
    ]
    return ordered
