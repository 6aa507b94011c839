"""Closed, killed, slept, handed over: what the clock counts, and when the last action is to be confirmed."""

import pytest

from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.apply import apply, as_at, fold
from benchguide.session.codec import fact_from_doc, fact_to_doc
from benchguide.session.events import Fact
from benchguide.session.state import Status
from benchguide.session.times import session_times, step_times
from tests.session.small_job import SECOND, Bench


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.go_to("foam-off")
    return bench


def last_visit(bench: Bench) -> dict[str, float]:
    visit = bench.state.all_visits[-1]
    values = {
        "touch": visit.touch_us,
        "waiting": visit.waiting_us,
        "hold": visit.hold_us,
        "asleep": visit.asleep_us,
        "away": visit.away_us,
    }
    return {name: us / SECOND for name, us in values.items() if us}


@pytest.mark.parametrize("reboot", [False, True])
def test_killed_the_time_after_the_last_sign_of_life_is_away(bench: Bench, reboot: bool) -> None:
    bench.kill_and_resume(40, 600, reboot)
    assert last_visit(bench) == {"touch": 40, "away": 600}
    assert bench.facts[-1].what.cause == "interrupted"  # type: ignore[attr-defined]


@pytest.mark.parametrize("reboot", [False, True])
def test_killed_during_a_hold(bench: Bench, reboot: bool) -> None:
    bench.do(cmd.BeginHold("lunch"))
    bench.kill_and_resume(40, 600, reboot)
    assert bench.state.status is Status.HELD
    bench.do(cmd.EndHold(), 5)
    assert last_visit(bench) == {"hold": 45, "away": 600}


def test_killed_during_a_countdown_with_sleep_before_and_after(bench: Bench) -> None:
    bench = Bench()
    bench.go_to("warm")
    bench.do(cmd.StartCountdown(), 7)
    bench.clock.suspend(30 * SECOND)
    alive = bench.clock.advance(10 * SECOND)
    bench.clock.suspend(500 * SECOND)
    bench.clock.advance(20 * SECOND)
    bench.do(cmd.ResumeSession(alive.to_doc()))
    assert last_visit(bench) == {"touch": 7, "waiting": 40, "away": 520}


def test_killed_after_sleep_at_work(bench: Bench) -> None:
    bench.clock.suspend(30 * SECOND)
    bench.kill_and_resume(10, 600)
    assert last_visit(bench) == {"touch": 10, "asleep": 30, "away": 600}


@pytest.mark.parametrize("doc", [{}, {"wall": "torn"}, {"boot_us": []}])
def test_without_a_sign_of_life_the_last_fact_counts(bench: Bench, doc: dict[str, object]) -> None:
    bench.clock.advance(50 * SECOND)
    bench.do(cmd.ResumeSession(doc))
    assert last_visit(bench) == {"away": 50}


def test_a_sign_of_life_before_the_last_fact(bench: Bench) -> None:
    old = bench.clock.now()
    bench.do(cmd.AddNote("later"), 8)
    bench.clock.advance(50 * SECOND)
    bench.do(cmd.ResumeSession(old.to_doc()))
    assert last_visit(bench) == {"touch": 8, "away": 50}


def test_a_sign_of_life_after_the_return(bench: Bench) -> None:
    bench.clock.advance(50 * SECOND)
    now = bench.clock.now()
    later = bench.clock.advance(9 * SECOND)
    bench.clock.advance(-9 * SECOND)
    assert bench.clock.now() == now
    bench.do(cmd.ResumeSession(later.to_doc()))
    assert last_visit(bench) == {"touch": 50}


def test_wall_clock_set_back_over_a_restart_leaves_the_work_before_it(bench: Bench) -> None:
    alive = bench.clock.advance(40 * SECOND)
    bench.clock.jump(-86_400 * SECOND)
    bench.clock.reboot(60 * SECOND)
    bench.do(cmd.ResumeSession(alive.to_doc()))
    assert last_visit(bench) == {"touch": 40}
    assert bench.state.all_visits[-1].doubtful


def test_a_reading_taken_too_early_counts_nothing_twice(bench: Bench) -> None:
    """Two threads: the photo was exposed before the note, and entered after it."""
    early = bench.clock.now()
    bench.do(cmd.AddNote("first"), 5)
    late = bench.clock.now()
    bench.state = apply(bench.state, Fact(early, "Ada", ev.NoteAdded("foam-off", "second")))
    assert as_at(bench.state, late).all_visits[-1].touch_us == 5 * SECOND


