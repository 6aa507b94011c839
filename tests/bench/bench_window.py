"""How fast the window opens, follows a command, and stays awake while a photo is taken.

A script: `python tests/bench/bench_window.py [WIDTHxHEIGHT] [--simulated] [--hurried]`, offscreen unless
QT_QPA_PLATFORM says otherwise. It plays the demo job through the real window with a 1080p preview running: the
pictures come over the network, as MJPEG from another process, or with --simulated from the simulated bench, which
draws its scene anew in this process whenever a part moves. Measured on the way:

- start to first painted window, in new processes, against a bare PySide6 window of the same run: at most 2.5 times;
- command to next step painted, from the trigger to the end of the round of events that painted the step. What stands
  in the window then is compared with what stands there a moment later: should anything of the step (all of the bench
  but the camera picture and the list of differences, which come when they come) look different, the command ends with
  the last paint. The bench is at rest before each command but for the preview; with --hurried it comes as soon as the
  last photo is entered, while that is still compared. 95th percentile 16 ms or less; in it the durable append, at most
  1.3 times a bare sqlite3 insert of the same texts;
- how long the window answers to nothing while a photo is taken, written, verified and entered: 16 ms or less
  beside what the command's own step costs. The baseline is the same window with the preview running, idle.

Prints bar, figure and baseline, with the processor time of this thread where the machine may be busy with other
things. Exit code 1 when a bar is missed.
"""

from __future__ import annotations

import multiprocessing
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "bench")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from bench_camera import serve  # noqa: E402
from PySide6.QtCore import QEvent, QEventLoop, QObject, QPoint, QRect, Qt, QTimer  # noqa: E402
from PySide6.QtGui import QImage, QPainter  # noqa: E402
from PySide6.QtWidgets import QApplication, QWidget  # noqa: E402

from benchguide.bundled import demo_folder  # noqa: E402
from benchguide.procedure.procedure import Step  # noqa: E402
from benchguide.window.app import Bench, Options, application, open_shell  # noqa: E402
from benchguide.window.demo import DemoPlayer, Script, ScriptClock, read_script  # noqa: E402

STARTS = 7
START_BAR = 2.5
STEP_BAR_MS = 16.0
APPEND_BAR = 1.3
BLOCKED_BAR_MS = 16.0
BEAT_MS = 2
IDLE_S = 4.0
REST_MS = 3000

BARE = """
import time
from PySide6.QtWidgets import QApplication, QWidget
class Window(QWidget):
    def paintEvent(self, event):
        print(time.monotonic_ns(), flush=True)
        app.quit()
app = QApplication([])
window = Window()
window.resize(1280, 800)
window.show()
app.exec()
"""

OURS = """
import sys, time
from pathlib import Path
from benchguide.window import app
opened = app.open_shell
def open_shell(qt, options):
    shell, theme = opened(qt, options)
    shell.painted.connect(lambda: print(time.monotonic_ns(), flush=True))
    shown = shell.show_room
    def show_room(name):
        shown(name)
        room = shell._stack.currentWidget()
        room.repaint()
        print(time.monotonic_ns(), flush=True)
        qt.quit()
    shell.show_room = show_room
    return shell, theme
app.open_shell = open_shell
sys.exit(app.run_window(app.Options(data=Path(sys.argv[1]), camera="simulated", sound=False)))
"""


def started_ms(code: str, *arguments: str) -> list[float]:
    """Milliseconds from starting the process to each moment it prints (the monotonic clock is shared)."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    begin = time.monotonic_ns()
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, env=environment, timeout=40
    )
    moments = [int(line) for line in done.stdout.split() if line.isdigit()]
    if not moments:
        raise RuntimeError(f"The window did not open: {done.stderr[-800:]}")
    return [(moment - begin) / 1e6 for moment in moments]


def bench_start(folder: Path) -> bool:
    """Both in turn, the first round of each thrown away: it warms the disk's cache and makes the data folder."""
    data = str(folder / "start")
    ours, bare = [], []
    for _ in range(STARTS + 1):
        bare.append(started_ms(BARE)[0])
        ours.append(started_ms(OURS, data))
    painted = [run[0] for run in ours[1:]]
    rooms = [run[-1] for run in ours[1:] if len(run) > 1]
    base = statistics.median(bare[1:])
    ratio = statistics.median(painted) / base
    both = f"{statistics.median(painted):.0f} / {base:.0f} ms"
    met = row(
        "start to first painted window", f"<= {START_BAR} x", f"{ratio:.2f} x", both, ratio <= START_BAR
    )
    row("start to first room painted", "", f"{statistics.median(rooms):.0f} ms", f"bare {base:.0f} ms", None)
    return met


