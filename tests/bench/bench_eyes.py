"""How soon a photo is judged, how often the live picture is compared, and whether the window stays awake beside it.

A script: `python tests/bench/bench_eyes.py [AS_FOUND AS_LEFT | FOLDER] [WIDTHxHEIGHT]`, offscreen unless
QT_QPA_PLATFORM says otherwise. The real window looks at a 1080p camera of thirty pictures a second: MJPEG over the
network from another process, which shows two stills with a little sensor noise. Without arguments the stills are a
drawn device before and after; of a FOLDER, the first two pictures by name. Measured, in one run:

- the idle window: preview, clocks, hands watched, nothing compared. Its blocks are the baseline of the others;
- shutter to verdict: from the command until the verdict stands on the picture, 1 s or less in each of many photos.
  Baseline: the shutter alone, from the command to the picture that is kept;
- live: with the as-found photo laid over the moving picture, comparisons told a second, 2 or more, beside a preview
  that goes on at 27 pictures a second or more; no stretch of over 16 ms in which the window answers to nothing;
- careful: the same while an as-left photo is taken, judged and compared.

A beat of the window's thread counts as late by what it came after its time, beside what a command's own step costs (a
photo or a comparison entered: bench_window.py measures those). What of it the thread spent waiting for a processor
(Linux) is left out too; both are printed with it in the third line. On a quiet machine the second is none.
Prints bar, figure and baseline; exit code 1 when a bar is missed.
"""

from __future__ import annotations

import multiprocessing
import os
import socket
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "bench")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np  # noqa: E402
from bench_window import BEAT_MS, Heart, queued_ms, row, share, wait_ms  # noqa: E402

from benchguide.camera.encode import encode_jpeg  # noqa: E402
from benchguide.camera.opencv import cv2  # noqa: E402
from benchguide.camera.photo_file import read_photo  # noqa: E402
from benchguide.session import commands as cmd  # noqa: E402
from benchguide.window.app import Bench, Options, application, open_shell  # noqa: E402

SIZE, FPS = (1920, 1080), 30
PHOTOS = 12
IDLE_S, LIVE_S = 8.0, 20.0
VERDICT_BAR_S, LIVE_BAR, PREVIEW_BAR, BLOCKED_BAR_MS = 1.0, 2.0, 27.0, 16.0
FOUND, LEFT = 0, 1


def stills(arguments: Sequence[str]) -> list[np.ndarray]:
    """As-found and as-left at the camera's size."""
    paths = [Path(word) for word in arguments]
    if len(paths) == 1 and paths[0].is_dir():
        paths = sorted(p for p in paths[0].iterdir() if p.suffix.lower() in (".jpg", ".jpeg", ".png"))[:2]
    if paths and len(paths) != 2:
        sys.exit("Give two pictures, or a folder with two.")
    if paths:
        pictures = [read_photo(path) for path in paths]
    else:
        from tests.camera.device_scenes import pair

        made = pair(1000, 0)
        pictures = [made.found, made.left]
    return [filled(picture) for picture in pictures]


def filled(picture: np.ndarray) -> np.ndarray:
    """The middle of a picture in the camera's format."""
    height, width = picture.shape[:2]
    wide, high = min(width, round(height * 16 / 9)), min(height, round(width * 9 / 16))
    left, top = (width - wide) // 2, (height - high) // 2
    cut = np.ascontiguousarray(picture[top : top + high, left : left + wide])
    return cv2().resize(cut, SIZE, interpolation=cv2().INTER_AREA if wide > SIZE[0] else cv2().INTER_CUBIC)


def serve(pipe: Connection, arguments: Sequence[str]) -> None:
    """The camera, in a process of its own: thirty pictures a second of the still that was last asked for."""
    rng = np.random.default_rng(1)
    bodies = [
        [
            encode_jpeg(np.clip(still + rng.normal(0, 2, still.shape), 0, 255).astype(np.uint8), 85)
            for _ in range(6)
        ]
        for still in stills(arguments)
    ]
    listener = socket.create_server(("127.0.0.1", 0))
    pipe.send(listener.getsockname()[1])
    shown, number = FOUND, 0
    while True:
        connection, _ = listener.accept()
        with connection:
            try:
                connection.recv(4096)
                connection.sendall(
                    b"HTTP/1.0 200 OK\r\nContent-Type: multipart/x-mixed-replace; boundary=b\r\n\r\n"
                )
                due = time.monotonic()
                while True:
                    while pipe.poll():
                        shown = pipe.recv()
                    body = bodies[shown][number % len(bodies[shown])]
                    head = f"--b\r\nContent-Type: image/jpeg\r\nContent-Length: {len(body)}\r\n\r\n"
                    connection.sendall(head.encode() + body + b"\r\n")
                    number, due = number + 1, due + 1 / FPS
                    time.sleep(max(0.0, due - time.monotonic()))
            except OSError:
                continue  # the reader went away; wait for the next


