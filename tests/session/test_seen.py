"""What the camera saw, judged in the session: poor photos hold, long screws stop, differences and the mat are kept."""

import pytest

from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.gates import gates_for_step
from benchguide.session.gates_part import gates_for_part_on
from benchguide.session.mat import (
    AGREE,
    CANNOT_TELL,
    DISAGREE,
    expected_in_cells,
    mat_against_ledger,
    mat_is_empty,
)
from tests.session.small_job import Bench

AT = "2031-03-04T08:30:00+00:00"


def photo(bench: Bench, name: str, purpose: str = "", *faults: str) -> str:
    sha = name * 64
    bench.do(cmd.KeepPhoto(sha, 1920, 1080, AT, "bench camera", purpose, faults=faults))
    return sha


def at(step: str) -> Bench:
    bench = Bench()
    bench.go_to(step)
    return bench


def gates(bench: Bench) -> list[str]:
    return [gate.id for gate in gates_for_step(bench.state, bench.state.step)]


def test_a_poor_required_photo_holds_its_step_until_a_better_one() -> None:
    bench = at("lid-lift")
    photo(bench, "1", "", "shaken")
    assert gates(bench) == ["poor-as-found:lid-lift"]
    said = str(bench.refusal(cmd.FinishStep()))
    assert "shaken" in said
    assert "keep it anyway" in said
    photo(bench, "2")
    assert bench.state.photos[-1].purpose == "as-found", "a retake is for what the poor one was for"
    assert gates(bench) == []


def test_a_poor_photo_can_be_kept_and_that_is_a_fact() -> None:
    bench = at("lid-lift")
    sha = photo(bench, "1", "", "glare", "dark")
    facts = bench.do(cmd.KeepPoorPhoto())
    assert [fact.what for fact in facts] == [ev.PoorPhotoKept(sha, "lid-lift")]
    assert gates(bench) == []
    assert "kept already" in str(bench.refusal(cmd.KeepPoorPhoto(sha)))
    bench.finish_step()


def test_a_poor_photo_that_no_step_needs_holds_nothing() -> None:
    bench = at("foam-off")
    photo(bench, "1", "free", "out-of-focus")
    assert gates(bench) == []
    assert "No poor photo" in str(bench.refusal(cmd.KeepPoorPhoto()))


def test_a_poor_as_left_photo_holds_the_refit() -> None:
    bench = at("board-fit")
    photo(bench, "1", "", "covered")
    assert gates(bench) == ["poor-as-left:board-fit"]
    bench.do(cmd.Waive("poor-as-left:board-fit", "lamp broken", "Ada"))
    assert gates(bench) == []


def test_a_good_photo_is_not_kept_as_poor() -> None:
    bench = at("lid-lift")
    sha = photo(bench, "1")
    assert "Nothing was found wrong" in str(bench.refusal(cmd.KeepPoorPhoto(sha)))
    assert "no such photo" in str(bench.refusal(cmd.KeepPoorPhoto("9" * 64)))


def compared(bench: Bench, found: str, left: str, count: int) -> cmd.KeepComparison:
    differ = tuple(
        cmd.Difference((10 * n, 5, 8, 8), (9 * n, 5, 8, 8), 0.9 - n / 10, "screw missing or extra")
        for n in range(1, count + 1)
    )
    return cmd.KeepComparison(found, left, True, "", differ)


def test_differences_are_answered_and_bar_nothing() -> None:
    bench = at("board-lift")
    found = photo(bench, "a")
    bench.go_to("board-fit")
    left = photo(bench, "b")
    bench.do(compared(bench, found, left, 2))
    assert gates(bench) == []
    bench.do(cmd.AnswerDifference("", 2, "mended"))
    assert bench.state.differences == {("board-fit", 2): "mended"}
    assert "intended, mended or not" in str(bench.refusal(cmd.AnswerDifference("", 1, "all good")))
    assert "no such difference" in str(bench.refusal(cmd.AnswerDifference("", 3, "mended")))
    bench.finish_step()
    bench.do(cmd.AnswerDifference("board-fit", 1, "intended"))
    assert len(bench.state.differences) == 2


def test_a_new_comparison_begins_without_answers() -> None:
    bench = at("board-lift")
    found = photo(bench, "a")
    bench.go_to("board-fit")
    first, second = photo(bench, "b"), photo(bench, "c", "as-left")
    bench.do(compared(bench, found, first, 2))
    bench.do(cmd.AnswerDifference("", 1, "mended"))
    bench.do(compared(bench, found, second, 1))
    assert bench.state.differences == {}
    assert bench.state.compared["board-fit"].as_left == second


def test_what_cannot_be_told_needs_a_reason() -> None:
    bench = at("board-lift")
    found = photo(bench, "a")
    bench.go_to("board-fit")
    left = photo(bench, "b")
    assert "reason" in str(bench.refusal(cmd.KeepComparison(found, left, False, " ")))
    assert "compared with" in str(bench.refusal(cmd.KeepComparison(left, found, True, "")))
    bench.do(cmd.KeepComparison(found, left, False, "The light is too different."))
    assert not bench.state.compared["board-fit"].candidates


