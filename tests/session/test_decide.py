"""Every command: what follows from it, and how it is refused."""

import re
from dataclasses import asdict

import pytest

from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.apply import apply
from benchguide.session.decide import DECISIONS, Refused, decide
from benchguide.session.state import Job, Mark, Purpose, State, Status
from tests.session.small_job import STEPS, Bench, make_job


@pytest.fixture
def bench() -> Bench:
    return Bench()


def told(bench: Bench, command: cmd.Command) -> str:
    return str(bench.refusal(command))


def test_every_command_is_judged() -> None:
    written = {c for c in vars(cmd).values() if isinstance(c, type) and issubclass(c, cmd.Command)}
    assert written == {cmd.Command, cmd.StartSession, *DECISIONS}


# start


def test_start() -> None:
    bench = Bench(start=False)
    assert told(bench, cmd.FinishStep()) == "The session has not been started."
    for job, person in (("", "Ada"), ("J-1", "  ")):
        assert told(bench, cmd.StartSession(job, person, "d", "p")) == "A job number and a name are needed."
    bench.do(cmd.StartSession(" J-1 ", " Ada ", "d", "p"))
    assert [f.what for f in bench.facts] == [
        ev.SessionStarted("J-1", "Ada", "Sample box", "Replace the main board", "d", "p"),
        ev.StepEntered("ready", "next"),
    ]
    state = bench.state
    assert (state.status, state.person, state.step.id, state.began) == (
        Status.WORKING,
        "Ada",
        "ready",
        bench.clock.now(),
    )
    assert "already been started" in told(bench, cmd.StartSession("J-2", "Ada", "d", "p"))


def test_a_procedure_without_steps_cannot_be_started() -> None:
    job = make_job()
    bench = Bench(Job(job.device, job.procedure.model_copy(update={"steps": ()})), start=False)
    assert told(bench, cmd.StartSession("J", "A", "d", "p")) == "This procedure has no steps."


# walking


def test_finish_step_moves_the_parts_and_shows_the_next(bench: Bench) -> None:
    bench.go_to("screws-off")
    facts = bench.do(cmd.FinishStep(), 5)
    assert [f.what for f in facts] == [
        ev.PartCameOff("lid-screws", 4, "A1", "screws-off"),
        ev.StepDone("screws-off"),
        ev.StepEntered("warm", "next"),
    ]
    assert bench.state.mark_of("screws-off").mark is Mark.DONE
    assert bench.state.last_done == "screws-off"


def test_the_last_step_enters_nothing(bench: Bench) -> None:
    bench.go_to("tidy")
    assert [type(f.what) for f in bench.do(cmd.FinishStep())] == [ev.StepDone]
    assert bench.state.step.id == "tidy"


def test_go_back_and_go_to(bench: Bench) -> None:
    assert told(bench, cmd.GoBack()) == "This is the first step."
    bench.go_to("warm")
    bench.do(cmd.GoBack())
    assert (bench.state.step.id, bench.state.mark_of("screws-off").mark) == ("screws-off", Mark.DONE)
    bench.do(cmd.GoTo("fan-open"))
    assert bench.state.step.id == "fan-open"
    assert told(bench, cmd.GoTo("fan-open")) == "This step is already on the bench."
    assert told(bench, cmd.GoTo("moon")) == "There is no step 'moon' in this procedure."


def test_repeat_is_a_further_visit_and_moves_nothing_twice(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.GoBack(), 1)
    bench.do(cmd.RepeatStep(), 2)
    assert [(v.step, v.number, v.why) for v in bench.state.all_visits][-2:] == [
        ("screws-off", 2, "back"),
        ("screws-off", 3, "again"),
    ]
    bench.do(cmd.FinishStep(), 3)
    assert bench.state.ledger.pieces_of("lid-screws") == 4


# skip


def test_skip_needs_reason_and_name(bench: Bench) -> None:
    bench.go_to("screws-off")
    for reason, name in (("", "Ada"), ("none fitted", " ")):
        assert told(bench, cmd.SkipStep(reason, name)) == "A reason and a name are needed."
    bench.do(cmd.SkipStep("none fitted", "Ada"))
    assert bench.state.mark_of("screws-off").mark is Mark.SKIPPED
    assert bench.state.step.id == "warm"
    assert not bench.state.ledger.out


def test_a_done_step_cannot_be_skipped(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.GoBack())
    assert "done already" in told(bench, cmd.SkipStep("r", "n"))


