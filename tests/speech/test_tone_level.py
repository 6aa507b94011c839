"""Tones follow the room as far as the system allows, and are told apart by contour and rhythm."""

import itertools
import math

from benchguide.speech.tone_level import ABOVE_DB, FULL_DB, ToneLevel
from benchguide.speech.tones import RATE, SCORES, Tone, lasts_s, samples


def room(level: ToneLevel, room_db: float, loss_db: float, times: int = 8) -> float:
    """Play tones in a room where a full one arrives at -loss_db; how far the last stands above the room."""
    above = 0.0
    for _ in range(times):
        # powers add at the microphone
        tone = 10 * math.log10(10 ** ((level.volume_db - loss_db) / 10) + 10 ** (room_db / 10))
        above = tone - room_db
        level.heard(tone, room_db)
    return above


def test_a_loud_room_gets_louder_tones() -> None:
    level = ToneLevel()
    assert room(level, -40, 33) >= ABOVE_DB
    assert not level.too_faint


def test_a_quiet_room_gets_quieter_ones_but_never_under_six() -> None:
    level = ToneLevel()
    before = level.volume
    assert room(level, -70, 20, 12) >= ABOVE_DB
    assert level.volume < before


def test_what_the_system_does_not_allow_is_told() -> None:
    level = ToneLevel()
    assert room(level, -20, 30) < ABOVE_DB
    assert level.volume_db == FULL_DB
    assert level.too_faint


def rhythm(tone: Tone) -> tuple[float, ...]:
    return tuple(seconds if frequency else -seconds for frequency, seconds in SCORES[tone])


def contour(tone: Tone) -> tuple[int, ...]:
    notes = [frequency for frequency, _ in SCORES[tone] if frequency]
    return tuple((b > a) - (b < a) for a, b in itertools.pairwise(notes))


def test_every_two_tones_differ_in_rhythm_and_contour_or_number_of_notes() -> None:
    for one, other in itertools.combinations(Tone, 2):
        assert rhythm(one) != rhythm(other)
        notes = [sum(1 for f, _ in SCORES[t] if f) for t in (one, other)]
        assert contour(one) != contour(other) or notes[0] != notes[1], (one, other)


def test_every_two_tones_sound_unlike_through_a_fan() -> None:
    """Energy in time and pitch, 50 ms by third octaves, with a fan's noise over both: correlation well under one."""
    import numpy as np

    rng = np.random.default_rng(3)
    pictures = {}
    for tone in Tone:
        sound = np.zeros(round(1.4 * RATE))
        played = np.array(samples(tone))[: len(sound)]
        sound[: len(played)] = played
        # a fan is strongest low down; 6 dB under the tone
        noise = np.cumsum(rng.normal(size=len(sound)))
        noise -= np.convolve(noise, np.ones(2000) / 2000, "same")
        noise *= np.sqrt(np.mean(played**2)) / np.sqrt(np.mean(noise**2)) / 2
        frames = (sound + noise)[: len(sound) // 2205 * 2205].reshape(-1, 2205)
        power = np.abs(np.fft.rfft(frames * np.hanning(2205))) ** 2
        edges = np.unique(np.round(200 * 2 ** (np.arange(0, 14) / 3) / (RATE / 2205)).astype(int))
        bands = np.add.reduceat(power, edges, axis=1)[:, :-1]
        pictures[tone] = np.log10(bands + bands.max() * 1e-3).ravel()
    for one, other in itertools.combinations(Tone, 2):
        alike = np.corrcoef(pictures[one], pictures[other])[0, 1]
        assert alike < 0.9, (one, other, alike)


def test_all_are_short() -> None:
    assert all(lasts_s(tone) < 1.2 for tone in Tone)
