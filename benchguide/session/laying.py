"""When the way back is laid, and what then comes up on the bench. How it is computed: way_back.py.

It is laid when the work reaches its first step, and again whenever what is out no longer fits the rest of
the route. It becomes a fact before the next step is entered, so that this step is the right one.
"""

from collections.abc import Iterable
from dataclasses import replace

from benchguide.procedure.words import REMOVALS
from benchguide.session import events as ev
from benchguide.session.apply import apply
from benchguide.session.events import Event, Fact
from benchguide.session.gates import needless
from benchguide.session.moment import Moment
from benchguide.session.route import steps_to_docs
from benchguide.session.state import Mark, State
from benchguide.session.way_back import lay, told
from benchguide.session.way_back_fit import fits

#: facts after which something else is out than before
MOVES = (
    ev.PartCameOff,
    ev.PartWentBack,
    ev.PartTakenOff,
    ev.PartPutBack,
    ev.CountReconciled,
    ev.ExtraSettled,
    ev.StepTakenBack,
)


def with_way_back(state: State, events: list[Event], now: Moment) -> list[Event]:
    """The events of one decision, with the way back among them when it has to be laid."""
    entered = next((event for event in events if isinstance(event, ev.StepEntered)), None)
    moved = any(isinstance(event, MOVES) for event in events)
    if not moved and not _may_begin(state, events, entered):
        return events
    before = [event for event in events if not isinstance(event, ev.StepEntered)]
    then = _after(state, before, now)
    if not _is_due(then, entered, moved):
        return events
    chosen = entered.step if entered and entered.why != "next" else ""
    steps = lay(then, chosen)
    kept = state.job.way_back_at
    known = {**state.job.procedure.by_id, **state.route.by_id}
    laid = ev.WayBackLaid(kept, list(steps_to_docs(steps, known)), told(then, steps))
    return [*before, laid, *_entered_now(_after(then, [laid], now), events, entered)]


def _may_begin(state: State, events: Iterable[Event], entered: ev.StepEntered | None) -> bool:
    """Whether the way back could be reached by this; a cheap look before the events are folded."""
    if state.laid:
        return False
    if entered:
        return state.index.get(entered.step, 0) >= state.job.way_back_at
    last = state.here == len(state.steps) - 1
    return last and any(isinstance(event, ev.StepDone | ev.StepSkipped) for event in events)


def _after(state: State, events: Iterable[Event], now: Moment) -> State:
    for event in events:
        state = apply(state, Fact(now, state.person, event))
    return state


def _is_due(state: State, entered: ev.StepEntered | None, moved: bool) -> bool:
    if state.laid:
        return moved and not fits(state)
    at = state.job.way_back_at
    if not state.ledger.out and _way_in_open(state):
        return False  # the person is only looking ahead
    if entered and entered.why == "next" and state.index[entered.step] >= at:
        return True
    if entered and state.index[entered.step] >= at:
        return bool(state.ledger.out)
    if moved and state.here >= at:
        return True
    return (
        not entered and state.here == len(state.steps) - 1 and _is_settled(state) and bool(state.ledger.out)
    )


def _way_in_open(state: State) -> bool:
    head = state.steps[: state.job.way_back_at]
    return any(step.action in REMOVALS and _is_open(state, step.id) for step in head)


def _is_settled(state: State) -> bool:
    return state.mark_of(state.step.id).mark is not Mark.OPEN


def _entered_now(state: State, events: list[Event], entered: ev.StepEntered | None) -> list[Event]:
    """What comes up once the way back is laid: its first open step, unless the person chose another one or the
    way in goes on."""
    if entered and entered.why != "next":
        return [entered]
    at = state.job.way_back_at
    if entered and state.index.get(entered.step, at) < at:
        return [entered]
    if not entered and state.here < at and not _is_settled(state):
        return []
    first = next((s for s in state.steps[at:] if _is_open(state, s.id) and not needless(state, s)), None)
    if first is None or (not entered and first.id == state.step.id):
        return []
    return [replace(entered, step=first.id) if entered else ev.StepEntered(first.id, "laid")]


def _is_open(state: State, step: str) -> bool:
    return state.mark_of(step).mark is Mark.OPEN
