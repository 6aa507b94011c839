"""Every rule of the checker on a job broken in one place: the right rule, at the right line, alone."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from benchguide.procedure.check import RULES, check, check_device
from benchguide.procedure.loader import load_device_text, load_procedure_text
from benchguide.procedure.problems import Severity
from benchguide.procedure.rules_words import lengths_of_screws, numbers_of_screws

DROP = ""


@dataclass(frozen=True)
class Case:
    """A job broken by edits, the rule that must tell, and a text in the line it must tell."""

    rule: str
    marker: str
    job: tuple[tuple[str, str], ...] = ()
    map: tuple[tuple[str, str], ...] = ()
    in_map: bool = False
    also: tuple[str, ...] = ()
    """Other rules of weight that the same edit breaks."""


def step(text: str, name: str) -> str:
    """The whole line (or lines) of a step of the sample job."""
    found = re.search(rf"  - (?:\{{id: {name},.*\n|id: {name}\n(?:    .*\n)+)", text)
    assert found, name
    return found[0]


def _case_list(job: str) -> list[Case]:
    def line(name: str) -> str:
        return step(job, name)

    def after(name: str, other: str) -> tuple[tuple[str, str], ...]:
        """Move step `name` to just after step `other`."""
        return ((line(name), DROP), (line(other), line(other) + line(name)))

    long_text = "Lift " + "very " * 19 + "slowly."
    warm_bond = "parts: [case-bond]\n    tool: warmer"
    mains = (("isolates: [main-cell]", "isolates: [board]"),)
    return [
        Case("held-or-covered", "id: lift-board", after("off-board-screws", "lift-board")),
        Case("held-or-covered", "id: open-cell-plug", after("lift-lid", "open-cell-plug")),
        Case(
            "held-or-covered",
            "id: lift-lid",
            ((line("off-case-bond"), DROP), (line("seal"), DROP)),
            also=("seal-unmarked",),
        ),
        Case(
            "already-out",
            "id: off-again",
            ((line("off-foam"), line("off-foam") + line("off-foam").replace("off-foam", "off-again")),),
        ),
        Case(
            "not-out",
            "id: on-again",
            ((line("on-foam"), line("on-foam") + line("on-foam").replace("on-foam", "on-again")),),
        ),
        Case("not-out", "id: on-foam", ((line("off-foam"), DROP),), also=("held-or-covered",)),
        Case("never-refitted", "id: off-foam", ((line("on-foam"), DROP),)),
        Case("refit-order", "id: fit-board", after("on-foam", "fit-board")),
        Case("refit-order", "id: on-knob-screws", after("fit-knob", "on-knob-screws")),
        Case("isolation-first", "id: open-lamp", after("open-cell-plug", "open-lamp")),
        Case("isolation-last", "id: close-cell-plug", after("close-lamp", "close-cell-plug")),
        Case("isolation-last", "id: close-cell-plug", after("on-board-screws", "close-cell-plug")),
        Case(
            "mains-first",
            "id: off-board-screws",
            after("off-board-screws", "lift-lid"),
            mains,
            also=("discharge-measured",),
        ),
        Case(
            "mains-last",
            "id: close-cell-plug",
            after("on-board-screws", "close-cell-plug"),
            mains,
            also=("discharge-measured",),
        ),
        Case("discharge-measured", "id: open-lamp", map=mains),
        Case(
            "discharge-measured",
            "id: open-lamp",
            (
                (
                    line("open-cell-plug"),
                    line("open-cell-plug")
                    + "  - {id: bleed, stage: way-in, action: wait, text: Wait., wait: {kind: discharge, for_s: 9}}\n",
                ),
            ),
        ),
        Case(
            "no-part",
            "id: off-foam",
            (("parts: [foam], text: Take", "text: Take"), (line("on-foam"), DROP)),
            also=("held-or-covered",),
        ),
        Case(
            "mixed-kinds",
            "id: off-board-screws",
            (
                ("action: off, parts: [foam], text", "action: work, text"),
                (line("on-foam"), DROP),
                ("action: off, parts: [board-screws]", "action: off, parts: [board-screws, foam]"),
            ),
            also=("held-or-covered", "never-refitted"),
        ),
        Case("keep-moved", "id: lift-board", (("target: knob", "target: knob\nkeep: [board]"),)),
        Case("target-not-moved", "target: knob", ((line("lift-knob"), DROP), (line("fit-knob"), DROP))),
        Case(
            "heat-caution",
            "id: warm",
            (
                (
                    (
                        "    cautions:\n      - {word: WARNING, text: Keep the pad below 60 degrees."
                        " A hot cell can burn.}\n"
                    ),
                    DROP,
                ),
            ),
        ),
        Case("heat-caution", "id: warm", (("{word: WARNING, text: Keep", "{word: NOTICE, text: Keep"),)),
        Case(
            "heat-caution",
            "id: warm",
            (
                (
                    (
                        "    cautions:\n      - {word: WARNING, text: Keep the pad below 60 degrees."
                        " A hot cell can burn.}\n"
                    ),
                    DROP,
                ),
                (warm_bond, "tool: warmer"),
            ),
        ),
        Case(
            "heat-caution-vague",
            "id: warm",
            (("Keep the pad below 60 degrees. A hot cell can burn.", "Mind the sharp rim. It can cut."),),
        ),
        Case("heat-limit", "limit_c: 70", (("limit_c: 55", "limit_c: 70"),)),
        Case("heat-limit", "limit_c: 55", map=(("limit_c: 60", "limit_c: 50"),)),
        Case("heat-unstated", "kind: heat", ((", limit_c: 55", DROP),)),
        Case("heat-check", "id: warm", ((line("touch"), DROP),)),
        Case("heat-check", "id: warm", after("touch", "off-case-bond")),
        Case(
            "cell-caution",
            "parts: [main-cell]\n",
            (
                (
                    "    cautions:\n      - {word: WARNING, text: Do not bend it. A bent cell can burn.}\n",
                    DROP,
                ),
            ),
        ),
        Case("seal-before-test", "seals: true", after("try", "seal")),
        Case("seal-before-test", "seals: true", (("    before_seal: true\n", DROP),)),
        Case("seal-unmarked", "id: seal\n", (("    seals: true\n", DROP),)),
        Case(
            "seal-unmarked",
            "before_seal: true",
            (
                ("    seals: true\n", DROP),
                ("id: seal\n    stage: seal", "id: seal\n    stage: way-back"),
            ),
        ),
        Case(
            "test-empty",
            "id: try\n",
            (("    lines:\n      - {id: lamp, text: The lamp lights., serves: lamp}\n", DROP),),
        ),
        Case(
            "photo-suppressed",
            "as_found: false",
            (("parts: [lid], text: Lift the lid.,", "parts: [lid], as_found: false, text: Lift the lid.,"),),
        ),
        Case(
            "photo-suppressed",
            "as_left: false",
            (
                (
                    "parts: [cell-plug], text: Close it.,",
                    "parts: [cell-plug], as_left: false, text: Close it.,",
                ),
            ),
        ),
        Case("long-sentence", "id: lift-lid", (("Lift the lid.", long_text),)),
        Case(
            "long-sentence",
            "off_text: Lift",
            in_map=True,
            map=(("off_text: Take out the four case screws.", f"off_text: {long_text}"),),
        ),
        Case(
            "caution-in-text",
            "id: lift-lid",
            (("text: Lift the lid.", "text: 'Lift the lid. CAUTION, sharp edge.'"),),
        ),
        Case(
            "caution-in-text",
            "key_point: ",
            in_map=True,
            map=(
                ("key_point: All four", "key_point: 'Warning: sharp. All four"),
                ("6 mm long.", "6 mm long.'"),
            ),
        ),
        Case(
            "caution-late",
            "- {word: CAUTION, text: Mind the lamp",
            (
                (
                    "    text: Lift the cell out.\n    cautions:\n",
                    (
                        "    text: Lift the cell out.\n    cautions:\n"
                        "      - {word: CAUTION, text: Mind the lamp cable. It can whip your eye.}\n"
                    ),
                ),
            ),
        ),
        Case(
            "caution-late",
            "- {word: CAUTION, text: Hold the warming pad",
            (
                (
                    (
                        "    cautions:\n      - {word: WARNING, text: Keep the pad below 60 degrees."
                        " A hot cell can burn.}\n"
                    ),
                    DROP,
                ),
                (
                    "    text: Lift the cell out.\n    cautions:\n",
                    (
                        "    text: Lift the cell out.\n    cautions:\n"
                        "      - {word: CAUTION, text: Hold the warming pad by its rim. It can burn you.}\n"
                    ),
                ),
            ),
            also=("heat-caution",),
        ),
        Case("and-then", "id: lift-lid", (("text: Lift the lid.", "text: Turn and then lift the lid."),)),
        Case(
            "second-action",
            "id: off-board-screws",
            (
                (
                    "parts: [board-screws], text: Undo.",
                    "parts: [board-screws], text: Undo. Lift the board.",
                ),
            ),
        ),
        Case(
            "length-in-text",
            "id: off-case-screws",
            (("text: Take out the four screws.", "text: 'Take them out.', key_point: 'Four screws, 5 mm.'"),),
        ),
        Case(
            "length-in-text",
            "key_point: ",
            in_map=True,
            map=(("key_point: All four are 6 mm long.", "key_point: Four pan heads, 6.5 mm, not 6.5 mm."),),
            also=("too-long-elsewhere",),
        ),
        Case("count-in-text", "id: off-case-screws", (("out the four screws", "out the five screws"),)),
        Case("count-in-text", "id: on-case-screws", (("Drive the four screws", "Drive the 3 screws"),)),
        Case(
            "count-in-text",
            "off_text: ",
            in_map=True,
            map=(("Take out the four case screws", "Take out the 3 case screws"),),
        ),
        Case("time-order", "off_s: [60, 20]", in_map=True, map=(("off_s: [20, 60]", "off_s: [60, 20]"),)),
        Case(
            "time-contradiction",
            "id: off-case-bond",
            (("time_s: [60, 180]", "time_s: [5, 9]"),),
        ),
        Case(
            "time-missing", "id: lift-lid", (("text: Lift the lid., time_s: [5, 9]", "text: Lift the lid."),)
        ),
        Case(
            "time-missing",
            "id: lift-lid",
            (("text: Lift the lid., time_s: [5, 9]", "text: Lift the lid., time_s: [0, 0]"),),
        ),
        Case("time-missing", "id: off-case-bond", ((", time_s: [60, 180]", DROP),)),
        Case("tool-not-listed", "id: off-case-bond", (("[driver, lever, warmer]", "[driver, warmer]"),)),
        Case("tool-not-listed", "id: off-case-screws", (("[driver, lever, warmer]", "[lever, warmer]"),)),
        Case("tool-not-used", "tools: [", (("adhesive., tool: lever", "adhesive."),)),
        Case("line-serves-nothing", "id: lamp,", (("serves: lamp", "serves: lanp"),)),
        Case("stage-order", "id: compare", (("stage: swap", "stage: preparation"),)),
        Case(
            "easily-swapped",
            "    cell: A1 # here",
            in_map=True,
            map=(
                ("length_mm: 6, depth_mm: 6.5", "length_mm: 4, depth_mm: 4.5"),
                ("All four are 6 mm", "All four are 4 mm"),
                (
                    "length_mm: 4, depth_mm: 4.5}\n    cell: A2",
                    "length_mm: 4.3, depth_mm: 4.5}\n    cell: A1 # here",
                ),
            ),
        ),
        Case("shared-cell", "cell: A1 # here", in_map=True, map=(("cell: A2", "cell: A1 # here"),)),
        Case(
            "too-long-elsewhere",
            "length_mm: 6,",
            in_map=True,
            map=(("    key_point: All four are 6 mm long.\n", DROP),),
        ),
        Case(
            "cell-not-isolated", "- id: main-cell", in_map=True, map=(("    isolates: [main-cell]\n", DROP),)
        ),
        Case(
            "unused-part",
            "- id: badge",
            in_map=True,
            map=(("  - id: foam\n", "  - id: badge\n    kind: loose\n    name: Badge\n  - id: foam\n"),),
        ),
    ]


CASES = _case_list((Path(__file__).parent / "conftest.py").read_text("utf-8").split('PROCEDURE = """\\\n')[1])


