"""The session log: append events durably, read them back, list sessions.

`rescue` is imported where it is needed: a sound log never needs it, and the window opens sooner.
One writer at a time, any number of readers. An event document goes in as the session room made it and gets
`session`, `seq` and `prev`; what events mean is not known here, save for the quick lists in `tables`.
"""

import sqlite3
import threading
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Literal

from benchguide.store import tables
from benchguide.store.connect import (
    connect_reading,
    connect_writing,
    explain,
    is_damage,
    read_header,
    refuse_foreign,
    unsound,
)
from benchguide.store.links import (
    NOTHING_BEFORE,
    End,
    EventDoc,
    StoredEvent,
    link,
    link_hash,
    read_chain,
)
from benchguide.store.places import Places, prepare
from benchguide.store.problems import NotKept, StoreProblem
from benchguide.store.tables import PhotoRow, SessionRow
from benchguide.store.writer_lock import WriterLock

__all__ = ["EventDoc", "EventLog", "PhotoRow", "SessionRow", "StoredEvent"]


_READING_ONLY = "The log is open for reading only, because another window writes to it; use that one."


class EventLog:
    """The open log of one data folder. Made by `open`; may be used from any thread, one call at a time."""

    def __init__(
        self, places: Places, con: sqlite3.Connection, lock: WriterLock | None, notices: list[str]
    ) -> None:
        self.places = places
        #: What a person should be told: damage found, what was kept and where the rest lies.
        self.notices = notices
        self._con = con
        self._lock = lock
        self._heads: dict[str, tuple[int, str]] = {}  # session -> seq and hash of its last event
        self._damage_seen = False
        self._guard = threading.RLock()

    @classmethod
    def open(cls, folder: Path, *, mode: Literal["write", "read"] = "write") -> "EventLog":
        """Open the log in a data folder; "write" makes the folder and the log if need be.

        Raises AlreadyOpen when another window writes (then mode="read" works), StoreProblem with one sentence
        for a log of a newer version, a locked or read-only one, or none at all in mode "read".
        """
        if mode == "read":
            return cls._open_reading(Places.at(folder))
        places = prepare(folder)
        lock = WriterLock.take(places.lock, _now())
        notices: list[str] = []
        try:
            con = _open_sound(places, lock.was_clean, notices)
        except sqlite3.Error as error:
            lock.release(clean=False)
            raise StoreProblem(explain(error, folder)) from error
        except BaseException:
            lock.release(clean=lock.was_clean)
            raise
        return cls(places, con, lock, notices)

    @classmethod
    def _open_reading(cls, places: Places) -> "EventLog":
        header = read_header(places.database)
        if header is None:
            raise StoreProblem(f"There is no log in {places.folder} yet; start a job first.")
        if header.damaged:
            raise StoreProblem(
                f"The log {places.database} is damaged; "
                "open it for writing once and what can be read is kept."
            )
        refuse_foreign(places.database, header)
        con = connect_reading(places.database)
        try:
            version = con.execute("PRAGMA user_version").fetchone()[0]
        except sqlite3.Error as error:
            con.close()
            raise StoreProblem(explain(error, places.folder)) from error
        if version < tables.FORMAT:
            con.close()
            raise StoreProblem(
                f"The log {places.database} has an older format; "
                "open it for writing once to bring it up to date."
            )
        return cls(places, con, None, [])

    @property
    def read_only(self) -> bool:
        return self._lock is None

    def append(self, session_id: str, docs: Sequence[EventDoc]) -> list[StoredEvent]:
        """Store events at the end of a session, all or none; they are on the disk when this returns.

        Raises NotKept (with a sentence) when they could not be stored, ValueError for a document that is not
        an event or holds what JSON cannot.
        """
        if not docs:
            return []
        if self._lock is None:
            raise NotKept(_READING_ONLY)
        with self._guard:
            try:
                seq, prev = self._head(session_id)
                linked = link(session_id, seq, prev, docs)
                self._store(session_id, linked)
            except (sqlite3.Error, OSError) as error:
                self._heads.pop(session_id, None)
                raise NotKept(self._sentence(error)) from error
            events = [event for event, _ in linked]
            self._heads[session_id] = (events[-1].seq, events[-1].hash)
            return events

    def _store(self, session_id: str, linked: list[tuple[StoredEvent, bytes]]) -> None:
        con = self._con
        events = [event for event, _ in linked]
        con.execute("BEGIN IMMEDIATE")
        try:
            if events[0].seq == 1:
                tables.add_session(con, session_id, events[0])
            tables.insert_events(con, session_id, linked)
            tables.derive(con, session_id, events)
            con.execute("COMMIT")
        except BaseException:
            if con.in_transaction:
                con.execute("ROLLBACK")
            raise

    def _head(self, session_id: str) -> tuple[int, str]:
        """Where the next event goes. The first append to an old session looks its chain over: what does not
        hold is put aside, because nothing may be chained to an event that was altered."""
        if session_id not in self._heads:
            rows = tables.event_rows(self._con, session_id)
            events, broken = read_chain(session_id, rows, tables.kept_end(self._con, session_id))
            if broken:
                from benchguide.store import rescue

                self.notices.append(
                    rescue.put_tail_aside(self._con, self.places, session_id, rows, events, broken, _now())
                )
            self._heads[session_id] = (len(events), events[-1].hash if events else NOTHING_BEFORE)
        return self._heads[session_id]

    def _rows(self, session_id: str) -> tuple[list[tuple[int, bytes]], End | None]:
        """Both in one view of the log: another window may be writing."""
        self._con.execute("BEGIN")
        try:
            return tables.event_rows(self._con, session_id), tables.kept_end(self._con, session_id)
        finally:
            if self._con.in_transaction:
                self._con.execute("ROLLBACK")

    def events(self, session_id: str) -> list[StoredEvent]:
        """All events of a session in order; empty for an unknown one. Hashes are recomputed on the way.

        Where the chain breaks, the longest valid beginning is given and a notice added. Raises StoreProblem
        when the database cannot be read at all.
        """
        with self._guard:
            try:
                rows, end = self._rows(session_id)
            except sqlite3.Error as error:
                if not is_damage(error):
                    raise StoreProblem(explain(error, self.places.folder)) from error
                from benchguide.store import rescue

                rows, end = rescue.readable_rows(self._con, session_id), None
                self._damage_seen = True
                sentence = explain(error, self.places.folder)
                self._tell(f"{sentence} {len(rows)} events of this session were read.")
            events, broken = read_chain(session_id, rows, end)
            if broken:
                self._tell(
                    f"In session {session_id} {broken.why}; "
                    f"the {len(events)} events before it are sound and used."
                )
            elif not self._damage_seen:
                self._heads[session_id] = (len(events), events[-1].hash if events else NOTHING_BEFORE)
            return events

    def sessions(self) -> list[SessionRow]:
        """All sessions, newest first. Raises StoreProblem."""
        with self._guard:
            try:
                return tables.session_rows(self._con)
            except sqlite3.Error as error:
                raise StoreProblem(self._sentence(error)) from error

    def photos(self, session_id: str) -> list[PhotoRow]:
        """Photos of a session in the order taken. Raises StoreProblem."""
        with self._guard:
            try:
                return tables.photo_rows(self._con, session_id)
            except sqlite3.Error as error:
                raise StoreProblem(self._sentence(error)) from error

    def put_document(self, kind: str, text: str) -> str:
        """Keep a part map or procedure exactly as used; gives the hex SHA-256 of its UTF-8 text.

        Durable on return; the same text is kept once. Raises NotKept.
        """
        if self._lock is None:
            raise NotKept(_READING_ONLY)
        sha256 = link_hash(text.encode("utf-8"))
        with self._guard:
            try:
                self._con.execute("INSERT OR IGNORE INTO documents VALUES (?, ?, ?)", (sha256, kind, text))
            except sqlite3.Error as error:
                raise NotKept(self._sentence(error)) from error
        return sha256

    def document(self, sha256: str) -> str:
        """A kept document. Raises StoreProblem when it is missing or not what its hash says."""
        with self._guard:
            try:
                row = self._con.execute(
                    "SELECT CAST(text AS BLOB) FROM documents WHERE sha256 = ?", (sha256,)
                ).fetchone()
            except sqlite3.Error as error:
                raise StoreProblem(self._sentence(error)) from error
        if row is None:
            raise StoreProblem(f"The log in {self.places.folder} holds no document {sha256[:12]}.")
        if link_hash(row[0]) != sha256:
            raise StoreProblem(
                f"The document {sha256[:12]} in the log was altered; restore the log from a backup."
            )
        return str(row[0], "utf-8")

    def close(self) -> None:
        """Close in good order; the log may be opened again. Safe to call twice."""
        with self._guard:
            self._con.close()
            if self._lock is not None:
                self._lock.release(clean=not self._damage_seen)
                self._lock = None

    def __enter__(self) -> "EventLog":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _sentence(self, error: Exception) -> str:
        if isinstance(error, sqlite3.Error):
            self._damage_seen = self._damage_seen or is_damage(error)
            return explain(error, self.places.folder)
        return f"The data folder {self.places.folder} cannot be written to ({error}); make room or mend that."

    def _tell(self, notice: str) -> None:
        if notice not in self.notices:
            self.notices.append(notice)


