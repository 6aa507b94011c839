"""Sentences the bench shows about state: what a step moves, what was done last. Plain strings, no widgets."""

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS, PartKind
from benchguide.session import events as ev
from benchguide.session.events import Fact
from benchguide.session.gates import told_parts, will_move
from benchguide.session.state import State


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
    """Where a step comes from once the way back was laid from what came off; empty while the plan is followed."""
    if state.laid is None or state.index.get(step.id, 0) < state.job.way_back_at:
        return ""
    if step.id not in state.job.procedure.by_id:
        return "Not in the procedure: added because it came off."
    return "The way back follows what came off."


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
