"""The order of removals with the fewest tool changes and flips. Numbers only; part maps are planner.py.

One thought carries it: once a tool is in hand and a face is up, taking off at once all that this allows never
costs more later, because leaving a removal out of a sequence never adds a change. So only the moments of a change
are decided, and a state is (what is missing, tool, face) with nothing left to take for free.

Small problems are solved exactly (best-first search over these states, Hart, Nilsson and Raphael 1968, with bounds
that never overestimate); large ones by a beam of states, with a lower bound beside the cost.
"""

import heapq
from collections.abc import Iterator
from dataclasses import dataclass

from benchguide.procedure.planner_bound import flip_bound, tool_bound
from benchguide.procedure.planner_graph import (
    FLIP,
    TOOL_CHANGE,
    Graph,
    Problem,
    bits,
    cost_of,
    count_changes,
    make_graph,
)

#: up to so many removals the order is exact whatever it takes
EXACT_PARTS = 16
#: states looked at before the exact search of a larger problem gives up
_EFFORT = 600
_EXACT_WORTH_TRYING = 120
_WIDTH_TIMES_PARTS = 900
_WIDEST = 24
_NARROWEST, _WIDEST_BOUND, _BOUND_TIMES_PARTS = 10, 30, 15_000
_MANY_TOOLS = 12
_LOOKED_AT = 48


@dataclass(frozen=True, slots=True)
class Order:
    """An order of removals, what it costs, and what no order can undercut."""

    removals: tuple[int, ...]
    tool_changes: int
    flips: int
    cost: int
    bound: int
    tool_bound: int
    """No order needs fewer tool changes than this, whatever its flips."""

    @property
    def exact(self) -> bool:
        """True when no other order costs less."""
        return self.cost == self.bound


@dataclass(frozen=True, slots=True)
class _State:
    missing: int
    ready: int
    tool: int | None
    face: int
    cost: int
    before: "_State | None"


