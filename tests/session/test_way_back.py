"""The way back of real sessions: as planned, with something left on, taken off unplanned, or off once more."""

from typing import Any

from benchguide.procedure.words import REFITS, Stage
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.look import stack
from benchguide.session.state import Mark, State, Status
from tests.session.small_job import PARTS, STEPS, Bench, make_job

WRITTEN = [step["id"] for step in STEPS[10:]]


def rest(state: State) -> list[str]:
    """The open steps of the way back."""
    at = state.job.way_back_at
    return [step.id for step in state.steps[at:] if state.mark_of(step.id).mark is Mark.OPEN]


def laid(bench: Bench) -> list[ev.WayBackLaid]:
    return [f.what for f in bench.facts if isinstance(f.what, ev.WayBackLaid)]


def photo_of(bench: Bench, part: str, purpose: str = "as-found") -> None:
    bench.do(cmd.KeepPhoto("0" * 64, 8, 8, "2031-03-04T08:30:00+00:00", "bench camera", purpose, part=part))


def take_off(bench: Bench, part: str, cell: str = "") -> None:
    photo_of(bench, part)
    bench.do(cmd.TakeOffPart(part, cell=cell, reason="in the way"))


#: the small device with three parts that no step of the job touches
MORE_PARTS: list[dict[str, Any]] = [
    *PARTS,
    {
        "id": "lamp-plug",
        "kind": "connector",
        "name": "lamp plug",
        "under": ["lid"],
        "held_by": ["lamp-tape"],
        "serves": ["lamp"],
        "on_text": "Push the lamp plug in until it clicks.",
        "cell": "D1",
    },
    {"id": "lamp-tape", "kind": "loose", "name": "lamp tape", "under": ["lid"], "once": True},
    {
        "id": "badge",
        "kind": "loose",
        "name": "badge",
        "before_on": [{"action": "work", "text": "Clean the recess."}],
        "after_on": [{"action": "wait", "text": "Let it set.", "wait": {"kind": "cure", "for_s": 60}}],
    },
]


def more() -> Bench:
    return Bench(make_job(MORE_PARTS))


# as planned


def test_it_becomes_a_fact_before_its_first_step_comes_up() -> None:
    bench = Bench()
    bench.go_to("compare")
    assert bench.state.laid is None
    bench.meet_gates()
    kinds = [type(fact.what) for fact in bench.do(cmd.FinishStep())]
    assert kinds == [ev.StepDone, ev.WayBackLaid, ev.StepEntered]
    (fact,) = laid(bench)
    assert (fact.kept, fact.why) == (10, "as planned")
    assert fact.steps == [{"step": name} for name in WRITTEN]
    assert bench.state.step.id == "board-fit"


def test_going_on_as_planned_lays_it_once() -> None:
    bench = Bench()
    bench.finish()
    assert bench.state.status is Status.FINISHED
    assert len(laid(bench)) == 1


def test_the_way_in_is_followed_as_planned_until_then() -> None:
    bench = Bench()
    bench.go_to("board-lift")
    assert [step.id for step in bench.state.steps] == [step["id"] for step in STEPS]


# left on


def test_what_never_came_off_has_no_way_back() -> None:
    bench = Bench()
    bench.go_to("fan-open")
    bench.do(cmd.SkipStep("stuck", "Ada"))
    bench.do(cmd.SkipStep("the fan holds it", "Ada"))
    bench.finish_step()
    assert rest(bench.state) == [s for s in WRITTEN if s not in ("board-fit", "fan-close")]
    assert laid(bench)[0].why == "not needed: main board, fan plug"
    assert bench.state.step.id == "cell-close"
    bench.finish()
    assert bench.state.status is Status.FINISHED


def test_a_person_who_turns_back_halfway_goes_back_from_there() -> None:
    bench = Bench()
    bench.go_to("lid-lift")
    bench.do(cmd.GoTo("screws-on"))
    state = bench.state
    assert state.step.id == "screws-on"
    assert rest(state) == ["volts", "try-out", "bond-on", "screws-on", "tidy"]


