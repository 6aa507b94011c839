"""One session as a supervisor reads it, finished or still open: values only, made by the same fold as on
the bench.

Not for statistics over several sessions, and not for how a record looks (page.py, table.py, pictures.py).
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from benchguide.procedure.loader import load_device_json, load_procedure_json
from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.problems import BadFile
from benchguide.procedure.procedure import Step
from benchguide.review.gather import Gathered, gather
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
    StepLine,
    TakenBackLine,
    VisitLine,
    WaiverLine,
)
from benchguide.review.problems import ReviewProblem
from benchguide.session import events as ev
from benchguide.session.apply import as_at, fold
from benchguide.session.codec import UnknownEvent, fact_from_doc
from benchguide.session.events import Fact
from benchguide.session.moment import Moment
from benchguide.session.state import Job, Mark, Purpose, State
from benchguide.session.times import Times, session_times, step_times
from benchguide.store.problems import StoreProblem
from benchguide.store.tables import SessionRow

M = TypeVar("M")


class StoredLike(Protocol):
    """One event as the store gives it: number, hash (hex) and the whole document."""

    @property
    def seq(self) -> int: ...
    @property
    def hash(self) -> str: ...
    @property
    def doc(self) -> dict[str, Any]: ...


class LogLike(Protocol):
    """The part of the session log that a record needs."""

    def sessions(self) -> Sequence[SessionRow]:
        """All sessions, newest first."""
        ...

    def events(self, session_id: str, /) -> Sequence[StoredLike]:
        """The events of one session, oldest first, as far as the chain holds."""
        ...

    def document(self, sha256: str, /) -> str:
        """A stored document by its SHA-256."""
        ...


@dataclass(frozen=True, slots=True)
class Chain:
    """What recomputing the hashes said. `head` is the SHA-256 (hex) of the last event that could be read."""

    verified: bool
    head: str
    events: int
    why: str = ""
    """What differs, in words; empty when the chain holds."""


@dataclass(frozen=True)
class Record:
    """One session. Every list is in the order in which things happened; times in seconds are plain floats."""

    session: str
    state: State
    facts: tuple[Fact, ...]
    chain: Chain
    steps: tuple[StepLine, ...]
    visits: tuple[VisitLine, ...]
    times: Times
    photos: tuple[PhotoLine, ...]
    notes: tuple[NoteLine, ...]
    holds: tuple[HoldLine, ...]
    waivers: tuple[WaiverLine, ...]
    skips: tuple[SkipLine, ...]
    readings: tuple[ReadingLine, ...]
    answers: tuple[AnswerLine, ...]
    countdowns: tuple[CountdownLine, ...]
    reconciled: tuple[ReconciledLine, ...]
    taken_back: tuple[TakenBackLine, ...]
    handovers: tuple[HandoverLine, ...]
    abandoned: tuple[str, str] | None
    """Reason and name when the job was given up."""

    @property
    def started(self) -> ev.SessionStarted:
        """The first fact of the session."""
        assert self.state.started is not None  # read_record and build_record see to it
        return self.state.started

    @property
    def job(self) -> str:
        """The job number."""
        return self.started.job

    @property
    def device(self) -> str:
        """The name of the device."""
        return self.started.device

    @property
    def title(self) -> str:
        """The title of the procedure."""
        return self.started.procedure

    @property
    def persons(self) -> tuple[str, ...]:
        """Everybody who worked on it, each once, in order."""
        return tuple(dict.fromkeys([self.started.person, *(h.now for h in self.handovers)]))

    @property
    def began(self) -> str:
        """Start, ISO 8601 with UTC offset."""
        return iso(self.facts[0].at)

    @property
    def ended(self) -> str:
        """End, ISO 8601 with UTC offset; empty while the session is open."""
        return iso(self.state.ended) if self.state.ended else ""

    @property
    def expected_s(self) -> tuple[int, int]:
        """Shortest and longest usual touch time of the whole job."""
        return self.state.job.procedure.expected_s

    @property
    def status_words(self) -> str:
        """Where the session stands: finished, given up, on hold or open."""
        words = {"finished": "finished", "abandoned": "given up", "held": "open, on hold"}
        return words.get(self.state.status.value, "open")

    def photos_at(self, step: str) -> tuple[PhotoLine, ...]:
        """Photos of one step, oldest first."""
        return tuple(p for p in self.photos if p.step == step)


def iso(at: Moment) -> str:
    """The wall time of a moment, ISO 8601 to the second with UTC offset."""
    return at.wall.isoformat(timespec="seconds")


def read_record(log: LogLike, session: str, now: Moment | None = None) -> Record:
    """Read one session, finished or open. With `now`, an open session's clock is read up to that moment.

    A damaged chain gives the record of its longest sound part, with `chain.verified` false.
    Raises ReviewProblem with one sentence when there is nothing to read.
    """
    try:
        stored, why = _events(log, session)
        facts = tuple(fact_from_doc(event.doc) for event in stored)
        return _from_facts(log, session, facts, why, stored, now)
    except (UnknownEvent, StoreProblem) as error:
        raise ReviewProblem(str(error)) from error


def _from_facts(
    log: LogLike,
    session: str,
    facts: tuple[Fact, ...],
    why: str,
    stored: Sequence[StoredLike],
    now: Moment | None,
) -> Record:
    if not facts or not isinstance(facts[0].what, ev.SessionStarted):
        raise ReviewProblem(
            f"The session {session} holds nothing that can be read. {why or 'Choose another one.'}".strip()
        )
    started = facts[0].what
    job = Job(
        _model(log, started.device_doc, load_device_json, "part map"),
        _model(log, started.procedure_doc, load_procedure_json, "procedure"),
    )
    return build_record(session, job, facts, Chain(not why, stored[-1].hash, len(stored), why), now)


def build_record(
    session: str, job: Job, facts: Sequence[Fact], chain: Chain, now: Moment | None = None
) -> Record:
    """The record of these facts; the first of them must be SessionStarted."""
    state = fold(job, facts)
    if now is not None and state.open:
        state = as_at(state, now)
    found = gather(state, facts)
    return Record(
        session=session,
        state=state,
        facts=tuple(facts),
        chain=chain,
        steps=tuple(_step_lines(state, found)),
        visits=tuple(_visit_lines(state, found)),
        times=session_times(state),
        photos=tuple(found.photos),
        notes=tuple(found.notes),
        holds=tuple(found.holds),
        waivers=tuple(found.waivers),
        skips=tuple(found.skips),
        readings=tuple(found.readings),
        answers=tuple(found.answers),
        countdowns=tuple(found.countdowns),
        reconciled=tuple(found.reconciled),
        taken_back=tuple(found.taken_back),
        handovers=tuple(found.handovers),
        abandoned=found.abandoned,
    )


def _events(log: LogLike, session: str) -> tuple[list[StoredLike], str]:
    """The sound events, and in words what is wrong behind them.

    The store recomputes every hash on the way and stops where one differs; the list of sessions says how many
    there were and what the last hash was.
    """
    row = next((row for row in log.sessions() if row.session_id == session), None)
    if row is None:
        raise ReviewProblem(f"There is no session {session} in this log; look at the list of records.")
    events = list(log.events(session))
    if len(events) < row.events:
        return (
            events,
            f"Only {len(events)} of {row.events} events follow from one another; the rest was altered.",
        )
    if events and events[-1].hash != row.head:
        return events, "The last event is not the one the log names as last."
    return events, ""


def _model(log: LogLike, sha: str, load: Callable[[str, str], M], name: str) -> M:
    try:
        return load(log.document(sha), name)
    except BadFile as error:
        raise ReviewProblem(f"The {name} kept with this session cannot be read. {error}") from error


def _step_lines(state: State, found: Gathered) -> Iterable[StepLine]:
    times = step_times(state)
    counts: dict[str, int] = {}
    for visit in state.all_visits:
        counts[visit.step] = counts.get(visit.step, 0) + 1
    for number, step in enumerate(state.steps, start=1):
        yield StepLine(
            number=number,
            step=step,
            mark=state.mark_of(step.id).mark,
            visits=counts.get(step.id, 0),
            times=times.get(step.id, Times()),
            as_found=tuple(p for p in found.photos_of(step.id) if p.purpose == Purpose.AS_FOUND),
            as_left=tuple(p for p in found.photos_of(step.id) if p.purpose == Purpose.AS_LEFT),
            free=tuple(p for p in found.photos_of(step.id) if p.purpose == Purpose.FREE),
            missing=_missing(state, step, found),
        )


def _missing(state: State, step: Step, found: Gathered) -> tuple[str, ...]:
    """Purposes of required photos that a done step does not have."""
    if state.mark_of(step.id).mark is not Mark.DONE:
        return ()
    kept = {photo.purpose for photo in found.photos_of(step.id)}
    wanted = []
    if needs_as_found(state.job.device, step) and Purpose.AS_FOUND not in kept:
        wanted.append(str(Purpose.AS_FOUND))
    if needs_as_left(state.job.device, step) and Purpose.AS_LEFT not in kept:
        wanted.append(str(Purpose.AS_LEFT))
    return tuple(wanted)


def _visit_lines(state: State, found: Gathered) -> Iterable[VisitLine]:
    """Each StepEntered opens exactly one visit, so the two lists run side by side."""
    for number, (visit, entered) in enumerate(zip(state.all_visits, found.entered, strict=True), start=1):
        yield VisitLine(
            number=number,
            visit=visit,
            step_number=state.index.get(visit.step, -1) + 1,
            by=entered.fact.by,
            photos=entered.photos,
            notes=entered.notes,
            holds=entered.holds,
            waivers=entered.waivers,
        )
