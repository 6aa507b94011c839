"""The order of a way in against exhaustive search, and the bounds against what no order may undercut."""

import itertools
from collections.abc import Iterator

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchguide.procedure.planner_bound import flip_bound, tool_bound
from benchguide.procedure.planner_graph import FLIP, TOOL_CHANGE, Problem, Removal, count_changes, make_graph
from benchguide.procedure.planner_search import EXACT_PARTS, best_order


@st.composite
def problems(draw: st.DrawFn, most: int) -> Problem:
    """Removals without loops, some of them isolators with all they need, some gated behind these."""
    count = draw(st.integers(1, most))
    removals = []
    for number in range(count):
        before = draw(st.lists(st.integers(0, number - 1), max_size=3)) if number else []
        tool = draw(st.sampled_from([None, 0, 1, 2, 3]))
        removals.append(Removal(tool, draw(st.integers(0, 1)), tuple(before)))
    some = draw(st.lists(st.integers(0, count - 1), max_size=2))
    early = set(some).union(*(nx.descendants(arrows(removals), n) for n in some))
    late = [n for n in range(count) if n not in early]
    gated = draw(st.lists(st.sampled_from(late), max_size=3)) if late and some else []
    # nothing an isolator needs may wait for the gate: what is early is closed, so nothing late is needed
    return Problem(removals, frozenset(some if gated else ()), frozenset(gated))


def arrows(removals: list[Removal]) -> "nx.DiGraph[int]":
    """An arrow from each removal to what must be off before it."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(removals)))
    graph.add_edges_from((n, other) for n, removal in enumerate(removals) for other in removal.before)
    return graph


def every_order(problem: Problem) -> Iterator[list[int]]:
    """All linear extensions, by networkx."""
    graph = nx.reverse(arrows(list(problem.removals)))
    graph.add_edges_from((one, two) for one in problem.isolators for two in problem.gated)
    return nx.all_topological_sorts(graph)


def price(problem: Problem, order: list[int]) -> tuple[int, int]:
    """Tool changes and flips, counted in another way than the planner: neighbours that differ."""
    tools = [problem.removals[n].tool for n in order if problem.removals[n].tool is not None]
    faces = [problem.removals[n].face for n in order]
    changes = sum(one != two for one, two in itertools.pairwise(tools))
    return changes, sum(one != two for one, two in itertools.pairwise(faces))


@settings(max_examples=100, deadline=None)
@given(problems(8))
def test_no_order_is_cheaper(problem):
    found = best_order(problem)
    prices = [price(problem, order) for order in every_order(problem)]
    assert found.cost == min(TOOL_CHANGE * c + FLIP * f for c, f in prices)
    assert (found.tool_changes, found.flips) == price(problem, list(found.removals))
    assert found.exact
    assert found.tool_bound <= min(c for c, _ in prices)


@settings(max_examples=100, deadline=None)
@given(problems(8), st.sampled_from([1, 4, 10_000]))
def test_bounds_are_never_above_the_best(problem, width):
    graph = make_graph(problem)
    prices = [price(problem, order) for _, order in zip(range(20_000), every_order(problem), strict=False)]
    assert tool_bound(graph, width) <= min(c for c, _ in prices)
    assert flip_bound(graph) <= min(f for _, f in prices)


@settings(max_examples=60, deadline=None)
@given(problems(7))
def test_unjoined_bounds_are_exact(problem):
    graph = make_graph(problem)
    prices = [price(problem, order) for order in every_order(problem)]
    assert tool_bound(graph, 10_000) == min(c for c, _ in prices)
    assert flip_bound(graph) == min(f for _, f in prices)


@settings(max_examples=100, deadline=None)
@given(problems(40))
def test_large_orders_are_possible_and_their_bound_is_below(problem):
    found = best_order(problem)
    place = {number: at for at, number in enumerate(found.removals)}
    assert sorted(place) == list(range(len(problem.removals)))
    assert all(place[b] < place[n] for n, removal in enumerate(problem.removals) for b in removal.before)
    assert all(place[i] < place[g] for i in problem.isolators for g in problem.gated)
    assert (found.tool_changes, found.flips) == price(problem, list(found.removals))
    assert found.bound <= found.cost
    assert found.tool_bound <= found.tool_changes
    if len(problem.removals) <= EXACT_PARTS:
        assert found.exact


def test_the_first_tool_and_face_are_free_and_hands_keep_the_tool():
    problem = Problem([Removal(1, 1, ()), Removal(None, 1, (0,)), Removal(1, 1, (1,)), Removal(2, 0, (2,))])
    assert count_changes(problem, [0, 1, 2, 3]) == (1, 1)
    assert best_order(problem).cost == TOOL_CHANGE + FLIP


def test_a_loop_is_refused():
    with pytest.raises(ValueError, match="loop"):
        best_order(Problem([Removal(None, 0, (1,)), Removal(None, 0, (0,))]))
