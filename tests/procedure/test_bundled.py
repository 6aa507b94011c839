"""Every bundled part map and procedure loads and passes the checker without errors or warnings."""

from pathlib import Path

import pytest

from benchguide.procedure.check import check
from benchguide.procedure.problems import Severity
from benchguide.procedure.shelf import Shelf

SHELF = Shelf([Path(__file__).parents[2] / "procedures"])


def test_there_are_bundled_files():
    assert SHELF.device_paths
    assert SHELF.procedure_paths


@pytest.mark.parametrize("path", SHELF.device_paths, ids=lambda path: path.name)
def test_part_map(path):
    (entry,) = [e for e in SHELF.devices() if e.path == path]
    assert [str(problem) for problem in entry.problems] == []


@pytest.mark.parametrize("path", SHELF.procedure_paths, ids=lambda path: path.name)
def test_procedure(path):
    entry = SHELF.procedure_at(path)
    assert [str(problem) for problem in entry.problems] == []
    assert entry.device is not None
    found = [p for p in check(entry.device, entry.loaded) if p.severity is not Severity.ADVICE]
    assert [f"{p.rule}: {p}" for p in found] == []