def test_refit_after_a_skipped_removal_moves_nothing() -> None:
    bench = Bench()
    bench.go_to("foam-off")
    bench.do(cmd.SkipStep("no foam in this one", "Ada"))
    bench.do(cmd.GoTo("foam-on"))
    assert bench.moving() == ()
    bench.do(cmd.FinishStep())
    assert not bench.state.ledger.is_out("foam")
    assert bench.state.mark_of("foam-on").mark is Mark.DONE


def test_a_step_skipped_out_of_order_can_be_done_later(bench: Bench) -> None:
    bench.do(cmd.GoTo("try-out"))
    bench.do(cmd.SkipStep("later", "Ada"))
    assert bench.state.step.id == "lid-fit"
    bench.do(cmd.GoTo("try-out"))
    bench.finish_step()
    assert bench.state.mark_of("try-out").mark is Mark.DONE


# take back


def test_take_back_puts_the_ledger_as_before(bench: Bench) -> None:
    assert told(bench, cmd.TakeBack()) == "There is no step to take back."
    bench.go_to("screws-off")
    before = bench.state.ledger
    bench.finish_step()
    bench.do(cmd.TakeBack())
    assert (bench.state.ledger, bench.state.step.id) == (before, "screws-off")
    assert bench.state.mark_of("screws-off").mark is Mark.OPEN
    assert told(bench, cmd.TakeBack()) == "There is no step to take back."


def test_take_back_of_a_refit_gives_cell_and_step_back(bench: Bench) -> None:
    bench.go_to("board-fit")
    before = bench.state.ledger
    bench.finish_step()
    bench.do(cmd.TakeBack())
    assert bench.state.ledger.last_of("board") == before.last_of("board")


def test_take_back_of_a_step_done_twice_undoes_it_once(bench: Bench) -> None:
    bench.go_to("volts")
    for step in ("foam-off", "foam-on", "foam-off", "foam-on"):
        bench.do(cmd.GoTo(step))
        bench.do(cmd.FinishStep())
    bench.do(cmd.TakeBack())
    assert bench.state.ledger.pieces_of("foam") == 1