def test_sound_job_has_no_findings(sample):
    assert sample.check_texts(sample.device, sample.procedure) == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.rule}-{case.marker.strip()[:24]}")
def test_rule_names_the_line(sample, case):
    device, job = sample.edited(sample.device, *case.map), sample.edited(sample.procedure, *case.job)
    found = sample.check_texts(device, job)
    mine = [problem for problem in found if problem.rule == case.rule]
    assert len(mine) == 1, found
    text = device if case.in_map else job
    marker = case.marker
    if marker.endswith("\n"):
        line = next(n for n, row in enumerate(text.splitlines(), start=1) if row.endswith(marker[:-1]))
    else:
        line = sample.line_of(text, marker)
    assert mine[0].line == line
    assert mine[0].file == ("dimmer.device.yaml" if case.in_map else "knob.procedure.yaml")
    others = {p.rule for p in found if p.rule != case.rule and p.severity is not Severity.ADVICE}
    assert others == set(case.also)


def test_every_rule_has_a_case():
    assert {case.rule for case in CASES} == {rule.id for rule in RULES}


def test_the_table_tells_everything():
    assert len({rule.id for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.job or rule.map
        assert all((rule.sentence, rule.reason, rule.example))
        assert rule.sentence.endswith((".", ")."))


def test_a_lid_cable_may_open_before_the_cell_it_hides(sample):
    """A connector that must be off to reach the isolating one cannot come after it."""
    device = sample.edited(
        sample.device,
        ("    held_by: [case-screws, case-bond]", "    held_by: [case-screws, case-bond, lid-cable]"),
        (
            "  - id: foam\n",
            "  - {id: lid-cable, kind: connector, name: Lid cable, held_by: [case-screws]}\n  - id: foam\n",
        ),
    )
    opened = "  - {id: o, stage: way-in, action: open, parts: [lid-cable], text: Open., time_s: [5, 9]}\n"
    closed = "  - {id: c, stage: seal, action: close, parts: [lid-cable], text: Close., time_s: [5, 9]}\n"
    job = sample.edited(
        sample.procedure,
        (step(sample.procedure, "lift-lid"), opened + step(sample.procedure, "lift-lid")),
        (step(sample.procedure, "on-case-screws"), closed + step(sample.procedure, "on-case-screws")),
    )
    assert sample.check_texts(device, job) == []


def test_a_trial_with_the_cell_connected_in_between_is_allowed(sample):
    def line(name):
        return step(sample.procedure, name)

    trial = line("close-cell-plug").replace("close-cell-plug", "trial-on") + line("open-cell-plug").replace(
        "open-cell-plug", "trial-off"
    ).replace("way-in", "way-back")
    job = sample.edited(sample.procedure, (line("close-lamp"), trial + line("close-lamp")))
    assert sample.check_texts(sample.device, job) == []


def test_heat_is_not_near_when_the_cell_is_far_away_or_out(sample):
    no_caution = (
        "    cautions:\n      - {word: WARNING, text: Keep the pad below 60 degrees. A hot cell can burn.}\n",
        "",
    )
    far = [
        ("box: [10, 20, 30, 20]", "box: [10, 520, 30, 20]"),
        ("width_mm: 80, height_mm: 50", "width_mm: 80, height_mm: 600"),
    ]
    found = sample.check_texts(
        sample.edited(sample.device, *far), sample.edited(sample.procedure, no_caution, ("55", "90"))
    )
    assert found == []


def test_positions_on_the_other_face_are_mirrored(sample):
    """A cell at the left of the front is at the right of the back: 200 mm of width tell them apart."""
    wide = [("width_mm: 80", "width_mm: 200"), ("path: [[2, 2], [78, 2]]", "path: [[2, 22], [3, 22]]")]
    no_caution = ("{word: WARNING, text: Keep", "{word: NOTICE, text: Keep")
    job = sample.edited(sample.procedure, no_caution)
    same = sample.check_texts(sample.edited(sample.device, *wide), job)
    assert [p.rule for p in same] == ["heat-caution"]
    other = [("    limit_c: 60\n", "    limit_c: 60\n    face: front\n")]
    assert sample.check_texts(sample.edited(sample.device, *wide, *other), job) == []


@pytest.mark.parametrize(
    ("after_plug", "silent"),
    [
        ("action: read, reading: {quantity: bank voltage, unit: V, low: -5, high: 5}", True),
        ("action: read, reading: {quantity: bank voltage, unit: mV, high: 50000}", True),
        ("action: read, reading: {quantity: bank voltage, unit: V, high: 240}", False),
        ("action: read, reading: {quantity: bank voltage, unit: V}", False),
        ("action: read, reading: {quantity: bank temperature, unit: °C, high: 40}", False),
        ("action: check, lines: [{id: dead, text: The bank is discharged}]", False),
    ],
)
def test_a_discharge_is_measured_never_ticked(sample, after_plug, silent):
    device = sample.edited(sample.device, ("isolates: [main-cell]", "isolates: [board]"))
    opened = step(sample.procedure, "open-cell-plug")
    added = f"  - {{id: dead, stage: way-in, text: Measure the bank., time_s: [5, 9], {after_plug}}}\n"
    job = sample.edited(sample.procedure, (opened, opened + added))
    found = [p.rule for p in sample.check_texts(device, job) if p.severity is Severity.ERROR]
    assert found == ([] if silent else ["discharge-measured"])


def test_what_lies_over_the_mains_plug_may_come_off_first(sample):
    """The lid and its screws bar the way to the plug, so they come off while it is in; the board may not."""
    device = sample.edited(sample.device, ("isolates: [main-cell]", "isolates: [board]"))
    found = {p.rule for p in sample.check_texts(device, sample.procedure)}
    assert "mains-first" not in found
    assert "mains-last" not in found


def test_a_lid_that_was_fitted_for_a_trial_and_lifted_again_covers_nothing(sample):
    lid = step(sample.procedure, "fit-lid").replace("fit-lid", "trial-lid")
    again = step(sample.procedure, "lift-lid").replace("lift-lid", "lift-trial-lid")
    close = step(sample.procedure, "close-lamp")
    job = sample.edited(sample.procedure, (close, lid + again + close))
    assert "refit-order" not in {p.rule for p in sample.check_texts(sample.device, job)}


def test_a_caution_that_was_given_in_time_may_be_repeated(sample):
    """Named at the step that opens it, so a later reminder is no late caution."""
    early = "text: Open it., time_s: [5, 9]}\n  - {id: open-lamp"
    warned = "      - {word: CAUTION, text: Mind the lamp cable. It can whip your eye.}\n"
    cell = "    text: Lift the cell out.\n    cautions:\n"
    for first, rules in ((False, ["caution-late"]), (True, [])):
        job = sample.edited(sample.procedure, (cell, cell + warned))
        if first:
            caution = "cautions: [{word: CAUTION, text: Mind the lamp cable.}], "
            job = sample.edited(job, (early, f"{caution}{early}"))
        assert [p.rule for p in sample.check_texts(sample.device, job)] == rules


def test_a_name_that_ends_with_the_text_is_no_longer_name(sample):
    """Parts called Lid and Lid of the cell compartment: the shorter name at the end of a sentence is found."""
    device = sample.edited(
        sample.device,
        (
            "  - id: foam\n",
            "  - {id: hatch, kind: cover, name: Lid of the cell, held_by: [foam]}\n  - id: foam\n",
        ),
    )
    job = sample.edited(
        sample.procedure, ("[board-screws], text: Undo.", "[board-screws], text: Undo. Lift the board.")
    )
    assert "second-action" in {p.rule for p in sample.check_texts(device, job)}
    job = sample.edited(
        sample.procedure, ("parts: [foam], text: Take it out.", "parts: [foam], text: Fit the lid.")
    )
    assert "second-action" not in {p.rule for p in sample.check_texts(device, job)}


def test_a_stored_charge_is_measured_down_to_what_the_part_map_says(sample):
    """With `stores`, 5 V by the maker's data counts, not the extra-low voltage that holds where nothing is said."""
    store = "stores: {quantity: bank voltage, unit: V, full: 220, gone_at: 5, exposed_by: lid}"
    device = sample.edited(sample.device, ("  - id: board\n", f"  - id: board\n    {store}\n"))
    opened = step(sample.procedure, "open-cell-plug")
    for high, silent in ((5, True), (50, False)):
        read = (
            "  - {id: dead, stage: way-in, text: Measure the bank., time_s: [5, 9], action: read,"
            f" reading: {{quantity: bank voltage, unit: V, high: {high}}}}}\n"
        )
        job = sample.edited(sample.procedure, (opened, opened + read))
        rules = [p.rule for p in sample.check_texts(device, job) if p.severity is Severity.ERROR]
        assert ("discharge-measured" not in rules) is silent


def test_screws_half_a_millimetre_apart_are_not_called_alike(sample):
    device = sample.edited(
        sample.device,
        ("length_mm: 4, depth_mm: 4.5}\n    cell: A2", "length_mm: 5.5, depth_mm: 6}\n    cell: A1"),
    )
    assert [p.rule for p in sample.check_texts(device, sample.procedure)] == ["shared-cell"]


def test_steps_made_from_the_part_map_are_told_where_they_are_written(sample):
    """A procedure without steps: what its made steps get wrong stands in the part map, and once only."""
    head = sample.procedure.split("steps:")[0].replace("tools: [driver, lever, warmer]\n", "")
    device = sample.edited(sample.device, ("Take out the four case screws", "Take out the 3 case screws"))
    found = [p for p in sample.check_texts(device, head) if p.severity is Severity.WARNING]
    assert [(p.rule, p.file, p.line) for p in found if p.rule == "count-in-text"] == [
        ("count-in-text", "dimmer.device.yaml", sample.line_of(device, "off_text: "))
    ]
    assert {p.rule for p in sample.check_texts(sample.device, head) if p.severity is Severity.ERROR} <= {
        "cell-caution"
    }


HEATED = """    heat:
      for_s: 90
      tool: warmer
      text: Lay the warming pad on the lid.
      at_c: 55
      measured_c: [40, 55]
    after_on:
      - action: check
        text: Look at the rim.
        lines:
          - {id: rim, text: Rim is closed, serves: lamp}
      - action: wait
        text: Leave it.
        wait: {kind: cure, for_s: 600}
        time_s: [5, 10]
"""


@pytest.mark.parametrize(
    ("rule", "old", "new", "marker"),
    [
        ("heat-limit", "at_c: 55", "at_c: 75", "at_c: 75"),
        ("line-serves-nothing", "serves: lamp}", "serves: lamb}", "serves: lamb"),
        ("long-sentence", "Look at the rim.", f"Look {'at ' * 20}the rim.", "text: Look at at"),
        ("caution-in-text", "Leave it.", "Leave it. WARNING, it burns.", "text: Leave it. WARNING"),
    ],
)
def test_a_value_of_the_part_map_is_told_at_its_line_there(sample, rule, old, new, marker):
    """Values nested in heat and in work of the part map, met in steps that were made from them."""
    device = sample.device.replace("    path: [[2, 2], [78, 2]]\n", f"    path: [[2, 2], [78, 2]]\n{HEATED}")
    assert old in HEATED
    broken = device.replace(HEATED, HEATED.replace(old, new))
    head = sample.procedure.split("steps:")[0].replace("tools: [driver, lever, warmer]\n", "")
    places = [(p.rule, p.file, p.line) for p in sample.check_texts(broken, head) if p.rule == rule]
    assert (rule, "dimmer.device.yaml", sample.line_of(broken, marker)) in places
    assert len({place for place in places if place[1] == "dimmer.device.yaml"}) == len(places)
    loaded = load_device_text(broken, Path("dimmer.device.yaml"))
    job = load_procedure_text(head, Path("x.procedure.yaml"), {"dimmer": loaded.model})
    for keys in (("steps", n, "text") for n in range(len(job.model.steps))):
        file, line, _ = job.place(loaded, *keys)
        assert file in (loaded.path, job.path)
        assert 0 < line <= broken.count("\n")


@pytest.mark.parametrize(
    ("key", "rule"),
    [
        ("on_key_point: CAUTION, hot.", "caution-in-text"),
        ("on_reason: CAUTION, hot.", "caution-in-text"),
        ("heat: {for_s: 9, text: 'Warm it. WARNING, hot.'}", "caution-in-text"),
        ("heat: {for_s: 9, key_point: 'Beware of it.'}", "caution-in-text"),
        ("heat: {for_s: 9, measured_text: 'Be careful here.'}", "caution-in-text"),
        ("heat: {for_s: 9, measured_reason: 'WARNING, hot.'}", "caution-in-text"),
        *((f"{where}: [{{action: work, text: Go on., key_point: 'Caution: hot.'}}]", "caution-in-text")
          for where in ("before_off", "after_off", "before_on", "after_on")),
        *((f"{where}: [{{action: work, text: 'Go {'on ' * 20}now.'}}]", "long-sentence")
          for where in ("before_off", "after_off", "before_on", "after_on")),
        ("on_key_point: Five screws.", "count-in-text"),
        ("on_key_point: 'Four screws, 9 mm.'", "length-in-text"),
    ],
)  # fmt: skip
def test_every_text_of_a_part_is_read(sample, key, rule):
    name = "knob-screws" if "screws" not in key else "case-screws"
    head = f"  - id: {name}\n"
    text = sample.device.replace(head, f"{head}    {key}\n")
    found = check_device(load_device_text(text))
    assert [(p.rule, p.line) for p in found if p.rule == rule] == [(rule, sample.line_of(text, key[:20]))]


def test_a_procedure_of_another_device_is_refused(sample):
    device = sample.load_device(("id: dimmer\n", "id: other\n"))
    job = load_procedure_text(sample.procedure)
    with pytest.raises(ValueError, match="dimmer"):
        check(device, job)


def test_check_device_alone(sample):
    device = load_device_text(sample.edited(sample.device, ("cell: A2", "cell: A1")))
    assert [p.rule for p in check_device(device)] == ["shared-cell"]


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("Undo the four screws.", [4]),
        ("Undo 2 of the 4 screws.", [2, 4]),
        ("Undo the two long board screws and one short screw.", [2, 1]),
        ("Put in the 4 mm screws.", []),
        ("Use the M1.6 screws of cell B2.", []),
        ("Press five seconds. Screws stay in.", []),
        ("Tighten the screws.", []),
        ("Start both front screws by hand.", [2]),
        ("Four cheese heads, 8 mm.", [4]),
        ("Take out the nineteen screws.", [19]),
    ],
)
def test_numbers_of_screws(text, numbers):
    assert numbers_of_screws(text) == numbers


@pytest.mark.parametrize(
    ("text", "lengths"),
    [
        ("Two screws, 6 mm.", [6.0]),
        ("Four tapping screws, coarse thread, 9.5 mm. They bite.", [9.5]),
        ("Keep it flat. Six screws, 4 mm, one of them hidden under the audio board.", [4.0]),
        ("Let no more than 4 mm of the pick go in.", []),
        ("The back screws are 2 mm longer.", []),
        ("Put in the two screws.", []),
    ],
)
def test_lengths_of_screws(text, lengths):
    assert lengths_of_screws(text) == lengths
