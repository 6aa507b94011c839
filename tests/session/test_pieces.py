"""Single pieces: some of a group out or back, extras, and why a count differs."""

import pytest

from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.gates import gates_for_finish, gates_for_step
from benchguide.session.look import empty_places, in_the_way_off, in_the_way_on, lying, would_block
from benchguide.session.state import Mark
from tests.session.small_job import Bench


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.go_to("screws-off")
    return bench


def here(bench: Bench) -> list[str]:
    return [gate.id for gate in gates_for_step(bench.state, bench.state.step)]


def told(bench: Bench, command: cmd.Command) -> str:
    return str(bench.refusal(command))


# some of a group


def test_three_of_four_out_hold_the_step(bench: Bench) -> None:
    facts = bench.do(cmd.PiecesOut("lid-screws", 3, "A7"))
    assert [f.what for f in facts] == [ev.PartCameOff("lid-screws", 3, "A7", "screws-off")]
    assert told(bench, cmd.FinishStep()) == (
        "1 of 4 lid screws still in the device. Enter the rest, or say what became of it."
    )
    bench.do(cmd.PiecesOut("lid-screws", 1))
    assert [type(f.what) for f in bench.do(cmd.FinishStep())] == [ev.StepDone, ev.StepEntered]
    assert [(item.pieces, item.cell) for item in bench.state.ledger.out] == [(3, "A7"), (1, "A1")]


def test_without_a_count_the_whole_group_is_meant(bench: Bench) -> None:
    bench.do(cmd.FinishStep())
    assert bench.state.ledger.pieces_of("lid-screws") == 4


def test_a_waiver_leaves_the_rest_where_it_is(bench: Bench) -> None:
    bench.do(cmd.PiecesOut("lid-screws", 3))
    bench.do(cmd.Waive("pieces:screws-off", "head worn", "Ada"))
    bench.do(cmd.FinishStep())
    state = bench.state
    assert (state.ledger.pieces_of("lid-screws"), state.in_device("lid-screws")) == (3, 1)
    bench.go_to("lid-lift")
    assert "held:lid-lift" in here(bench)


def test_a_screw_that_never_was_there_is_accounted_for(bench: Bench) -> None:
    bench.do(cmd.PiecesOut("lid-screws", 3))
    bench.do(cmd.Reconcile("lid-screws", 1, "not-fitted", "the hole is empty", "Ada"))
    assert here(bench) == []
    bench.do(cmd.FinishStep())
    assert (bench.state.in_device("lid-screws"), bench.state.gone) == (0, {"lid-screws": 1})
    bench.finish()


def test_taking_the_step_back_puts_each_piece_where_it_was(bench: Bench) -> None:
    bench.do(cmd.PiecesOut("lid-screws", 3, "A7"))
    bench.do(cmd.PiecesOut("lid-screws", 1))
    bench.do(cmd.FinishStep())
    bench.go_to("screws-on")
    before = bench.state.ledger
    bench.do(cmd.FinishStep())
    bench.do(cmd.TakeBack())
    assert bench.state.ledger == before
    bench.do(cmd.PiecesBack("lid-screws", 2))
    assert [(i.pieces, i.cell) for i in bench.state.ledger.out] == [(2, "A7")]
    assert told(bench, cmd.FinishStep()).startswith("2 of 4 lid screws still out of the device.")
    bench.do(cmd.PiecesBack("lid-screws", 2))
    bench.do(cmd.FinishStep())
    assert bench.state.ledger.out == ()


@pytest.mark.parametrize(("pieces", "there"), [(0, 4), (5, 4), (-1, 4)])
def test_only_what_is_there_can_be_counted(bench: Bench, pieces: int, there: int) -> None:
    assert told(bench, cmd.PiecesOut("lid-screws", pieces)) == (
        f"{pieces} pieces of lid screws? {there} are in the device."
    )


