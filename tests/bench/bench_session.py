"""How long a session takes to resume and a command to be judged.

A script: `python tests/bench/bench_session.py`. Bars: resume of 5,000 events (documents to facts to state,
reading the store included) 150 ms or less. A command (decide and apply) 1 ms or less: it shares the 16 ms of
one frame with the durable append and the painting. The baseline is the standard library's `json.loads` of the same
texts in the same run. A way back of 150 parts, half of it written: laid in 50 ms or less, judged to fit in 1 ms or
less, beside the mere sorting of as many names.

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
from typing import Any, NamedTuple

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1] / "session")]

import orjson  # noqa: E402
from small_job import STEPS, Bench, make_job  # noqa: E402

from benchguide.session import commands as cmd  # noqa: E402
from benchguide.session import events as ev  # noqa: E402
from benchguide.session.apply import apply, fold  # noqa: E402
from benchguide.session.codec import fact_from_doc, fact_to_doc  # noqa: E402
from benchguide.session.decide import decide  # noqa: E402
from benchguide.session.events import Fact  # noqa: E402
from benchguide.session.route import Route  # noqa: E402
from benchguide.session.state import Job, State  # noqa: E402
from benchguide.session.way_back import lay  # noqa: E402
from benchguide.session.way_back_fit import fits  # noqa: E402

EVENTS = 5_000
RUNS = 15
RESUME_BAR_MS = 150.0
COMMAND_BAR_MS = 1.0
WAY_BACK_BAR_MS = 50.0
PARTS = 150


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


def all_out() -> State:
    """A device of PARTS parts in layers of ten, all of them out; every second one has a written refit."""
    parts: list[dict[str, Any]] = []
    for n in range(PARTS):
        kind = ("connector", "screws", "module", "cover", "loose")[n % 5]
        part: dict[str, Any] = {"id": f"p{n}", "kind": kind, "name": f"part {n}"}
        if kind == "screws":
            part["screws"] = {"count": 4, "drive": "cross PH00", "thread": "M2", "length_mm": 4}
        above = range(max(0, n // 10 * 10 - 10), n // 10 * 10)
        part["under"] = [f"p{a}" for a in above if (a + n) % 3 == 0]
        part["isolates"] = ["source"] if n == 0 else []
        parts.append(part)
    parts.append({"id": "source", "kind": "cell", "name": "source"})
    refits = {"connector": "close", "screws": "on", "loose": "on"}
    steps = [{"id": "start", "stage": "way-in", "action": "work"}]
    for part in parts[-2::-2]:
        action = refits.get(part["kind"], "fit")
        steps.append({"id": f"on-{part['id']}", "stage": "way-back", "action": action, "parts": [part["id"]]})
    bench = Bench(make_job(parts, steps))
    for part in parts[:-1]:
        pieces = 4 if part["kind"] == "screws" else 1
        event = ev.PartTakenOff(part["id"], pieces, "A1", "start", "")
        bench.state = apply(bench.state, Fact(bench.clock.advance(1), "Ada", event))
    return bench.state


def way_back_ms() -> tuple[Took, Took, Took]:
    """Sorting alone, laying the way back, and judging that it fits."""
    state = all_out()
    order = [item.part for item in state.ledger.out]
    laid = state.changed(laid=Route((*state.steps[:1], *lay(state))))
    assert fits(laid)
    return median_ms(lambda: sorted(order)), median_ms(lambda: lay(state)), median_ms(lambda: fits(laid))


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
    row("texts to state, with garbage collected on the way", whole, None, base)
    stored = from_store_ms(bench.job, docs)
    if stored is None:
        print("resume from the store: not measured, benchguide.store.log is not there")
    else:
        row("resume from the store (chain checked, part map read)", stored, RESUME_BAR_MS, base)
    row("one command, decide and apply, median", middle, COMMAND_BAR_MS)
    row("one command, decide and apply, 95th percentile", tail, COMMAND_BAR_MS)
    sorting, laying, fitting = way_back_ms()
    row(f"way back of {PARTS} parts laid", laying, WAY_BACK_BAR_MS, sorting)
    row(f"way back of {PARTS} parts judged to fit", fitting, COMMAND_BAR_MS, sorting)
    slow = laying.wall > WAY_BACK_BAR_MS or fitting.wall > COMMAND_BAR_MS
    return int((stored is not None and stored.wall > RESUME_BAR_MS) or tail.wall > COMMAND_BAR_MS or slow)


if __name__ == "__main__":
    sys.exit(main())
