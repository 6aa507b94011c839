"""The as-found photo beside a refit step."""

from benchguide.session import commands as cmd
from benchguide.session.reference import as_found_for
from tests.session.small_job import Bench


def test_the_photo_of_exactly_this_part() -> None:
    bench = Bench()
    bench.go_to("board-fit")
    steps = bench.job.procedure.by_id
    for refit, removal in (("board-fit", "board-lift"), ("fan-close", "fan-open"), ("lid-fit", "lid-lift")):
        photo = as_found_for(bench.state, steps[refit])
        assert photo is not None
        assert photo.step == removal
    assert as_found_for(bench.state, steps["foam-on"]) is None
    assert as_found_for(bench.state, steps["board-lift"]) is None


def test_the_newest_of_several() -> None:
    bench = Bench()
    bench.go_to("lid-lift")
    bench.photo("as-found")
    bench.photo("as-found")
    assert as_found_for(bench.state, bench.job.procedure.by_id["lid-fit"]) == bench.state.photos[-1]


def test_a_photo_of_the_removal_comes_before_later_ones_of_the_part() -> None:
    bench = Bench()
    bench.go_to("board-fit")
    bench.photo("as-found")
    photo = as_found_for(bench.state, bench.state.step)
    assert photo is not None
    assert photo.step == "board-lift"
    bench.do(cmd.AddNote("fine"))