def test_pieces_belong_to_their_step(bench: Bench) -> None:
    assert "does not take that part off" in told(bench, cmd.PiecesOut("foam", 1))
    assert "does not put that part back" in told(bench, cmd.PiecesBack("lid-screws", 1))
    assert told(bench, cmd.TakeOffPart("moon")) == "There is no part 'moon' in this device."
    assert told(bench, cmd.PutBackPart("lid")) == "0 pieces of lid? 0 are out."


def test_pieces_meet_the_hold_points_of_their_step() -> None:
    bench = Bench()
    bench.go_to("fan-open")
    assert [g.kind for g in bench.refusal(cmd.PiecesOut("fan-plug", 1)).gates] == ["as-found"]
    bench.photo()
    bench.do(cmd.PiecesOut("fan-plug", 1))
    assert bench.state.ledger.is_out("fan-plug")


# lost and found


def test_lost_found_and_supplied(bench: Bench) -> None:
    bench.do(cmd.FinishStep())
    bench.do(cmd.Reconcile("lid-screws", 2, "lost", "rolled away", "Ada"))
    assert told(bench, cmd.Reconcile("lid-screws", 3, "found", "r", "n")).endswith("2 are gone.")
    bench.do(cmd.Reconcile("lid-screws", 1, "found", "under the mat", "Ada"))
    bench.do(cmd.Reconcile("lid-screws", 1, "supplied", "new one from the drawer", "Ada"))
    state = bench.state
    assert (state.ledger.pieces_of("lid-screws"), state.gone, state.in_device("lid-screws")) == (4, {}, 0)


def test_an_extra_screw_bars_closing_until_it_is_settled() -> None:
    bench = Bench()
    bench.go_to("bond-on")
    assert told(bench, cmd.EnterExtra(" ", "r", "n")) == "Say what was found."
    bench.do(cmd.EnterExtra("black screw, 3 mm", "lay under the board", "Ada", "C9"))
    assert bench.state.ledger.on_mat == bench.state.ledger.pieces + 1
    (gate,) = [g for g in gates_for_step(bench.state, bench.state.step) if g.kind == "count"]
    assert gate.sentence == "Belongs nowhere yet: black screw, 3 mm."
    assert "count:finish" in {gate.id for gate in gates_for_finish(bench.state)}
    assert told(bench, cmd.SettleExtra("extra-9", "kept", "r", "n")).startswith("There is no such item")
    assert told(bench, cmd.SettleExtra("extra-1", "eaten", "r", "n")).startswith("An item can be assigned")
    bench.do(cmd.SettleExtra("extra-1", "kept", "from an earlier repair", "Ada"))
    assert bench.state.ledger.extras == ()
    bench.finish()


def test_a_lost_screw_that_turns_up_as_an_extra() -> None:
    bench = Bench()
    bench.go_to("warm")
    bench.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled away", "Ada"))
    bench.do(cmd.EnterExtra("a screw", "on the floor", "Ada", "C9"))
    bench.do(cmd.SettleExtra("extra-1", "assigned", "same length", "Ada", "lid-screws"))
    state = bench.state
    assert (state.ledger.pieces_of("lid-screws"), state.gone) == (4, {})
    assert state.ledger.out[-1].cell == "C9"
    bench.do(cmd.EnterExtra("another", "on the floor", "Ada"))
    refused = told(bench, cmd.SettleExtra("extra-2", "assigned", "r", "n", "lid-screws"))
    assert refused == "Every piece of lid screws is accounted for; this one belongs elsewhere."


def test_an_extra_that_fell_out_of_the_device_unnoticed() -> None:
    bench = Bench()
    bench.do(cmd.EnterExtra("a screw", "fell out", "Ada"))
    bench.do(cmd.SettleExtra("extra-1", "assigned", "the hole is empty", "Ada", "lid-screws"))
    assert (bench.state.ledger.pieces_of("lid-screws"), bench.state.in_device("lid-screws")) == (1, 3)


