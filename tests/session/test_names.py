"""Names of steps that are done once more."""

from benchguide.session.names import again, free, root, same_step


def test_once_more_and_once_more_again() -> None:
    taken = {"lid-fit"}
    names = []
    for _ in range(3):
        names.append(again(names[-1] if names else "lid-fit", taken))
        taken.add(names[-1])
    assert names == ["lid-fit-again", "lid-fit-again-2", "lid-fit-again-3"]
    assert {root(name) for name in names} == {"lid-fit"}
    assert same_step("lid-fit", "lid-fit-again-3")
    assert not same_step("lid-fit", "lid-fit-2")


def test_names_stay_within_what_a_file_allows() -> None:
    long = "a" * 64
    taken = {long}
    for _ in range(200):
        taken.add(again(long, taken))
        taken.add(free(long, taken))
    assert len(taken) == 401
    assert max(map(len, taken)) == 64
    assert all(same_step(long, name) for name in taken if "again" in name)
