"""Whether the route still fits what is out, and which tests have to be done once more. What the way back then is:
way_back.py.
"""

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.order import before_energy
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS, PartKind
from benchguide.session import names
from benchguide.session.state import Mark, State, StepMark
from benchguide.session.way_back_order import mixes_energy

#: parts whose refit makes a test before sealing worth doing again
TESTED = frozenset({PartKind.CONNECTOR, PartKind.MODULE, PartKind.CELL})
#: what is known of a step that nobody has been at
UNTOUCHED = StepMark()


def stale_tests(state: State) -> list[tuple[Step, frozenset[str]]]:
    """Tests before sealing that are done, with the parts that came off since and are out."""
    moved = {i.part: i.turn for i in state.ledger.out if state.job.device.by_id[i.part].kind in TESTED}
    if not moved:
        return []
    last: dict[str, Step] = {}
    for step in state.steps[state.job.way_back_at :]:
        if step.before_seal and state.mark_of(step.id).mark is Mark.DONE:
            old = last.get(names.root(step.id))
            if old is None or state.mark_of(old.id).turn < state.mark_of(step.id).turn:
                last[names.root(step.id)] = step
    found = []
    for step in last.values():
        causes = frozenset(part for part, turn in moved.items() if turn > state.mark_of(step.id).turn)
        if causes:
            found.append((step, causes))
    return found


def _test_missing(state: State) -> bool:
    """Whether a test has to be done once more and no open step of the route does."""
    roots = {names.root(step.id) for step, _ in stale_tests(state)}
    for step in state.steps[state.job.way_back_at :]:
        if step.before_seal and state.mark_of(step.id).mark is Mark.OPEN:
            roots.discard(names.root(step.id))
    return bool(roots)


def fits(state: State) -> bool:
    """Whether the open steps of the present route put back exactly what is out, each piece once, in an order
    that the part map allows. Steps that a person has looked at may be there for nothing."""
    device, out = state.job.device, set(state.ledger.names())
    isolators = {part.id for part in device.isolators}
    for step in state.steps[state.job.way_back_at :]:
        mark = state.marks.get(step.id, UNTOUCHED)
        if mark.mark is not Mark.OPEN:
            continue
        if step.action in REMOVALS:
            out.update(step.parts)
        elif step.action in REFITS:
            parts = out.intersection(step.parts)
            if not mark.entered and (not parts or _mixed(device, parts, isolators)):
                return False
            out -= parts
            if any(not out.isdisjoint(device.needed_by.get(part, ())) for part in parts):
                return False
            if any(before_energy(device, part, out) for part in parts & isolators):
                return False
    return not out and not _test_missing(state)


def _mixed(device: DeviceMap, parts: set[str], isolators: set[str]) -> bool:
    return len(parts) > 1 and not parts.isdisjoint(isolators) and mixes_energy(device, parts)
