"""Proof that a record is what it was: every chain and every photo hash computed again.

Reads only. What a broken chain means for the work at the bench is decided in `log`; here it is only named.
"""

import sqlite3
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from benchguide.store import tables
from benchguide.store.connect import connect_reading, explain, read_header, refuse_foreign, unsound
from benchguide.store.durable import TEMP_PREFIX
from benchguide.store.links import (
    NOTHING_BEFORE,
    ChainBreak,
    StoredEvent,
    canonical,
    link_hash,
    parse_exact,
    read_chain,
)
from benchguide.store.photos import hash_file
from benchguide.store.places import Places
from benchguide.store.problems import StoreProblem

__all__ = ["NOTHING_BEFORE", "SessionCheck", "VerifyReport", "canonical", "link_hash", "verify"]


@dataclass(slots=True)
class SessionCheck:
    """One session. `first_bad_seq` and `problem` name the first event that differs, None when all hold."""

    session_id: str
    events: int
    photos: int
    first_bad_seq: int | None = None
    problem: str | None = None
    bad_photos: list[str] = field(default_factory=list)

    @property
    def ok(self) -> bool:
        return self.problem is None and not self.bad_photos


@dataclass(slots=True)
class VerifyReport:
    """What was found. `problems` are about the whole log; `notes` are worth knowing and no error."""

    folder: str
    sessions: list[SessionCheck] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    photos_checked: int = 0
    stopped: bool = False

    @property
    def ok(self) -> bool:
        return not self.stopped and not self.problems and all(check.ok for check in self.sessions)

    def lines(self) -> list[str]:
        """Sentences for a person, the summary last."""
        found = list(self.problems)
        for check in self.sessions:
            if check.problem:
                found.append(f"Session {check.session_id}: {check.problem}.")
            found += [f"Session {check.session_id}: {sentence}" for sentence in check.bad_photos]
        events = sum(check.events for check in self.sessions)
        counted = f"{len(self.sessions)} sessions, {events} events, {self.photos_checked} photos"
        if self.stopped:
            summary = f"Stopped before the end; looked at {counted}."
        elif self.ok:
            summary = f"Everything agrees: {counted}."
        else:
            summary = f"Something differs. Looked at {counted}; compare with a backup."
        return [*found, *self.notes, summary]

    def to_json(self) -> dict[str, Any]:
        return {"ok": self.ok, **asdict(self)}


#: Told (done, total) from time to time; returning False stops.
Progress = Callable[[int, int], bool]


def verify(folder: Path, progress: Progress | None = None) -> VerifyReport:
    """Recompute every chain, quick list, document and photo hash of a data folder, without touching it.

    Raises StoreProblem when there is no log, a newer one, or one that cannot be read at all.
    """
    places = Places.at(folder)
    header = read_header(places.database)
    if header is None:
        raise StoreProblem(f"There is no log in {folder}; name the data folder with --data.")
    if header.damaged:
        raise StoreProblem(
            f"The log {places.database} is damaged; open it in Benchguide once and what can be read is kept."
        )
    refuse_foreign(places.database, header)
    con = connect_reading(places.database, still=True)
    try:
        con.execute("BEGIN")  # one view of the log, even while another window writes
        return _Verifier(places, con, progress).run()
    except sqlite3.Error as error:
        raise StoreProblem(explain(error, folder)) from error
    finally:
        con.close()


