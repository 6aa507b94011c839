"""Opening the SQLite file with the settings the promises rest on, and looking at it before opening it.

Also turns SQLite's error codes into sentences. Knows nothing of events.
"""

import sqlite3
from pathlib import Path
from typing import NamedTuple

from benchguide.store.places import writable
from benchguide.store.problems import StoreProblem
from benchguide.store.tables import APPLICATION_ID, FORMAT, TABLES

#: How long to wait for a program that holds the database; the window waits with us, so: briefly.
BUSY_MS = 250
_MAGIC = b"SQLite format 3\0"
_DAMAGE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


class Header(NamedTuple):
    """The first 100 bytes of the file (SQLite file format, section 1.3). `damaged` when they cannot be."""

    damaged: bool
    version: int = 0
    application: int = 0


def sidecars(database: Path) -> list[Path]:
    """The files SQLite keeps beside a database in WAL mode."""
    return [database.with_name(database.name + suffix) for suffix in ("-wal", "-shm")]


def read_header(database: Path) -> Header | None:
    """None when there is no file, or an empty one (which SQLite takes for a new database)."""
    try:
        size = database.stat().st_size
        with database.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        return None
    if size == 0:
        return None
    if len(head) < 100 or not head.startswith(_MAGIC):
        return Header(damaged=True)
    page = int.from_bytes(head[16:18], "big")
    page = 65536 if page == 1 else page
    pages = int.from_bytes(head[28:32], "big")
    # The page count is only kept when the change counter agrees (bytes 24 and 92).
    short = head[24:28] == head[92:96] and size < page * pages
    return Header(short, int.from_bytes(head[60:64], "big"), int.from_bytes(head[68:72], "big"))


def connect_writing(database: Path) -> sqlite3.Connection:
    """WAL, synchronous FULL, foreign keys on. Transactions are begun and ended by the caller only."""
    con = sqlite3.connect(database, timeout=BUSY_MS / 1000, isolation_level=None, check_same_thread=False)
    try:
        con.execute("PRAGMA journal_mode = WAL")
        con.execute("PRAGMA synchronous = FULL")
        con.execute("PRAGMA foreign_keys = ON")
    except BaseException:
        con.close()
        raise
    return con


def connect_reading(database: Path, *, still: bool = False) -> sqlite3.Connection:
    """Open without being able to change anything.

    `still` says that nobody need be followed while reading; then not even SQLite's sidecar files are made,
    unless there are some already.
    """
    alone = not any(path.exists() for path in sidecars(database))
    frozen = alone and (still or not writable(database.parent))
    uri = f"{database.absolute().as_uri()}?{'immutable=1' if frozen else 'mode=ro'}"
    return sqlite3.connect(
        uri, uri=True, timeout=BUSY_MS / 1000, isolation_level=None, check_same_thread=False
    )


def refuse_foreign(database: Path, header: Header) -> None:
    """Raises StoreProblem for a log of a newer version or a database of another program; touches nothing."""
    version, application = header.version, header.application
    wal = sidecars(database)[0]
    if wal.exists() and wal.stat().st_size:
        # A format step may lie in the write-ahead log only.
        con = connect_reading(database)
        try:
            version = con.execute("PRAGMA user_version").fetchone()[0]
            application = con.execute("PRAGMA application_id").fetchone()[0]
        except sqlite3.DatabaseError:
            pass  # damaged; whoever opens it next says so
        finally:
            con.close()
    if application not in (0, APPLICATION_ID):
        raise StoreProblem(
            f"{database} is a database of another program; it was left alone. "
            "Choose another folder with --data."
        )
    if application == APPLICATION_ID and version > FORMAT:
        raise StoreProblem(
            f"The log {database} was written by a newer Benchguide (format {version}, this one knows up to "
            f"{FORMAT}); it was left alone. Install the newer version, or choose another folder with --data."
        )


def is_damage(error: sqlite3.Error) -> bool:
    """Whether SQLite says that the file itself is broken (and not that it is busy, full or read-only)."""
    return _primary(error) in _DAMAGE


def unsound(con: sqlite3.Connection) -> str | None:
    """Why the open database cannot be trusted, or None. Reads every page; raises sqlite3.Error."""
    found = con.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        return str(found)
    names = {row[0] for row in con.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    missing = TABLES - names
    return f"table {min(missing)} is missing" if missing else None


def explain(error: sqlite3.Error, folder: Path) -> str:
    """One sentence with the remedy for what SQLite reports."""
    code = _primary(error)
    if code == sqlite3.SQLITE_FULL:
        return f"The disk is full ({folder}); make room, then try again."
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return (
            f"Another program is using the log in {folder} (a database viewer or a backup, perhaps); "
            "close it, then try again."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN):
        return f"The log in {folder} cannot be written to; check the permissions of folder and files."
    if code in _DAMAGE:
        return f"The log in {folder} is damaged; start Benchguide again and it will keep what can be read."
    if code == sqlite3.SQLITE_IOERR:
        return f"The disk does not accept the log in {folder}; check that it is connected and has room."
    return f"The log in {folder} cannot be used ({error})."


def _primary(error: sqlite3.Error) -> int | None:
    code = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & 0xFF
