"""Random commands under random clocks: nothing is lost, no time is negative, no second counts twice.

`HYPOTHESIS_PROFILE=ci` runs many more and longer walks than the ordinary test run.
"""

import os
from collections import Counter
from dataclasses import fields
from datetime import timedelta
from itertools import pairwise
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from benchguide.procedure.words import REFITS, REMOVALS, Answer
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.apply import apply, as_at, fold
from benchguide.session.clock import Visit
from benchguide.session.codec import fact_from_doc, fact_to_doc
from benchguide.session.decide import Refused, decide
from benchguide.session.events import Fact
from benchguide.session.forecast import left_to_do
from benchguide.session.gates import gates_for_finish, gates_for_step
from benchguide.session.moment import Moment
from benchguide.session.state import State
from benchguide.session.times import session_times
from tests.session.small_job import SECOND, FakeClock, make_job

WALKS = {
    "local": settings(max_examples=40, stateful_step_count=60, deadline=None),
    "ci": settings(
        max_examples=400, stateful_step_count=120, deadline=None, suppress_health_check=[HealthCheck.too_slow]
    ),
}

JOB = make_job()
STEP_IDS = [step.id for step in JOB.steps]
MOVING = [step.id for step in JOB.steps if step.action in REMOVALS | REFITS]
LINE_IDS = [line.id for step in JOB.steps for line in step.lines]
KINDS_OF_TIME = ("touch_us", "waiting_us", "hold_us", "asleep_us", "away_us")

words = st.sampled_from(["", "reason"])
spans = st.one_of(st.integers(0, 3_000_000), st.integers(0, 10_000 * SECOND))


