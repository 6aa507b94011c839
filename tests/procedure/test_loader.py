"""Errors of files: all at once, each at its line and column, with the offending value and a remedy."""

import re
from pathlib import Path

import pytest

from benchguide.procedure.loader import (
    dump_json,
    load_device,
    load_device_json,
    load_device_text,
    load_procedure,
    load_procedure_json,
    load_procedure_text,
)
from benchguide.procedure.problems import MAX_PROBLEMS, BadFile

FOAM = "  - id: foam\n    kind: loose\n    name: Foam strip\n"
SCREWS = "count: 4, drive: cross PH00, thread: M2, length_mm: 6, depth_mm: 6.5"

DEVICE_ERRORS = [
    # rule, edit, marker of the line, column or None, words of the message or remedy
    ("unknown-key", ("name: Foam strip", "nmae: Foam strip"), "nmae:", 5, "Did you mean `name`?"),
    ("missing-key", ("    name: Foam strip\n", ""), "- id: foam", 5, "Add `name:`"),
    (
        "missing-key",
        (", thread: M2, length_mm: 6, depth", ", length_mm: 6, depth"),
        "count: 4",
        None,
        "thread",
    ),
    ("unknown-word", ("kind: loose", "kind: lose"), "kind: lose", 11, "Did you mean `loose`?"),
    ("unknown-word", ("kind: loose", "kind: Loose"), "kind: Loose", 11, "Write `loose`."),
    ("unknown-word", ("kind: loose", "kind: zzz"), "kind: zzz", 11, "connector"),
    ("out-of-range", ("count: 4", "count: -4"), "count: -4", 21, "at least 1"),
    ("out-of-range", ("count: 4", "count: 0"), "count: 0", 21, "at least 1"),
    ("out-of-range", ("length_mm: 6,", "length_mm: 0,"), "length_mm: 0,", None, "more than 0"),
    ("out-of-range", ("off_s: [60, 180]", "off_s: [-60, 180]"), "off_s: [-60", None, "at least 0"),
    ("not-a-number", ("count: 4", "count: four"), "count: four", 21, "whole number"),
    ("not-a-number", ("count: 4", "count: 4.5"), "count: 4.5", 21, "whole number"),
    ("not-a-number", ("limit_c: 60", "limit_c: 60 C"), "limit_c: 60 C", 14, "without a unit"),
    ("not-a-number", ("limit_c: 60", "limit_c: .nan"), "limit_c: .nan", 14, "finite"),
    ("not-a-number", ("limit_c: 60", "limit_c: 1e999"), "limit_c: 1e999", 14, "finite"),
    ("not-a-number", ("limit_c: 60", "limit_c: 'nan'"), "limit_c: 'nan'", 14, "number"),
    ("not-a-number", ("[20, 60]\n    on_s", "[.inf, 60]\n    on_s"), "off_s: [.inf", 13, "finite"),
    ("not-a-text", ("name: Foam strip", "name: 12"), "name: 12", 11, "quotation marks"),
    ("not-a-text", ("name: Foam strip", "name: [a]"), "name: [a]", None, "Write a text"),
    ("too-short", ("name: Foam strip", "name: ''"), "name: ''", 11, "Fill it in"),
    ("too-long", ("name: Foam strip", "name: " + "x" * 81), "name: xxx", 11, "80 characters"),
    ("not-yes-or-no", ("once: true", "once: maybe"), "once: maybe", 11, "`true` or `false`"),
    (
        "not-a-list",
        ("held_by: [knob-screws]", "held_by: knob-screws"),
        "held_by: knob-screws",
        14,
        "brackets",
    ),
    ("not-a-group", ("outline: {width_mm: 80, height_mm: 50}", "outline: 80"), "outline: 80", 10, "group"),
    ("bad-name", ("- id: foam", "- id: Foam Strip"), "id: Foam Strip", 9, "lower case"),
    ("bad-name", ("cell: A3", "cell: 3A"), "cell: 3A", 11, "B7"),
    ("bad-name", ("thread: M1.6", "thread: 1.6mm"), "thread: 1.6mm", None, "`M1.6`"),
    (
        "contradiction",
        ("[77, 3], [3, 47]", "[3, 47]"),
        "places: [[3, 3]",
        5,
        "List one place for each screw",
    ),
    (
        "contradiction",
        ("kind: loose", "kind: loose\n    isolates: [main-cell]"),
        "- id: foam",
        5,
        "only a connector",
    ),
    ("too-long", ("[[2, 2], [78, 2]]", "[[2, 2, 9], [78, 2]]"), "path: [[2, 2, 9]", 12, "2 items"),
    ("too-short", ("[[2, 2], [78, 2]]", "[[2], [78, 2]]"), "path: [[2], [", None, "Give 2 numbers"),
    ("double-part", (FOAM, FOAM + FOAM.replace("strip", "again")), "name: Foam again", None, "Rename one"),
    ("double-tool", ("id: lever", "id: driver"), "name: Blunt", 10, "Rename one"),
    ("double-key", ("name: Foam strip", "name: Foam strip\n    name: Twice"), "name: Twice", 5, "Delete one"),
    ("unknown-part", ("[foam, cell-plug]", "[foams, cell-plug]"), "[foams,", 15, "Did you mean `foam`?"),
    ("unknown-part", ("under: [board]\n    screws", "under: [bord]\n    screws"), "[bord]", 13, "`board`"),
    ("unknown-part", ("isolates: [main-cell]", "isolates: [main-cel]"), "[main-cel]", 16, "`main-cell`"),
    ("unknown-tool", ("tool: driver\n    off_text", "tool: drivr\n    off_text"), "drivr", 11, "`driver`"),
    ("own-holder", ("held_by: [knob-screws]", "held_by: [knob]"), "held_by: [knob]", 15, "itself"),
    ("outside", ("[[20, 10]]", "[[81, 10]]"), "[[81, 10]]", 14, "80 x 50 mm"),
    ("outside", ("[[2, 2], [78, 2]]", "[[2, 2], [78, 51]]"), "[78, 51]", 20, "80 x 50 mm"),
    ("outside", ("box: [10, 20, 30, 20]", "box: [60, 20, 30, 20]"), "box: [60", None, "outline"),
]