def test_parts_that_moved_again_bar_taking_back(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled away", "Ada"))
    assert "moved again" in told(bench, cmd.TakeBack())


def test_a_skipped_step_can_be_taken_back(bench: Bench) -> None:
    bench.do(cmd.SkipStep("r", "n"))
    bench.do(cmd.TakeBack())
    assert (bench.state.step.id, bench.state.mark_of("ready").mark) == ("ready", Mark.OPEN)


# photos


def test_the_step_decides_what_a_photo_is_for(bench: Bench) -> None:
    bench.photo()
    bench.go_to("lid-lift")
    bench.photo()
    bench.photo()
    bench.do(cmd.FinishStep())
    bench.go_to("lid-fit")
    bench.photo()
    bench.photo()
    steps = ("ready", "lid-lift", "lid-fit")
    assert [(p.step, p.purpose, p.part) for p in bench.state.photos if p.step in steps] == [
        ("ready", "free", ""),
        ("lid-lift", "as-found", "lid"),
        ("lid-lift", "free", "lid"),
        ("lid-fit", "as-left", "lid"),
        ("lid-fit", "free", "lid"),
    ]
    assert len(bench.state.photos_of("lid-lift", Purpose.AS_FOUND)) == 1


def test_a_photo_has_one_of_four_purposes(bench: Bench) -> None:
    photo = cmd.KeepPhoto("0" * 64, 8, 8, "2031-03-04T08:30:00+00:00", "s", "holiday")
    assert told(bench, photo) == "A photo is as-found, as-left, mat or free, not 'holiday'."


# notes, holds


def test_note(bench: Bench) -> None:
    assert told(bench, cmd.AddNote(" \n")) == "The note is empty."
    bench.do(cmd.AddNote(" corroded "))
    assert [f.what for f in bench.state.notes] == [ev.NoteAdded("ready", "corroded")]


def test_hold(bench: Bench) -> None:
    assert told(bench, cmd.EndHold()) == "Work is not on hold."
    assert told(bench, cmd.BeginHold(" ")) == "A hold needs a reason."
    bench.do(cmd.BeginHold("door bell"))
    for command in (cmd.FinishStep(), cmd.GoBack(), cmd.BeginHold("again"), cmd.FinishSession()):
        assert told(bench, command) == "Work is on hold. Continue first."
    bench.do(cmd.AddNote("parcel"))
    bench.do(cmd.EndHold(), 60)
    assert (bench.state.status, bench.state.to_confirm) == (Status.WORKING, False)
    assert bench.state.all_visits[-1].hold_us == 60_000_000


# countdowns


def test_countdown_commands(bench: Bench) -> None:
    assert told(bench, cmd.StartCountdown()) == "This step has no countdown."
    assert told(bench, cmd.RingCountdown("warm#1")) == "That countdown is not running."
    assert told(bench, cmd.StopCountdown("warm#1", "r")) == "That countdown is not running."
    bench.go_to("warm")
    bench.do(cmd.StartCountdown())
    assert bench.facts[-1].what == ev.CountdownStarted("warm#1", "warm", "heat", 120)
    assert told(bench, cmd.StartCountdown()) == "The countdown of this step is running already."
    assert told(bench, cmd.StopCountdown("warm#1", "")) == "Stopping a countdown needs a reason."
    bench.do(cmd.StopCountdown("warm#1", "soft already"))
    bench.do(cmd.StartCountdown())
    assert [c.id for c in bench.state.running] == ["warm#2"]


def test_a_countdown_does_not_ring_early(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.StartCountdown())
    bench.clock.advance(119_999_999)
    assert told(bench, cmd.RingCountdown("warm#1")) == "The countdown is not over: 1 seconds are left."
    bench.clock.advance(1)
    bench.do(cmd.RingCountdown("warm#1"))
    assert not bench.state.running


# lists and readings


def test_answers(bench: Bench) -> None:
    assert told(bench, cmd.AnswerLine("shape", "works")) == "This step has no line 'shape'."
    bench.go_to("compare")
    assert told(bench, cmd.AnswerLine("shape", "fine")).startswith("Answer with: works")
    bench.do(cmd.AnswerLine("shape", "does not work"))
    bench.do(cmd.AnswerLine("shape", "works"))
    assert bench.state.answers == {("compare", "shape"): "works"}


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), 10**400, "warm", None])
def test_a_reading_is_a_number(bench: Bench, value: float) -> None:
    assert told(bench, cmd.EnterReading(value)) == "This step asks for no measured value."
    bench.do(cmd.GoTo("volts"))
    assert told(bench, cmd.EnterReading(value)) == "Enter a number."


def test_a_reading_is_kept_with_its_unit(bench: Bench) -> None:
    bench.do(cmd.GoTo("volts"))
    bench.do(cmd.EnterReading(4))
    assert bench.state.readings["volts"] == ev.ReadingTaken("volts", "supply voltage", "V", 4.0)


# counts


@pytest.mark.parametrize("pieces", [0, -1, 5])
def test_only_what_is_out_can_be_accounted_for(bench: Bench, pieces: int) -> None:
    bench.go_to("warm")
    refused = told(bench, cmd.Reconcile("lid-screws", pieces, "lost", "r", "n"))
    assert refused == f"{pieces} pieces cannot be accounted for; 4 are out."


def test_reconcile(bench: Bench) -> None:
    bench.go_to("warm")
    assert told(bench, cmd.Reconcile("lid-screws", 1, "eaten", "r", "n")).startswith("Pieces can be lost")
    assert told(bench, cmd.Reconcile("lid-screws", 1, "lost", "", "n")) == "A reason and a name are needed."
    bench.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled away", "Ada"))
    state = bench.state
    assert (state.ledger.pieces_of("lid-screws"), state.in_device("lid-screws")) == (3, 0)
    bench.do(cmd.GoBack())
    assert bench.moving() == ()
    assert told(bench, cmd.Reconcile("nothing", 1, "lost", "r", "n")).endswith("0 are out.")


