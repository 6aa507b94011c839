"""The order of the way back: what must go in before what, and a list brought into such an order with as
little moved as possible. Knows no session.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Protocol, TypeVar

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.order import before_energy, needs


class Placed(Protocol):
    """What the order needs of one entry: the parts it puts back, and those it must come before."""

    @property
    def parts(self) -> tuple[str, ...]: ...
    @property
    def before(self) -> frozenset[str]: ...


I = TypeVar("I", bound=Placed)  # noqa: E741
Preds = Mapping[str, frozenset[str]]


def must_precede(device: DeviceMap, out: Collection[str]) -> Preds:
    """For each part that is out: the parts out that must be in before it.

    A part goes in before whatever holds or covers it, also through parts that are gone; and an energy source is
    connected when only what holds or covers its connector is left, or closes the device.
    """
    found: dict[str, set[str]] = {part: set() for part in out}
    for part in out:
        for other in _first_out(device, part, out):
            found[other].add(part)
    isolators = [device.by_id[part] for part in out if device.by_id[part].isolates]
    for isolator in isolators:
        found[isolator.id].update(before_energy(device, isolator.id, out))
    return {part: frozenset(others) for part, others in found.items()}


def _first_out(device: DeviceMap, part: str, out: Collection[str]) -> set[str]:
    """The parts out that hold or cover this one, directly or through parts that are not out."""
    found: set[str] = set()
    seen = {part}
    waiting = list(needs(device.by_id[part]))
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        if name in out:
            found.add(name)
        else:
            waiting.extend(needs(device.by_id[name]))
    return found


def mixes_energy(device: DeviceMap, parts: Collection[str]) -> bool:
    """Whether some of these parts must be in before another one of them because that connects energy."""
    isolators = [device.by_id[part] for part in parts if device.by_id[part].isolates]
    return any(before_energy(device, isolator.id, parts) - {isolator.id} for isolator in isolators)


def in_order(items: Sequence[I], preds: Preds, split: Callable[[I], list[I]]) -> list[I]:
    """The items in their own order, but each after those that must precede it: these are drawn forward.

    When items that put back several parts together stand in each other's way, `split` takes them apart.
    """
    links = _links(items, preds)
    found = _drawn_forward(items, links)
    if found is None:
        items = [one for item in items for one in split(item)]
        links = _links(items, preds)
        found = _drawn_forward(items, links, strict=False)
    assert found is not None  # without `strict` there always is an order
    return found


def _links(items: Sequence[I], preds: Preds) -> list[list[int]]:
    """For each item the items that must precede it, in their order."""
    of_part = {part: i for i, item in enumerate(items) for part in item.parts}
    before: dict[str, list[int]] = {}
    for i, item in enumerate(items):
        for part in item.before:
            before.setdefault(part, []).append(i)
    links: list[list[int]] = []
    for i, item in enumerate(items):
        found = {of_part[p] for part in item.parts for p in preds.get(part, ()) if p in of_part}
        found.update(j for part in item.parts for j in before.get(part, ()))
        links.append(sorted(found - {i}))
    return links


def _drawn_forward(items: Sequence[I], links: Sequence[Sequence[int]], strict: bool = True) -> list[I] | None:
    """Depth-first: before an item come the items that must precede it. None when they form a loop, unless not
    strict: then the loop is cut where it was entered. No recursion, for lists of any length."""
    done: set[int] = set()
    open_now: set[int] = set()
    found: list[I] = []
    for start in range(len(items)):
        work = [(start, iter(links[start]))] if start not in done else []
        open_now.update(i for i, _ in work)
        while work:
            i, following = work[-1]
            inner = next((j for j in following if j not in done), None)
            if inner is None:
                work.pop()
                open_now.discard(i)
                done.add(i)
                found.append(items[i])
            elif inner not in open_now:
                open_now.add(inner)
                work.append((inner, iter(links[inner])))
            elif strict:
                return None
    return found
