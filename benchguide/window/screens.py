"""Screenshots of every screen, made from the demo job: `python -m benchguide.window.screens FOLDER [NAME ...]`.

With names only those are made, and the job ends after the last of them. For people who look at the window and for
the README. Sizes are in device-independent pixels; run it under QT_SCALE_FACTOR=2 for a screen of 200 %.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.procedure.procedure import Step
from benchguide.review.seen import comparisons_of
from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_step
from benchguide.window.demo import ScriptClock
from benchguide.window.records_words import photo_order

if TYPE_CHECKING:
    from benchguide.window.app import Bench

SIZES = ((1280, 800), (1920, 1080))
THEMES = ("dark", "light")
#: the camera delivers a picture of a new size in this time, and the layout comes to rest
REST_MS = 450
#: steps of the demo job that show the bench in its different states
STEPS = {
    "prep-functions": "check-list",
    "prep-charge": "reading",
    "in-warm": "countdown",
    "in-cell-plug": "isolation",
    "in-audio-link": "poor-photo",
    "in-main-board": "way-in",
    "swap-compare": "swap",
    "back-main-board": "way-back",
    "back-coax-snaps": "difference",
    "back-cell-plug": "battery-last",
    "seal-cure": "cure",
}


#: pictures that are not of a step, and the step at which each is made
BESIDE = {
    "hold-point": "isolation",
    "question": "way-in",
    "procedures": "way-in",
    "records": "way-in",
    "keys": "way-in",
    "cautions": "way-in",
    "plan": "way-in",
    "plan-refused": "way-in",
    "parts": "way-in",
    "unplanned": "way-in",
    "interruption": "swap",
    "record": "cure",
    "pair": "cure",
}
#: where the records room says that exports go
EXPORTS = "/home/bench/records"


class Enough(Exception):
    """Every picture that was asked for is made."""


class Screens:
    """Called by the demo player after each step came up; takes the pictures that are wanted."""

    def __init__(
        self, folder: Path, sizes: tuple[tuple[int, int], ...] = SIZES, names: Collection[str] = ()
    ) -> None:
        self._folder = folder
        self._sizes = sizes
        self._names = frozenset(names)
        self._left = {BESIDE.get(name, name) for name in names}
        self.made: list[Path] = []

    def on_step(self, bench: Bench, step: Step) -> None:
        """Take this step's pictures, if any are wanted. Raises Enough after the last."""
        name = STEPS.get(step.id, "")
        if not name or (name == "poor-photo" and not _poor_here(bench)):
            return
        self.take(bench, name)
        if name == "isolation":
            self._hold_point(bench, step)
        if name == "way-in":
            self._questions(bench)
            self._plans(bench)
            self._parts(bench)
            self._hands_free(bench)
        if name == "swap" and self._wanted("interruption"):
            self._interruption(bench)
        if name == "cure" and (self._wanted("record") or self._wanted("pair")):
            self._record(bench)
        self._left.discard(name)
        if self._names and not self._left:
            raise Enough

    def _wanted(self, name: str) -> bool:
        return not self._names or name in self._names

    def _hold_point(self, bench: Bench, step: Step) -> None:
        """A later step is looked at too early: what bars it is said."""
        if bench.driver is None or not self._wanted("hold-point"):
            return
        state = bench.driver.state
        for later in state.steps[state.here + 1 :]:
            gates = gates_for_step(state, later)
            if gates and gates[0].kind not in ("as-found", "as-left", "answers", "reading"):
                bench.driver.do(cmd.GoTo(later.id))
                self.take(bench, "hold-point")
                bench.driver.do(cmd.GoTo(step.id))
                return

    def _plans(self, bench: Bench) -> None:
        """The plan of a way in, and one that cannot be met."""
        from benchguide.window.plan_asked import Asked

        device = bench.driver.state.job.device.id if bench.driver else ""
        for name, keep in (("plan", ()), ("plan-refused", ("main-board",))):
            if not self._wanted(name):
                continue
            bench.shell.show_room("procedures")
            bench.procedures_room.show_plan(Asked(device, "wheel-module", keep))
            self.take(bench, name, rest_ms=1500)
            bench.procedures_room.show_list()
        bench.shell.show_room("bench")

    def _parts(self, bench: Bench) -> None:
        """The parts panel, and the question for what came off beside the plan."""

        def open_parts() -> None:
            if not bench.bench_room.parts_open:
                bench.shell.actions_by_name["parts"].trigger()

        self.take(bench, "parts", prepare=open_parts)
        if bench.bench_room.parts_open:
            bench.shell.actions_by_name["parts"].trigger()
        if self._wanted("unplanned"):
            bench.shell.actions_by_name["unplanned"].trigger()
            self.take(bench, "unplanned", sizes=self._sizes[:1], keep_question=True)
            bench.shell.question.cancel()

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
        """The record as a supervisor opens it, and the pair in which something differed, flipped."""
        if bench.driver is None:
            return
        for theme in THEMES:
            bench.change_settings(replace(bench.settings, theme=theme))
            bench.shell.show_room("records")
            room = bench.records_room
            room.open_record(bench.driver.session_id)
            for width, height in self._sizes:
                bench.shell.resize(width, height)
                self._settle(bench, 1500)
                room.page.folder.setText(EXPORTS)
                if self._wanted("record"):
                    self._grab(bench, f"record-{theme}-{width}x{height}")
            if self._wanted("pair"):
                self._pair(bench, theme)
        bench.shell.show_room("bench")

    def _pair(self, bench: Bench, theme: str) -> None:
        """As-left with its outline, and by one key as-found at the same place."""
        room = bench.records_room
        record = room.page.record
        differing = [line for line in comparisons_of(record) if line.candidates] if record else []
        if not differing:
            return
        room.page.tabs.setCurrentWidget(room.page.photos)
        room.page.photo_asked.emit(photo_order(room.page.photos.rows.rows), differing[0].as_left)
        for width, height in self._sizes:
            bench.shell.resize(width, height)
            self._settle(bench, 1500)
            self._grab(bench, f"pair-left-{theme}-{width}x{height}")
            room.photo.flip()
            self._settle(bench, 1500)
            self._grab(bench, f"pair-found-{theme}-{width}x{height}")
            room.photo.flip()
        room.photo.left.emit()

    def _hands_free(self, bench: Bench) -> None:
        """The lamps at their fullest, and the first-use screen."""
        from benchguide.window.widgets.voice_strip import Lamp, VoiceFigures

        if self._names and not {"hands-free", "setup"} & self._names:
            return
        strip = bench.hands_free.strip
        strip.set_figures(VoiceFigures(Lamp.READY, Lamp.BUSY, Lamp.READY, -22.0, -52.0))
        self.take(bench, "hands-free", prepare=lambda: strip.say("Skip step? Say confirm.", strong=True))
        strip.set_figures(VoiceFigures())
        strip.say("")
        self.take(bench, "setup", prepare=bench.setup_room.show)
        bench.setup_room.leave()
        bench.shell.show_room("bench")

    def _questions(self, bench: Bench) -> None:
        if self._names and not {"question", "procedures", "records", "keys", "cautions"} & self._names:
            return
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
        self,
        bench: Bench,
        name: str,
        sizes: tuple[tuple[int, int], ...] = (),
        keep_question: bool = False,
        prepare: Callable[[], None] | None = None,
        rest_ms: int = REST_MS,
    ) -> None:
        """The window as it is now, in both themes and all sizes. `prepare` opens what another theme closes."""
        if not self._wanted(name):
            return
        before = bench.settings
        for theme in THEMES if not keep_question else (before.theme,):
            if bench.settings.theme != theme:
                bench.change_settings(replace(bench.settings, theme=theme))
            for width, height in sizes or self._sizes:
                bench.shell.resize(width, height)
                if prepare:
                    prepare()
                self._settle(bench, rest_ms)
                self._grab(bench, f"{name}-{theme}-{width}x{height}")
        if bench.settings != before:
            bench.change_settings(before)

    def _settle(self, bench: Bench, milliseconds: int = REST_MS) -> None:
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


def _poor_here(bench: Bench) -> bool:
    photos = bench.driver.state.photos if bench.driver else ()
    return bool(photos and photos[-1].faults)


def main(arguments: list[str]) -> int:
    """Make all screenshots in the folder named; returns the exit code."""
    from benchguide.window.demo import play_unattended

    known = {*STEPS.values(), *BESIDE}
    if not arguments or not known.issuperset(arguments[1:]):
        names = ", ".join(sorted(known))
        sys.stderr.write(f"Usage: python -m benchguide.window.screens FOLDER [NAME ...]\nNames: {names}.\n")
        return 2
    screens = Screens(Path(arguments[0]), names=arguments[1:])
    code = 0
    with tempfile.TemporaryDirectory(prefix="benchguide-screens-") as data, suppress(Enough):
        code = play_unattended(Path(data), "dark", screens.on_step)
    sys.stdout.write(f"{len(screens.made)} pictures in {arguments[0]}\n")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
