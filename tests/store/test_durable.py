"""Durable files: no leftovers, and the old file is whole until the new one is."""

from pathlib import Path

import pytest

from benchguide.store.durable import make_folder, write_file


def test_write_and_replace(tmp_path):
    target = tmp_path / "x.bin"
    write_file(target, b"one")
    write_file(target, b"two" * 100_000)
    assert target.read_bytes() == b"two" * 100_000
    assert list(tmp_path.iterdir()) == [target]


def test_a_failing_rename_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    target = tmp_path / "x.bin"
    write_file(target, b"one")

    def refuse(self, to):
        raise OSError(5, "refused")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OSError, match="refused"):
        write_file(target, b"two")
    assert target.read_bytes() == b"one"
    assert list(tmp_path.iterdir()) == [target]


def test_a_full_disk_leaves_the_old_file_and_nothing_else(small_disk):
    target = small_disk / "x.bin"
    write_file(target, b"one")
    with pytest.raises(OSError, match="No space"):
        write_file(target, b"x" * 2_000_000)
    assert target.read_bytes() == b"one"
    assert list(small_disk.iterdir()) == [target]


def test_folders(tmp_path):
    make_folder(tmp_path / "a" / "b" / "c")
    make_folder(tmp_path / "a" / "b" / "c")
    assert (tmp_path / "a" / "b" / "c").is_dir()
