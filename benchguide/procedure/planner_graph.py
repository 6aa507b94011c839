"""The removals of one way in as numbers and bit masks, with the costs of tool changes and flips. No searching.

Every part has one bit; bits are given in order of urgency (the longest chain of changes that still hangs on a
part), so that the lowest bit of a mask is its most urgent part. Isolation is kept as one gate instead of one
arrow from each isolating connector to each other connector, which would grow with their product.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

#: what one change of the tool in hand and one flip of the device cost
TOOL_CHANGE = 1
FLIP = 2


@dataclass(frozen=True, slots=True)
class Removal:
    """One part as the order sees it: its tool (None for bare hands), its face, what must be off before."""

    tool: int | None
    face: int
    before: tuple[int, ...]


@dataclass(frozen=True)
class Problem:
    """Removals without loops. Every one of `isolators` must be off before any one of `gated`.

    Nothing that an isolator needs, directly or not, may be gated.
    """

    removals: Sequence[Removal]
    isolators: frozenset[int] = frozenset()
    gated: frozenset[int] = frozenset()


def count_changes(problem: Problem, order: Sequence[int]) -> tuple[int, int]:
    """Tool changes and flips of an order. The first tool and the first face cost nothing; bare hands keep
    the tool."""
    changes = flips = 0
    tool = face = None
    for number in order:
        removal = problem.removals[number]
        if removal.tool is not None:
            changes += tool is not None and tool != removal.tool
            tool = removal.tool
        flips += face is not None and face != removal.face
        face = removal.face
    return changes, flips


def cost_of(changes: int, flips: int) -> int:
    """The weighted sum that an order keeps small."""
    return TOOL_CHANGE * changes + FLIP * flips


@dataclass(frozen=True)
class Graph:
    """Masks of one problem. `order_of[bit]` is the number of the removal in the problem."""

    order_of: tuple[int, ...]
    tool: tuple[int | None, ...]
    face: tuple[int, ...]
    urgency: tuple[int, ...]
    """Least cost of changes after this removal, by the longest chain that hangs on it."""
    tool_urgency: tuple[int, ...]
    """The same with tool changes alone."""
    pred: tuple[int, ...]
    succ: tuple[tuple[int, ...], ...]
    isolators: int
    gated: tuple[int, ...]
    full: int
    ready: int
    """What nothing holds at the start."""
    of_tool: dict[int, int]
    hands: int
    of_face: tuple[int, int]
    allowed: dict[tuple[int | None, int], int] = field(default_factory=dict)
    """For a tool in hand and a face up: what costs no change (that tool, or bare hands)."""

    def sweep(self, missing: int, ready: int, allowed: int) -> tuple[int, int]:
        """Take off all of `allowed` that can be, until nothing more can: what is left, and what is ready."""
        pred, succ, isolators = self.pred, self.succ, self.isolators
        while take := ready & allowed:
            missing ^= take
            ready ^= take
            if take & isolators and not missing & isolators:
                ready |= self.opened(missing)
            for number in bits(take):
                for after in succ[number]:
                    if not pred[after] & missing:
                        ready |= 1 << after
        return missing, ready

    def opened(self, missing: int) -> int:
        """The gated removals that nothing else holds, once every isolator is off."""
        return sum(1 << number for number in self.gated if not self.pred[number] & missing)


def bits(mask: int) -> Iterator[int]:
    """The numbers of the bits that are set, from the lowest."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def make_graph(problem: Problem) -> Graph:
    """Number the removals by urgency and lay out the masks. Time grows linearly with parts and relations."""
    removals = problem.removals
    after: list[list[int]] = [[] for _ in removals]
    for number, removal in enumerate(removals):
        for other in removal.before:
            after[other].append(number)
    forward = _topological(problem, after)
    urgency = _urgency(problem, forward, after, TOOL_CHANGE, FLIP)
    order_of = sorted(range(len(removals)), key=lambda n: (-urgency[n], n))
    bit_of = {number: bit for bit, number in enumerate(order_of)}
    isolators = sum(1 << bit_of[n] for n in problem.isolators)
    pred = [sum(1 << bit_of[b] for b in set(removals[n].before)) for n in order_of]
    for number in problem.gated:
        pred[bit_of[number]] |= isolators
    tool_urgency = _urgency(problem, forward, after, 1, 0)
    of_tool: dict[int, int] = {}
    hands, faces = 0, [0, 0]
    for bit, number in enumerate(order_of):
        tool = removals[number].tool
        if tool is None:
            hands |= 1 << bit
        else:
            of_tool[tool] = of_tool.get(tool, 0) | 1 << bit
        faces[removals[number].face] |= 1 << bit
    allowed: dict[tuple[int | None, int], int] = {(None, side): hands & faces[side] for side in (0, 1)}
    allowed.update({(t, side): (m | hands) & faces[side] for t, m in of_tool.items() for side in (0, 1)})
    return Graph(
        order_of=tuple(order_of),
        tool=tuple(removals[n].tool for n in order_of),
        face=tuple(removals[n].face for n in order_of),
        urgency=tuple(urgency[n] for n in order_of),
        tool_urgency=tuple(tool_urgency[n] for n in order_of),
        pred=tuple(pred),
        succ=tuple(tuple(bit_of[a] for a in after[n]) for n in order_of),
        isolators=isolators,
        gated=tuple(sorted(bit_of[n] for n in problem.gated)),
        full=(1 << len(removals)) - 1,
        ready=sum(1 << bit for bit, mask in enumerate(pred) if not mask),
        of_tool=of_tool,
        hands=hands,
        of_face=(faces[0], faces[1]),
        allowed=allowed,
    )