def _open_sound(places: Places, was_clean: bool, notices: list[str]) -> sqlite3.Connection:
    """A writable connection to a log that can be trusted; damage is put aside on the way there."""
    if places.rescued.exists():
        from benchguide.store import rescue

        rescue.finish_swap(places)
    header = read_header(places.database)
    if header is not None and not header.damaged:
        refuse_foreign(places.database, header)
    if header is not None and (header.damaged or not _holds(places, look_over=not was_clean)):
        from benchguide.store import rescue

        notices.append(rescue.rescue(places, _now()))
    con = connect_writing(places.database)
    try:
        version = con.execute("PRAGMA user_version").fetchone()[0]
        if version < tables.FORMAT:
            tables.migrate(con, _now())
            # So that the number is in the header of the file itself, where an older version looks first.
            con.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    except BaseException:
        con.close()
        raise
    return con


def _holds(places: Places, *, look_over: bool) -> bool:
    """Whether SQLite can work with the file. Every page is read only after a crash: it takes 1 s per GB."""
    try:
        con = connect_writing(places.database)
        try:
            version = con.execute("PRAGMA user_version").fetchone()[0]
            if version == 0:
                return bool(con.execute("SELECT count(*) = 0 FROM sqlite_schema").fetchone()[0])
            con.execute("SELECT session, seq FROM events LIMIT 1").fetchone()
            con.execute("SELECT session FROM sessions LIMIT 1").fetchone()
            return unsound(con) is None if look_over else True
        finally:
            con.close()
    except sqlite3.Error as error:
        if is_damage(error) or "no such table" in str(error):
            return False
        raise


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="milliseconds")
