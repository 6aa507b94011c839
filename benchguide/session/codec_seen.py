"""Checks of the plain lists inside facts about pictures, so that a damaged entry cannot upset whoever reads them.

Part of codec.py, which alone calls this.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from benchguide.session.events import Event, MatRead, PhotosCompared, PhotoTaken

NUMBER = (int, float)


def check_seen(event: Event) -> None:
    """Raises ValueError or TypeError with a few words for a list that does not hold what it should."""
    check = CHECKS.get(type(event))
    if check is not None:
        check(event)


def _photo(event: PhotoTaken) -> None:
    _texts("faults", event.faults)


def _compared(event: PhotosCompared) -> None:
    for each in event.candidates:
        _candidate(each)


def _mat(event: MatRead) -> None:
    _texts("warnings", event.warnings)
    for each in event.cells:
        _cell(each)


#: looked up once for each entry of a log of thousands
CHECKS: dict[type, Callable[[Any], None]] = {PhotoTaken: _photo, PhotosCompared: _compared, MatRead: _mat}


def _texts(name: str, values: Sequence[object]) -> None:
    if not all(isinstance(value, str) for value in values):
        raise TypeError(f"{name} must be texts")


def _candidate(doc: object) -> None:
    doc = _object(doc, {"x", "y", "w", "h", "found", "score", "hint"})
    box = [doc[name] for name in "xywh"]
    found = doc["found"]
    if not isinstance(found, list) or len(found) != 4 or not _numbers([*box, *found, doc["score"]]):
        raise TypeError("a candidate has no box")
    _texts("hint", [doc["hint"]])


def _cell(doc: object) -> None:
    doc = _object(doc, {"cell", "count", "at_least", "items", "reason", "expected", "verdict", "told"})
    _texts("a cell", [doc[name] for name in ("cell", "reason", "verdict", "told")])
    if not _numbers([doc["at_least"], doc["expected"], 0 if doc["count"] is None else doc["count"]]):
        raise TypeError("a cell has no count")
    items = doc["items"]
    if not isinstance(items, list):
        raise TypeError("a cell has no items")
    for item in items:
        item = _object(item, {"kind", "length_mm", "sigma_mm"})
        _texts("an item", [item["kind"]])
        if not _numbers([v for v in (item["length_mm"], item["sigma_mm"]) if v is not None]):
            raise TypeError("an item has no length")


def _object(doc: object, names: set[str]) -> Mapping[str, object]:
    if not isinstance(doc, dict) or set(doc) != names:
        raise ValueError(f"a list entry must have {', '.join(sorted(names))}")
    return doc


def _numbers(values: Sequence[object]) -> bool:
    return all(type(value) in NUMBER for value in values)
