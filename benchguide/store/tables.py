"""The tables of the log: their format steps, and which event changes which row of the quick lists.

The quick lists (`sessions`, `photos`) are derived: `derive` is the one function that fills them, live, after
damage, and when the record is verified. Does not open files.
"""

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from benchguide.store.links import End, StoredEvent

if TYPE_CHECKING:
    import sqlite_utils

#: "Bgd1": marks the file as a Benchguide log (PRAGMA application_id)
APPLICATION_ID = 0x42676431

SESSION_COLUMNS = (
    "session",
    "job",
    "device",
    "procedure",
    "person",
    "device_doc",
    "procedure_doc",
    "started",
    "last_at",
    "state",
    "abandoned",
    "events",
    "photos",
    "head",
)
PHOTO_COLUMNS = ("session", "seq", "sha256", "purpose", "step", "part", "at")


class SessionRow(NamedTuple):
    """One session in the list. Times are RFC 3339 as logged; `state` is "open" or "finished"."""

    session_id: str
    job: str
    device: str
    procedure: str
    person: str
    device_doc: str
    procedure_doc: str
    started: str
    last_at: str
    state: str
    abandoned: bool
    events: int
    photos: int
    head: str


class PhotoRow(NamedTuple):
    """One photo of a session, in the order taken. `seq` is the event that mentions it."""

    session_id: str
    seq: int
    sha256: str
    purpose: str
    step: str
    part: str
    at: str


# --- format steps: one small function each, never changed once released ---------------------------------


def _step_1(db: "sqlite_utils.Database") -> None:
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    text_columns = dict.fromkeys(SESSION_COLUMNS, str)
    numbers = {"abandoned": int, "events": int, "photos": int}
    db.table("sessions").create({**text_columns, **numbers}, pk="session", not_null=SESSION_COLUMNS)
    # Clustered by (session, seq): one b-tree instead of two, so an append writes one page less. sqlite-utils
    # has no word for WITHOUT ROWID.
    db.execute(
        "CREATE TABLE events (session TEXT NOT NULL REFERENCES sessions(session), seq INTEGER NOT NULL, "
        "body TEXT NOT NULL, PRIMARY KEY (session, seq)) WITHOUT ROWID"
    )
    db.table("photos").create(
        {**dict.fromkeys(PHOTO_COLUMNS, str), "seq": int},
        pk=("session", "seq"),
        not_null=PHOTO_COLUMNS,
        foreign_keys=[("session", "sessions", "session")],
    )
    db.table("documents").create(
        {"sha256": str, "kind": str, "text": str}, pk="sha256", not_null={"kind", "text"}
    )
    db.table("set_aside").create(
        {"session": str, "from_seq": int, "events": int, "at": str, "file": str, "reason": str}
    )


STEPS: tuple[Callable[["sqlite_utils.Database"], None], ...] = (_step_1,)

#: Number of the format this version writes.
FORMAT = len(STEPS)

#: Tables (all of step 1) without which the file is not a sound log.
TABLES = frozenset({"sessions", "events", "photos", "documents"})


def migrate(con: sqlite3.Connection, at: str, steps: Sequence[Callable[[Any], None]] = STEPS) -> None:
    """Bring the tables to the newest format. A step, its receipt and its number are one transaction.

    `at` (RFC 3339) goes into the receipt. Raises sqlite3.Error; the steps done before stay done.
    """
    import sqlite_utils  # 0.2 s, needed on the first start and after an update only

    done = con.execute("PRAGMA user_version").fetchone()[0]
    db = sqlite_utils.Database(con)
    for number, step in enumerate(steps[done:], done + 1):
        with db.atomic():
            step(db)
            db.table("format_steps").insert({"number": number, "name": step.__name__, "at": at}, pk="number")
            db.execute(f"PRAGMA user_version = {number}")


# --- quick lists -----------------------------------------------------------------------------------------


