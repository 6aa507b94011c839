"""The demo job: opened for a person, or played by itself through the real window on a clock of its own.

The script is assets_demo/demo_job.yaml. The player uses the window's own actions and the driver's commands; it
has no way round a hold point.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchguide.bundled import demo_folder
from benchguide.camera.simulated import Disturbance
from benchguide.procedure.procedure import Step
from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_step
from benchguide.session.moment import Moment
from benchguide.session.reference import as_found_for
from benchguide.session.state import Purpose

if TYPE_CHECKING:
    from benchguide.window.app import Bench, Options
    from benchguide.window.driver import BenchDriver

PHOTO_WAIT_MS = 20_000
PHOTO_TRIES = 3


class ScriptClock:
    """A clock that moves only when told to: the demo's eighty minutes pass in as many seconds."""

    def __init__(self, start: datetime) -> None:
        self._start = start
        self._passed_us = 0

    def __call__(self) -> Moment:
        wall = self._start + timedelta(microseconds=self._passed_us)
        return Moment(wall, self._passed_us, self._passed_us, "scripted-demo")

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        self._passed_us += round(seconds * 1_000_000)


@dataclass(frozen=True, slots=True)
class Script:
    """The demo script as read."""

    procedure: str
    person: str
    job: str
    start: datetime
    share: float
    default_answer: str
    at: dict[str, list[dict[str, Any]]]


def read_script(path: Path) -> Script:
    """Read the demo script. Raises OSError or ValueError with one sentence."""
    from ruamel.yaml import YAML, YAMLError

    try:
        data = YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8"))
        return Script(
            procedure=str(data["procedure"]),
            person=str(data["person"]),
            job=str(data["job"]),
            start=datetime.fromisoformat(str(data["start"])),
            share=float(data["share"]),
            default_answer=str(data["default_answer"]),
            at={str(step): list(entries) for step, entries in (data.get("at") or {}).items()},
        )
    except (YAMLError, KeyError, TypeError) as error:
        raise ValueError(f"{path} is not a demo script: {error}.") from error


def open_demo(out: Path | None, theme: str | None) -> int:
    """The window on the demo job, for a person. The data go to `out`, or to a folder for this run only."""
    import tempfile

    from benchguide.window.app import run_window

    if out is not None:
        return run_window(_demo_options(out, theme))
    with tempfile.TemporaryDirectory(prefix="benchguide-demo-") as folder:
        return run_window(_demo_options(Path(folder), theme))


def _demo_options(folder: Path, theme: str | None) -> Options:
    from benchguide.window.app import Options

    script = read_script(demo_folder() / "demo_job.yaml")
    return Options(
        data=folder,
        camera="simulated",
        theme=theme,
        procedure=procedure_path(script.procedure),
        job=script.job,
        person=script.person,
    )


def procedure_path(name: str) -> Path:
    """The bundled procedure file with this short name. Raises ValueError when there is none."""
    from benchguide.bundled import procedures_folder
    from benchguide.procedure.shelf import Shelf

    for entry in Shelf((procedures_folder(),)).procedures():
        if entry.loaded and entry.loaded.model.id == name:
            return entry.path
    raise ValueError(f"There is no bundled procedure named {name}.")


def play_unattended(out: Path, theme: str, on_step: Callable[[Bench, Step], None] | None = None) -> int:
    """Play the whole demo job offscreen; database, photos and report are left in `out`. 0 when all of it verifies.

    `on_step` is called after each step came up and its pictures and entries are made, for screenshots.
    """
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from benchguide.review.command import export_session
    from benchguide.store.chain import verify
    from benchguide.window.app import Bench, Options, application, open_shell

    if out.exists() and any(out.iterdir()):
        raise ValueError(f"{out} is not empty. Name a new folder, so that nothing is mixed up.")
    script = read_script(demo_folder() / "demo_job.yaml")
    clock = ScriptClock(script.start)
    options = Options(data=out, camera="simulated", theme=theme, clock=clock, sound=False)
    app = application()
    shell, look = open_shell(app, options)
    shell.show()
    bench = Bench(app, shell, look, options)
    bench.load()
    try:
        session = DemoPlayer(bench, script, clock, on_step).play()
    finally:
        bench.close()
        shell.close()
    export_session(out, session, out / "report", ("page", "table", "pictures"))
    return 0 if verify(out).ok else 1


