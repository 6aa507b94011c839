"""Every bundled job, done as written and done with surprises: the way back is as planned, and right all the same."""

from pathlib import Path
from random import Random

import pytest

from benchguide.procedure.shelf import Shelf
from benchguide.procedure.words import REFITS, REMOVALS
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.gates import gates_for_step
from benchguide.session.state import Job, Status
from tests.session.small_job import Bench
from tests.simulator import Bench as Simulated
from tests.simulator import things_of

SHELF = Shelf([Path(__file__).parents[2] / "procedures"])
JOBS = pytest.mark.parametrize("path", SHELF.procedure_paths, ids=lambda path: path.stem.split(".")[0])


def job_at(path: Path) -> Job:
    entry = SHELF.procedure_at(path)
    assert entry.device is not None
    assert entry.loaded is not None
    return Job(entry.device.model, entry.loaded.model)


def laid(bench: Bench) -> list[ev.WayBackLaid]:
    return [fact.what for fact in bench.facts if isinstance(fact.what, ev.WayBackLaid)]


@JOBS
def test_done_as_written(path: Path) -> None:
    bench = Bench(job_at(path))
    for _ in bench.job.steps:
        bench.finish_step()
    bench.run_out()
    bench.do(cmd.FinishSession())
    assert bench.state.status is Status.FINISHED
    assert [fact.why for fact in laid(bench)] == ["as planned"]
    assert bench.state.steps == bench.job.steps
    assert bench.state.waivers == ()


@JOBS
@pytest.mark.parametrize("seed", range(3))
def test_done_with_surprises(path: Path, seed: int) -> None:
    """Some removals are left out, some parts come off that no step asks for, some of that on the way back; hold
    points that only ask for care are waived. All that came off is back at the end."""
    chance = Random(seed)
    bench = Bench(job_at(path))
    by_hand = 0
    while bench.state.status is Status.WORKING:
        state, step = bench.state, bench.state.step
        late = state.here >= bench.job.way_back_at
        if not chance.randrange(9) and by_hand < (7 if late else 3):
            by_hand += take_off_by_hand(bench, chance)
        elif step.action in REMOVALS and not chance.randrange(12):
            bench.do(cmd.SkipStep("stays on", "Ada"))
        elif any(gate.kind in ("held", "missing-under") for gate in gates_for_step(state, step)):
            assert step.action in REMOVALS, "something on the way back cannot go in"
            bench.do(cmd.SkipStep("still held", "Ada"))
        else:
            bench.meet_gates()
            for gate in gates_for_step(bench.state, bench.state.step):
                assert gate.kind not in ("isolation-last", "count", "pieces"), gate
                bench.do(cmd.Waive(gate.id, "reason", "Ada"))
            done = step.id
            bench.do(cmd.FinishStep(), 3)
            if bench.state.step.id == done:
                break
    assert bench.state.ledger.out == ()
    judge(bench)


def take_off_by_hand(bench: Bench, chance: Random) -> int:
    """Take off something that nothing holds; 1 when there was such a part."""
    state = bench.state
    able = [p.id for p in state.job.device.parts if state.in_device(p.id) and not _held(bench, p.id)]
    if not able:
        return 0
    part = chance.choice(able)
    while gates := bench_gates(bench, part):
        bench.do(cmd.Waive(gates[0], "known", "Ada"))
    bench.do(cmd.TakeOffPart(part, reason="had to"))
    return 1


def _held(bench: Bench, part: str) -> bool:
    known = bench.job.device.by_id[part]
    return any(bench.state.in_device(name) for name in (*known.held_by, *known.under))


def bench_gates(bench: Bench, part: str) -> list[str]:
    from benchguide.session.gates_part import gates_for_part_off

    return [gate.id for gate in gates_for_part_off(bench.state, part)]


def judge(bench: Bench) -> None:
    """The simulator carries out what really happened: nothing goes back in an order that a hand cannot follow."""
    device = Simulated(things_of(bench.job.device))
    for number, fact in enumerate(bench.facts):
        event = fact.what
        if isinstance(event, ev.PartCameOff | ev.PartTakenOff):
            device.take_off(number, event.part, event.pieces)
        elif isinstance(event, ev.PartWentBack):
            device.put_back(number, event.part, event.pieces)
    device.leave(len(bench.facts))
    assert [fault for fault in device.faults if fault.what not in ("live", "mains")] == []
    refits = [s for s in bench.state.steps if s.action in REFITS]
    assert len({s.id for s in refits}) == len(refits)
