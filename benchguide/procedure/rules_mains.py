"""Rules for devices that carry mains or store a charge: isolated before anything comes off, measured, closed first.

A device carries mains when one of its connectors isolates something that is not a cell: the supply comes from
outside. It stores a charge when a part has `stores`. What holds for every energy source is in rules_order.py. None
of this says that a device is safe.
"""

from collections.abc import Iterator
from functools import partial

from benchguide.procedure.device import Part
from benchguide.procedure.order import needs, reach
from benchguide.procedure.problems import Severity
from benchguide.procedure.procedure import Step
from benchguide.procedure.rules import Finding, Move, Rule, View, named
from benchguide.procedure.words import Action, PartKind, WaitKind

ERROR = Severity.ERROR

#: upper limit of extra-low voltage, ripple-free d.c., in dry surroundings (IEC 61140; from memory). Local codes
#: and the maker's data may ask for less; a reading that may be higher proves no discharge
ELV_V = 60.0
_VOLTS = {"V": 1.0, "mV": 0.001, "kV": 1000.0}

#: parts with conductors a hand meets; screws, covers and loose items have to come off to reach the test points
_CONDUCTORS = frozenset({PartKind.CONNECTOR, PartKind.MODULE, PartKind.CELL})


def isolators_first(view: View) -> list[Part]:
    """Connectors to be opened before anything comes off: those of a supply from outside, or all of them when a part
    stores energy; none for a device that has only cells."""
    known = view.device.by_id
    if view.device.stores:
        return list(view.device.isolators)
    return [
        part
        for part in view.device.isolators
        if any(name in known and known[name].kind is not PartKind.CELL for name in part.isolates)
    ]


def _free(view: View, isolators: list[Part]) -> frozenset[str]:
    """The isolators, and what has to be off to reach them."""
    return reach([part.id for part in isolators], partial(_needs, view))


def _needs(view: View, name: str) -> tuple[str, ...]:
    return needs(view.device.by_id[name])


def mains_first(view: View) -> Iterator[Finding]:
    """Something comes off a device that is still plugged in (connectors are told by isolation-first)."""
    isolators = isolators_first(view)
    free = _free(view, isolators)
    for move in view.moves if isolators else ():
        passed = move.part.kind is PartKind.CONNECTOR or move.part.id in free
        if not move.removal or passed or view.is_out(move.part.id, move.number):
            continue
        live = [part.id for part in isolators if not view.is_out(part.id, move.number)]
        if live:
            message = f"`{move.part.id}` comes off before {named(live)} has isolated the device"
            yield Finding(move.keys, None, message, f"Open {named(live)} in an earlier step.")


def mains_last(view: View) -> Iterator[Finding]:
    """The mains is connected to an open device (connectors are told by isolation-last)."""
    isolators = isolators_first(view)
    free, ids = _free(view, isolators), {part.id for part in isolators}
    for move in view.moves:
        if move.removal or move.part.id not in ids or not view.is_out(move.part.id, move.number):
            continue
        again = view.next_move(move.part.id, move.number, removal=True)
        late = _refitted_after(view, move, again.number if again else len(view.moves), free)
        if late:
            message = f"`{move.part.id}` connects the energy before {named(late)} is back"
            yield Finding(move.keys, None, message, "Connect it when everything is back in its place.")


def _refitted_after(view: View, move: Move, end: int, free: frozenset[str]) -> list[str]:
    """Parts without a plug that are out at `move` and go back after it, before move `end`."""
    later = {
        m.part.id: None
        for m in view.moves[move.number + 1 : end]
        if not m.removal
        and m.part.kind is not PartKind.CONNECTOR
        and m.part.id not in free
        and view.is_out(m.part.id, move.number)
    }
    return list(later)


def discharge_measured(view: View) -> Iterator[Finding]:
    """After the mains is cut off or a discharge was waited for, conductors are touched before a measurement."""
    isolators = {part.id for part in isolators_first(view)}
    if not isolators and not any(_waits_for_discharge(step) for step in view.steps):
        return
    pending = False
    for index, step in enumerate(view.steps):
        move = next((m for m in _removals(view, index) if m.part.kind in _CONDUCTORS), None)
        if pending and move and move.part.id not in isolators:
            message = f"`{move.part.id}` comes off before a measured value shows the discharge"
            most = ", ".join(f"{p.stores.gone_at:g} {p.stores.unit}" for p in view.device.stores if p.stores)
            remedy = f"Put a `read` step with `high` of at most {most or f'{ELV_V:g} V'} before it; no tick proves it."
            yield Finding(move.keys, None, message, remedy)
            pending = False
        if _waits_for_discharge(step) or any(m.part.id in isolators for m in _removals(view, index)):
            pending = True
        elif _shows_discharge(view, step):
            pending = False


def _removals(view: View, index: int) -> Iterator[Move]:
    """The removals of one step."""
    for number in range(view.first_move[index], len(view.moves)):
        move = view.moves[number]
        if move.step != index:
            return
        if move.removal:
            yield move


def _waits_for_discharge(step: Step) -> bool:
    return step.wait is not None and step.wait.kind is WaitKind.DISCHARGE


def _shows_discharge(view: View, step: Step) -> bool:
    """True for a reading whose upper limit is what the part map says, else extra-low voltage."""
    reading = step.reading
    if step.action is not Action.READ or reading is None or reading.high is None:
        return False
    stores = [part.stores for part in view.device.stores if part.stores]
    if stores:
        return any(reading.unit == energy.unit and reading.high <= energy.gone_at for energy in stores)
    factor = _VOLTS.get(reading.unit)
    return factor is not None and reading.high * factor <= ELV_V


MAINS_RULES = (
    Rule(
        "mains-first", ERROR, "A device that carries mains or stores a charge is isolated before anything comes off.",
        "Behind any cover there may be a voltage that can kill.",
        "`rear-screws` come off while `mains-plug`, which isolates `mains-inlet`, is still in.", job=mains_first,
    ),
    Rule(
        "mains-last", ERROR, "The mains, or what charges a store, is connected when everything is back.",
        "A powered open device is live work, which local codes leave to licensed persons.",
        "`mains-plug` is closed before `rear-shell` is fitted.", job=mains_last,
    ),
    Rule(
        "discharge-measured", ERROR, "A discharge is measured, never ticked, before conductors are touched.",
        "Capacitors can stay charged for a long time when a resistor has failed, and can kill.",
        f"No `read` in V with `high` up to {ELV_V:g} stands between `mains-plug` and `power-board`.",
        job=discharge_measured,
    ),
)  # fmt: skip
