"""Sessions stored by earlier versions of the program read as they did then.

`stored/before_way_back.json` was written before the way back was computed: the documents of all facts of one
job, and what they added up to then. It is never written again.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from benchguide.session.apply import fold
from benchguide.session.codec import fact_from_doc, fact_to_doc
from benchguide.session.state import State
from tests.session.small_job import make_job

STORED = json.loads((Path(__file__).parent / "stored" / "before_way_back.json").read_text("utf-8"))


@pytest.fixture
def state() -> State:
    return fold(make_job(), [fact_from_doc(doc) for doc in STORED["facts"]])


def test_every_fact_is_written_as_it_was() -> None:
    """But for photos, which have said since then what was found wrong with them."""
    now = [fact_to_doc(fact_from_doc(doc)) for doc in STORED["facts"]]
    for doc in now:
        if doc["kind"] == "PhotoTaken":
            assert (doc["v"], doc["data"].pop("faults")) == (2, [])
            doc["v"] = 1
    assert now == STORED["facts"]


def test_it_adds_up_to_the_same(state: State) -> None:
    now: dict[str, Any] = {
        "status": state.status,
        "person": state.person,
        "out": list(state.ledger.out),
        "marks": {name: [mark.mark, mark.entered] for name, mark in sorted(state.marks.items())},
        "visits": [
            [v.step, v.number, v.touch_us, v.away_us, v.hold_us, v.waiting_us] for v in state.all_visits
        ],
        "gone": state.gone,
        "steps": [step.id for step in state.steps],
        "waivers": [waiver.gate for waiver in state.waivers],
        "here": state.here,
        "facts": state.facts,
    }
    assert now == STORED["then"]
    assert state.laid is None
