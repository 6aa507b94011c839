"""The bench's sounds: real WAV files, none clipped, and told apart by rhythm as well as by pitch."""

import io
import itertools
import wave

import pytest

from benchguide.speech.tones import RATE, SCORES, Tone, samples, wav_bytes


@pytest.mark.parametrize("tone", list(Tone))
def test_a_tone_is_a_wav_file_of_its_scores_length(tone: Tone) -> None:
    with wave.open(io.BytesIO(wav_bytes(tone))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        seconds = sum(length for _, length in SCORES[tone])
        assert file.getnframes() == pytest.approx(seconds * RATE, abs=len(SCORES[tone]))
        assert 0.1 < seconds < 1.5


@pytest.mark.parametrize("tone", list(Tone))
def test_a_tone_neither_clips_nor_clicks(tone: Tone) -> None:
    heard = samples(tone)
    assert 0.4 < max(map(abs, heard)) <= 1.0
    steps = [abs(b - a) for a, b in itertools.pairwise([0.0, *heard, 0.0])]
    assert max(steps) < 0.5


def test_no_two_tones_share_their_rhythm() -> None:
    rhythms = {
        tone: tuple((frequency > 0, round(length, 2)) for frequency, length in score)
        for tone, score in SCORES.items()
    }
    assert len(set(rhythms.values())) == len(Tone)


def test_success_rises_and_failure_falls() -> None:
    kept = [frequency for frequency, _ in SCORES[Tone.PHOTO_KEPT] if frequency]
    failed = [frequency for frequency, _ in SCORES[Tone.PHOTO_FAILED] if frequency]
    assert kept == sorted(kept)
    assert failed == sorted(failed, reverse=True)
