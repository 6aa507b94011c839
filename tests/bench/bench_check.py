"""How long checking and loading take, and how they grow: `python tests/bench/bench_check.py`.

Bars, in processor time: check of a 150-part device at most 50 ms after imports, of a 5,000-part device at most 2 s,
growth about linear (exponent over parts between 500 and 5,000 at most 1.25). Baselines of the same run:
json.loads of the same device and procedure for the check, json.loads of the same text for the loader. Exit
code 1 when a bar is missed.
"""

import gc
import json
import math
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchguide.procedure.check import check
from benchguide.procedure.loader import Loaded, dump_json, load_device_text, load_procedure_text
from benchguide.procedure.problems import Severity

SIZES = (150, 500, 1_500, 5_000)
BARS_S = {150: 0.050, 5_000: 2.0}
MAX_EXPONENT = 1.25


def device(count: int) -> dict[str, Any]:
    """Covers in a row, each held by screws and lying over a connector, a module and foam; one cell."""
    parts: list[dict[str, Any]] = [
        {"id": "cell", "kind": "cell", "name": "Cell", "limit_c": 60, "box": [0, 0, 20, 20]},
        {"id": "plug", "kind": "connector", "name": "Plug", "isolates": ["cell"], "under": ["cover-0"]},
    ]
    for number in range((count - 2) // 5):
        over = [f"cover-{number - 1}"] if number else []
        place = [number % 100, number % 50]
        screws = {
            "count": 4,
            "drive": "cross PH00",
            "thread": "M2",
            "length_mm": 3 + number % 3,
            "depth_mm": 6,
        }
        parts += [
            {"id": f"screws-{number}", "kind": "screws", "name": "Screws", "screws": screws, "under": over,
             "places": [place] * 4, "cell": f"A{number % 99}", "off_text": "Take out the four screws."},
            {"id": f"cover-{number}", "kind": "cover", "name": "Cover", "held_by": [f"screws-{number}"]},
            {"id": f"cable-{number}", "kind": "connector", "name": "Cable", "under": [f"cover-{number}"]},
            {"id": f"board-{number}", "kind": "module", "name": "Board", "held_by": [f"cable-{number}"]},
            {"id": f"foam-{number}", "kind": "loose", "name": "Foam", "under": [f"board-{number}"]},
        ]  # fmt: skip
    outline = {"width_mm": 120, "height_mm": 60}
    head = {"benchguide": "device/1", "id": "big", "name": "Big", "about": "Generated.", "outline": outline}
    return {**head, "parts": parts}


def procedure(made: dict[str, Any]) -> dict[str, Any]:
    """Takes every part off and puts every part back."""
    words = {"screws": ("off", "on"), "loose": ("off", "on"), "connector": ("open", "close")}
    removed = [part for part in made["parts"] if part["kind"] != "cell"]
    plug = removed.pop(0)
    removed.insert(2, plug)
    ways = ((0, "way-in", removed), (1, "way-back", [p for p in reversed(removed) if p is not plug] + [plug]))
    # the plug lies under the first cover: that one and its screws go back after it
    ways[1][2].sort(key=lambda part: part["id"] in ("cover-0", "screws-0"))
    ways[1][2][-2:] = sorted(ways[1][2][-2:], key=lambda part: part["kind"])
    steps = [
        {"id": f"{part['id']}-{way}", "stage": stage, "parts": [part["id"]], "time_s": [5, 20],
         "action": words.get(part["kind"], ("lift", "fit"))[way], "text": "Do it with care."}
        for way, stage, parts in ways
        for part in parts
    ]  # fmt: skip
    head = {"benchguide": "procedure/1", "id": "all", "title": "All", "device": "big", "about": "Generated."}
    return {**head, "steps": steps}


def seconds(work: Callable[[], object], times: int) -> tuple[float, float]:
    """Medians of several runs: by the clock, and of the processor (which other programs disturb less)."""
    by_clock, by_processor = [], []
    for _ in range(times):
        gc.collect()  # what loading has left behind is not booked on the work
        begun = time.perf_counter(), time.process_time()
        work()
        by_clock.append(time.perf_counter() - begun[0])
        by_processor.append(time.process_time() - begun[1])
    return statistics.median(by_clock), statistics.median(by_processor)


def fresh(loaded: Loaded[Any]) -> Loaded[Any]:
    """The same without anything the model has kept from an earlier run."""
    model = type(loaded.model).model_validate_json(dump_json(loaded.model))
    return Loaded(model, loaded.path, loaded.spots)


def measure(count: int) -> tuple[float, float, float, float, float]:
    """Seconds: check by clock and by processor, json.loads of the models, load of files, their json.loads."""
    made = device(count)
    texts = json.dumps(made, indent=1), json.dumps(procedure(made), indent=1)  # JSON is YAML
    times = 9 if count <= 500 else 5
    map_file = load_device_text(texts[0])
    job = load_procedure_text(texts[1], devices={"big": map_file.model})
    found = [p for p in check(map_file, job) if p.severity is not Severity.ADVICE]
    assert {p.rule for p in found} <= {"too-long-elsewhere"}, found[:3]
    copies = iter([(fresh(map_file), fresh(job)) for _ in range(times)])
    models = dump_json(map_file.model), dump_json(job.model)
    return (
        *seconds(lambda: check(*next(copies)), times),
        seconds(lambda: [json.loads(text) for text in models], times)[0],
        seconds(lambda: (load_device_text(texts[0]), load_procedure_text(texts[1])), 3)[0],
        seconds(lambda: [json.loads(text) for text in texts], times)[0],
    )


def main() -> int:
    """Print the table; 1 when a bar is missed."""
    print(" parts      check  processor       bar  json.loads  ratio   load YAML  /json")
    missed, taken = False, {}
    for count in SIZES:
        checked, taken[count], parsed, loaded, base = measure(count)
        bar = BARS_S.get(count)
        missed |= bar is not None and taken[count] > bar
        told = f"{bar * 1000:.0f} ms" if bar else "-"
        print(
            f"{count:>6} {checked * 1000:>7.1f} ms {taken[count] * 1000:>7.1f} ms {told:>9} {parsed * 1000:>8.2f} ms"
            f" {checked / parsed:>6.1f} {loaded * 1000:>8.0f} ms {loaded / base:>6.0f}"
        )
    exponent = math.log(taken[5_000] / taken[500]) / math.log(10)
    print(f"exponent of check from 500 to 5,000 parts: {exponent:.2f} (bar {MAX_EXPONENT})")
    missed |= exponent > MAX_EXPONENT
    print("a bar is missed" if missed else "all bars kept")
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main())
