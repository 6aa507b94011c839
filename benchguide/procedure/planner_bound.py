"""What no order of removals can undercut: lower bounds of tool changes and flips. No orders are made here.

The bound of the tool changes leaves the faces aside and follows, change by change, all sets of parts that can be
off by then, for every choice of tools. A set that is inside another one is dropped. When there are too many sets,
like ones are joined into their union, which can only make the bound lower (a relaxed decision diagram: Bergman,
Cire, van Hoeve and Hooker 2016), so it stays a bound at any width; a width never reached makes it exact.
"""

from collections.abc import Sequence

from benchguide.procedure.planner_graph import Graph, bits

#: among more tools than this, the rarest are left out of the bound and counted once each
MOST_TOOLS = 8

_Sets = list[tuple[int, int]]


def flip_bound(graph: Graph) -> int:
    """The fewest flips of any order. With two faces, taking all that one allows and then turning is the best."""
    best: int | None = None
    for first in (0, 1):
        missing, ready = graph.sweep(graph.full, graph.ready, graph.of_face[first])
        turns, side = 0, first
        while missing:
            side, turns = 1 - side, turns + 1
            missing, ready = graph.sweep(missing, ready, graph.of_face[side])
        best = turns if best is None else min(best, turns)
    return best or 0


def tool_bound(graph: Graph, width: int) -> int:
    """Tool changes that no order can avoid. Time and memory grow linearly with `width`, save for the comparing
    of sets, which grows with its square."""
    tools = sorted(graph.of_tool, key=lambda t: (-graph.of_tool[t].bit_count(), t))
    near, rare = tools[:MOST_TOOLS], len(tools[MOST_TOOLS:])
    # every tool has a run of its own, which joined sets may have forgotten
    runs = max(_fewest_runs(graph, near, width), len(near))
    # with several tools left out and taken for free, each still needs a run of its own
    return max(runs + rare - 1, max(graph.tool_urgency, default=0), 0)


def _fewest_runs(graph: Graph, tools: Sequence[int], width: int) -> int:
    """The fewest runs of `tools` in any order, everything else free; lower when sets had to be joined."""
    free = graph.full
    for tool in tools:
        free &= ~graph.of_tool[tool]
    level: dict[int | None, _Sets] = {None: [graph.sweep(graph.full, graph.ready, free)]}
    runs = 0
    while not any(not missing for sets in level.values() for missing, _ in sets):
        runs += 1
        following: dict[int | None, _Sets] = {}
        for tool in tools:
            mask = graph.of_tool[tool]
            made: dict[int, int] = {}
            for before, sets in level.items():
                for missing, ready in sets if before != tool else ():
                    if ready & mask:
                        left, then = graph.sweep(missing, ready, free | mask)
                        made[left] = then
            following[tool] = _thinned(graph, made, free | mask, max(1, width // len(tools)))
        level = following
    return runs


def _thinned(graph: Graph, made: dict[int, int], allowed: int, width: int) -> _Sets:
    """Without the sets that another one outdoes; at most `width`, the like ones joined."""
    kept: _Sets = []
    for missing in sorted(made, key=int.bit_count):
        outdone = ~missing
        if not any(not other & outdone for other, _ in kept):
            kept.append((missing, made[missing]))
        if len(kept) > 4 * width:
            break
    else:
        if len(kept) <= width:
            return kept
        made = dict(kept)
    while len(made) > width:
        made = _joined(graph, made, allowed, len(made) - width)
    return list(made.items())


def _joined(graph: Graph, made: dict[int, int], allowed: int, excess: int) -> dict[int, int]:
    """Join up to `excess` pairs of neighbours, those first that lose the least."""
    lefts = sorted(made)
    lost = sorted(range(len(lefts) - 1), key=lambda n: (lefts[n] ^ lefts[n + 1]).bit_count())
    gone: set[int] = set()
    joined: dict[int, int] = {}
    for number in lost:
        if excess <= 0:
            break
        if number not in gone and number + 1 not in gone:
            gone |= {number, number + 1}
            one, two = lefts[number], lefts[number + 1]
            ready = _ready(graph, one, two, made[one] | made[two])
            # what lay under both may come off now without another change
            missing, ready = graph.sweep(one & two, ready, allowed)
            joined[missing] = ready
            excess -= 1
    for number, missing in enumerate(lefts):
        if number not in gone:
            joined[missing] = made[missing]
    return joined


def _ready(graph: Graph, one: int, two: int, ready: int) -> int:
    """What is ready when all is off that is off in one or the other; `ready` is what was so in either."""
    missing, differs = one & two, one ^ two
    ready &= missing
    for number in bits(differs):
        for after in graph.succ[number]:
            if missing >> after & 1 and not graph.pred[after] & missing:
                ready |= 1 << after
    if differs & graph.isolators and not missing & graph.isolators:
        ready |= graph.opened(missing) & missing
    return ready
