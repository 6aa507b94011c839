"""Questions that can be asked at any moment: what bars this part, what would this step bar, which places are
empty, what lies where, what goes back first. Answers only; nothing is decided or changed.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from benchguide.procedure.order import closure
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS
from benchguide.session.gate import Gate
from benchguide.session.gates import will_move
from benchguide.session.gates_part import first_in, gates_for_part_off, gates_for_part_on, holding
from benchguide.session.ledger import OutItem
from benchguide.session.state import Mark, State
from benchguide.session.way_back_order import Preds, must_precede


@dataclass(frozen=True, slots=True)
class Bar:
    """One part in the way of another: how many of its pieces, and how. `how` is holds, covers or energy."""

    part: str
    pieces: int
    how: str


@dataclass(frozen=True, slots=True)
class InTheWay:
    """What bars a part from moving now."""

    part: str
    next: tuple[Bar, ...]
    """What is directly in its way."""
    further: tuple[str, ...]
    """What has to move before that, in the order of the part map."""
    gates: tuple[Gate, ...]
    """The hold points that a hand would meet now, photos and measurements among them."""

    @property
    def free(self) -> bool:
        """True when no other part is in its way."""
        return not self.next


def in_the_way_off(state: State, part: str) -> InTheWay:
    """What bars this part from coming off. Raises KeyError for an unknown part."""
    known = state.job.device.by_id[part]
    near = holding(state, part)
    bars = [Bar(p, state.in_device(p), "holds" if p in known.held_by else "covers") for p in near]
    gates = gates_for_part_off(state, part) if state.in_device(part) else ()
    bars += [Bar(p, state.in_device(p), "energy") for p in _live(state, gates) if p not in near]
    still = closure(state.job.device, part).union(*(closure(state.job.device, bar.part) for bar in bars))
    known_bars = {bar.part for bar in bars}
    further = tuple(p for p in _in_map(state, still) if state.in_device(p) and p not in known_bars)
    return InTheWay(part, tuple(bars), further, gates)


def _live(state: State, gates: Iterable[Gate]) -> list[str]:
    if not any(gate.kind == "isolation" for gate in gates):
        return []
    return [part.id for part in state.job.device.isolators if state.in_device(part.id)]


def in_the_way_on(state: State, part: str) -> InTheWay:
    """What bars this part from going back: what it holds or covers and is still out. Raises KeyError."""
    device = state.job.device
    gates = gates_for_part_on(state, part) if state.ledger.is_out(part) else ()
    near = first_in(state, part)
    bars = [Bar(p, state.ledger.pieces_of(p), _how(state, part, p)) for p in near]
    preds = must_precede(device, {*state.ledger.names(), part})
    energy = sorted(preds[part].difference(near)) if device.by_id[part].isolates else []
    bars += [Bar(p, state.ledger.pieces_of(p), "energy") for p in energy]
    known_bars = {bar.part for bar in bars}
    further = _all_before(preds, part) - known_bars
    return InTheWay(part, tuple(bars), tuple(_in_map(state, further)), gates)


def _how(state: State, part: str, other: str) -> str:
    return "holds" if part in state.job.device.by_id[other].held_by else "covers"


def _all_before(preds: Preds, part: str) -> set[str]:
    found: set[str] = set()
    waiting = list(preds[part])
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(preds.get(name, ()))
    return found


def _in_map(state: State, parts: Iterable[str]) -> list[str]:
    wanted = set(parts)
    return [part.id for part in state.job.device.parts if part.id in wanted]


@dataclass(frozen=True, slots=True)
class WouldBlock:
    """What a step would make impossible until it is undone."""

    must_wait: tuple[str, ...]
    """Parts that are out and could not go back any more."""
    shut_in: tuple[str, ...]
    """Parts in the device that could not come off any more."""

    @property
    def nothing(self) -> bool:
        """True when it is in nobody's way."""
        return not self.must_wait and not self.shut_in


def would_block(state: State, step: Step) -> WouldBlock:
    """What this step would block if it were done now. A step that moves nothing blocks nothing."""
    moving = will_move(state, step)
    device, besides = state.job.device, set(step.parts)
    if step.action in REMOVALS:
        over = {n for p in moving for n in (*device.by_id[p].held_by, *device.by_id[p].under)}
        return WouldBlock(tuple(p for p in _in_map(state, over - besides) if state.ledger.is_out(p)), ())
    if step.action in REFITS:
        below = {n for p in moving for n in device.needed_by.get(p, ())} - besides
        out = [p for p in _in_map(state, below) if state.ledger.is_out(p)]
        shut = [p for p in _in_map(state, below) if not state.ledger.is_out(p) and state.in_device(p)]
        return WouldBlock(tuple(out), tuple(shut))
    return WouldBlock((), ())


@dataclass(frozen=True, slots=True)
class EmptyPlaces:
    """A part with places in the device that are empty now."""

    part: str
    empty: int
    of: int
    out: int
    """How many of the missing pieces lie on the mat; the rest is gone."""
    cells: tuple[str, ...]


def empty_places(state: State) -> tuple[EmptyPlaces, ...]:
    """Every part with an empty place, in the order of the part map. For screws only the number is known, not
    which of the places it is."""
    found = []
    for part in state.job.device.parts:
        empty = part.pieces - state.in_device(part.id)
        if empty:
            items = state.ledger.items_of(part.id)
            cells = tuple(dict.fromkeys(item.cell for item in items if item.cell))
            found.append(EmptyPlaces(part.id, empty, part.pieces, state.ledger.pieces_of(part.id), cells))
    return tuple(found)


def lying(state: State, step: Step) -> tuple[OutItem, ...]:
    """What this step puts back, entry by entry: how many pieces lie in which cell, the top one first."""
    if step.action not in REFITS:
        return ()
    return tuple(item for item in reversed(state.ledger.out) if item.part in step.parts)


def stack(state: State) -> tuple[OutItem, ...]:
    """What is out, the top item first: that one goes back first. In the order of the way back where it is laid,
    else the last out first."""
    turn: dict[str, int] = {}
    if state.laid:
        for i, step in enumerate(state.steps):
            if step.action in REFITS and state.mark_of(step.id).mark is Mark.OPEN:
                for part in step.parts:
                    turn.setdefault(part, i)
    later = len(state.steps)
    newest_first = tuple(reversed(state.ledger.out))
    return tuple(sorted(newest_first, key=lambda item: turn.get(item.part, later)))
