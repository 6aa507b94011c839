"""What is done with a damaged log: put aside whole, keep what can be read, lose nothing.

The damaged files are linked (or copied) into `aside/` first; a new log is built under another name; only when
it is complete and synced does it take the old one's place. Killed at any instant, the next start goes on.
"""

import json
import mmap
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from benchguide.store import tables
from benchguide.store.connect import connect_writing, sidecars
from benchguide.store.durable import make_folder, sync_folder, write_file
from benchguide.store.links import (
    NOTHING_BEFORE,
    STORE_KEYS,
    ChainBreak,
    StoredEvent,
    canonical,
    link_hash,
    parse_exact,
    read_chain,
)
from benchguide.store.places import Places

_BUILDING = "rescued.building.db"

#: An event in canonical form begins with its first key. Used when SQLite cannot read a page any more.
_EVENT_START = re.compile(rb'\{"at":\{')
_WINDOW = 64 * 1024

Found = dict[str, dict[int, list[bytes]]]  # session -> seq -> texts that claim to be this event


def rescue(places: Places, at: str) -> str:
    """Put the damaged log aside and build a new one from what can be read. Gives the notice for a person.

    Raises OSError or sqlite3.Error (disk full, for example); the damaged files are then where they were.
    """
    aside = _put_files_aside(places, at)
    building = places.folder / _BUILDING
    for path in (building, *sidecars(building)):
        path.unlink(missing_ok=True)
    found, documents = _salvage(aside)
    kept, left = _build(building, found, documents, at)
    building.replace(places.rescued)
    sync_folder(places.folder)
    finish_swap(places)
    return (
        f"The log was damaged. It was put aside, unchanged, in {aside}; "
        f"{kept} events of {len(found)} sessions could be read and are in use, "
        f"{left} that follow from nothing are not. Restore a backup if something is missing."
    )


def finish_swap(places: Places) -> None:
    """Let a completely rescued log take the place of the damaged one. Raises OSError."""
    complete = places.rescued
    if not complete.exists():
        return
    # Their copies lie aside. The old write-ahead log must be gone before the new file has this name.
    for path in (places.database, *sidecars(places.database)):
        path.unlink(missing_ok=True)
    complete.replace(places.database)
    sync_folder(places.folder)


def put_tail_aside(
    con: sqlite3.Connection,
    places: Places,
    session: str,
    rows: Sequence[tuple[int, bytes]],
    sound: Sequence[StoredEvent],
    broken: ChainBreak,
    at: str,
) -> str:
    """Write events that do not hold into a file, then take them out of the session. Gives the notice.

    Raises OSError or sqlite3.Error; the events are then still in place.
    """
    tail = [text for seq, text in rows if seq > len(sound)]
    target = _free_name(places.aside, f"{_stamp(at)}-tail.jsonl")
    write_file(target, b"\n".join(tail) + b"\n")
    con.execute("BEGIN IMMEDIATE")
    try:
        con.execute("DELETE FROM photos WHERE session = ?", (session,))
        con.execute("DELETE FROM events WHERE session = ? AND seq > ?", (session, len(sound)))
        if sound:
            con.execute(
                "UPDATE sessions SET state = 'open', abandoned = 0, photos = 0 WHERE session = ?", (session,)
            )
            tables.derive(con, session, sound)
        else:
            con.execute("DELETE FROM sessions WHERE session = ?", (session,))
        con.execute(
            "INSERT INTO set_aside VALUES (?, ?, ?, ?, ?, ?)",
            (session, len(sound) + 1, len(tail), at, target.name, broken.why),
        )
        con.execute("COMMIT")
    except BaseException:
        if con.in_transaction:
            con.execute("ROLLBACK")
        raise
    return (
        f"In session {session} {broken.why}. The {len(sound)} events before it are in use; "
        f"{len(tail)} later ones were put aside in {target}."
    )


def readable_rows(con: sqlite3.Connection, session: str) -> list[tuple[int, bytes]]:
    """(seq, text) of a session up to the first page that cannot be read."""
    rows: list[tuple[int, bytes]] = []
    try:
        for row in con.execute(
            "SELECT seq, CAST(body AS BLOB) FROM events WHERE session = ? ORDER BY seq", (session,)
        ):
            rows.append(row)
    except sqlite3.Error:
        pass  # what came before is what there is
    return rows


# --- putting aside ---------------------------------------------------------------------------------------


def _stamp(at: str) -> str:
    return re.sub(r"[^0-9T]", "", at[:19])


def _free_name(folder: Path, name: str) -> Path:
    candidate, number = folder / name, 2
    while candidate.exists():
        candidate = folder / f"{number}-{name}"
        number += 1
    return candidate


def _put_files_aside(places: Places, at: str) -> Path:
    target = _free_name(places.aside, f"{_stamp(at)}-damaged")
    make_folder(target)
    for path in (places.database, *sidecars(places.database)):
        if path.exists():
            copy = target / path.name
            try:
                os.link(path, copy)  # costs no room, which a full disk would not have
            except OSError:
                shutil.copyfile(path, copy)
                with copy.open("rb+") as file:
                    os.fsync(file.fileno())
    sync_folder(target)
    return target


