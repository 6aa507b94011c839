"""Ways in, judged by a simulator of its own: what comes off, the rules kept, keep, sentences, hostile maps.

The simulator shares no code with the planner: it reads the part map as plain data and takes parts off one by one.
"""

import itertools
import json
from pathlib import Path
from typing import Any

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.planner import CannotReach, WayIn, plan_way_in
from benchguide.procedure.planner_text import plan_doc, plan_text
from benchguide.procedure.shelf import Shelf

SHELF = Shelf([Path(__file__).parents[2] / "procedures"])
DEVICES = [entry.loaded.model for entry in SHELF.devices() if entry.loaded]
HEAD = {"benchguide": "device/1", "id": "d", "name": "D", "about": "A"}
OUTLINE = {"width_mm": 9, "height_mm": 9}


def device(*parts: dict[str, Any]) -> DeviceMap:
    made = [{"kind": "loose", "name": f"Part {part['id']}", **part} for part in parts]
    return DeviceMap.model_validate({**HEAD, "outline": OUTLINE, "parts": made})


@st.composite
def maps(draw: st.DrawFn, most: int = 14) -> DeviceMap:
    """Part maps without loops, with up to two connectors that isolate, in any order of writing."""
    count = draw(st.integers(1, most))
    parts = []
    for number in range(count):
        earlier = st.lists(st.integers(0, number - 1), max_size=2) if number else st.just([])
        kind = draw(st.sampled_from(["loose", "cover", "connector", "connector", "module", "bond"]))
        tool = draw(st.sampled_from([None, "driver", "lever", "pick"]))
        part = {
            "id": f"p{number}",
            "name": draw(st.sampled_from(["Deckel", "Крышка", "蓋", "غطاء", "🔩 plate", "e\u0301cran"])),
            "kind": kind,
            "face": draw(st.sampled_from(["back", "front"])),
            "held_by": [f"p{n}" for n in draw(earlier)],
            "under": [f"p{n}" for n in draw(earlier)],
            "isolates": ["cell"] if kind == "connector" and draw(st.integers(0, 3)) == 0 else [],
        }
        if part["isolates"] and draw(st.integers(0, 2)) == 0:
            # a supply from outside instead of a cell
            part["isolates"] = [f"p{draw(st.integers(0, count - 1))}"]
        parts.append(part | ({"tool": tool} if tool else {}))
    if draw(st.integers(0, 3)) == 0:
        exposed = f"p{draw(st.integers(0, count - 1))}"
        stored = {"quantity": "charge", "unit": "V", "full": 100, "gone_at": 5, "exposed_by": exposed}
        parts[draw(st.integers(0, count - 1))]["stores"] = stored
    return device(*draw(st.permutations(parts)))


CONDUCTORS = ("connector", "module", "cell")


def cuts_outside(found: DeviceMap) -> list[str]:
    """The connectors that isolate something that is not a cell."""
    kinds = {part.id: part.kind.value for part in found.parts}
    return [p.id for p in found.parts if any(kinds.get(name, "cell") != "cell" for name in p.isolates)]


def powered_first(found: DeviceMap) -> bool:
    """Whether isolation comes before everything: stored energy, or a connector that isolates no cell."""
    return any(part.stores for part in found.parts) or bool(cuts_outside(found))


def needed(found: DeviceMap, target: str) -> set[str]:
    """The smallest set by networkx: all behind the target, all behind isolation when it is asked for, and all
    behind the measuring of stored energy when conductors are touched."""
    graph = nx.DiGraph()
    graph.add_nodes_from(part.id for part in found.parts)
    graph.add_edges_from((part.id, other) for part in found.parts for other in part.held_by + part.under)

    def behind(names: list[str]) -> set[str]:
        return set(names).union(*(nx.descendants(graph, name) for name in names))

    free = behind([part.id for part in found.parts if part.isolates])
    measuring = behind([part.stores.exposed_by for part in found.parts if part.stores])
    out = behind([target])
    kinds = {part.id: part.kind.value for part in found.parts}
    if any((powered_first(found) or kinds[name] == "connector") and name not in free for name in out):
        out |= free
    outside = behind(cuts_outside(found))
    if outside and out - outside:
        out |= outside
    if measuring and any(kinds[name] in CONDUCTORS and name not in measuring | free for name in out):
        out |= measuring
    return out