class Beats(Heart):
    """The window's heart, which also knows how long its thread waited for a processor."""

    def __init__(self) -> None:
        super().__init__()
        self.late: list[float] = []
        self.waited = 0.0
        self._queued = 0.0

    def start(self) -> None:
        """Beat from now on."""
        self._queued = queued_ms()
        super().start()

    def _beat(self) -> None:
        super()._beat()
        queued = queued_ms()
        waited, self._queued = queued - self._queued, queued
        self.waited += waited
        self.late.append(max(0.0, self.beside[-1] - waited))


class Eyed:
    """One bench before the camera, and what is measured at it."""

    def __init__(self, bench: Bench, camera: Connection) -> None:
        self._bench, self._camera = bench, camera
        self._pictures = 0
        self.beats = Beats()
        bench.camera.picture.connect(self._count)

    def _count(self) -> None:
        self._pictures += 1

    def show(self, still: int) -> None:
        """Put the device before the camera as found or as left."""
        self._camera.send(still)
        wait_ms(400)

    def watch(self, seconds: float) -> tuple[Beats, float]:
        """Let the window live; its beats, and pictures it was given a second."""
        self.beats = beats = Beats()
        begin, self._pictures = time.perf_counter(), 0
        beats.start()
        wait_ms(round(seconds * 1000))
        beats.stop()
        return beats, self._pictures / (time.perf_counter() - begin)

    def photo(self, purpose: str) -> tuple[float, float]:
        """Take a photo; seconds from the command to its picture, and to the verdict on the screen."""
        driver = self._bench.driver
        assert driver is not None
        told: list[float] = []
        driver.photo_judged.connect(self._judged)
        self._told = told
        asked = time.perf_counter()
        monotonic = time.monotonic_ns()
        driver.take_photo(purpose)
        while not told and time.perf_counter() - asked < 20:
            wait_ms(2)
        driver.photo_judged.disconnect(self._judged)
        if not told:
            raise RuntimeError("No verdict came.")
        exposed = self._exposed - monotonic
        return exposed / 1e9, told[0] - asked

    def _judged(self, _shot: object, _verdict: object) -> None:
        self._bench.bench_room.camera.repaint()
        self._told.append(time.perf_counter())

    def measure_commands(self) -> None:
        """Take note of when each kept picture was exposed, and of what commands cost by themselves."""
        driver = self._bench.driver
        assert driver is not None
        frame = driver._frame
        for name in ("do", "enter"):
            setattr(driver, name, self._own_step(getattr(driver, name)))

        def timed(*arguments: object) -> object:
            kept = frame(*arguments)  # type: ignore[arg-type]
            self._exposed = kept[0].exposed_ns
            return kept

        driver._frame = timed  # type: ignore[method-assign, assignment]

    def _own_step(self, carry_out: Callable[[object], object]) -> Callable[[object], object]:
        def timed(command: object) -> object:
            begin = time.perf_counter()
            facts = carry_out(command)
            self.beats.own_ms += (time.perf_counter() - begin) * 1e3
            return facts

        return timed


