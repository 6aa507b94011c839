"""One trial of the promise "what was shown is on the disk": a child works through a job and is killed with SIGKILL.

The child tells the parent through a pipe what it showed: `e SEQ` after a command returned, `p SHA` after a photo
was verified. The parent kills it at a random instant, opens the leftovers and looks for every one of them.
Not a test by itself: tests/store/test_kills.py runs a few, tests/bench/bench_kills.py a thousand.
"""

import io
import os
import random
import signal
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from PIL import Image

from benchguide.procedure.shelf import Shelf
from benchguide.session import commands as cmd
from benchguide.session.decide import Refused
from benchguide.session.gates import gates_for_step
from benchguide.session.moment import Moment
from benchguide.session.state import Job
from benchguide.store.chain import verify
from benchguide.store.live import LiveSession, read_session, resume_session, start_session
from benchguide.store.log import EventDoc, EventLog
from benchguide.store.photos import PhotoFacts, PhotoShelf


def clock() -> Moment:
    """The machine's clocks."""
    now = time.monotonic_ns() // 1000
    return Moment(datetime.now(UTC), now, now, "trial")


def bundled_job(root: Path) -> Job:
    """The demo job of the clone."""
    entry = Shelf((root / "procedures",)).procedure("gloamreed-tuning-wheel")
    assert entry is not None
    assert entry.loaded is not None
    assert entry.device is not None
    return Job(entry.device.model, entry.loaded.model)


def jpeg(number: int) -> bytes:
    """A small picture, different for every number."""
    target = io.BytesIO()
    Image.new("RGB", (64, 48), (number * 37 % 256, number * 91 % 256, number % 256)).save(target, "JPEG")
    return target.getvalue()


class LateLog:
    """The baseline: a log that is saved now and then, like a document. Shows first, stores later."""

    def __init__(self, log: EventLog, every: int = 10) -> None:
        self._log = log
        self._every = every
        self._waiting: list[EventDoc] = []

    def append(self, session_id: str, docs: Sequence[EventDoc]) -> None:
        """Keep the documents in memory until enough have come together."""
        self._waiting += docs
        if len(self._waiting) >= self._every:
            self._log.append(session_id, self._waiting)
            self._waiting = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._log, name)


def run_trial(
    folder: Path, job: Job, seed: int, most_s: float = 0.25, late: bool = False
) -> tuple[int, int, list[str]]:
    """Kill one child at a random instant. Returns events shown, photos shown, and what was lost or broken.

    `late` runs the baseline instead.
    """
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        try:
            _work(folder, job, seed, write_end, late)
        finally:
            os._exit(0)
    os.close(write_end)
    time.sleep(random.Random(seed).uniform(0.0, most_s))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(read_end, "r") as pipe:
        shown = [
            line.split() for line in pipe.read().splitlines() if line.count(" ") == 2 and line.endswith(";")
        ]
    return _judge(folder, shown)


def _work(folder: Path, job: Job, seed: int, pipe: int, late: bool) -> None:
    """The child: begins a job, or goes on with the one a killed child left, and never stops by itself."""
    kept = EventLog.open(folder)
    log: Any = LateLog(kept) if late else kept
    shelf = PhotoShelf(folder)
    number = seed * 1000
    while True:
        rows = [row for row in log.sessions() if row.state == "open"]
        live = (
            resume_session(log, rows[0].session_id, clock)
            if rows
            else start_session(log, job, "J", "P", clock)
        )
        _tell(pipe, "e", str(live.state.facts), live.session_id)
        while live.state.open:
            number += 1
            _one_command(live, shelf, number, pipe)


def _one_command(live: LiveSession, shelf: PhotoShelf, number: int, pipe: int) -> None:
    state = live.state
    gates = gates_for_step(state, state.step)
    command: cmd.Command = cmd.FinishStep()
    if state.to_confirm:
        command = cmd.ConfirmLast()
    elif state.here == len(state.steps) - 1 and state.mark_of(state.step.id).mark != "open":
        command = cmd.FinishSession()
    elif gates and gates[0].kind in ("as-found", "as-left"):
        facts = PhotoFacts(
            taken=clock().wall, job="J", step=state.step.id, part="", purpose="", source="trial", extra={}
        )
        kept = shelf.keep(jpeg(number), facts)
        _tell(pipe, "p", kept.sha256, live.session_id)
        command = cmd.KeepPhoto(kept.sha256, kept.width, kept.height, "2026-01-01T00:00:00+00:00", "trial")
    elif gates:
        command = cmd.Waive(gates[0].id, "trial", "P")
    try:
        live.do(command)
    except Refused:
        live.do(cmd.Waive(next(iter(gates)).id, "trial", "P"))
    _tell(pipe, "e", str(live.state.facts), live.session_id)


def _tell(pipe: int, kind: str, what: str, session: str) -> None:
    os.write(pipe, f"{kind} {what} {session};\n".encode())


def _judge(folder: Path, shown: list[list[str]]) -> tuple[int, int, list[str]]:
    wrong: list[str] = []
    # the next start mends what a kill during the very first start left half made
    with EventLog.open(folder) as log:
        wrong += log.notices
    report = verify(folder)
    if not report.ok:
        wrong += report.lines()
    shelf = PhotoShelf(folder)
    kept: dict[str, int] = {}
    with EventLog.open(folder, mode="read") as log:
        wrong += log.notices
        for kind, what, session in shown:
            session = session.rstrip(";")
            if kind == "e" and session not in kept:
                kept[session] = _facts_kept(log, session)
            if kind == "e" and int(what) > kept[session]:
                wrong.append(f"event {what} of {session} was shown and is lost")
            if kind == "p" and not shelf.path(what).is_file():
                wrong.append(f"photo {what} was kept and is lost")
    return sum(k == "e" for k, *_ in shown), sum(k == "p" for k, *_ in shown), wrong


def _facts_kept(log: EventLog, session: str) -> int:
    """How many facts of a session can be folded; none when its beginning was lost."""
    try:
        return read_session(log, session)[0].facts
    except ValueError:
        return 0