def simulate(found: DeviceMap, order: list[str]) -> None:
    """Take the parts off one after another and fail at the first that cannot or must not move."""
    data = json.loads(found.model_dump_json())["parts"]
    by_name = {part["id"]: part for part in data}

    def behind(names: list[str]) -> set[str]:
        seen, waiting = set(), list(names)
        while waiting:
            name = waiting.pop()
            if name not in seen:
                seen.add(name)
                waiting += by_name[name]["held_by"] + by_name[name]["under"]
        return seen

    isolators = [part["id"] for part in data if part["isolates"]]
    openers = [part["stores"]["exposed_by"] for part in data if part["stores"]]
    live_allowed, unmeasured = behind(isolators), behind(openers)
    outside = behind(cuts_outside(found))
    off: set[str] = set()
    for name in order:
        part = by_name[name]
        assert name not in off, f"{name} comes off twice"
        if name not in outside:
            assert off.issuperset(cuts_outside(found)), f"{name} comes off before the supply is cut off"
        for other in part["held_by"] + part["under"]:
            assert other in off, f"{name} comes off while {other} holds or covers it"
        if (part["kind"] == "connector" or powered_first(found)) and name not in live_allowed:
            assert off.issuperset(isolators), f"{name} comes off before isolation"
        if part["kind"] in CONDUCTORS and name not in live_allowed | unmeasured:
            assert off.issuperset(openers), f"{name} comes off before the stored energy can be measured"
        off.add(name)


def judge(found: DeviceMap, way: WayIn) -> None:
    """Everything a plan promises, computed again from its removals."""
    order = [removal.part.id for removal in way.removals]
    simulate(found, order)
    assert set(order) == needed(found, way.target.id)
    assert order[-1] == way.target.id
    assert {part.id for part in way.stays} == {part.id for part in found.parts} - set(order)
    judge_isolation(found, order)
    tools = [removal.part.tool for removal in way.removals if removal.part.tool]
    assert way.tool_changes == sum(a != b for a, b in itertools.pairwise(tools))
    assert way.tool_changes == sum(removal.changes_tool for removal in way.removals)
    faces = [removal.part.face for removal in way.removals]
    assert way.flips == sum(a != b for a, b in itertools.pairwise(faces))
    assert way.flips == sum(removal.flips for removal in way.removals)
    assert [tool for tool, _ in way.tools] == list(dict.fromkeys(tools))
    assert way.cost == way.tool_changes + 2 * way.flips
    assert way.tool_bound <= way.tool_changes
    assert way.bound <= way.cost
    assert way.exact == (way.bound == way.cost)
    timed = [removal.part.off_s for removal in way.removals if removal.part.off_s]
    assert way.time_s == (sum(low for low, _ in timed), sum(high for _, high in timed))
    assert len(way.untimed) + len(timed) == len(order)
    assert json.loads(json.dumps(plan_doc(way))) == plan_doc(way)
    text = plan_text(way)
    assert all(removal.part.name in text and removal.why in text for removal in way.removals)


def judge_isolation(found: DeviceMap, order: list[str]) -> None:
    """By networkx: up to the last connector that isolates, only what bars the way to one of them comes off."""
    graph = nx.DiGraph()
    graph.add_nodes_from(part.id for part in found.parts)
    graph.add_edges_from((other, part.id) for part in found.parts for other in part.held_by + part.under)
    isolators = [part.id for part in found.parts if part.isolates and part.id in order]
    barring = set(isolators).union(*(nx.ancestors(graph, name) for name in isolators))
    last = max((order.index(name) for name in isolators), default=-1)
    assert set(order[: last + 1]) == barring


CASES = [(found, part.id) for found in DEVICES for part in found.parts]


@pytest.mark.parametrize(("found", "target"), CASES, ids=[f"{d.id}-{t}" for d, t in CASES])
def test_every_part_of_the_bundled_devices(found, target):
    judge(found, plan_way_in(found, target))


@settings(max_examples=400, deadline=None)
@given(maps(), st.randoms())
def test_random_maps(found, dice):
    way = plan_way_in(found, dice.choice(found.parts).id)
    judge(found, way)
    assert way.exact


@settings(max_examples=60, deadline=None)
@given(maps(60), st.randoms())
def test_larger_random_maps(found, dice):
    judge(found, plan_way_in(found, dice.choice(found.parts).id))