class Painted(QObject):
    """Knows whether the number of the step was painted since it was asked."""

    def __init__(self, watched: QWidget) -> None:
        super().__init__(watched)
        self.seen = False
        watched.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Look, and let the event go on."""
        if event.type() == QEvent.Type.Paint:
            self.seen = True
        return False


class Late(QObject):
    """Looks whether a command goes on painting after its round of events; the live picture and its frame do not count.

    It looks only between the commands: a filter on every event would be measured too.
    """

    def __init__(self, room: QWidget, picture: QWidget) -> None:
        super().__init__(room)
        self._room, self._picture = room, picture
        self.last = 0.0
        """When something was painted last, by time.perf_counter; 0 when nothing was."""

    def watch(self, app: QApplication, on: bool) -> None:
        """Begin or end looking."""
        if on:
            self.last = 0.0
            app.installEventFilter(self)
        else:
            app.removeEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Look, and let the event go on."""
        if event.type() == QEvent.Type.Paint and isinstance(watched, QWidget):
            inside = self._room.isAncestorOf(watched) and not watched.isAncestorOf(self._picture)
            if inside and watched is not self._picture:
                self.last = time.perf_counter()
        return False


def queued_ms() -> float:
    """Milliseconds this thread has waited for a processor so far (Linux; elsewhere 0)."""
    try:
        text = Path(f"/proc/self/task/{threading.get_native_id()}/schedstat").read_text(encoding="ascii")
        return int(text.split()[1]) / 1e6
    except (OSError, ValueError, IndexError):
        return 0.0


class Heart(QObject):
    """A timer of the window's thread; what lies between two beats beyond their interval, nothing else could run in."""

    def __init__(self) -> None:
        super().__init__()
        self._timer = QTimer(self, interval=BEAT_MS, timerType=Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._beat)
        self._last = 0
        self.own_ms = 0.0
        """What the command's own step took since the last beat; set from outside."""
        self.blocked: list[float] = []
        self.beside: list[float] = []

    def start(self) -> None:
        """Beat from now on."""
        self._last = time.perf_counter_ns()
        self._timer.start()

    def stop(self) -> None:
        """Stop; what was measured stays."""
        self._timer.stop()

    def _beat(self) -> None:
        now = time.perf_counter_ns()
        blocked = (now - self._last) / 1e6 - BEAT_MS
        self.blocked.append(max(0.0, blocked))
        self.beside.append(max(0.0, blocked - self.own_ms))
        self._last, self.own_ms = now, 0.0


