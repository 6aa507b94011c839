"""Sessions for the tests of records: decided by the real core, kept in a real log with photos. No tests."""

import io
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Procedure
from benchguide.session import commands as cmd
from benchguide.session.decide import wanted_purpose
from benchguide.session.gates import gates_for_step
from benchguide.session.moment import Moment, moment_from_doc
from benchguide.session.state import Job
from benchguide.store.live import LiveSession, start_session
from benchguide.store.log import EventLog
from benchguide.store.photos import PhotoFacts, PhotoShelf

PARTS: list[dict[str, Any]] = [
    {
        "id": "lid-screws",
        "kind": "screws",
        "name": "Lid screws",
        "cell": "A1",
        "screws": {"count": 4, "drive": "cross PH00", "thread": "M1.6", "length_mm": 4},
    },
    {"id": "lid", "kind": "cover", "name": "Lid <b>&amp;", "held_by": ["lid-screws"], "cell": "A2"},
    {"id": "cell-plug", "kind": "connector", "name": "Cell plug", "under": ["lid"], "isolates": ["cell"]},
]
STEPS: list[dict[str, Any]] = [
    {"id": "ready", "stage": "preparation", "action": "work"},
    {"id": "screws-off", "stage": "way-in", "action": "off", "parts": ["lid-screws"]},
    {"id": "lid-lift", "stage": "way-in", "action": "lift", "parts": ["lid"]},
    {"id": "plug-open", "stage": "way-in", "action": "open", "parts": ["cell-plug"]},
    {"id": "soak", "stage": "swap", "action": "wait", "wait": {"kind": "soak", "for_s": 300}},
    {"id": "plug-close", "stage": "way-back", "action": "close", "parts": ["cell-plug"]},
    {
        "id": "volts",
        "stage": "test",
        "action": "read",
        "reading": {"quantity": "supply voltage", "unit": "V", "low": 3.6, "high": 4.2},
    },
    {
        "id": "try-out",
        "stage": "test",
        "action": "check",
        "before_seal": True,
        "lines": [{"id": "power", "text": "Switches on"}, {"id": "dial", "text": "Dial moves"}],
    },
    {"id": "lid-fit", "stage": "seal", "action": "fit", "parts": ["lid"]},
    {"id": "screws-on", "stage": "seal", "action": "on", "parts": ["lid-screws"]},
    {"id": "tidy", "stage": "close-out", "action": "work"},
]


def make_job(parts: Iterable[dict[str, Any]] = PARTS, steps: Iterable[dict[str, Any]] = STEPS) -> Job:
    """A small job; every step is expected to take 10 to 30 s."""
    device = {"benchguide": "device/1", "id": "box", "name": "Sample box", "about": "A box."}
    device |= {"outline": {"width_mm": 80, "height_mm": 50}, "parts": list(parts)}
    procedure = {"benchguide": "procedure/1", "id": "job", "title": "Clean the plug", "device": "box"}
    procedure |= {"about": "A job.", "revision": 3}
    procedure["steps"] = [{"text": f"Do {s['id']}.", "time_s": (10, 30), **s} for s in steps]
    return Job(DeviceMap.model_validate(device), Procedure.model_validate(procedure))


class HandClock:
    """A clock turned by hand. It counts in whole milliseconds, as the log keeps wall times."""

    def __init__(self) -> None:
        self._at = moment_from_doc(
            {
                "wall": "2031-03-04T08:30:00.000+01:00",
                "boot_us": 5_000_000,
                "awake_us": 5_000_000,
                "boot_id": "b",
            }
        )

    def __call__(self) -> Moment:
        return self._at

    def advance(self, seconds: float) -> None:
        """Time passes on all clocks."""
        us = round(seconds * 1e6)
        wall = self._at.wall + timedelta(microseconds=us)
        self._at = Moment(wall, self._at.boot_us + us, self._at.awake_us + us, self._at.boot_id)