class DemoPlayer:
    """Does what the script says, step by step."""

    def __init__(
        self,
        bench: Bench,
        script: Script,
        clock: ScriptClock,
        on_step: Callable[[Bench, Step], None] | None = None,
    ) -> None:
        self._bench = bench
        self._script = script
        self._clock = clock
        self._on_step = on_step

    @property
    def _driver(self) -> BenchDriver:
        driver = self._bench.driver
        assert driver is not None
        return driver

    @property
    def _simulated(self) -> bool:
        return self._bench.settings.camera == "simulated"

    def play(self) -> str:
        """Play to the closed record; returns the session's name. Raises RuntimeError where the bench refuses."""
        self._wait_until(lambda: self._bench.camera.live, "The simulated bench did not start in time.")
        path = procedure_path(self._script.procedure)
        entry = next(e for e in self._bench.shelf.procedures() if e.path.resolve() == path.resolve())
        self._bench.start(entry, self._script.job, self._script.person)
        refusals: list[str] = []
        self._driver.refused.connect(lambda sentence, _gates: refusals.append(sentence))
        for step in self._driver.state.steps:
            self._play_step(step)
            if refusals:
                raise RuntimeError(f"The bench refused at {step.id}: {refusals[0]}")
        self._trigger("close-record")
        if self._driver.state.open:
            raise RuntimeError(f"The record could not be closed: {refusals}")
        return self._driver.session_id

    def _play_step(self, step: Step) -> None:
        entries = self._script.at.get(step.id, [])
        self._photo_if_due(step, "as-found", entries)
        for entry in entries:
            self._do_entry(step, entry)
        self._answer_all(step)
        self._run_countdown(step)
        # another camera than the simulated one shows what it shows
        astray = next((e["astray"] for e in entries if "astray" in e and self._simulated), None)
        if astray is None:
            self._tell_step(step)
        shortest, longest = step.time_s
        took = next((e["take_s"] for e in entries if "take_s" in e), None)
        self._clock.advance(
            took if took is not None else shortest + self._script.share * (longest - shortest)
        )
        if astray is not None:
            self._refit_astray(step, astray)
        self._photo_if_due(step, "as-left", entries)
        self._compared(step)
        self._trigger("step-done")

    def _tell_step(self, step: Step) -> None:
        if self._on_step:
            self._bench.app.processEvents()
            self._on_step(self._bench, step)

    def _refit_astray(self, step: Step, astray: dict[str, list[list[float]]]) -> None:
        """Cables are laid otherwise than found. The comparison tells; it is mended, and the photo is taken anew."""
        hands = self._bench.simulated
        hands.lead_astray({part: tuple((x, y) for x, y in points) for part, points in astray.items()})
        self._photo_if_due(step, "as-left")
        self._compared(step)
        told = self._driver.state.compared.get(step.id)
        if told is None or not told.candidates:
            raise RuntimeError(f"The cable that was laid otherwise was not told at {step.id}.")
        self._tell_step(step)
        self._clock.advance(35)
        hands.lead_astray({})
        self._driver.do(cmd.AnswerDifference("", 1, "mended"))
        for number in range(2, len(told.candidates) + 1):
            self._driver.do(cmd.AnswerDifference("", number, "not a difference"))
        self._clock.advance(6)
        self._photo("as-left")
        self._compared(step)

    def _compared(self, step: Step) -> None:
        """Let the comparison of the step's newest as-left photo come in, as a person looks at it before going on."""
        state = self._driver.state
        left = state.photos_of(step.id, Purpose.AS_LEFT)
        if left and not left[-1].faults and as_found_for(state, step) is not None:
            self._wait_until(lambda: not self._bench.eyes.comparer.going, "A comparison did not end in time.")

    def _do_entry(self, step: Step, entry: dict[str, Any]) -> None:
        do = self._driver.do
        match entry:
            case {"note": text}:
                do(cmd.AddNote(str(text)))
            case {"hold": reason, "for_s": seconds}:
                self._run_hold(step, str(reason), float(seconds))
            case {"answers": answers}:
                for line, answer in answers.items():
                    do(cmd.AnswerLine(str(line), str(answer)))
            case {"reading": value}:
                do(cmd.EnterReading(float(value)))
            case {"photo": text}:
                self._photo("free")
                do(cmd.AddNote(str(text)))
            case {"go_to": other, "for_s": seconds}:
                do(cmd.GoTo(str(other)))
                self._clock.advance(float(seconds))
                do(cmd.GoTo(step.id))
            case {"repeat": reason}:
                do(cmd.RepeatStep())
                do(cmd.AddNote(str(reason)))
            case {"person": name}:
                do(cmd.ChangePerson(str(name), self._driver.state.ledger.pieces))
                self._confirm()
            case {"waive": _, "reason": reason, "name": name}:
                for gate in self._photo_gates(step):
                    do(cmd.Waive(gate, str(reason), str(name)))
            case {"skip": reason, "name": name}:
                do(cmd.SkipStep(str(reason), str(name)))
            case {"spoilt": _} | {"astray": _} | {"take_s": _}:
                pass  # belongs to the photo, or to the time of the step

    def _run_hold(self, step: Step, reason: str, seconds: float) -> None:
        if step.wait and not self._started(step):
            self._driver.do(cmd.StartCountdown())
        self._driver.do(cmd.BeginHold(reason))
        self._clock.advance(seconds)
        self._driver.tick()
        self._trigger("hold")
        self._confirm()

    def _confirm(self) -> None:
        if self._driver.state.to_confirm:
            self._trigger("confirm")

    def _started(self, step: Step) -> bool:
        return any(c.step == step.id for c in self._driver.state.countdowns.values())

    def _run_countdown(self, step: Step) -> None:
        if step.wait is None:
            return
        if not self._started(step):
            self._trigger("countdown")
        for countdown in self._driver.state.running:
            self._clock.advance(max(0.0, self._driver.left_s(countdown)) + 1)
        self._driver.tick()

    def _answer_all(self, step: Step) -> None:
        answered = self._driver.state.answers
        for line in step.lines:
            if (step.id, line.id) not in answered:
                self._clock.advance(4)
                self._driver.do(cmd.AnswerLine(line.id, self._script.default_answer))

    def _photo_gates(self, step: Step) -> Iterator[str]:
        for gate in gates_for_step(self._driver.state, step):
            if gate.kind in ("as-found", "as-left"):
                yield gate.id

    def _photo_if_due(self, step: Step, kind: str, entries: Sequence[dict[str, Any]] = ()) -> None:
        if f"{kind}:{step.id}" not in set(self._photo_gates(step)):
            return
        self._clock.advance(6)
        spoilt = next((entry["spoilt"] for entry in entries if "spoilt" in entry), None)
        if spoilt is not None and self._simulated:
            self._photo_spoilt(step, spoilt)
        self._photo("")

    def _photo_spoilt(self, step: Step, spoilt: dict[str, Any]) -> None:
        """A poor photo: what the bench says of it is mended, and a new one follows."""
        glare = spoilt.get("glare")
        disturbed = Disturbance(float(spoilt.get("shaken", 0)), tuple(glare) if glare else None)
        self._bench.simulated.disturb(disturbed)
        self._photo("")
        if not self._driver.state.photos[-1].faults:
            raise RuntimeError(f"The spoilt photo was not told at {step.id}.")
        self._tell_step(step)
        self._bench.simulated.disturb(Disturbance())
        self._clock.advance(9)

    def _photo(self, purpose: str) -> None:
        """Take a photo and wait for it; as a person would, try again when none came in time."""
        for _attempt in range(PHOTO_TRIES):
            if self._photo_came(purpose):
                return
        raise RuntimeError("No photo could be taken.")

    def _photo_came(self, purpose: str) -> bool:
        from PySide6.QtCore import QEventLoop, QTimer

        self._wait_until(lambda: self._bench.camera.live, "The simulated bench gives no pictures.")
        driver, loop = self._driver, QEventLoop()
        ends = {driver.photo_kept: lambda *_: loop.exit(0), driver.photo_failed: lambda *_: loop.exit(1)}
        for signal, end in ends.items():
            signal.connect(end)
        QTimer.singleShot(PHOTO_WAIT_MS, loop, lambda: loop.exit(1))
        if purpose:
            driver.take_photo(purpose)
        else:
            self._trigger("take-photo")
        failed = loop.exec()
        for signal, end in ends.items():
            signal.disconnect(end)
        return not failed

    def _wait_until(self, reached: Callable[[], bool], otherwise: str) -> None:
        """Let the window live until something is so. Raises RuntimeError after a long while."""
        from PySide6.QtCore import QEventLoop, QTimer

        loop, timer = QEventLoop(), QTimer(interval=50)
        timer.timeout.connect(lambda: loop.quit() if reached() else None)
        timer.start()
        QTimer.singleShot(PHOTO_WAIT_MS, loop, lambda: loop.exit(1))
        late = loop.exec() if not reached() else 0
        timer.stop()
        if late:
            raise RuntimeError(otherwise)

    def _trigger(self, action: str) -> None:
        self._bench.shell.actions_by_name[action].trigger()
