"""The bench's short sounds, made as samples. Plays nothing; see player.py.

Each sound has its own rhythm as well as its own pitch, so that gloves, fans and a bad ear for pitch do not matter.
"""

import io
import math
import struct
import wave
from enum import StrEnum

RATE = 44_100
FADE_S = 0.012


class Tone(StrEnum):
    """What a sound tells."""

    PHOTO_KEPT = "photo-kept"
    PHOTO_FAILED = "photo-failed"
    TIME_UP = "time-up"
    BLOCKED = "blocked"
    UNDERSTOOD = "understood"
    SWITCH_NOT_HEARD = "switch-not-heard"


#: (frequency in Hz, seconds); frequency 0 is a rest
SCORES: dict[Tone, tuple[tuple[float, float], ...]] = {
    Tone.PHOTO_KEPT: ((880, 0.09), (1320, 0.14)),
    Tone.PHOTO_FAILED: ((440, 0.22), (0, 0.08), (330, 0.22), (0, 0.08), (247, 0.34)),
    Tone.TIME_UP: ((1047, 0.18), (0, 0.07)) * 4,
    Tone.BLOCKED: ((294, 0.12), (0, 0.06), (294, 0.2)),
    Tone.UNDERSTOOD: ((660, 0.11),),
    Tone.SWITCH_NOT_HEARD: ((988, 0.1), (494, 0.1), (0, 0.22), (988, 0.1), (494, 0.1)),
}


def lasts_s(tone: Tone) -> float:
    """How long a tone is, in seconds."""
    return sum(seconds for _, seconds in SCORES[tone])


def samples(tone: Tone, level: float = 0.6) -> list[float]:
    """Samples from -1 to 1 at 44.1 kHz, mono; every note fades in and out so that nothing clicks."""
    heard: list[float] = []
    for frequency, seconds in SCORES[tone]:
        count = round(seconds * RATE)
        fade = min(round(FADE_S * RATE), count // 2)
        for i in range(count):
            edge = min(1.0, i / fade, (count - 1 - i) / fade) if fade else 1.0
            angle = 2 * math.pi * frequency * i / RATE
            # a second partial keeps the tone audible over a fan
            heard.append(level * edge * (0.75 * math.sin(angle) + 0.25 * math.sin(3 * angle)))
    return heard


def wav_bytes(tone: Tone, level: float = 0.6) -> bytes:
    """The tone as a 16-bit WAV file."""
    data = samples(tone, level)
    target = io.BytesIO()
    with wave.open(target, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(
            struct.pack(f"<{len(data)}h", *(round(32767 * max(-1.0, min(1.0, s))) for s in data))
        )
    return target.getvalue()
