"""Decisions about single pieces: some of a group out or back, parts nobody planned to move, extras, and pieces
that will not go back as they came. Part of decide.py, which alone calls these.
"""

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.events import Event
from benchguide.session.gates import gates_for_step
from benchguide.session.gates_part import gates_for_part_off, gates_for_part_on
from benchguide.session.refused import Refused, named, refuse_if
from benchguide.session.state import State

#: hold points of a step that bar its pieces from moving; the others bar only declaring it done
BEFORE_MOVING = frozenset(
    {
        "isolation",
        "isolation-last",
        "discharge",
        "held",
        "missing-under",
        "as-found",
        "poor-as-found",
        "stop",
    }
)


def pieces_out(state: State, command: cmd.PiecesOut) -> list[Event]:
    """Some pieces of a part that the present step takes off."""
    step = state.step
    if step.action not in REMOVALS or command.part not in step.parts:
        raise Refused("This step does not take that part off. Enter it as taken off out of order.")
    pieces = _some(state, command.part, command.pieces, state.in_device(command.part), "in the device")
    _may_move(state, step)
    return [ev.PartCameOff(command.part, pieces, _cell(state, command.part, command.cell), step.id)]


def pieces_back(state: State, command: cmd.PiecesBack) -> list[Event]:
    """Some pieces of a part that the present step puts back."""
    step = state.step
    if step.action not in REFITS or command.part not in step.parts:
        raise Refused("This step does not put that part back. Enter it as put back out of order.")
    pieces = _some(state, command.part, command.pieces, state.ledger.pieces_of(command.part), "out")
    _may_move(state, step)
    return [ev.PartWentBack(command.part, pieces, step.id)]


def _may_move(state: State, step: Step) -> None:
    refuse_if(tuple(gate for gate in gates_for_step(state, step) if gate.kind in BEFORE_MOVING))


def take_off_part(state: State, command: cmd.TakeOffPart) -> list[Event]:
    """A part came off that no step asked for."""
    _known(state, command.part)
    inside = state.in_device(command.part)
    pieces = _some(state, command.part, command.pieces or inside, inside, "in the device")
    refuse_if(gates_for_part_off(state, command.part))
    cell = _cell(state, command.part, command.cell)
    return [ev.PartTakenOff(command.part, pieces, cell, state.step.id, command.reason.strip())]


def put_back_part(state: State, command: cmd.PutBackPart) -> list[Event]:
    """A part went back without its step."""
    _known(state, command.part)
    out = state.ledger.pieces_of(command.part)
    pieces = _some(state, command.part, command.pieces or out, out, "out")
    refuse_if(gates_for_part_on(state, command.part))
    return [ev.PartPutBack(command.part, pieces, state.step.id, command.reason.strip())]


def reconcile(state: State, command: cmd.Reconcile) -> list[Event]:
    """Why the pieces of a part are not what they should be."""
    reason, name = named(command.reason, command.name)
    left = _left_for(state, command.part, command.what)
    if not 1 <= command.pieces <= left[0]:
        raise Refused(f"{command.pieces} pieces cannot be accounted for; {left[0]} are {left[1]}.")
    return [ev.CountReconciled(command.part, command.pieces, command.what, reason, name)]


def _left_for(state: State, part: str, what: str) -> tuple[int, str]:
    """How many pieces can be meant, and where those are."""
    if what in ("lost", "replaced", "left-out"):
        return state.ledger.pieces_of(part), "out"
    if what == "not-fitted":
        _known(state, part)
        return state.in_device(part), "in the device"
    if what in ev.RETURNED:
        return state.gone.get(part, 0), "gone"
    raise Refused("Pieces can be lost, replaced, left-out, not-fitted, found or supplied.")


def enter_extra(state: State, command: cmd.EnterExtra) -> list[Event]:
    """An item was found that belongs to no part so far."""
    reason, name = named(command.reason, command.name)
    what = command.what.strip()
    if not what:
        raise Refused("Say what was found.")
    number = f"extra-{state.extras + 1}"
    return [ev.ExtraFound(number, what, command.cell.strip(), state.step.id, reason, name)]


def settle_extra(state: State, command: cmd.SettleExtra) -> list[Event]:
    """What becomes of such an item."""
    reason, name = named(command.reason, command.name)
    if command.extra not in {extra.id for extra in state.ledger.extras}:
        raise Refused("There is no such item among those that belong nowhere.")
    if command.how in ("kept", "thrown-away"):
        return [ev.ExtraSettled(command.extra, command.how, "", False, reason, name)]
    if command.how != "assigned":
        raise Refused("An item can be assigned to a part, kept or thrown-away.")
    _known(state, command.part)
    gone = state.gone.get(command.part, 0)
    if not gone and not state.in_device(command.part):
        told = state.job.device.by_id[command.part].name
        raise Refused(f"Every piece of {told} is accounted for; this one belongs elsewhere.")
    return [ev.ExtraSettled(command.extra, "assigned", command.part, gone > 0, reason, name)]


def _known(state: State, part: str) -> None:
    if part not in state.job.device.by_id:
        raise Refused(f"There is no part {part!r} in this device.")


def _some(state: State, part: str, pieces: int, there: int, where: str) -> int:
    """The number of pieces, if so many are there."""
    if type(pieces) is not int or not 1 <= pieces <= there:
        raise Refused(f"{pieces} pieces of {state.job.device.by_id[part].name}? {there} are {where}.")
    return pieces


def _cell(state: State, part: str, said: str) -> str:
    return said.strip() or state.job.device.by_id[part].cell or ""
