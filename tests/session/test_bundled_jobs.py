"""Every bundled job done from the first step to the last, as a careful person does it: no waiver, nothing skipped."""

from pathlib import Path

import pytest

from benchguide.procedure.procedure import Reading, Step
from benchguide.procedure.shelf import ProcedureEntry, Shelf
from benchguide.procedure.words import CHOICES, HOLDING
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.gates import gates_for_step
from benchguide.session.state import Job
from tests.session.small_job import Bench

SHELF = Shelf([Path(__file__).parents[2] / "procedures"])
JOBS = {path.name: SHELF.procedure_at(path) for path in SHELF.procedure_paths}


def within(reading: Reading) -> float:
    """A value inside the limits."""
    limits = [limit for limit in (reading.low, reading.high) if limit is not None]
    return sum(limits) / len(limits) if limits else 1.0


def do(bench: Bench, step: Step) -> None:
    """Meet whatever the present step asks for, and declare it done after its usual time."""
    for purpose in ("as-found", "as-left"):
        if purpose in {gate.kind for gate in gates_for_step(bench.state, step)}:
            bench.photo(purpose)
    for line in step.lines:
        bench.do(cmd.AnswerLine(line.id, CHOICES[line.answers][0]))
    if step.reading:
        bench.do(cmd.EnterReading(within(step.reading)))
    if step.wait:
        bench.do(cmd.StartCountdown())
        if step.wait.kind in HOLDING:
            bench.run_out()
    if step.after_wait:
        bench.run_out()
    assert [gate.told for gate in gates_for_step(bench.state, step)] == [], step.id
    bench.do(cmd.FinishStep(), sum(step.time_s) / 2)


@pytest.mark.parametrize("entry", JOBS.values(), ids=JOBS)
def test_a_bundled_job_is_finished_without_a_waiver(entry: ProcedureEntry):
    assert entry.device is not None
    assert entry.loaded is not None
    bench = Bench(Job(entry.device.model, entry.loaded.model))
    done: list[str] = []
    while len(done) < 400:
        step = bench.state.step
        done.append(step.id)
        if step.id == bench.state.steps[-1].id:
            break
        do(bench, step)
    do(bench, bench.state.step)
    bench.run_out()
    bench.do(cmd.FinishSession())
    assert len(done) == len(set(done))
    assert {step.id for step in bench.state.steps} == set(done)
    assert bench.state.ledger.out == ()
    assert not {ev.WaiverGiven, ev.StepSkipped} & set(bench.kinds())
    assert bench.kinds()[-1] is ev.SessionFinished
