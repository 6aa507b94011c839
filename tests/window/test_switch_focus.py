"""The foot switch while another program's window has the focus, on a screen of its own: real window, two X clients.

There is no window manager: the focus is moved by the X protocol alone, as a manager would move it.
"""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from benchguide.window.switch_device import EV_KEY, EVENT
from tests.speech.sound_bed import need, wait_for

ROOT = Path(__file__).parents[2]
SCAN = 191  # X keycode of evdev's F13
BENCH = """
import sys
from dataclasses import replace
from pathlib import Path
from PySide6.QtCore import QTimer
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.settings import Settings, save_settings
data, device = map(Path, sys.argv[1:])
data.mkdir()
switch = dict(switch_scan=191, switch_device=str(device), switch_short="take-photo")
save_settings(data, replace(Settings(), set_up=True, **switch))
wanted = Options(data=data, camera="simulated", sound=False, hands_free=False)
app = application()
shell, theme = open_shell(app, wanted)
bench = Bench(app, shell, theme, wanted)
bench.load()
bench.play = lambda tone: print("sound", tone, flush=True)
hands = bench.hands_free
hands.changed.connect(lambda: print("lamp", hands.figures.switch, flush=True))
hands.switch.raised.connect(lambda name, outcome: print("raised", name, flush=True))
shell.setWindowTitle("this bench")
shell.show()
print("lamp", hands.figures.switch, flush=True)
QTimer.singleShot(0, lambda: print("shown", flush=True))
QTimer.singleShot(90000, app.quit)
app.exec()
"""
OTHER = """
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication, QLabel
app = QApplication([])
label = QLabel("other")
label.setWindowTitle("something else")
label.show()
QTimer.singleShot(90000, app.quit)
app.exec()
"""


class Lines:
    """What a process prints, read as it comes, each line with its time."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self.got: list[tuple[float, str]] = []
        self._out = process.stdout
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._out is not None
        for line in self._out:
            self.got.append((time.monotonic(), line.strip()))

    def close(self) -> None:
        """The process has ended."""
        self._thread.join(10)
        if self._out is not None:
            self._out.close()

    def since(self, began: float) -> list[str]:
        """What was printed after this time."""
        return [line for at, line in list(self.got) if at >= began]

    def at(self, wanted: str, began: float) -> float:
        """When it was printed after this time; waits for it."""
        wait_for(lambda: wanted in self.since(began), f"no line {wanted!r}, but {self.got}")
        return next(at for at, line in self.got if line == wanted and at >= began)

    @property
    def lamp(self) -> str:
        """What the lamp said last."""
        return next((line for _, line in reversed(self.got) if line.startswith("lamp")), "")


@contextmanager
def screen() -> Iterator[dict[str, str]]:
    """An X server of our own; the environment of a program that is to be seen on it."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1280x800x24", "-nolisten", "tcp"],
        pass_fds=(write,),
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as number:
        display = f":{number.readline().strip()}"
    try:
        yield {**os.environ, "DISPLAY": display, "QT_QPA_PLATFORM": "xcb", "PYTHONPATH": str(ROOT)}
    finally:
        server.kill()
        server.wait()


@pytest.fixture
def trial(tmp_path: Path) -> Iterator[tuple[Lines, dict[str, str], Path]]:
    """The bench and another program on one screen: what the bench prints, their environment, the switch's device."""
    need("Xvfb", "xdotool")
    device = tmp_path / "usb-Bench_switch-event-kbd"
    with screen() as env:
        command = [sys.executable, "-c", BENCH, str(tmp_path / "data"), str(device)]
        bench = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
        other = subprocess.Popen([sys.executable, "-c", OTHER], env=env)
        lines = Lines(bench)
        try:
            yield lines, env, device
        finally:
            for process in (bench, other):
                process.kill()
                process.wait()
            lines.close()


def focus(env: dict[str, str], title: str) -> float:
    """Give the window of this title the focus; the time before."""
    found = subprocess.run(
        ["xdotool", "search", "--sync", "--onlyvisible", "--name", f"^{title}$"],
        env=env, check=True, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    began = time.monotonic()
    subprocess.run(["xdotool", "windowfocus", found.stdout.split()[0]], env=env, check=True, timeout=20)
    return began


def pressed(device: int, lines: Lines, began: float) -> bool:
    """Press once and tell whether it is heard. On a busy machine both edges may be read as one touch of no length."""
    os.write(device, EVENT.pack(0, 0, EV_KEY, SCAN - 8, 1))
    time.sleep(0.2)  # the length of the press itself
    os.write(device, EVENT.pack(0, 0, EV_KEY, SCAN - 8, 0))
    with suppress(TimeoutError):
        wait_for(lambda: "raised take-photo" in lines.since(began), "not heard", 2.0)
    return "raised take-photo" in lines.since(began)


def test_within_two_seconds_lamp_and_sound_tell_that_another_window_has_the_focus(
    trial: tuple[Lines, dict[str, str], Path],
) -> None:
    lines, env, device = trial
    lines.at("shown", 0.0)
    focus(env, "this bench")
    wait_for(lambda: lines.lamp == "lamp ready", "the lamp never says that the switch is heard")
    began = focus(env, "something else")
    assert lines.at("lamp fault", began) - began < 2.0
    assert lines.at("sound switch-not-heard", began) - began < 2.0
    # back again: heard at once, and without a sound
    back = focus(env, "this bench")
    lines.at("lamp ready", back)
    assert [line for line in lines.since(back) if line.startswith("sound")] == []

    # with its device file a press is heard although the focus is elsewhere
    again = focus(env, "something else")
    lines.at("lamp fault", again)
    os.mkfifo(device)
    held = os.open(device, os.O_RDWR | os.O_NONBLOCK)
    try:
        lines.at("lamp ready", again)
        wait_for(lambda: pressed(held, lines, again), "no press of the device is heard")
    finally:
        os.close(held)
