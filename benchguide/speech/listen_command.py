"""The body of `benchguide listen`: a recording recognised, or a new phrase rated against the table.

The command line prints; nothing is printed here. The live microphone is not here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchguide.speech.level import FLOOR_DB, active_level
from benchguide.speech.phrases import Group, PhraseTable, bundled, read_phrases
from benchguide.speech.phrases_distance import NEAREST, Nearness, rate
from benchguide.speech.recogniser import Heard, Recogniser
from benchguide.speech.recogniser_judge import STRICT
from benchguide.speech.recording import Recording
from benchguide.speech.voice_activity import CHUNK, CHUNK_S, Cutter, SileroJudge

#: This much voice is enough to measure a talker's level.
ENOUGH_VOICE_S = 60.0
LEAST_VOICE_S = 0.3


@dataclass(frozen=True, slots=True)
class Listening:
    """What was heard in a recording, the level (dBFS) that was taken as the talker's, and a fault of the file."""

    heard: tuple[Heard, ...]
    talker_db: float | None
    fault: str | None

    def as_json(self) -> dict[str, Any]:
        """Plain values for JSON: {"heard": [{"command", "words", "start_s", "end_s", "confidence", ...}], ...}."""
        return {
            "heard": [asdict(one) for one in self.heard],
            "talker_db": self.talker_db,
            "fault": self.fault,
        }

    def lines(self) -> list[str]:
        """The same for a person, a command a line."""
        if not self.heard:
            return ["No command was heard."]
        return [f"{h.start_s:8.2f} s  {h.words:<20} {100 * h.confidence:3.0f} %" for h in self.heard]


def listen(
    path: Path,
    *,
    level: float | None = None,
    counts: bool = False,
    further: bool = False,
    strict: bool = False,
    phrases: Path | None = None,
) -> Listening:
    """Recognise the recording at `path`; any length in constant memory.

    `level` is the talker's level in dBFS; without it the loudest voice of the recording's beginning sets it.
    `counts` listens for "three screws" and the like too, `further` for the phrases of that group; `strict`
    takes the limits for a room with talk in it. `phrases` is another table than the one that comes along.
    Raises BadRecording, BadPhrases, VoiceMissing, ValueError, OSError; each says in one sentence what to do.
    """
    recording = Recording(path)
    recogniser = Recogniser(_table(phrases), limits=STRICT if strict else None)
    recogniser.numbers, recogniser.further = counts, further
    recogniser.talker_db = measured_level(recording) if level is None else level
    heard = [one for piece in recording for one in recogniser.feed(piece)]
    heard += recogniser.finish()
    talker = recogniser.talker_db
    return Listening(tuple(heard), None if talker is None else round(talker, 1), recording.fault)


def rate_phrase(words: str, phrases: Path | None = None) -> list[Nearness]:
    """The phrases of the table by how near they sound to `words`, nearest first: a hundred at most.

    Raises ValueError for words whose sound is not known, BadPhrases, OSError.
    """
    return rate(words, _table(phrases))[:100]


def rating_lines(words: str, ranked: list[Nearness], shown: int = 8) -> list[str]:
    """The ranking for a person, with the verdict at the end. Counts are left out: they are only asked for at times."""
    near = [one for one in ranked if one.group is not Group.NUMBER][:shown]
    lines = [f"{one.distance:5.2f}  {one.words}" for one in near]
    if not near:
        return ["The table holds no other phrase."]
    if near[0].too_near:
        verdict = (
            f"'{words}' sounds too much like '{near[0].words}' ({near[0].distance:.2f}; {NEAREST} is enough)."
        )
    else:
        verdict = (
            f"'{words}' sounds far enough from every phrase ({near[0].distance:.2f}; {NEAREST} is enough)."
        )
    if len(words.split()) < 2:
        verdict += " One word alone is mistaken for talk more often than two."
    return [*lines, verdict]


def measured_level(recording: Recording) -> float | None:
    """The level of the voice in the recording in dBFS, from at most a minute of voice; None when there is none."""
    cutter = Cutter(SileroJudge())
    voiced: list[float] = []
    room: list[float] = []
    for chunk in _chunks(recording):
        cutter.feed(chunk)
        (voiced if cutter.voiced else room).append(cutter.chunk_db)
        del room[: -round(ENOUGH_VOICE_S / CHUNK_S)]
        if len(voiced) * CHUNK_S >= ENOUGH_VOICE_S:
            break
    if len(voiced) * CHUNK_S < LEAST_VOICE_S:
        return None
    return active_level(voiced, float(np.median(room)) if room else FLOOR_DB)


def _chunks(recording: Recording) -> Iterator[np.ndarray]:
    rest = np.empty(0, np.float32)
    for piece in recording:
        rest = np.concatenate([rest, piece])
        whole = len(rest) // CHUNK * CHUNK
        yield from rest[:whole].reshape(-1, CHUNK)
        rest = rest[whole:]


def _table(path: Path | None) -> PhraseTable:
    return bundled() if path is None else read_phrases(path)
