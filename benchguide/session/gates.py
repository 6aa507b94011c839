"""Hold points: what bars a step from being done or a session from being closed, each in one sentence.

A gate is released by meeting it or by a waiver with reason and name; `decide` refuses while one is open.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from benchguide.procedure.order import before_isolation, blockers, blocks_refit
from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import HOLDING, REFITS, REMOVALS, Action, Answer, PartKind
from benchguide.session.ledger import OutItem, connectors_out, isolated
from benchguide.session.state import Mark, Purpose, State


@dataclass(frozen=True, slots=True)
class Gate:
    """One open hold point. `id` names it in a waiver: kind, colon, step."""

    id: str
    sentence: str
    remedy: str

    @property
    def kind(self) -> str:
        """The part of the id before the colon."""
        return self.id.split(":", 1)[0]


def gates_for_step(state: State, step: Step) -> tuple[Gate, ...]:
    """What bars this step from being declared done now, waived gates left out."""
    return _unwaived(state, (gate for rule in STEP_GATES for gate in rule(state, step)))


def gates_for_finish(state: State) -> tuple[Gate, ...]:
    """What bars the session from being closed now, waived gates left out."""
    return _unwaived(state, (gate for rule in FINISH_GATES for gate in rule(state)))


def _unwaived(state: State, gates: Iterator[Gate]) -> tuple[Gate, ...]:
    return tuple(gate for gate in gates if gate.id not in state.waived)


def will_move(state: State, step: Step) -> tuple[str, ...]:
    """The parts this step still moves: those on for a removal, those out for a refit."""
    parts = tuple(dict.fromkeys(step.parts))
    if step.action in REMOVALS:
        return tuple(p for p in parts if state.in_device(p) > 0)
    if step.action in REFITS:
        return tuple(p for p in parts if state.ledger.is_out(p))
    return ()


def _moves(state: State, step: Step) -> bool:
    return bool(will_move(state, step))


def _as_found(state: State, step: Step) -> Iterator[Gate]:
    needed = needs_as_found(state.job.device, step) and (step.as_found or _moves(state, step))
    if needed and not state.photos_of(step.id, Purpose.AS_FOUND):
        yield Gate(
            f"as-found:{step.id}",
            "The as-found photo of this step is missing.",
            "Take the photo before you touch anything.",
        )


def _as_left(state: State, step: Step) -> Iterator[Gate]:
    needed = needs_as_left(state.job.device, step) and (step.as_left or _moves(state, step))
    if needed and not state.photos_of(step.id, Purpose.AS_LEFT):
        yield Gate(
            f"as-left:{step.id}",
            "The as-left photo of this step is missing.",
            "Refit the part, then take the photo.",
        )


def _isolation(state: State, step: Step) -> Iterator[Gate]:
    device = state.job.device
    opens = [p for p in will_move(state, step) if device.by_id[p].kind is PartKind.CONNECTOR]
    if step.action is not Action.OPEN or not opens or isolated(state.ledger, device):
        return
    free = before_isolation(device)
    if any(p not in free for p in opens):
        names = ", ".join(p.name for p in device.isolators if not state.ledger.is_out(p.id))
        yield Gate(
            f"isolation:{step.id}",
            f"Not isolated: {names} is still connected.",
            "Disconnect it before any other connector.",
        )


def _isolation_last(state: State, step: Step) -> Iterator[Gate]:
    device = state.job.device
    closes = [p for p in will_move(state, step) if device.by_id[p].isolates]
    if step.action is not Action.CLOSE or not closes:
        return
    free = before_isolation(device)
    others = [c for c in connectors_out(state.ledger, device) if c not in free]
    if others:
        names = ", ".join(device.by_id[c].name for c in others)
        yield Gate(
            f"isolation-last:{step.id}",
            f"Still open: {names}.",
            "Close every other connector before the energy source is connected.",
        )


def _held(state: State, step: Step) -> Iterator[Gate]:
    if step.action not in REMOVALS:
        return
    device = state.job.device
    off = state.ledger.names() | set(state.gone)
    for part in will_move(state, step):
        holding = [b for b in blockers(device, part, off) if b not in step.parts]
        partly = [b for b in _partly_out(state, part) if b not in holding]
        if holding or partly:
            names = ", ".join(device.by_id[b].name for b in (*holding, *partly))
            yield Gate(
                f"held:{step.id}",
                f"{device.by_id[part].name} is still held or covered by: {names}.",
                "Take those off first.",
            )


def _partly_out(state: State, part: str) -> tuple[str, ...]:
    """Groups that hold this part and are out only in part: one screw left in still holds."""
    device = state.job.device
    return tuple(b for b in device.by_id[part].held_by if 0 < state.in_device(b) < device.by_id[b].pieces)


def _covered(state: State, step: Step) -> Iterator[Gate]:
    if step.action not in REFITS:
        return
    device, out = state.job.device, state.ledger.names()
    for part in will_move(state, step):
        missing = [b for b in blocks_refit(device, part, set(out)) if b not in step.parts]
        if missing:
            names = ", ".join(device.by_id[b].name for b in missing)
            yield Gate(
                f"missing-under:{step.id}",
                f"Still out, and must go in first: {names}.",
                "Refit what lies under it or is held by it first.",
            )


def _answers(state: State, step: Step) -> Iterator[Gate]:
    left = [line for line in step.lines if (step.id, line.id) not in state.answers]
    if left:
        yield Gate(
            f"answers:{step.id}",
            f"{len(left)} of {len(step.lines)} lines have no answer.",
            "Answer every line: works, does not work, not testable or not present.",
        )


def _reading(state: State, step: Step) -> Iterator[Gate]:
    if step.reading and step.id not in state.readings:
        yield Gate(
            f"reading:{step.id}",
            f"The value of {step.reading.quantity} is missing.",
            "Measure it and enter the value; a tick is not enough.",
        )
    elif step.reading and not _in_limits(step, state.readings[step.id].value):
        value = f"{state.readings[step.id].value:g} {step.reading.unit}"
        yield Gate(
            f"limits:{step.id}",
            f"{step.reading.quantity} {value} is outside its limits.",
            "Find out why before going on, or measure again.",
        )


def _in_limits(step: Step, value: float) -> bool:
    limits = step.reading
    assert limits is not None
    return (limits.low is None or value >= limits.low) and (limits.high is None or value <= limits.high)


def _wait(state: State, step: Step) -> Iterator[Gate]:
    if step.wait is None:
        return
    own = [c for c in state.countdowns.values() if c.step == step.id]
    if not own:
        yield Gate(f"wait:{step.id}", "The countdown has not been started.", "Start it.")
    elif step.wait.kind in HOLDING and any(c.running for c in own):
        yield Gate(
            f"wait:{step.id}", f"The {step.wait.kind} time is not over.", "Wait, or stop it with a reason."
        )


def _before_seal(state: State, step: Step) -> Iterator[Gate]:
    if not step.seals:
        return
    tests = [s for s in state.job.steps if s.before_seal]
    unanswered = [line for s in tests for line in s.lines if (s.id, line.id) not in state.answers]
    undone = [s.id for s in tests if state.mark_of(s.id).mark is not Mark.DONE]
    failed = [
        (line.text, line.serves)
        for s in tests
        for line in s.lines
        if state.answers.get((s.id, line.id)) == Answer.FAILS
    ]
    if unanswered or undone:
        yield Gate(
            f"test:{step.id}",
            "The test before sealing is not complete: "
            f"{len(unanswered)} lines open, {len(undone)} steps not done.",
            "Go back to the test, answer every line and finish it.",
        )
    if failed:
        leads = sorted({p.name for _, f in failed for p in state.job.device.parts if f and f in p.serves})
        remedy = f"Look at {', '.join(leads)}." if leads else "Find the cause before sealing."
        yield Gate(f"failed:{step.id}", "Does not work: " + "; ".join(t for t, _ in failed) + ".", remedy)


def _counts(state: State, step: Step) -> Iterator[Gate]:
    if not step.seals:
        return
    later = {p for s in state.job.steps[state.job.index[step.id] :] if s.action in REFITS for p in s.parts}
    left = [item for item in state.ledger.out if item.part not in later]
    if left:
        yield Gate(f"count:{step.id}", _left_out(state, left), "Refit them, or say why they stay out.")


def _left_out(state: State, items: Sequence[OutItem]) -> str:
    names = state.job.device.by_id
    told = ", ".join(f"{i.pieces} x {names[i.part].name}" for i in items)
    return f"Still out of the device: {told}."


def _finish_count(state: State) -> Iterator[Gate]:
    if state.ledger.out:
        told = _left_out(state, state.ledger.out)
        yield Gate("count:finish", told, "Refit them, or say why they stay out.")


def _finish_steps(state: State) -> Iterator[Gate]:
    left = [s.id for s in state.job.steps if state.mark_of(s.id).mark is Mark.OPEN]
    if left:
        yield Gate(
            "open:finish",
            f"{len(left)} steps are neither done nor skipped.",
            "Do them, or skip them with a reason.",
        )


def _finish_countdowns(state: State) -> Iterator[Gate]:
    if state.running:
        yield Gate("wait:finish", "A countdown is still running.", "Wait for it, or stop it with a reason.")


STEP_GATES: tuple[Callable[[State, Step], Iterator[Gate]], ...] = (
    _as_found,
    _isolation,
    _isolation_last,
    _held,
    _covered,
    _reading,
    _answers,
    _wait,
    _before_seal,
    _counts,
    _as_left,
)
FINISH_GATES: tuple[Callable[[State], Iterator[Gate]], ...] = (
    _finish_count,
    _finish_steps,
    _finish_countdowns,
)
