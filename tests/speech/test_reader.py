"""Reading aloud with the real daemon, without it, and with one that is killed; the loop of the window never waits."""

import os
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QObject, Qt, QTimer
from pytestqt.qtbot import QtBot

from benchguide.speech.reader import Reader, ReadingState
from tests.speech.sound_bed import SoundBed

LONG = "Take off the four screws, then lift the cover and put it away. " * 4


@pytest.fixture
def bed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SoundBed]:
    made = SoundBed(tmp_path)
    try:
        yield made
    finally:
        made.close()


def use(bed: SoundBed, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in bed.env.items():
        monkeypatch.setenv(name, value)


class Loop(QObject):
    """Ticks every millisecond and keeps how much processor time this thread used between two ticks.

    Processor time and not the clock: on a machine shared with others a tick is late without any fault of ours.
    `gaps` are kept too, for the benchmark.
    """

    def __init__(self) -> None:
        super().__init__()
        self.used: list[float] = []
        self.gaps: list[float] = []
        self._last = self._last_used = 0.0
        self._timer = QTimer(self, interval=1)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._tick)

    def start(self) -> None:
        self._last, self._last_used = time.monotonic(), time.thread_time()
        self._timer.start()

    def _tick(self) -> None:
        now, used = time.monotonic(), time.thread_time()
        self.gaps.append(now - self._last)
        self.used.append(used - self._last_used)
        self._last, self._last_used = now, used

    def stop(self) -> None:
        self._timer.stop()

    @property
    def worst_ms(self) -> float:
        return max(self.gaps) * 1000


@pytest.fixture
def reader() -> Iterator[Reader]:
    made = Reader()
    yield made
    made.close(wait=True)


def test_the_words_arrive_in_the_loudspeaker_and_stop_ends_them(
    bed: SoundBed, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot, reader: Reader
) -> None:
    bed.start_daemon()
    use(bed, monkeypatch)
    reader.start()
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    assert any("English" in voice for voice in reader.voices)
    recording = bed.recording()
    begun: list[str] = []
    reader.begins.connect(begun.append)
    with qtbot.waitSignal(reader.ended, timeout=30_000):
        assert reader.say("Next step.")
    assert begun == ["Next step."]
    spoken = recording.samples
    assert np.abs(spoken).max() > 0.05
    assert reader.again()
    qtbot.waitUntil(
        lambda: np.abs(recording.samples[len(spoken) + 800 :]).max(initial=0) > 0.05, timeout=30_000
    )
    with qtbot.waitSignal(reader.ended, timeout=5000):
        reader.say(LONG)
        QTimer.singleShot(1500, reader.stop)
    at = len(recording.samples)
    qtbot.waitUntil(lambda: len(recording.samples) > at + 3 * 16_000, timeout=20_000)
    assert np.abs(recording.stop()[at + 16_000 :]).max() < 0.01


def test_without_a_daemon_the_lamp_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot, reader: Reader
) -> None:
    monkeypatch.setenv("SPEECHD_ADDRESS", f"unix_socket:{tmp_path}/none.sock")
    reader.start()
    qtbot.waitUntil(lambda: reader.state is ReadingState.ABSENT, timeout=60_000)
    assert "preflight" in reader.sentence
    before = time.thread_time()
    assert not reader.say("Next step.")
    assert time.thread_time() - before < 0.016


def test_a_daemon_killed_in_the_middle_is_told_and_its_return_is_found(
    bed: SoundBed, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot, reader: Reader
) -> None:
    bed.start_daemon()
    use(bed, monkeypatch)
    reader.start()
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    recording = bed.recording()
    reader.say(LONG)
    qtbot.waitUntil(lambda: np.abs(recording.samples).max(initial=0) > 0.05, timeout=30_000)
    recording.stop()
    with qtbot.waitSignal(reader.ended, timeout=10_000):
        bed.kill_daemon()
    qtbot.waitUntil(lambda: reader.state is ReadingState.ABSENT, timeout=5000)
    bed.start_daemon()
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=90_000)


def test_the_process_that_speaks_may_be_killed_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    """The mock engine of Qt needs no daemon: the process dies in the middle of a sentence."""
    reader = Reader(engine="mock")
    reader.start()
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    assert reader.say(LONG)
    assert reader._process is not None
    with qtbot.waitSignal(reader.ended, timeout=10_000):
        os.kill(reader._process.pid, 9)
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    reader.close(wait=True)
    assert reader.state is ReadingState.OFF


def test_a_service_that_hangs_is_given_up(qtbot: QtBot) -> None:
    now = [0.0]
    reader = Reader(engine="mock", clock=lambda: now[0])
    reader.start()
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    assert reader._process is not None
    pid = reader._process.pid
    os.kill(pid, 19)  # stopped: it neither speaks nor answers
    reader.say(LONG)
    with qtbot.waitSignal(reader.ended, timeout=10_000):
        now[0] += 100
    assert "does not answer" in reader.sentence
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    reader.close(wait=True)


@pytest.mark.parametrize("text", ["", "\x00<speak>\ud800", "a" * 5000, "\n" * 50, "QUIT\r\n.\r\n"])
def test_any_text_may_be_given_to_it(qtbot: QtBot, text: str) -> None:
    from benchguide.speech.reader_text import spoken

    reader = Reader(engine="mock")
    reader.start()
    qtbot.waitUntil(lambda: reader.state is ReadingState.READY, timeout=60_000)
    words = spoken(text)
    assert reader.say(words) == bool(words)
    reader.close(wait=True)
