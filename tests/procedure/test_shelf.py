"""The shelf finds files, reads lazily, and one bad file hides no other."""

from pathlib import Path

import pytest

from benchguide.procedure import shelf as shelf_module
from benchguide.procedure.shelf import Shelf
from tests.procedure.conftest import DEVICE, PROCEDURE


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a" / "jobs").mkdir(parents=True)
    (tmp_path / "a" / "dimmer.device.yaml").write_text(DEVICE, "utf-8")
    (tmp_path / "a" / "jobs" / "knob.procedure.yaml").write_text(PROCEDURE, "utf-8")
    (tmp_path / "a" / "notes.yaml").write_text("x", "utf-8")
    return tmp_path


def test_it_finds_and_joins(folder):
    shelf = Shelf([folder])
    (entry,) = shelf.procedures()
    assert entry.usable
    assert (entry.title, entry.device.model.id) == ("Replace the knob", "dimmer")
    assert shelf.procedure("dimmer-knob") is entry
    assert shelf.procedure("none") is None
    assert shelf.device("none") is None
    assert [e.title for e in shelf.devices()] == ["Dimmer for a reading lamp"]


def test_one_bad_file_hides_no_other(folder):
    (folder / "a" / "bad.procedure.yaml").write_text("- x", "utf-8")
    (folder / "bad.device.yaml").write_bytes(b"\xff\xfe")
    shelf = Shelf([folder])
    bad, good = shelf.procedures()
    assert good.usable
    assert not bad.usable
    assert (bad.title, bad.problems[0].rule) == ("bad.procedure.yaml", "not-a-group")
    assert [e.loaded is None for e in shelf.devices()] == [True, False]


def test_a_procedure_of_a_broken_part_map_says_so(folder):
    device = folder / "a" / "dimmer.device.yaml"
    device.write_text(DEVICE.replace("kind: loose", "kind: lose"), "utf-8")
    (entry,) = Shelf([folder]).procedures()
    (problem,) = entry.problems
    assert problem.rule == "broken-device"
    assert str(device) in problem.remedy


def test_a_procedure_without_its_part_map(folder):
    (folder / "a" / "dimmer.device.yaml").unlink()
    (entry,) = Shelf([folder]).procedures()
    assert [p.rule for p in entry.problems] == ["unknown-device"]


def test_two_part_maps_of_one_name(folder):
    (folder / "second.device.yaml").write_text(DEVICE, "utf-8")
    good, double = sorted(Shelf([folder]).devices(), key=lambda e: e.loaded is None)
    assert good.loaded is not None
    assert double.problems[0].rule == "double-device"


def test_it_reads_only_what_is_asked_for(folder, monkeypatch):
    read: list[Path] = []
    real = shelf_module.load_device
    monkeypatch.setattr(shelf_module, "load_device", lambda path: read.append(path) or real(path))
    (folder / "other.device.yaml").write_text(DEVICE.replace("id: dimmer", "id: other"), "utf-8")
    shelf = Shelf([folder])
    assert read == []
    assert shelf.device("dimmer") is shelf.device("dimmer")
    assert [path.name for path in read] == ["dimmer.device.yaml"]


def test_folders_that_do_not_exist_are_empty(tmp_path):
    shelf = Shelf([tmp_path / "none"])
    assert shelf.devices() == ()
    assert shelf.procedures() == ()


def test_a_link_that_leads_back_does_not_trap(folder):
    (folder / "a" / "again").symlink_to(folder, target_is_directory=True)
    assert len(Shelf([folder]).procedure_paths) == 1
