"""Facts sorted into rows by what they are. Walks the facts once; times per visit come from the fold, not
from here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from benchguide.review.lines import (
    AnswerLine,
    CountdownLine,
    HandoverLine,
    HoldLine,
    NoteLine,
    PhotoLine,
    ReadingLine,
    ReconciledLine,
    SkipLine,
    TakenBackLine,
    WaiverLine,
)
from benchguide.session import events as ev
from benchguide.session.events import Fact
from benchguide.session.moment import elapsed
from benchguide.session.state import State


@dataclass
class Entered:
    """One StepEntered and what happened until the next."""

    fact: Fact
    photos: int = 0
    notes: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()
    waivers: tuple[str, ...] = ()


@dataclass
class Gathered:
    """Rows under construction."""

    state: State
    """The state after all facts: it knows every step that was ever on the bench."""
    step: str = ""
    entered: list[Entered] = field(default_factory=list)
    photos: list[PhotoLine] = field(default_factory=list)
    by_step: dict[str, list[PhotoLine]] = field(default_factory=dict)
    notes: list[NoteLine] = field(default_factory=list)
    holds: list[HoldLine] = field(default_factory=list)
    waivers: list[WaiverLine] = field(default_factory=list)
    skips: list[SkipLine] = field(default_factory=list)
    readings: list[ReadingLine] = field(default_factory=list)
    answered: dict[tuple[str, str], AnswerLine] = field(default_factory=dict)
    counted: dict[str, CountdownLine] = field(default_factory=dict)
    reconciled: list[ReconciledLine] = field(default_factory=list)
    taken_back: list[TakenBackLine] = field(default_factory=list)
    handovers: list[HandoverLine] = field(default_factory=list)
    abandoned: tuple[str, str] | None = None

    @property
    def answers(self) -> list[AnswerLine]:
        return list(self.answered.values())

    @property
    def countdowns(self) -> list[CountdownLine]:
        return list(self.counted.values())

    def photos_of(self, step: str) -> Sequence[PhotoLine]:
        """Photos of one step, oldest first."""
        return self.by_step.get(step, ())

    @property
    def here(self) -> Entered | None:
        return self.entered[-1] if self.entered else None


def gather(state: State, facts: Sequence[Fact]) -> Gathered:
    """Sort all facts of one session into rows."""
    found = Gathered(state)
    for fact in facts:
        handler = HANDLERS.get(type(fact.what))
        if handler:
            handler(found, fact.what, fact)
    if found.holds and found.holds[-1].ended is None and facts:
        last = found.holds[-1]
        found.holds[-1] = replace(last, seconds=elapsed(last.at, facts[-1].at).total_us / 1e6)
    return found


def _entered(found: Gathered, event: ev.StepEntered, fact: Fact) -> None:
    found.step = event.step
    found.entered.append(Entered(fact))


def _photo(found: Gathered, event: ev.PhotoTaken, fact: Fact) -> None:
    of_step = found.by_step.setdefault(event.step, [])
    number = 1 + sum(p.purpose == event.purpose for p in of_step)
    line = PhotoLine(fact.at, fact.by, event.step, event, number)
    of_step.append(line)
    found.photos.append(line)
    if found.here:
        found.here.photos += 1


def _note(found: Gathered, event: ev.NoteAdded, fact: Fact) -> None:
    found.notes.append(NoteLine(fact.at, fact.by, event.step, event.text))
    if found.here:
        found.here.notes += (event.text,)


def _hold_began(found: Gathered, event: ev.HoldBegan, fact: Fact) -> None:
    found.holds.append(HoldLine(fact.at, fact.by, found.step, event.reason, None, 0.0))
    if found.here:
        found.here.holds += (event.reason,)


def _hold_over(found: Gathered, event: ev.Event, fact: Fact) -> None:
    if found.holds and found.holds[-1].ended is None:
        last = found.holds[-1]
        seconds = elapsed(last.at, fact.at).total_us / 1e6
        found.holds[-1] = replace(last, ended=fact.at, seconds=seconds)


def _waiver(found: Gathered, event: ev.WaiverGiven, fact: Fact) -> None:
    line = WaiverLine(fact.at, fact.by, event.step, event.gate, event.reason, event.name)
    found.waivers.append(line)
    if found.here:
        found.here.waivers += (f"{line.words}: {event.reason} ({event.name})",)


def _skipped(found: Gathered, event: ev.StepSkipped, fact: Fact) -> None:
    found.skips.append(SkipLine(fact.at, fact.by, event.step, event.reason, event.name))


def _reading(found: Gathered, event: ev.ReadingTaken, fact: Fact) -> None:
    found.readings = [replace(r, replaced=True) if r.step == event.step else r for r in found.readings]
    step = found.state.step_of(event.step)
    plan = step.reading if step else None
    low, high = (plan.low, plan.high) if plan else (None, None)
    found.readings.append(
        ReadingLine(fact.at, fact.by, event.step, event.quantity, event.unit, event.value, low, high, False)
    )


def _answered(found: Gathered, event: ev.LineAnswered, fact: Fact) -> None:
    key = (event.step, event.line)
    old = found.answered.get(key)
    step = found.state.step_of(event.step)
    plan = next((line for line in step.lines if line.id == event.line), None) if step else None
    text, serves = (plan.text, plan.serves or "") if plan else (event.line, "")
    before = (*old.before, old.answer) if old else ()
    found.answered[key] = AnswerLine(
        fact.at, fact.by, event.step, event.line, text, serves, event.answer, before
    )


def _countdown(found: Gathered, event: ev.CountdownStarted, fact: Fact) -> None:
    found.counted[event.countdown] = CountdownLine(
        fact.at, fact.by, event.step, event.kind, event.seconds, None, "running", ""
    )


def _rang(found: Gathered, event: ev.CountdownRang, fact: Fact) -> None:
    old = found.counted[event.countdown]
    ran = elapsed(old.at, fact.at).total_us / 1e6
    found.counted[event.countdown] = replace(old, ran_s=ran, how="rang")


def _stopped(found: Gathered, event: ev.CountdownStopped, fact: Fact) -> None:
    old = found.counted[event.countdown]
    ran = elapsed(old.at, fact.at).total_us / 1e6
    found.counted[event.countdown] = replace(old, ran_s=ran, how="stopped", reason=event.reason)


def _reconciled(found: Gathered, event: ev.CountReconciled, fact: Fact) -> None:
    found.reconciled.append(
        ReconciledLine(
            fact.at, fact.by, found.step, event.part, event.pieces, event.what, event.reason, event.name
        )
    )


def _taken_back(found: Gathered, event: ev.StepTakenBack, fact: Fact) -> None:
    found.taken_back.append(TakenBackLine(fact.at, fact.by, event.step))


def _person(found: Gathered, event: ev.PersonChanged, fact: Fact) -> None:
    found.handovers.append(HandoverLine(fact.at, fact.by, found.step, event.was, event.now, event.pieces_out))


def _abandoned(found: Gathered, event: ev.SessionAbandoned, fact: Fact) -> None:
    _hold_over(found, event, fact)
    found.abandoned = (event.reason, event.name)


HANDLERS: dict[type[ev.Event], Callable[[Gathered, Any, Fact], None]] = {
    ev.StepEntered: _entered,
    ev.PhotoTaken: _photo,
    ev.NoteAdded: _note,
    ev.HoldBegan: _hold_began,
    ev.HoldEnded: _hold_over,
    ev.WaiverGiven: _waiver,
    ev.StepSkipped: _skipped,
    ev.ReadingTaken: _reading,
    ev.LineAnswered: _answered,
    ev.CountdownStarted: _countdown,
    ev.CountdownRang: _rang,
    ev.CountdownStopped: _stopped,
    ev.CountReconciled: _reconciled,
    ev.StepTakenBack: _taken_back,
    ev.PersonChanged: _person,
    ev.SessionAbandoned: _abandoned,
}
