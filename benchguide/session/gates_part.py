"""What bars a part from coming off or going back, whoever moves it: a step of the route, or a hand that did
something unplanned. Hold points of steps as such are in gates.py.
"""

from collections.abc import Collection, Iterator, Sequence

from benchguide.procedure.order import (
    before_energy,
    before_isolation,
    before_measuring,
    before_outside,
    closure,
    conducts,
    gated,
    needs,
)
from benchguide.procedure.words import REMOVALS, PartKind
from benchguide.session.energy import live_isolators, proofs
from benchguide.session.gate import Gate
from benchguide.session.gates_seen import too_long
from benchguide.session.state import Mark, Purpose, State, part_subject

PICTURED = frozenset({PartKind.CONNECTOR, PartKind.COVER, PartKind.MODULE, PartKind.CELL})


def gates_for_part_off(state: State, part: str) -> tuple[Gate, ...]:
    """What bars this part from coming off now without a step for it, waived gates left out. Raises KeyError."""
    subject = part_subject(part)
    rules = (
        _as_found(state, part),
        isolation_first(state, [part], subject),
        _discharge(state, part),
        held(state, [part], subject),
    )
    return tuple(gate for rule in rules for gate in rule if gate.id not in state.waived)


def gates_for_part_on(state: State, part: str) -> tuple[Gate, ...]:
    """What bars this part from going back now without a step for it, waived gates left out. Raises KeyError."""
    subject = part_subject(part)
    rules = (
        isolation_last(state, [part], subject),
        covered(state, [part], subject),
        too_long(state, [part], subject),
        _as_left(state, part),
    )
    return tuple(gate for rule in rules for gate in rule if gate.id not in state.waived)


def holding(state: State, part: str, besides: Collection[str] = ()) -> tuple[str, ...]:
    """Parts that still hold or cover this one; one screw of a group left in still holds."""
    found = needs(state.job.device.by_id[part])
    return tuple(name for name in found if name not in besides and state.in_device(name) > 0)


def first_in(state: State, part: str, besides: Collection[str] = ()) -> tuple[str, ...]:
    """Parts that are out and must go in before this one, because it holds or covers them."""
    found = state.job.device.needed_by.get(part, ())
    return tuple(name for name in found if name not in besides and state.ledger.is_out(name))


def held(state: State, parts: Sequence[str], subject: str, besides: Collection[str] = ()) -> Iterator[Gate]:
    """A part is taken off that something still holds or covers."""
    for part in parts:
        if still := holding(state, part, besides):
            name = state.job.device.by_id[part].name
            yield Gate(
                f"held:{subject}",
                f"{name} is still held or covered by: {named(state, still)}.",
                "Take those off first.",
            )


def covered(
    state: State, parts: Sequence[str], subject: str, besides: Collection[str] = ()
) -> Iterator[Gate]:
    """A part is put back over something that is still out."""
    for part in parts:
        if missing := first_in(state, part, besides):
            yield Gate(
                f"missing-under:{subject}",
                f"Still out, and must go in first: {named(state, missing)}.",
                "Refit what lies under it or is held by it first.",
            )


def isolation_first(state: State, parts: Sequence[str], subject: str) -> Iterator[Gate]:
    """A supply from outside, and any source of a device that stores a charge, before anything; any other source
    before a connector is opened."""
    device, live = state.job.device, [part.id for part in live_isolators(state)]
    if not live or not parts:
        return
    outside = {part.id for part in device.cut_outside}
    first = [name for name in live if name in outside]
    if not first or before_outside(device).issuperset(parts):
        free = before_isolation(device)
        first = live if any(gated(device, device.by_id[part], free) for part in parts) else []
    if first:
        others = "anything is opened or taken off" if device.isolated_first else "any other connector"
        yield Gate(
            f"isolation:{subject}",
            f"Not isolated: {named(state, first)} is still connected.",
            f"Disconnect it before {others}.",
        )


def isolation_last(state: State, parts: Sequence[str], subject: str) -> Iterator[Gate]:
    """An energy source is connected when only what holds or covers its connector is left, or closes the device."""
    device, out = state.job.device, state.ledger.names()
    late: set[str] = set()
    for part in parts:
        if device.by_id[part].isolates:
            late |= before_energy(device, part, out)
    plugs = {name for name in late if device.by_id[name].kind is PartKind.CONNECTOR}
    late = plugs | late.difference(parts)
    if late:
        word, others = ("open", "connector") if late == plugs else ("out", "part")
        yield Gate(
            f"isolation-last:{subject}",
            f"Still {word}: {named(state, _as_in_map(state, late))}.",
            f"{'Close' if late == plugs else 'Refit'} every other {others} before the energy source is connected.",
        )


def _as_in_map(state: State, parts: Collection[str]) -> list[str]:
    return [part.id for part in state.job.device.parts if part.id in parts]


def _discharge(state: State, part: str) -> Iterator[Gate]:
    """A part that lies behind what is opened to reach an energy source comes off only after the measurement."""
    device = state.job.device
    missing = [proof for proof in proofs(state) if state.mark_of(proof.id).mark is not Mark.DONE]
    inner = closure(device, part) | {part}
    live = conducts(device.by_id[part]) and part not in before_measuring(device) | before_isolation(device)
    for proof in missing:
        passed = state.index[proof.id] < state.here
        if passed or (live and device.stores) or _behind(state, proof.id, inner):
            yield not_measured(proof.reading.quantity if proof.reading else "", part_subject(part))
            return


def _behind(state: State, proof: str, inner: frozenset[str]) -> bool:
    """Whether a part with these around it lies behind the last thing that comes off before the measurement."""
    removed = [s for s in state.steps[: state.index[proof]] if s.action in REMOVALS and s.parts]
    return bool(removed) and bool(inner.intersection(removed[-1].parts))


def not_measured(quantity: str, subject: str) -> Gate:
    """The hold point of a discharge that nobody has measured."""
    return Gate(
        f"discharge:{subject}",
        f"Not measured: {quantity}.",
        "Measure it and enter the value before anything else comes off.",
    )


def _as_found(state: State, part: str) -> Iterator[Gate]:
    if _pictured(state, part) and not _photos(state, part, Purpose.AS_FOUND):
        name = state.job.device.by_id[part].name
        yield Gate(
            f"as-found:{part_subject(part)}",
            f"The as-found photo of {name} is missing.",
            "Take the photo before you touch it.",
        )


def _as_left(state: State, part: str) -> Iterator[Gate]:
    if _pictured(state, part) and not _photos(state, part, Purpose.AS_LEFT):
        name = state.job.device.by_id[part].name
        yield Gate(
            f"as-left:{part_subject(part)}",
            f"The as-left photo of {name} is missing.",
            "Refit the part, take the photo, then say that it is back.",
        )


def _pictured(state: State, part: str) -> bool:
    return state.job.device.by_id[part].kind in PICTURED


def _photos(state: State, part: str, purpose: Purpose) -> bool:
    return any(photo.part == part and photo.purpose == purpose for photo in state.photos)


def named(state: State, parts: Collection[str]) -> str:
    """The names of some parts, for a sentence."""
    return ", ".join(state.job.device.by_id[part].name for part in parts)
