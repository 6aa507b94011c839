"""The process that listens: microphone and recogniser behind one JSON object a line. Started by listener.py.

Takes {"mute": true}, {"unmute": true}, {"numbers": bool}, {"asking": bool}, {"talker_db": x or null}, {"check": s};
tells {"heard": {...}}, {"level": {...}}, {"state": bool, "why": sentence}, {"speaking": bool}, {"checked": {...}},
{"muted": true}, {"inputs": [names of microphones]}. Ends with its input.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtCore import QCoreApplication, QObject, QTimer

from benchguide.speech.helper_process import write_line
from benchguide.speech.input_lines import InputLines
from benchguide.speech.level import check_microphone
from benchguide.speech.microphone import Microphone, names
from benchguide.speech.phonemes import RATE, VoiceMissing
from benchguide.speech.phrases import BadPhrases, bundled, read_phrases
from benchguide.speech.recogniser import Recogniser
from benchguide.speech.system_volume import microphone_volume
from benchguide.speech.voice_activity import SileroJudge

LEVEL_MS = 200
VOLUME_MS = 20_000
LONGEST_CHECK_S = 20.0


class Ears(QObject):
    """Microphone into recogniser, and what the window tells."""

    def __init__(self, recogniser: Recogniser, microphone: Microphone) -> None:
        super().__init__()
        self._recogniser, self._microphone = recogniser, microphone
        self._checking: list[np.ndarray] = []
        self._check_left = 0
        self._speaking = False
        microphone.sound.connect(self._sound)
        microphone.state_changed.connect(lambda heard, why: write_line(state=heard, why=why))
        microphone.inputs_changed.connect(lambda: write_line(inputs=names()))
        self._level = QTimer(self, interval=LEVEL_MS)
        self._level.timeout.connect(self._tell_level)
        self._volume = QTimer(self, interval=VOLUME_MS)
        self._volume.timeout.connect(self._tell_volume)

    def start(self) -> None:
        """Listen from now on."""
        self._microphone.start()
        self._level.start()
        self._volume.start()
        self._tell_volume()
        write_line(inputs=names())

    def take(self, line: str) -> None:
        """One line of input."""
        try:
            doc: dict[str, Any] = json.loads(line)
        except ValueError:
            return
        recogniser = self._recogniser
        if "mute" in doc:
            recogniser.mute()
            write_line(muted=True)
        if "unmute" in doc:
            recogniser.unmute()
        if "numbers" in doc:
            recogniser.numbers = bool(doc["numbers"])
        if "asking" in doc:
            recogniser.asking = bool(doc["asking"])
        if "talker_db" in doc:
            level = doc["talker_db"]
            recogniser.talker_db = None if level is None else float(level)
        if "check" in doc:
            self._checking = []
            self._check_left = round(RATE * min(LONGEST_CHECK_S, max(1.0, float(doc["check"]))))

    def _sound(self, sound: np.ndarray) -> None:
        for heard in self._recogniser.feed(sound):
            write_line(heard=asdict(heard))
        if self._recogniser.speaking != self._speaking:
            self._speaking = not self._speaking
            write_line(speaking=self._speaking)
        if self._check_left:
            self._check(sound)

    def _check(self, sound: np.ndarray) -> None:
        self._checking.append(sound)
        self._check_left = max(0, self._check_left - len(sound))
        if self._check_left == 0:
            result = check_microphone(np.concatenate(self._checking), SileroJudge())
            self._checking = []
            write_line(checked=asdict(result))

    def _tell_level(self) -> None:
        level = self._recogniser.level
        write_line(level={**asdict(level), "too_noisy": level.too_noisy})

    def _tell_volume(self) -> None:
        volume = microphone_volume()
        if volume is not None:
            write_line(volume=volume.warning)


def main(arguments: list[str]) -> int:
    """Listen until the input ends. Arguments: microphone, talker's level or "", file of phrases or ""."""
    name, level, phrases = (*arguments, "", "", "")[:3]
    app = QCoreApplication(["benchguide-listener"])
    try:
        recogniser = Recogniser(read_phrases(Path(phrases)) if phrases else bundled())
        recogniser.talker_db = float(level) if level else None
    except (VoiceMissing, BadPhrases, ValueError, OSError) as error:
        write_line(state=False, why=str(error).splitlines()[0], final=True)
        return 4
    microphone = Microphone(name)
    ears = Ears(recogniser, microphone)
    lines = InputLines()
    lines.line.connect(ears.take)
    lines.ended.connect(app.quit)
    lines.start()
    ears.start()
    code = app.exec()
    microphone.stop()
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
