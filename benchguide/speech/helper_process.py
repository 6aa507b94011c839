"""A process of our own beside the window, told and telling one JSON object a line. Knows nothing of speech itself.

Why a process and not a thread: Qt's speech classes hold Python's lock while they wait for their daemon (two seconds
and more, measured), and the network of the recogniser computes for long; neither may keep the window from painting.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QProcess, QProcessEnvironment, QTimer, Signal

import benchguide

#: Started again this long after it died, and twice as long each time, but never later than the last.
AGAIN_MS, LATEST_MS = 500, 30_000
#: It has that long to end by itself.
END_MS = 1500
MOST_LINE = 64_000


class HelperProcess(QObject):
    """Runs `python -m MODULE ARGUMENTS`, starts it again when it dies, never blocks."""

    told = Signal(object)
    """One object the process wrote."""
    came = Signal()
    """The process runs (for the first time, or again)."""
    died = Signal(str)
    """The process ended without being asked to: one sentence."""

    def __init__(self, module: str, arguments: Iterable[str] = (), parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._module, self._arguments = module, list(arguments)
        self._process: QProcess | None = None
        self._wanted = False
        self._wait_ms = AGAIN_MS
        self._rest = b""
        # the one that ended stays until the next one ends: it must not go while it is telling of its end
        self._old: QProcess | None = None
        self._late = QTimer(self, singleShot=True, interval=END_MS)
        self._late.timeout.connect(self._kill)
        self._again = QTimer(self, singleShot=True)
        self._again.timeout.connect(self._start)

    @property
    def running(self) -> bool:
        """True while there is a process to talk to."""
        return self._process is not None and self._process.state() is QProcess.ProcessState.Running

    @property
    def pid(self) -> int:
        """The process, 0 when there is none."""
        return self._process.processId() if self._process else 0

    def start(self) -> None:
        """Start it, and keep it running until `stop`."""
        self._wanted = True
        if not self.running:
            self._start()

    def send(self, **doc: Any) -> bool:
        """Tell it something; False when there is nobody to tell."""
        if self._process is None or not self.running:
            return False
        self._process.write(json.dumps(doc).encode() + b"\n")
        return True

    def restart(self) -> None:
        """End it hard and start it afresh: it hangs."""
        if self._process:
            self._process.kill()

    def stop(self, wait: bool = False) -> None:
        """End it for good: its input is closed, and it is killed when that does not end it. Blocks only with `wait`."""
        self._wanted = False
        self._again.stop()
        process = self._process
        if process is None:
            return
        process.closeWriteChannel()
        if not wait:
            self._late.start()
        elif not process.waitForFinished(END_MS):
            process.kill()
            process.waitForFinished(END_MS)

    def _kill(self) -> None:
        if self._process is not None and not self._wanted:
            self._process.kill()

    def _start(self) -> None:
        if not self._wanted:
            return
        if self._process is not None:
            # the one before is still ending; it is started again when it has
            self._again.start(AGAIN_MS)
            return
        self._rest = b""
        process = QProcess(self)
        environment = QProcessEnvironment.systemEnvironment()
        environment.insert("QT_QPA_PLATFORM", "offscreen")
        # the package may lie in a clone that was never installed
        root = str(Path(benchguide.__file__).parent.parent)
        before = environment.value("PYTHONPATH", "")
        environment.insert("PYTHONPATH", f"{root}:{before}" if before else root)
        process.setProcessEnvironment(environment)
        process.setStandardErrorFile(QProcess.nullDevice())
        process.readyReadStandardOutput.connect(self._read)
        process.finished.connect(self._ended)
        process.errorOccurred.connect(self._failed)
        process.started.connect(self.came)
        self._process = process
        process.start(sys.executable, ["-m", self._module, *self._arguments])

    def _read(self) -> None:
        if self._process is None:
            return
        data = self._rest + bytes(self._process.readAllStandardOutput().data())
        *lines, self._rest = data.split(b"\n")
        self._rest = self._rest[-MOST_LINE:]
        for line in lines:
            try:
                doc = json.loads(line)
            except ValueError:
                continue  # a library that prints
            if isinstance(doc, dict):
                self._wait_ms = AGAIN_MS
                self.told.emit(doc)

    def _failed(self, error: QProcess.ProcessError) -> None:
        if error is QProcess.ProcessError.FailedToStart:
            self._ended()

    def _ended(self, *_: object) -> None:
        self._late.stop()
        self._old, self._process = self._process, None
        if not self._wanted:
            return
        self.died.emit("ended without being asked to")
        self._again.start(self._wait_ms)
        self._wait_ms = min(LATEST_MS, 2 * self._wait_ms)


def write_line(**doc: Any) -> None:
    """What the process side tells the window: one object a line."""
    sys.stdout.write(json.dumps(doc) + "\n")
    sys.stdout.flush()
