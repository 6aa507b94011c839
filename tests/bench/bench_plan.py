"""What a way in costs to compute and how good its order is: `python tests/bench/bench_plan.py`.

Time: check and plan of a whole generated device, bars 50 ms at 150 parts and 2 s at 5,000, exponent of processor
time over parts from 500 to 5,000 at most 1.25. Baseline of the same run: json.loads of the same part map.

Order: random maps of 4 to 14 parts must cost what dynamic programming over subsets says (an independent method, one
removal at a time). From 150 to 500 parts, tool changes over a lower bound, median at most 1.10, on maps built like
devices (layers of screws, plates, connectors, boards). The bound is the planner's own kind, made with more effort
(sets joined only beyond a larger width). Beside it: maps without any shape, where the bound itself is loose and no
bar is set, and two baselines: the order of the file, and the nearest next (same tool and face if any is ready).
Exit code 1 when a bar is missed.
"""

import json
import math
import random
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchguide.procedure.check import check_device
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded, dump_json, load_device_text
from benchguide.procedure.planner import FLIP, TOOL_CHANGE, WayIn, plan_way_in
from benchguide.procedure.planner_bound import tool_bound
from benchguide.procedure.planner_graph import Problem, Removal, make_graph
from benchguide.procedure.planner_search import best_order

SIZES = (150, 500, 1_500, 5_000)
BARS_S = {150: 0.050, 5_000: 2.0}
MAX_EXPONENT, MAX_RATIO = 1.25, 1.10
SMALL, LARGE, WIDTH = 200, 15, 400
TOOLS = ("driver-a", "driver-b", "driver-c", "lever", "tweezers")


def layers(dice: random.Random, count: int) -> DeviceMap:
    """Layers of plate screws, plate, connectors, board screws and board; each under a board above it."""
    parts: list[dict[str, Any]] = [{"id": "cell", "kind": "cell", "limit_c": 60}]
    boards: list[str] = []

    def add(name: str, kind: str, tool: str | None, held: Sequence[str] = (), under: Sequence[str] = (),
            face: str = "back") -> str:  # fmt: skip
        part = {"id": name, "kind": kind, "face": face, "held_by": list(held), "under": list(under)}
        if kind == "screws":
            part["screws"] = {"count": 2, "drive": "cross PH00", "thread": "M2", "length_mm": 4}
        parts.append(part | ({"tool": tool} if tool else {}))
        return name

    while len(parts) < count - 1:
        n = len(boards)
        over = [dice.choice(boards[-4:])] if boards else []
        driver = dice.choices(TOOLS[:3], (6, 3, 1))[0]
        holds = [add(f"screws-{n}", "screws", driver, (), over)]
        if dice.random() < 0.1:
            holds.append(add(f"front-{n}", "screws", TOOLS[1], face="front"))
        plate = add(f"plate-{n}", "cover", "tweezers", holds, over)
        if not n:
            add("plug", "connector", "lever", (), [plate])
            parts[-1]["isolates"] = ["cell"]
        cables = [add(f"k{n}-{k}", "connector", "lever", (), [plate]) for k in range(dice.randint(1, 4))]
        cables.append(add(f"posts-{n}", "screws", dice.choices(TOOLS[:3], (6, 3, 1))[0], (), over))
        boards.append(add(f"board-{n}", "module", dice.choice(["lever", None]), cables, over))
    return finish(parts)


def shapeless(dice: random.Random, count: int) -> DeviceMap:
    """Every part held by up to two earlier ones, tools by chance, one face."""
    parts: list[dict[str, Any]] = []
    for n in range(count - 1):
        held = {f"p{dice.randrange(n)}" for _ in range(dice.randint(0, 2))} if n else set()
        parts.append({"id": f"p{n}", "kind": "cover", "tool": dice.choice(TOOLS), "held_by": sorted(held)})
    return finish(parts)