def _topological(problem: Problem, after: list[list[int]]) -> list[int]:
    """An order without the gate, whatever the isolators need first (so that reversed, the gated come first)."""
    early = set(problem.isolators)
    waiting = list(early)
    while waiting:
        for other in problem.removals[waiting.pop()].before:
            if other not in early:
                early.add(other)
                waiting.append(other)
    left = [len(set(removal.before)) for removal in problem.removals]
    found: list[int] = []
    late: list[int] = []
    stack = [number for number, count in enumerate(left) if not count]
    while stack:
        number = stack.pop()
        (found if number in early else late).append(number)
        for other in after[number]:
            left[other] -= 1
            if not left[other]:
                stack.append(other)
    if len(found) + len(late) != len(problem.removals):
        raise ValueError("the removals hold each other in a loop")
    return found + late


def _urgency(
    problem: Problem, forward: list[int], after: list[list[int]], change: int, flip: int
) -> list[int]:
    """For each removal the cost of the costliest chain after it, whatever tool was in hand before it.

    A chain keeps its order in every possible order, and leaving the others out never adds a change, so its
    cost is a lower bound.
    """
    removals = problem.removals
    cost = [0] * len(removals)
    #: the tool that the costliest chain begins with
    begins: list[int | None] = [removal.tool for removal in removals]
    #: the costliest chain behind the gate, by the face and the tool it begins with
    gate: dict[tuple[int, int | None], int] = {}
    for number in reversed(forward):
        here = removals[number]
        tails = [(removals[o].face, begins[o], cost[o]) for o in after[number]]
        if number in problem.isolators:
            for other in problem.gated if not gate else ():
                key = (removals[other].face, begins[other])
                gate[key] = max(gate.get(key, 0), cost[other])
            tails += [(face, tool, tail) for (face, tool), tail in gate.items()]
        best = 0
        best_tool: int | None = None
        for face, tool, tail in tails:
            value = tail + flip * (face != here.face)
            if here.tool is not None and tool is not None and tool != here.tool:
                value += change
            if value > best or (value == best and best_tool is None):
                best, best_tool = value, tool
        cost[number] = best
        if here.tool is None:
            # bare hands pass the tool on: the chain begins with the tool of what follows
            begins[number] = best_tool
    return cost
