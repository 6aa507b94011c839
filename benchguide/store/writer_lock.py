"""One writer at a time: a locked file that says who holds it, and whether the last one closed in good order.

The operating system drops the lock when the holder dies, so a crash never leaves the log locked.
"""

import json
import os
import sys
from pathlib import Path
from typing import Any

from benchguide.store.problems import AlreadyOpen, StoreProblem

_LOCK_BYTE = 1 << 30  # far behind the text, because a lock on Windows also bars reading


class WriterLock:
    """Held from `take` to `release`. `was_clean` tells whether the writer before closed in good order."""

    def __init__(self, fd: int, was_clean: bool, since: str) -> None:
        self._fd = fd
        self._since = since
        self.was_clean = was_clean
        self._note(clean=False)

    @classmethod
    def take(cls, path: Path, since: str) -> "WriterLock":
        """Raises AlreadyOpen when another writer holds it, StoreProblem when the file cannot be made.

        `since` (RFC 3339) is written into the file for whoever is turned away.
        """
        try:
            fd = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise StoreProblem(
                f"The data folder {path.parent} cannot be written to ({error.strerror}); "
                "mend that or choose another one with --data."
            ) from error
        if not _try_lock(fd):
            note = _read(fd)
            os.close(fd)
            raise _already_open(path, note)
        before = _read(fd)
        try:
            return cls(fd, bool(before.get("clean", not before)), since)
        except OSError as error:
            os.close(fd)
            raise StoreProblem(
                f"The data folder {path.parent} cannot be written to ({error.strerror}); make room there."
            ) from error

    def release(self, *, clean: bool) -> None:
        """`clean` False makes the next writer look the whole log over before it trusts it."""
        try:
            self._note(clean=clean)
        except OSError:
            pass  # the next writer will take it for a crash and look the log over
        finally:
            os.close(self._fd)

    def _note(self, *, clean: bool) -> None:
        text = json.dumps({"pid": os.getpid(), "since": self._since, "clean": clean}).encode()
        os.lseek(self._fd, 0, os.SEEK_SET)
        os.write(self._fd, text.ljust(128))


def _read(fd: int) -> dict[str, Any]:
    try:
        os.lseek(fd, 0, os.SEEK_SET)
        note = json.loads(os.read(fd, 4096) or b"{}")
    except (OSError, ValueError):
        return {"clean": False}
    return note if isinstance(note, dict) else {"clean": False}


def _already_open(path: Path, note: dict[str, Any]) -> AlreadyOpen:
    pid = note.get("pid") if isinstance(note.get("pid"), int) else None
    since = note.get("since") if isinstance(note.get("since"), str) else None
    holder = f" (process {pid}, since {since})" if pid and since else ""
    return AlreadyOpen(
        f"The log in {path.parent} is already open in another window{holder}; "
        "it can be looked at here, and written to once the other window is closed.",
        pid,
        since,
    )


if sys.platform == "win32":
    import msvcrt

    def _try_lock(fd: int) -> bool:
        os.lseek(fd, _LOCK_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _try_lock(fd: int) -> bool:
        # flock and not lockf: closing any other descriptor of the file would drop a lockf lock.
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