@settings(max_examples=300, deadline=None)
@given(maps(), st.randoms())
def test_keep_is_respected_or_refused_with_the_rule_that_forbids_it(found, dice):
    target, kept = dice.choice(found.parts).id, dice.choice(found.parts).id
    if kept not in needed(found, target):
        way = plan_way_in(found, target, [kept])
        judge(found, way)
        assert [part.id for part in way.keep] == [kept]
        return
    with pytest.raises(CannotReach) as caught:
        plan_way_in(found, target, [kept])
    error = caught.value
    assert error.part == kept
    if error.rule in ("held_by", "under"):
        assert kept in getattr(found.by_id[error.other], error.rule)
        assert error.other in needed(found, target)
    elif error.rule == "target":
        assert kept == target
    elif error.rule == "stored":
        assert any(part.stores for part in found.parts)
    else:
        assert error.rule == "isolation"
        assert any(part.isolates for part in found.parts)
    assert str(error).endswith(".")
    assert "must stay, but" in str(error)


LAMP = device(
    {"id": "screws", "kind": "screws", "name": "Lid screws", "tool": "driver", "off_s": [20, 40],
     "screws": {"count": 4, "drive": "cross PH00", "thread": "M2", "length_mm": 4},
     "cautions": [{"word": "CAUTION", "text": "Mind the spring."}]},
    {"id": "lid", "name": "Lid", "kind": "cover", "held_by": ["screws"], "off_s": [5, 10]},
    {"id": "shield", "name": "LED shield", "kind": "cover", "face": "front", "tool": "lever"},
    {"id": "plug", "name": "Cell plug", "kind": "connector", "isolates": ["cell", "spare"], "under": ["lid"]},
    {"id": "cell", "name": "Cell", "kind": "cell", "held_by": ["plug"]},
    {"id": "cable", "name": "Cable", "kind": "connector", "under": ["shield"]},
    {"id": "knob", "name": "Knob", "held_by": ["cable"], "under": ["shield"]},
)  # fmt: skip


def test_the_reasons_of_a_small_lamp():
    way = plan_way_in(LAMP, "knob")
    assert {removal.part.id: removal.why for removal in way.removals} == {
        "screws": "because they hold the lid down",
        "lid": "because it lies over the cell plug",
        "shield": "because it lies over the cable and the knob",
        "plug": "because it isolates the cell and spare before other connectors are opened",
        "cable": "because it keeps the knob connected",
        "knob": "because it is the part to be reached",
    }
    assert [part.id for part in way.stays] == ["cell"]
    assert (way.time_s, [part.id for part in way.untimed]) == (
        (25, 50),
        [removal.part.id for removal in way.removals if removal.part.id not in ("screws", "lid")],
    )
    assert (way.tool_changes, way.flips, way.exact) == (1, 2, True)


def test_what_does_not_bar_the_way_to_isolation_comes_off_after_it():
    """The warm bond lies first in hand, and the shield takes no change of tool; both wait for the cell plug."""
    bond = {"id": "bond", "name": "Bond", "kind": "bond", "tool": "pick", "heat": {"for_s": 60}}
    lamp = [part.model_dump(exclude_unset=True) for part in LAMP.parts]
    shield = next(part for part in lamp if part["id"] == "shield")
    shield["held_by"] = ["bond"]
    way = plan_way_in(device(bond, *lamp), "knob")
    assert [removal.part.id for removal in way.removals] == [
        "screws", "lid", "plug", "bond", "shield", "cable", "knob",
    ]  # fmt: skip
    # and on the way to the cell, where no other connector is opened
    spare = {"id": "foam", "name": "Foam", "kind": "loose", "under": ["lid"]}
    lamp[4]["under"] = ["foam"]
    way = plan_way_in(device(spare, *lamp), "cell")
    assert [removal.part.id for removal in way.removals] == ["screws", "lid", "plug", "foam", "cell"]


@pytest.mark.parametrize(
    ("name", "plural"),
    [
        ("Storage capacitors", True),
        ("Screws under the rubber strip", True),
        ("Nut and washer of the encoder", True),
        ("Set of four rubber mounts", False),
        ("Tape over the lugs", False),
        ("Compass", False),
        ("Lens", False),
        ("Chassis", False),
        ("Aerial bus", False),
        ("s", False),
    ],
)
def test_names_of_several_things_take_the_plural(name, plural):
    found = device({"id": "a", "name": name}, {"id": "b", "held_by": ["a"]})
    because = [removal.why for removal in plan_way_in(found, "b").removals]
    assert because[0] == f"because {'they hold' if plural else 'it holds'} the part b down"
    assert plan_way_in(found, "a").removals[0].why == (
        "because they are the parts to be reached" if plural else "because it is the part to be reached"
    )


def test_one_more_is_named():
    parts = [{"id": f"p{n}", "name": f"Part {n}", "held_by": ["lid"]} for n in range(4)]
    found = device({"id": "lid", "name": "Lid"}, *parts)
    why = plan_way_in(found, "p0", also=["p1", "p2", "p3"]).removals[0].why
    assert why == "because it holds the part 0, the part 1, the part 2 and the part 3 down"


