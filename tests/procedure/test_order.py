"""Precedence against networkx as an independent reference, on random part maps."""

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.order import (
    before_isolation,
    blockers,
    blocks_refit,
    closure,
    closure_isolated,
    loops,
    needs,
)

HEAD = {
    "benchguide": "device/1",
    "id": "d",
    "name": "D",
    "about": "A",
    "outline": {"width_mm": 9, "height_mm": 9},
}


def device(parts: list[dict[str, object]]) -> DeviceMap:
    return DeviceMap.model_validate(
        {**HEAD, "parts": [{"kind": "loose", "name": "P", **part} for part in parts]}
    )


@st.composite
def maps(draw: st.DrawFn) -> DeviceMap:
    """Part maps without loops: a part needs only parts written before it."""
    count = draw(st.integers(1, 14))
    parts = []
    for number in range(count):
        earlier = st.lists(st.integers(0, number - 1), max_size=4) if number else st.just([])
        parts.append(
            {
                "id": f"p{number}",
                "held_by": [f"p{n}" for n in draw(earlier)],
                "under": [f"p{n}" for n in draw(earlier)],
            }
        )
    return device(draw(st.permutations(parts)))


def graph(found: DeviceMap) -> "nx.DiGraph[str]":
    """An arrow from each part to what must be off before it."""
    arrows = nx.DiGraph()
    arrows.add_nodes_from(part.id for part in found.parts)
    arrows.add_edges_from((p.id, other) for p in found.parts for other in (*p.held_by, *p.under))
    return arrows


@settings(max_examples=500, deadline=None)
@given(maps())
def test_closure_is_the_descendants(found):
    arrows = graph(found)
    for part in found.parts:
        assert closure(found, part.id) == nx.descendants(arrows, part.id)


@settings(max_examples=500, deadline=None)
@given(maps(), st.randoms())
def test_blockers_are_the_neighbours(found, dice):
    arrows = graph(found)
    out = {part.id for part in found.parts if dice.random() < 0.5}
    for part in found.parts:
        assert set(blockers(found, part.id, out)) == set(arrows.successors(part.id)) - out
        assert set(blocks_refit(found, part.id, out)) == set(arrows.predecessors(part.id)) & out
        assert len(needs(part)) == len(set(needs(part)))


@settings(max_examples=1000, deadline=None)
@given(st.lists(st.lists(st.integers(0, 9), max_size=4), max_size=10))
def test_loops_one_for_each_knot(lists):
    names = {f"p{n}": [f"p{m}" for m in to] for n, to in enumerate(lists)}
    arrows = nx.DiGraph()
    arrows.add_nodes_from(names)
    arrows.add_edges_from((a, b) for a, to in names.items() for b in to if b in names)
    found = loops(names)
    selves = {loop[0] for loop in found if len(loop) == 1}
    rings = [loop for loop in found if len(loop) > 1]
    assert selves == {a for a, b in nx.selfloop_edges(arrows)}
    knots = {frozenset(knot) for knot in nx.strongly_connected_components(arrows) if len(knot) > 1}
    assert len(rings) == len(knots)
    assert {next(k for k in knots if set(ring) <= k) for ring in rings} == knots
    for ring in rings:
        assert len(set(ring)) == len(ring)
        assert all(arrows.has_edge(a, b) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))


@pytest.mark.parametrize("count", [2, 50_000])
def test_a_long_loop_needs_no_recursion(count):
    names = {f"p{n}": [f"p{(n + 1) % count}"] for n in range(count)}
    assert len(loops(names)[0]) == count


def test_isolation_adds_the_isolating_connector_and_its_way():
    found = device(
        [
            {"id": "lid-cable", "kind": "connector"},
            {"id": "lid", "kind": "cover", "held_by": ["lid-cable"]},
            {"id": "cell", "kind": "cell"},
            {"id": "plug", "kind": "connector", "under": ["lid"], "isolates": ["cell"]},
            {"id": "side-cable", "kind": "connector"},
            {"id": "side", "kind": "module", "held_by": ["side-cable"]},
            {"id": "knob"},
        ]
    )
    assert before_isolation(found) == {"lid-cable", "lid", "plug"}
    assert closure(found, "side") == {"side-cable"}
    assert closure_isolated(found, "side") == {"side-cable", "plug", "lid", "lid-cable"}
    assert closure_isolated(found, "side-cable") == {"plug", "lid", "lid-cable"}
    assert closure_isolated(found, "lid") == {"lid-cable"}
    assert closure_isolated(found, "plug") == {"lid", "lid-cable"}
    assert closure_isolated(found, "knob") == frozenset()


def test_an_unknown_part_is_a_key_error():
    found = device([{"id": "a"}])
    with pytest.raises(KeyError):
        closure(found, "b")
    with pytest.raises(KeyError):
        blockers(found, "b", set())