def test_looking_ahead_with_nothing_out_lays_nothing() -> None:
    bench = Bench()
    bench.do(cmd.GoTo("bond-on"))
    assert bench.state.laid is None


# unplanned


def test_something_unplanned_is_put_back_in_its_place() -> None:
    bench = more()
    bench.go_to("board-lift")
    bench.do(cmd.TakeOffPart("lamp-tape", reason="sticks to the plug"))
    take_off(bench, "lamp-plug", "D3")
    bench.finish_step()
    bench.finish_step()
    steps = bench.state.steps[bench.state.job.way_back_at :]
    assert [step.id for step in steps[:5]] == [
        "board-fit", "back-lamp-plug", "back-lamp-tape", "fan-close", "cell-close",
    ]  # fmt: skip
    plug, tape = steps[1:3]
    assert (plug.parts, plug.action, plug.text) == (
        ("lamp-plug",), "close", "Push the lamp plug in until it clicks.",
    )  # fmt: skip
    assert (tape.action, plug.stage) == ("on", Stage.WAY_BACK)
    assert [item.cell for item in bench.state.ledger.items_of("lamp-plug")] == ["D3"]
    assert laid(bench)[0].why == "added: lamp plug, lamp tape"
    bench.finish()
    assert bench.state.status is Status.FINISHED


def test_unplanned_on_the_way_back_comes_up_at_once() -> None:
    bench = more()
    bench.go_to("fan-close")
    bench.do(cmd.TakeOffPart("lamp-tape"))
    assert bench.state.step.id == "back-lamp-tape"
    assert bench.facts[-1].what == ev.StepEntered("back-lamp-tape", "laid")
    bench.finish_step()
    assert bench.state.step.id == "fan-close"
    assert len(laid(bench)) == 2


def test_what_comes_off_before_anything_goes_back_last_but_before_the_cell_is_connected() -> None:
    bench = more()
    bench.do(cmd.TakeOffPart("badge"))
    bench.go_to("board-fit")
    left = rest(bench.state)
    at = left.index("back-badge-work")
    assert left[at : at + 4] == ["back-badge-work", "back-badge", "back-badge-wait", "cell-close"]
    assert bench.state.steps[bench.state.index["back-badge-wait"]].wait is not None


def test_an_unplanned_part_that_went_back_by_hand_needs_no_step() -> None:
    bench = more()
    bench.go_to("fan-close")
    bench.do(cmd.TakeOffPart("lamp-tape"))
    bench.do(cmd.PutBackPart("lamp-tape", reason="only looked"))
    assert bench.state.ledger.pieces_of("lamp-tape") == 0
    assert bench.state.step.id in ("back-lamp-tape", "fan-close")
    bench.finish()
    assert bench.state.status is Status.FINISHED


def test_unplanned_work_meets_the_same_hold_points() -> None:
    bench = more()
    bench.go_to("foam-off")
    gates = bench.refusal(cmd.TakeOffPart("lamp-plug")).gates
    assert [gate.id for gate in gates] == [
        "as-found:part/lamp-plug", "isolation:part/lamp-plug", "held:part/lamp-plug",
    ]  # fmt: skip
    for gate in gates:
        bench.do(cmd.Waive(gate.id, "known to be dead", "Ada"))
    bench.do(cmd.TakeOffPart("lamp-plug"))
    assert bench.state.ledger.is_out("lamp-plug")
    assert not [gate for gate in bench.state.waived if "part/lamp-plug" in gate]
    assert len(bench.state.waivers) == 3


def test_a_session_without_a_written_way_back_gets_one() -> None:
    """A procedure that stops after the way in, as when a device is only to be looked into."""
    bench = Bench(make_job(steps=STEPS[:5]))
    bench.go_to("lid-lift")
    bench.finish_step()
    assert rest(bench.state) == ["back-lid-bond-work", "back-lid", "back-lid-bond", "back-lid-screws"]
    assert bench.state.step.id == "back-lid-bond-work"
    bench.go_to("back-lid-screws")
    bench.finish_step()
    bench.do(cmd.FinishSession())


