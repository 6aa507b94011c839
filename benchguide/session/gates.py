"""Hold points: what bars a step from being done or a session from being closed, each in one sentence.

A gate is released by meeting it or by a waiver with reason and name; `decide` refuses while one is open.
"""

from collections.abc import Callable, Iterator, Sequence

from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.procedure import CheckLine, Step
from benchguide.procedure.words import CHOICES, FAILING, HOLDING, REFITS, REMOVALS, AnswerSet, Stage
from benchguide.session import gates_part as by_part
from benchguide.session.energy import unproven
from benchguide.session.gate import Gate
from benchguide.session.gates_seen import mat_left_empty, poor_photo_gates, too_long
from benchguide.session.ledger import OutItem
from benchguide.session.names import same_step
from benchguide.session.state import Mark, Purpose, State


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


def needless(state: State, step: Step) -> bool:
    """True for a refit on a way back that was laid, when nothing of it is out: it was looked at and stays."""
    return state.laid is not None and step.action in REFITS and not will_move(state, step)


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


def _poor_as_found(state: State, step: Step) -> Iterator[Gate]:
    if step.as_found or _moves(state, step):
        yield from poor_photo_gates(state, step, Purpose.AS_FOUND)


def _poor_as_left(state: State, step: Step) -> Iterator[Gate]:
    # a refit moves its parts in the very moment the step is declared done; once it is, nothing is held any more
    if step.as_left or _moves(state, step):
        yield from poor_photo_gates(state, step, Purpose.AS_LEFT)


def _too_long(state: State, step: Step) -> Iterator[Gate]:
    if step.action in REFITS:
        yield from too_long(state, will_move(state, step), step.id)


def _as_left(state: State, step: Step) -> Iterator[Gate]:
    needed = needs_as_left(state.job.device, step) and (step.as_left or _moves(state, step))
    if needed and not state.photos_of(step.id, Purpose.AS_LEFT):
        yield Gate(
            f"as-left:{step.id}",
            "The as-left photo of this step is missing.",
            "Refit the part, then take the photo.",
        )


def _isolation(state: State, step: Step) -> Iterator[Gate]:
    if step.action in REMOVALS:
        yield from by_part.isolation_first(state, will_move(state, step), step.id)


def _isolation_last(state: State, step: Step) -> Iterator[Gate]:
    if step.action in REFITS:
        yield from by_part.isolation_last(state, will_move(state, step), step.id)


def _discharge(state: State, step: Step) -> Iterator[Gate]:
    """What was to be measured before this may come off; a skipped measurement proves nothing."""
    if step.action in REMOVALS and _moves(state, step):
        for proof in unproven(state, step)[:1]:
            yield by_part.not_measured(proof.reading.quantity if proof.reading else "", step.id)


def _held(state: State, step: Step) -> Iterator[Gate]:
    if step.action in REMOVALS:
        yield from by_part.held(state, will_move(state, step), step.id, step.parts)


def _covered(state: State, step: Step) -> Iterator[Gate]:
    if step.action in REFITS:
        yield from by_part.covered(state, will_move(state, step), step.id, step.parts)


def told_parts(state: State, step: Step) -> tuple[str, ...]:
    """Parts of a step that are entered piece by piece: declaring it done settles nothing more for them."""
    return tuple(dict.fromkeys(m.part for m in state.mark_of(step.id).told if m.part in step.parts))


def _pieces(state: State, step: Step) -> Iterator[Gate]:
    """The person said how many came out or went back, and it was not all of them."""
    for part in told_parts(state, step):
        removal = step.action in REMOVALS
        left = state.in_device(part) if removal else state.ledger.pieces_of(part)
        if left:
            known = state.job.device.by_id[part]
            where = "in the device" if removal else "out of the device"
            yield Gate(
                f"pieces:{step.id}",
                f"{left} of {known.pieces} {known.name} still {where}.",
                "Enter the rest, or say what became of it.",
            )


def _answers(state: State, step: Step) -> Iterator[Gate]:
    left = [line for line in step.lines if (step.id, line.id) not in state.answers]
    if left:
        yield Gate(
            f"answers:{step.id}",
            f"{len(left)} of {len(step.lines)} lines have no answer.",
            f"Answer every line: {_choices(left)}.",
        )


def _choices(lines: Sequence[CheckLine]) -> str:
    *most, last = dict.fromkeys(answer for line in lines for answer in CHOICES[line.answers])
    return f"{', '.join(most)} or {last}"


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


def _after_wait(state: State, step: Step) -> Iterator[Gate]:
    """A countdown that was started earlier and must be over before this step is done."""
    if step.after_wait is None:
        return
    own = [c for c in state.countdowns.values() if same_step(c.step, step.after_wait)]
    if any(c.running for c in own):
        kind = next(c.kind for c in own if c.running)
        yield Gate(f"after:{step.id}", f"The {kind} time is not over.", "Wait, or stop it with a reason.")
    elif not own and step.after_wait in state.index and state.mark_of(step.after_wait).mark is Mark.OPEN:
        yield Gate(
            f"after:{step.id}",
            "The countdown that has to be over before this has not been started.",
            "Go to its step and start it.",
        )


