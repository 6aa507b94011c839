"""One running session: command to facts to disk to state, in that order and nowhere else.

Not a judge (that is session.decide) and not a database (that is log.py). It knows no window.
"""

from __future__ import annotations

import gc
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from benchguide.procedure.loader import dump_json, load_device_json, load_procedure_json
from benchguide.session.apply import apply, as_at, fold
from benchguide.session.codec import fact_from_doc, fact_to_doc
from benchguide.session.commands import Command, ResumeSession, StartSession
from benchguide.session.decide import decide
from benchguide.session.events import Fact, SessionStarted
from benchguide.session.moment import Moment
from benchguide.session.state import Job, State

if TYPE_CHECKING:
    from benchguide.store.log import EventLog

Clock = Callable[[], Moment]
Listener = Callable[[tuple[Fact, ...]], None]


class LiveSession:
    """The session on the bench. `state` is always what is on the disk, never more."""

    def __init__(self, log: EventLog, session_id: str, state: State, clock: Clock) -> None:
        self._log = log
        self._clock = clock
        self._listeners: list[Listener] = []
        self.session_id = session_id
        self.state = state

    def listen(self, listener: Listener) -> None:
        """Have `listener` called with the new facts after each change."""
        self._listeners.append(listener)

    def do(self, command: Command) -> tuple[Fact, ...]:
        """Carry out a command: the facts are durable when this returns.

        Raises Refused when the command does not fit, and NotKept when the disk would not take the
        facts; in both cases the state is as before.
        """
        facts = decide(self.state, command, self._clock())
        self._log.append(self.session_id, [fact_to_doc(fact) for fact in facts])
        for fact in facts:
            self.state = apply(self.state, fact)
        for listener in self._listeners:
            listener(facts)
        return facts

    def as_at(self, moment: Moment) -> State:
        """The state with the clocks read at `moment`, for display."""
        return as_at(self.state, moment)

    @property
    def clock(self) -> Clock:
        """The clock this session reads."""
        return self._clock


def start_session(log: EventLog, job: Job, number: str, person: str, clock: Clock) -> LiveSession:
    """Begin a job: part map and procedure are kept as used, then the first facts are written."""
    device_doc = log.put_document("device", dump_json(job.device))
    procedure_doc = log.put_document("procedure", dump_json(job.procedure))
    live = LiveSession(log, new_session_id(), State(job), clock)
    live.do(StartSession(number, person, device_doc, procedure_doc))
    return live


def resume_session(
    log: EventLog, session_id: str, clock: Clock, last_alive: dict[str, object] | None = None
) -> LiveSession:
    """Go on with an open session after the program was closed, killed or lost power.

    `last_alive` is the last heartbeat of this session; without one the last fact counts as the last sign of life.
    Raises ValueError with one sentence when the log holds no such session.
    """
    state, facts = read_session(log, session_id)
    live = LiveSession(log, session_id, state, clock)
    if state.open:
        live.do(ResumeSession(_last_sign(last_alive, facts[-1])))
    return live


def read_session(log: EventLog, session_id: str) -> tuple[State, list[Fact]]:
    """The state of a stored session and its facts, by the same fold that runs live."""
    with _nothing_collected():
        facts = [fact_from_doc(stored.doc) for stored in log.events(session_id)]
        if not facts or not isinstance(facts[0].what, SessionStarted):
            raise ValueError(f"The data folder holds no session {session_id}.")
        started = facts[0].what
        job = Job(
            load_device_json(log.document(started.device_doc)),
            load_procedure_json(log.document(started.procedure_doc)),
        )
        return fold(job, facts), facts


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Thousands of new values and no cycle among them: looking for garbage would take a third of the time."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def _last_sign(last_alive: dict[str, object] | None, last: Fact) -> dict[str, object]:
    if last_alive and str(last_alive.get("wall", "")) > "":
        return last_alive
    return last.at.to_doc()


def new_session_id() -> str:
    """A fresh name for a session: a random UUID (RFC 9562 version 4)."""
    return str(uuid.uuid4())
