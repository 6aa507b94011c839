"""The one place where intentions are judged: state, command and moment in, facts out, or a refusal.

Pure: nothing is stored or shown here, and the same inputs always give the same answer.
"""

from collections.abc import Callable
from math import ceil, isfinite, nan
from typing import Any

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import CHOICES, REFITS, REMOVALS
from benchguide.session import commands as cmd
from benchguide.session import decide_pieces as by_piece
from benchguide.session import decide_seen as seen
from benchguide.session import events as ev
from benchguide.session.apply import as_at
from benchguide.session.countdown import left_s
from benchguide.session.events import Event, Fact
from benchguide.session.gate import Gate
from benchguide.session.gates import gates_for_finish, gates_for_step, told_parts, will_move
from benchguide.session.gates_part import gates_for_part_off, gates_for_part_on
from benchguide.session.laying import with_way_back
from benchguide.session.moment import Moment, moment_from_doc
from benchguide.session.refused import Refused, named, refuse_if
from benchguide.session.state import Mark, Purpose, State, Status

__all__ = ["Refused", "decide", "wanted_purpose"]


def decide(state: State, command: cmd.Command, now: Moment) -> tuple[Fact, ...]:
    """The facts that follow from a command, in order.

    Raises Refused with one sentence when the command does not fit the state.
    """
    if isinstance(command, cmd.StartSession):
        events = _start(state, command)
        return tuple(Fact(now, command.person, event) for event in events)
    if state.status is Status.NEW:
        raise Refused("The session has not been started.")
    if not state.open:
        raise Refused("This session is closed; it can be read, not changed.")
    if state.away and not isinstance(command, cmd.ResumeSession):
        raise Refused("The session must be resumed first.")
    state = as_at(state, now)  # a long sleep since the last fact asks for confirmation too
    if state.to_confirm and not isinstance(command, WHILE_UNCONFIRMED):
        raise Refused("Confirm the last action first.")
    if state.status is Status.HELD and not isinstance(command, WHILE_HELD):
        raise Refused("Work is on hold. Continue first.")
    if isinstance(command, cmd.RingCountdown):
        _must_be_due(state, command, now)
    events = with_way_back(state, DECISIONS[type(command)](state, command), now)
    person = command.to if isinstance(command, cmd.ChangePerson) else state.person
    return tuple(Fact(now, person, event) for event in events)


def _start(state: State, command: cmd.StartSession) -> list[Event]:
    if state.status is not Status.NEW:
        raise Refused("This session has already been started.")
    if not state.steps:
        raise Refused("This procedure has no steps.")
    person, job = command.person.strip(), command.job.strip()
    if not person or not job:
        raise Refused("A job number and a name are needed.")
    device, procedure = state.job.device, state.job.procedure
    started = ev.SessionStarted(
        job, person, device.name, procedure.title, command.device_doc, command.procedure_doc
    )
    return [started, ev.StepEntered(state.steps[0].id, "next")]


def _finish_step(state: State, command: cmd.FinishStep) -> list[Event]:
    step = state.step
    refuse_if(gates_for_step(state, step))
    return [*_movements(state, step), ev.StepDone(step.id), *_enter_next(state)]


def _movements(state: State, step: Step) -> list[Event]:
    """What declaring the step done moves: all that is left, but nothing of parts entered piece by piece."""
    moved: list[Event] = []
    told = told_parts(state, step)
    for name in will_move(state, step):
        if name in told:
            continue
        part = state.job.device.by_id[name]
        if step.action in REMOVALS:
            pieces = state.in_device(name)
            moved.append(ev.PartCameOff(name, pieces, part.cell or "", step.id))
        elif step.action in REFITS:
            moved.append(ev.PartWentBack(name, state.ledger.pieces_of(name), step.id))
    return moved


def _enter_next(state: State) -> list[Event]:
    if state.here + 1 < len(state.steps):
        return [ev.StepEntered(state.steps[state.here + 1].id, "next")]
    return []


def _go_back(state: State, command: cmd.GoBack) -> list[Event]:
    if state.here == 0:
        raise Refused("This is the first step.")
    return [ev.StepEntered(state.steps[state.here - 1].id, "back")]


def _go_to(state: State, command: cmd.GoTo) -> list[Event]:
    if command.step not in state.index:
        raise Refused(f"There is no step {command.step!r} in this procedure.")
    if command.step == state.step.id:
        raise Refused("This step is already on the bench.")
    return [ev.StepEntered(command.step, "chosen")]


def _repeat(state: State, command: cmd.RepeatStep) -> list[Event]:
    return [ev.StepEntered(state.step.id, "again")]


def _skip(state: State, command: cmd.SkipStep) -> list[Event]:
    reason, name = named(command.reason, command.name)
    if state.mark_of(state.step.id).mark is Mark.DONE:
        raise Refused("This step is done already; take it back or go on.")
    return [ev.StepSkipped(state.step.id, reason, name), *_enter_next(state)]