PROCEDURE_ERRORS = [
    (
        "unknown-key",
        ("stage: way-in\n    action: wait", "stage: way-in\n    acton: wait"),
        "acton",
        5,
        "`action`",
    ),
    ("unknown-word", ("stage: swap", "stage: swapp"), "swapp", None, "`swap`"),
    ("unknown-word", ("action: work", "action: wrk"), "wrk", None, "`work`"),
    ("double-step", ("id: touch", "id: warm"), "{id: warm", None, "Rename one"),
    ("unknown-device", ("device: dimmer", "device: dimer"), "device: dimer", 9, "`dimmer`"),
    ("unknown-part", ("parts: [lid], text: Lift", "parts: [lids], text: Lift"), "[lids]", None, "`lid`"),
    ("unknown-part", ("target: knob", "target: knop"), "target: knop", 9, "`knob`"),
    ("unknown-part", ("target: knob", "target: knob\nkeep: [lamp-cabel]"), "keep", 8, "`lamp-cable`"),
    ("unknown-tool", ("[driver, lever, warmer]", "[driver, levr, warmer]"), "levr", 17, "`lever`"),
    ("unknown-tool", ("adhesive., tool: lever", "adhesive., tool: leverr"), "leverr", None, "`lever`"),
    (
        "wrong-action",
        ("action: open, parts: [lamp-cable]", "action: lift, parts: [lamp-cable]"),
        "parts: [lamp-cable], text: Open",
        None,
        "Write `open`.",
    ),
    (
        "wrong-action",
        ("action: 'on', parts: [foam]", "action: fit, parts: [foam]"),
        "id: on-foam",
        None,
        "Write `on`.",
    ),
    (
        "double-line",
        ("lines:\n", "lines:\n      - {id: lamp, text: Dim it.}\n"),
        "lights.",
        None,
        "Rename one",
    ),
    (
        "part-twice",
        ("parts: [lid], text: Lift", "parts: [lid, lid], text: Lift"),
        "[lid, lid]",
        None,
        "twice",
    ),
    ("contradiction", ("time_s: [20, 40]}", "time_s: [40, 20]}"), "id: prep", None, "shorter time first"),
    (
        "contradiction",
        ("    wait: {kind: heat, for_s: 120, limit_c: 55}\n", ""),
        "id: warm",
        5,
        "kind and for_s",
    ),
    ("out-of-range", ("for_s: 120", "for_s: 0"), "for_s: 0", None, "at least 1"),
    ("newer-version", ("procedure/1", "procedure/2"), "procedure/2", 13, "Update"),
    ("wrong-kind", ("procedure/1", "device/1"), "device/1", 13, "not a procedure"),
    ("wrong-kind", ("procedure/1", "recipe"), "recipe", 13, "Write `benchguide: procedure/1`"),
]


