"""Procedures, plans and the checker judged by the simulator (tests/simulator.py), which shares no code with them."""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from benchguide.procedure.check import check
from benchguide.procedure.loader import load_device_text, load_procedure_text
from benchguide.procedure.planner import plan_way_in
from tests.simulator import Bench, Fault, first_fault, moves_of, play, there_and_back, things_of

BUNDLED = Path(__file__).parents[2] / "procedures"
MAPS = sorted(BUNDLED.rglob("*.device.yaml"))
JOBS = sorted(BUNDLED.rglob("*.procedure.yaml"))
CI = os.environ.get("HYPOTHESIS_PROFILE") == "ci"
SLOW = [HealthCheck.too_slow]

#: the checker's rule for each fault of the simulator
RULE = {
    "held": "held-or-covered",
    "gone": "already-out",
    "twice": "not-out",
    "never-off": "not-out",
    "left-off": "never-refitted",
    "shut": "refit-order",
    "live": "isolation-first",
    "early": "isolation-last",
    "mains": "mains-first",
    "mains-early": "mains-last",
}


def read(path: Path) -> dict[str, Any]:
    return YAML(typ="safe", pure=False).load(path.read_text("utf-8"))


RAW = {raw["id"]: raw for raw in map(read, MAPS)}


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.name)
def test_bundled_procedures_can_be_done_as_written(path):
    raw = read(path)
    assert play(RAW[raw["device"]], moves_of(raw)) == []


@pytest.mark.parametrize("name", sorted(RAW))
def test_every_way_in_and_its_reverse_can_be_done(name):
    device = load_device_text(
        next(p for p in MAPS if p.name == f"{name}.device.yaml").read_text("utf-8")
    ).model
    for part in device.parts:
        names = [removal.part.id for removal in plan_way_in(device, part.id).removals]
        assert play(RAW[name], there_and_back(names)) == [], part.id


@st.composite
def maps(draw: st.DrawFn, most: int = 12) -> dict[str, Any]:
    """Part maps without loops, as plain data, with up to three connectors that isolate a cell or a mains inlet."""
    count = draw(st.integers(1, most))
    parts: list[dict[str, Any]] = []
    for number in range(count):
        earlier = st.lists(st.integers(0, number - 1), max_size=3, unique=True) if number else st.just([])
        kind = draw(
            st.sampled_from(["loose", "cover", "connector", "connector", "module", "bond", "screws", "cell"])
        )
        part = {
            "id": f"p{number}",
            "name": f"Part {number}",
            "kind": kind,
            "held_by": [f"p{n}" for n in draw(earlier)],
            "under": [f"p{n}" for n in draw(earlier)],
        }
        if kind == "screws":
            part["screws"] = {
                "count": draw(st.integers(1, 6)),
                "drive": "cross",
                "thread": "M2",
                "length_mm": 3,
            }
        parts.append(part)
    connectors = [part for part in parts if part["kind"] == "connector"]
    for part in draw(st.lists(st.sampled_from(connectors), max_size=3)) if connectors else ():
        part["isolates"] = [draw(st.sampled_from(parts))["id"]]
    if draw(st.integers(0, 7)) == 0:
        at = draw(st.sampled_from(parts))["id"]
        store = {"quantity": "voltage", "unit": "V", "full": 200, "gone_at": 5, "exposed_by": at}
        draw(st.sampled_from(parts))["stores"] = store
    outline = {"width_mm": 9, "height_mm": 9}
    head = {"benchguide": "device/1", "id": "d", "name": "D", "about": "A", "outline": outline}
    return {**head, "parts": draw(st.permutations(parts))}


@pytest.mark.timeout(900)
@settings(max_examples=5000 if CI else 300, deadline=None, suppress_health_check=SLOW)
@given(maps())
def test_random_ways_in_and_their_reverse_can_be_done(raw):
    device = load_device_text(as_yaml(raw)).model
    for part in device.parts:
        names = [removal.part.id for removal in plan_way_in(device, part.id).removals]
        assert play(raw, there_and_back(names)) == []
        if not device.stores and not any(device.by_id[name].kind == "connector" for name in names):
            # without isolation no removal can be spared: each one bars the next
            bars = {bar for name in names for bar in things_of(raw)[name].bars}
            assert set(names) - bars <= {part.id}


def as_yaml(raw: dict[str, Any]) -> str:
    """JSON is YAML."""
    return json.dumps(raw)


ON = {"screws": "on", "bond": "on", "loose": "on", "connector": "close"}
OFF = {"screws": "off", "bond": "off", "loose": "off", "connector": "open"}