def finish(parts: list[dict[str, Any]]) -> DeviceMap:
    """With a last part under all others, so that the way in is the whole device."""
    parts.append({"id": "last", "kind": "module", "under": [part["id"] for part in parts]})
    head = {"benchguide": "device/1", "id": "made", "name": "Made", "about": "Generated."}
    tools = [{"id": tool, "name": tool} for tool in TOOLS]
    named = [{"name": part["id"], **part} for part in parts]
    outline = {"width_mm": 90, "height_mm": 90}
    return DeviceMap.model_validate({**head, "outline": outline, "tools": tools, "parts": named})


def seconds(work: Callable[[], object], times: int) -> tuple[float, float]:
    """Medians by the clock and of the processor."""
    clock, processor = [], []
    for _ in range(times):
        begun = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - begun[0])
        processor.append(time.process_time() - begun[1])
    return statistics.median(clock), statistics.median(processor)


def times() -> bool:
    """Print the times; True when a bar is missed."""
    print(" parts  check + plan       bar  plan alone  json.loads   ratio")
    missed, taken = False, {}
    for count in SIZES:
        text = dump_json(layers(random.Random(count), count))
        loaded = load_device_text(text)
        runs = 9 if count <= 500 else 3

        def fresh(text: str = text, loaded: Loaded[DeviceMap] = loaded) -> Loaded[DeviceMap]:
            return Loaded(DeviceMap.model_validate_json(text), loaded.path, loaded.spots)

        copies = iter([fresh() for _ in range(2 * runs)])

        def both(copies: Any = copies) -> None:
            one = next(copies)
            check_device(one)
            plan_way_in(one.model, "last")

        whole, taken[count] = seconds(both, runs)
        alone = seconds(lambda copies=copies: plan_way_in(next(copies).model, "last"), runs)[0]
        base = seconds(lambda text=text: json.loads(text), runs)[0]
        bar = BARS_S.get(count)
        missed |= bar is not None and whole > bar
        told = f"{bar * 1000:.0f} ms" if bar else "-"
        print(
            f"{count:>6} {whole * 1000:>10.1f} ms {told:>9} {alone * 1000:>8.1f} ms"
            f" {base * 1000:>8.2f} ms {whole / base:>7.1f}"
        )
    exponent = math.log(taken[5_000] / taken[500]) / math.log(10)
    print(f"exponent of check + plan from 500 to 5,000 parts: {exponent:.2f} (bar {MAX_EXPONENT})\n")
    return missed or exponent > MAX_EXPONENT


def by_subsets(problem: Problem) -> int:
    """Least cost over all orders: every set that can be off, every tool, every face, one removal at a time."""
    before = [sum(1 << b for b in set(removal.before)) for removal in problem.removals]
    states: dict[tuple[int, int | None, int | None], int] = {(0, None, None): 0}
    for _ in problem.removals:
        following: dict[tuple[int, int | None, int | None], int] = {}
        for (off, tool, face), cost in states.items():
            for number, removal in enumerate(problem.removals):
                if off >> number & 1 or before[number] & ~off:
                    continue
                price = cost + FLIP * (face is not None and face != removal.face)
                if removal.tool is not None:
                    price += TOOL_CHANGE * (tool is not None and tool != removal.tool)
                key = (off | 1 << number, tool if removal.tool is None else removal.tool, removal.face)
                following[key] = min(price, following.get(key, price))
        states = following
    return min(states.values())


def small_problem(dice: random.Random) -> Problem:
    """4 to 14 removals; each needs up to two earlier ones; tools, bare hands and faces by chance."""
    removals = []
    for n in range(dice.randint(4, 14)):
        before = tuple({dice.randrange(n) for _ in range(dice.randint(0, 2))}) if n else ()
        removals.append(Removal(dice.choice([None, 0, 1, 2, 3]), int(dice.random() < 0.3), before))
    return Problem(removals)


