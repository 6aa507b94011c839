"""How one event is tied to the one before: canonical text, SHA-256, and reading a chain back.

Pure functions on bytes. Where the bytes lie is known in `log`.
"""

import gc
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import orjson

#: `prev` of the first event of a session
NOTHING_BEFORE = "0" * 64

#: what the store adds to an event document
STORE_KEYS = ("session", "seq", "prev")

EventDoc = Mapping[str, Any]

_SAFE_INT = 2**53 - 1


class StoredEvent(NamedTuple):
    """One event as it lies in the log. `hash` is the SHA-256 (hex) of its canonical text, `doc` the whole
    document with session, seq and prev."""

    seq: int
    hash: str
    doc: dict[str, Any]

    @property
    def session(self) -> str:
        return str(self.doc["session"])

    @property
    def prev(self) -> str:
        return str(self.doc["prev"])

    @property
    def kind(self) -> str:
        return str(self.doc["kind"])


class End(NamedTuple):
    """How many events a session has and the hash of the last, as kept in the list of sessions."""

    length: int
    head: str


class ChainBreak(NamedTuple):
    """The first event that is not what the chain says, and in what way."""

    seq: int
    why: str


def canonical(value: object) -> bytes:
    """RFC 8785 form of a JSON value, UTF-8. Raises ValueError for what JSON cannot hold (NaN, huge ints)."""
    if _is_plain(value):
        try:
            return orjson.dumps(value, option=orjson.OPT_SORT_KEYS)
        except TypeError as error:  # half of a surrogate pair, or nested too deep
            raise ValueError(f"An event cannot be written as JSON: {error}.") from error
    import rfc8785  # 20 ms, not needed to show the window

    return rfc8785.dumps(value)  # type: ignore[arg-type]


def _is_plain(value: object) -> bool:
    """Whether orjson gives the canonical form in a tenth of the time; exact types only, it knows many more.

    It differs from RFC 8785 in numbers with a fraction and in the order of names beyond ASCII, in nothing else.
    """
    kind = type(value)
    if kind is str or kind is bool or value is None:
        return True
    if kind is int:
        return -_SAFE_INT <= value <= _SAFE_INT  # type: ignore[operator]
    if kind is dict:
        for name, item in value.items():  # type: ignore[attr-defined]
            if type(name) is not str or not name.isascii() or not _is_plain(item):
                return False
        return True
    return kind is list and all(map(_is_plain, value))  # type: ignore[call-overload]


def link_hash(text: bytes) -> str:
    """Hex SHA-256 (FIPS 180-4) of the canonical text of an event or document."""
    return hashlib.sha256(text).hexdigest()


def parse_exact(text: bytes) -> Any:
    """JSON to values such that `canonical` gives the same text again.

    RFC 8785 writes 1e20 as 100000000000000000000, which Python would read as an int too large for JSON.
    """
    return json.loads(text.decode("utf-8"), parse_int=_number)


def _number(digits: str) -> int | float:
    number = int(digits) if len(digits) < 20 else float(digits)
    return number if isinstance(number, float) or -_SAFE_INT <= number <= _SAFE_INT else float(digits)


def link(session: str, seq: int, prev: str, docs: Iterable[EventDoc]) -> list[tuple[StoredEvent, bytes]]:
    """Chain documents on to event `seq` with hash `prev`; gives each event with its canonical text.

    Raises ValueError for a document that is not an event or cannot be written as JSON.
    """
    linked = []
    for doc in docs:
        _check_document(doc)
        seq += 1
        text = canonical({**doc, "session": session, "seq": seq, "prev": prev})
        prev = link_hash(text)
        # Decoded again on purpose: a live session works on exactly what a resumed one will read.
        linked.append((StoredEvent(seq, prev, orjson.loads(text)), text))
    return linked


def _check_document(doc: EventDoc) -> None:
    if not isinstance(doc.get("kind"), str) or not isinstance(doc.get("at"), Mapping):
        raise ValueError("An event document needs 'kind' (text) and 'at' (a moment).")
    for key in STORE_KEYS:
        if key in doc:
            raise ValueError(f"'{key}' of an event document is set by the store, not by the caller.")


def read_chain(
    session: str, rows: Sequence[tuple[int, bytes]], end: End | None = None
) -> tuple[list[StoredEvent], ChainBreak | None]:
    """Decode rows (seq, text) in order, as far as the chain holds.

    `end` is what the list of sessions says: no later event shows that the last one was altered or is missing.
    Gives the longest valid prefix and the break behind it, if any.
    """
    events: list[StoredEvent] = []
    prev = NOTHING_BEFORE
    sha256 = hashlib.sha256
    docs = _decode(rows)
    for expected, (seq, text) in enumerate(rows, 1):
        if seq != expected:
            return events, ChainBreak(expected, f"event {expected} is missing")
        try:
            doc = docs[expected - 1] if docs else orjson.loads(text)
            sound = doc["seq"] == seq and doc["session"] == session
            linked = doc["prev"] == prev
        except (ValueError, KeyError, TypeError, RecursionError):
            return events, ChainBreak(seq, f"event {seq} cannot be read")
        if not sound:
            return events, ChainBreak(seq, f"event {seq} says that it is another one")
        if not linked:
            return _wrong_link(events, rows, seq, end.head if end else None)
        prev = sha256(text).hexdigest()
        events.append(StoredEvent(seq, prev, doc))
    if end and len(rows) < end.length:
        return events, ChainBreak(len(rows) + 1, f"event {len(rows) + 1} is missing")
    if end and events and prev != end.head:
        last = events.pop()
        return events, ChainBreak(last.seq, f"event {last.seq} is not the last one that was stored")
    return events, None


def _decode(rows: Sequence[tuple[int, bytes]]) -> list[Any] | None:
    """All texts at once, which is a third faster than one by one; None when any of them is not JSON."""
    collecting = gc.isenabled()
    gc.disable()  # thousands of new dicts and no garbage among them
    try:
        docs = orjson.loads(b"[" + b",".join([text for _, text in rows]) + b"]")
    except (ValueError, RecursionError):
        return None
    finally:
        if collecting:
            gc.enable()
    return docs if len(docs) == len(rows) else None


def _wrong_link(
    events: list[StoredEvent], rows: Sequence[tuple[int, bytes]], seq: int, head: str | None
) -> tuple[list[StoredEvent], ChainBreak]:
    """Event `seq` does not name the hash of the one before: which of the two was altered?

    If the one after (or the kept head) vouches for `seq`, then it was the one before.
    """
    voucher = head
    if seq < len(rows):
        try:
            voucher = orjson.loads(rows[seq][1])["prev"]
        except (ValueError, KeyError, TypeError, RecursionError):
            voucher = None
    if events and voucher == link_hash(rows[seq - 1][1]):
        return events[:-1], ChainBreak(seq - 1, f"event {seq - 1} was altered")
    return events, ChainBreak(seq, f"event {seq} does not follow from the one before")
