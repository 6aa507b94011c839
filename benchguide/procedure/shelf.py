"""The part maps and procedures in some folders, read when asked for and kept; it watches nothing.

A file that cannot be read stays on the shelf with its problems and hides no other.
"""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded, load_device, load_procedure
from benchguide.procedure.problems import BadFile, Problem, Severity
from benchguide.procedure.procedure import Procedure

DEVICE_SUFFIX = ".device.yaml"
PROCEDURE_SUFFIX = ".procedure.yaml"
#: folders this deep below the given ones are not looked into
_DEEPEST = 8
_MOST_FILES = 10_000


@dataclass(frozen=True)
class DeviceEntry:
    """One part map on the shelf."""

    path: Path
    loaded: Loaded[DeviceMap] | None
    problems: tuple[Problem, ...] = ()

    @property
    def title(self) -> str:
        """Its name, or the file name when it cannot be read."""
        return self.loaded.model.name if self.loaded else self.path.name


@dataclass(frozen=True)
class ProcedureEntry:
    """One procedure on the shelf, with the part map it belongs to."""

    path: Path
    loaded: Loaded[Procedure] | None
    device: Loaded[DeviceMap] | None
    problems: tuple[Problem, ...] = ()

    @property
    def title(self) -> str:
        """Its title, or the file name when it cannot be read."""
        return self.loaded.model.title if self.loaded else self.path.name

    @property
    def usable(self) -> bool:
        """True when the procedure and its part map could be read."""
        return self.loaded is not None and self.device is not None


class Shelf:
    """All part maps and procedures below some folders. Make a new one to see changed files."""

    def __init__(self, folders: Iterator[Path] | list[Path] | tuple[Path, ...]) -> None:
        self.folders = tuple(Path(folder) for folder in folders)
        self._devices: dict[Path, DeviceEntry] = {}
        self._procedures: dict[Path, ProcedureEntry] = {}

    @cached_property
    def device_paths(self) -> tuple[Path, ...]:
        """Part map files, sorted within each folder. Reads no file."""
        return tuple(path for path in self._paths if path.name.endswith(DEVICE_SUFFIX))

    @cached_property
    def procedure_paths(self) -> tuple[Path, ...]:
        """Procedure files, sorted within each folder. Reads no file."""
        return tuple(path for path in self._paths if path.name.endswith(PROCEDURE_SUFFIX))

    @cached_property
    def _paths(self) -> tuple[Path, ...]:
        found: dict[Path, None] = {}
        for folder in self.folders:
            for path in _files(folder):
                if path.name.endswith((DEVICE_SUFFIX, PROCEDURE_SUFFIX)) and len(found) < _MOST_FILES:
                    found[path] = None
        return tuple(found)

    def devices(self) -> tuple[DeviceEntry, ...]:
        """Every part map, the ones with problems too. A name used twice is a problem of the second file."""
        entries = [self._device_at(path) for path in self.device_paths]
        first: dict[str, Path] = {}
        for number, entry in enumerate(entries):
            if entry.loaded is None:
                continue
            name = entry.loaded.model.id
            if name in first:
                entries[number] = _double(entry, name, first[name])
            else:
                first[name] = entry.path
        return tuple(entries)

    def device(self, name: str) -> Loaded[DeviceMap] | None:
        """The part map of a device by its short name; reads the file of that name before the others."""
        likely = [path for path in self.device_paths if path.name == name + DEVICE_SUFFIX]
        for path in (*likely, *self.device_paths):
            loaded = self._device_at(path).loaded
            if loaded is not None and loaded.model.id == name:
                return loaded
        return None

    def procedures(self) -> tuple[ProcedureEntry, ...]:
        """Every procedure, the ones with problems too."""
        return tuple(self.procedure_at(path) for path in self.procedure_paths)

    def procedure(self, name: str) -> ProcedureEntry | None:
        """A procedure by its short name; tries the file of that name first. None when there is none."""
        likely = [path for path in self.procedure_paths if path.name == name + PROCEDURE_SUFFIX]
        for path in (*likely, *self.procedure_paths):
            entry = self.procedure_at(path)
            if entry.loaded is not None and entry.loaded.model.id == name:
                return entry
        return None

    def procedure_at(self, path: Path) -> ProcedureEntry:
        """The procedure in one file, which need not be below the folders."""
        if path not in self._procedures:
            self._procedures[path] = self._read_procedure(path)
        return self._procedures[path]

    def _read_procedure(self, path: Path) -> ProcedureEntry:
        try:
            loaded = load_procedure(path, _Devices(self))
        except BadFile as bad:
            return ProcedureEntry(path, None, None, tuple(self._explained(p) for p in bad.problems))
        return ProcedureEntry(path, loaded, self.device(loaded.model.device))

    def _explained(self, problem: Problem) -> Problem:
        """A device that is not found because its file is broken is said to be so."""
        if problem.rule != "unknown-device":
            return problem
        wanted = problem.value.strip("`") + DEVICE_SUFFIX
        broken = [p for p in self.device_paths if p.name == wanted and self._device_at(p).loaded is None]
        if not broken:
            return problem
        return Problem(
            problem.file, problem.line, problem.column, problem.severity, "broken-device", problem.value,
            "the part map of this device has errors of its own", f"Mend {broken[0]} first.",
        )  # fmt: skip

    def _device_at(self, path: Path) -> DeviceEntry:
        if path not in self._devices:
            try:
                self._devices[path] = DeviceEntry(path, load_device(path))
            except BadFile as bad:
                self._devices[path] = DeviceEntry(path, None, bad.problems)
        return self._devices[path]


class _Devices(Mapping[str, DeviceMap]):
    """The shelf's part maps by short name, each read only when it is asked for."""

    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf

    def __getitem__(self, name: str) -> DeviceMap:
        loaded = self._shelf.device(name)
        if loaded is None:
            raise KeyError(name)
        return loaded.model

    def __iter__(self) -> Iterator[str]:
        return iter({e.loaded.model.id: None for e in self._shelf.devices() if e.loaded})

    def __len__(self) -> int:
        return sum(1 for _ in self)


def _files(folder: Path) -> Iterator[Path]:
    """Files below a folder, sorted, without following links to folders."""
    for where, inner, names in os.walk(folder):
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        if len(Path(where).relative_to(folder).parts) >= _DEEPEST:
            inner.clear()
        yield from (Path(where) / name for name in sorted(names))


def _double(entry: DeviceEntry, name: str, first: Path) -> DeviceEntry:
    line, column = entry.loaded.where("id") if entry.loaded else (1, 1)
    problem = Problem(
        str(entry.path), line, column, Severity.ERROR, "double-device", f"`{name}`",
        f"{first} has the same name", "Rename one of the two.",
    )  # fmt: skip
    return DeviceEntry(entry.path, None, (problem,))
