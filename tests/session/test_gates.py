"""Every hold point: closed, met, and passed by a waiver."""

from typing import Any

import pytest

from benchguide.procedure.procedure import Wait
from benchguide.procedure.words import WaitKind
from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_finish, gates_for_step
from benchguide.session.state import Countdown, Job, Mark, State
from tests.session.small_job import PARTS, STEPS, Bench, FakeClock, make_job


def here(bench: Bench) -> list[str]:
    return [gate.id for gate in gates_for_step(bench.state, bench.state.step)]


def at_finish(bench: Bench) -> list[str]:
    return [gate.id for gate in gates_for_finish(bench.state)]


def waive(bench: Bench, gate: str) -> None:
    bench.do(cmd.Waive(gate, "told so", "Ada"))


def waive_all(bench: Bench) -> None:
    for gate in here(bench):
        waive(bench, gate)


def walk_to(step: str, before: str = "") -> Bench:
    """A bench at `step`, all before it done but `before`, which was left out by going past it."""
    bench = Bench()
    while bench.state.step.id != step:
        if bench.state.step.id == before:
            bench.do(cmd.GoTo(bench.state.steps[bench.state.here + 1].id))
        else:
            bench.finish_step()
    return bench


def closed_and_waived(bench: Bench, gate: str) -> str:
    """Check that `gate` bars the present step and that a waiver lets it pass; the sentence comes back."""
    found = {g.id: g for g in gates_for_step(bench.state, bench.state.step)}
    assert gate in found
    assert found[gate].kind == gate.split(":")[0]
    assert gate in {g.id for g in bench.refusal(cmd.FinishStep()).gates}
    waive(bench, gate)
    assert gate not in here(bench)
    assert [w.gate for w in bench.state.waivers] == [gate]
    return f"{found[gate].sentence} {found[gate].remedy}"


@pytest.mark.parametrize("step", ["lid-lift", "cell-open", "fan-open", "board-lift"])
def test_as_found_photo(step: str) -> None:
    bench = walk_to(step)
    bench.photo("free")
    closed_and_waived(bench, f"as-found:{step}")
    bench = walk_to(step)
    bench.photo()
    assert here(bench) == []


@pytest.mark.parametrize("step", ["board-fit", "fan-close", "cell-close", "lid-fit"])
def test_as_left_photo(step: str) -> None:
    bench = walk_to(step)
    bench.photo("as-found")
    closed_and_waived(bench, f"as-left:{step}")
    bench = walk_to(step)
    bench.photo()
    assert here(bench) == []


def test_screws_and_foam_need_no_photo() -> None:
    for step in ("screws-off", "foam-off", "foam-on"):
        assert here(walk_to(step)) == []


def test_a_photo_the_author_asks_for() -> None:
    asked = {"id": "look", "stage": "preparation", "action": "work", "as_found": True, "as_left": True}
    bench = Bench(make_job(steps=[asked]))
    assert here(bench) == ["as-found:look", "as-left:look"]
    bench.photo()
    bench.photo()
    assert [p.purpose for p in bench.state.photos] == ["as-found", "as-left"]
    assert here(bench) == []


def test_isolation_before_any_other_connector() -> None:
    bench = walk_to("fan-open", before="cell-open")
    told = closed_and_waived(bench, "isolation:fan-open")
    assert told == "Not isolated: cell plug is still connected. Disconnect it before any other connector."
    assert "isolation:fan-open" not in here(walk_to("fan-open"))


def test_the_isolator_itself_may_be_opened() -> None:
    assert here(walk_to("cell-open")) == ["as-found:cell-open"]


def test_energy_source_last_on_the_way_back() -> None:
    bench = walk_to("cell-close", before="fan-close")
    told = closed_and_waived(bench, "isolation-last:cell-close")
    assert told.startswith("Still open: fan plug.")
    assert "isolation-last:cell-close" not in here(walk_to("cell-close"))