@st.composite
def jobs(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any]]:
    """A random part map and steps that are mostly possible: a random order there and back, with a few slips."""
    raw = draw(maps(8))
    bars = {name: thing.bars for name, thing in things_of(raw).items()}
    order: list[str] = []
    left = draw(st.permutations(sorted(bars)))
    while len(order) < len(left):
        order.append(next(n for n in left if n not in order and all(bar in order for bar in bars[n])))
    order = order[: draw(st.integers(1, len(order)))]
    steps = [(True, name) for name in order] + [(False, name) for name in reversed(order)]
    for _ in range(draw(st.integers(0, 4))):
        slip, place = draw(st.integers(0, 3)), draw(st.integers(0, max(0, len(steps) - 1)))
        if slip == 0 and len(steps) > 1:
            del steps[place]
        elif slip == 1:
            steps.insert(draw(st.integers(0, len(steps) - 1)), steps[place])
        elif slip == 2:
            steps.insert(place, steps.pop(draw(st.integers(0, len(steps) - 1))))
        else:
            steps.insert(place, (draw(st.booleans()), draw(st.sampled_from(sorted(bars)))))
    kinds = {part["id"]: part["kind"] for part in raw["parts"]}
    written = [
        {
            "id": f"s{number}",
            "stage": "way-in",
            "action": (OFF if off else ON).get(kinds[name], "lift" if off else "fit"),
            "parts": [name],
            "text": "Do it.",
            "time_s": [5, 9],
        }
        for number, (off, name) in enumerate(steps)
    ]
    head = {"benchguide": "procedure/1", "id": "j", "title": "J", "device": "d", "about": "A"}
    return raw, {**head, "steps": written}


@pytest.mark.timeout(900)
@settings(max_examples=5000 if CI else 300, deadline=None, suppress_health_check=SLOW)
@given(jobs())
def test_the_checker_and_the_simulator_agree_on_random_jobs(job):
    """Every fault is told, by its rule, at its step, and nothing else is: the same set both ways."""
    raw, written = job
    device = load_device_text(as_yaml(raw))
    told = check(device, load_procedure_text(yaml_by_line(written)))
    by_checker = {(p.rule, p.line - 2) for p in told if p.rule in RULE.values()}
    by_simulator = {(RULE[fault.what], fault.step) for fault in play(raw, moves_of(written))}
    assert by_checker == by_simulator


def yaml_by_line(written: dict[str, Any]) -> str:
    """The head in the first line, then each step in a line of its own."""
    head = json.dumps({key: value for key, value in written.items() if key != "steps"})[:-1]
    return head + ', "steps": [\n' + ",\n".join(json.dumps(step) for step in written["steps"]) + "\n]}\n"


MINI = {
    "parts": [
        {"id": "lid-screws", "kind": "screws", "screws": {"count": 4}},
        {"id": "lid", "kind": "cover", "held_by": ["lid-screws"]},
        {"id": "plug", "kind": "connector", "under": ["lid"], "isolates": ["cell"]},
        {"id": "cable", "kind": "connector", "under": ["lid"]},
        {"id": "cell", "kind": "cell", "held_by": ["plug"]},
        {"id": "inlet", "kind": "module"},
    ]
}
WAY = ["lid-screws", "lid", "plug", "cable"]


def without(names: list[str], name: str) -> list[str]:
    return [other for other in names if other != name]


@pytest.mark.parametrize(
    ("off", "on", "fault"),
    [
        (WAY, WAY[::-1], None),
        (["lid", "lid-screws"], ["lid", "lid-screws"], Fault("held", 0, "lid", ("lid-screws",), 0)),
        (
            ["lid-screws", "lid", "cable"],
            ["cable", "lid", "lid-screws"],
            Fault("live", 2, "cable", ("plug",), 2),
        ),
        (WAY, ["plug", "cable", "lid", "lid-screws"], Fault("early", 4, "plug", ("cable",), 5)),
        (WAY, ["cable", "lid", "plug", "lid-screws"], Fault("shut", 5, "lid", ("plug",), 6)),
        (WAY, ["cable", "plug", "lid"], Fault("left-off", 0, "lid-screws", (), 7)),
        (WAY, ["cable", "cable", "plug", "lid", "lid-screws"], Fault("twice", 5, "cable", (), 5)),
        (WAY, ["cable", "cell", "plug", "lid", "lid-screws"], Fault("never-off", 5, "cell", (), 5)),
        ([*WAY, "lid"], WAY[::-1], Fault("gone", 4, "lid", (), 4)),
        ([*WAY, "lamp"], WAY[::-1], Fault("unknown", 4, "lamp", (), 4)),
    ],
)
def test_the_simulator_on_worked_examples(off, on, fault):
    """Faults found by hand on a lid with four screws over a cell plug and a cable."""
    steps = [("off", [name]) for name in off] + [("on", [name]) for name in on]
    assert first_fault(MINI, steps) == fault


def test_the_simulator_knows_mains_by_what_is_cut_off():
    raw = {
        "parts": [{**part, "isolates": ["inlet"]} if part["id"] == "plug" else part for part in MINI["parts"]]
    }
    raw["parts"] = [{**part, "under": []} if part["id"] == "plug" else part for part in raw["parts"]]
    assert first_fault(raw, there_and_back(["lid-screws"])) == Fault("mains", 0, "lid-screws", ("plug",), 0)
    assert first_fault(raw, there_and_back(["plug", *without(WAY, "plug")])) is None
    early = [("off", ["plug"]), ("off", ["lid-screws"]), ("on", ["plug"]), ("on", ["lid-screws"])]
    assert first_fault(raw, early) == Fault("mains-early", 2, "plug", ("lid-screws",), 3)


def test_the_simulator_counts_single_screws():
    bench = Bench(things_of(MINI))
    bench.take_off(0, "lid-screws", 3)
    bench.take_off(1, "lid")
    assert bench.faults == [Fault("held", 1, "lid", ("lid-screws",), 1)]
    bench.put_back(2, "lid")
    bench.put_back(3, "lid-screws", 2)
    bench.leave(4)
    assert bench.faults[1:] == [Fault("left-off", 0, "lid-screws", (), 4)]
