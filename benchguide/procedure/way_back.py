"""The order of the way back of a planned job: the way in reversed, with what closes the device as late as can be.

For a planned job only. What really came off in a session is ordered there.
"""

from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.order import before_isolation, before_outside, closure, needs
from benchguide.procedure.words import PartKind


def closing_parts(device: DeviceMap, order: Sequence[str]) -> tuple[str, ...]:
    """Those of the removed parts that close the device."""
    return tuple(name for name in order if device.by_id[name].closes)


def way_back_order(device: DeviceMap, order: Sequence[str]) -> tuple[list[str], list[str]]:
    """Refits before and after the test, for removals in `order` (a possible one).

    The second list begins with the first part that closes the device, or that must wait for one. Within both,
    the way in is followed backwards as far as precedence and "energy sources last" let it.
    """
    out = set(order)
    late: set[str] = set()
    for name in closing_parts(device, order):
        late |= (closure(device, name) | {name}) & out
    return _linear(device, order, out, late)


def _linear(
    device: DeviceMap, order: Sequence[str], out: set[str], late: set[str]
) -> tuple[list[str], list[str]]:
    """Kahn's algorithm (1962) with the least urgent part held back: closing ones after all others."""
    waits = {name: set[str]() for name in order}
    for name in order:
        for other in needs(device.by_id[name]):
            if other in out:
                waits[other].add(name)
    _isolators_last(device, order, waits)
    followers: dict[str, list[str]] = {}
    for name, before in waits.items():
        for other in before:
            followers.setdefault(other, []).append(name)
    left = {name: len(before) for name, before in waits.items()}
    rank = {name: (name in late, -number) for number, name in enumerate(order)}
    ready = [(rank[name], name) for name, count in left.items() if count == 0]
    heapify(ready)
    early: list[str] = []
    last: list[str] = []
    while ready:
        _, name = heappop(ready)
        # once the first closing part is on, all that follows belongs to closing
        (last if last or name in late else early).append(name)
        for other in followers.get(name, ()):
            left[other] -= 1
            if left[other] == 0:
                heappush(ready, (rank[other], other))
    return early, last


def _isolators_last(device: DeviceMap, order: Sequence[str], waits: dict[str, set[str]]) -> None:
    """An energy source is connected after every connector that was opened under isolation; a supply from
    outside after everything that came off under isolation."""
    free, outside = before_isolation(device), before_outside(device)
    connectors = [n for n in order if n not in free and device.by_id[n].kind is PartKind.CONNECTOR]
    others = [name for name in order if name not in outside]
    cut = {part.id for part in device.cut_outside}
    for name in order:
        if device.by_id[name].isolates:
            waits[name].update(connectors)
        if name in cut:
            waits[name].update(others)
