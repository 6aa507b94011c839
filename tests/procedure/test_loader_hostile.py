"""Hostile and broken files end in one BadFile, in bounded time and memory, and execute nothing."""

import os
import random
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchguide.procedure.loader import load_device, load_device_text, load_procedure, load_procedure_text
from benchguide.procedure.loader_yaml import MAX_BYTES
from benchguide.procedure.problems import MAX_PROBLEMS, BadFile
from tests.procedure.conftest import DEVICE, PROCEDURE

BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{b}: &{b} [{', '.join(['*' + a] * 9)}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)
HEAD = "benchguide: device/1\n"

HOSTILE = [
    ("empty", b"", 1, "holds nothing"),
    ("empty", b"# only a remark\n", 1, "holds nothing"),
    ("empty", b"---\n...\n", 1, "holds nothing"),
    ("not-a-group", b"- a\n- b\n", 1, "keys at the left margin"),
    ("not-a-group", b"just words", 1, "keys at the left margin"),
    ("not-utf-8", b"id: a\nname: caf\xe9\n", 2, "byte 15"),
    ("not-utf-8", "id: a".encode("utf-16"), 1, "UTF-16"),
    ("control-character", b"id: a\nname: a\0b\n", 2, "zero byte"),
    ("control-character", b"id: a\nname: \x1b[2J\n", 2, "U+001B"),
    ("yaml", b"id: a\nparts:\n\t- id: b\n", 3, "spaces"),
    ("yaml", b"id: [a, b\nname: c\n", 2, "bracket"),
    ("yaml", b"id: 'a\n", None, "quotation mark"),
    ("yaml", b"id: a: b\n", 1, "quotation marks"),
    ("yaml", b"%YAML 1.\n---\na", 1, "YAML"),
    ("yaml", b"id: @a\n", 1, "quotation marks"),
    ("too-deep", b"id: " + b"[" * 5_000 + b"]" * 5_000, 1, "32 deep"),
    ("too-deep", b"".join(b" " * n + b"a:\n" for n in range(2_000)), 33, "32 deep"),
    ("too-deep", b"- " * 100_000, 1, "32 deep"),
    ("anchor", BOMB.encode(), 1, "anchors"),
    ("alias", (HEAD + "id: *x\n").encode(), 2, "aliases"),
    ("alias", b"a: &a\n  b: *a\n", 2, "aliases"),
    ("tag", b"id: !!python/object/apply:os.system ['touch /tmp/no']\n", 1, "nothing is ever executed"),
    ("tag", b"id: a\nparts: !!set {a}\n", 2, "tags"),
    ("second-document", b"id: a\n---\nid: b\n", 2, "second document"),
    ("odd-key", b"? [a, b]\n: c\n", 1, "single word"),
    ("too-big", b"#" * (MAX_BYTES + 1), 1, "larger than 4 MB"),
    ("too-big", b"a: [" + b"b," * 400_000 + b"]", 1, "300,000 values"),
]


@pytest.mark.parametrize("load", [load_device_text, load_procedure_text])
@pytest.mark.parametrize(
    ("rule", "data", "line", "words"), HOSTILE, ids=[f"{n}-{case[0]}" for n, case in enumerate(HOSTILE)]
)
def test_hostile_text(load, rule, data, line, words):
    begun = time.perf_counter()
    with pytest.raises(BadFile) as caught:
        load(data, Path("bad.yaml"))
    problem = next(p for p in caught.value.problems if p.rule == rule)
    assert line is None or problem.line == line
    assert words in str(problem)
    assert all("\n" not in str(p) and len(str(p)) < 600 for p in caught.value.problems)
    assert time.perf_counter() - begun < 20


def test_all_tags_and_anchors_are_told_together():
    with pytest.raises(BadFile) as caught:
        load_device_text("a: !x 1\nb: &y 2\nc: *y\n")
    assert [p.rule for p in caught.value.problems] == ["tag", "anchor", "alias"]


def test_a_file_over_the_limit_is_not_read(tmp_path):
    path = tmp_path / "big.device.yaml"
    with path.open("wb") as file:
        file.truncate(3_000_000_000)
    tracemalloc.start()
    try:
        with pytest.raises(BadFile, match="larger than 4 MB"):
            load_device(path)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_files_that_cannot_be_opened(tmp_path):
    for path in (tmp_path, tmp_path / "none.yaml", Path("/dev/zero")):
        with pytest.raises(BadFile) as caught:
            load_procedure(path, None)
        assert caught.value.problems[0].rule == "unreadable"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_does_not_block(tmp_path):
    os.mkfifo(tmp_path / "pipe.device.yaml")
    with pytest.raises(BadFile, match="ordinary file"):
        load_device(tmp_path / "pipe.device.yaml")