def test_a_lost_screw_does_not_bar_the_way_in(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled away", "Ada"))
    bench.finish()
    assert bench.state.status is Status.FINISHED


def test_a_replaced_piece_is_in_the_device_and_can_come_off_again(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.Reconcile("lid-screws", 1, "replaced", "head worn", "Ada"))
    assert bench.state.in_device("lid-screws") == 1
    bench.do(cmd.GoBack())
    bench.do(cmd.FinishStep())
    assert bench.state.ledger.pieces_of("lid-screws") == 4


def test_lost_and_replaced_pieces_together(bench: Bench) -> None:
    bench.go_to("warm")
    bench.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled away", "Ada"))
    bench.do(cmd.Reconcile("lid-screws", 1, "replaced", "head worn", "Ada"))
    bench.do(cmd.GoBack())
    assert bench.do(cmd.FinishStep())[0].what == ev.PartCameOff("lid-screws", 1, "A1", "screws-off")
    assert bench.state.ledger.pieces_of("lid-screws") == 3


def test_hand_over_counts(bench: Bench) -> None:
    bench.go_to("warm")
    assert "4 in the ledger. Count again together." in told(bench, cmd.ChangePerson("Bo", 3))
    assert told(bench, cmd.ChangePerson(" ", 4)).startswith("The name of the person")
    facts = bench.do(cmd.ChangePerson("Bo", 4))
    assert facts[0].what == ev.PersonChanged("Ada", "Bo", 4)
    assert facts[0].by == bench.state.person == "Bo"
    assert told(bench, cmd.FinishStep()) == "Confirm the last action first."
    bench.do(cmd.ConfirmLast())
    bench.finish_step()
    assert bench.facts[-1].by == "Bo"


# waivers


def test_waive(bench: Bench) -> None:
    bench.go_to("lid-lift")
    assert told(bench, cmd.Waive("held:lid-lift", "r", "n")) == "There is no such hold point in the way now."
    assert told(bench, cmd.Waive("as-found:lid-lift", " ", "n")) == "A reason and a name are needed."
    bench.do(cmd.Waive("as-found:lid-lift", "camera broken", "Ada"))
    bench.do(cmd.FinishStep())
    assert bench.state.ledger.is_out("lid")
    assert bench.state.waivers[-1].reason == "camera broken"


def test_a_refusal_names_the_gates(bench: Bench) -> None:
    bench.go_to("lid-lift")
    refused = bench.refusal(cmd.FinishStep())
    assert [gate.id for gate in refused.gates] == ["as-found:lid-lift"]
    assert str(refused) == (
        "The as-found photo of this step is missing. Take the photo before you touch anything."
    )


# the end


def test_finish(bench: Bench) -> None:
    refused = bench.refusal(cmd.FinishSession())
    assert re.match(r"20 steps are neither done nor skipped\.", str(refused))
    bench.go_to("tidy")
    bench.finish_step()
    assert [g.id for g in bench.refusal(cmd.FinishSession()).gates] == ["wait:finish"]
    bench.run_out()
    bench.do(cmd.FinishSession())
    state = bench.state
    assert (state.status, state.visit, state.ended) == (Status.FINISHED, None, bench.clock.now())
    assert told(bench, cmd.AddNote("x")) == "This session is closed; it can be read, not changed."


def test_abandon(bench: Bench) -> None:
    assert told(bench, cmd.AbandonSession("", "Ada")) == "A reason and a name are needed."
    bench.do(cmd.AbandonSession("board broken", "Ada"), 9)
    assert bench.state.status is Status.ABANDONED
    assert bench.state.visits[-1].ended == bench.clock.now()


# for all


def test_refusing_changes_nothing(bench: Bench) -> None:
    before = asdict(bench.state.visit), bench.state  # type: ignore[arg-type]
    bench.clock.advance(1)
    bench.refusal(cmd.GoBack())
    assert (asdict(bench.state.visit), bench.state) == before  # type: ignore[arg-type]


def test_the_same_inputs_give_the_same_answer(bench: Bench) -> None:
    bench.go_to("lid-lift")
    bench.photo()
    now = bench.clock.advance(3)
    first, second = (decide(bench.state, cmd.FinishStep(), now) for _ in range(2))
    assert first == second
    assert apply(bench.state, first[0]) == apply(bench.state, second[0])


def test_a_part_named_twice_in_a_step_moves_once() -> None:
    steps = [{"id": "off", "stage": "way-in", "action": "off", "parts": ["foam", "foam"]}]
    parts = [{"id": "foam", "kind": "loose", "name": "foam"}]
    bench = Bench(make_job(parts, steps))
    bench.do(cmd.FinishStep())
    assert bench.state.ledger.pieces == 1


def test_the_whole_job() -> None:
    bench = Bench()
    bench.finish()
    state: State = bench.state
    assert state.status is Status.FINISHED
    assert not state.ledger.out
    assert all(state.mark_of(step["id"]).mark is Mark.DONE for step in STEPS)
    assert isinstance(bench.refusal(cmd.GoBack()), Refused)