def derive(con: sqlite3.Connection, session: str, events: Sequence[StoredEvent]) -> None:
    """Let the quick lists follow newly stored events of one session. Inside the caller's transaction."""
    for event in events:
        follow = FOLLOW.get(event.doc["kind"])
        if follow:
            follow(con, session, event)
    last = events[-1]
    con.execute(
        "UPDATE sessions SET last_at = ?, events = ?, head = ? WHERE session = ?",
        (_wall(last), last.seq, last.hash, session),
    )


def add_session(con: sqlite3.Connection, session: str, first: StoredEvent) -> None:
    """The row that events of a new session refer to."""
    con.execute(
        "INSERT INTO sessions VALUES (?, '', '', '', '', '', '', ?, ?, 'open', 0, 0, 0, '')",
        (session, _wall(first), _wall(first)),
    )


def _session_started(con: sqlite3.Connection, session: str, event: StoredEvent) -> None:
    names = ("job", "device", "procedure", "person", "device_doc", "procedure_doc")
    con.execute(
        "UPDATE sessions SET job = ?, device = ?, procedure = ?, person = ?, device_doc = ?, "
        "procedure_doc = ?, started = ? WHERE session = ?",
        (*(_text(event, name) for name in names), _wall(event), session),
    )


def _photo_taken(con: sqlite3.Connection, session: str, event: StoredEvent) -> None:
    facts = (_text(event, name) for name in ("sha256", "purpose", "step", "part"))
    con.execute("INSERT INTO photos VALUES (?, ?, ?, ?, ?, ?, ?)", (session, event.seq, *facts, _wall(event)))
    con.execute("UPDATE sessions SET photos = photos + 1 WHERE session = ?", (session,))


def _session_finished(con: sqlite3.Connection, session: str, event: StoredEvent) -> None:
    con.execute("UPDATE sessions SET state = 'finished' WHERE session = ?", (session,))


def _session_abandoned(con: sqlite3.Connection, session: str, event: StoredEvent) -> None:
    con.execute("UPDATE sessions SET state = 'finished', abandoned = 1 WHERE session = ?", (session,))


#: event kind -> how the quick lists follow it; kinds not named here are stored all the same
FOLLOW: dict[str, Callable[[sqlite3.Connection, str, StoredEvent], None]] = {
    "SessionStarted": _session_started,
    "PhotoTaken": _photo_taken,
    "SessionFinished": _session_finished,
    "SessionAbandoned": _session_abandoned,
}


def _text(event: StoredEvent, name: str) -> str:
    data = event.doc.get("data")
    value = data.get(name) if isinstance(data, dict) else None
    return value if isinstance(value, str) else ""


def _wall(event: StoredEvent) -> str:
    wall = event.doc["at"].get("wall")
    return wall if isinstance(wall, str) else ""


# --- reading and writing rows ----------------------------------------------------------------------------


def insert_events(con: sqlite3.Connection, session: str, linked: Iterable[tuple[StoredEvent, bytes]]) -> None:
    con.executemany(
        "INSERT INTO events VALUES (?, ?, ?)",
        [(session, event.seq, text.decode("utf-8")) for event, text in linked],
    )


def kept_end(con: sqlite3.Connection, session: str) -> End | None:
    row = con.execute("SELECT events, head FROM sessions WHERE session = ?", (session,)).fetchone()
    return End(*row) if row else None


def event_rows(con: sqlite3.Connection, session: str) -> list[tuple[int, bytes]]:
    """(seq, canonical text) of a session in order. As bytes: a flipped bit may not be UTF-8 any more."""
    return con.execute(
        "SELECT seq, CAST(body AS BLOB) FROM events WHERE session = ? ORDER BY seq", (session,)
    ).fetchall()


def session_rows(con: sqlite3.Connection) -> list[SessionRow]:
    """Newest session first."""
    rows = con.execute(f"SELECT {', '.join(SESSION_COLUMNS)} FROM sessions ORDER BY rowid DESC")
    return [SessionRow(*row)._replace(abandoned=bool(row[10])) for row in rows]


def photo_rows(con: sqlite3.Connection, session: str) -> list[PhotoRow]:
    rows = con.execute(
        f"SELECT {', '.join(PHOTO_COLUMNS)} FROM photos WHERE session = ? ORDER BY seq", (session,)
    )
    return [PhotoRow(*row) for row in rows]
