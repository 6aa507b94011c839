"""The body of `benchguide listen --live`: what the microphone gives, a line at a time, for setting up."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

import numpy as np
from PySide6.QtCore import QCoreApplication, QTimer

from benchguide.speech.microphone import Microphone
from benchguide.speech.phrases import bundled, read_phrases
from benchguide.speech.recogniser import Heard, Recogniser
from benchguide.speech.recogniser_judge import STRICT
from benchguide.speech.system_volume import microphone_volume

SHOW_MS = 500
#: The meter spans this many dB in as many signs.
METER_FROM_DB, METER_SIGNS = -70, 35


def listen_live(
    tell: Callable[[str], None],
    *,
    seconds: float | None = None,
    level: float | None = None,
    counts: bool = False,
    strict: bool = False,
    phrases: Path | None = None,
    microphone: str = "",
    as_json: bool = False,
) -> int:
    """Listen until interrupted, or for some seconds; `tell` gets the lines. Exit code 2 when nothing was ever heard.

    It hears what the bench hears: the phrases of the group further too. `strict` is for a room with talk in it.
    Raises VoiceMissing, BadPhrases, OSError, ValueError; each says in one sentence what to do.
    """
    app = QCoreApplication.instance() or QCoreApplication(["benchguide-listen"])
    table = read_phrases(phrases) if phrases else bundled()
    recogniser = Recogniser(table, limits=STRICT if strict else None)
    recogniser.numbers, recogniser.talker_db = counts, level
    ear, sounded = Microphone(microphone), False

    def take(sound: np.ndarray) -> None:
        nonlocal sounded
        sounded = True
        for heard in recogniser.feed(sound):
            tell(json.dumps({"heard": asdict(heard)}) if as_json else heard_line(heard))

    def show() -> None:
        if not sounded:
            return
        if as_json:
            tell(json.dumps({"level": asdict(recogniser.level)}))
        else:
            tell(level_line(recogniser))

    ear.sound.connect(take)
    ear.state_changed.connect(
        lambda hearing, why: tell(json.dumps({"hearing": hearing, "why": why}) if as_json else why)
    )
    volume = microphone_volume()
    if volume and volume.warning:
        tell(json.dumps({"warning": volume.warning}) if as_json else volume.warning)
    # Python sees an interrupt only while it runs: the meter's timer lets it
    meter = QTimer(interval=SHOW_MS)
    meter.timeout.connect(show)
    meter.start()
    if seconds is not None:
        QTimer.singleShot(round(seconds * 1000), app.quit)
    ear.start()
    with suppress(KeyboardInterrupt):
        app.exec()
    ear.stop()
    return 0 if sounded else 2


def heard_line(heard: Heard) -> str:
    """One command for a person."""
    return f"heard: {heard.words} ({100 * heard.confidence:.0f} %)"


def level_line(recogniser: Recogniser) -> str:
    """The meter for a person: level now, room, talker."""
    level = recogniser.level
    share = (level.now_db - METER_FROM_DB) / -METER_FROM_DB
    bar = "#" * max(0, min(METER_SIGNS, round(share * METER_SIGNS)))
    talker = "-" if level.speech_db is None else f"{level.speech_db:.0f}"
    notes = ["overdriven"] if level.clipping else []
    notes += ["too noisy to rely on"] if level.too_noisy else []
    return (
        f"[{bar:<{METER_SIGNS}}] {level.now_db:4.0f} dB  room {level.room_db:4.0f}  voice {talker:>4}  "
        + ", ".join(notes)
    ).rstrip()