class Runner:
    """A live session with a hand at the clock and a camera that paints."""

    def __init__(
        self, folder: Path, job: Job | None = None, number: str = "J-17", person: str = "Ada"
    ) -> None:
        self.folder = folder
        self.log = EventLog.open(folder)
        self.shelf = PhotoShelf(folder)
        self.clock = HandClock()
        self.live: LiveSession = start_session(self.log, job or make_job(), number, person, self.clock)

    @property
    def session(self) -> str:
        return self.live.session_id

    def do(self, command: cmd.Command, after_s: float = 0) -> None:
        """Let time pass, then carry out a command."""
        self.clock.advance(after_s)
        self.live.do(command)

    def photo(
        self, purpose: str = "", size: tuple[int, int] = (640, 480), faults: tuple[str, ...] = ()
    ) -> str:
        """Take a photo that shows its own number."""
        state = self.live.state
        purpose = purpose or str(wanted_purpose(state, state.step))
        image = Image.new("RGB", size, (40, 60 + 7 * len(state.photos) % 120, 90))
        ImageDraw.Draw(image).text((20, 20), f"{state.step.id} {purpose} {len(state.photos)}", fill="white")
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=85)
        at = self.clock().wall
        facts = PhotoFacts(at, "J-17", state.step.id, "", purpose, "painted")
        kept = self.shelf.keep(buffer.getvalue(), facts)
        size_of = (kept.width, kept.height)
        self.do(cmd.KeepPhoto(kept.sha256, *size_of, at.isoformat(), "painted", purpose, faults=faults))
        return kept.sha256

    def finish_step(self, after_s: float = 15) -> None:
        """Do what the present step asks for, and declare it done."""
        state = self.live.state
        step = state.step
        for kind in ("as-found", "as-left"):
            if kind in {gate.kind for gate in gates_for_step(state, step)}:
                self.photo(kind)
        for line in step.lines:
            if (step.id, line.id) not in self.live.state.answers:
                self.do(cmd.AnswerLine(line.id, "works"))
        if step.reading and step.id not in self.live.state.readings:
            self.do(cmd.EnterReading(3.9))
        if step.wait and not any(c.step == step.id for c in self.live.state.countdowns.values()):
            self.do(cmd.StartCountdown())
        self.do(cmd.FinishStep(), after_s)

    def go_to(self, step: str) -> None:
        """Do all steps before this one."""
        while self.live.state.step.id != step:
            self.finish_step()

    def finish(self) -> None:
        """Do the rest and close the record."""
        self.go_to("tidy")
        self.finish_step()
        for countdown in self.live.state.running:
            self.do(cmd.RingCountdown(countdown.id), countdown.seconds)
        self.do(cmd.FinishSession())


NASTY = '=HYPERLINK("http://x") <script>alert(1)</script> \u202eabc \U0001f41d, "quoted"\nsecond line'


def eventful(runner: Runner) -> Runner:
    """A whole job with one of everything that a supervisor wants to see."""
    runner.finish_step(12)
    runner.do(cmd.AddNote(NASTY), 3)
    runner.finish_step(80)
    runner.do(cmd.BeginHold("telephone"), 5)
    runner.do(cmd.EndHold(), 600)
    runner.do(cmd.ConfirmLast(), 2)
    runner.photo("as-found")
    runner.photo("free")
    runner.finish_step(9.5)
    runner.do(cmd.Waive("as-found:plug-open", "Camera cable broken & gone", "Ada"), 4)
    runner.do(cmd.FinishStep(), 11)
    runner.do(cmd.StartCountdown(), 1)
    runner.do(cmd.StopCountdown("soak#1", "dried already"), 100)
    runner.do(cmd.FinishStep(), 1)
    runner.do(cmd.ChangePerson("Bela", 6), 20)
    runner.do(cmd.ConfirmLast())
    runner.finish_step(14)
    runner.do(cmd.EnterReading(3.2), 5)
    runner.do(cmd.EnterReading(3.95), 30)
    runner.do(cmd.FinishStep(), 5)
    runner.do(cmd.AnswerLine("power", "does not work"), 5)
    runner.do(cmd.AnswerLine("power", "works"), 50)
    runner.do(cmd.AnswerLine("dial", "not testable"), 5)
    runner.do(cmd.FinishStep(), 2)
    runner.finish_step(21)
    runner.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled off", "Bela"), 9)
    runner.finish_step(33)
    runner.do(cmd.TakeBack(), 4)
    runner.finish_step(12)
    runner.do(cmd.SkipStep("cleaner does it", "Bela"), 8)
    runner.do(cmd.FinishSession(), 1)
    return runner
