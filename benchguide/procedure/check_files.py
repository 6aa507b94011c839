"""Checking whole files and folders, for the command line. The rules themselves are check.py."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from benchguide.procedure.check import RULES, check, check_device
from benchguide.procedure.problems import Problem, Severity
from benchguide.procedure.rules_reading import READING_RULES
from benchguide.procedure.shelf import DEVICE_SUFFIX, PROCEDURE_SUFFIX, Shelf


@dataclass(frozen=True, slots=True)
class Checked:
    """What checking some files brought."""

    problems: tuple[Problem, ...]
    unreadable: bool
    """True when a file could not be used at all (bad input)."""

    @property
    def worst(self) -> Severity | None:
        """The gravest severity found, or None."""
        found = {problem.severity for problem in self.problems}
        return next((severity for severity in Severity if severity in found), None)


def check_files(paths: Iterable[Path]) -> Checked:
    """Check part maps and procedures; folders are searched.

    Raises ValueError with one sentence for a path that is neither a folder nor one of the two kinds of file.
    """
    found: list[Problem] = []
    unreadable = False
    for path in paths:
        shelf, devices, procedures = _chosen(path)
        for device in (d for d in shelf.devices() if d.path in devices):
            found += device.problems or (check_device(device.loaded) if device.loaded else ())
            unreadable |= device.loaded is None
        for entry in (shelf.procedure_at(p) for p in procedures):
            if entry.loaded is None or entry.device is None:
                found += entry.problems
                unreadable = True
            else:
                found += check(entry.device, entry.loaded)
    return Checked(tuple(dict.fromkeys(found)), unreadable)


def _chosen(path: Path) -> tuple[Shelf, set[Path], list[Path]]:
    """The shelf to resolve names in, and the files of it that are meant."""
    if path.is_dir():
        shelf = Shelf((path,))
        if not shelf.device_paths and not shelf.procedure_paths:
            raise ValueError(f"{path} holds no {DEVICE_SUFFIX} and no {PROCEDURE_SUFFIX} file.")
        return shelf, set(shelf.device_paths), list(shelf.procedure_paths)
    if not path.exists():
        raise ValueError(f"{path} does not exist. Look at the name.")
    shelf = Shelf((path.parent,))
    if path.name.endswith(DEVICE_SUFFIX):
        return shelf, {path}, []
    if path.name.endswith(PROCEDURE_SUFFIX):
        return shelf, set(), [path]
    raise ValueError(
        f"{path} is neither a part map (*{DEVICE_SUFFIX}) nor a procedure (*{PROCEDURE_SUFFIX})."
    )


def rules_table(*, as_json: bool) -> str:
    """Every rule with its severity, sentence, reason and example."""
    rows = [
        {
            "rule": r.id,
            "severity": str(r.severity),
            "sentence": r.sentence,
            "reason": r.reason,
            "example": r.example,
        }
        for r in (*READING_RULES, *RULES)
    ]
    if as_json:
        return json.dumps(rows, indent=2, ensure_ascii=False)
    return "\n".join(
        f"{row['rule']}  ({row['severity']})\n    {row['sentence']}\n"
        f"    Why: {row['reason']}\n    Example: {row['example']}"
        for row in rows
    )