class _Verifier:
    """One run over one log."""

    def __init__(self, places: Places, con: sqlite3.Connection, progress: Progress | None) -> None:
        self._places = places
        self._con = con
        self._progress = progress or (lambda done, total: True)
        self._report = VerifyReport(str(places.folder))
        self._mentioned: set[str] = set()
        self._checked: dict[str, str | None] = {}  # photo -> sentence if it differs

    def run(self) -> VerifyReport:
        report = self._report
        broken = unsound(self._con)
        if broken:
            report.problems.append(f"SQLite finds the file itself damaged: {broken}.")
        ids = self._session_ids()
        for number, session in enumerate(ids):
            if not self._progress(number, len(ids)):
                report.stopped = True
                return report
            report.sessions.append(self._check_session(session))
        self._check_documents()
        self._note_set_aside()
        self._note_strangers()
        report.photos_checked = len(self._checked)
        return report

    def _session_ids(self) -> list[str]:
        listed = [row[0] for row in self._con.execute("SELECT session FROM sessions ORDER BY rowid")]
        stored = {row[0] for row in self._con.execute("SELECT DISTINCT session FROM events")}
        return [*listed, *sorted(stored - set(listed))]

    def _check_session(self, session: str) -> SessionCheck:
        rows = tables.event_rows(self._con, session)
        events, broken = read_chain(session, rows, tables.kept_end(self._con, session))
        broken = _earliest(_not_canonical(rows, len(events)), broken)
        check = SessionCheck(session, len(rows), 0)
        if broken:
            check.first_bad_seq, check.problem = broken
        else:
            check.problem = self._lists_differ(session, events)
        self._check_photos(check, events)
        return check

    def _lists_differ(self, session: str, events: list[StoredEvent]) -> str | None:
        """Fill the quick lists anew from the events and compare."""
        fresh = sqlite3.connect(":memory:", isolation_level=None)
        try:
            for name in ("sessions", "photos"):
                columns = tables.SESSION_COLUMNS if name == "sessions" else tables.PHOTO_COLUMNS
                fresh.execute(f"CREATE TABLE {name} ({', '.join(columns)})")
            if events:
                tables.add_session(fresh, session, events[0])
                tables.derive(fresh, session, events)
            for name in ("sessions", "photos"):
                query = f"SELECT * FROM {name} WHERE session = ? ORDER BY 2"
                expected = fresh.execute(query, (session,)).fetchall()
                if expected != self._con.execute(query, (session,)).fetchall():
                    return f"the list of {name} does not agree with the events"
        finally:
            fresh.close()
        return None

    def _check_photos(self, check: SessionCheck, events: list[StoredEvent]) -> None:
        names = [row.sha256 for row in tables.photo_rows(self._con, check.session_id)]
        for event in events:
            if event.kind == "PhotoTaken" and isinstance(event.doc.get("data"), dict):
                names.append(str(event.doc["data"].get("sha256")))
        for name in dict.fromkeys(names):
            self._mentioned.add(name)
            check.photos += 1
            if name not in self._checked:
                self._checked[name] = self._check_photo(name)
            sentence = self._checked[name]
            if sentence:
                check.bad_photos.append(sentence)

    def _check_photo(self, name: str) -> str | None:
        path = self._places.photos / name[:2] / f"{name}.jpg"
        try:
            return None if hash_file(path) == name else f"the photo {path} was altered."
        except FileNotFoundError:
            return f"the photo {path} is missing."
        except (OSError, ValueError) as error:
            return f"the photo {path} cannot be read ({error})."

    def _check_documents(self) -> None:
        for sha256, text in self._con.execute("SELECT sha256, CAST(text AS BLOB) FROM documents"):
            if link_hash(text) != sha256:
                self._report.problems.append(f"The kept document {sha256} was altered.")

    def _note_set_aside(self) -> None:
        rows = self._con.execute("SELECT session, events, at, file FROM set_aside")
        for session, count, at, file in rows:
            path = self._places.aside / file
            self._report.notes.append(
                f"{count} damaged events of session {session} were put aside on {at} ({path})."
            )

    def _note_strangers(self) -> None:
        for path in sorted(self._places.photos.glob("*/*")):
            if path.name.startswith(TEMP_PREFIX):
                self._report.notes.append(f"{path} is a photo that was not finished.")
            elif path.stem not in self._mentioned:
                self._report.notes.append(f"{path} is mentioned by no session.")


def _not_canonical(rows: list[tuple[int, bytes]], count: int) -> ChainBreak | None:
    """The first event whose bytes are not the canonical form of what they say."""
    for seq, text in rows[:count]:
        try:
            same = canonical(parse_exact(text)) == text
        except (ValueError, RecursionError):
            same = False
        if not same:
            return ChainBreak(seq, f"event {seq} is not in canonical form")
    return None


def _earliest(first: ChainBreak | None, second: ChainBreak | None) -> ChainBreak | None:
    return min((b for b in (first, second) if b), key=lambda b: b.seq, default=None)