# --- reading what is left --------------------------------------------------------------------------------


def _salvage(aside: Path) -> tuple[Found, dict[str, tuple[str, str]]]:
    """Events and documents that can be read of the files in `aside`, which are not changed."""
    found: Found = {}
    documents: dict[str, tuple[str, str]] = {}
    names = [path.name for path in aside.iterdir()]
    with tempfile.TemporaryDirectory(dir=aside.parent, prefix=".tmp-") as work:
        for name in names:
            shutil.copyfile(aside / name, Path(work) / name)
        database = next((name for name in names if name.endswith(".db")), None)
        if database:
            _read_with_sqlite(Path(work) / database, found, documents)
    for name in names:
        if not name.endswith("-shm"):
            _carve(aside / name, found)
    return found, documents


def _read_with_sqlite(database: Path, found: Found, documents: dict[str, tuple[str, str]]) -> None:
    try:
        con = sqlite3.connect(database, isolation_level=None)
    except sqlite3.Error:
        return
    try:
        for order in ("session, seq", "session DESC, seq DESC"):  # from both ends of the tree
            query = f"SELECT session, seq, CAST(body AS BLOB) FROM events ORDER BY {order}"
            for session, seq, text in _rows(con, query):
                if isinstance(session, str) and isinstance(seq, int) and isinstance(text, bytes):
                    _add(found, session, seq, text)
        for sha256, kind, text in _rows(con, "SELECT sha256, kind, CAST(text AS BLOB) FROM documents"):
            if isinstance(text, bytes) and link_hash(text) == sha256:
                documents[sha256] = (str(kind), text.decode("utf-8"))
    finally:
        con.close()


def _rows(con: sqlite3.Connection, query: str) -> Iterator[tuple[object, ...]]:
    try:
        yield from con.execute(query)
    except sqlite3.Error:
        return  # the rest is behind a page that cannot be read


def _carve(path: Path, found: Found) -> None:
    """Look for whole events in the raw bytes; the chain decides later which of them belong.

    Finds what lies within one page, which is nearly every event. Memory: one window, whatever the file size.
    """
    if path.stat().st_size == 0:
        return
    decoder = json.JSONDecoder()
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as raw:
        for match in _EVENT_START.finditer(raw):
            window = raw[match.start() : match.start() + _WINDOW].decode("utf-8", errors="replace")
            try:
                _, end = decoder.raw_decode(window)
                text = window[:end].encode("utf-8")
                doc = parse_exact(text)
                if all(key in doc for key in STORE_KEYS) and canonical(doc) == text:
                    _add(found, str(doc["session"]), int(doc["seq"]), text)
            except (ValueError, TypeError, RecursionError):
                continue


def _add(found: Found, session: str, seq: int, text: bytes) -> None:
    texts = found.setdefault(session, {}).setdefault(seq, [])
    if text not in texts:
        texts.append(text)


# --- building the new log --------------------------------------------------------------------------------


def _build(building: Path, found: Found, documents: dict[str, tuple[str, str]], at: str) -> tuple[int, int]:
    """A new log with the longest valid chain of every session. Gives (events kept, pieces left)."""
    kept = left = 0
    con = connect_writing(building)
    try:
        tables.migrate(con, at)
        con.execute("BEGIN IMMEDIATE")
        for session, pieces in sorted(found.items(), key=lambda item: _first_wall(item[1])):
            rows = _longest(session, pieces)
            events, _ = read_chain(session, rows)
            left += sum(map(len, pieces.values())) - len(events)
            if events:
                tables.add_session(con, session, events[0])
                tables.insert_events(con, session, zip(events, (text for _, text in rows), strict=False))
                tables.derive(con, session, events)
                kept += len(events)
        con.executemany("INSERT INTO documents VALUES (?, ?, ?)", [(k, *v) for k, v in documents.items()])
        con.execute("COMMIT")
        con.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    finally:
        con.close()
    with building.open("rb+") as file:
        os.fsync(file.fileno())
    return kept, left


def _longest(session: str, pieces: dict[int, list[bytes]]) -> list[tuple[int, bytes]]:
    """From event 1 on, the piece that names the hash of the one before; of several, the one that leads on."""
    rows: list[tuple[int, bytes]] = []
    prev, seq = NOTHING_BEFORE, 1
    while True:
        fits = [text for text in pieces.get(seq, []) if _prev(text) == prev]
        if not fits:
            return rows
        wanted = {_prev(text) for text in pieces.get(seq + 1, [])}
        best = next((text for text in fits if link_hash(text) in wanted), fits[0])
        rows.append((seq, best))
        prev, seq = link_hash(best), seq + 1


def _prev(text: bytes) -> str | None:
    try:
        return str(json.loads(text)["prev"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _first_wall(pieces: dict[int, list[bytes]]) -> str:
    """When a session began, so that the new list has the old order (UTC offsets aside)."""
    try:
        return str(json.loads(pieces[min(pieces)][0])["at"]["wall"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return ""