def test_handing_over_counts_the_extras_too(bench: Bench) -> None:
    bench.do(cmd.FinishStep())
    bench.do(cmd.EnterExtra("a screw", "fell out", "Ada"))
    assert "5 in the ledger" in told(bench, cmd.ChangePerson("Bo", 4))
    bench.do(cmd.ChangePerson("Bo", 5))


# questions


def test_what_is_in_the_way() -> None:
    bench = Bench()
    bench.go_to("foam-off")
    plug = in_the_way_off(bench.state, "fan-plug")
    assert ([(b.part, b.how) for b in plug.next], plug.further) == ([("cell-plug", "energy")], ("foam",))
    board = in_the_way_off(bench.state, "board")
    assert [(b.part, b.how) for b in board.next] == [("cell-plug", "holds"), ("fan-plug", "holds")]
    bench.go_to("compare")
    lid = in_the_way_on(bench.state, "lid")
    assert [(b.part, b.how) for b in lid.next] == [
        ("foam", "covers"), ("cell-plug", "covers"), ("fan-plug", "covers"),
    ]  # fmt: skip
    assert lid.further == ("board",)
    cell_plug = in_the_way_on(bench.state, "cell-plug")
    assert [(b.part, b.how) for b in cell_plug.next] == [("board", "holds"), ("fan-plug", "energy")]


def test_what_a_step_would_block() -> None:
    bench = Bench()
    bench.go_to("board-fit")
    steps = bench.state.route.by_id
    lid = would_block(bench.state, steps["lid-fit"])
    assert (lid.must_wait, lid.shut_in) == (("foam", "cell-plug", "fan-plug"), ("cell",))
    assert would_block(bench.state, steps["tidy"]).nothing
    off = Bench()
    off.go_to("foam-off")
    assert would_block(off.state, off.state.step).must_wait == ("lid",)


def test_empty_places_and_where_things_lie(bench: Bench) -> None:
    bench.do(cmd.PiecesOut("lid-screws", 2, "A7"))
    bench.do(cmd.PiecesOut("lid-screws", 1))
    bench.do(cmd.Reconcile("lid-screws", 1, "lost", "rolled away", "Ada"))
    (place,) = empty_places(bench.state)
    assert (place.part, place.empty, place.of, place.out, place.cells) == ("lid-screws", 3, 4, 2, ("A7",))
    items = lying(bench.state, bench.state.route.by_id["screws-on"])
    assert [(item.pieces, item.cell) for item in items] == [(2, "A7")]


# hold points


def test_a_skipped_measurement_proves_nothing() -> None:
    from tests.session.small_job import STEPS, make_job

    read = {
        "id": "dead", "stage": "way-in", "action": "read", "parts": ["cell-plug"],
        "reading": {"quantity": "residual voltage", "unit": "V", "low": 0, "high": 1},
    }  # fmt: skip
    bench = Bench(make_job(steps=[*STEPS[:7], read, *STEPS[7:]]))
    bench.go_to("dead")
    bench.do(cmd.SkipStep("no meter", "Ada"))
    gates = {gate.id: gate for gate in gates_for_step(bench.state, bench.state.step)}
    assert gates["discharge:fan-open"].sentence == "Not measured: residual voltage."
    bench.do(cmd.GoTo("dead"))
    bench.do(cmd.EnterReading(0.2))
    bench.do(cmd.FinishStep())
    assert bench.state.mark_of("dead").mark is Mark.DONE
    assert not [gate for gate in here(bench) if gate.startswith("discharge")]


def test_any_failed_line_bars_sealing_and_moved_parts_are_named_first() -> None:
    bench = Bench()
    bench.go_to("compare")
    bench.do(cmd.AnswerLine("shape", "does not work"))
    bench.do(cmd.AnswerLine("plugs", "works"))
    bench.do(cmd.FinishStep())
    bench.go_to("bond-on")
    (gate,) = [g for g in gates_for_step(bench.state, bench.state.step) if g.kind == "failed"]
    assert gate.told == "Does not work: Same shape. Find the cause before going on."
