"""The order of the way back of a planned job: the way in reversed, with what closes the device as late as can be.

For a planned job only. What really came off in a session is ordered there.
"""

from collections.abc import Container, Sequence
from heapq import heapify, heappop, heappush

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.order import before_energy, closure, needs
from benchguide.procedure.words import PartKind

#: more than a part map can hold
MAX_ORDER = 1_000_000


def closing_parts(device: DeviceMap, order: Sequence[str]) -> tuple[str, ...]:
    """Those of the removed parts that close the device."""
    return tuple(name for name in order if device.by_id[name].closes)


def way_back_order(
    device: DeviceMap, order: Sequence[str], held: Container[str] = ()
) -> tuple[list[str], list[str]]:
    """Refits before and after the test, for removals in `order` (a possible one).

    The second list begins with the first part that closes the device, or that must wait for one. Within both,
    the way in is followed backwards as far as precedence and "energy sources last" let it; but an adhesive is pressed
    as soon as what it holds is in, and the parts of `held` (which wait for a countdown) come when nothing else can.
    """
    out = set(order)
    late: set[str] = set()
    for name in closing_parts(device, order):
        late |= (closure(device, name) | {name}) & out
    return _linear(device, order, out, late, held)


def _linear(
    device: DeviceMap, order: Sequence[str], out: set[str], late: set[str], held: Container[str]
) -> tuple[list[str], list[str]]:
    """Kahn's algorithm (1962) with the least urgent part held back: closing ones after all others."""
    waits = {name: set[str]() for name in order}
    for name in order:
        for other in needs(device.by_id[name]):
            if other in out:
                waits[other].add(name)
    _isolators_last(device, out, waits)
    followers: dict[str, list[str]] = {}
    for name, before in waits.items():
        for other in before:
            followers.setdefault(other, []).append(name)
    left = {name: len(before) for name, before in waits.items()}
    bond = PartKind.BOND
    rank = {
        name: (name in late, name in held, device.by_id[name].kind is not bond, -number)
        for number, name in enumerate(order)
    }
    ready = [(rank.get(name, _GATE_RANK), name) for name, count in left.items() if count == 0]
    heapify(ready)
    early: list[str] = []
    last: list[str] = []
    while ready:
        _, name = heappop(ready)
        if name in out:
            # once the first closing part is on, all that follows belongs to closing
            (last if last or name in late else early).append(name)
        for other in followers.get(name, ()):
            left[other] -= 1
            if left[other] == 0:
                heappush(ready, (rank.get(other, _GATE_RANK), other))
    return early, last


#: gates stand for all that an energy source waits for, so that arrows do not grow with sources times parts; no part
#: can have a name with blanks
_CELLS, _OUTSIDE = "cells are connected", "the supply from outside is connected"
_GATE_RANK = (False, False, False, -MAX_ORDER)


def _isolators_last(device: DeviceMap, out: set[str], waits: dict[str, set[str]]) -> None:
    """An energy source is connected when only what holds or covers its connector is left, and what closes."""
    cut = {part.id for part in device.cut_outside}
    for gate, names in (
        (_CELLS, [p.id for p in device.isolators if p.id in out and p.id not in cut]),
        (_OUTSIDE, [name for name in cut if name in out]),
    ):
        if names:
            waits[gate] = set(before_energy(device, names[0], out))
            for name in names:
                waits[name].add(gate)