def job_with_plug_over_the_isolator() -> Bench:
    """The cover of the cell plug carries a lamp plug: it must be open to reach the isolator."""
    parts: list[dict[str, Any]] = [
        {"id": "lamp-plug", "kind": "connector", "name": "lamp plug"},
        {"id": "flap", "kind": "cover", "name": "flap", "held_by": ["lamp-plug"]},
        {
            "id": "cell-plug",
            "kind": "connector",
            "name": "cell plug",
            "under": ["flap"],
            "isolates": ["cell"],
        },
        {"id": "fan-plug", "kind": "connector", "name": "fan plug", "under": ["flap"]},
    ]
    moves = [("open", "lamp-plug"), ("lift", "flap"), ("open", "cell-plug"), ("open", "fan-plug")]
    back = [("close", "fan-plug"), ("close", "cell-plug"), ("fit", "flap"), ("close", "lamp-plug")]
    steps = [{"id": f"{a}-{p}", "stage": "way-in", "action": a, "parts": [p]} for a, p in moves]
    steps += [{"id": f"{a}-{p}", "stage": "way-back", "action": a, "parts": [p]} for a, p in back]
    return Bench(make_job(parts, steps))


def test_a_connector_in_the_way_of_the_isolator_may_be_opened_first_and_closed_after_it() -> None:
    bench = job_with_plug_over_the_isolator()
    while not bench.state.ledger.is_out("cell-plug"):
        bench.finish_step()
    bench.go_to("close-lamp-plug")
    bench.finish_step()
    assert not bench.state.ledger.out
    assert not bench.state.waivers


def test_it_opens_no_door_for_the_others() -> None:
    bench = job_with_plug_over_the_isolator()
    bench.go_to("open-cell-plug")
    bench.do(cmd.GoTo("open-fan-plug"))
    assert "isolation:open-fan-plug" in here(bench)


def test_held_parts_stay() -> None:
    bench = walk_to("lid-lift", before="screws-off")
    told = closed_and_waived(bench, "held:lid-lift")
    assert told == "lid is still held or covered by: lid screws. Take those off first."
    assert "held:lid-lift" not in here(walk_to("lid-lift"))


def test_one_screw_left_in_still_holds() -> None:
    bench = walk_to("lid-lift")
    bench.do(cmd.Reconcile("lid-screws", 1, "replaced", "new one is in", "Ada"))
    assert "held:lid-lift" in here(bench)


def test_what_is_gone_does_not_hold() -> None:
    bench = walk_to("lid-lift")
    bench.do(cmd.Reconcile("lid-bond", 1, "left-out", "new adhesive later", "Ada"))
    bench.do(cmd.Reconcile("lid-screws", 2, "lost", "rolled away", "Ada"))
    assert "held:lid-lift" not in here(bench)


def test_what_lies_under_goes_in_first() -> None:
    bench = walk_to("lid-fit", before="foam-on")
    told = closed_and_waived(bench, "missing-under:lid-fit")
    assert told.startswith("Still out, and must go in first: loose foam.")
    assert "missing-under:lid-fit" not in here(walk_to("lid-fit"))


def test_every_line_needs_an_answer() -> None:
    bench = walk_to("compare")
    bench.do(cmd.AnswerLine("shape", "works"))
    assert closed_and_waived(bench, "answers:compare").startswith("1 of 2 lines have no answer.")
    bench = walk_to("compare")
    for line in ("shape", "plugs"):
        bench.do(cmd.AnswerLine(line, "not testable"))
    assert here(bench) == []


def test_a_reading_is_needed() -> None:
    bench = walk_to("volts")
    told = closed_and_waived(bench, "reading:volts")
    assert told.startswith("The value of supply voltage is missing.")
    bench = walk_to("volts")
    bench.do(cmd.EnterReading(4.2))
    assert here(bench) == []


@pytest.mark.parametrize(("value", "good"), [(3.59, False), (3.6, True), (4.2, True), (4.21, False)])
def test_limits(value: float, good: bool) -> None:
    bench = walk_to("volts")
    bench.do(cmd.EnterReading(value))
    assert here(bench) == ([] if good else ["limits:volts"])


def test_a_waiver_of_limits_holds_for_one_value() -> None:
    bench = walk_to("volts")
    bench.do(cmd.EnterReading(3.5))
    told = closed_and_waived(bench, "limits:volts")
    assert told.startswith("supply voltage 3.5 V is outside its limits.")
    bench.do(cmd.EnterReading(2.0))
    assert here(bench) == ["limits:volts"]


