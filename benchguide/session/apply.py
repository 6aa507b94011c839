"""The fold: state and fact to next state. The same function runs live, on resume and in review.

It trusts the facts: what may happen is decided in decide.py. It never reads a clock and never fails on
facts that decide could have produced.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from benchguide.session import events as ev
from benchguide.session.clock import Visit, book_span, closed, seen_alive
from benchguide.session.events import Fact
from benchguide.session.ledger import Extra, Ledger, lay_aside, put_back, settle_extra, take_off, used_up
from benchguide.session.moment import Moment, elapsed, not_before
from benchguide.session.route import Route, steps_from_docs
from benchguide.session.state import (
    Countdown,
    Job,
    Mark,
    Movement,
    State,
    Status,
    StepMark,
    part_subject,
)

#: events a person would call an action; the last three are shown after an interruption
ACTIONS = frozenset(
    {
        ev.StepDone,
        ev.StepSkipped,
        ev.StepTakenBack,
        ev.PhotoTaken,
        ev.PoorPhotoKept,
        ev.ScrewMeasured,
        ev.WaiverGiven,
        ev.ReadingTaken,
        ev.CountdownStarted,
        ev.CountReconciled,
        ev.PartTakenOff,
        ev.PartPutBack,
        ev.ExtraFound,
        ev.ExtraSettled,
    }
)

#: a break longer than this asks for the last action to be confirmed
LONG_BREAK_US = 120_000_000

#: what a handler gives back: the fields of the state that are different now; for a field of LONG, what is new in it
Changes = dict[str, Any]

#: Fields that only ever grow, by one entry a fact, and that no handler reads. A fold gathers them and sets them
#: once: copying them for every fact would make a long session cost the square of its length.
LONG = ("visits", "photos", "notes")


def fold(job: Job, facts: Iterable[Fact]) -> State:
    """The state after all facts, from the beginning."""
    state, gathered = State(job), {name: list[object]() for name in LONG}
    for fact in facts:
        state, added = _after(state, fact)
        for name, entry in added.items():
            gathered[name].append(entry)
    return state.changed(**{name: tuple(entries) for name, entries in gathered.items()})


def apply(state: State, fact: Fact) -> State:
    """The state after one more fact."""
    state, added = _after(state, fact)
    return state.settle({name: (*getattr(state, name), entry) for name, entry in added.items()})


def _after(state: State, fact: Fact) -> tuple[State, Changes]:
    """A new state after one more fact, and what is still to be added to the fields of LONG."""
    event = fact.what
    if isinstance(event, ev.SessionResumed):
        state = _booked_through_gap(state, event, fact.at)
    else:
        state = _booked_until(state, fact.at)
    handler = HANDLERS.get(type(event))
    changes = handler(state, event, fact) if handler else {}
    changes["facts"] = state.facts + 1
    if type(event) in ACTIONS:
        changes["recent"] = (*state.recent, fact)[-3:]
    added = {name: changes.pop(name) for name in LONG if name in changes}
    # the booking above made a copy of its own: a second one would be a third of the fold's cost
    return state.settle(changes), added


def as_at(state: State, now: Moment) -> State:
    """The state with the clock read at `now`, for display and for judging; no fact is added."""
    return _booked_until(state, now)


def _booked_until(state: State, at: Moment) -> State:
    """Book the time since the last fact under the mode that held; a long sleep is an interruption."""
    visit, booked = state.visit, state.booked
    if visit is None or booked is None:
        return state.changed(booked=at)
    span = elapsed(booked, at)
    visit = book_span(visit, state.mode, span)
    if span.asleep_us > LONG_BREAK_US and state.recent:
        return state.changed(visit=visit, booked=at, to_confirm=True)
    return state.changed(visit=visit, booked=not_before(at, booked))


def _booked_through_gap(state: State, event: ev.SessionResumed, at: Moment) -> State:
    """Time after the last sign of life was not spent at the bench, whatever was going on before."""
    if state.visit is not None and state.booked is not None and not state.away:
        state = _booked_until(state, seen_alive(event.last_alive, state.booked, at))
        state = state.changed(away=True)
    return _booked_until(state, at)


def _marked(state: State, step: str, mark: StepMark) -> Mapping[str, StepMark]:
    return {**state.marks, step: mark}


def _without(waived: frozenset[str], step: str) -> frozenset[str]:
    """Waivers are used up when their step is declared done, skipped or taken back."""
    return frozenset(gate for gate in waived if gate.split(":", 1)[1] != step) if waived else waived


def _without_kinds(waived: frozenset[str], *kinds: str) -> frozenset[str]:
    """Waivers fall when what they were given for has changed."""
    return frozenset(gate for gate in waived if gate.split(":", 1)[0] not in kinds) if waived else waived


def _started(state: State, event: ev.SessionStarted, fact: Fact) -> Changes:
    return {"started": event, "began": fact.at, "person": event.person, "status": Status.WORKING}


def _left(state: State, event: ev.SessionLeft, fact: Fact) -> Changes:
    return {"away": True}


def _resumed(state: State, event: ev.SessionResumed, fact: Fact) -> Changes:
    return {"away": False, "to_confirm": bool(state.recent)}


def _entered(state: State, event: ev.StepEntered, fact: Fact) -> Changes:
    old = state.mark_of(event.step)
    entered = old.entered + 1
    return {
        **_closed(state, fact.at),
        "visit": Visit(event.step, fact.at, entered, event.why),
        "here": state.index.get(event.step, state.here),
        "marks": _marked(state, event.step, StepMark(old.mark, entered, old.moved, old.settled, old.turn)),
    }


def _closed(state: State, at: Moment) -> Changes:
    """The open visit, if any, goes to the closed ones."""
    return {"visits": closed(state.visit, at), "visit": None} if state.visit else {}


def _settled(state: State, old: StepMark, mark: Mark) -> StepMark:
    turn = state.facts + 1 if mark is Mark.DONE else 0
    return StepMark(mark, old.entered, old.moved, True, turn)


def _done(state: State, event: ev.StepDone, fact: Fact) -> Changes:
    old = state.mark_of(event.step)
    return {
        "marks": _marked(state, event.step, _settled(state, old, Mark.DONE)),
        "last_done": event.step,
        "waived": _without(state.waived, event.step),
    }


def _skipped(state: State, event: ev.StepSkipped, fact: Fact) -> Changes:
    old = state.mark_of(event.step)
    return {
        "marks": _marked(state, event.step, _settled(state, old, Mark.SKIPPED)),
        "last_done": event.step,
        "waived": _without(state.waived, event.step),
    }


def _taken_back(state: State, event: ev.StepTakenBack, fact: Fact) -> Changes:
    """Taking back is also an answer to the question whether the last action is as it should be: no."""
    ledger, old = state.ledger, state.mark_of(event.step)
    for move in reversed(old.moved):
        ledger = _reversed(ledger, move)
    return {
        "marks": _marked(state, event.step, StepMark(Mark.OPEN, old.entered)),
        "ledger": ledger,
        "last_done": "",
        "waived": _without(state.waived, event.step),
        "to_confirm": False,
    }


def _reversed(ledger: Ledger, move: Movement) -> Ledger:
    if move.pieces > 0:
        return put_back(ledger, move.part, min(move.pieces, ledger.pieces_of(move.part)))
    return take_off(ledger, move.part, -move.pieces, move.cell, move.off_at, move.turn)


def _moved(state: State, step: str, *moves: Movement) -> Mapping[str, StepMark]:
    """The marks with movements added; the first one after the step was declared done starts a new list."""
    mark = state.mark_of(step)
    before = () if mark.settled else mark.moved
    return _marked(state, step, StepMark(mark.mark, mark.entered, (*before, *moves), False, mark.turn))


def _came_off(state: State, event: ev.PartCameOff, fact: Fact) -> Changes:
    move = Movement(event.part, event.pieces, event.cell, event.step)
    return {"marks": _moved(state, event.step, move), **_out(state, event)}


def _out(state: State, event: ev.PartCameOff | ev.PartTakenOff) -> Changes:
    turn = state.facts + 1
    return {
        "ledger": take_off(state.ledger, event.part, event.pieces, event.cell, event.step, turn),
        "came_off": state.came_off | {event.part},
        "waived": _without_kinds(state.waived, "count"),
    }


def _went_back(state: State, event: ev.PartWentBack, fact: Fact) -> Changes:
    used = used_up(state.ledger, event.part, event.pieces)
    moves = (Movement(i.part, -i.pieces, i.cell, i.step, i.turn) for i in used)
    ledger = put_back(state.ledger, event.part, event.pieces)
    return {"marks": _moved(state, event.step, *moves), "ledger": ledger}


def _taken_off(state: State, event: ev.PartTakenOff, fact: Fact) -> Changes:
    """No step asked for it, so that no step can be taken back to undo it; waivers for it are used up."""
    changes = _out(state, event)
    return {**changes, "waived": _without(changes["waived"], part_subject(event.part))}


def _put_back(state: State, event: ev.PartPutBack, fact: Fact) -> Changes:
    ledger = put_back(state.ledger, event.part, event.pieces)
    return {"ledger": ledger, "waived": _without(state.waived, part_subject(event.part))}


def _laid(state: State, event: ev.WayBackLaid, fact: Fact) -> Changes:
    """The rest of the route is replaced; the step on the bench stays there, wherever its place is now."""
    known = {**state.job.procedure.by_id, **state.route.by_id}
    route = Route((*state.steps[: event.kept], *steps_from_docs(event.steps, known)))
    return {"laid": route, "here": route.index.get(state.step.id, state.here)}


def _extra(state: State, event: ev.ExtraFound, fact: Fact) -> Changes:
    extra = Extra(event.extra, event.what, event.cell, event.step)
    return {
        "ledger": lay_aside(state.ledger, extra),
        "extras": state.extras + 1,
        "waived": _without_kinds(state.waived, "count"),
    }


def _extra_settled(state: State, event: ev.ExtraSettled, fact: Fact) -> Changes:
    lay = next(extra for extra in state.ledger.extras if extra.id == event.extra)
    ledger = settle_extra(state.ledger, event.extra)
    if event.part:
        ledger = take_off(ledger, event.part, 1, lay.cell, lay.step, state.facts + 1)
    came_off = state.came_off | {event.part} if event.part else state.came_off
    return {"ledger": ledger, "came_off": came_off, "reconciled": (*state.reconciled, fact)}


def _reconciled(state: State, event: ev.CountReconciled, fact: Fact) -> Changes:
    return {"ledger": _counted(state, event), "reconciled": (*state.reconciled, fact)}


def _counted(state: State, event: ev.CountReconciled) -> Ledger:
    """Pieces that were never fitted were never out; those found or supplied lie on the mat now."""
    if event.what == "not-fitted":
        return state.ledger
    if event.what in ev.RETURNED:
        cell = state.job.device.by_id[event.part].cell or ""
        return take_off(state.ledger, event.part, event.pieces, cell, state.step.id, state.facts + 1)
    return put_back(state.ledger, event.part, event.pieces)


def _photo(state: State, event: ev.PhotoTaken, fact: Fact) -> Changes:
    return {"photos": event}


def _poor_kept(state: State, event: ev.PoorPhotoKept, fact: Fact) -> Changes:
    return {"kept_poor": state.kept_poor | {event.sha256}}


def _place(state: State, event: ev.PlaceMarked, fact: Fact) -> Changes:
    places = (*state.places.get(event.photo, ()), event)
    return {"places": {**state.places, event.photo: places}}


def _place_cleared(state: State, event: ev.PlaceCleared, fact: Fact) -> Changes:
    old = state.places.get(event.photo, ())
    places = tuple(None if n == event.number else place for n, place in enumerate(old, start=1))
    return {"places": {**state.places, event.photo: places}}


def _compared(state: State, event: ev.PhotosCompared, fact: Fact) -> Changes:
    """A new comparison has candidates of its own: answers to the one before are not answers to it."""
    answers = {key: answer for key, answer in state.differences.items() if key[0] != event.step}
    return {"compared": {**state.compared, event.step: event}, "differences": answers}


def _difference(state: State, event: ev.DifferenceAnswered, fact: Fact) -> Changes:
    return {"differences": {**state.differences, (event.step, event.number): event.answer}}


def _mat(state: State, event: ev.MatRead, fact: Fact) -> Changes:
    return {"mat": event}


def _measured(state: State, event: ev.ScrewMeasured, fact: Fact) -> Changes:
    """A waiver was given for the screw before; this is another one."""
    waived = _without_kinds(state.waived, "stop")
    return {"measured": {**state.measured, event.part: event}, "waived": waived}


def _note(state: State, event: ev.NoteAdded, fact: Fact) -> Changes:
    return {"notes": fact}


def _hold_began(state: State, event: ev.HoldBegan, fact: Fact) -> Changes:
    return {"status": Status.HELD, "holds": (*state.holds, fact)}


def _hold_ended(state: State, event: ev.HoldEnded, fact: Fact) -> Changes:
    began = state.holds[-1].at if state.holds else fact.at
    long = elapsed(began, fact.at).total_us > LONG_BREAK_US
    return {
        "status": Status.WORKING,
        "holds": (*state.holds, fact),
        "to_confirm": state.to_confirm or (long and bool(state.recent)),
    }


def _countdown_started(state: State, event: ev.CountdownStarted, fact: Fact) -> Changes:
    new = Countdown(event.countdown, event.step, event.kind, event.seconds, fact.at)
    return {"countdowns": {**state.countdowns, event.countdown: new}}


def _countdown_over(state: State, countdown: str, how: str) -> Changes:
    old = state.countdowns[countdown]
    return {"countdowns": {**state.countdowns, countdown: replace(old, state=how)}}


def _rang(state: State, event: ev.CountdownRang, fact: Fact) -> Changes:
    return _countdown_over(state, event.countdown, "rang")


def _stopped(state: State, event: ev.CountdownStopped, fact: Fact) -> Changes:
    return _countdown_over(state, event.countdown, "stopped")


def _answered(state: State, event: ev.LineAnswered, fact: Fact) -> Changes:
    return {
        "answers": {**state.answers, (event.step, event.line): event.answer},
        "waived": _without_kinds(state.waived, "failed"),
    }


def _reading(state: State, event: ev.ReadingTaken, fact: Fact) -> Changes:
    waived = state.waived - {f"limits:{event.step}"}
    return {"readings": {**state.readings, event.step: event}, "waived": waived}


def _waiver(state: State, event: ev.WaiverGiven, fact: Fact) -> Changes:
    return {"waivers": (*state.waivers, event), "waived": state.waived | {event.gate}}


def _confirmed(state: State, event: ev.LastConfirmed, fact: Fact) -> Changes:
    return {"to_confirm": False}


def _person(state: State, event: ev.PersonChanged, fact: Fact) -> Changes:
    return {"person": event.now, "to_confirm": bool(state.recent)}


def _finished(state: State, event: ev.SessionFinished, fact: Fact) -> Changes:
    return {**_closed(state, fact.at), "status": Status.FINISHED, "ended": fact.at}


def _abandoned(state: State, event: ev.SessionAbandoned, fact: Fact) -> Changes:
    return {**_closed(state, fact.at), "status": Status.ABANDONED, "ended": fact.at}


HANDLERS: dict[type[ev.Event], Callable[[State, Any, Fact], Changes]] = {
    ev.SessionStarted: _started,
    ev.SessionLeft: _left,
    ev.SessionResumed: _resumed,
    ev.SessionFinished: _finished,
    ev.SessionAbandoned: _abandoned,
    ev.StepEntered: _entered,
    ev.StepDone: _done,
    ev.StepSkipped: _skipped,
    ev.StepTakenBack: _taken_back,
    ev.PartCameOff: _came_off,
    ev.PartWentBack: _went_back,
    ev.PartTakenOff: _taken_off,
    ev.PartPutBack: _put_back,
    ev.WayBackLaid: _laid,
    ev.ExtraFound: _extra,
    ev.ExtraSettled: _extra_settled,
    ev.CountReconciled: _reconciled,
    ev.PhotoTaken: _photo,
    ev.PoorPhotoKept: _poor_kept,
    ev.PlaceMarked: _place,
    ev.PlaceCleared: _place_cleared,
    ev.PhotosCompared: _compared,
    ev.DifferenceAnswered: _difference,
    ev.MatRead: _mat,
    ev.ScrewMeasured: _measured,
    ev.NoteAdded: _note,
    ev.HoldBegan: _hold_began,
    ev.HoldEnded: _hold_ended,
    ev.CountdownStarted: _countdown_started,
    ev.CountdownRang: _rang,
    ev.CountdownStopped: _stopped,
    ev.LineAnswered: _answered,
    ev.ReadingTaken: _reading,
    ev.WaiverGiven: _waiver,
    ev.LastConfirmed: _confirmed,
    ev.PersonChanged: _person,
}

__all__ = ["LONG_BREAK_US", "apply", "as_at", "fold"]