class Player(DemoPlayer):
    """Plays the demo job, measuring each command, and the window's wakefulness during each photo."""

    def __init__(
        self,
        bench: Bench,
        script: Script,
        clock: ScriptClock,
        bare: sqlite3.Connection,
        hurried: bool = False,
    ) -> None:
        super().__init__(bench, script, clock, None)
        self._hurried = hurried
        self.steps_ms: list[float] = []
        self.cpu_ms: list[float] = []
        self.append_ms: list[float] = []
        self.bare_ms: list[float] = []
        self.photos, self.idle = Heart(), Heart()
        self._bare = bare
        self.queued_ms: list[float] = []
        self.late = 0
        self._painted = Painted(bench.bench_room.instruction.number)
        self._late = Late(bench.bench_room, bench.bench_room.camera)
        self._appended: list[tuple[float, list[object]]] = []
        self._stored: list[object] = []
        self._time_appends()

    def _time_appends(self) -> None:
        append = self._bench.log.append

        def timed(session: str, docs: Sequence[object]) -> object:
            begin = time.perf_counter()
            stored = append(session, docs)  # type: ignore[arg-type]
            self._appended.append(((time.perf_counter() - begin) * 1e3, list(stored)))
            return stored

        self._bench.log.append = timed  # type: ignore[method-assign, assignment]

    def measure(self, command: Callable[[], object]) -> None:
        """One command, from its trigger until the next step is painted."""
        self._settle()
        self._insert_bare()
        self._painted.seen = False
        self._appended.clear()
        before = self._driver.state.here
        queued = queued_ms()
        begin, cpu = time.perf_counter(), time.thread_time()
        command()
        if self._driver.state.here == before:
            return
        while not self._painted.seen:
            self._bench.app.processEvents(QEventLoop.ProcessEventsFlag.WaitForMoreEvents)
        self.steps_ms.append((time.perf_counter() - begin) * 1e3)
        self.cpu_ms.append((time.thread_time() - cpu) * 1e3)
        self.queued_ms.append(queued_ms() - queued)
        took, self._stored = self._appended[0]
        self.append_ms.append(took)
        self._look_for_more(begin)

    def _look_for_more(self, begin: float) -> None:
        """What of the step is painted later belongs to the command too: nobody has touched anything since."""
        first = self._on_screen()
        self._late.watch(self._bench.app, True)
        wait_ms(40)
        self._late.watch(self._bench.app, False)
        if self._late.last and self._differ(first, self._on_screen()):
            self.late += 1
            self.steps_ms[-1] = (self._late.last - begin) * 1e3

    def _on_screen(self) -> QImage:
        """What the window shows of the bench now, from the screen: nothing is painted for it."""
        room = self._bench.bench_room
        corner, size = room.mapTo(self._bench.shell, room.rect().topLeft()), room.size()
        screen = self._bench.app.primaryScreen()
        shown = screen.grabWindow(
            self._bench.shell.winId(), corner.x(), corner.y(), size.width(), size.height()
        )
        return shown.toImage()

    def _differ(self, one: QImage, other: QImage) -> bool:
        """Whether two pictures of the bench differ but for the camera picture and the list of differences."""
        room = self._bench.bench_room
        for image in (one, other):
            painter = QPainter(image)
            for living in (room.camera, room.differences):
                if not living.isHidden():
                    painter.fillRect(
                        QRect(living.mapTo(room, QPoint(0, 0)), living.size()), Qt.GlobalColor.black
                    )
            painter.end()
        return one != other

    def _settle(self) -> None:
        """The preview runs again: the simulated bench has drawn what the last command changed, and no photo is
        judged or compared any more."""
        wait_ms(60)
        camera, tries = self._bench.camera.worker, 500
        while not self._hurried and tries and self._busy():
            wait_ms(10)
            tries -= 1
        seen, tries = camera.newest(), 300
        while tries and seen and camera.newest().index < seen.index + 3:  # type: ignore[union-attr]
            wait_ms(10)
            tries -= 1

    def _busy(self) -> bool:
        eyes = self._bench.eyes
        return self._driver.shooting or eyes.comparer.going or self._bench.bench_room.busy_ahead

    def _insert_bare(self) -> None:
        """The texts of the last command once more, right before the next one is measured."""
        from benchguide.store.links import canonical

        texts = [(canonical(event.doc).decode(),) for event in self._stored]  # type: ignore[attr-defined]
        if not texts:
            return
        begin = time.perf_counter()
        self._bare.execute("BEGIN IMMEDIATE")
        self._bare.executemany("INSERT INTO events VALUES (?)", texts)
        self._bare.execute("COMMIT")
        self.bare_ms.append((time.perf_counter() - begin) * 1e3)

    def _trigger(self, action: str) -> None:
        if action == "step-done":
            self.measure(lambda: super(Player, self)._trigger(action))
        else:
            super()._trigger(action)

    def _play_step(self, step: Step) -> None:
        """The step as played, then one back and forth again: from the ledger of every step."""
        if not self.idle.blocked:
            self.watch_idle()
        super()._play_step(step)
        here = self._driver.state.step.id
        if here != step.id:
            self.measure(lambda: self._trigger("previous-step"))
            self.measure(lambda: self._bench.bench_room.rail.step_chosen.emit(here))

    def _photo_came(self, purpose: str) -> bool:
        wait_ms(100)
        do = self._driver.do

        def timed(command: object) -> object:
            begin = time.perf_counter()
            facts = do(command)  # type: ignore[arg-type]
            self.photos.own_ms += (time.perf_counter() - begin) * 1e3
            return facts

        self._driver.do = timed  # type: ignore[method-assign, assignment]
        self.photos.start()
        came = super()._photo_came(purpose)
        wait_ms(30)
        self.photos.stop()
        self._driver.do = do  # type: ignore[method-assign]
        return came

    def watch_idle(self) -> None:
        """The baseline: nothing but the running preview and the ticking clocks, on the first step, when all that
        follows a start is done."""
        wait_ms(REST_MS)
        self._settle()
        self.idle.start()
        wait_ms(round(IDLE_S * 1000))
        self.idle.stop()


def wait_ms(ms: int) -> None:
    """Let the window live for a while."""
    loop = QEventLoop()
    QTimer.singleShot(ms, loop.quit)
    loop.exec()