def test_places_are_marked_on_a_photo_and_taken_away() -> None:
    bench = at("lid-lift")
    sha = photo(bench, "1")
    bench.do(cmd.MarkPlace(sha, "screw", 100.5, 200, 30))
    bench.do(cmd.MarkPlace(sha, "connector", 400, 300, 80))
    bench.do(cmd.ClearPlace(sha, 1))
    first, second = bench.state.places[sha]
    assert first is None
    assert second == ev.PlaceMarked(sha, 2, "connector", 400.0, 300.0, 80.0)
    for bad in (
        cmd.MarkPlace(sha, "screw", 1920, 5, 5),
        cmd.MarkPlace(sha, "screw", float("nan"), 5, 5),
        cmd.MarkPlace(sha, "star", 5, 5, 5),
        cmd.ClearPlace(sha, 1),
    ):
        bench.refusal(bad)


def seen(cell: str, count: int | None, at_least: int = 0, odd: str = "") -> cmd.CellSeen:
    reason = "" if count is not None else "Parts touch: spread them."
    return cmd.CellSeen(cell, count, count if count is not None else at_least, (), reason, odd)


def test_the_mat_beside_the_ledger_names_the_cell() -> None:
    bench = at("foam-off")
    bench.finish_step()
    assert expected_in_cells(bench.state) == {"A1": 4, "A2": 1, "B1": 1}
    rows = mat_against_ledger(
        bench.state,
        [
            seen("A1", 3),
            seen("A2", None, 1),
            seen("B1", 1),
            seen("B2", 0),
            seen("B3", None, 2),
            seen("C1", 1),
        ],
    )
    assert [(row.cell, row.verdict) for row in rows] == [
        ("A1", DISAGREE),
        ("A2", CANNOT_TELL),
        ("B1", AGREE),
        ("B2", AGREE),
        ("B3", DISAGREE),
        ("C1", DISAGREE),
    ]
    assert rows[0].sentence == "A1: 3 counted, 4 in the ledger."
    assert rows[1].sentence == "A2: Parts touch: spread them."
    odd = mat_against_ledger(bench.state, [seen("A1", 4, odd="A screw of 9.0 mm does not belong here.")])
    assert odd[0].verdict == DISAGREE
    assert "9.0 mm" in odd[0].sentence


def test_a_found_item_lies_on_the_mat_too_and_a_cell_that_is_not_there_cannot_be_told() -> None:
    bench = at("foam-off")
    bench.do(cmd.EnterExtra("a spring", "fell out", "Ada", "B1"))
    assert expected_in_cells(bench.state)["B1"] == 1
    rows = {row.cell: row for row in mat_against_ledger(bench.state, [seen("A1", 4)])}
    assert rows["B1"].verdict == CANNOT_TELL
    assert "no such cell" in rows["B1"].sentence


def test_a_reading_of_the_mat_is_kept_with_its_photo_and_what_the_ledger_said() -> None:
    bench = at("foam-off")
    sha = photo(bench, "5", "mat")
    bench.do(cmd.KeepMatReading(sha, "A4", (seen("A1", 4), seen("A2", 0)), ("The mat is not flat.",)))
    mat = bench.state.mat
    assert mat is not None
    assert [(c["cell"], c["expected"], c["verdict"]) for c in mat.cells] == [
        ("A1", 4, AGREE),
        ("A2", 1, DISAGREE),
    ]
    other = photo(bench, "6", "free")
    assert "taken of it" in str(bench.refusal(cmd.KeepMatReading(other, "A4", (seen("A1", 4),))))
    assert "once" in str(bench.refusal(cmd.KeepMatReading(sha, "A4", ())))


def test_an_empty_mat_needs_every_cell_read() -> None:
    assert mat_is_empty([seen("A1", 0), seen("A2", 0)])
    assert not mat_is_empty([seen("A1", 0), seen("A2", None)])
    assert not mat_is_empty([])


def test_a_screw_that_is_too_long_stops_until_another_is_measured() -> None:
    bench = at("screws-on")
    told = "Stop: 6.2 ± 0.1 mm is longer than the 5.4 mm that belong here."
    bench.do(cmd.KeepMeasurement("lid-screws", 6.2, 0.05, "longer: stop", told))
    assert gates(bench) == ["stop:screws-on"]
    assert "lid screws" in str(bench.refusal(cmd.FinishStep()))
    bench.refusal(cmd.PiecesBack("lid-screws", 1))
    assert [g.id for g in gates_for_part_on(bench.state, "lid-screws")] == ["stop:part/lid-screws"]
    bench.do(cmd.Waive("stop:screws-on", "spacer fitted", "Ada"))
    assert gates(bench) == []
    bench.do(cmd.KeepMeasurement("lid-screws", 6.3, 0.05, "longer: stop", told))
    assert gates(bench) == ["stop:screws-on"], "a waiver was for the screw before"
    bench.do(cmd.KeepMeasurement("lid-screws", 4.6, 0.05, "matches", "fits"))
    assert gates(bench) == []
    bench.finish_step()


@pytest.mark.parametrize(
    "bad",
    [
        cmd.KeepMeasurement("lid", 4, 0.1, "matches", ""),
        cmd.KeepMeasurement("none", 4, 0.1, "matches", ""),
        cmd.KeepMeasurement("lid-screws", float("inf"), 0.1, "matches", ""),
        cmd.KeepMeasurement("lid-screws", 4, 0, "matches", ""),
        cmd.KeepMeasurement("lid-screws", 4, 0.1, "safe", ""),
    ],
)
def test_what_is_no_measurement_is_refused(bad: cmd.KeepMeasurement) -> None:
    bench = at("screws-on")
    assert str(bench.refusal(bad)).endswith(".")
