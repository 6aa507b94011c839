"""A small device, a job on it and a clock turned by hand. Helpers of the session tests; no tests here."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Procedure, Reading
from benchguide.procedure.words import CHOICES, HOLDING
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.apply import apply
from benchguide.session.decide import Refused, decide
from benchguide.session.events import Fact
from benchguide.session.gates import gates_for_step, will_move
from benchguide.session.moment import Moment
from benchguide.session.state import Job, State

SECOND = 1_000_000

PARTS: list[dict[str, Any]] = [
    {
        "id": "lid-screws",
        "kind": "screws",
        "name": "lid screws",
        "cell": "A1",
        "screws": {"count": 4, "drive": "cross PH00", "thread": "M1.6", "length_mm": 4},
    },
    {"id": "lid-bond", "kind": "bond", "name": "lid adhesive", "once": True},
    {"id": "lid", "kind": "cover", "name": "lid", "held_by": ["lid-screws", "lid-bond"], "cell": "A2"},
    {"id": "foam", "kind": "loose", "name": "loose foam", "under": ["lid"], "cell": "B1"},
    {
        "id": "cell-plug",
        "kind": "connector",
        "name": "cell plug",
        "under": ["lid", "foam"],
        "isolates": ["cell"],
        "serves": ["power"],
    },
    {"id": "cell", "kind": "cell", "name": "cell", "under": ["lid"], "held_by": ["cell-plug"]},
    {"id": "fan-plug", "kind": "connector", "name": "fan plug", "under": ["lid"], "serves": ["fan"]},
    {
        "id": "board",
        "kind": "module",
        "name": "main board",
        "held_by": ["cell-plug", "fan-plug"],
        "cell": "C1",
    },
]

STEPS: list[dict[str, Any]] = [
    {"id": "ready", "stage": "preparation", "action": "work"},
    {"id": "screws-off", "stage": "way-in", "action": "off", "parts": ["lid-screws"]},
    {
        "id": "warm",
        "stage": "way-in",
        "action": "wait",
        "parts": ["lid-bond"],
        "wait": {"kind": "heat", "for_s": 120, "limit_c": 60},
    },
    {"id": "bond-off", "stage": "way-in", "action": "off", "parts": ["lid-bond"]},
    {"id": "lid-lift", "stage": "way-in", "action": "lift", "parts": ["lid"]},
    {"id": "foam-off", "stage": "way-in", "action": "off", "parts": ["foam"]},
    {"id": "cell-open", "stage": "way-in", "action": "open", "parts": ["cell-plug"]},
    {"id": "fan-open", "stage": "way-in", "action": "open", "parts": ["fan-plug"]},
    {"id": "board-lift", "stage": "way-in", "action": "lift", "parts": ["board"]},
    {
        "id": "compare",
        "stage": "swap",
        "action": "check",
        "parts": ["board"],
        "lines": [{"id": "shape", "text": "Same shape"}, {"id": "plugs", "text": "Same plugs"}],
    },
    {"id": "board-fit", "stage": "way-back", "action": "fit", "parts": ["board"]},
    {"id": "fan-close", "stage": "way-back", "action": "close", "parts": ["fan-plug"]},
    {"id": "cell-close", "stage": "way-back", "action": "close", "parts": ["cell-plug"]},
    {"id": "foam-on", "stage": "way-back", "action": "on", "parts": ["foam"]},
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
        "lines": [
            {"id": "power", "text": "Switches on", "serves": "power"},
            {"id": "fan", "text": "Fan turns", "serves": "fan"},
        ],
    },
    {"id": "lid-fit", "stage": "seal", "action": "fit", "parts": ["lid"]},
    {
        "id": "bond-on",
        "stage": "seal",
        "action": "on",
        "parts": ["lid-bond"],
        "seals": True,
        "wait": {"kind": "cure", "for_s": 1800},
    },
    {"id": "screws-on", "stage": "seal", "action": "on", "parts": ["lid-screws"]},
    {"id": "tidy", "stage": "close-out", "action": "work"},
]


def make_job(parts: Iterable[dict[str, Any]] = PARTS, steps: Iterable[dict[str, Any]] = STEPS) -> Job:
    """A job from plain values, without a file. Steps get a text and 10 to 30 s when they have none."""
    device = DeviceMap.model_validate(
        {
            "benchguide": "device/1",
            "id": "sample-box",
            "name": "Sample box",
            "about": "A box for tests.",
            "outline": {"width_mm": 80, "height_mm": 50},
            "parts": list(parts),
        }
    )
    procedure = Procedure.model_validate(
        {
            "benchguide": "procedure/1",
            "id": "sample-job",
            "title": "Replace the main board",
            "device": "sample-box",
            "about": "A job for tests.",
            "steps": [{"text": f"Do {step['id']}.", "time_s": (10, 30), **step} for step in steps],
        }
    )
    return Job(device, procedure)


class FakeClock:
    """All three clocks of a machine, moved by hand. `true_us` is the time that really passed."""

    def __init__(self) -> None:
        self._wall = datetime(2031, 3, 4, 8, 30, 0, 123_456, tzinfo=UTC)
        self._boot_us = 5_000 * SECOND
        self._awake_us = 4_000 * SECOND
        self._boots = 1
        self.true_us = 0

    def now(self) -> Moment:
        """The reading of all clocks."""
        return Moment(self._wall, self._boot_us, self._awake_us, f"boot-{self._boots}")

    def advance(self, us: int) -> Moment:
        """Time passes, nothing special."""
        return self._pass(us, us, us, us)

    def jump(self, us: int) -> Moment:
        """Somebody sets the wall clock; no time passes."""
        return self._pass(0, us, 0, 0)

    def slew(self, us: int, wall_us: int) -> Moment:
        """Time passes while the wall clock is being drawn towards another time."""
        return self._pass(us, wall_us, us, us)

    def suspend(self, us: int) -> Moment:
        """The machine sleeps: only the awake clock stands still."""
        return self._pass(us, us, us, 0)

    def reboot(self, us: int) -> Moment:
        """The machine is off for `us` and starts anew."""
        self._boots += 1
        self._boot_us = self._awake_us = 20 * SECOND
        return self._pass(us, us, 0, 0)

    def _pass(self, true: int, wall: int, boot: int, awake: int) -> Moment:
        self.true_us += true
        self._wall += timedelta(microseconds=wall)
        self._boot_us += boot
        self._awake_us += awake
        return self.now()


def _within(limits: Reading) -> float:
    """A value in the middle of its limits."""
    low = limits.low if limits.low is not None else limits.high
    high = limits.high if limits.high is not None else limits.low
    return 3.9 if low is None or high is None else (low + high) / 2


class Bench:
    """A session as the program runs it, without a disk: commands in, facts kept, state folded along."""

    def __init__(self, job: Job | None = None, start: bool = True) -> None:
        self.job = job or make_job()
        self.clock = FakeClock()
        self.state = State(self.job)
        self.facts: list[Fact] = []
        if start:
            self.do(cmd.StartSession("J-1", "Ada", "d" * 64, "p" * 64))

    def do(self, command: cmd.Command, after_s: float = 0) -> tuple[Fact, ...]:
        """Let time pass, then carry out a command. Raises Refused."""
        self.clock.advance(round(after_s * SECOND))
        facts = decide(self.state, command, self.clock.now())
        for fact in facts:
            self.state = apply(self.state, fact)
        self.facts.extend(facts)
        return facts

    def refusal(self, command: cmd.Command) -> Refused:
        """The refusal of a command that must be refused."""
        try:
            decide(self.state, command, self.clock.now())
        except Refused as refused:
            return refused
        raise AssertionError(f"{command} was not refused")

    def photo(self, purpose: str = "") -> None:
        """Keep one photo."""
        number = f"{len(self.facts):064x}"
        self.do(cmd.KeepPhoto(number, 1920, 1080, "2031-03-04T08:30:00+00:00", "bench camera", purpose))

    def finish_step(self, after_s: float = 10) -> None:
        """Do what the present step asks for, and declare it done."""
        self.meet_gates()
        self.do(cmd.FinishStep(), after_s)

    def meet_gates(self) -> None:
        """Photos, answers, readings and countdowns of the present step."""
        step = self.state.step
        for kind in ("as-found", "as-left"):
            if kind in {gate.kind for gate in gates_for_step(self.state, step)}:
                self.photo(kind)
        for line in step.lines:
            self.do(cmd.AnswerLine(line.id, CHOICES[line.answers][0]))
        if step.reading:
            self.do(cmd.EnterReading(_within(step.reading)))
        if step.wait and not any(c.step == step.id for c in self.state.countdowns.values()):
            self.do(cmd.StartCountdown())
        if step.after_wait or (step.wait and step.wait.kind in HOLDING):
            self.run_out()

    def run_out(self) -> None:
        """Let every running countdown come to its end and ring."""
        for countdown in self.state.running:
            self.do(cmd.RingCountdown(countdown.id), countdown.seconds)

    def go_to(self, step: str, after_s: float = 10) -> None:
        """Do all steps before this one."""
        while self.state.step.id != step:
            self.finish_step(after_s)

    def finish(self) -> None:
        """Do the whole rest of the job."""
        self.go_to("tidy")
        self.finish_step()
        self.run_out()
        self.do(cmd.FinishSession())

    def kill_and_resume(self, alive_s: float, gone_s: float, reboot: bool = False) -> None:
        """Work on for `alive_s`, die, come back after `gone_s`."""
        last = self.clock.advance(round(alive_s * SECOND))
        gone = round(gone_s * SECOND)
        _ = self.clock.reboot(gone) if reboot else self.clock.advance(gone)
        self.do(cmd.ResumeSession(last.to_doc()))

    def moving(self) -> tuple[str, ...]:
        """What the present step would move."""
        return will_move(self.state, self.state.step)

    def kinds(self) -> list[type[ev.Event]]:
        """The kinds of all facts so far."""
        return [type(fact.what) for fact in self.facts]
