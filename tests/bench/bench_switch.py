"""How long from a press of the foot switch to its command: with the focus as a key, and by its device file.

Bars: 5 ms each at the median. Baseline of the same run: the same key through a plain QAction shortcut, and a bare read
of the same pipe by a notifier. The command itself (what the bench does) is not part of it.

A learnt switch looks at every event of the program; what that costs is measured on the window's own bench: events a
second while the pointer moves over it and the picture is live, and the processor time an event takes with the filter
and without. No bar was set for it; 1 % of a core is asked here. Run by hand:

    python tests/bench/bench_switch.py
"""

from __future__ import annotations

import itertools
import os
import statistics
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, thread_time

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QEvent, QEventLoop, QObject, QPoint, QSocketNotifier, Qt, QTimer
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QWidget

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.press_pattern import PressTimes
from benchguide.window.switch_device import EVENT, SwitchDevice
from benchguide.window.switch_keys import LearntKey, SwitchKeys

PRESSES = 200
ROUNDS, EVENTS = 15, 2000
SHARE_BAR = 0.01
BAR_MS = 5.0
KEY_F13 = 183


def main() -> int:
    """Measure and print; 1 when a bar is missed."""
    app = application()
    window = QWidget()
    field = QLineEdit(window)
    action = QAction("x", window)
    action.setShortcut(QKeySequence("F5"))
    window.addAction(action)
    window.show()
    window.activateWindow()
    QTest.qWaitForWindowActive(window)
    field.setFocus()
    keys = SwitchKeys(PressTimes(least_s=0.0, bounce_s=0.0))
    keys.key = LearntKey(int(Qt.Key.Key_F13), KEY_F13 + 8)
    keys.start(app)
    focused = [_by_key(field, Qt.Key.Key_F13, keys.pressed.connect) for _ in range(PRESSES)]
    keys.stop(app)
    plain = [_by_key(field, Qt.Key.Key_F5, action.triggered.connect) for _ in range(PRESSES)]
    with tempfile.TemporaryDirectory() as folder:
        device, bare = _by_device(Path(folder) / "usb-Bench_switch-event-kbd", keys)
    met = True
    with tempfile.TemporaryDirectory() as folder:
        events_s, with_us, without_us = _filter_cost(app, keys, Path(folder))
    sys.stdout.write(f"{'press to command':34} {'bar':>8} {'median':>9} {'p95':>9} {'baseline':>10}\n")
    for name, times, base in (("focused, as a key", focused, plain), ("by its device", device, bare)):
        median, p95 = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        met &= median <= BAR_MS
        sys.stdout.write(
            f"{name:34} {BAR_MS:6.1f}ms {median:7.2f}ms {p95:7.2f}ms {statistics.median(base):8.2f}ms\n"
        )
    sys.stdout.write("baseline: a plain shortcut of Qt; a bare notifier on the same pipe\n")
    share = events_s * max(0.0, with_us - without_us) / 1e6
    met &= share <= SHARE_BAR
    sys.stdout.write(
        f"{'filter of a learnt switch':34} {SHARE_BAR:7.0%}  {share:8.2%}  {events_s:.0f} events a second, "
        f"{with_us:.2f} us an event with it, {without_us:.2f} us without (median of {ROUNDS} turns)\n"
    )
    return 0 if met else 1


class Count(QObject):
    """Counts the events that pass."""

    seen = 0

    def eventFilter(self, _watched: QObject, _event: QEvent) -> bool:
        self.seen += 1
        return False


def _filter_cost(app: QApplication, keys: SwitchKeys, folder: Path) -> tuple[float, float, float]:
    """Events a second on a working bench, and processor time of one event with and without the filter, in us."""
    shell, theme = open_shell(
        app, wanted := Options(data=folder, camera="simulated", sound=False, hands_free=False)
    )
    bench = Bench(app, shell, theme, wanted)
    bench.load()
    shell.show()
    entry = bench.shelf.procedure("gloamreed-tuning-wheel")
    assert entry is not None
    bench.start(entry, "J-1", "Ada")
    QTest.qWait(2000)
    count = Count()
    app.installEventFilter(count)
    pointer = QTimer(interval=8)  # a mouse tells some 125 times a second where it is
    at = itertools.cycle(range(40, 600, 7))
    pointer.timeout.connect(lambda: QTest.mouseMove(shell, QPoint(next(at), 300)))
    pointer.start()
    began = perf_counter()
    QTest.qWait(4000)
    events_s = count.seen / (perf_counter() - began)
    pointer.stop()
    app.removeEventFilter(count)
    bench.close()
    target = QWidget()
    figures: dict[bool, list[float]] = {True: [], False: []}
    for turn in range(2 * ROUNDS):
        on = bool(turn % 2)
        if on:
            keys.start(app)
        before = thread_time()
        for _ in range(EVENTS):
            app.sendEvent(target, QEvent(QEvent.Type.User))
        figures[on].append(1e6 * (thread_time() - before) / EVENTS)
        keys.stop(app)
    return events_s, statistics.median(figures[True]), statistics.median(figures[False])


def _by_key(field: QWidget, key: Qt.Key, connect: Callable[[Callable[..., None]], object]) -> float:
    """One press and release of a key, from the press to the signal, in ms."""
    told: list[float] = []
    connection = connect(lambda *_: told.append(perf_counter()))
    before = perf_counter()
    QTest.keyClick(field, key)
    QObject.disconnect(connection)  # type: ignore[call-overload]
    if not told:
        raise RuntimeError("The press was not heard.")
    return 1000 * (told[0] - before)


def _by_device(path: Path, keys: SwitchKeys) -> tuple[list[float], list[float]]:
    """Presses through a pipe of input events: by SwitchDevice, and read bare; ms each."""
    os.mkfifo(path)
    writer = os.open(path, os.O_RDWR)
    device = SwitchDevice(path)
    device.key.connect(keys.device_key)
    device.start()
    times = [_one(lambda: _press(writer), keys.pressed.connect) for _ in range(PRESSES)]
    device.stop()
    reader = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    notifier = QSocketNotifier(reader, QSocketNotifier.Type.Read)
    notifier.activated.connect(lambda *_: os.read(reader, 4096))
    bare = [_one(lambda: _press(writer), notifier.activated.connect) for _ in range(PRESSES)]
    notifier.setEnabled(False)
    os.close(reader)
    os.close(writer)
    return times, bare


def _press(writer: int) -> None:
    os.write(writer, EVENT.pack(0, 0, 1, KEY_F13, 1) + EVENT.pack(0, 0, 1, KEY_F13, 0))


def _one(press: Callable[[], None], connect: Callable[[Callable[..., None]], object]) -> float:
    loop, told = QEventLoop(), [0.0]

    def heard(*_: object) -> None:
        told[0] = perf_counter()
        loop.quit()

    connection = connect(heard)
    start = [0.0]

    def go() -> None:
        start[0] = perf_counter()
        press()

    QTimer.singleShot(1, loop, go)
    QTimer.singleShot(5000, loop, loop.quit)
    loop.exec()
    QObject.disconnect(connection)  # type: ignore[call-overload]
    if not told[0]:
        raise RuntimeError("The press was not heard.")
    return 1000 * (told[0] - start[0])


if __name__ == "__main__":
    sys.exit(main())