def _before_seal(state: State, step: Step) -> Iterator[Gate]:
    if not step.seals:
        return
    tests = [s for s in state.steps if s.before_seal]
    unanswered = [line for s in tests for line in s.lines if (s.id, line.id) not in state.answers]
    undone = [s.id for s in tests if state.mark_of(s.id).mark is not Mark.DONE]
    if unanswered or undone:
        yield Gate(
            f"test:{step.id}",
            "The test before sealing is not complete: "
            f"{len(unanswered)} lines open, {len(undone)} steps not done.",
            "Go back to the test, answer every line and finish it.",
        )
    yield from _failed(state, step.id, [s for s in state.steps if _before_closing(s)])


def _before_closing(step: Step) -> bool:
    """Steps whose lines must work before sealing: what did not work before the device was opened is why it
    is here."""
    return step.before_seal or step.stage in (Stage.SWAP, Stage.WAY_BACK, Stage.TEST, Stage.SEAL)


def _failed(state: State, subject: str, steps: Sequence[Step]) -> Iterator[Gate]:
    """Lines of these steps that do not work."""
    lines = [line for s in steps for line in s.lines if _stands_failed(state, s, line)]
    if lines:
        told = "; ".join(dict.fromkeys(line.text.rstrip(".") for line in lines))
        differs = all(line.answers is AnswerSet.AGREES for line in lines)
        wrong = "Differs" if differs else "Does not work"
        yield Gate(f"failed:{subject}", f"{wrong}: {told}.", _where_to_look(state, lines))


def _stands_failed(state: State, step: Step, line: CheckLine) -> bool:
    """True when the last answer to this line is that something is wrong; a test done again replaces the first."""
    if state.answers.get((step.id, line.id)) not in FAILING:
        return False
    later = (s for s in state.steps[state.index[step.id] + 1 :] if same_step(s.id, step.id))
    return not any((s.id, line.id) in state.answers for s in later)


def _where_to_look(state: State, lines: Sequence[CheckLine]) -> str:
    """The connectors and parts that serve what failed, those that were moved in this job first."""
    functions = {line.serves for line in lines if line.serves}
    leads = [part for part in state.job.device.parts if functions.intersection(part.serves)]
    leads.sort(key=lambda part: (part.id not in state.came_off, part.name))
    if not leads:
        return "Find the cause before going on."
    return f"Look at {', '.join(part.name for part in leads)}."


def _counts(state: State, step: Step) -> Iterator[Gate]:
    if not step.seals:
        return
    later = {p for s in state.steps[state.index[step.id] :] if _still_refits(state, s) for p in s.parts}
    yield from _count(state, step.id, [item for item in state.ledger.out if item.part not in later])


def _still_refits(state: State, step: Step) -> bool:
    return step.action in REFITS and state.mark_of(step.id).mark is Mark.OPEN


def _count(state: State, subject: str, items: Sequence[OutItem]) -> Iterator[Gate]:
    """Pieces that have no way back any more, and items that belong to no part."""
    names, told = state.job.device.by_id, []
    if items:
        out = ", ".join(f"{i.pieces} x {names[i.part].name}" for i in items)
        told.append(f"Still out of the device: {out}.")
    if state.ledger.extras:
        told.append(f"Belongs nowhere yet: {', '.join(extra.what for extra in state.ledger.extras)}.")
    if told:
        yield Gate(f"count:{subject}", " ".join(told), "Refit them, or say why they stay out.")


def _finish_count(state: State) -> Iterator[Gate]:
    yield from _count(state, "finish", state.ledger.out)


def _finish_failed(state: State) -> Iterator[Gate]:
    """What fails after closing, the safety test above all. What failed before was held at sealing, if there is any."""
    sealing = any(s.seals for s in state.steps)
    late = [s for s in state.steps if s.stage is Stage.CLOSE_OUT or (not sealing and _before_closing(s))]
    yield from _failed(state, "finish", late)


def _finish_steps(state: State) -> Iterator[Gate]:
    left = [s.id for s in state.steps if state.mark_of(s.id).mark is Mark.OPEN and not needless(state, s)]
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
    _poor_as_found,
    _isolation,
    _isolation_last,
    _discharge,
    _held,
    _covered,
    _too_long,
    _pieces,
    _reading,
    _answers,
    _wait,
    _after_wait,
    _before_seal,
    _counts,
    _as_left,
    _poor_as_left,
)
FINISH_GATES: tuple[Callable[[State], Iterator[Gate]], ...] = (
    _finish_count,
    _finish_steps,
    _finish_countdowns,
    _finish_failed,
    mat_left_empty,
)