def test_heat_must_be_over_and_may_be_stopped() -> None:
    bench = walk_to("warm")
    closed_and_waived(bench, "wait:warm")
    bench = walk_to("warm")
    assert bench.refusal(cmd.FinishStep()).gates[0].sentence == "The countdown has not been started."
    bench.do(cmd.StartCountdown())
    assert bench.refusal(cmd.FinishStep()).gates[0].sentence == "The heat time is not over."
    bench.do(cmd.StopCountdown("warm#1", "soft already"))
    assert here(bench) == []


def test_a_cure_goes_on_across_steps() -> None:
    bench = walk_to("bond-on")
    assert here(bench) == ["wait:bond-on"]
    bench.do(cmd.StartCountdown())
    assert here(bench) == []


def test_the_test_before_sealing() -> None:
    bench = walk_to("bond-on", before="try-out")
    told = closed_and_waived(bench, "test:bond-on")
    assert told.startswith("The test before sealing is not complete: 2 lines open, 1 steps not done.")
    assert not [g for g in here(walk_to("bond-on")) if g.startswith(("test:", "failed:", "count:"))]


def test_a_failed_test_leads_to_the_parts() -> None:
    bench = walk_to("try-out")
    bench.do(cmd.AnswerLine("power", "works"))
    bench.do(cmd.AnswerLine("fan", "does not work"))
    bench.do(cmd.FinishStep())
    bench.go_to("bond-on")
    told = closed_and_waived(bench, "failed:bond-on")
    assert told == "Does not work: Fan turns. Look at fan plug."
    bench.do(cmd.GoTo("try-out"))
    bench.do(cmd.AnswerLine("power", "does not work"))
    bench.do(cmd.GoTo("bond-on"))
    assert "failed:bond-on" in here(bench)


def test_counts_before_sealing() -> None:
    bench = walk_to("lid-fit", before="foam-on")
    bench.do(cmd.GoTo("bond-on"))
    told = closed_and_waived(bench, "count:bond-on")
    assert told.startswith("Still out of the device: 1 x lid, 1 x loose foam. Refit them, or say why")


def test_counts_before_sealing_are_met_by_a_reason() -> None:
    bench = walk_to("lid-fit", before="foam-on")
    bench.do(cmd.Reconcile("foam", 1, "left-out", "perished", "Ada"))
    bench.finish_step()
    assert bench.state.step.id == "bond-on"
    assert "count:bond-on" not in here(bench)


def test_the_three_gates_of_the_end() -> None:
    bench = walk_to("bond-on")
    assert at_finish(bench) == ["count:finish", "open:finish"]
    bench.do(cmd.StartCountdown())
    assert at_finish(bench) == ["count:finish", "open:finish", "wait:finish"]
    for gate in at_finish(bench):
        waive(bench, gate)
    assert at_finish(bench) == []
    bench.do(cmd.FinishSession())


def test_the_gates_of_the_end_are_met_by_doing() -> None:
    bench = walk_to("tidy")
    bench.finish_step()
    bench.run_out()
    assert at_finish(bench) == []


def test_a_waived_count_falls_when_more_comes_off() -> None:
    bench = walk_to("lid-lift")
    waive(bench, "count:finish")
    assert "count:finish" not in at_finish(bench)
    bench.finish_step()
    assert "count:finish" in at_finish(bench)


def test_a_waiver_is_used_up_when_its_step_is_done() -> None:
    asked = {"id": "look", "stage": "preparation", "action": "work", "as_found": True}
    bench = Bench(make_job(PARTS, [asked, STEPS[0]]))
    waive(bench, "as-found:look")
    bench.do(cmd.FinishStep())
    assert bench.state.mark_of("look").mark is Mark.DONE
    bench.do(cmd.GoBack())
    bench.do(cmd.RepeatStep())
    assert here(bench) == ["as-found:look"]
    assert len(bench.state.waivers) == 1


def test_a_waiver_lasts_while_the_step_is_left_and_entered() -> None:
    bench = walk_to("lid-lift")
    waive(bench, "as-found:lid-lift")
    bench.do(cmd.GoBack())
    bench.do(cmd.GoTo("lid-lift"))
    assert here(bench) == []


