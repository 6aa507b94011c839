"""Facts to documents and back, across versions."""

import json
from dataclasses import dataclass, fields
from typing import Any, ClassVar

import pytest

from benchguide.session import codec, events
from benchguide.session.events import KINDS, Event, Fact
from tests.session.small_job import FakeClock

SAMPLES: dict[Any, Any] = {
    str: "a \u00fc \u65e5",
    int: 3,
    float: 2.5,
    bool: True,
    dict[str, object]: {"wall": "x", "boot_us": 1},
    list[str]: ["shaken", "glare"],
    list[dict[str, object]]: [
        {"step": "a"},
        {
            "id": "b",
            "stage": "way-back",
            "action": "on",
            "text": "Put it back.",
            "parts": ["lid"],
            "time_s": [5, 20],
        },
    ],
}


CANDIDATE = {"x": 1, "y": 2, "w": 3, "h": 4, "found": [1, 2, 3, 4], "score": 0.5, "hint": "a"}
CELL = {
    "cell": "A1",
    "count": None,
    "at_least": 1,
    "items": [{"kind": "screw", "length_mm": 4.5, "sigma_mm": None}],
    "reason": "Parts touch: spread them.",
    "expected": 2,
    "verdict": "cannot tell",
    "told": "A1: Parts touch: spread them.",
}
#: fields whose type alone does not say what they hold
HOLDING: dict[tuple[str, str], Any] = {
    ("PhotosCompared", "candidates"): [CANDIDATE],
    ("MatRead", "cells"): [CELL],
}


def sample(kind: type[Event]) -> Fact:
    values = {f.name: HOLDING.get((kind.__name__, f.name), SAMPLES.get(f.type)) for f in fields(kind)}
    return Fact(FakeClock().now(), "Ada", kind(**values))


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_every_kind_comes_back_as_it_was(kind: type[Event]) -> None:
    fact = sample(kind)
    text = json.dumps(codec.fact_to_doc(fact), allow_nan=False)
    assert codec.fact_from_doc(json.loads(text)) == fact


def test_every_event_is_listed() -> None:
    written = {n for n, c in vars(events).items() if isinstance(c, type) and issubclass(c, Event)}
    assert written == {"Event", *KINDS}


def doc_of(kind: str = "NoteAdded") -> dict[str, Any]:
    return codec.fact_to_doc(sample(KINDS[kind]))


@pytest.mark.parametrize(
    "change", [{"kind": "LampLit"}, {"kind": None}, {"v": 2}, {"v": None}, {"v": "1"}, {"v": True}]
)
def test_what_a_newer_version_wrote_is_told_as_such(change: dict[str, Any]) -> None:
    with pytest.raises(codec.UnknownEvent, match=r"written by a newer Benchguide\. Open it"):
        codec.fact_from_doc({**doc_of(), **change})


@pytest.mark.parametrize(
    "change",
    [
        {"data": {}},
        {"data": {"step": "s", "text": "t", "more": 1}},
        {"data": {"step": "s", "text": 5}},
        {"data": {"step": None, "text": "t"}},
        {"data": None},
        {"data": []},
        {"at": {}},
        {"at": "now"},
        {"by": 7},
        {"v": 0},
    ],
)
def test_a_damaged_entry_is_one_sentence(change: dict[str, Any]) -> None:
    with pytest.raises(codec.UnknownEvent, match="NoteAdded"):
        codec.fact_from_doc({**doc_of(), **change})


@pytest.mark.parametrize("pieces", ["4", 4.0, True, None])
def test_a_count_is_a_whole_number(pieces: object) -> None:
    doc = doc_of("PartCameOff")
    doc["data"] = {**doc["data"], "pieces": pieces}
    with pytest.raises(codec.UnknownEvent, match="PartCameOff"):
        codec.fact_from_doc(doc)


