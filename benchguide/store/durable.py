"""Writing a file so that it is there after a power cut, or not there at all.

What this cannot promise: a disk that reports a write as done while it is still in its own cache may lose
it. On Windows a folder cannot be synced; the rename is journalled by the file system there.
"""

import os
import secrets
import sys
from pathlib import Path

TEMP_PREFIX = ".tmp-"


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable. Raises OSError."""
    if sys.platform == "win32":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """Create a folder (and its parents) and make its name durable. Raises OSError."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def write_all(fd: int, data: bytes) -> None:
    """os.write until everything is written; a short write on a full disk raises at the next call."""
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]


def write_file(target: Path, data: bytes) -> None:
    """Write, flush, fsync, rename, fsync the folder. Raises OSError and leaves nothing behind then.

    The temporary file lies in the same folder, because a rename is only atomic within one file system.
    An older file under the target's name stays whole until the rename.
    """
    temp = write_temp(target.parent, data, target.suffix)
    try:
        temp.replace(target)
    except BaseException:
        temp.unlink(missing_ok=True)
        raise
    sync_folder(target.parent)


def write_temp(folder: Path, data: bytes, suffix: str) -> Path:
    """A synced file with a temporary name in `folder`. Raises OSError and leaves nothing behind then."""
    temp = folder / f"{TEMP_PREFIX}{secrets.token_hex(8)}{suffix}"
    fd = os.open(temp, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o644)
    try:
        try:
            write_all(fd, data)
            os.fsync(fd)
        finally:
            os.close(fd)
    except BaseException:
        temp.unlink(missing_ok=True)
        raise
    return temp