_WORST = """
import resource
from benchguide.procedure.loader import BadFile, load_device_text
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    load_device_text(b"benchguide: device/1\\nparts: [" + b"{a: 1}," * 99_000 + b"]")
except BadFile as bad:
    print(len(bad.problems), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="ru_maxrss is in kilobytes on Linux only")
def test_memory_of_the_worst_accepted_size_is_bounded():
    """300,000 values, the most that is read, each of them wrong, stay under 400 MB."""
    ran = subprocess.run([sys.executable, "-c", _WORST], capture_output=True, text=True, check=True)
    problems, kilobytes = map(int, ran.stdout.split())
    assert problems == MAX_PROBLEMS
    assert kilobytes < 400_000


def test_a_map_of_5000_parts_loads():
    rows = "".join(
        f"  - {{id: p{n}, kind: loose, name: P{n}, held_by: [p{n // 2}, p{n - 1}], places: [[1, 2]]}}\n"
        for n in range(1, 5_000)
    )
    head = DEVICE.split("parts:")[0]
    begun = time.perf_counter()
    loaded = load_device_text(
        f"{head}parts:\n  - {{id: p0, kind: loose, name: P0}}\n{rows}".replace("[p0, p0]", "[p0]")
    )
    assert len(loaded.model.parts) == 5_000
    assert time.perf_counter() - begun < 30


def test_a_loop_through_5000_parts_is_one_problem():
    rows = "".join(
        f"  - {{id: p{n}, kind: loose, name: P, under: [p{(n + 1) % 5_000}]}}\n" for n in range(5_000)
    )
    with pytest.raises(BadFile) as caught:
        load_device_text(DEVICE.split("parts:")[0] + "parts:\n" + rows)
    (problem,) = caught.value.problems
    assert problem.rule == "loop"
    assert len(str(problem)) < 1_000


def _only_bad_file(load, data):
    """Anything but BadFile is a failure; a BadFile must be fit to be shown."""
    told: BadFile | None = None
    try:
        load(data)
    except BadFile as bad:
        told = bad
    if told is None:
        return
    assert told.problems
    assert "\n" not in str(told)
    for problem in told.problems:
        assert problem.line >= 1
        assert problem.column >= 1
        assert problem.remedy.endswith((".", "?"))


@settings(max_examples=400, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes(data):
    _only_bad_file(load_device_text, data)
    _only_bad_file(load_procedure_text, data)


_YAML_CHARS = st.text(alphabet="abc:-[]{},&*!|>'\"%@`#?~ \n\t0123.eE+é\u2028\x85", max_size=120)


@settings(max_examples=600, deadline=None)
@given(_YAML_CHARS)
def test_any_text_of_yaml_signs(text):
    _only_bad_file(load_device_text, HEAD + text)
    _only_bad_file(load_procedure_text, text)


_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_any_value_at_any_known_key(data):
    """Well-formed YAML (JSON is YAML) with wrong values at the keys that the loader looks at itself."""
    import json

    part = st.fixed_dictionaries(
        {},
        optional=dict.fromkeys(
            ("id", "kind", "held_by", "under", "isolates", "tool", "places", "box"), _VALUES
        ),
    )
    step = st.fixed_dictionaries(
        {}, optional=dict.fromkeys(("id", "action", "parts", "tool", "lines"), _VALUES)
    )
    tree = {
        "benchguide": "device/1",
        "outline": data.draw(_VALUES),
        "tools": data.draw(_VALUES),
        "parts": data.draw(st.lists(part, max_size=3) | _VALUES),
    }
    _only_bad_file(load_device_text, json.dumps(tree))
    job = {
        "benchguide": "procedure/1",
        "device": data.draw(st.just("dimmer") | _VALUES),
        "keep": data.draw(_VALUES),
        "steps": data.draw(st.lists(step, max_size=3) | _VALUES),
    }
    devices = {"dimmer": load_device_text(DEVICE).model} if data.draw(st.booleans()) else None
    _only_bad_file(lambda text: load_procedure_text(text, devices=devices), json.dumps(job))


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32))
def test_sound_files_with_random_damage(seed):
    dice = random.Random(seed)
    for load, text in ((load_device_text, DEVICE), (load_procedure_text, PROCEDURE)):
        damaged = bytearray(text.encode())
        for _ in range(dice.randint(1, 6)):
            at = dice.randrange(len(damaged))
            kind = dice.randrange(4)
            if kind == 0:
                damaged[at] = dice.randrange(256)
            elif kind == 1:
                del damaged[at : at + dice.randint(1, 30)]
            elif kind == 2:
                damaged[at:at] = dice.choice(
                    [b"\t", b"\n", b"[", b"{", b"- ", b": ", b"*a", b"&a ", b"!!int ", b"\0", b"'"]
                )
            else:
                piece = damaged[at : at + dice.randint(1, 60)]
                damaged[dice.randrange(len(damaged)) : 0] = piece
        _only_bad_file(load, bytes(damaged))
