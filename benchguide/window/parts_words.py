"""Answers of session.look in words: what is in the way of a part, what a step would bar, which places are empty.

Only words and rows; nothing is asked, decided or drawn here.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchguide.procedure.device import Part
from benchguide.procedure.planner_why import one_line
from benchguide.review.words import count
from benchguide.session.look import (
    Bar,
    EmptyPlaces,
    InTheWay,
    empty_places,
    in_the_way_off,
    in_the_way_on,
    would_block,
)
from benchguide.session.state import State
from benchguide.window.plan_words import found_by
from benchguide.window.records_rows import Row
from benchguide.window.widgets.marks import screw_letters, screw_size

#: parts that one sentence names
MOST_TOLD = 6
HOW = {"holds": "holds it", "covers": "lies over it", "energy": "has to be parted from its energy first"}
HOW_MANY = {"holds": "hold it", "covers": "lie over it", "energy": HOW["energy"]}
#: the same for a part that goes back: what it would hold or cover must go in first
HOW_ON = {
    "holds": "is still out and is held by it",
    "covers": "is still out and lies under it",
    "energy": "goes back before the energy",
}


def name_of(state: State, part: str) -> str:
    """The part's name in one line."""
    return one_line(state.job.device.by_id[part].name)


def where_words(state: State, part: str) -> str:
    """Where the pieces of a part are: `in the device`, `3 of 4 out, cell A7`, `1 of 4 gone`."""
    known = state.job.device.by_id[part]
    out, gone = state.ledger.pieces_of(part), state.gone.get(part, 0)
    cells = dict.fromkeys(item.cell for item in state.ledger.items_of(part) if item.cell)
    said = []
    if out:
        many = f"{out} of {known.pieces} out" if known.pieces > 1 else "out"
        said.append(f"{many}, cell {' and '.join(cells)}" if cells else many)
    if gone:
        said.append(f"{gone} of {known.pieces} gone" if known.pieces > 1 else "gone")
    return "; ".join(said) or "in the device"


def part_rows(state: State, text: str, empty_only: bool) -> list[Row]:
    """The parts a search finds, in the order of the part map, with where they are now."""
    letters = screw_letters(state.job.device)
    empty = {place.part for place in empty_places(state)} if empty_only else set()
    rows = []
    for part in state.job.device.parts:
        if not found_by(part, text) or (empty_only and part.id not in empty):
            continue
        rows.append(
            Row(
                part.id, one_line(part.name), "", (f"{_kind(part, letters)} · {where_words(state, part.id)}",)
            )
        )
    return rows


def _kind(part: Part, letters: dict[str, str]) -> str:
    return f"{letters[part.id]}: {screw_size(part)}" if part.screws else part.kind.value


def answer_rows(state: State, part: str) -> list[Row]:
    """All that can be said of one part now, and what the present step would bar."""
    rows = [Row("where", name_of(state, part), "", (where_words(state, part),))]
    if state.in_device(part):
        rows += _way_rows(state, in_the_way_off(state, part), "off")
    if state.ledger.is_out(part):
        rows += _way_rows(state, in_the_way_on(state, part), "on")
    return [*rows, step_row(state)]


def bars_of(state: State, part: str) -> list[str]:
    """The parts directly in the way of this one, in the order of `answer_rows`."""
    found: list[Bar] = []
    if state.in_device(part):
        found += in_the_way_off(state, part).next
    if state.ledger.is_out(part):
        found += in_the_way_on(state, part).next
    return list(dict.fromkeys(bar.part for bar in found))


def _way_rows(state: State, way: InTheWay, direction: str) -> list[Row]:
    doing = "come off" if direction == "off" else "go back"
    rows = []
    if way.free:
        rows.append(Row(f"free-{direction}", f"Nothing is in its way: it may {doing}.", ""))
    else:
        rows.append(Row(f"way-{direction}", f"In the way before it can {doing}:", ""))
    for number, bar in enumerate(way.next, 1):
        rows.append(
            Row(f"{direction}/{bar.part}", name_of(state, bar.part), "", (_bar(bar, direction),), str(number))
        )
    if way.further:
        rows.append(Row(f"further-{direction}", "And before those:", "", (_listed(state, way.further),)))
    if way.gates:
        told = tuple(gate.told for gate in way.gates)
        rows.append(Row(f"gates-{direction}", "Hold points a hand would meet now:", "", told))
    return rows


def _bar(bar: Bar, direction: str) -> str:
    pieces = count(bar.pieces, "piece")
    if direction == "on":
        return f"{pieces}: {HOW_ON[bar.how]}"
    return f"{pieces}: {(HOW if bar.pieces == 1 else HOW_MANY)[bar.how]}"


def step_row(state: State) -> Row:
    """What the present step would make impossible until it is undone."""
    blocked = would_block(state, state.step)
    if blocked.nothing:
        return Row("step", "This step would be in nobody's way.", "", (state.step.text,))
    said = [state.step.text]
    if blocked.must_wait:
        said.append(f"Could not go back any more: {_listed(state, blocked.must_wait)}.")
    if blocked.shut_in:
        said.append(f"Could not come off any more: {_listed(state, blocked.shut_in)}.")
    return Row("step", "This step would bar:", "", tuple(said))


def blocked_words(state: State) -> str:
    """In one sentence: what bars the present step, else what it would bar. For a voice and the message line."""
    step = state.step
    held = list(
        dict.fromkeys(bar for part in step.parts for bar in bars_of(state, part) if bar not in step.parts)
    )
    if held:
        return f"In the way of this step: {_listed(state, held)}."
    blocked = would_block(state, step)
    if not blocked.nothing:
        return (
            f"Nothing bars this step. It would bar: {_listed(state, (*blocked.must_wait, *blocked.shut_in))}."
        )
    return "Nothing bars this step, and it would be in nobody's way."


def empty_count(state: State) -> str:
    """How many places are empty, in few words."""
    places = empty_places(state)
    if not places:
        return "No place is empty."
    return f"{count(sum(place.empty for place in places), 'place')} empty, of {count(len(places), 'part')}"


def empty_words(state: State) -> str:
    """How many places are empty, in one sentence."""
    places = empty_places(state)
    if not places:
        return empty_count(state)
    rest = f" and {len(places) - MOST_TOLD} more" if len(places) > MOST_TOLD else ""
    return f"{empty_count(state)}: {_empty(state, places[:MOST_TOLD])}{rest}."


def _empty(state: State, places: Iterable[EmptyPlaces]) -> str:
    return ", ".join(f"{name_of(state, p.part)} {p.empty} of {p.of}" for p in places)


def _listed(state: State, parts: Iterable[str]) -> str:
    return ", ".join(name_of(state, part) for part in parts)
