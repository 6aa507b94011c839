"""Sentences the bench shows about state: what a step moves, what was done last. Plain strings, no widgets."""

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS, PartKind
from benchguide.session import events as ev
from benchguide.session.events import Fact
from benchguide.session.gates import told_parts, will_move
from benchguide.session.state import State

#: names in one sentence
MOST_NAMED = 3


def moved_words(state: State, step: Step) -> str:
    """What this step takes off or puts back, with counts and mat cells; empty when it moves nothing."""
    if step.action not in REMOVALS and step.action not in REFITS:
        return ""
    moving = will_move(state, step)
    if not moving:
        return "Nothing to put back: not out." if step.action in REFITS else "Already off."
    return "; ".join(_part_words(state, step, name) for name in moving)


def _part_words(state: State, step: Step, name: str) -> str:
    part = state.job.device.by_id[name]
    if step.action in REMOVALS:
        pieces = state.in_device(name)
        where = f", to cell {part.cell}" if part.cell else ""
    else:
        pieces = state.ledger.pieces_of(name)
        cells = sorted({item.cell for item in state.ledger.out if item.part == name and item.cell})
        where = f", from cell {' and '.join(cells)}" if cells else ""
    if part.kind is PartKind.SCREWS and part.screws:
        screw = part.screws
        out = state.ledger.pieces_of(name)
        # counted piece by piece: how far the hand has come
        begun = name in told_parts(state, step)
        so_far = f" ({out} of {part.pieces} out)" if begun else ""
        return f"{pieces} x {screw.thread} x {screw.length_mm:g} mm{where}{so_far}"
    return f"{part.name}{where}"


def laid_words(state: State, step: Step) -> str:
    """That a step was added when the way back was laid from what came off; empty for the steps of the procedure."""
    if state.laid is None or step.id in state.job.procedure.by_id:
        return ""
    return "Not in the procedure: added because it came off."


def standing_words(state: State) -> list[str]:
    """What a person who comes back has to know: what is open, loose, live and waiting, a sentence each."""
    device, ledger = state.job.device, state.ledger
    kinds = {item.part: device.by_id[item.part].kind for item in ledger.out}
    plugs = [device.by_id[p].name for p, kind in kinds.items() if kind is PartKind.CONNECTOR]
    loose = sum(item.pieces for item in ledger.out if kinds[item.part] is not PartKind.CONNECTOR)
    said = []
    if plugs:
        said.append(f"Open: {_some(plugs)}.")
    if loose:
        said.append(f"Out: {loose} piece{'' if loose == 1 else 's'}.")
    if ledger.extras:
        said.append(f"Found, belongs nowhere yet: {_some([extra.what for extra in ledger.extras])}.")
    live = [part.name for part in device.isolators if not ledger.is_out(part.id)]
    if live:
        said.append(f"Still connected: {_some(live)}.")
    waiting = [f"{countdown.kind}, {countdown.seconds} s" for countdown in state.running]
    if waiting:
        said.append(f"Running: {_some(waiting)}.")
    return said


def _some(names: list[str]) -> str:
    """The first few of them, and how many more."""
    rest = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def recent_words(state: State) -> list[str]:
    """One sentence for each of the last actions, oldest first."""
    return [_fact_words(state, fact) for fact in state.recent]


def _fact_words(state: State, fact: Fact) -> str:
    what, when = fact.what, fact.at.wall.strftime("%H:%M")
    step = state.step_of(getattr(what, "step", ""))
    # the first sentence says which step it was; the card has little room
    text = step.text.split(". ")[0].rstrip(".") if step else ""
    match what:
        case ev.StepDone():
            words = f"Done: {text}"
        case ev.StepSkipped():
            words = f"Skipped ({what.reason}): {text}"
        case ev.StepTakenBack():
            words = f"Taken back: {text}"
        case ev.PhotoTaken():
            words = f"Photo, {what.purpose}: {text}"
        case ev.WaiverGiven():
            words = f"Waiver by {what.name} ({what.reason}): {text}"
        case ev.ReadingTaken():
            words = f"Read {what.quantity}: {what.value:g} {what.unit}"
        case ev.CountdownStarted():
            words = f"Countdown started: {what.kind}, {what.seconds} s"
        case ev.CountReconciled():
            name = state.job.device.by_id[what.part].name
            words = f"{what.pieces} x {name}, {what.what.replace('-', ' ')}: {what.reason}"
        case ev.PartTakenOff() | ev.PartPutBack():
            where = "out" if isinstance(what, ev.PartTakenOff) else "back"
            words = f"Not planned, {where}: {what.pieces} x {state.job.device.by_id[what.part].name}"
        case ev.ExtraFound():
            words = f"Found, belongs nowhere yet: {what.what}"
        case ev.ExtraSettled():
            words = f"Found item {what.how.replace('-', ' ')}: {what.reason}"
        case _:
            words = type(what).__name__
    return f"{when}  {words}"
