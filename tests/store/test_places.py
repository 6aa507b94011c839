"""Where data goes, and what is said about a doubtful place."""

from pathlib import Path

import pytest

from benchguide.store.places import Places, data_folder, free_bytes, prepare, storage_warnings
from benchguide.store.problems import StoreProblem


def test_argument_then_environment_then_platform(tmp_path):
    assert data_folder(tmp_path / "a", {"BENCHGUIDE_DATA": "/b"}) == tmp_path / "a"
    assert data_folder(None, {"BENCHGUIDE_DATA": str(tmp_path / "b")}) == tmp_path / "b"
    assert "benchguide" in str(data_folder(None, {})).lower()
    assert data_folder("~/x", {}) == Path.home() / "x"


def test_prepare_makes_the_folders(tmp_path):
    places = prepare(tmp_path / "deep" / "data")
    assert places == Places.at(tmp_path / "deep" / "data")
    assert all(path.is_dir() for path in (places.photos, places.thumbs, places.aside))


def test_a_file_in_the_way(tmp_path):
    (tmp_path / "data").write_text("x")
    with pytest.raises(StoreProblem, match="cannot be made"):
        prepare(tmp_path / "data")


def test_read_only_folder_is_one_sentence(tmp_path, read_only_view):
    folder = tmp_path / "data"
    prepare(folder)
    view = read_only_view(folder)
    with pytest.raises(StoreProblem, match="read-only"):
        prepare(view)
    found = storage_warnings(view, low_disk=0)
    assert len(found) == 1
    assert "read-only" in found[0]


def mounts(tmp_path, *lines):
    table = tmp_path / "mounts"
    table.write_text("".join(line + "\n" for line in lines))
    return table


@pytest.mark.parametrize(
    ("kind", "doubtful"),
    [
        ("nfs4", True),
        ("cifs", True),
        ("9p", True),
        ("fuse.sshfs", True),
        ("fuse.anything", True),
        ("ext4", False),
        ("btrfs", False),
        ("tmpfs", False),
        ("fuseblk", False),
        ("fuse.ntfs-3g", False),
    ],
)
def test_network_drives(tmp_path, kind, doubtful):
    data = tmp_path / "my data"
    data.mkdir()
    point = str(data).replace(" ", "\\040")
    table = mounts(tmp_path, "/dev/sda1 / ext4 rw 0 0", f"server:/x {point} {kind} rw 0 0")
    found = storage_warnings(data / "not" / "there", mounts=table, low_disk=0)
    assert [("network drive" in line, kind in line) for line in found] == [(True, True)] * doubtful


def test_the_deepest_mount_counts(tmp_path):
    table = mounts(tmp_path, "server:/ / nfs rw 0 0", f"/dev/sda1 {tmp_path} ext4 rw 0 0")
    assert storage_warnings(tmp_path, mounts=table, low_disk=0) == []


@pytest.mark.parametrize("mark", [".sync", ".sync_0a1b.db", "._sync_0a1b.db", ".stfolder"])
def test_synced_folders(tmp_path, mark):
    (tmp_path / mark).touch()
    found = storage_warnings(tmp_path / "in" / "here", mounts=mounts(tmp_path), low_disk=0)
    assert len(found) == 1
    assert "synchronised" in found[0]


def test_low_disk(tmp_path):
    free = free_bytes(tmp_path / "not yet")
    assert free > 0
    table = mounts(tmp_path)
    assert storage_warnings(tmp_path, low_disk=0, mounts=table) == []
    found = storage_warnings(tmp_path, low_disk=free * 10, mounts=table)
    assert len(found) == 1
    assert "MB are free" in found[0]
