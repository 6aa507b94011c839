"""The way back on random part maps, judged by a simulator and by networkx, neither of which shares code with it.

A random device is taken apart in an order that the simulator allows, some of it never, some of it lost; the written
procedure refits random groups of parts in a random order. The way back must put everything back, each thing once.
"""

import os
from collections.abc import Callable
from random import Random
from typing import Any, NamedTuple

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchguide.procedure.procedure import Step
from benchguide.session import events as ev
from benchguide.session.apply import fold
from benchguide.session.events import Fact
from benchguide.session.look import empty_places, in_the_way_off, in_the_way_on
from benchguide.session.state import State
from benchguide.session.way_back import lay
from benchguide.session.way_back_fit import fits
from tests.session.small_job import FakeClock, make_job
from tests.simulator import Bench as Simulated
from tests.simulator import things_of

#: thousands of cases take minutes on a busy machine
pytestmark = pytest.mark.timeout(900)

RUNS = {"local": 300, "ci": 4_000}
PROFILE = settings(
    max_examples=RUNS[os.environ.get("HYPOTHESIS_PROFILE", "local")],
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)


def random_cases(test: Callable[[int, int], None]) -> Callable[[], None]:
    """Run a test with sizes and seeds of cases."""
    return PROFILE(given(count=st.integers(1, 16), seed=st.integers(0, 2**32 - 1))(test))


OFF = {"screws": "off", "bond": "off", "loose": "off", "connector": "open"}
ON = {"off": "on", "open": "close", "lift": "fit"}


def part_map(chance: Random, count: int) -> list[dict[str, Any]]:
    """Parts without loops: each is held or covered only by parts of lower number, written in any order."""
    parts: list[dict[str, Any]] = []
    for number in range(count):
        kind = chance.choice(["screws", "cover", "connector", "connector", "module", "loose", "bond"])
        part: dict[str, Any] = {
            "id": f"p{number}",
            "kind": kind,
            "name": f"part {number}",
            "cell": f"A{number % 100}",
        }
        if kind == "screws":
            screw = {"drive": "cross PH00", "thread": "M2", "length_mm": 4}
            part["screws"] = {"count": chance.randint(1, 4), **screw}
        lower = [f"p{n}" for n in range(number)]
        part["held_by"] = chance.sample(lower, min(number, chance.choice([0, 0, 1, 2])))
        part["under"] = chance.sample(lower, min(number, chance.choice([0, 0, 1, 2])))
        parts.append(part)
    plugs = [part for part in parts if part["kind"] == "connector"]
    if plugs and chance.random() < 0.6:
        parts.append({"id": "source", "kind": chance.choice(["cell", "module"]), "name": "source"})
        parts[-1] |= {"held_by": [], "under": []}
        chance.choice(plugs)["isolates"] = ["source"]
    chance.shuffle(parts)
    return parts


class Case(NamedTuple):
    """A device, what was done to it, and the written way back."""

    parts: list[dict[str, Any]]
    off: list[str]
    """In this order."""
    gone: dict[str, int]
    steps: list[dict[str, Any]]


def made_case(count: int, seed: int) -> Case:
    """One case; all chance in it comes from the seed, so that thousands are made in a short time."""
    chance = Random(seed)
    parts = part_map(chance, count)
    names = [part["id"] for part in parts]
    bench = Simulated(things_of({"parts": parts}))
    off: list[str] = []
    while len(off) < len(names) and chance.random() < 0.95:
        able = [name for name in names if name not in off and _can_come_off(bench, name)]
        if not able:
            break
        off.append(chance.choice(able))
        bench.take_off(len(off), off[-1])
    gone = {name: chance.randint(1, bench.things[name].pieces) for name in off if chance.random() < 0.1}
    steps = written(chance, {part["id"]: part["kind"] for part in parts}, off)
    return Case(parts, off, gone, [*steps, _step("end", "close-out", "check")])


def _can_come_off(bench: Simulated, name: str) -> bool:
    """Whether the simulator has nothing to say against it; it is put back as it was."""
    thing, faults = vars(bench.things[name]).copy(), len(bench.faults)
    bench.take_off(0, name)
    fine = len(bench.faults) == faults
    del bench.faults[faults:]
    vars(bench.things[name]).update(thing)
    return fine


def written(chance: Random, kinds: dict[str, str], off: list[str]) -> list[dict[str, Any]]:
    """Refit steps of some parts, in the order of the way in turned round or in any other, some of them two at a
    time, with checks between them."""
    names = [name for name in reversed(off) if chance.random() < 0.85]
    names += [name for name in kinds if name not in off and chance.random() < 0.5]
    if chance.random() < 0.5:
        chance.shuffle(names)
    steps: list[dict[str, Any]] = []
    while names:
        group = [name for name in names[: chance.randint(1, 2)] if kinds[name] == kinds[names[0]]]
        names = [name for name in names if name not in group]
        action = ON[OFF.get(kinds[group[0]], "lift")]
        steps.append({**_step(f"w-{group[0]}", "way-back", action), "parts": group})
        if chance.random() < 0.25:
            steps.append(_step(f"c-{group[0]}", "way-back", "check"))
    return steps


def _step(name: str, stage: str, action: str) -> dict[str, Any]:
    return {"id": name, "stage": stage, "action": action}


