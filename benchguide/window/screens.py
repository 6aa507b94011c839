"""Screenshots of every screen, made from the demo job: `python -m benchguide.window.screens FOLDER`.

For people who look at the window and for the README. Sizes are in device-independent pixels; run it under
QT_SCALE_FACTOR=2 for a screen of 200 %.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.procedure.procedure import Step
from benchguide.session import commands as cmd
from benchguide.window.demo import ScriptClock

if TYPE_CHECKING:
    from benchguide.window.app import Bench

SIZES = ((1280, 800), (1920, 1080))
THEMES = ("dark", "light")
#: steps of the demo job that show the bench in its different states
STEPS = {
    "prep-functions": "check-list",
    "prep-charge": "reading",
    "in-warm": "countdown",
    "in-cell-plug": "isolation",
    "in-main-board": "way-in",
    "swap-compare": "swap",
    "back-main-board": "way-back",
    "back-cell-plug": "battery-last",
    "seal-cure": "cure",
}


class Screens:
    """Called by the demo player after each step came up; takes the pictures that are wanted."""

    def __init__(self, folder: Path, sizes: tuple[tuple[int, int], ...] = SIZES) -> None:
        self._folder = folder
        self._sizes = sizes
        self.made: list[Path] = []

    def on_step(self, bench: Bench, step: Step) -> None:
        """Take this step's pictures, if any are wanted."""
        name = STEPS.get(step.id)
        if name:
            self.take(bench, name)
        if name == "way-in":
            self._questions(bench)
        if name == "swap":
            self._interruption(bench)
        if name == "cure":
            self._record(bench)

    def _interruption(self, bench: Bench) -> None:
        """What the bench shows after a break of more than two minutes."""
        driver, clock = bench.driver, bench.options.clock
        if driver is None or not isinstance(clock, ScriptClock):
            return
        driver.do(cmd.BeginHold("phone call"))
        clock.advance(200)
        driver.do(cmd.EndHold())
        self.take(bench, "interruption")
        driver.do(cmd.ConfirmLast())

    def _record(self, bench: Bench) -> None:
        if bench.driver is None:
            return
        for theme in THEMES:
            bench.change_settings(replace(bench.settings, theme=theme))
            bench.shell.show_room("records")
            bench.records_room.open_record(bench.driver.session_id)
            for width, height in self._sizes:
                bench.shell.resize(width, height)
                self._settle(bench, 1500)
                self._grab(bench, f"record-{theme}-{width}x{height}")
        bench.shell.show_room("bench")

    def _questions(self, bench: Bench) -> None:
        bench.shell.actions_by_name["skip"].trigger()
        self.take(bench, "question", sizes=self._sizes[:1], keep_question=True)
        bench.shell.question.cancel()
        for room in ("procedures", "records"):
            bench.shell.show_room(room)
            self.take(bench, room)
        bench.shell.show_room("bench")
        for page in ("keys", "cautions"):
            bench.shell.actions_by_name[page].trigger()
            self._settle(bench)
            self._grab(bench, f"{page}-{bench.settings.theme}-{bench.shell.width()}x{bench.shell.height()}")
            bench.shell.show_room("bench")

    def take(
        self, bench: Bench, name: str, sizes: tuple[tuple[int, int], ...] = (), keep_question: bool = False
    ) -> None:
        """The window as it is now, in both themes and all sizes."""
        before = bench.settings
        for theme in THEMES if not keep_question else (before.theme,):
            if bench.settings.theme != theme:
                bench.change_settings(replace(bench.settings, theme=theme))
            for width, height in sizes or self._sizes:
                bench.shell.resize(width, height)
                self._settle(bench)
                self._grab(bench, f"{name}-{theme}-{width}x{height}")
        if bench.settings != before:
            bench.change_settings(before)

    def _settle(self, bench: Bench, milliseconds: int = 450) -> None:
        """Let the camera deliver a picture of the new size and the layout come to rest."""
        from PySide6.QtCore import QEventLoop, QTimer

        loop = QEventLoop()
        QTimer.singleShot(milliseconds, loop.quit)
        loop.exec()

    def _grab(self, bench: Bench, name: str) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        path = self._folder / f"{name}.png"
        if not bench.shell.grab().save(str(path)):
            raise OSError(f"{path} could not be written.")
        self.made.append(path)


def main(arguments: list[str]) -> int:
    """Make all screenshots in the folder named; returns the exit code."""
    from benchguide.window.demo import play_unattended

    if len(arguments) != 1:
        sys.stderr.write("Usage: python -m benchguide.window.screens FOLDER\n")
        return 2
    screens = Screens(Path(arguments[0]))
    with tempfile.TemporaryDirectory(prefix="benchguide-screens-") as data:
        code = play_unattended(Path(data), "dark", screens.on_step)
    sys.stdout.write(f"{len(screens.made)} pictures in {arguments[0]}\n")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
