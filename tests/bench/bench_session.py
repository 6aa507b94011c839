"""How long a session takes to resume and a command to be judged.

A script: `python tests/bench/bench_session.py`. Bars: resume of 5,000 events (documents to facts to state,
reading the store included) 150 ms or less. A command (decide and apply) 1 ms or less: it shares the 16 ms of
one frame with the durable append and the painting. The baseline is the standard library's `json.loads` of the same
texts in the same run.

The bars hold for the wall clock. Beside it stands the processor time of this process: on a machine that does other
things at the same time it is the one to compare runs with.
"""

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1] / "session")]

import orjson  # noqa: E402
from small_job import STEPS, Bench, make_job  # noqa: E402

from benchguide.session import commands as cmd  # noqa: E402
from benchguide.session.apply import apply, fold  # noqa: E402
from benchguide.session.codec import fact_from_doc, fact_to_doc  # noqa: E402
from benchguide.session.decide import decide  # noqa: E402
from benchguide.session.state import Job  # noqa: E402

EVENTS = 5_000
RUNS = 15
RESUME_BAR_MS = 150.0
COMMAND_BAR_MS = 1.0


def long_bench() -> Bench:
    """A job with 200 steps, walked, photographed, noted and repeated until 5,000 events are logged."""
    idle = [{"id": f"extra-{i}", "stage": "close-out", "action": "work"} for i in range(180)]
    bench = Bench(make_job(steps=[*STEPS, *idle]))
    bench.go_to("extra-0")
    while len(bench.facts) < EVENTS:
        bench.photo("free")
        bench.do(cmd.AddNote("seen"), 1)
        if len(bench.facts) % 3:
            bench.do(cmd.RepeatStep(), 2)
        bench.do(cmd.FinishStep(), 3)
        if bench.state.here > 198:
            bench.do(cmd.GoTo("extra-0"))
    return bench


class Took(NamedTuple):
    """Milliseconds by the wall clock and of processor time."""

    wall: float
    cpu: float


def median_ms(work: Callable[[], object], runs: int = RUNS) -> Took:
    """The medians of several runs."""
    wall, cpu = [], []
    for _ in range(runs):
        begin, busy = time.perf_counter(), time.process_time()
        work()
        wall.append((time.perf_counter() - begin) * 1e3)
        cpu.append((time.process_time() - busy) * 1e3)
    return Took(statistics.median(wall), statistics.median(cpu))


def command_ms(bench: Bench) -> tuple[Took, Took]:
    """Median and 95th percentile of decide and apply at the end of a long session."""
    wall, cpu = [], []
    orders = (cmd.RepeatStep(), cmd.AddNote("seen"), cmd.FinishStep(), cmd.GoBack())
    state = bench.state
    for number in range(800):
        now = bench.clock.advance(1_000_000)
        begin, busy = time.perf_counter(), time.process_time()
        for fact in decide(state, orders[number % len(orders)], now):
            state = apply(state, fact)
        wall.append((time.perf_counter() - begin) * 1e3)
        cpu.append((time.process_time() - busy) * 1e3)
    middle = Took(statistics.median(wall), statistics.median(cpu))
    return middle, Took(statistics.quantiles(wall, n=20)[-1], statistics.quantiles(cpu, n=20)[-1])


def from_store_ms(job: Job, docs: list[dict[str, object]]) -> Took | None:
    """Median of the whole resume out of a real database, or None while there is no store to read from."""
    try:
        from benchguide.procedure.loader import dump_json
        from benchguide.store.live import read_session
        from benchguide.store.log import EventLog
    except ImportError:
        return None
    with tempfile.TemporaryDirectory() as folder:
        log = EventLog.open(Path(folder))
        try:
            started = {**docs[0]["data"]}  # type: ignore[dict-item]
            started["device_doc"] = log.put_document("device", dump_json(job.device))
            started["procedure_doc"] = log.put_document("procedure", dump_json(job.procedure))
            log.append("bench", [{**docs[0], "data": started}, *docs[1:]])
            return median_ms(lambda: read_session(log, "bench"), 9)
        finally:
            log.close()


def row(what: str, figure: Took, bar: float | None, baseline: Took | None = None) -> None:
    """One line of the table."""
    told = "" if bar is None else f"{bar:8.1f} ms {'met' if figure.wall <= bar else 'NOT MET'}"
    ratio = "" if baseline is None else f"{figure.cpu / baseline.cpu:6.1f} x"
    print(f"{what:<52}{figure.wall:9.3f} ms{figure.cpu:9.3f} ms {ratio:>9} {told}")


def main() -> int:
    """Print the table; 1 when a bar is not met."""
    bench = long_bench()
    docs = [fact_to_doc(fact) for fact in bench.facts]
    texts = [json.dumps(doc) for doc in docs]
    print(
        f"{len(docs)} events, {len(bench.job.steps)} steps, median of {RUNS} runs, load {os.getloadavg()[0]:.2f}"
    )
    print(f"{'':<52}{'wall':>12}{'processor':>12}{'baseline':>10}")
    base = median_ms(lambda: [json.loads(text) for text in texts])
    facts = median_ms(lambda: [fact_from_doc(doc) for doc in docs])
    folded = median_ms(lambda: fold(bench.job, bench.facts))
    whole = median_ms(lambda: fold(bench.job, (fact_from_doc(orjson.loads(text)) for text in texts)))
    middle, tail = command_ms(bench)
    row("baseline: json.loads of the texts", base, None)
    row("documents to facts", facts, None, base)
    row("facts to state", folded, None, base)
    row("texts to state", whole, RESUME_BAR_MS, base)
    stored = from_store_ms(bench.job, docs)
    if stored is None:
        print("resume from the store: not measured, benchguide.store.log is not there")
    else:
        row("resume from the store (chain checked, part map read)", stored, RESUME_BAR_MS, base)
    row("one command, decide and apply, median", middle, COMMAND_BAR_MS)
    row("one command, decide and apply, 95th percentile", tail, COMMAND_BAR_MS)
    slowest = max(whole.wall, stored.wall if stored else 0.0)
    return int(slowest > RESUME_BAR_MS or tail.wall > COMMAND_BAR_MS)


if __name__ == "__main__":
    sys.exit(main())