# once more


def test_a_part_off_once_more_gets_its_written_step_once_more() -> None:
    bench = Bench()
    bench.go_to("cell-close")
    take_off(bench, "fan-plug")
    assert bench.state.step.id == "fan-close-again"
    assert bench.state.step.text == "Do fan-close."
    bench.finish_step()
    assert bench.state.step.id == "cell-close"
    assert bench.state.mark_of("fan-close").mark is Mark.DONE


def test_a_test_done_before_a_plug_was_opened_again_is_done_again() -> None:
    bench = Bench()
    bench.go_to("lid-fit")
    photo_of(bench, "cell-plug")
    bench.do(cmd.TakeOffPart("foam"))
    take_off(bench, "cell-plug")
    assert rest(bench.state)[:4] == ["cell-close-again", "foam-on-again", "try-out-again", "lid-fit"]
    bench.go_to("bond-on")
    bench.finish_step()
    assert {("try-out-again", "power"), ("try-out", "power")} <= set(bench.state.answers)


def test_a_lid_off_once_more_leaves_the_test_as_it_is() -> None:
    bench = Bench()
    bench.go_to("bond-on")
    take_off(bench, "lid")
    assert rest(bench.state)[0] == "lid-fit-again"
    assert "try-out-again" not in rest(bench.state)


def test_new_adhesive_and_its_work_once_more() -> None:
    work = {"id": "clean", "stage": "seal", "action": "work", "parts": ["lid-bond"]}
    steps = [*STEPS[:16], work, *STEPS[16:]]
    bench = Bench(make_job(steps=steps))
    bench.go_to("screws-on")
    bench.do(cmd.TakeOffPart("lid-bond", reason="not straight"))
    take_off(bench, "lid")
    assert rest(bench.state)[:4] == ["clean-again", "lid-fit-again", "bond-on-again", "screws-on"]
    bench.finish_step()
    bench.do(cmd.TakeOffPart("lid-screws")) if bench.state.in_device("lid-screws") else None
    assert "clean-again-2" not in rest(bench.state)


def test_return_only_work_at_a_part_that_never_came_off_goes() -> None:
    work = {"id": "clean", "stage": "way-back", "action": "work", "parts": ["board"]}
    bench = Bench(make_job(steps=[*STEPS[:10], STEPS[10], work, *STEPS[11:]]))
    bench.go_to("board-lift")
    bench.do(cmd.SkipStep("only the fan", "Ada"))
    bench.finish_step()
    assert "clean" not in rest(bench.state)


# taking back, skipping


def test_a_removal_taken_back_takes_its_refit_with_it() -> None:
    bench = Bench()
    bench.go_to("compare")
    bench.do(cmd.GoTo("fan-close"))
    assert "board-fit" in rest(bench.state)
    bench.do(cmd.GoTo("compare"))
    bench.do(cmd.TakeBack())
    assert bench.state.step.id == "board-lift"
    assert "board-fit" not in rest(bench.state)
    bench.do(cmd.FinishStep())
    assert "board-fit" in rest(bench.state)


def test_a_skipped_refit_comes_again_as_long_as_its_part_is_out() -> None:
    bench = Bench()
    bench.go_to("fan-close")
    bench.do(cmd.SkipStep("plug broken", "Ada"))
    assert bench.state.step.id == "cell-close"
    bench.do(cmd.Waive("isolation-last:cell-close", "no fan today", "Ada"))
    bench.finish_step()
    assert rest(bench.state)[0] == bench.state.step.id == "fan-close-again"
    bench.do(cmd.Reconcile("fan-plug", 1, "left-out", "plug broken", "Ada"))
    bench.do(cmd.FinishStep())
    assert bench.state.step.id == "foam-on"
    bench.finish()
    assert bench.state.status is Status.FINISHED