def test_a_measured_value_may_be_a_whole_number() -> None:
    doc = doc_of("ReadingTaken")
    doc["data"] = {**doc["data"], "value": 4}
    assert codec.fact_from_doc(doc).what.value == 4.0  # type: ignore[attr-defined]


def test_a_document_that_is_no_object() -> None:
    with pytest.raises(codec.UnknownEvent):
        codec.fact_from_doc([])  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class LampChanged(Event):
    """A made-up kind in its third version: first `lamp`, then `lamp` and `room`, now `place`."""

    v: ClassVar[int] = 3

    place: str


def test_old_entries_are_lifted_version_by_version(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, "LampChanged", LampChanged)
    monkeypatch.setitem(codec.UPGRADES, ("LampChanged", 1), lambda old: {**old, "room": "shop"})
    monkeypatch.setitem(
        codec.UPGRADES, ("LampChanged", 2), lambda old: {"place": f"{old['room']}/{old['lamp']}"}
    )
    doc = codec.fact_to_doc(Fact(FakeClock().now(), "Ada", LampChanged("x")))
    first = {**doc, "v": 1, "data": {"lamp": "left"}}
    second = {**doc, "v": 2, "data": {"lamp": "left", "room": "store"}}
    assert codec.fact_from_doc(first).what == LampChanged("shop/left")
    assert codec.fact_from_doc(second).what == LampChanged("store/left")
    assert first["data"] == {"lamp": "left"}
    with pytest.raises(codec.UnknownEvent, match="newer"):
        codec.fact_from_doc({**doc, "v": 4})


def test_a_missing_upgrade_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, "LampChanged", LampChanged)
    doc = codec.fact_to_doc(Fact(FakeClock().now(), "Ada", LampChanged("x")))
    with pytest.raises(codec.UnknownEvent, match="cannot be read"):
        codec.fact_from_doc({**doc, "v": 2})


@pytest.mark.parametrize(
    "steps",
    [
        [{"id": "a"}],
        [{"step": 5}],
        ["a"],
        [{"id": "a", "stage": "way-back", "action": "on", "text": "Put it back.", "colour": "red"}],
    ],
)
def test_a_damaged_way_back_is_one_sentence(steps: list[object]) -> None:
    doc = doc_of("WayBackLaid")
    doc["data"] = {**doc["data"], "steps": steps}
    with pytest.raises(codec.UnknownEvent, match="WayBackLaid") as caught:
        codec.fact_from_doc(doc)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "name", "value"),
    [
        ("PhotoTaken", "faults", [1]),
        ("PhotosCompared", "candidates", ["a"]),
        ("PhotosCompared", "candidates", [{**CANDIDATE, "w": "3"}]),
        ("PhotosCompared", "candidates", [{**CANDIDATE, "found": [1, 2]}]),
        ("PhotosCompared", "candidates", [{**CANDIDATE, "more": 1}]),
        ("PhotosCompared", "candidates", [{**CANDIDATE, "hint": None}]),
        ("MatRead", "cells", [{**CELL, "count": True}]),
        ("MatRead", "cells", [{**CELL, "items": {}}]),
        ("MatRead", "cells", [{**CELL, "items": [{"kind": "screw", "length_mm": "4", "sigma_mm": None}]}]),
        ("MatRead", "cells", [{**CELL, "told": 4}]),
        ("MatRead", "warnings", [None]),
    ],
)
def test_a_damaged_list_is_one_sentence(kind: str, name: str, value: object) -> None:
    doc = doc_of(kind)
    doc["data"] = {**doc["data"], name: value}
    with pytest.raises(codec.UnknownEvent, match=kind) as caught:
        codec.fact_from_doc(doc)
    assert "\n" not in str(caught.value)


def test_a_photo_of_the_first_version_was_not_judged() -> None:
    doc = doc_of("PhotoTaken")
    first = {key: value for key, value in doc["data"].items() if key != "faults"}
    fact = codec.fact_from_doc({**doc, "v": 1, "data": first})
    assert fact.what.faults == []  # type: ignore[attr-defined]