def test_the_text_tells_cautions_first_and_what_has_no_time():
    lines = plan_text(plan_way_in(LAMP, "knob")).splitlines()
    caution = next(n for n, line in enumerate(lines) if "CAUTION: Mind the spring." in line)
    assert "Lid screws (4 pieces), because they hold the lid down." in lines[caution + 1]
    assert "Expected time 0:25 min to 0:50 min." in lines
    assert any(line.startswith("No time is stated for 4 of 6:") for line in lines)
    assert any(line.strip().startswith("Turn the device:") for line in lines)
    assert lines[-1] == "Cost 5 (tool change 1, flip 2); no possible order costs less."


@pytest.mark.parametrize(
    ("target", "keep", "rule", "sentence"),
    [
        ("knob", ["shield"], "under", "The LED shield must stay, but it lies over the knob."),
        ("knob", ["cable"], "held_by", "The cable must stay, but it holds the knob."),
        ("cell", ["screws"], "held_by",
         "The lid screws must stay, but they hold the lid, which must come off to reach the cell."),
        ("knob", ["plug"], "isolation",
         ("The cell plug must stay, but it isolates the cell and spare before other connectors are opened"
         " to reach the knob.")),
        ("knob", ["lid"], "isolation",
         ("The lid must stay, but it lies over the cell plug, and the cell plug isolates the cell and spare"
         " before other connectors are opened to reach the knob.")),
        ("knob", ["knob"], "target", "The knob must stay, but it is the part to be reached."),
        ("knov", [], "unknown", "The part map has no part `knov`; perhaps `knob` is meant."),
        ("knob", ["🔩"], "unknown", "The part map has no part `🔩`; its names are in the part map."),
    ],
)  # fmt: skip
def test_what_cannot_be_reached_says_why(target, keep, rule, sentence):
    with pytest.raises(CannotReach) as caught:
        plan_way_in(LAMP, target, keep)
    assert (caught.value.rule, str(caught.value)) == (rule, sentence)


def test_a_loop_is_shown_by_its_names():
    knot = device({"id": "a", "held_by": ["b"]}, {"id": "b", "under": ["a"]}, {"id": "c"})
    with pytest.raises(CannotReach, match="a loop in which `a` needs `b` needs `a` off first") as caught:
        plan_way_in(knot, "a")
    assert caught.value.rule == "loop"
    assert len(plan_way_in(knot, "c").removals) == 1


def test_a_name_that_the_map_lacks_is_told():
    with pytest.raises(CannotReach, match="`ghost` holds or covers the part a, but has no such part"):
        plan_way_in(device({"id": "a", "held_by": ["ghost"]}), "a")


def test_names_that_would_break_a_line_stay_on_it():
    way = plan_way_in(
        device({"id": "a", "name": "Top\nplate"}, {"id": "b", "name": "\x1c", "held_by": ["a"]}), "b"
    )
    lines = plan_text(way).splitlines()
    assert any("Top plate, because it holds the '\\x1c' down." in line for line in lines)
    assert all(line.isprintable() for line in lines)


def test_many_tools_and_many_isolators_stay_quick():
    many = [
        {"id": f"i{n}", "kind": "connector", "isolates": ["x"], "tool": f"t{n}"} for n in range(1_500)
    ] + [{"id": f"c{n}", "kind": "connector", "tool": f"u{n}", "face": "front"} for n in range(1_500)]
    found = device(*many, {"id": "last", "under": [f"c{n}" for n in range(1_500)], "face": "front"})
    way = plan_way_in(found, "last")
    assert (way.tool_changes, way.flips, way.exact) == (2_999, 1, True)
    simulate(found, [removal.part.id for removal in way.removals])


def test_five_thousand_parts_in_one_chain_and_in_one_heap():
    tools = [{"tool": f"t{n % 7}"} for n in range(5_000)]
    chain = [{"id": f"p{n}", "held_by": [f"p{n - 1}"] if n else []} | tools[n] for n in range(5_000)]
    way = plan_way_in(device(*chain), "p4999")
    assert (way.tool_changes, way.exact) == (4_999, True)
    heap = [{"id": f"p{n}"} | tools[n] for n in range(4_999)]
    way = plan_way_in(device(*heap, {"id": "last", "under": [part["id"] for part in heap]}), "last")
    assert (way.tool_changes, way.exact) == (6, True)
