"""Steps for one part: removal, refit, what stands round them, and a way back in the order given."""

from pathlib import Path

import pytest

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import load_device, load_device_text
from benchguide.procedure.part_steps import (
    Refit,
    refit_step,
    refit_steps,
    removal_step,
    removal_steps,
    way_back_steps,
)
from benchguide.procedure.words import ANSWER, REMOVAL_OF, Action, Stage, WaitKind
from tests.procedure.conftest import DEVICE, edited

BUNDLED = sorted((Path(__file__).parents[2] / "procedures").rglob("*.device.yaml"))

GLUED = (
    "    once: true\n    off_s: [60, 180]\n",
    """\
    once: true
    new_name: Adhesive strip
    off_s: [60, 180]
    on_s: [30, 60]
    on_tool: hands
    on_cautions: [{word: NOTICE, text: Promise no tightness. Water can damage it.}]
    heat: {for_s: 120, tool: warmer}
    before_off: [{action: check, text: Look for a second screw.}]
    before_on:
      - {action: work, text: Wipe the rim clean., tool: lever}
      - {action: work, text: Lay the new adhesive.}
    after_on: [{action: wait, text: Let it cure., wait: {kind: cure, for_s: 600}}]
""",
)


@pytest.fixture
def dimmer() -> DeviceMap:
    return load_device_text(DEVICE).model


@pytest.fixture
def glued() -> DeviceMap:
    return load_device_text(edited(DEVICE, GLUED)).model


def test_a_removal_says_what_the_part_map_says(dimmer):
    step = removal_step(dimmer, "case-screws")
    assert (step.id, step.stage, step.action, step.parts) == (
        "in-case-screws",
        Stage.WAY_IN,
        Action.OFF,
        ("case-screws",),
    )
    assert step.text == "Take out the four case screws."
    assert (step.tool, step.time_s, step.key_point) == ("driver", (20, 60), "All four are 6 mm long.")
    assert step.cautions == ()


@pytest.mark.parametrize("path", BUNDLED, ids=lambda path: path.name)
def test_every_bundled_part_has_both_steps(path):
    device = load_device(path).model
    for part in device.parts:
        off, on = removal_step(device, part.id), refit_step(device, part.id)
        assert off.action is REMOVAL_OF[part.kind]
        assert on.action is ANSWER[off.action]
        assert (off.text, on.text) == (part.off_text, part.on_text)
        assert (off.time_s, on.time_s) == (part.off_s, part.on_s)


def test_words_are_found_where_the_part_map_has_none(dimmer):
    assert removal_step(dimmer, "lid").text == "Lift the lid off."
    assert refit_step(dimmer, "lamp-cable").text == "Close the lamp cable."
    assert "a new one" in refit_step(dimmer, "case-bond").text
    assert "time_s" not in removal_step(dimmer, "lid").model_fields_set


def test_some_of_the_pieces(dimmer):
    step = refit_step(dimmer, "case-screws", 3, "B2")
    assert step.text == "Put back 3 of the 4 pieces of the case screws. It lies in cell B2."
    assert step.time_s == (15, 45)
    assert "B2" not in refit_step(dimmer, "case-screws", 4, "A1").text.replace("A1", "")
    assert "cell" not in refit_step(dimmer, "case-screws", 4, "A1").text


@pytest.mark.parametrize("pieces", [0, 5, -1])
def test_pieces_that_cannot_be(dimmer, pieces):
    with pytest.raises(ValueError, match="it has 4"):
        refit_step(dimmer, "case-screws", pieces)


def test_an_unknown_part(dimmer):
    with pytest.raises(KeyError):
        removal_step(dimmer, "gear")


def test_a_taken_name_gets_a_number(dimmer):
    assert removal_step(dimmer, "lid", taken={"in-lid"}).id == "in-lid-2"
    long = load_device_text(
        DEVICE.replace("id: foam", f"id: {'f' * 64}").replace("[foam,", f"[{'f' * 64},")
    ).model
    assert len(removal_step(long, "f" * 64).id) <= 64


def test_heat_comes_with_caution_limit_and_touch(glued):
    steps = removal_steps(glued, "case-bond")
    assert [step.id for step in steps] == [
        "in-case-bond-check",
        "in-case-bond-heat",
        "in-case-bond-touch",
        "in-case-bond",
    ]
    heat = steps[1]
    assert heat.wait is not None
    assert (heat.wait.kind, heat.wait.for_s, heat.wait.limit_c) == (WaitKind.HEAT, 120, 60)
    assert any("cell" in caution.text for caution in heat.cautions)
    assert heat.tool == "warmer"


def test_return_only_work(glued):
    made = refit_steps(glued, "case-bond", Stage.SEAL, lambda wished: f"x-{wished}")
    assert [step.text for step in made.before] == ["Wipe the rim clean.", "Lay the new adhesive."]
    assert made.refit.text == "Put a new one on: the adhesive of the lid."
    assert [step.text for step in made.after] == ["Let it cure."]
    assert (made.refit.id, made.refit.stage) == ("x-back-case-bond", Stage.SEAL)
    on = refit_step(glued, "case-bond")
    assert on.cautions[0].text.startswith("Promise no tightness")
    assert on.tool is None


def test_a_bond_without_words_is_cleaned_all_the_same(dimmer):
    made = refit_steps(dimmer, "case-bond", Stage.SEAL, str)
    assert ["Clean both faces" in step.text for step in made.before] == [True]
    assert refit_steps(dimmer, "lid", Stage.SEAL, str).before == ()


def test_new_adhesive_comes_before_what_it_holds(glued):
    order = [Refit("board"), Refit("lid"), Refit("case-screws", 3), Refit("case-bond")]
    assert [step.id for step in way_back_steps(glued, order)] == [
        "back-board",
        "back-case-bond-work",
        "back-case-bond-work-2",
        "back-lid",
        "back-case-screws",
        "back-case-bond",
        "back-case-bond-wait",
    ]


def test_a_bond_alone_keeps_its_work(glued):
    assert [step.id for step in way_back_steps(glued, [Refit("foam"), Refit("case-bond")])][1].startswith(
        "back-case-bond-work"
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "{action: work, text: Lay the new adhesive.}",
            "{action: fit, text: Fit it.}",
            "cannot take off or refit",
        ),
        ("heat: {for_s: 120,", "heat: {for_s: 120, measured_c: [60, 45],", "lower temperature first"),
        ("heat: {for_s: 120,", "heat: {for_s: 120, hot_c: 60,", "not known here"),
        ("tool: warmer}\n    before_off", "tool: warmre}\n    before_off", "Did you mean `warmer`?"),
        ("clean., tool: lever", "clean., tool: levre", "Did you mean `lever`?"),
        ("once: true\n    new_name", "new_name", "only for parts with `once: true`"),
        ("on_tool: hands", "on_tool: hand", "there is no tool of this name"),
    ],
)
def test_errors_of_the_new_keys_name_line_and_remedy(old, new, told):
    from benchguide.procedure.problems import BadFile

    text = edited(DEVICE, GLUED)
    assert old in text
    with pytest.raises(BadFile) as caught:
        load_device_text(text.replace(old, new, 1))
    line = text[: text.index(old)].count("\n") + 1
    problem = next(p for p in caught.value.problems if told in str(p))
    assert line - 8 <= problem.line <= line + 2
