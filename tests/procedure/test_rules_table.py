"""The printed table of rules is complete, and every rule of reading is tried by some test."""

import re
from pathlib import Path

from benchguide.procedure import loader
from benchguide.procedure.check import RULES
from benchguide.procedure.rules_reading import READING_RULES
from tests.procedure.test_loader import DEVICE_ERRORS, PROCEDURE_ERRORS
from tests.procedure.test_loader_hostile import HOSTILE

# tried by tests of their own; bad-value is the last resort for errors pydantic may add one day
ELSEWHERE = {"cannot-reach", "not-on-the-way", "unknown-wait"} | {
    "unreadable",
    "json",
    "many-more",
    "loop",
    "double-device",
    "broken-device",
    "bad-value",
}


def test_every_rule_of_reading_is_tried_and_told():
    tried = {case[0] for case in (*DEVICE_ERRORS, *PROCEDURE_ERRORS, *HOSTILE)}
    assert {rule.id for rule in READING_RULES} == tried | ELSEWHERE


def test_every_rule_the_loader_names_is_in_the_table():
    sources = [path.read_text("utf-8") for path in (Path(loader.__file__).parent).glob("loader*.py")]
    named = {name for text in sources for name in re.findall(r'Severity\.ERROR,\s*"([a-z-]+)"', text)}
    assert len(named) > 5
    assert named <= {rule.id for rule in READING_RULES}


def test_no_identifier_twice():
    ids = [rule.id for rule in (*READING_RULES, *RULES)]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[a-z][a-z0-9-]*", name) for name in ids)