def _take_back(state: State, command: cmd.TakeBack) -> list[Event]:
    last = state.last_done
    if not last:
        raise Refused("There is no step to take back.")
    if not _can_reverse(state, last):
        raise Refused("That step cannot be taken back: its parts have moved again since.")
    return [ev.StepTakenBack(last), ev.StepEntered(last, "back")]


def _can_reverse(state: State, step: str) -> bool:
    """True when the pieces a step moved are still where it left them."""
    for move in state.mark_of(step).moved:
        if move.pieces > 0 and state.ledger.pieces_of(move.part) < move.pieces:
            return False
        if move.pieces < 0 and state.in_device(move.part) < -move.pieces:
            return False
    return True


def _keep_photo(state: State, command: cmd.KeepPhoto) -> list[Event]:
    step = state.step_of(command.step) or state.step
    purpose = command.purpose or wanted_purpose(state, step)
    if purpose not in set(Purpose):
        raise Refused(f"A photo is as-found, as-left, mat or free, not {purpose!r}.")
    part = command.part or next(iter(step.parts), "")
    if command.part and command.part not in state.job.device.by_id:
        raise Refused(f"There is no part {command.part!r} in this device.")
    return [
        ev.PhotoTaken(
            command.sha256,
            str(purpose),
            step.id,
            part,
            command.width,
            command.height,
            command.exposed,
            command.source,
            list(command.faults),
        )
    ]


def wanted_purpose(state: State, step: Step) -> Purpose:
    """What a photo taken now at this step is for: the photo it still lacks or has only poor, else a free one."""
    kinds = {gate.kind for gate in gates_for_step(state, step)}
    if kinds & {"as-found", "poor-as-found"}:
        return Purpose.AS_FOUND
    return Purpose.AS_LEFT if kinds & {"as-left", "poor-as-left"} else Purpose.FREE


def _note(state: State, command: cmd.AddNote) -> list[Event]:
    text = command.text.strip()
    if not text:
        raise Refused("The note is empty.")
    return [ev.NoteAdded(state.step.id, text)]


def _hold(state: State, command: cmd.BeginHold) -> list[Event]:
    if not command.reason.strip():
        raise Refused("A hold needs a reason.")
    return [ev.HoldBegan(command.reason.strip())]


def _end_hold(state: State, command: cmd.EndHold) -> list[Event]:
    if state.status is not Status.HELD:
        raise Refused("Work is not on hold.")
    return [ev.HoldEnded()]


def _start_countdown(state: State, command: cmd.StartCountdown) -> list[Event]:
    step = state.step
    if step.wait is None:
        raise Refused("This step has no countdown.")
    if any(c.step == step.id for c in state.running):
        raise Refused("The countdown of this step is running already.")
    number = sum(c.step == step.id for c in state.countdowns.values()) + 1
    return [ev.CountdownStarted(f"{step.id}#{number}", step.id, str(step.wait.kind), step.wait.for_s)]


def _running_countdown(state: State, name: str) -> None:
    if name not in {c.id for c in state.running}:
        raise Refused("That countdown is not running.")


def _must_be_due(state: State, command: cmd.RingCountdown, now: Moment) -> None:
    _running_countdown(state, command.countdown)
    left = left_s(state.countdowns[command.countdown], now)
    if left > 0:
        raise Refused(f"The countdown is not over: {ceil(left)} seconds are left.")


def _ring(state: State, command: cmd.RingCountdown) -> list[Event]:
    return [ev.CountdownRang(command.countdown)]


def _stop_countdown(state: State, command: cmd.StopCountdown) -> list[Event]:
    _running_countdown(state, command.countdown)
    if not command.reason.strip():
        raise Refused("Stopping a countdown needs a reason.")
    return [ev.CountdownStopped(command.countdown, command.reason.strip())]


def _answer(state: State, command: cmd.AnswerLine) -> list[Event]:
    line = next((line for line in state.step.lines if line.id == command.line), None)
    if line is None:
        raise Refused(f"This step has no line {command.line!r}.")
    *most, last = CHOICES[line.answers]
    if command.answer not in CHOICES[line.answers]:
        raise Refused(f"Answer with: {', '.join(most)} or {last}.")
    return [ev.LineAnswered(state.step.id, command.line, str(command.answer))]


def _enter_reading(state: State, command: cmd.EnterReading) -> list[Event]:
    reading = state.step.reading
    if reading is None:
        raise Refused("This step asks for no measured value.")
    try:
        value = float(command.value)
    except (TypeError, ValueError, OverflowError):
        value = nan
    if not isfinite(value):
        raise Refused("Enter a number.")
    return [ev.ReadingTaken(state.step.id, reading.quantity, reading.unit, value)]


def _waive(state: State, command: cmd.Waive) -> list[Event]:
    reason, name = named(command.reason, command.name)
    if command.gate not in {gate.id for gate in _in_the_way(state, command.gate)}:
        raise Refused("There is no such hold point in the way now.")
    return [ev.WaiverGiven(command.gate, state.step.id, reason, name)]


