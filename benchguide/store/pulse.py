"""A heartbeat in a small file: the last moment the program was known to run.

After a crash it tells working time from the time the program was gone. It is not part of the record: losing
it costs accuracy, nothing else. The caller decides how often to beat (twice a second is enough).
"""

import json
import os
import struct
import zlib
from pathlib import Path
from typing import Any

_SLOT = 512  # one disk sector: a beat never tears the other slot
_HEAD = struct.Struct("<4sQHI")  # magic, count, length, CRC-32 of count and payload
_MAGIC = b"BGP1"


class Pulse:
    """Two slots written in turn, each with a checksum: a torn beat leaves the one before readable."""

    def __init__(self, path: Path) -> None:
        """Does not touch the file; `beat` makes it."""
        self._path = path
        self._fd: int | None = None
        self._count = 0

    def beat(self, at: dict[str, Any]) -> None:
        """Write a moment document: one small write without a sync.

        A killed program loses nothing, a power cut at most what was written since the last `sync`.
        Raises OSError, and ValueError for a document of more than 490 bytes of JSON.
        """
        payload = json.dumps(at, separators=(",", ":")).encode("utf-8")
        if len(payload) > _SLOT - _HEAD.size:
            raise ValueError(f"A beat holds at most {_SLOT - _HEAD.size} bytes, not {len(payload)}.")
        if self._fd is None:
            self._open()
        self._count += 1
        crc = zlib.crc32(payload, self._count & 0xFFFFFFFF)
        record = _HEAD.pack(_MAGIC, self._count, len(payload), crc) + payload
        self._write_at(record.ljust(_SLOT, b"\0"), (self._count % 2) * _SLOT)

    def last(self) -> dict[str, Any] | None:
        """The newest readable moment, None if there is none (no file, or both slots damaged)."""
        newest = self._newest()
        return newest[1] if newest else None

    def sync(self) -> None:
        """Make the last beat survive a power cut. Raises OSError."""
        if self._fd is not None:
            getattr(os, "fdatasync", os.fsync)(self._fd)

    def close(self) -> None:
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None

    def _open(self) -> None:
        newest = self._newest()
        self._count = newest[0] if newest else 0
        self._fd = os.open(self._path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)

    def _write_at(self, record: bytes, offset: int) -> None:
        assert self._fd is not None
        if hasattr(os, "pwrite"):
            os.pwrite(self._fd, record, offset)
        else:  # Windows
            os.lseek(self._fd, offset, os.SEEK_SET)
            os.write(self._fd, record)

    def _newest(self) -> tuple[int, dict[str, Any]] | None:
        try:
            with self._path.open("rb") as file:
                data = file.read(2 * _SLOT)
        except OSError:
            return None
        slots = [_read_slot(data[start : start + _SLOT]) for start in (0, _SLOT)]
        return max((slot for slot in slots if slot), key=lambda slot: slot[0], default=None)


def _read_slot(slot: bytes) -> tuple[int, dict[str, Any]] | None:
    if len(slot) < _HEAD.size:
        return None
    magic, count, length, crc = _HEAD.unpack_from(slot)
    payload = slot[_HEAD.size : _HEAD.size + length]
    if magic != _MAGIC or len(payload) != length or zlib.crc32(payload, count & 0xFFFFFFFF) != crc:
        return None
    try:
        value = json.loads(payload)
    except ValueError:
        return None
    return (count, value) if isinstance(value, dict) else None
