"""The whole window, wired as for a person: start, close, come back, second window, themes, questions by keyboard."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import QApplication, QLabel, QWidget
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))

from benchguide.session import commands as cmd
from benchguide.session.state import Status
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.demo import procedure_path

Opener = Callable[..., Bench]


@pytest.fixture
def opened(tmp_path: Path, qtbot: QtBot, qapp: QApplication) -> Iterator[Opener]:
    made: list[Bench] = []

    def open_bench(**options: object) -> Bench:
        wanted = Options(data=tmp_path, camera="simulated", sound=False, **options)  # type: ignore[arg-type]
        app = application()
        shell, theme = open_shell(app, wanted)
        qtbot.addWidget(shell)
        shell.show()
        bench = Bench(app, shell, theme, wanted)
        bench.load()
        made.append(bench)
        return bench

    yield open_bench
    for bench in made:
        bench.close()


def start(bench: Bench) -> None:
    entry = bench.shelf.procedure("gloamreed-tuning-wheel")
    assert entry is not None
    bench.start(entry, "J-7", "Ada")


def test_a_job_starts_on_the_bench_and_is_in_the_log(opened: Opener) -> None:
    bench = opened()
    assert bench.shell.room == "procedures"
    start(bench)
    assert bench.shell.room == "bench"
    assert [row.job for row in bench.log.sessions()] == ["J-7"]


def test_the_command_line_can_start_a_job(opened: Opener) -> None:
    bench = opened(procedure=procedure_path("gloamreed-tuning-wheel"), job="J-8", person="Ada")
    assert bench.driver is not None
    assert bench.shell.room == "bench"


def test_the_bench_comes_back_where_it_was_and_asks_to_confirm(opened: Opener) -> None:
    first = opened()
    start(first)
    assert first.driver is not None
    first.driver.do(cmd.FinishStep())  # refused: its answers are missing
    first.driver.do(cmd.GoTo("prep-off"))
    first.driver.do(cmd.SkipStep("done by the owner", "Ada"))
    where = first.driver.state.step.id
    first.close()
    again = opened()
    assert again.driver is not None
    assert again.driver.state.step.id == where
    assert again.driver.state.to_confirm
    assert again.bench_room.recent.isVisible()
    again.shell.actions_by_name["confirm"].trigger()
    assert not again.bench_room.recent.isVisible()


def test_a_second_window_on_the_same_data_only_reads_and_says_so(opened: Opener) -> None:
    first = opened()
    start(first)
    second = opened()
    assert not second.writing
    assert second.shell.message.isVisible()
    start(second)
    assert second.driver is None
    assert len(first.log.sessions()) == 1


def test_theme_and_distance_change_without_leaving_the_job(opened: Opener) -> None:
    bench = opened()
    start(bench)
    before = bench.settings.theme
    bench.shell.actions_by_name["theme"].trigger()
    bench.shell.actions_by_name["farther"].trigger()
    assert bench.settings.theme != before
    assert bench.shell.room == "bench"
    assert bench.driver is not None
    bench.shell.actions_by_name["note"].trigger()
    bench.shell.question.set_value("text", "still here")
    bench.shell.question.accept()
    assert [fact.what.text for fact in bench.driver.state.notes] == ["still here"]  # type: ignore[attr-defined]


def test_a_replaced_bench_no_longer_answers_the_keys(opened: Opener) -> None:
    bench = opened()
    start(bench)
    old = bench.bench_room
    bench.shell.actions_by_name["theme"].trigger()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    assert bench.bench_room is not old
    for name in ("overlay-more", "overlay-less", "picture-mode"):
        action = bench.shell.actions_by_name[name]
        action.setVisible(True)
        action.setEnabled(True)
        action.trigger()


def test_hold_and_continue_by_keyboard_alone(opened: Opener, qtbot: QtBot) -> None:
    bench = opened()
    start(bench)
    assert bench.driver is not None
    with qtbot.waitActive(bench.shell):
        bench.shell.activateWindow()
    bench.bench_room.setFocus()
    qtbot.keyClick(bench.bench_room, Qt.Key.Key_H)
    assert bench.shell.question.is_open
    qtbot.keyClick(QApplication.focusWidget() or bench.shell, Qt.Key.Key_Return)
    assert bench.driver.state.status is Status.HELD
    bench.shell.actions_by_name["hold"].trigger()
    assert bench.driver.state.status is Status.WORKING


def test_a_waiver_passes_a_photo_and_stands_in_the_log(opened: Opener) -> None:
    bench = opened()
    start(bench)
    assert bench.driver is not None
    bench.driver.do(cmd.GoTo("in-cell-plug"))
    bench.shell.actions_by_name["waive"].trigger()
    bench.shell.question.set_value("reason", "camera broken")
    bench.shell.question.set_value("name", "Ada")
    bench.shell.question.accept()
    assert [waiver.gate for waiver in bench.driver.state.waivers] == ["as-found:in-cell-plug"]


def test_everything_that_takes_the_focus_has_an_accessible_name(opened: Opener) -> None:
    bench = opened()
    start(bench)
    for room in ("procedures", "bench", "records"):
        bench.shell.show_room(room)
        for widget in bench.shell.findChildren(QWidget):
            if widget.isVisible() and widget.focusPolicy() & Qt.FocusPolicy.TabFocus and widget.isEnabled():
                text = getattr(widget, "text", lambda: "")
                assert widget.accessibleName() or text(), (room, widget, widget.parentWidget())


def test_every_command_of_the_table_is_an_action_with_words_and_tip(opened: Opener) -> None:
    bench = opened()
    for name in bench.shell.actions_by_name.names():
        action = bench.shell.actions_by_name[name]
        assert action.text()
        assert action.toolTip()
    keys = [
        key.toString()
        for name in bench.shell.actions_by_name.names()
        for key in bench.shell.actions_by_name[name].shortcuts()
    ]
    assert len(keys) == len(set(keys))


def test_a_data_folder_that_cannot_be_used_is_told_in_the_window(opened: Opener, tmp_path: Path) -> None:
    (tmp_path / "sessions.db").mkdir()
    bench = opened()
    told = [label.text() for label in bench.shell.findChildren(QLabel) if label.isVisible()]
    assert any(str(tmp_path) in text and "Traceback" not in text for text in told), told


def test_a_camera_that_is_none_is_told_beside_the_picture(
    opened: Opener, tmp_path: Path, qtbot: QtBot
) -> None:
    bench = opened()
    bench.settings = replace(bench.settings, camera="nonsense")
    bench.camera.stop()
    bench.camera.start()
    qtbot.waitUntil(lambda: "Choose a camera" in bench.camera.worker.status().sentence, timeout=10_000)
    assert not bench.camera.live


def test_bench_keys_sleep_while_another_room_is_in_view(opened: Opener) -> None:
    bench = opened()
    start(bench)
    done = bench.shell.actions_by_name["step-done"]
    assert done.isEnabled()
    bench.shell.show_room("records")
    assert not done.isEnabled()
    bench.shell.show_room("bench")
    assert done.isEnabled()
    bench.shell.actions_by_name["note"].trigger()
    assert not done.isEnabled()
    bench.shell.question.cancel()
    assert done.isEnabled()


def test_the_window_fits_a_small_screen_at_every_step(opened: Opener, qtbot: QtBot) -> None:
    bench = opened()
    start(bench)
    bench.shell.resize(1280, 800)
    assert bench.driver is not None
    for step in bench.driver.state.steps:
        bench.driver.do(cmd.GoTo(step.id))
        needed = bench.shell.minimumSizeHint()
        assert (needed.width() <= 1280, needed.height() <= 800) == (True, True), (step.id, needed)
