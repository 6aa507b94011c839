"""Writing a generated procedure out: the file gives the same steps, says where they came from, and loses nothing."""

import random
import string
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from benchguide.procedure.check import check
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.generate import generate
from benchguide.procedure.loader import Loaded, load_procedure_text
from benchguide.procedure.loader_yaml import Spot, is_text, read_tree
from benchguide.procedure.planner import CannotReach
from benchguide.procedure.problems import BadFile
from benchguide.procedure.procedure import Procedure
from benchguide.procedure.shelf import Shelf
from benchguide.procedure.write_out import write_out, write_out_text
from tests.procedure.test_generate import FULL, GENERATED, JOB, job, random_job, random_map


def again(text: str, device: DeviceMap) -> Procedure:
    return load_procedure_text(text, Path("again.procedure.yaml"), {device.id: device}).model


@pytest.mark.parametrize("path", GENERATED, ids=lambda path: path.name)
def test_bundled_jobs_come_back_the_same(path):
    entry = Shelf([path.parent]).procedure_at(path)
    text = write_out_text(entry.device, entry.loaded)
    assert again(text, entry.device.model) == entry.loaded.model
    written = load_procedure_text(text, path, {entry.device.model.id: entry.device.model})
    assert written.generated is None
    rules = [[p.rule for p in check(entry.device, loaded)] for loaded in (entry.loaded, written)]
    assert rules[0] == rules[1]


def test_comments_lead_to_the_lines_the_texts_came_from():
    device, loaded = job()
    lines = write_out_text(device, loaded).splitlines()
    screws = lines.index("  - id: in-case-screws")
    told = lines[screws - 1]
    line = FULL.splitlines().index("  - id: case-screws") + 1
    assert told == f"  # from part map, line {line} (case-screws)"
    look = lines.index("  - id: look")
    assert lines[look - 1] == "  # from knob.procedure.yaml, line 9"
    cable = lines.index("  - id: in-lamp-cable")
    assert "text" in lines[cable - 1]
    assert "knob.procedure.yaml, line 12" in lines[cable - 1]
    assert any("---- way-back" in line for line in lines)
    count = lines.index("  - id: out-count")
    assert "Benchguide itself" in lines[count - 1]


def test_it_is_readable():
    text = write_out_text(*job())
    assert max(len(line) for line in text.splitlines()) <= 130
    assert "parts: [case-screws]" in text
    assert "wait: {kind: heat, for_s: 120, limit_c: 55}" in text
    assert "\n\n\n" not in text
    assert text.endswith("\n")
    assert not [line for line in text.splitlines() if line.endswith(" ")]


def test_what_is_written_out_is_not_written_out_again():
    device, loaded = job()
    text = write_out_text(device, loaded)
    written = load_procedure_text(text, Path("w.procedure.yaml"), {"dimmer": device.model})
    with pytest.raises(ValueError, match="written out already"):
        write_out_text(device, written)


def test_an_existing_file_is_left_as_it_is(tmp_path):
    (tmp_path / "dimmer.device.yaml").write_text(FULL, "utf-8")
    path = tmp_path / "knob.procedure.yaml"
    path.write_text(JOB, "utf-8")
    out = tmp_path / "long.procedure.yaml"
    text = write_out(path, out)
    assert out.read_text("utf-8") == text
    out.write_text("mine", "utf-8")
    with pytest.raises(ValueError, match="left as it is"):
        write_out(path, out)
    assert out.read_text("utf-8") == "mine"
    with pytest.raises(ValueError, match="left as it is"):
        write_out(path, path)


NASTY = st.text(
    st.characters(blacklist_categories=("Cs",), blacklist_characters="\0")
    | st.sampled_from(" :#-'\"{}[]\n\t&*!|>%@`,?"),
    min_size=1,
    max_size=60,
).filter(lambda text: bool(text.strip()))
WORDS = st.sampled_from(
    ["yes", "no", "null", "~", "1e5", "0x1F", "0o7", "12:30", "-", "? a", "- b", "a: b", "#", ".5"]
)
TEXTS = NASTY | WORDS | st.text(string.printable, min_size=1).filter(lambda t: bool(t.strip()))


def loaded_of(device: DeviceMap, written: Procedure) -> tuple[Loaded[DeviceMap], Loaded[Procedure]]:
    made = generate(device, written)
    return (
        Loaded(device, Path("r.device.yaml"), Spot(1, 1)),
        Loaded(made.procedure, Path("r.procedure.yaml"), Spot(1, 1), made),
    )


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32), st.lists(TEXTS, min_size=6, max_size=6))
def test_random_jobs_with_any_text_come_back_the_same(seed, texts):
    dice = random.Random(seed)
    tree = random_map(dice, dice.randint(1, 12))
    for part in tree["parts"]:
        part["name"] = dice.choice(texts)[:80].strip() or "x"
        part["off_text"] = dice.choice(texts)
        if dice.random() < 0.5:
            part |= {"key_point": dice.choice(texts), "on_reason": dice.choice(texts)}
            part["on_cautions"] = [{"word": "NOTICE", "text": dice.choice(texts)}]
    device = DeviceMap.model_validate(tree)
    _, written = random_job(seed)
    written = written.model_copy(
        update={"target": device.parts[-1].id, "keep": (), "also": (), "title": "X" + texts[0][:70]}
    )
    line = {"id": "l", "text": texts[0], "answers": "agrees"}
    more = {
        "about": texts[1],
        "cautions": [{"word": "CAUTION", "text": texts[2]}],
        "supplies": [{"name": texts[3][:80].strip() or "x", "note": texts[4]}],
        "swap": [{"id": "s", "action": "check", "text": texts[5], "lines": [line]}],
    }
    written = Procedure.model_validate({**written.model_dump(exclude_defaults=True), **more})
    try:
        pair = loaded_of(device, written)
    except CannotReach:
        return
    text = write_out_text(*pair)
    assert again(text, device) == pair[1].model
    # and another reader of YAML 1.2 sees the same texts
    other = YAML(typ="safe").load(text)
    assert [step["text"] for step in other["steps"]] == [step.text for step in pair[1].model.steps]


@settings(max_examples=300)
@given(
    st.text("0123456789.-+eExo_~nulTRfAs", min_size=1, max_size=8)
    | st.sampled_from(["yes", "null", "~", "1e5"])
)
def test_words_that_are_no_texts_are_known(word):
    try:
        tree, _, problems = read_tree(f"a: {word}", "x")
    except BadFile:
        return
    assert is_text(word) == (isinstance(tree["a"], str) and not problems)
