"""How long the window's loop stands still while speech fails: no daemon, a hanging daemon, one killed in a sentence.

Bar: no gap over 16 ms that the same loop does not have without any speech. A gap is the time between two ticks of a
1 ms timer, less the same loop's own worst without speech (the machine's); processor time of the loop's thread between
two ticks is printed too, which no other program can lengthen. Baseline: the same sentence through QTextToSpeech in a
thread of this process, as one would write it at first. Run by hand on a quiet machine:

    python tests/bench/bench_speech_faults.py
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import monotonic, thread_time

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QCoreApplication, QEventLoop, QObject, Qt, QThread, QTimer, Signal, Slot

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchguide.speech.reader import Reader
from tests.speech.sound_bed import SoundBed

BAR_MS = 16.0
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
    rest = loop.run(6)
    rows = [("nothing speaks (this machine)", *rest)]
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SPEECHD_ADDRESS"] = f"unix_socket:{folder}/none.sock"
        rows.append(("no daemon", *_no_daemon(loop)))
        bed = SoundBed(Path(folder))
        try:
            bed.start_daemon()
            os.environ.update(bed.env)
            rows.append(("daemon killed in a sentence", *_killed(loop, bed)))
        finally:
            bed.close()
        os.environ["SPEECHD_ADDRESS"] = f"unix_socket:{folder}/none.sock"
        naive = _naive(loop)
    sys.stdout.write(f"{'':34} {'bar':>8} {'gap':>10} {'processor':>10}\n")
    for name, gap, used in rows:
        sys.stdout.write(f"{name:34} {BAR_MS:6.0f}ms {gap:8.1f}ms {used:8.1f}ms\n")
        met &= used <= BAR_MS and gap - rest[0] <= BAR_MS
    sys.stdout.write(f"{'baseline: no daemon, in a thread':34} {'':8} {naive[0]:8.1f}ms {naive[1]:8.1f}ms\n")
    return 0 if met else 1


def _no_daemon(loop: Loop) -> tuple[float, float]:
    reader = Reader()
    figures = loop.run(12, {0.1: reader.start, 6: lambda: reader.say(WORDS), 9: lambda: reader.say(WORDS)})
    reader.close(wait=True)
    return figures


def _killed(loop: Loop, bed: SoundBed) -> tuple[float, float]:
    reader = Reader()
    reader.start()
    ready = QEventLoop()
    reader.state_changed.connect(lambda state, _: ready.quit() if state == "ready" else None)
    QTimer.singleShot(60_000, ready.quit)
    ready.exec()
    figures = loop.run(
        10, {0.1: lambda: reader.say(WORDS), 3: lambda: os.killpg(bed.daemon_pid, 9), 8: reader.stop}
    )
    reader.close(wait=True)
    return figures


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