def test_what_is_left_out_on_purpose_needs_no_step() -> None:
    bench = Bench()
    bench.go_to("foam-on")
    bench.do(cmd.Reconcile("lid-bond", 1, "left-out", "new one later", "Ada"))
    assert "bond-on" not in rest(bench.state)


# order


def test_a_written_order_that_the_part_map_forbids_is_put_right() -> None:
    steps = {step["id"]: step for step in STEPS}
    seal, inside = ["lid-fit", "bond-on", "screws-on"], ["board-fit", "cell-close", "fan-close", "foam-on"]
    wrong = [steps[name] for name in (*list(steps)[:10], *seal, *inside)]
    bench = Bench(make_job(steps=wrong))
    bench.go_to("compare")
    bench.finish_step()
    assert rest(bench.state)[:5] == ["board-fit", "fan-close", "cell-close", "foam-on", "lid-fit"]


def test_a_group_that_cannot_go_in_together_is_taken_apart() -> None:
    parts: list[dict[str, Any]] = [
        {"id": "a", "kind": "loose", "name": "a"},
        {"id": "b", "kind": "loose", "name": "b", "under": ["a"]},
        {"id": "c", "kind": "loose", "name": "c", "under": ["b"]},
    ]
    steps = [
        *({"id": f"off-{p}", "stage": "way-in", "action": "off", "parts": [p]} for p in "abc"),
        {"id": "on-both", "stage": "way-back", "action": "on", "parts": ["a", "c"]},
        {"id": "on-b", "stage": "way-back", "action": "on", "parts": ["b"]},
    ]
    bench = Bench(make_job(parts, steps))
    bench.go_to("off-c")
    bench.finish_step()
    assert [step.parts for step in bench.state.steps[3:]] == [("c",), ("b",), ("a",)]


def test_the_stack_is_the_way_back_with_its_next_item_on_top() -> None:
    bench = more()
    bench.go_to("board-lift")
    bench.do(cmd.TakeOffPart("lamp-tape"))
    assert [item.part for item in stack(bench.state)][:2] == ["lamp-tape", "fan-plug"]
    bench.finish_step()
    bench.finish_step()
    order = [
        p for s in bench.state.steps for p in s.parts if s.action in REFITS and bench.state.ledger.is_out(p)
    ]
    assert [item.part for item in stack(bench.state)] == order
    assert order[0] == "board"


def test_mains_goes_in_after_everything_else() -> None:
    parts: list[dict[str, Any]] = [
        {"id": "inlet", "kind": "module", "name": "inlet"},
        {"id": "plug", "kind": "connector", "name": "mains plug", "isolates": ["inlet"]},
        {"id": "lid", "kind": "cover", "name": "lid"},
    ]
    steps = [
        {"id": "lid-lift", "stage": "way-in", "action": "lift", "parts": ["lid"]},
        {"id": "plug-open", "stage": "way-in", "action": "open", "parts": ["plug"]},
    ]
    bench = Bench(make_job(parts, steps))
    bench.photo()
    gate = bench.refusal(cmd.FinishStep()).gates[0]
    assert gate.id == "isolation:lid-lift"
    assert gate.remedy == "Disconnect it before anything is opened or taken off."
    bench.do(cmd.GoTo("plug-open"))
    bench.finish_step()
    bench.do(cmd.GoTo("lid-lift"))
    bench.finish_step()
    assert bench.state.step.id == "plug-open"
    assert rest(bench.state) == ["back-lid", "back-plug"]


# replay


def test_it_reads_the_same_from_its_documents() -> None:
    from benchguide.session.apply import fold
    from benchguide.session.codec import fact_from_doc, fact_to_doc

    bench = more()
    bench.do(cmd.TakeOffPart("badge"))
    bench.go_to("lid-fit")
    bench.do(cmd.TakeOffPart("foam"))
    take_off(bench, "cell-plug")
    read = fold(bench.job, [fact_from_doc(fact_to_doc(fact)) for fact in bench.facts])
    assert read == bench.state
    assert [step.id for step in read.steps] == [step.id for step in bench.state.steps]
