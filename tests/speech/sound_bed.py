"""A sound server, a speech daemon and a fake microphone of our own, started for tests and ended after them.

PulseAudio with null sinks stands for the hardware: what is played into `mic_in` is what the microphone hears, what
the program plays arrives in `speakers`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import time
import wave
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

START_S = 30.0


def need(*programs: str) -> None:
    """Skip where a program is not installed; .ci/setup installs all of them."""
    missing = [name for name in programs if shutil.which(name) is None]
    if missing:
        pytest.skip(f"{', '.join(missing)} not installed (.ci/setup)")


def wait_for(reached, what: str, seconds: float = START_S) -> None:
    """Wait for another process: it sends no event."""
    end = time.monotonic() + seconds
    while not reached():
        if time.monotonic() > end:
            raise TimeoutError(what)
        time.sleep(0.05)


class SoundBed:
    """PulseAudio in a private folder. `env` is what a program needs to find it."""

    def __init__(self, folder: Path) -> None:
        need("pulseaudio", "pactl", "paplay", "parec")
        self.folder = folder
        home, run = folder / "home", folder / "run"
        for each in (home, run, run / "pulse"):
            each.mkdir(parents=True, exist_ok=True)
            each.chmod(0o700)
        self.env = {
            "HOME": str(home),
            "XDG_RUNTIME_DIR": str(run),
            "PULSE_RUNTIME_PATH": str(run / "pulse"),
            "PULSE_SERVER": f"unix:{run}/pulse/native",
        }
        self._server = subprocess.Popen(
            [
                *("pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"),
                *("--disallow-exit", "--log-level=1", "--disable-shm=true"),
                *("-L", f"module-native-protocol-unix socket={run}/pulse/native auth-anonymous=1"),
                *("-L", "module-null-sink sink_name=speakers rate=48000 channels=2"),
                *("-L", "module-null-sink sink_name=mic_in rate=16000 channels=1"),
                *("-L", "module-remap-source source_name=fakemic master=mic_in.monitor"),
                *("-L", "module-always-sink"),
            ],
            env={**os.environ, **self.env},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_for(lambda: self._ask("pactl", "info"), "PulseAudio did not start")
        self.pactl("set-default-sink", "speakers")
        self.pactl("set-default-source", "fakemic")
        self.pactl("set-source-volume", "fakemic", "100%")
        self._daemon: subprocess.Popen[bytes] | None = None

    def _ask(self, *command: str) -> bool:
        return subprocess.run(command, env=self.full, capture_output=True, check=False).returncode == 0

    @property
    def full(self) -> dict[str, str]:
        """The whole environment of a program that uses it."""
        return {**os.environ, **self.env}

    def pactl(self, *arguments: str) -> str:
        """Tell the sound server something."""
        done = subprocess.run(
            ["pactl", *arguments], env=self.full, capture_output=True, text=True, check=True, timeout=20
        )
        return done.stdout

    def play(self, wav: Path, sink: str = "mic_in") -> None:
        """Play a file to its end."""
        subprocess.run(["paplay", f"--device={sink}", str(wav)], env=self.full, check=True, timeout=60)

    def playing(self, wav: Path, sink: str = "mic_in") -> subprocess.Popen[bytes]:
        """Begin to play a file."""
        return subprocess.Popen(["paplay", f"--device={sink}", str(wav)], env=self.full)

    def recording(self, source: str = "speakers.monitor") -> Recording:
        """Record what the program plays."""
        return Recording(self, source)

    def start_daemon(self) -> None:
        """speech-dispatcher with espeak-ng, playing into the sound server."""
        need("speech-dispatcher", "espeak-ng")
        place = self.folder / "run" / "speechd.sock"
        conf = self.folder / "spd"
        if not conf.exists():
            shutil.copytree("/etc/speech-dispatcher", conf)
            (conf / "log").mkdir(exist_ok=True)
        self.env["SPEECHD_ADDRESS"] = f"unix_socket:{place}"
        self._daemon = subprocess.Popen(
            [
                *("speech-dispatcher", "-s", "-t", "0", "-c", "unix_socket", "-S", str(place)),
                *("-C", str(conf), "-L", str(conf / "log"), "-P", str(self.folder / "spd.pid"), "-l", "1"),
            ],
            env=self.full,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        wait_for(place.exists, "speech-dispatcher did not start")

    @property
    def daemon_pid(self) -> int:
        """The daemon's process, which leads its own group."""
        assert self._daemon is not None
        return self._daemon.pid

    def kill_daemon(self) -> None:
        """The daemon dies at once, and the modules it started with it."""
        if self._daemon:
            with suppress(ProcessLookupError):
                os.killpg(self._daemon.pid, 9)
            self._daemon.wait()
            self._daemon = None
            (self.folder / "run" / "speechd.sock").unlink(missing_ok=True)

    def close(self) -> None:
        """End all of it."""
        self.kill_daemon()
        self._server.kill()
        self._server.wait()


class Recording:
    """What a sink plays, from now until `stop`."""

    def __init__(self, bed: SoundBed, source: str) -> None:
        self.path = bed.folder / f"heard-{time.monotonic_ns()}.raw"
        self._file = self.path.open("wb")
        self._process = subprocess.Popen(
            [
                "parec",
                f"--device={source}",
                "--rate=16000",
                "--channels=1",
                "--format=s16le",
                "--latency-msec=20",
            ],
            env=bed.full,
            stdout=self._file,
        )
        wait_for(lambda: self.path.stat().st_size > 0, "parec gives nothing")

    @property
    def samples(self) -> np.ndarray:
        """So far, in -1..1 at 16 kHz."""
        data = self.path.read_bytes()
        return np.frombuffer(data[: len(data) // 2 * 2], "<i2").astype(np.float32) / 32768

    def stop(self) -> np.ndarray:
        """End it and give the samples."""
        self._process.terminate()
        self._process.wait()
        self._file.close()
        return self.samples


def say_to_wav(
    path: Path, words: str, voice: str = "en-us", before_s: float = 0.5, level: float = 0.3
) -> Path:
    """A phrase spoken by espeak-ng, with silence before and after, peak at `level`, 16 kHz mono."""
    need("espeak-ng")
    raw = path.with_suffix(".raw.wav")
    subprocess.run(["espeak-ng", "-v", voice, "-s", "150", "-w", str(raw), words], check=True, timeout=30)
    with wave.open(str(raw)) as file:
        rate = file.getframerate()
        sound = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(np.float64) / 32768
    soxr = pytest.importorskip("soxr")
    sound = soxr.resample(sound, rate, 16000)
    sound *= level / max(1e-9, np.abs(sound).max())
    quiet = np.zeros(round(16000 * before_s))
    whole = np.concatenate([quiet, sound, quiet, quiet])
    rng = np.random.default_rng(1)
    whole += rng.normal(0, 10 ** (-65 / 20), len(whole))
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16000)
        file.writeframes((np.clip(whole, -1, 1) * 32767).astype("<i2").tobytes())
    return path
