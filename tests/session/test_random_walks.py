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
from benchguide.session.gates_part import gates_for_part_off, gates_for_part_on
from benchguide.session.look import stack
from benchguide.session.moment import Moment
from benchguide.session.state import State
from benchguide.session.times import session_times
from tests.session.small_job import PARTS, SECOND, FakeClock, make_job
from tests.simulator import Bench as Simulated
from tests.simulator import things_of

WALKS = {
    "local": settings(max_examples=40, stateful_step_count=60, deadline=None),
    "ci": settings(
        max_examples=400, stateful_step_count=120, deadline=None, suppress_health_check=[HealthCheck.too_slow]
    ),
}

#: three parts that no step of the job touches, to be taken off by hand
SPARE: list[dict[str, Any]] = [
    {"id": "lamp-tape", "kind": "loose", "name": "lamp tape", "under": ["lid"], "once": True},
    {"id": "lamp", "kind": "connector", "name": "lamp", "held_by": ["lamp-tape"], "serves": ["fan"]},
    {
        "id": "frame-screws",
        "kind": "screws",
        "name": "frame screws",
        "under": ["board"],
        "screws": {"count": 3, "drive": "cross PH00", "thread": "M1.6", "length_mm": 3},
    },
]
JOB = make_job([*PARTS, *SPARE])
THINGS = things_of(JOB.device)
PART_IDS = [part.id for part in JOB.device.parts]
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
        elif isinstance(event, ev.PartTakenOff):
            self.off[event.part] += event.pieces
        elif isinstance(event, ev.PartPutBack):
            self.back[event.part] += event.pieces
        elif isinstance(event, ev.ExtraSettled) and event.part:
            self.off[event.part] += 1
        elif isinstance(event, ev.CountReconciled):
            self._reconciles(event)
        elif isinstance(event, ev.StepDone | ev.StepSkipped):
            self.fresh.discard(event.step)
        elif isinstance(event, ev.StepTakenBack):
            for part, pieces in self.moved.pop(event.step, []):
                (self.back if pieces > 0 else self.off)[part] += abs(pieces)
            self.fresh.discard(event.step)
        self.path.append(fact.at)

    def _reconciles(self, event: ev.CountReconciled) -> None:
        """Pieces that were never fitted never were on the mat; those found or supplied come onto it."""
        sign = {"not-fitted": 0, "found": -1, "supplied": -1}.get(event.what, 1)
        self.reconciled[event.part] += sign * event.pieces

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
        self.asked_for = ""

    # commands

    def tried(self, command: cmd.Command) -> bool:
        """Carry a command out; False when it was refused. Any other exception fails the walk."""
        before = self.state
        values = {f.name: getattr(before, f.name) for f in fields(before)}
        now = self.clock.now()
        self.asked_for = command.step if isinstance(command, cmd.GoTo) else ""
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
            if isinstance(fact.what, ev.WayBackLaid):
                self._judge_way_back(self.state)
        return True

    def _judge_way_back(self, state: State) -> None:
        """The simulator carries the laid way back out: what is out goes back, each part in one step, in an order
        that a hand can follow. Only steps a person has looked at may be there for nothing."""
        bench = Simulated(things_of(JOB.device))
        for name, thing in bench.things.items():
            thing.pieces -= state.gone.get(name, 0)
            thing.inside = thing.pieces - state.ledger.pieces_of(name)
            thing.last_off = 0 if thing.inside < thing.pieces else -1
        for number, step in enumerate(state.steps[JOB.way_back_at :], start=1):
            if state.mark_of(step.id).mark != "open" or step.action not in REFITS:
                continue
            moving = [p for p in step.parts if bench.things[p].inside < bench.things[p].pieces]
            assert moving or state.mark_of(step.id).entered or step.id == self.asked_for, step.id
            for name in moving:
                bench.put_back(number, name)
        bench.leave(999)
        assert not bench.faults
        assert len({step.id for step in state.steps}) == len(state.steps)

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

    @rule(
        purpose=st.sampled_from(["", "as-found", "as-left", "free", "mat", "other"]),
        name=st.sampled_from("0123"),
        faults=st.sampled_from([(), (), ("shaken",), ("out-of-focus", "glare")]),
    )
    def photo(self, purpose: str, name: str, faults: tuple[str, ...]) -> None:
        self.tried(
            cmd.KeepPhoto(name * 64, 8, 8, "2031-03-04T08:30:00+00:00", "camera", purpose, faults=faults)
        )

    @rule(name=st.sampled_from(["", "0", "1", "9"]))
    def keep_poor(self, name: str) -> None:
        self.tried(cmd.KeepPoorPhoto(name * 64))

    @rule(
        name=st.sampled_from("019"),
        kind=st.sampled_from(["screw", "connector", "star"]),
        x=st.floats(),
        number=st.integers(0, 3),
        clear=st.booleans(),
    )
    def mark_place(self, name: str, kind: str, x: float, number: int, clear: bool) -> None:
        self.tried(cmd.ClearPlace(name * 64, number) if clear else cmd.MarkPlace(name * 64, kind, x, 2, 3))

    @rule(
        found=st.sampled_from("0123"),
        left=st.sampled_from("0123"),
        aligned=st.booleans(),
        count=st.integers(0, 3),
    )
    def compare(self, found: str, left: str, aligned: bool, count: int) -> None:
        differ = (cmd.Difference((1, 1, 2, 2), (1, 1, 2, 2), 0.5, "changed"),) * count
        why = "" if aligned else "The light is too different."
        self.tried(cmd.KeepComparison(found * 64, left * 64, aligned, why, differ))

    @rule(
        step=st.sampled_from(["", *MOVING]),
        number=st.integers(0, 4),
        answer=st.sampled_from(["intended", "mended", "not a difference", "all good"]),
    )
    def answer_difference(self, step: str, number: int, answer: str) -> None:
        self.tried(cmd.AnswerDifference(step, number, answer))

    @rule(name=st.sampled_from("0123"), counts=st.lists(st.one_of(st.none(), st.integers(0, 5)), max_size=3))
    def read_mat(self, name: str, counts: list[int | None]) -> None:
        cells = [cmd.CellSeen(f"A{n}", count, count or 0) for n, count in enumerate(counts, start=1)]
        self.tried(cmd.KeepMatReading(name * 64, "A4", tuple(cells)))

    @rule(
        part=st.sampled_from([*PART_IDS, "none"]),
        length=st.floats(),
        verdict=st.sampled_from(["matches", "longer: stop", "cannot tell", "fine"]),
    )
    def measure(self, part: str, length: float, verdict: str) -> None:
        self.tried(cmd.KeepMeasurement(part, length, 0.1, verdict, "told"))

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

    @rule(
        which=st.integers(0, 9),
        pieces=st.integers(0, 3),
        what=st.sampled_from(["not-fitted", "found", "supplied"]),
    )
    def reconcile_what_is_not_out(self, which: int, pieces: int, what: str) -> None:
        parts = PART_IDS if what == "not-fitted" else sorted(self.state.gone) or ["none"]
        self.tried(cmd.Reconcile(parts[which % len(parts)], pieces, what, "reason", "Ada"))

    @rule(which=st.integers(0, 20), pieces=st.integers(-1, 3), off=st.booleans(), careless=st.booleans())
    def move_by_hand(self, which: int, pieces: int, off: bool, careless: bool) -> None:
        """Something moves that no step asks for: where hold points are in the way, perhaps with waivers for them,
        but never off a part that is still held: a hand cannot do that."""
        self.tried(cmd.EndHold())
        self.tried(cmd.ConfirmLast())
        able = [*self.movable(off), "none"]
        part = able[which % len(able)]
        if careless and part != "none":
            rules = gates_for_part_off if off else gates_for_part_on
            for gate in rules(self.state, part):
                self.tried(cmd.Waive(gate.id, "reason", "Ada"))
        self.tried(cmd.TakeOffPart(part, pieces) if off else cmd.PutBackPart(part, pieces))

    def movable(self, off: bool) -> list[str]:
        """Parts that a hand could move now, by the simulator's reading of the part map."""
        state, things = self.state, THINGS
        if off:
            return [
                name
                for name, thing in things.items()
                if state.in_device(name) and not any(state.in_device(bar) for bar in thing.bars)
            ]
        out = state.ledger.names()
        return [name for name in things if name in out and not any(name in things[o].bars for o in out)]

    @rule(pieces=st.integers(0, 4), cell=st.sampled_from(["", "C7"]), off=st.booleans())
    def count_pieces(self, pieces: int, cell: str, off: bool) -> None:
        for part in self.state.step.parts:
            self.tried(cmd.PiecesOut(part, pieces, cell) if off else cmd.PiecesBack(part, pieces))

    @rule(what=words)
    def find_extra(self, what: str) -> None:
        self.tried(cmd.EnterExtra(what, "reason", "Ada"))

    @rule(
        number=st.integers(1, 3),
        how=st.sampled_from(["assigned", "kept", "thrown-away", "eaten"]),
        part=st.sampled_from([*PART_IDS, ""]),
    )
    def settle_extra(self, number: int, how: str, part: str) -> None:
        self.tried(cmd.SettleExtra(f"extra-{number}", how, "reason", "Ada", part))

    @rule(miscount=st.integers(0, 1))
    def hand_over(self, miscount: int) -> None:
        self.tried(cmd.ChangePerson("Bo", self.state.ledger.on_mat + miscount))

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
    def no_step_vanishes(self) -> None:
        """Whatever was on the bench or declared done is still on the route, and the present step has its place."""
        for name, mark in self.state.marks.items():
            if mark.entered or mark.mark != "open":
                assert name in self.state.index, name
        assert self.state.steps[: JOB.way_back_at] == JOB.steps[: JOB.way_back_at]
        if self.state.visit:
            assert self.state.step.id == self.state.visit.step

    @invariant()
    def the_stack_holds_what_is_out(self) -> None:
        assert sorted(stack(self.state), key=str) == sorted(self.state.ledger.out, key=str)

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
