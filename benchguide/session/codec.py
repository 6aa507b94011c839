"""Facts to JSON documents and back. Does not store, chain or fold them.

When the fields of an event change, raise its `v` and add one function to `UPGRADES` that lifts the old
data by one version; old logs stay readable for ever.
"""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from benchguide.session.events import KINDS, Fact
from benchguide.session.moment import moment_from_doc

Data = dict[str, Any]

#: (kind, old version) -> function from old data to data of the next version
UPGRADES: dict[tuple[str, int], Callable[[Data], Data]] = {}


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
    kind, version = doc.get("kind"), doc.get("v")
    cls = KINDS.get(str(kind))
    if cls is None or not isinstance(version, int) or version > cls.v:
        raise UnknownEvent(
            f"The log holds an entry of kind {kind!r} version {version!r}, written by a newer Benchguide. "
            "Open it with that version."
        )
    try:
        data = doc["data"]
        while version < cls.v:
            data = UPGRADES[(cls.__name__, version)](data)
            version += 1
        return Fact(moment_from_doc(doc["at"]), doc["by"], cls(**data))
    except (KeyError, TypeError, ValueError) as error:
        raise UnknownEvent(f"An entry of kind {kind} cannot be read: {error}.") from error
