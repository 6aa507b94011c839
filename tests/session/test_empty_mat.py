"""Closing a job in which the camera read the mat asks for the photo of the mat left empty, or a waiver."""

from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_finish, gates_for_step
from benchguide.session.state import Status
from tests.session.small_job import Bench

AT = "2031-03-04T08:30:00+00:00"


def read(bench: Bench, name: str, **counts: int | None) -> None:
    """Photograph the mat and keep what was read: A1, A2 and B1, empty where nothing else is said."""
    sha = name * 64
    bench.do(cmd.KeepPhoto(sha, 1920, 1080, AT, "bench camera", "mat"))
    seen = {"A1": 0, "A2": 0, "B1": 0, **counts}
    cells = tuple(cmd.CellSeen(cell, count, count or 0) for cell, count in seen.items())
    bench.do(cmd.KeepMatReading(sha, "A5", cells))


def at(step: str) -> Bench:
    bench = Bench()
    bench.go_to(step)
    return bench


def done(bench: Bench) -> list[str]:
    """Do the rest of the steps; the hold points of closing that are left."""
    bench.go_to("tidy")
    bench.finish_step()
    bench.run_out()
    return [gate.told for gate in gates_for_finish(bench.state)]


def test_without_a_reading_nothing_is_asked() -> None:
    bench = at("foam-off")
    assert done(bench) == []
    bench.do(cmd.FinishSession())
    assert bench.state.status is Status.FINISHED


def test_a_mat_that_was_read_is_to_be_shown_empty_at_the_end() -> None:
    bench = at("foam-off")
    read(bench, "1", A1=4, A2=1)
    assert gates_for_step(bench.state, bench.state.step) == (), "no step is held up by it"
    asked = done(bench)
    assert asked == [
        "The photo of the empty mat is missing. Show the mat to the camera (Q) and keep the reading."
    ]
    assert "empty mat" in str(bench.refusal(cmd.FinishSession()))
    read(bench, "2", A1=1)
    assert "On the mat: A1." in str(bench.refusal(cmd.FinishSession()))
    read(bench, "3", A2=None)
    assert "cannot be told whether the mat is empty: A2" in str(bench.refusal(cmd.FinishSession()))
    read(bench, "4")
    bench.do(cmd.FinishSession())
    assert bench.state.status is Status.FINISHED
    assert [p.purpose for p in bench.state.photos if p.sha256 == "4" * 64] == ["mat"]


def test_a_waiver_with_reason_does_as_well() -> None:
    bench = at("foam-off")
    read(bench, "1", A1=4, A2=1)
    done(bench)
    bench.do(cmd.Waive("empty-mat:finish", "the camera is broken", "Ada"))
    bench.do(cmd.FinishSession())
    assert bench.state.status is Status.FINISHED
    assert [(w.gate, w.reason) for w in bench.state.waivers] == [("empty-mat:finish", "the camera is broken")]


def test_an_empty_mat_before_the_work_proves_nothing_about_its_end() -> None:
    bench = Bench()
    read(bench, "1")
    assert done(bench) == [
        "The photo of the empty mat is missing. Show the mat to the camera (Q) and keep the reading."
    ]


def test_where_nothing_came_off_nothing_is_asked() -> None:
    bench = Bench()
    read(bench, "1")
    assert "empty-mat" not in {gate.kind for gate in gates_for_finish(bench.state)}
