"""What must come off before what: the precedence of a part map. Pure helpers; no planning of whole jobs.

A part needs off first whatever it is `held_by` or lies `under`. Together these relations must have no loops.
"""

from collections.abc import Callable, Collection, Container, Iterable, Mapping, Sequence

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.words import PartKind


def needs(part: Part) -> tuple[str, ...]:
    """The parts that must be off before this one, each once, in the order written."""
    return tuple(dict.fromkeys(part.held_by + part.under))


def blockers(device: DeviceMap, part_id: str, out: Container[str]) -> tuple[str, ...]:
    """What still holds or covers the part while `out` is out. Raises KeyError for an unknown part."""
    return tuple(name for name in needs(device.by_id[part_id]) if name not in out)


def blocks_refit(device: DeviceMap, part_id: str, out: Container[str]) -> tuple[str, ...]:
    """What is still out that this part holds or lies over: it must go in first."""
    return tuple(name for name in device.needed_by.get(part_id, ()) if name in out)


def closure(device: DeviceMap, part_id: str) -> frozenset[str]:
    """All that must be off before the part can come off, without the part itself. Raises KeyError."""
    return reach([part_id], lambda name: needs(device.by_id[name])) - {part_id}


def before_isolation(device: DeviceMap) -> frozenset[str]:
    """Parts that have to be off to reach the connectors that isolate: these alone may move while powered."""
    isolators = [part.id for part in device.isolators]
    return reach(isolators, lambda name: needs(device.by_id[name]))


def closure_isolated(device: DeviceMap, part_id: str) -> frozenset[str]:
    """Like closure, and with what isolation adds: before any other connector is opened, every connector
    that isolates an energy source, and whatever has to be off to reach it. Where `isolated_first` holds, that comes
    before anything else comes off; and before a part with conductors comes off, stored energy is measured, which
    adds the parts that open the way to it."""
    found = closure(device, part_id)
    free = before_isolation(device)
    if any(gated(device, device.by_id[name], free) for name in (*found, part_id)):
        found |= free
    outside = before_outside(device)
    if outside and not outside.issuperset((*found, part_id)):
        found |= outside
    behind = before_measuring(device) | free
    if any(conducts(device.by_id[name]) and name not in behind for name in (*found, part_id)):
        found |= before_measuring(device)
    return found - {part_id}


def before_outside(device: DeviceMap) -> frozenset[str]:
    """Parts that have to be off to cut off a supply from outside, those that cut it off included: these alone may
    move while it is connected."""
    return reach([part.id for part in device.cut_outside], lambda name: needs(device.by_id[name]))


def closing_last(device: DeviceMap) -> frozenset[str]:
    """What closes the device, and what holds or covers that: it goes back after the test, which needs the cell."""
    closing = [part.id for part in device.parts if part.closes]
    return reach(closing, lambda name: needs(device.by_id[name]))


def before_energy(device: DeviceMap, isolator: str, out: Collection[str]) -> frozenset[str]:
    """Parts of `out` that must be in before this isolating connector connects its source.

    That is all but what holds or covers what isolates. Where a cell alone is isolated, what closes the device waits
    for the test and so for the cell, save its connectors. Raises KeyError for an unknown part.
    """
    if any(part.id == isolator for part in device.cut_outside):
        return frozenset(out) - before_outside(device)
    late = frozenset(out) - before_isolation(device)
    if device.isolated_first:
        return late
    shut = closing_last(device)
    plug = PartKind.CONNECTOR
    return frozenset(name for name in late if name not in shut or device.by_id[name].kind is plug)


def gated(device: DeviceMap, part: Part, free: Container[str]) -> bool:
    """True when the part may come off only after isolation; `free` is what before_isolation gave."""
    return part.id not in free and (part.kind is PartKind.CONNECTOR or device.isolated_first)


def conducts(part: Part) -> bool:
    """True for parts with conductors that a hand meets."""
    return part.kind in (PartKind.CONNECTOR, PartKind.MODULE, PartKind.CELL)


def exposing(device: DeviceMap) -> tuple[str, ...]:
    """The parts that open the way to stored energy, each once."""
    names = (part.stores.exposed_by for part in device.stores if part.stores)
    return tuple(dict.fromkeys(name for name in names if name in device.by_id))


def before_measuring(device: DeviceMap) -> frozenset[str]:
    """Parts that have to be off before all stored energy can be measured; none where none is stored."""
    return reach(exposing(device), lambda name: needs(device.by_id[name]))


def reach(start: Iterable[str], following: Callable[[str], Iterable[str]]) -> frozenset[str]:
    """Everything that can be reached from `start`, with `start`."""
    seen = set(start)
    waiting = list(seen)
    while waiting:
        for name in following(waiting.pop()):
            if name not in seen:
                seen.add(name)
                waiting.append(name)
    return frozenset(seen)


def loops(edges: Mapping[str, Sequence[str]]) -> list[tuple[str, ...]]:
    """One loop of names for every knot in the relation, in the order of `edges`.

    A part that holds itself gives the loop (a,). Names that are not keys of `edges` are passed over.
    Time grows linearly with the relation.
    """
    written = {name: number for number, name in enumerate(edges)}
    found: list[tuple[str, ...]] = [(name,) for name, to in edges.items() if name in to]
    for knot in _knots(edges):
        if len(knot) > 1:
            found.append(_one_loop(edges, knot, min(knot, key=written.__getitem__)))
    return sorted(found, key=lambda loop: written[loop[0]])


def _knots(edges: Mapping[str, Sequence[str]]) -> list[list[str]]:
    """Strongly connected components (Tarjan 1972), without recursion."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    on_stack: set[str] = set()
    knots: list[list[str]] = []
    for root in edges:
        if root in index:
            continue
        index[root] = low[root] = len(index)
        stack.append(root)
        on_stack.add(root)
        work = [(root, iter(edges[root]))]
        while work:
            name, following = work[-1]
            inner = next((n for n in following if n in edges and (n not in index or n in on_stack)), None)
            if inner is None:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[name])
                if low[name] == index[name]:
                    knots.append(_unwind(stack, on_stack, name))
            elif inner in index:
                low[name] = min(low[name], index[inner])
            else:
                index[inner] = low[inner] = len(index)
                stack.append(inner)
                on_stack.add(inner)
                work.append((inner, iter(edges[inner])))
    return knots


def _unwind(stack: list[str], on_stack: set[str], name: str) -> list[str]:
    knot = []
    while True:
        top = stack.pop()
        on_stack.discard(top)
        knot.append(top)
        if top == name:
            return knot


def _one_loop(edges: Mapping[str, Sequence[str]], knot: Collection[str], first: str) -> tuple[str, ...]:
    """A shortest loop through one part of a knot."""
    inside = set(knot)
    came: dict[str, str] = {}
    ring = [first]
    while ring:
        following: list[str] = []
        for name in ring:
            for inner in edges[name]:
                if inner == first and name != first:
                    return _trail(came, name, first)
                if inner in inside and inner not in came and inner != first:
                    came[inner] = name
                    following.append(inner)
        ring = following
    raise AssertionError("a knot without a loop")


def _trail(came: Mapping[str, str], last: str, first: str) -> tuple[str, ...]:
    trail = [last]
    while trail[-1] != first:
        trail.append(came[trail[-1]])
    return tuple(reversed(trail))