def small() -> bool:
    """Compare small orders with the optimum; True when one is not optimal."""
    best = nearest = 0
    for seed in range(SMALL):
        problem = small_problem(random.Random(seed))
        optimum = by_subsets(problem)
        best += best_order(problem).cost == optimum
        changes, flips = walk(problem, near=True)
        nearest += TOOL_CHANGE * changes + FLIP * flips == optimum
    print(
        f"optimal up to 14 parts: {best} of {SMALL} (bar: all); baseline nearest next: {nearest} of {SMALL}\n"
    )
    return best != SMALL


def walk(problem: Problem, near: bool) -> tuple[int, int]:
    """Tool changes and flips of a baseline: the first ready in the file, or the nearest ready."""
    removals, off = problem.removals, [False] * len(problem.removals)
    tool = face = None
    changes = flips = live = 0
    left, live = list(range(len(removals))), len(problem.isolators)
    while left:
        best, price = -1, math.inf
        for number in left:
            removal = removals[number]
            if not all(off[b] for b in removal.before) or (live and number in problem.gated):
                continue
            change = removal.tool is not None and tool is not None and removal.tool != tool
            cost = near * (TOOL_CHANGE * change + FLIP * (face is not None and face != removal.face))
            if cost < price:
                best, price = number, cost
            if not price:
                break
        removal = removals[best]
        changes += removal.tool is not None and tool is not None and removal.tool != tool
        flips += face is not None and face != removal.face
        tool, face = tool if removal.tool is None else removal.tool, removal.face
        off[best] = True
        left.remove(best)
        live -= best in problem.isolators
    return changes, flips


def as_problem(way: WayIn) -> Problem:
    """The removals of a plan again as numbers, in the order of the file, made here from the part map alone."""
    coming = {removal.part.id for removal in way.removals}
    parts = [part for part in way.device.parts if part.id in coming]
    at = {part.id: n for n, part in enumerate(parts)}
    removals = [
        Removal(
            None if p.tool is None else TOOLS.index(p.tool),
            int(p.face.value == "front"),
            tuple(at[b] for b in p.held_by + p.under),
        )
        for p in parts
    ]
    isolators = frozenset(at[p.id] for p in parts if p.isolates)
    gated = frozenset(at[p.id] for p in parts if p.kind.value == "connector" and not p.isolates)
    return Problem(removals, isolators, gated if isolators else frozenset())


def large() -> bool:
    """Print tool changes over the lower bound; True when the bar is missed."""
    print(
        "maps        parts  changes  flips  own bound  bound  ratio    bar  cost/bound  nearest  file order"
    )
    missed = False
    for name, make in (("layers", layers), ("shapeless", shapeless)):
        for count in (150, 300, 500):
            rows = []
            for seed in range(LARGE if name == "layers" else 3):
                way = plan_way_in(make(random.Random(seed), count), "last")
                problem = as_problem(way)
                bound = max(way.tool_bound, tool_bound(make_graph(problem), WIDTH))
                near, plain = walk(problem, near=True)[0], walk(problem, near=False)[0]
                row = (way.tool_changes, way.flips, way.tool_bound, bound, way.tool_changes / bound,
                       way.cost / way.bound, near / bound, plain / bound)  # fmt: skip
                rows.append(row)
            changes, flips, own, bound, ratio, cost, near, plain = map(
                statistics.median, zip(*rows, strict=True)
            )
            bar = f"{MAX_RATIO:.2f}" if name == "layers" else "-"
            missed |= name == "layers" and ratio > MAX_RATIO
            print(
                f"{name:<10} {count:>6} {changes:>8.0f} {flips:>6.0f} {own:>10.0f} {bound:>6.0f} {ratio:>6.3f}"
                f" {bar:>6} {cost:>11.3f} {near:>8.2f} {plain:>11.2f}"
            )
    return missed


def main() -> int:
    """Print the tables; 1 when a bar is missed."""
    missed = [times(), small(), large()]
    print("a bar is missed" if any(missed) else "all bars kept")
    return int(any(missed))


if __name__ == "__main__":
    raise SystemExit(main())