def report(eyed: Eyed, bench: Bench) -> list[bool]:
    """Everything, one after the other; prints its rows."""
    driver, room = bench.driver, bench.bench_room
    assert driver is not None
    driver.do(cmd.GoTo("in-cell-plug"))
    eyed.measure_commands()
    wait_ms(1500)
    idle, idle_fps = eyed.watch(IDLE_S)
    met = [blocked("idle window, longest block", idle, None)]
    taken = [eyed.photo("as-found") for _ in range(PHOTOS + 1)][1:]
    met += verdicts(taken)

    driver.do(cmd.GoTo("back-cell-plug"))
    told: list[object] = []
    bench.eyes.live.told.connect(told.append)
    eyed.show(LEFT)
    room.flip_pair()
    wait_ms(2500)
    told.clear()
    live, fps = eyed.watch(LIVE_S)
    rate = len(told) / LIVE_S
    aligned = sum(bool(getattr(each, "aligned", False)) for each in told)
    met.append(
        row("live comparisons a second", f">= {LIVE_BAR:.0f}", f"{rate:.2f}", f"{aligned} of {len(told)} laid over",
            rate >= LIVE_BAR and aligned > 0)
    )  # fmt: skip
    met.append(
        row("  preview beside it, pictures a second", f">= {PREVIEW_BAR:.0f}", f"{fps:.1f}", f"idle {idle_fps:.1f}",
            fps >= PREVIEW_BAR)
    )  # fmt: skip
    met.append(blocked("  window blocked beside it, longest", live, idle))

    beats = eyed.beats = Beats()
    beats.start()
    begin = time.perf_counter()
    left = [eyed.photo("as-left")[1] for _ in range(3)]
    while bench.eyes.comparer.going and time.perf_counter() - begin < 60:
        wait_ms(5)
    beats.stop()
    row(
        "as-left photo to verdict, beside live",
        "",
        f"{max(left):.2f} s",
        f"median {statistics.median(left):.2f} s",
        None,
    )
    met.append(blocked("  window blocked meanwhile, longest", beats, idle))
    return met


def verdicts(taken: Sequence[tuple[float, float]]) -> list[bool]:
    """The rows of the photos."""
    shutters, told = zip(*taken, strict=True)
    baseline = f"shutter alone {statistics.median(shutters):.2f} s"
    worst = max(told)
    met = row("photo to verdict on the screen, longest", f"<= {VERDICT_BAR_S:.0f} s", f"{worst:.2f} s", baseline,
              worst <= VERDICT_BAR_S)  # fmt: skip
    after = [end - shutter for shutter, end in taken]
    row(
        "  median",
        "",
        f"{statistics.median(told):.2f} s",
        f"after shutter {statistics.median(after):.2f} s",
        None,
    )
    return [met]


def blocked(what: str, beats: Beats, idle: Beats | None) -> bool:
    """A row of blocks; the idle window has no bar."""
    longest = max(beats.late)
    base = f"idle {max(idle.late):.1f} ms" if idle else f"beat every {BEAT_MS} ms"
    bar = f"<= {BLOCKED_BAR_MS:.0f} ms" if idle else ""
    met = row(what, bar, f"{longest:.1f} ms", base, longest <= BLOCKED_BAR_MS if idle else None)
    late = sum(value > BLOCKED_BAR_MS for value in beats.late)
    row(
        "    p99, and how many over 16 ms",
        "",
        f"{share(beats.late, 0.99):.1f} ms",
        f"{late} of {len(beats.late)}",
        None,
    )
    row("    with commands and waiting, longest", "", f"{max(beats.blocked):.1f} ms", f"waited {beats.waited:.0f} ms",
        None)  # fmt: skip
    return met or idle is None


def main(arguments: Sequence[str]) -> int:
    """Print the table; 1 when a bar is missed."""
    sizes = [
        word for word in arguments if word.partition("x")[0].isdigit() and word.partition("x")[2].isdigit()
    ]
    pictures = [word for word in arguments if word not in sizes]
    across, down = (sizes[0] if sizes else "1280x800").split("x")
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    server = context.Process(target=serve, args=(there, pictures), daemon=True)
    server.start()
    address = f"http://127.0.0.1:{here.recv()}/video"
    print(f"{'what':<46} {'bar':>9} {'figure':>10} {'ours / baseline':>22}   load {os.getloadavg()[0]:.2f}")
    try:
        with tempfile.TemporaryDirectory() as folder:
            options = Options(data=Path(folder), camera=address, sound=False, hands_free=False,
                              size=(int(across), int(down)))  # fmt: skip
            app = application()
            shell, theme = open_shell(app, options)
            shell.show()
            bench = Bench(app, shell, theme, options)
            bench.load()
            try:
                entry = bench.shelf.procedure("gloamreed-tuning-wheel")
                assert entry is not None
                bench.start(entry, "J-1", "Mira Tolvey")
                while not bench.camera.live:
                    wait_ms(20)
                met = report(Eyed(bench, here), bench)
            finally:
                bench.close()
                shell.close()
    finally:
        server.kill()
        server.join()
    print(f"load {os.getloadavg()[0]:.2f} on {os.cpu_count()} processors")
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