def best_order(problem: Problem) -> Order:
    """The cheapest order known. Raises ValueError when the removals hold each other in a loop."""
    graph = make_graph(problem)
    parts = len(problem.removals)
    fewest = tool_bound(graph, max(_NARROWEST, min(_WIDEST_BOUND, _BOUND_TIMES_PARTS // max(1, parts))))
    bound = max(_start_bound(graph), cost_of(fewest, flip_bound(graph)))
    found = _beam(graph) if parts > EXACT_PARTS else None
    if found is None or (found.cost > bound and parts <= _EXACT_WORTH_TRYING):
        found, least = _exact(graph, found, None if found is None else _EFFORT)
        bound = max(bound, least)
    order = _replay(graph, found)
    changes, flips = count_changes(problem, order)
    return Order(tuple(order), changes, flips, cost_of(changes, flips), bound, fewest)


def _starts(graph: Graph) -> Iterator[_State]:
    """Either face up at first, no tool yet in hand."""
    for face in (0, 1):
        if graph.ready & graph.of_face[face] or not graph.full:
            missing, ready = graph.sweep(graph.full, graph.ready, graph.allowed[(None, face)])
            yield _State(missing, ready, None, face, 0, None)


def _next(graph: Graph, state: _State) -> Iterator[_State]:
    """Every change that lets something come off, with all that it lets come off."""
    for tool, face in _modes(graph, state):
        allowed = graph.allowed[(tool, face)]
        cost = state.cost + FLIP * (face != state.face)
        cost += TOOL_CHANGE * (state.tool is not None and tool != state.tool)
        missing, ready = graph.sweep(state.missing, state.ready, allowed)
        yield _State(missing, ready, tool, face, cost, state)


def _modes(graph: Graph, state: _State) -> list[tuple[int | None, int]]:
    """The tools and faces that something ready waits for; among very many tools, the most urgent ones."""
    ready, other = state.ready, 1 - state.face
    found: dict[tuple[int | None, int], None] = {}
    if ready & graph.allowed[(state.tool, other)]:
        found[(state.tool, other)] = None
    if len(graph.of_tool) <= _MANY_TOOLS or len(graph.tool) <= EXACT_PARTS:
        for tool, mask in graph.of_tool.items():
            waiting = ready & mask
            for face in (0, 1) if waiting else ():
                if waiting & graph.of_face[face] and (tool, face) != (state.tool, state.face):
                    found[(tool, face)] = None
        return list(found)
    for number, _ in zip(bits(ready), range(_LOOKED_AT), strict=False):
        tool_here = graph.tool[number]
        if tool_here is not None:
            found[(tool_here, graph.face[number])] = None
    return list(found)[:_MANY_TOOLS]


def _rest(graph: Graph, state: _State) -> int:
    """A lower bound of what is still to pay."""
    if not state.missing:
        return 0
    flip = FLIP * bool(state.missing & graph.of_face[1 - state.face])
    chain = 0
    for face in (0, 1):
        ready = state.ready & graph.of_face[face]
        turn = FLIP * (face != state.face)
        if len(graph.of_tool) > _MANY_TOOLS:
            if ready:
                chain = max(chain, turn + graph.urgency[(ready & -ready).bit_length() - 1])
            continue
        for tool, mask in graph.of_tool.items():
            if here := ready & mask:
                change = TOOL_CHANGE * (state.tool is not None and tool != state.tool)
                chain = max(chain, turn + change + graph.urgency[(here & -here).bit_length() - 1])
        if here := ready & graph.hands:
            chain = max(chain, turn + graph.urgency[(here & -here).bit_length() - 1])
    if len(graph.of_tool) > _MANY_TOOLS:
        return max(chain, flip)
    kinds = sum(1 for tool, mask in graph.of_tool.items() if tool != state.tool and state.missing & mask)
    if state.tool is None and kinds:
        kinds -= 1
    return max(chain, TOOL_CHANGE * kinds + flip)


def _start_bound(graph: Graph) -> int:
    return min((_rest(graph, state) for state in _starts(graph)), default=0)


def _exact(graph: Graph, known: _State | None, effort: int | None) -> tuple[_State, int]:
    """Best-first search. Gives the best state with nothing missing and a lower bound of its cost.

    Without `effort` it ends only with the optimum; with it, after so many states, perhaps with `known`.
    """
    heap: list[tuple[int, int, int, _State]] = []
    paid: dict[tuple[int, int | None, int], int] = {}
    number = 0
    for start in _starts(graph):
        heap.append((_rest(graph, start), start.missing.bit_count(), number, start))
        number += 1
    heapq.heapify(heap)
    looked = 0
    while heap:
        total, _, _, state = heapq.heappop(heap)
        if known is not None and total >= known.cost:
            return known, known.cost
        if not state.missing:
            return state, state.cost
        if paid.get((state.missing, state.tool, state.face), state.cost) < state.cost:
            continue
        if effort is not None and looked >= effort:
            assert known is not None
            return known, total
        looked += 1
        for following in _next(graph, state):
            key = (following.missing, following.tool, following.face)
            if following.cost < paid.get(key, following.cost + 1):
                paid[key] = following.cost
                number += 1
                total = following.cost + _rest(graph, following)
                heapq.heappush(heap, (total, following.missing.bit_count(), number, following))
    assert known is not None, "an order exists whenever there is no loop"
    return known, known.cost


def _beam(graph: Graph) -> _State:
    """Keep the most promising states of each cost; promising is a low bound of the whole, then little left."""
    width = max(3, min(_WIDEST, _WIDTH_TIMES_PARTS // max(1, len(graph.tool))))
    levels: dict[int, dict[tuple[int, int | None, int], _State]] = {}
    for start in _starts(graph):
        levels.setdefault(0, {})[(start.missing, start.tool, start.face)] = start
    while True:
        cost = min(levels)
        states = list(levels.pop(cost).values())
        for state in states:
            if not state.missing:
                return state
        if len(states) > width:
            states.sort(key=lambda s: (_rest(graph, s), s.missing.bit_count(), s.face))
            del states[width:]
        for state in states:
            for following in _next(graph, state):
                key = (following.missing, following.tool, following.face)
                levels.setdefault(following.cost, {}).setdefault(key, following)


def _replay(graph: Graph, last: _State) -> list[int]:
    """The removals one by one: within a change in rounds, each round in the order of the problem."""
    chain: list[_State] = []
    state: _State | None = last
    while state is not None:
        chain.append(state)
        state = state.before
    missing, ready = graph.full, graph.ready
    order: list[int] = []
    for state in reversed(chain):
        allowed = graph.allowed[(state.tool, state.face)]
        while take := ready & allowed:
            order += sorted(graph.order_of[bit] for bit in bits(take))
            missing, ready = graph.sweep(missing, ready, take)
    return order
