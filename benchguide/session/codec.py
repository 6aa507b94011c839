"""Facts to JSON documents and back. Does not store, chain or fold them.

When the fields of an event change, raise its `v` and add one function to `UPGRADES` that lifts the old
data by one version; old logs stay readable for ever.
"""

from collections.abc import Callable
from dataclasses import asdict, fields
from functools import cache
from typing import Any, get_origin

from benchguide.session.codec_seen import check_seen
from benchguide.session.events import KINDS, Event, Fact, WayBackLaid
from benchguide.session.moment import moment_from_doc
from benchguide.session.route import check_docs

Data = dict[str, Any]

#: (kind, old version) -> function from old data to data of the next version
UPGRADES: dict[tuple[str, int], Callable[[Data], Data]] = {
    # photos were not judged then
    ("PhotoTaken", 1): lambda old: {**old, "faults": []},
}


class UnknownEvent(ValueError):
    """The log holds an event this version cannot read; the sentence says so."""


def fact_to_doc(fact: Fact) -> Data:
    """The JSON form of a fact: kind, v, at, by, data."""
    return {
        "kind": type(fact.what).__name__,
        "v": type(fact.what).v,
        "at": fact.at.to_doc(),
        "by": fact.by,
        "data": asdict(fact.what),
    }


def fact_from_doc(doc: Data) -> Fact:
    """Inverse of `fact_to_doc`; raises UnknownEvent with one sentence when it cannot be read."""
    if not isinstance(doc, dict):
        raise UnknownEvent("An entry of the log is no JSON object.")
    kind, version = doc.get("kind"), doc.get("v")
    cls = KINDS.get(str(kind))
    if cls is None or type(version) is not int or version > cls.v:
        raise UnknownEvent(
            f"The log holds an entry of kind {kind!r} version {version!r}, written by a newer Benchguide. "
            "Open it with that version."
        )
    try:
        data = doc["data"]
        while version < cls.v:
            data = UPGRADES[(cls.__name__, version)](data)
            version += 1
        by = doc["by"]
        if not isinstance(by, str):
            raise TypeError("the person is no text")
        return Fact(moment_from_doc(doc["at"]), by, _event(cls, data))
    except KeyError as error:
        raise UnknownEvent(f"An entry of kind {kind} cannot be read: {error} is missing.") from error
    except (TypeError, ValueError) as error:
        raise UnknownEvent(f"An entry of kind {kind} cannot be read: {error}.") from error


def _event(cls: type[Event], data: Data) -> Event:
    """The event with its fields checked: a wrong type found here cannot upset the fold later."""
    names, kinds = _fields(cls.__name__)
    values = [data[name] for name in names]
    if tuple(map(type, values)) != kinds:
        values = [_fitting(*three) for three in zip(names, kinds, values, strict=True)]
    if len(data) != len(values):
        raise ValueError("it has fields that are not known")
    event = cls(*values)
    if isinstance(event, WayBackLaid):
        check_docs(event.steps)
    check_seen(event)
    return event


def _fitting(name: str, kind: type, value: object) -> object:
    if kind is float and type(value) is int:
        return float(value)  # canonical JSON writes 4.0 as 4
    if type(value) is not kind:
        raise TypeError(f"{name} cannot be {value!r}")
    return value


@cache
def _fields(kind: str) -> tuple[tuple[str, ...], tuple[type, ...]]:
    """Names and plain types of the fields of a kind of event, in order."""
    found = fields(KINDS[kind])
    plain: list[Any] = [get_origin(field.type) or field.type for field in found]
    return tuple(field.name for field in found), tuple(plain)
