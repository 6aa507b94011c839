"""How long the window's loop stands still while speech fails: daemon, microphone, sound server or a process gone.

Bar: no gap over 16 ms that the same loop does not have without any speech. A gap is the time between two ticks of a
1 ms timer, less the same loop's own worst while it is idle, before and after (the machine's); processor time of the
loop's thread between two ticks is printed too, which no other program can lengthen. Baseline: the same sentence through
QTextToSpeech in a thread of this process, as one would write it at first. By hand, on a quiet machine:

    python tests/bench/bench_speech_faults.py
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from threading import Thread
from time import monotonic, sleep, thread_time

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import (
    QCoreApplication,
    QEventLoop,
    QObject,
    Qt,
    QThread,
    QTimer,
    Signal,
    SignalInstance,
    Slot,
)

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchguide.speech.listener import Listener
from benchguide.speech.reader import Reader, ReadingState
from tests.speech.sound_bed import SoundBed

BAR_MS = 16.0
IDLE_S = 8
WORDS = "Take off the four screws, then lift the cover and put it away. " * 6


class Loop(QObject):
    """Ticks every millisecond; the worst gap and the worst processor time between two ticks, in ms."""

    def __init__(self) -> None:
        super().__init__()
        self._timer = QTimer(self, interval=1)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._tick)

    def run(
        self, seconds: float, steps: dict[float, Callable[[], object]] | None = None
    ) -> tuple[float, float]:
        """Run for so long, doing the steps at their times."""
        self._gap = self._used = 0.0
        loop = QEventLoop()
        for at, step in (steps or {}).items():
            QTimer.singleShot(round(1000 * at), loop, step)
        QTimer.singleShot(round(1000 * seconds), loop, loop.quit)
        self._last, self._last_used = monotonic(), thread_time()
        self._timer.start()
        loop.exec()
        self._timer.stop()
        return self._gap, self._used

    def _tick(self) -> None:
        now, used = monotonic(), thread_time()
        self._gap = max(self._gap, 1000 * (now - self._last))
        self._used = max(self._used, 1000 * (used - self._last_used))
        self._last, self._last_used = now, used


class Naive(QObject):
    """QTextToSpeech in a thread of the same process."""

    go = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.go.connect(self._speak)

    @Slot()
    def _speak(self) -> None:
        from PySide6.QtTextToSpeech import QTextToSpeech

        self.speech = QTextToSpeech("speechd")
        self.speech.say(WORDS)


def main() -> int:
    """Measure and print; 1 when a bar is missed."""
    app = QCoreApplication.instance() or QCoreApplication(sys.argv[:1])
    assert app is not None
    loop, met = Loop(), True
    rows = [("nothing speaks or listens: idle", *loop.run(IDLE_S))]
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SPEECHD_ADDRESS"] = f"unix_socket:{folder}/none.sock"
        rows.append(("no daemon", *_no_daemon(loop)))
        bed = SoundBed(Path(folder))
        try:
            bed.start_daemon()
            os.environ.update(bed.env)
            rows.append(("reading, no fault", *_reading(loop, lambda _reader: None)))
            rows.append(("reading process killed in a sentence", *_reading(loop, _kill_reader)))
            rows.append(("reading process stopped in a sentence", *_reading(loop, _stop_reader)))
            rows.append(
                ("daemon killed in a sentence", *_reading(loop, lambda _reader: os.killpg(bed.daemon_pid, 9)))
            )
            rows.append(("listening, no fault", *_listening(loop, lambda _listener: None)))
            rows.append(("listening process killed", *_listening(loop, _kill_listener)))
            rows.append(("microphone pulled and plugged in", *_listening(loop, lambda _l: _pull(bed))))
            rows.append(("sound server killed while listening", *_listening(loop, lambda _l: bed.close())))
        finally:
            bed.close()
        os.environ["SPEECHD_ADDRESS"] = f"unix_socket:{folder}/none.sock"
        rows.append(("idle again", *loop.run(IDLE_S)))
        naive = _naive(loop)
    rest = max(gap for name, gap, _ in rows if "idle" in name)
    sys.stdout.write(f"{'':40} {'bar':>8} {'gap':>10} {'processor':>10}\n")
    for name, gap, used in rows:
        bar = "" if "idle" in name else f"{BAR_MS:.0f}ms"
        missed = bool(bar) and (used > BAR_MS or gap - rest > BAR_MS)
        met &= not missed
        sys.stdout.write(f"{name:40} {bar:>8} {gap:8.1f}ms {used:8.1f}ms{'  MISSED' if missed else ''}\n")
    sys.stdout.write(f"{'baseline: no daemon, in a thread':40} {'':8} {naive[0]:8.1f}ms {naive[1]:8.1f}ms\n")
    return 0 if met else 1


def _until(news: SignalInstance, reached: Callable[[], bool], seconds: float = 60.0) -> None:
    """Run until it is so; asked again whenever there is news. Raises RuntimeError when it never is."""
    waiting = QEventLoop()
    news.connect(lambda *_: waiting.quit() if reached() else None)
    QTimer.singleShot(round(1000 * seconds), waiting, waiting.quit)
    if not reached():
        waiting.exec()
    if not reached():
        raise RuntimeError("Speech was not ready in time; nothing was measured.")


def _no_daemon(loop: Loop) -> tuple[float, float]:
    reader = Reader()
    figures = loop.run(12, {0.1: reader.start, 6: lambda: reader.say(WORDS), 9: lambda: reader.say(WORDS)})
    reader.close(wait=True)
    return figures


def _reading(loop: Loop, fault: Callable[[Reader], object]) -> tuple[float, float]:
    """A sentence begins, the fault comes into it, and the loop runs on until the reader has found its way."""
    reader = Reader()
    reader.start()
    _until(reader.state_changed, lambda: reader.state is ReadingState.READY)
    steps: dict[float, Callable[[], object]] = {0.1: lambda: reader.say(WORDS), 3: lambda: fault(reader)}
    figures = loop.run(12, {**steps, 10: reader.stop})
    reader.close(wait=True)
    return figures


def _kill_reader(reader: Reader) -> None:
    assert reader._process is not None
    os.kill(reader._process.pid, signal.SIGKILL)


def _stop_reader(reader: Reader) -> None:
    """It hangs: neither speaks nor answers."""
    assert reader._process is not None
    os.kill(reader._process.pid, signal.SIGSTOP)


def _listening(loop: Loop, fault: Callable[[Listener], object]) -> tuple[float, float]:
    """The microphone is heard, the fault comes, and the loop runs on until it is heard again, where it can be."""
    listener = Listener()
    listener.start()
    _until(listener.state_changed, lambda: listener.hearing)
    figures = loop.run(14, {2: lambda: fault(listener)})
    listener.stop(wait=True)
    return figures


def _kill_listener(listener: Listener) -> None:
    assert listener._process is not None
    os.kill(listener._process.pid, signal.SIGKILL)


def _pull(bed: SoundBed) -> None:
    """The microphone goes, and comes back four seconds later. By another thread: no part of what is measured."""

    def pull() -> None:
        modules = bed.pactl("list", "short", "modules").splitlines()
        bed.pactl("unload-module", next(line.split()[0] for line in modules if "module-remap-source" in line))
        sleep(4)
        bed.pactl("load-module", "module-remap-source", "source_name=fakemic", "master=mic_in.monitor")
        bed.pactl("set-default-source", "fakemic")

    Thread(target=pull, daemon=True).start()


def _naive(loop: Loop) -> tuple[float, float]:
    thread, naive = QThread(), Naive()
    naive.moveToThread(thread)
    thread.start()
    figures = loop.run(8, {0.5: naive.go.emit})
    thread.quit()
    thread.wait(5000)
    return figures


if __name__ == "__main__":
    sys.exit(main())