def state_of(case: Case) -> State:
    """The state after these removals and losses, none of which any step asked for."""
    job = make_job(case.parts, [_step("start", "preparation", "work"), *case.steps])
    clock = FakeClock()
    events: list[ev.Event] = [
        ev.SessionStarted("J", "Ada", "d", "p", "d", "p"),
        ev.StepEntered("start", "next"),
    ]
    for name in case.off:
        events.append(ev.PartTakenOff(name, job.device.by_id[name].pieces, "A1", "start", ""))
    for name, pieces in case.gone.items():
        events.append(ev.CountReconciled(name, pieces, "left-out", "reason", "Ada"))
    return fold(job, [Fact(clock.advance(1), "Ada", event) for event in events])


def simulated(case: Case) -> Simulated:
    """The same by the simulator; lost pieces are none of the device any more."""
    device = make_job(case.parts, case.steps).device
    bench = Simulated(things_of(device))
    for number, name in enumerate(case.off):
        bench.take_off(number, name)
    for name, pieces in case.gone.items():
        bench.things[name].pieces -= pieces
    assert not bench.faults
    return bench


def refits(steps: tuple[Step, ...]) -> list[Step]:
    return [step for step in steps if step.action.value in ON.values()]


@random_cases
def test_everything_goes_back_once_in_an_order_that_a_hand_can_follow(count: int, seed: int) -> None:
    case = made_case(count, seed)
    state = state_of(case)
    steps = lay(state)
    bench = simulated(case)
    out = {name for name in case.off if bench.things[name].inside < bench.things[name].pieces}
    assert out == state.ledger.names()
    for number, step in enumerate(refits(steps), start=100):
        moving = [name for name in step.parts if bench.things[name].inside < bench.things[name].pieces]
        assert moving, f"{step.id} has nothing to put back"
        for name in _innermost_first(bench, moving):
            bench.put_back(number, name)
    bench.leave(999)
    assert bench.faults == []
    assert len({step.id for step in steps}) == len(steps)


def _innermost_first(bench: Simulated, names: list[str]) -> list[str]:
    """Parts of one step in the order in which a hand can put them in, if there is one."""
    return sorted(names, key=lambda name: sum(name in bench.things[other].bars for other in names))


@random_cases
def test_precedence_by_networkx(count: int, seed: int) -> None:
    """Whatever lies under or is held by a part, also through parts that are gone, is in before it."""
    case = made_case(count, seed)
    state = state_of(case)
    graph: Any = nx.DiGraph()
    graph.add_nodes_from(part["id"] for part in case.parts)
    for part in case.parts:
        graph.add_edges_from((part["id"], over) for over in [*part["held_by"], *part["under"]])
    turn = {
        name: i
        for i, step in enumerate(refits(lay(state)))
        for name in step.parts
        if state.ledger.is_out(name)
    }
    assert set(turn) == set(state.ledger.names())
    for name in turn:
        for over in nx.descendants(graph, name):
            assert over not in turn or turn[name] <= turn[over], (name, over)


@random_cases
def test_the_written_way_back_stays_where_it_can(count: int, seed: int) -> None:
    case = made_case(count, seed)
    state = state_of(case)
    steps = lay(state)
    planned = [
        step for step in state.job.steps[1:] if not refits((step,)) or state.ledger.names() & set(step.parts)
    ]
    checks = {step.id for step in planned if not refits((step,))}
    order = [step.id for step in steps]
    assert checks <= set(order)
    for i, step in enumerate(planned):
        if step.id in checks:
            before = [s.id for s in planned[:i] if s.id in order]
            assert all(order.index(name) < order.index(step.id) for name in before)
    # through a part that is gone, the way back keeps an order that the simulator no longer asks for
    if not case.gone and _can_be_followed(case, planned):
        kept = [s.id for s in planned]
        assert [name for name in order if name in kept] == kept
        assert not {name for name in order if name.endswith("-again")}


def _can_be_followed(case: Case, planned: list[Step]) -> bool:
    """Whether what is written covers all that is out in an order that needs no change."""
    bench = simulated(case)
    for number, step in enumerate(refits(tuple(planned)), start=100):
        for name in _innermost_first(bench, list(step.parts)):
            if bench.things[name].inside < bench.things[name].pieces:
                bench.put_back(number, name)
    bench.leave(999)
    return not bench.faults


@random_cases
def test_what_is_laid_fits_and_laying_it_again_changes_nothing(count: int, seed: int) -> None:
    case = made_case(count, seed)
    state = state_of(case)
    from benchguide.session.route import Route

    then = state.changed(laid=Route((*state.steps[:1], *lay(state))))
    assert fits(then)
    assert lay(then) == then.steps[1:]


@random_cases
def test_what_bars_a_part_by_the_simulator(count: int, seed: int) -> None:
    case = made_case(count, seed)
    state, bench = state_of(case), simulated(case)
    for part in state.job.device.parts:
        bars = {bar.part for bar in in_the_way_off(state, part.id).next if bar.how != "energy"}
        assert bars == {name for name in bench.things[part.id].bars if bench.things[name].inside}
        graph = {name: set(thing.bars) for name, thing in bench.things.items()}
        first = {bar.part for bar in in_the_way_on(state, part.id).next if bar.how != "energy"}
        assert first == {
            name for name, over in graph.items() if part.id in over and state.ledger.is_out(name)
        }
    empty = {place.part: place.empty for place in empty_places(state)}
    full = {part.id: part.pieces for part in state.job.device.parts}
    assert empty == {n: full[n] - t.inside for n, t in bench.things.items() if full[n] - t.inside}