def _line(text: str, marker: str) -> int:
    if marker.endswith("\n"):
        return text[: text.index(marker)].count("\n") + 1
    rows = [n for n, row in enumerate(text.splitlines(), start=1) if marker in row]
    assert rows
    return rows[-1]


@pytest.mark.parametrize(("rule", "edit", "marker", "column", "words"), DEVICE_ERRORS)
def test_one_error_in_a_part_map(sample, rule, edit, marker, column, words):
    text = sample.edited(sample.device, edit)
    with pytest.raises(BadFile) as caught:
        load_device_text(text, Path("dimmer.device.yaml"))
    mine = [p for p in caught.value.problems if p.rule == rule]
    assert mine, caught.value.problems
    row = _line(text, marker)
    if rule == "double-part":
        row -= 2
    assert mine[0].line == row
    assert column is None or mine[0].column == column
    assert words in str(mine[0])
    assert re.match(rf"dimmer\.device\.yaml:{row}:\d+: \S.*[.?]$", str(mine[0]))


@pytest.mark.parametrize(("rule", "edit", "marker", "column", "words"), PROCEDURE_ERRORS)
def test_one_error_in_a_procedure(sample, rule, edit, marker, column, words):
    text = sample.edited(sample.procedure, edit)
    with pytest.raises(BadFile) as caught:
        load_procedure_text(text, Path("knob.procedure.yaml"), {"dimmer": sample.load_device().model})
    assert [p.rule for p in caught.value.problems] == [rule] or rule == "unknown-key", caught.value.problems
    mine = next(p for p in caught.value.problems if p.rule == rule)
    assert mine.line == _line(text, marker)
    assert column is None or mine.column == column
    assert words in str(mine)


def test_all_errors_at_once_and_in_order(sample):
    text = sample.edited(
        sample.device,
        ("name: Dimmer for", "nmae: Dimmer for"),
        ("count: 4", "count: -4"),
        ("[foam, cell-plug]", "[foams, cell-plug]"),
        ("kind: loose", "kind: loose\n    kind: cover"),
        ("limit_c: 60", "limit_c: .nan"),
        ("held_by: [knob-screws]", "held_by: [knob]"),
    )
    with pytest.raises(BadFile) as caught:
        load_device_text(text)
    rules = [p.rule for p in caught.value.problems]
    assert rules[:4] == ["missing-key", "unknown-key", "out-of-range", "double-key"]
    assert rules[4:] == ["unknown-part", "not-a-number", "own-holder"]
    assert [p.line for p in caught.value.problems] == sorted(p.line for p in caught.value.problems)
    assert str(caught.value).endswith("(and 6 more problems).")
    assert "\n" not in str(caught.value)