class Oracle:
    """Time and pieces counted a second time, in the plainest way, from the readings and the facts."""

    def __init__(self) -> None:
        self.path: list[Moment] = []
        self.away_us = 0
        self.off: Counter[str] = Counter()
        self.back: Counter[str] = Counter()
        self.reconciled: Counter[str] = Counter()
        self.moved: dict[str, list[tuple[str, int]]] = {}
        self.fresh: set[str] = set()

    def spent_us(self, until: Moment | None = None) -> int:
        """The sum of all stretches along the path of readings."""
        path = [*self.path, until] if until else self.path
        return sum(self._stretch(a, b) for a, b in pairwise(path))

    @staticmethod
    def _stretch(a: Moment, b: Moment) -> int:
        if a.boot_id == b.boot_id:
            return b.boot_us - a.boot_us
        return max(0, (b.wall - a.wall) // timedelta(microseconds=1))

    def away_until(self, back: Moment) -> None:
        """Everything from the last reading on the path until `back` was spent away."""
        self.away_us += self._stretch(self.path[-1], back)

    def sees(self, fact: Fact) -> None:
        """Count one fact."""
        event = fact.what
        if isinstance(event, ev.PartCameOff):
            self.off[event.part] += event.pieces
            self._move(event.step, event.part, event.pieces)
        elif isinstance(event, ev.PartWentBack):
            self.back[event.part] += event.pieces
            self._move(event.step, event.part, -event.pieces)
        elif isinstance(event, ev.CountReconciled):
            self.reconciled[event.part] += event.pieces
        elif isinstance(event, ev.StepDone | ev.StepSkipped):
            self.fresh.discard(event.step)
        elif isinstance(event, ev.StepTakenBack):
            for part, pieces in self.moved.pop(event.step, []):
                (self.back if pieces > 0 else self.off)[part] += abs(pieces)
            self.fresh.discard(event.step)
        self.path.append(fact.at)

    def _move(self, step: str, part: str, pieces: int) -> None:
        """A movement belongs to the latest pass through its step."""
        if step not in self.fresh:
            self.moved[step] = []
            self.fresh.add(step)
        self.moved[step].append((part, pieces))


class Walk(RuleBasedStateMachine):
    """One session, its clock, and the oracle beside it."""

    def __init__(self) -> None:
        super().__init__()
        self.clock = FakeClock()
        self.state = State(JOB)
        self.facts: list[Fact] = []
        self.docs: list[dict[str, Any]] = []
        self.oracle = Oracle()
        self.began_us = 0
        self.wall_touched = False
        self.alive: Moment | None = None

    # commands

    def tried(self, command: cmd.Command) -> bool:
        """Carry a command out; False when it was refused. Any other exception fails the walk."""
        before = self.state
        values = {f.name: getattr(before, f.name) for f in fields(before)}
        now = self.clock.now()
        try:
            facts = decide(self.state, command, now)
        except Refused as refused:
            sentence = str(refused)
            facts = ()
        if not facts:
            assert sentence.endswith(".")
            assert {f.name: getattr(before, f.name) for f in fields(before)} == values
            return False
        if isinstance(command, cmd.ResumeSession):
            if not before.away:
                self._resumed_path(facts[0])
            self.oracle.away_until(facts[0].at)
        for fact in facts:
            self.state = apply(self.state, fact)
            self.facts.append(fact)
            self.docs.append(fact_to_doc(fact))
            assert fact_from_doc(self.docs[-1]) == fact
            self.oracle.sees(fact)
        return True

    def _resumed_path(self, fact: Fact) -> None:
        """A believable sign of life is a reading on the path like any other."""
        alive, last = self.alive, self.oracle.path[-1]
        if alive and alive.boot_id == last.boot_id and alive.boot_us >= last.boot_us:
            same = alive.boot_id == fact.at.boot_id
            self.oracle.path.append(fact.at if same and alive.boot_us > fact.at.boot_us else alive)

    @initialize()
    def start(self) -> None:
        assert self.tried(cmd.StartSession("J-1", "Ada", "d", "p"))
        self.began_us = self.clock.true_us

    @rule()
    def finish_step(self) -> None:
        self.tried(cmd.FinishStep())

    @rule(count=st.integers(1, 6))
    def press_on(self, count: int) -> None:
        """Pass whatever is in the way, so that walks get far into the job."""
        for _ in range(count):
            self.carry_out()

    def carry_out(self) -> None:
        """Do the present step, by waivers where it must be."""
        self.tried(cmd.EndHold())
        self.tried(cmd.ConfirmLast())
        for gate in gates_for_step(self.state, self.state.step):
            self.tried(cmd.Waive(gate.id, "reason", "Ada"))
        self.tried(cmd.FinishStep())
        self.clock.advance(1_000_003)

    @rule(step=st.sampled_from(MOVING), times=st.integers(1, 2), then=st.booleans())
    def do_out_of_order(self, step: str, times: int, then: bool) -> None:
        """Carry out one removal or refit wherever the job stands, perhaps twice, perhaps wrongly."""
        for _ in range(times):
            self.tried(cmd.GoTo(step))
            self.carry_out()
        if then:
            self.tried(cmd.TakeBack())

    @rule(back=st.booleans(), step=st.sampled_from(STEP_IDS))
    def go(self, back: bool, step: str) -> None:
        self.tried(cmd.GoBack() if back else cmd.GoTo(step))

    @rule()
    def repeat(self) -> None:
        self.tried(cmd.RepeatStep())

    @rule(reason=words)
    def skip(self, reason: str) -> None:
        self.tried(cmd.SkipStep(reason, "Ada"))

    @rule()
    def take_back(self) -> None:
        self.tried(cmd.TakeBack())

    @rule(purpose=st.sampled_from(["", "as-found", "as-left", "free", "other"]))
    def photo(self, purpose: str) -> None:
        self.tried(cmd.KeepPhoto("0" * 64, 8, 8, "2031-03-04T08:30:00+00:00", "camera", purpose))

    @rule(text=words)
    def note(self, text: str) -> None:
        self.tried(cmd.AddNote(text))

    @rule(begin=st.booleans(), reason=words)
    def hold(self, begin: bool, reason: str) -> None:
        self.tried(cmd.BeginHold(reason) if begin else cmd.EndHold())

    @rule(what=st.sampled_from(["start", "ring", "stop", "run out"]), reason=words)
    def countdown(self, what: str, reason: str) -> None:
        if what == "start":
            self.tried(cmd.StartCountdown())
        for running in self.state.running:
            if what == "run out":
                self.clock.suspend(running.seconds * SECOND)
            if what in ("ring", "run out"):
                self.tried(cmd.RingCountdown(running.id))
            elif what == "stop":
                self.tried(cmd.StopCountdown(running.id, reason))

    @rule(line=st.sampled_from([*LINE_IDS, "none"]), answer=st.sampled_from([*Answer, "maybe"]))
    def answer(self, line: str, answer: str) -> None:
        self.tried(cmd.AnswerLine(line, answer))

    @rule(value=st.floats())
    def reading(self, value: float) -> None:
        self.tried(cmd.EnterReading(value))

    @rule(reason=words)
    def waive(self, reason: str) -> None:
        for gate in (*gates_for_step(self.state, self.state.step), *gates_for_finish(self.state)):
            self.tried(cmd.Waive(gate.id, reason, "Ada"))

    @rule()
    def confirm(self) -> None:
        self.tried(cmd.ConfirmLast())

    @rule(
        which=st.integers(0, 7),
        pieces=st.integers(0, 5),
        what=st.sampled_from(["lost", "replaced", "left-out", "eaten"]),
    )
    def reconcile(self, which: int, pieces: int, what: str) -> None:
        out = [item.part for item in self.state.ledger.out] or ["none"]
        part = out[which % len(out)]
        self.tried(cmd.Reconcile(part, pieces, what, "reason", "Ada"))

    @rule(miscount=st.integers(0, 1))
    def hand_over(self, miscount: int) -> None:
        self.tried(cmd.ChangePerson("Bo", self.state.ledger.pieces + miscount))

    @rule(really=st.integers(0, 9))
    def end(self, really: int) -> None:
        """The end comes seldom: a closed session refuses everything else."""
        if really == 0:
            self.tried(cmd.AbandonSession("reason", "Ada"))
        elif really == 1:
            self.tried(cmd.FinishSession())

    # clocks

    @rule(us=spans)
    def time_passes(self, us: int) -> None:
        self.clock.advance(us)

    @rule(us=st.integers(-100_000 * SECOND, 100_000 * SECOND))
    def wall_clock_is_set(self, us: int) -> None:
        self.wall_touched = True
        self.clock.jump(us)

    @rule(us=spans, part=st.integers(-500, 500))
    def wall_clock_is_slewed(self, us: int, part: int) -> None:
        self.wall_touched = True
        self.clock.slew(us, us + us * part // 1_000_000)

    @rule(us=spans)
    def machine_sleeps(self, us: int) -> None:
        self.clock.suspend(us)

    # interruptions

    @rule(
        orderly=st.booleans(),
        reboot=st.booleans(),
        worked=spans,
        gone=spans,
        sign=st.sampled_from(["true", "true", "true", "none", "torn", "early", "late"]),
    )
    def closed_or_killed(self, orderly: bool, reboot: bool, worked: int, gone: int, sign: str) -> None:
        early = self.clock.now()
        alive = self.clock.advance(worked)
        if orderly:
            self.tried(cmd.LeaveBench())
        self._off_for(gone, reboot)
        if sign == "late":
            later = self.clock.now()
            alive = Moment(later.wall, later.boot_us + 5 * SECOND, later.awake_us, later.boot_id)
        elif sign == "early":
            alive = early
        readable = sign not in ("none", "torn")
        self.alive = alive if readable else None
        doc: dict[str, object] = alive.to_doc() if readable else {}
        if sign == "torn":
            doc = {"wall": "2031-03-", "boot_us": 1}
        self.tried(cmd.ResumeSession(doc))

    def _off_for(self, us: int, reboot: bool) -> None:
        if reboot:
            self.clock.reboot(us)
        else:
            self.clock.advance(us)

    @precondition(lambda self: not self.state.away)
    @rule()
    def resumed_without_need(self) -> None:
        self.alive = self.clock.now()
        self.tried(cmd.ResumeSession(self.alive.to_doc()))

    # what always holds

    @invariant()
    def the_same_fold_live_and_on_resume(self) -> None:
        assert fold(JOB, self.facts) == self.state
        assert fold(JOB, [fact_from_doc(doc) for doc in self.docs]) == self.state

    @invariant()
    def no_piece_is_lost(self) -> None:
        for part in JOB.device.parts:
            out = self.state.ledger.pieces_of(part.id)
            seen = self.oracle.off[part.id] - self.oracle.back[part.id] - self.oracle.reconciled[part.id]
            assert out == seen, part.id
            assert 0 <= out <= part.pieces
            assert 0 <= self.state.in_device(part.id) <= part.pieces
            assert self.state.in_device(part.id) + out + self.state.gone.get(part.id, 0) == part.pieces
        assert all(item.pieces > 0 for item in self.state.ledger.out)

    @invariant()
    def every_second_counts_once(self) -> None:
        if not self.facts:
            return
        assert sum(visit.total_us for visit in self.state.all_visits) == self.oracle.spent_us()
        assert sum(visit.away_us for visit in self.state.all_visits) == self.oracle.away_us
        if self.state.open:
            now = self.clock.now()
            shown = as_at(self.state, now)
            assert sum(visit.total_us for visit in shown.all_visits) == self.oracle.spent_us(now)
            if not self.wall_touched:
                assert self.oracle.spent_us(now) == self.clock.true_us - self.began_us

    @invariant()
    def no_time_is_negative(self) -> None:
        visits: tuple[Visit, ...] = as_at(self.state, self.clock.now()).all_visits
        assert all(getattr(visit, kind) >= 0 for visit in visits for kind in KINDS_OF_TIME)
        assert session_times(self.state).total_s >= 0
        left = left_to_do(self.state, self.clock.now())
        assert left.mean_s >= 0 <= left.var_s2

    @invariant()
    def visits_follow_the_steps_entered(self) -> None:
        entered = [f.what.step for f in self.facts if isinstance(f.what, ev.StepEntered)]
        assert [visit.step for visit in self.state.all_visits] == entered


TestWalk = Walk.TestCase
TestWalk.settings = WALKS[os.environ.get("HYPOTHESIS_PROFILE", "local")]