def _in_the_way(state: State, gate: str) -> tuple[Gate, ...]:
    """The hold points among which one of this name can be: of a part that is to be moved, or of the step."""
    part = gate.partition(":part/")[2]
    if part in state.job.device.by_id:
        off = gates_for_part_off(state, part) if state.in_device(part) else ()
        return (*off, *(gates_for_part_on(state, part) if state.ledger.is_out(part) else ()))
    return (*gates_for_step(state, state.step), *gates_for_finish(state))


def _confirm(state: State, command: cmd.ConfirmLast) -> list[Event]:
    if not state.to_confirm:
        raise Refused("There is nothing to confirm.")
    return [ev.LastConfirmed()]


def _change_person(state: State, command: cmd.ChangePerson) -> list[Event]:
    if not command.to.strip():
        raise Refused("The name of the person taking over is missing.")
    if command.pieces_out != state.ledger.on_mat:
        raise Refused(
            f"The counts differ: {command.pieces_out} counted, {state.ledger.on_mat} in the ledger. "
            "Count again together."
        )
    return [ev.PersonChanged(state.person, command.to.strip(), command.pieces_out)]


def _leave(state: State, command: cmd.LeaveBench) -> list[Event]:
    return [ev.SessionLeft()]


def _resume(state: State, command: cmd.ResumeSession) -> list[Event]:
    return [ev.SessionResumed(_sign_of_life(command), "closed" if state.away else "interrupted")]


def _sign_of_life(command: cmd.ResumeSession) -> dict[str, object]:
    """The sign of life, or nothing when it cannot be read: a lost heartbeat must not bar the way back."""
    try:
        return moment_from_doc(command.last_alive).to_doc()
    except (KeyError, TypeError, ValueError):
        return {}


def _finish(state: State, command: cmd.FinishSession) -> list[Event]:
    refuse_if(gates_for_finish(state))
    return [ev.SessionFinished()]


def _abandon(state: State, command: cmd.AbandonSession) -> list[Event]:
    return [ev.SessionAbandoned(*named(command.reason, command.name))]


WHILE_UNCONFIRMED = (
    cmd.ConfirmLast,
    cmd.TakeBack,
    cmd.KeepPhoto,
    cmd.KeepComparison,
    cmd.KeepMatReading,
    cmd.AddNote,
    cmd.RingCountdown,
    cmd.StopCountdown,
    cmd.LeaveBench,
    cmd.ResumeSession,
    cmd.ChangePerson,
    cmd.BeginHold,
    cmd.EndHold,
    cmd.AbandonSession,
)
WHILE_HELD = (
    cmd.EndHold,
    cmd.KeepPhoto,
    cmd.KeepComparison,
    cmd.KeepMatReading,
    cmd.AddNote,
    cmd.RingCountdown,
    cmd.StopCountdown,
    cmd.LeaveBench,
    cmd.ResumeSession,
    cmd.ChangePerson,
    cmd.AbandonSession,
)

DECISIONS: dict[type[cmd.Command], Callable[[State, Any], list[Event]]] = {
    cmd.FinishStep: _finish_step,
    cmd.GoBack: _go_back,
    cmd.GoTo: _go_to,
    cmd.RepeatStep: _repeat,
    cmd.SkipStep: _skip,
    cmd.TakeBack: _take_back,
    cmd.KeepPhoto: _keep_photo,
    cmd.KeepPoorPhoto: seen.keep_poor_photo,
    cmd.MarkPlace: seen.mark_place,
    cmd.ClearPlace: seen.clear_place,
    cmd.KeepComparison: seen.keep_comparison,
    cmd.AnswerDifference: seen.answer_difference,
    cmd.KeepMatReading: seen.keep_mat_reading,
    cmd.KeepMeasurement: seen.keep_measurement,
    cmd.AddNote: _note,
    cmd.BeginHold: _hold,
    cmd.EndHold: _end_hold,
    cmd.StartCountdown: _start_countdown,
    cmd.RingCountdown: _ring,
    cmd.StopCountdown: _stop_countdown,
    cmd.AnswerLine: _answer,
    cmd.EnterReading: _enter_reading,
    cmd.Waive: _waive,
    cmd.ConfirmLast: _confirm,
    cmd.Reconcile: by_piece.reconcile,
    cmd.PiecesOut: by_piece.pieces_out,
    cmd.PiecesBack: by_piece.pieces_back,
    cmd.TakeOffPart: by_piece.take_off_part,
    cmd.PutBackPart: by_piece.put_back_part,
    cmd.EnterExtra: by_piece.enter_extra,
    cmd.SettleExtra: by_piece.settle_extra,
    cmd.ChangePerson: _change_person,
    cmd.LeaveBench: _leave,
    cmd.ResumeSession: _resume,
    cmd.FinishSession: _finish,
    cmd.AbandonSession: _abandon,
}