def test_a_loop_is_told_by_its_names_and_lines(sample):
    text = sample.edited(sample.device, ("name: Lid\n", "name: Lid\n    under: [main-cell]\n"))
    with pytest.raises(BadFile) as caught:
        load_device_text(text)
    (problem,) = caught.value.problems
    assert problem.rule == "loop"
    assert problem.line == _line(text, "under: [main-cell]")
    lines = {name: _line(text, f"- id: {name}") for name in ("lid", "main-cell", "cell-plug")}
    told = ", ".join(f"{name} (line {line})" for name, line in lines.items())
    assert f"{told}, lid" in problem.message


def test_where_answers_for_values_groups_and_what_is_not_there(sample):
    device = sample.load_device()
    assert device.where("parts", 0, "screws", "count") == (_line(sample.device, "count: 4"), 21)
    assert device.where("parts", 0, "places", 2) == (_line(sample.device, "[3, 47]"), 31)
    assert device.where("parts", 1) == (_line(sample.device, "- id: case-bond"), 5)
    assert device.where("parts") == (_line(sample.device, "parts:"), 1)
    assert device.where("parts", 1, "on_text") == device.where("parts", 1)
    assert device.where("parts", 999) == device.where("parts")
    assert device.where() == (1, 1)


def test_files_on_disk(sample, tmp_path):
    device, job = tmp_path / "dimmer.device.yaml", tmp_path / "knob.procedure.yaml"
    device.write_text(sample.device, "utf-8")
    job.write_text("\ufeff" + sample.procedure.replace("\n", "\r\n"), "utf-8", newline="")
    loaded = load_device(device)
    again = load_procedure(job, {"dimmer": loaded.model})
    assert loaded.path == device
    assert len(again.model.steps) == 28
    assert again.where("target") == (_line(sample.procedure, "target: knob"), 9)


def test_without_devices_names_are_not_looked_up(sample):
    assert load_procedure_text(sample.procedure).model.target == "knob"
    with pytest.raises(BadFile, match="no device of this name"):
        load_procedure_text(sample.procedure, devices={})


def test_unicode_names_are_kept(sample):
    name = "Пружина 弹簧 ملف 🙂"
    device = sample.load_device(("name: Foam strip", f"name: {name}"))
    assert device.model.by_id["foam"].name == name
    assert device.where("parts", 7, "under", 0)[0] == _line(sample.device, "id: foam") + 3


def test_json_round_trip(sample):
    device, job = sample.load_device().model, sample.load_procedure().model
    assert load_device_json(dump_json(device)) == device
    assert load_procedure_json(dump_json(job)) == job
    assert '"once"' in dump_json(device)
    assert '"head"' not in dump_json(device)  # a default


@pytest.mark.parametrize("text", ["", "{", "[]", "\x00", '{"benchguide": "device/1"}', "[" * 100_000])
def test_damaged_json_is_one_sentence(text):
    with pytest.raises(BadFile) as caught:
        load_device_json(text)
    assert "\n" not in str(caught.value)


def test_many_errors_end_with_one_closing_line(sample):
    parts = "".join(
        f"  - {{id: p{n}, kind: loose, name: P, under: [nowhere-{n}], depth: 3}}\n" for n in range(2_000)
    )
    with pytest.raises(BadFile) as caught:
        load_device_text(sample.device + parts)
    assert len(caught.value.problems) <= MAX_PROBLEMS
    assert caught.value.problems[-1].rule == "many-more"


def test_the_parser_without_libyaml_reads_the_same(sample, monkeypatch):
    """ruamel.yaml falls back to pure Python where its compiled parser is not installed."""
    from ruamel.yaml import cyaml

    fast = sample.load_device()
    monkeypatch.setattr(cyaml, "CParser", None)
    slow = sample.load_device()
    assert slow.model == fast.model
    for keys in (("parts", 3, "under", 0), ("parts", 0, "screws"), ("outline",), ("parts",)):
        assert slow.where(*keys) == fast.where(*keys)
