"""Times beside past jobs, two sessions beside each other, and looking closely at a photo: with real sessions."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from benchguide.review.record import Record, read_record
from benchguide.session import commands as cmd
from benchguide.store.live import start_session
from benchguide.window.records_compare import compare_rows
from benchguide.window.records_past import middle, middle_words, past_of
from benchguide.window.records_room import RecordsRoom
from benchguide.window.theme import DARK, Theme, apply_theme, sizes_on
from tests.review.sample_sessions import Runner, eventful, make_job

Key = Qt.Key


@pytest.fixture
def theme(qapp: QApplication) -> Theme:
    made = Theme(DARK, sizes_on(qapp.primaryScreen(), 100))
    apply_theme(qapp, made)
    return made


@pytest.fixture
def runner(tmp_path: Path) -> Iterator[Runner]:
    """An eventful job first, then one that is slower at the lid, and one more: three finished, one open."""
    made = eventful(Runner(tmp_path / "data"))
    for number, seconds in (("J-18", 40.0), ("J-19", 20.0), ("J-20", 10.0)):
        made.clock.advance(3600)
        made.live = start_session(made.log, make_job(), number, "Chandra", made.clock)
        made.go_to("lid-lift")
        made.finish_step(seconds)
        if number != "J-20":
            made.finish()
    yield made
    made.log.close()


@pytest.fixture
def room(qtbot: QtBot, theme: Theme, runner: Runner) -> Iterator[RecordsRoom]:
    def read(session: str) -> Record:
        return read_record(runner.log, session)

    made = RecordsRoom(theme, runner.log.sessions, read, runner.shelf)
    qtbot.addWidget(made)
    made.resize(1280, 800)
    with qtbot.waitExposed(made):
        made.show()
    made.refresh()
    yield made
    made.stop()


def open_record(qtbot: QtBot, room: RecordsRoom, session: str) -> None:
    room.open_record(session)
    qtbot.waitUntil(lambda: room.page.record is not None and room.page.record.session == session)


def test_times_stand_beside_past_jobs(qtbot: QtBot, room: RecordsRoom, runner: Runner) -> None:
    open_record(qtbot, room, runner.session)
    qtbot.waitUntil(lambda: "past median" in room.page.times.rows.rows[0].spoken)
    lid = next(row for row in room.page.times.rows.rows if row.key == "lid-lift")
    records = [read_record(runner.log, r.session_id) for r in runner.log.sessions() if r.state == "finished"]
    past = past_of(records)
    assert past.jobs == 3
    assert past.words("lid-lift") in lid.soft
    assert "(3 jobs, 75 % interval)" in lid.spoken
    # the lid was skipped over in no job, the last step in one: two jobs are too few
    tidy = next(row for row in room.page.times.rows.rows if row.key == "tidy")
    assert "past: cannot tell (2 jobs)" in tidy.spoken
    assert not any(
        name in row.spoken for row in room.page.times.rows.rows for name in ("Ada", "Bela", "Chandra")
    )


def test_an_open_job_is_no_past(runner: Runner) -> None:
    assert past_of([read_record(runner.log, runner.session)]).jobs == 0


@pytest.mark.parametrize(
    ("jobs", "rank", "share"),
    # ranks and coverage of the interval of the median by the binomial distribution with one half; these values stand
    # in the usual tables of order statistics (from memory: H. A. David and H. N. Nagaraja, Order Statistics)
    [
        (3, 1, 0.75),
        (5, 1, 0.9375),
        (6, 1, 0.96875),
        (9, 2, 0.9609),
        (10, 2, 0.9785),
        (20, 6, 0.9586),
        (25, 8, 0.9567),
    ],
)
def test_the_interval_of_the_median(jobs: int, rank: int, share: float) -> None:
    found = middle([float(n) for n in range(jobs, 0, -1)])
    assert found is not None
    assert (found.low_s, found.high_s) == (rank, jobs - rank + 1)
    assert found.coverage == pytest.approx(share, abs=5e-5)
    assert found.median_s == (jobs + 1) / 2


@pytest.mark.parametrize("seconds", [[], [10.0], [10.0, 20.0]])
def test_too_few_jobs_tell_nothing(seconds: list[float]) -> None:
    assert middle(seconds) is None
    assert "cannot tell" in middle_words(seconds)


def test_two_sessions_are_compared_step_by_step(qtbot: QtBot, room: RecordsRoom, runner: Runner) -> None:
    rows = {row.job: row for row in runner.log.sessions()}
    open_record(qtbot, room, rows["J-18"].session_id)
    page = room.page
    page.tabs.setCurrentWidget(page.compare)
    offered = [page.other.itemText(n) for n in range(page.other.count())]
    assert len(offered) == 4
    assert not any(name in text for text in offered for name in ("Ada", "Bela", "Chandra"))
    place = next(n for n, text in enumerate(offered) if text.startswith("J-19"))
    page.other.setCurrentIndex(place)
    page.other.activated.emit(place)
    qtbot.waitUntil(lambda: bool(page.differences.rows.rows))
    lid = next(row for row in page.differences.rows.rows if row.key == "lid-lift")
    assert lid.right == "20 s longer"
    assert lid.soft[0].startswith("J-18: done · touch 40 s")
    assert lid.soft[1].startswith("J-19: done · touch 20 s")
    assert len(page.differences.rows.rows) == len(page.record.steps) + 1  # type: ignore[union-attr]


def test_a_step_that_only_one_session_has_is_told(runner: Runner) -> None:
    rows = {row.job: row for row in runner.log.sessions()}
    one = read_record(runner.log, rows["J-18"].session_id)
    other = read_record(runner.log, rows["J-19"].session_id)
    from dataclasses import replace

    shorter = replace(other, steps=other.steps[:-1])
    last = compare_rows(one, shorter)[-1]
    assert last.right == "only in one"
    assert last.soft[1] == "J-19: not a step of this session"
    assert compare_rows(shorter, one)[-1].right == "only in one"


def test_a_past_job_that_cannot_be_read_tells_nothing(qtbot: QtBot, theme: Theme, runner: Runner) -> None:
    def read(session: str) -> Record:
        if session != runner.session:
            raise ValueError("damaged")
        return read_record(runner.log, session)

    room = RecordsRoom(theme, runner.log.sessions, read, runner.shelf)
    qtbot.addWidget(room)
    room.show()
    room.refresh()
    open_record(qtbot, room, runner.session)
    qtbot.waitUntil(lambda: "cannot tell" in room.page.times.rows.rows[0].spoken)
    room.stop()


def test_reading_past_jobs_waits_for_nobody_and_is_dropped_when_left(
    qtbot: QtBot, theme: Theme, runner: Runner
) -> None:
    """One wish for each past job: leaving the room drops what was not begun."""
    begun, go_on = threading.Event(), threading.Event()
    read_ones: list[str] = []

    def read(session: str) -> Record:
        if session != runner.session:
            read_ones.append(session)
            begun.set()
            go_on.wait(20)
        return read_record(runner.log, session)

    room = RecordsRoom(theme, runner.log.sessions, read, runner.shelf)
    qtbot.addWidget(room)
    room.refresh()
    room.open_record(runner.session)
    qtbot.waitUntil(begun.is_set)
    # an append goes through while a record is being read
    runner.do(cmd.AddNote("written meanwhile"), 1)
    room._reader.forget()
    go_on.set()
    qtbot.waitUntil(lambda: not room._reader._wishes._wanted)
    room.stop()
    assert len(read_ones) == 1


def test_a_photo_is_looked_at_closely_by_keys(qtbot: QtBot, room: RecordsRoom, runner: Runner) -> None:
    first = runner.log.sessions()[-1].session_id
    open_record(qtbot, room, first)
    room.page.tabs.setCurrentWidget(room.page.photos)
    qtbot.keyClick(room.page.photos, Key.Key_Return)
    picture = room.photo.picture
    qtbot.waitUntil(lambda: room._thumbs.picture(room.photo.sha256, picture._size(1.0)) is not None)
    fitted = picture.grab().toImage()
    qtbot.keyClick(room.photo, Key.Key_Plus)
    qtbot.keyClick(room.photo, Key.Key_Plus)
    assert picture.factor == pytest.approx(2.25)
    assert picture.grab().toImage() != fitted
    qtbot.keyClick(room.photo, Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert picture.middle.x() > 0.5
    shown = room.photo.sha256
    for _ in range(30):
        qtbot.keyClick(room.photo, Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert picture.middle.x() == pytest.approx(1 - 0.5 / 2.25)
    assert room.photo.sha256 == shown
    qtbot.keyClick(room.photo, Key.Key_0)
    assert picture.grab().toImage() == fitted
    for _ in range(30):
        qtbot.keyClick(room.photo, Key.Key_Plus)
    assert picture.factor == 12
    qtbot.keyClick(room.photo, Key.Key_Right)
    assert picture.factor == 1


def test_a_photo_is_dragged(qtbot: QtBot, room: RecordsRoom, runner: Runner) -> None:
    open_record(qtbot, room, runner.log.sessions()[-1].session_id)
    room.page.tabs.setCurrentWidget(room.page.photos)
    qtbot.keyClick(room.page.photos, Key.Key_Return)
    picture = room.photo.picture
    picture.zoom(4)
    middle_ = picture.rect().center()
    qtbot.mousePress(picture, Qt.MouseButton.LeftButton, pos=middle_)
    qtbot.mouseMove(picture, middle_ + QPoint(60, 0))
    qtbot.mouseRelease(picture, Qt.MouseButton.LeftButton, pos=middle_ + QPoint(60, 0))
    assert picture.middle.x() < 0.5
