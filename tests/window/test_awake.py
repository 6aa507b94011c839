"""The screen is kept awake over a real message bus of our own, with a screen saver as desktops have one."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from benchguide.window.awake import Awake

HERE = Path(__file__).parent
#: the fixture's bus lives in a process of its own, since Qt keeps the first session bus it met
TRIAL = """
import os, sys
from PySide6.QtCore import QCoreApplication, QTimer
from benchguide.window.awake import Awake
app = QCoreApplication([])
awake = Awake()
def told(held, sentence):
    print(held, sentence, sep="|", flush=True)
    if held and sys.argv[1] == "release":
        QTimer.singleShot(50, awake.release)
    elif held:
        os.abort()
    elif awake.sentence.startswith("The screen"):
        app.quit()
awake.state_changed.connect(told)
awake.hold()
QTimer.singleShot(20000, app.quit)
app.exec()
"""


@pytest.fixture
def bus() -> Iterator[dict[str, str]]:
    daemon = subprocess.Popen(
        ["dbus-daemon", "--session", "--nofork", "--print-address"], stdout=subprocess.PIPE, text=True
    )
    assert daemon.stdout is not None
    address = daemon.stdout.readline().strip()
    yield {**os.environ, "DBUS_SESSION_BUS_ADDRESS": address, "PYTHONPATH": str(HERE.parents[1])}
    daemon.kill()
    daemon.wait()
    daemon.stdout.close()


@pytest.fixture
def saver(bus: dict[str, str]) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, str(HERE / "fake_saver.py")], env=bus, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "ready"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def trial(bus: dict[str, str], how: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", TRIAL, how], env=bus, capture_output=True, text=True, timeout=60, check=False
    )
    return done.stdout.splitlines()


@pytest.mark.parametrize("how", ["release", "die"])
def test_the_screen_saver_is_held_and_let_go(
    bus: dict[str, str], saver: subprocess.Popen[str], how: str
) -> None:
    told = trial(bus, how)
    assert told[0] == "True|The screen is kept awake while the job is open."
    assert saver.stdout is not None
    assert saver.stdout.readline().strip() == "held|Benchguide|A job is on the bench"
    assert saver.stdout.readline().strip() == "released"


def test_a_desktop_without_one_is_told(bus: dict[str, str]) -> None:
    told = trial(bus, "release")
    assert told == [
        "False|The screen cannot be kept awake: no desktop answers. Set its time in the settings."
    ]


def test_other_systems_are_told_honestly(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchguide.window.awake.sys.platform", "win32")
    awake = Awake()
    with qtbot.waitSignal(awake.state_changed) as told:
        awake.hold()
    assert told.args is not None
    assert told.args[0] is False
    assert "not kept awake" in told.args[1]