def test_closed_in_order(bench: Bench) -> None:
    bench.do(cmd.LeaveBench(), 11)
    for command in (cmd.FinishStep(), cmd.AddNote("x"), cmd.LeaveBench()):
        assert str(bench.refusal(command)) == "The session must be resumed first."
    bench.clock.reboot(3600 * SECOND)
    bench.do(cmd.ResumeSession(bench.facts[-1].at.to_doc()))
    assert last_visit(bench) == {"touch": 11, "away": 3600}
    assert bench.facts[-1].what.cause == "closed"  # type: ignore[attr-defined]
    assert not bench.state.away


def test_closed_in_order_a_later_sign_of_life_adds_no_work(bench: Bench) -> None:
    bench.do(cmd.LeaveBench(), 11)
    beat = bench.clock.advance(5 * SECOND)
    bench.clock.advance(5 * SECOND)
    bench.do(cmd.ResumeSession(beat.to_doc()))
    assert last_visit(bench) == {"touch": 11, "away": 10}


def test_after_a_crash_the_last_three_actions_and_a_question(bench: Bench) -> None:
    bench.kill_and_resume(1, 1)
    assert [type(f.what) for f in bench.state.recent] == [ev.StepDone, ev.PhotoTaken, ev.StepDone]
    assert bench.state.to_confirm
    assert str(bench.refusal(cmd.FinishStep())) == "Confirm the last action first."
    bench.do(cmd.AddNote("looking"))
    bench.do(cmd.ConfirmLast())
    bench.finish_step()
    assert str(bench.refusal(cmd.ConfirmLast())) == "There is nothing to confirm."


def test_taking_back_answers_the_question(bench: Bench) -> None:
    bench.kill_and_resume(1, 1)
    bench.do(cmd.TakeBack())
    assert (bench.state.step.id, bench.state.to_confirm) == ("lid-lift", False)
    bench.do(cmd.FinishStep())


def test_nothing_done_nothing_to_confirm() -> None:
    bench = Bench()
    bench.kill_and_resume(1, 1)
    assert not bench.state.to_confirm


@pytest.mark.parametrize(("seconds", "asks"), [(120, False), (120.000_001, True)])
def test_a_hold_over_two_minutes_asks(bench: Bench, seconds: float, asks: bool) -> None:
    bench.do(cmd.BeginHold("door bell"))
    bench.do(cmd.EndHold(), seconds)
    assert bench.state.to_confirm is asks


@pytest.mark.parametrize(("seconds", "asks"), [(120, False), (121, True)])
def test_a_sleep_over_two_minutes_asks(bench: Bench, seconds: int, asks: bool) -> None:
    now = bench.clock.suspend(seconds * SECOND)
    assert as_at(bench.state, now).to_confirm is asks
    if asks:
        assert str(bench.refusal(cmd.FinishStep())) == "Confirm the last action first."
        bench.do(cmd.ConfirmLast())
    bench.finish_step()
    assert step_times(bench.state)["foam-off"].asleep_s == seconds


def test_a_new_person_can_take_over_before_confirming(bench: Bench) -> None:
    bench.kill_and_resume(1, 1)
    bench.do(cmd.ChangePerson("Bo", bench.state.ledger.pieces))
    bench.do(cmd.ConfirmLast())
    assert bench.facts[-1].by == "Bo"


def test_the_same_fold_on_resume(bench: Bench) -> None:
    bench.kill_and_resume(3.000_001, 4.000_009, reboot=True)
    read = [fact_from_doc(fact_to_doc(fact)) for fact in bench.facts]
    assert fold(bench.job, read) == bench.state


def test_a_countdown_survives_a_restart_and_rings() -> None:
    bench = Bench()
    bench.go_to("warm")
    bench.do(cmd.StartCountdown())
    bench.kill_and_resume(20, 90, reboot=True)
    bench.clock.advance(9 * SECOND)
    assert "1 seconds" in str(bench.refusal(cmd.RingCountdown("warm#1")))
    bench.do(cmd.RingCountdown("warm#1"), 1)
    bench.do(cmd.ConfirmLast())
    bench.do(cmd.FinishStep())
    assert bench.state.step.id == "bond-off"


def test_sums_over_visits(bench: Bench) -> None:
    began = bench.clock.now()
    bench.finish_step(4)
    bench.do(cmd.GoBack(), 3)
    bench.do(cmd.FinishStep(), 2)
    times = step_times(bench.state)["foam-off"]
    assert (times.touch_s, times.total_s, times.doubtful) == (6, 6, False)
    whole = session_times(as_at(bench.state, bench.clock.advance(SECOND)))
    spent = bench.clock.now().boot_us - bench.facts[0].at.boot_us
    assert whole.total_s == spent / SECOND
    assert began.boot_us < bench.clock.now().boot_us
