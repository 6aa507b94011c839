"""The process that speaks: QTextToSpeech behind one JSON object a line. Started by reader.py, never imported by it.

Takes {"say": words, "id": n}, {"stop": true}, {"voice": name, "rate": -1..1, "locale": "en_US"};
tells {"voices": [...], "state": "ready"|"speaking"|"error", "why": words, "id": n}. Ends with its input.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from PySide6.QtCore import QCoreApplication, QLocale, QObject, QTimer
from PySide6.QtNetwork import QLocalSocket
from PySide6.QtTextToSpeech import QTextToSpeech

from benchguide.speech.helper_process import write_line
from benchguide.speech.input_lines import InputLines

#: How often it is looked whether the daemon still lives, while it speaks.
BEAT_MS = 700


def daemon_socket() -> Path | None:
    """Where speech-dispatcher listens (SPEECHD_ADDRESS, else the usual place); None where that cannot be told."""
    address = os.environ.get("SPEECHD_ADDRESS", "")
    if address:
        kind, _, path = address.partition(":")
        return Path(path) if kind == "unix_socket" and path else None
    run = os.environ.get("XDG_RUNTIME_DIR", "")
    usual = Path(run) / "speech-dispatcher" / "speechd.sock"
    return usual if run and usual.exists() else None


class Speaker(QObject):
    """One QTextToSpeech, and what it is told."""

    def __init__(self, engine: str, locale: str, voice: str, rate: float) -> None:
        super().__init__()
        self._id = 0
        engines = QTextToSpeech.availableEngines()
        if engine not in engines:
            engine = next((e for e in engines if e != "mock"), "")
        if not engine:
            write_line(state="error", why="There is no speech engine for Qt here.", voices=[])
            self._speech = None
            return
        self._speech = speech = QTextToSpeech(engine)
        if speech.state() is QTextToSpeech.State.Error:
            write_line(state="error", why=speech.errorString() or "The speech service does not answer.")
            self._speech = None
            return
        self._dress(locale, voice, rate)
        speech.stateChanged.connect(self._changed)
        names = sorted({v.name() for v in speech.availableVoices()})
        write_line(state="ready", voices=names, voice=speech.voice().name(), engine=engine)
        beat = QTimer(self, interval=BEAT_MS)
        beat.timeout.connect(self._look)
        beat.start()

    def _look(self) -> None:
        """Qt never tells that the daemon died: knock at its door while it speaks."""
        if self._speech is None or self._speech.state() is not QTextToSpeech.State.Speaking:
            return
        door = daemon_socket()
        if door is None:
            return
        knock = QLocalSocket(self)
        knock.connected.connect(knock.deleteLater)
        knock.errorOccurred.connect(self._daemon_gone)
        knock.connectToServer(str(door))

    def _daemon_gone(self, *_: object) -> None:
        write_line(state="error", id=self._id, why="The speech service ended in the middle of a sentence.")
        sys.stdout.flush()
        # its own end would wait for the daemon that is gone
        os._exit(3)

    def _dress(self, locale: str, voice: str, rate: float) -> None:
        speech = self._speech
        if speech is None:
            return
        # the default is the C locale, and a locale alone picks the first voice of any accent
        wanted = QLocale(locale)
        speech.setLocale(wanted)
        voices = speech.availableVoices()
        plain = (
            f"{QLocale.languageToString(wanted.language())} ({QLocale.territoryToString(wanted.territory())})"
        )
        chosen = [v for v in voices if v.name() == voice]
        chosen += [v for v in voices if v.name().replace("America", "United States") == plain]
        chosen += [v for v in voices if v.name() == QLocale.languageToString(wanted.language())]
        if chosen or voices:
            speech.setVoice((chosen or list(voices))[0])
        speech.setRate(max(-1.0, min(1.0, rate)))
        speech.setPitch(0.0)
        speech.setVolume(1.0)

    def take(self, line: str) -> None:
        """One line of input."""
        try:
            doc: dict[str, Any] = json.loads(line)
        except ValueError:
            return
        if self._speech is None:
            return
        if doc.get("stop"):
            self._speech.stop(QTextToSpeech.BoundaryHint.Immediate)
        if "locale" in doc:
            self._dress(str(doc["locale"]), str(doc.get("voice", "")), float(doc.get("rate", 0.0)))
        if "say" in doc:
            self._id = int(doc.get("id", 0))
            self._speech.say(str(doc["say"]))

    def _changed(self, state: QTextToSpeech.State) -> None:
        speech = self._speech
        if speech is None:
            return
        name = {QTextToSpeech.State.Speaking: "speaking", QTextToSpeech.State.Error: "error"}.get(
            state, "ready"
        )
        write_line(state=name, id=self._id, why=speech.errorString() if name == "error" else "")
        if name == "error":
            # a connection that broke does not mend; a new process makes a new one
            QCoreApplication.exit(3)


def main(arguments: list[str]) -> int:
    """Speak until the input ends. Arguments: engine, locale, voice, rate."""
    engine, locale, voice, rate = (*arguments, "", "", "", "")[:4]
    app = QCoreApplication(["benchguide-reader"])
    speaker = Speaker(engine, locale or "en_US", voice, float(rate or 0))
    lines = InputLines()
    lines.line.connect(speaker.take)
    lines.ended.connect(app.quit)
    lines.start()
    return app.exec() if speaker._speech is not None else 4


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
