"""Cutting a stream into stretches of speech, with a judge of voice that follows a script."""

import math

import numpy as np
import pytest

from benchguide.speech.voice_activity import CHUNK, CHUNK_S, Cutter, Cutting, Stretch, level_db

LOUD, FAINT = 0.1, 0.005  # -20 and -46 dBFS


class Script:
    """Says what it is told, chunk by chunk."""

    def __init__(self, says: list[float]) -> None:
        self._says = iter(says)
        self.resets = 0

    def probability(self, chunk: np.ndarray) -> float:
        return next(self._says, 0.0)

    def reset(self) -> None:
        self.resets += 1


def _cut(says: list[float], levels: list[float], talker: float | None = -20.0) -> list[Stretch]:
    cutter = Cutter(Script(says))
    cutter.talker_db = talker
    chunks = [np.full(CHUNK, level, np.float32) for level in levels]
    return [stretch for chunk in chunks if (stretch := cutter.feed(chunk))]


def _parts(*parts: tuple[int, float, float]) -> tuple[list[float], list[float]]:
    says = [say for count, say, _ in parts for _ in range(count)]
    return says, [level for count, _, level in parts for _ in range(count)]


def test_a_full_scale_sine_is_3_db_under_a_full_scale_square() -> None:
    # 20 log10(1 / sqrt 2) = -3.01 dB: the definition of root mean square
    at = np.arange(16_000)
    assert level_db(np.sin(2 * math.pi * 440 * at / 16_000)) == pytest.approx(-3.01, abs=0.01)
    assert level_db(np.ones(512)) == pytest.approx(0)
    assert level_db(np.zeros(512)) == level_db(np.empty(0)) == -120


def test_a_stretch_has_its_times_and_the_sound_before_and_after() -> None:
    (stretch,) = _cut(*_parts((30, 0, FAINT), (20, 0.9, LOUD), (40, 0, FAINT)))
    assert stretch.start_s == pytest.approx(30 * CHUNK_S)
    assert stretch.end_s == pytest.approx(50 * CHUNK_S)
    before, after = Cutting().preroll_s, Cutting().hangover_s
    assert stretch.before_s == pytest.approx(before, abs=1.5 * CHUNK_S)
    loud = np.flatnonzero(np.abs(stretch.samples) == np.float32(LOUD))
    assert loud[0] / 16_000 == pytest.approx(stretch.before_s, abs=1e-6)
    assert len(stretch.samples) / 16_000 == pytest.approx(20 * CHUNK_S + before + after, abs=3 * CHUNK_S)


def test_one_likely_chunk_is_no_voice() -> None:
    assert _cut(*_parts((5, 0, FAINT), (1, 0.9, LOUD), (40, 0, FAINT))) == []


def test_a_voice_across_the_room_is_not_the_talkers() -> None:
    parts = _parts((5, 0, FAINT), (20, 0.9, FAINT), (40, 0, FAINT))
    assert _cut(*parts) == []
    assert len(_cut(*parts, talker=None)) == 1  # without a microphone check there is nothing to go by


def test_a_faint_sound_between_two_words_does_not_part_them() -> None:
    says, levels = _parts((5, 0, FAINT), (10, 0.9, LOUD), (8, 0.9, FAINT), (10, 0.9, LOUD), (40, 0, FAINT))
    assert len(_cut(says, levels)) == 1


def test_talk_behind_the_talker_does_not_hold_the_stretch_open() -> None:
    (stretch,) = _cut(*_parts((5, 0, FAINT), (20, 0.9, LOUD), (200, 0.9, FAINT)))
    assert stretch.end_s <= 25 * CHUNK_S + Cutting().gate_hold_s


def test_long_talk_is_dropped_and_costs_no_memory() -> None:
    cutter = Cutter(Script([0.9] * 5000))
    chunk = np.full(CHUNK, LOUD, np.float32)
    assert all(cutter.feed(chunk) is None for _ in range(5000))
    assert len(cutter._pieces) < 150
    stretches = [s for _ in range(40) if (s := cutter.feed(chunk * 0))]
    assert [s.too_long for s in stretches] == [True]
    assert len(stretches[0].samples) == 0


def test_after_long_silence_the_judge_starts_afresh() -> None:
    judge = Script([])
    cutter = Cutter(judge)
    for _ in range(round(45 / CHUNK_S)):
        cutter.feed(np.zeros(CHUNK, np.float32))
    assert judge.resets == 2


def test_a_tool_put_down_does_not_let_distant_talk_in() -> None:
    says, levels = _parts(
        *[part for _ in range(5) for part in ((1, 0.9, LOUD), (6, 0.9, FAINT))], (40, 0, FAINT)
    )
    assert _cut(says, levels) == []
    assert len(_cut(says, levels, talker=None)) == 1


def test_a_talker_with_faint_consonants_is_near_enough() -> None:
    says, levels = _parts(
        *[part for _ in range(5) for part in ((3, 0.9, LOUD), (4, 0.9, FAINT))], (40, 0, FAINT)
    )
    assert len(_cut(says, levels)) == 1


def test_the_probable_end_is_given_once_and_is_the_end_where_speech_does_not_go_on() -> None:
    says, levels = _parts((30, 0, FAINT), (20, 0.9, LOUD), (7, 0, FAINT), (20, 0.9, LOUD), (40, 0, FAINT))
    cutter, guesses, ends = Cutter(Script(says)), [], []
    cutter.talker_db = -20.0
    for at, level in enumerate(levels, 1):
        if stretch := cutter.feed(np.full(CHUNK, level, np.float32)):
            ends.append((at, stretch))
        if stretch := cutter.probable():
            guesses.append((at, stretch))
    (first, second), ((end_at, end),) = guesses, ends
    assert first[1].start_s == second[1].start_s == end.start_s
    assert first[1].end_s == pytest.approx(50 * CHUNK_S)
    assert second[1].end_s == end.end_s
    assert (end_at - second[0]) * CHUNK_S == pytest.approx(Cutting().hangover_s - Cutting().guess_s)
    assert len(second[1].samples) == len(end.samples) - (end_at - second[0]) * CHUNK
    assert np.array_equal(second[1].samples, end.samples[: len(second[1].samples)])