def test_only_what_is_in_the_way_can_be_waived() -> None:
    bench = walk_to("lid-lift")
    waive_all(bench)
    assert "no such hold point" in str(bench.refusal(cmd.Waive("as-found:lid-lift", "r", "n")))
    assert "no such hold point" in str(bench.refusal(cmd.Waive("as-found:board-lift", "r", "n")))


def test_a_discharge_time_holds_its_step_like_heat() -> None:
    """Common practice: a capacitor bank is left alone for its full time before anything inside is touched."""
    job = make_job()
    steps = [
        step.model_copy(update={"wait": Wait(kind=WaitKind.DISCHARGE, for_s=600)})
        if step.id == "warm"
        else step
        for step in job.steps
    ]
    procedure = job.procedure.model_copy(update={"steps": tuple(steps)})
    state = State(Job(job.device, procedure), here=job.route.index["warm"])
    assert [gate.sentence for gate in gates_for_step(state, state.step)] == [
        "The countdown has not been started."
    ]
    running = Countdown("warm#1", "warm", "discharge", 600, FakeClock().now())
    state = state.changed(countdowns={"warm#1": running})
    assert [gate.sentence for gate in gates_for_step(state, state.step)] == [
        "The discharge time is not over."
    ]


def test_a_step_that_waits_for_an_earlier_countdown() -> None:
    steps = [{**step, "after_wait": "bond-on"} if step["id"] == "tidy" else step for step in STEPS]
    bench = Bench(make_job(steps=steps))
    bench.go_to("bond-on")
    bench.do(cmd.Waive("wait:bond-on", "no clock", "Ada"))
    bench.do(cmd.FinishStep())
    bench.do(cmd.TakeBack())
    bench.do(cmd.GoTo("tidy"))
    (gate,) = [gate for gate in gates_for_step(bench.state, bench.state.step) if gate.kind == "after"]
    assert gate.told.endswith("has not been started. Go to its step and start it.")
    bench.do(cmd.GoTo("bond-on"))
    bench.do(cmd.StartCountdown())
    bench.do(cmd.GoTo("tidy"))
    (gate,) = bench.refusal(cmd.FinishStep()).gates
    assert gate.sentence == "The cure time is not over."
    bench.run_out()
    assert "after:tidy" not in here(bench)


def test_a_line_that_compares_has_answers_of_its_own() -> None:
    steps = [dict(step) for step in STEPS]
    steps[9]["lines"] = [{"id": "shape", "text": "Same shape.", "answers": "agrees"}]
    bench = Bench(make_job(steps=steps))
    bench.go_to("compare")
    assert here(bench) == ["answers:compare"]
    assert str(bench.refusal(cmd.AnswerLine("shape", "works"))) == "Answer with: agrees or differs."
    bench.do(cmd.AnswerLine("shape", "differs"))
    bench.do(cmd.FinishStep())
    bench.go_to("bond-on")
    assert (
        closed_and_waived(bench, "failed:bond-on") == "Differs: Same shape. Find the cause before going on."
    )


def test_what_fails_after_closing_bars_the_end() -> None:
    late = {
        "id": "safety",
        "stage": "close-out",
        "action": "check",
        "lines": [{"id": "earth", "text": "Earth"}],
    }
    bench = Bench(make_job(steps=[*STEPS, late]))
    bench.go_to("safety")
    bench.do(cmd.AnswerLine("earth", "does not work"))
    bench.do(cmd.FinishStep())
    bench.run_out()
    assert at_finish(bench) == ["failed:finish"]
    bench.do(cmd.AnswerLine("earth", "works"))
    assert at_finish(bench) == []


def test_what_did_not_work_before_opening_bars_nothing() -> None:
    early = {
        "id": "before",
        "stage": "preparation",
        "action": "check",
        "lines": [{"id": "fan", "text": "Fan"}],
    }
    bench = Bench(make_job(steps=[early, *STEPS]))
    bench.do(cmd.AnswerLine("fan", "does not work"))
    bench.do(cmd.FinishStep())
    bench.finish()


def test_a_skipped_refit_counts_as_left_out_before_sealing() -> None:
    bench = walk_to("foam-on")
    bench.do(cmd.SkipStep("later", "Ada"))
    bench.do(cmd.GoTo("bond-on"))
    assert "loose foam" in next(
        g.sentence for g in bench.refusal(cmd.FinishStep()).gates if g.kind == "count"
    )
