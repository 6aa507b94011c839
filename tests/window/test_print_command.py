"""Printing as people call it: by short name or by file, and one error for what is not there."""

from pathlib import Path

import pytest

from benchguide.bundled import procedures_folder
from benchguide.procedure.problems import BadFile
from benchguide.window.print_command import print_map_for, print_mat_for


def test_a_mat_by_short_name_and_by_file(tmp_path):
    said = print_mat_for(Path("gloamreed-tuning-wheel"), None, tmp_path / "a.pdf")
    assert "parts mat on A5" in said
    file = procedures_folder() / "gloamreed" / "tuning-wheel.procedure.yaml"
    print_mat_for(file, "Letter", tmp_path / "b.pdf")
    for name in ("a.pdf", "b.pdf"):
        assert (tmp_path / name).read_bytes().startswith(b"%PDF-")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.pdf", "b.pdf"]


def test_a_placemat_by_short_name_and_by_file(tmp_path):
    assert "placemat on" in print_map_for(Path("gloamreed"), "A4", tmp_path / "a.pdf")
    file = procedures_folder() / "gloamreed" / "gloamreed.device.yaml"
    print_map_for(file, "A5", tmp_path / "b.pdf")
    assert (tmp_path / "b.pdf").read_bytes().startswith(b"%PDF-")


def test_what_is_not_there_is_one_error(tmp_path):
    with pytest.raises((BadFile, OSError)):
        print_mat_for(tmp_path / "none.procedure.yaml", None, tmp_path / "a.pdf")
    with pytest.raises((BadFile, OSError)):
        print_map_for(Path("no-such-device"), "A4", tmp_path / "a.pdf")
    assert not list(tmp_path.iterdir())