def bench_job(folder: Path, size: tuple[int, int], camera: str, hurried: bool = False) -> bool:
    """The demo job in a window of this size before one camera; prints its rows."""
    script = read_script(demo_folder() / "demo_job.yaml")
    clock = ScriptClock(script.start)
    options = Options(data=folder / "job", camera=camera, clock=clock, sound=False, size=size)
    app = application()
    shell, theme = open_shell(app, options)
    shell.show()
    bench = Bench(app, shell, theme, options)
    bench.load()
    bare = sqlite3.connect(folder / "bare.db", isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        bare.execute(f"PRAGMA {pragma}")
    bare.execute("CREATE TABLE events (body TEXT NOT NULL)")
    try:
        player = Player(bench, script, clock, bare, hurried)
        player.play()
        height, width = bench.camera.worker.newest().image.shape[:2]  # type: ignore[union-attr]
        fps, beats = bench.camera.worker.status().fps, len(player.photos.blocked)
        print(f"  {len(player.steps_ms)} commands in a window of {size[0]} x {size[1]}")
        print(
            f"  preview {width} x {height} at {fps:.0f} a second at the end, {beats} beats while photographing"
        )
    finally:
        bench.close()
        shell.close()
        bare.close()
    return report(player)


def report(player: Player) -> bool:
    """The rows of a played job."""
    return all([*report_steps(player), report_photos(player)])


def report_steps(player: Player) -> list[bool]:
    """What a command took."""
    steps, cpu, ours, bare = player.steps_ms, player.cpu_ms, player.append_ms, player.bare_ms
    late, kept, base = share(steps, 0.95), statistics.median(ours), statistics.median(bare)
    ratio = kept / base
    usual, usual_cpu = statistics.median(steps), statistics.median(cpu)
    met = [
        row("command to next step painted, p95", f"<= {STEP_BAR_MS:.0f} ms", f"{late:.1f} ms",
            f"median {usual:.1f} ms", late <= STEP_BAR_MS),
        row("  of it durable append / bare sqlite3 insert", f"<= {APPEND_BAR} x", f"{ratio:.2f} x",
            f"{kept:.3f} / {base:.3f} ms", ratio <= APPEND_BAR),
    ]  # fmt: skip
    row(
        "  of it durable append, p95",
        "",
        f"{share(ours, 0.95):.2f} ms",
        f"bare {share(bare, 0.95):.2f} ms",
        None,
    )
    row("  of it processor time, p95", "", f"{share(cpu, 0.95):.1f} ms", f"median {usual_cpu:.1f} ms", None)
    row("  of it waiting for a processor, p95", "", f"{share(player.queued_ms, 0.95):.1f} ms",
        f"median {statistics.median(player.queued_ms):.1f} ms", None)  # fmt: skip
    row("  commands whose step was painted once more later", "", f"{player.late}", f"of {len(steps)}", None)
    return met


def report_photos(player: Player) -> bool:
    """How long nothing else could run while photos were taken."""
    beside, blocked, idle = player.photos.beside, player.photos.blocked, player.idle.blocked
    longest = max(beside)
    met = row("window blocked during a photo, longest", f"<= {BLOCKED_BAR_MS:.0f} ms", f"{longest:.1f} ms",
              f"idle {max(idle):.1f} ms", longest <= BLOCKED_BAR_MS)  # fmt: skip
    row("  the same, p99", "", f"{share(beside, 0.99):.1f} ms", f"idle {share(idle, 0.99):.1f} ms", None)
    most, late = f"{max(blocked):.1f} ms", f"p99 {share(blocked, 0.99):.1f} ms"
    row("  with the command's own step, longest", "", most, late, None)
    return met


def share(values: Sequence[float], part: float) -> float:
    """The value below which this part of the values lies."""
    return sorted(values)[min(len(values) - 1, int(len(values) * part))]


def row(what: str, bar: str, figure: str, baseline: str, met: bool | None) -> bool:
    """One line of the table; gives back whether the bar is met."""
    told = "" if met is None else "met" if met else "MISSED"
    print(f"{what:<46} {bar:>9} {figure:>10} {baseline:>22}  {told}", flush=True)
    return bool(met)


def main(arguments: Sequence[str]) -> int:
    """Print the table; 1 when a bar is missed."""
    sizes = [word for word in arguments if not word.startswith("--")]
    across, down = (sizes[0] if sizes else "1280x800").split("x")
    here, there = multiprocessing.get_context("spawn").Pipe()
    server = multiprocessing.get_context("spawn").Process(target=serve, args=(there,), daemon=True)
    server.start()
    camera = "simulated" if "--simulated" in arguments else f"http://127.0.0.1:{here.recv()[0]}/video"
    print(f"{'what':<46} {'bar':>9} {'figure':>10} {'ours / baseline':>22}   load {os.getloadavg()[0]:.2f}")
    try:
        with tempfile.TemporaryDirectory() as folder:
            size, hurried = (int(across), int(down)), "--hurried" in arguments
            met = [bench_start(Path(folder)), bench_job(Path(folder), size, camera, hurried)]
    finally:
        server.kill()
        server.join()
    print(f"load {os.getloadavg()[0]:.2f} on {os.cpu_count()} processors")
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
