"""The microphone: 16 kHz mono float32 pieces from whatever the system gives, through Qt. Recognises nothing.

Follows the device: pulled and plugged in again, it goes on; none, or not permitted, is told in one sentence.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

import numpy as np
from PySide6.QtCore import QByteArray, QIODevice, QObject, QTimer, Signal
from PySide6.QtMultimedia import QAudioDevice, QAudioFormat, QAudioSource, QMediaDevices

from benchguide.speech.phonemes import RATE
from benchguide.speech.system_volume import source_names

#: No sound for this long from an open microphone: it is gone, whatever the system says.
SILENT_MS = 3000
AGAIN_MS = 1000
#: Samples that are exactly zero for this long: the sound server may have put a silent source in place of a pulled one.
DEAD_S = 2.0

DTYPES: dict[QAudioFormat.SampleFormat, np.dtype[Any]] = {
    QAudioFormat.SampleFormat.UInt8: np.dtype("u1"),
    QAudioFormat.SampleFormat.Int16: np.dtype("<i2"),
    QAudioFormat.SampleFormat.Int32: np.dtype("<i4"),
    QAudioFormat.SampleFormat.Float: np.dtype("<f4"),
}


def mono_float(data: bytes, sample: QAudioFormat.SampleFormat, channels: int) -> np.ndarray:
    """Interleaved samples as float32 in -1..1, the channels averaged. A cut last frame is left out."""
    kind = DTYPES[sample]
    frame = kind.itemsize * max(1, channels)
    raw = np.frombuffer(data[: len(data) // frame * frame], kind)
    if kind.kind == "f":
        sound: Any = raw.astype(np.float32)
    elif kind.kind == "u":
        sound = (raw.astype(np.float32) - 128) / 128
    else:
        sound = raw.astype(np.float32) / float(2 ** (8 * kind.itemsize - 1))
    return np.asarray(sound.reshape(-1, max(1, channels)).mean(axis=1), np.float32)


class Resampler:
    """A stream of one rate as a stream of 16 kHz. Uses soxr; the same samples whatever the pieces."""

    def __init__(self, rate: int) -> None:
        self._stream: Any = None
        if rate != RATE:
            # an optional package: most microphones give 16 kHz
            self._stream = import_module("soxr").ResampleStream(rate, RATE, 1, dtype="float32")

    def feed(self, sound: np.ndarray) -> np.ndarray:
        """The next piece."""
        return sound if self._stream is None else self._stream.resample_chunk(sound)


def inputs() -> list[QAudioDevice]:
    """The microphones of the system. What a loudspeaker plays back (a monitor) is none."""
    return [d for d in QMediaDevices.audioInputs() if ".monitor" not in _name(d)]


def names() -> list[str]:
    """The microphones of the system by what a person calls them, each once."""
    return list(dict.fromkeys(device.description() for device in inputs()))


def _name(device: QAudioDevice) -> str:
    return bytes(device.id().data()).decode("utf-8", "replace")


def wanted_format(device: QAudioDevice) -> QAudioFormat:
    """16 kHz mono of 16 bits where the device takes it, else what it likes best."""
    best = QAudioFormat()
    best.setSampleRate(RATE)
    best.setChannelCount(1)
    best.setSampleFormat(QAudioFormat.SampleFormat.Int16)
    return best if device.isFormatSupported(best) else device.preferredFormat()


class Microphone(QObject):
    """`sound` brings numpy arrays as they come. `wanted` names a device by its description; "" is the system's own."""

    sound = Signal(object)
    state_changed = Signal(bool, str)
    """Whether it is heard, and one sentence."""
    inputs_changed = Signal()
    """One was plugged in or pulled."""

    def __init__(self, wanted: str = "", parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._wanted = wanted
        self._source: QAudioSource | None = None
        self._stream: QIODevice | None = None
        self._resampler = Resampler(RATE)
        self._format = QAudioFormat()
        self._told: tuple[bool, str] | None = None
        self._description = ""
        self._id = QByteArray()
        self._zeros = 0
        self._missing = ""
        self._devices = QMediaDevices(self)
        self._devices.audioInputsChanged.connect(self._follow)
        self._devices.audioInputsChanged.connect(self.inputs_changed)
        self._again = QTimer(self, interval=AGAIN_MS)
        self._again.timeout.connect(self._follow)
        self._silent = QTimer(self, singleShot=True, interval=SILENT_MS)
        self._silent.timeout.connect(self._went_silent)

    @property
    def name(self) -> str:
        """The device that is open, "" when none is."""
        return self._description if self._source else ""

    def start(self) -> None:
        """Open it now, and go on trying while there is none."""
        self._again.start()
        self._follow()

    def stop(self) -> None:
        """Let go of it."""
        self._again.stop()
        self._close()

    def _choose(self) -> QAudioDevice | None:
        found = inputs()
        named = [d for d in found if d.description() == self._wanted]
        if self._wanted:
            return named[0] if named else None
        default = QMediaDevices.defaultAudioInput()
        return next((d for d in found if d.id() == default.id()), found[0] if found else None)

    def _follow(self) -> None:
        """Open what is wanted; leave an open one alone."""
        device = self._choose()
        # by name: Qt moved this enumeration from one class to another between its versions
        if self._source is not None and self._source.state().name == "StoppedState":
            self._close()
            self._tell(False, f"The microphone {self._description} is gone; plug it in again.")
        if self._source is not None:
            if device is not None and device.id() == self._id:
                return
            self._close()
        if device is not None and self._missing:
            # Qt's list may still hold what is gone
            there = source_names()
            if there is not None and self._missing in there:
                self._missing = ""
            elif _name(device) == self._missing:
                return
        if device is None:
            named = f"The microphone {self._wanted} is not there; plug it in or choose another."
            self._tell(False, named if self._wanted else "There is no microphone; plug one in.")
            return
        self._open(device)

    def _open(self, device: QAudioDevice) -> None:
        self._format = wanted_format(device)
        if self._format.sampleFormat() not in DTYPES:
            self._tell(False, f"The microphone {device.description()} gives no sound that can be read.")
            return
        try:
            self._resampler = Resampler(self._format.sampleRate())
        except ImportError:
            self._tell(False, "The microphone cannot give 16 kHz, and the package soxr is missing.")
            return
        self._description, self._id = device.description(), device.id()
        self._source = source = QAudioSource(device, self._format, self)
        stream = source.start()
        if stream is None or source.error().name != "NoError":
            self._close()
            self._tell(
                False,
                f"The microphone {device.description()} cannot be opened: another program has it, "
                "or this program may not use it.",
            )
            return
        self._stream = stream
        stream.readyRead.connect(self._read)
        self._silent.start()

    def _read(self) -> None:
        if self._stream is None:
            return
        data = self._stream.readAll().data()
        if not data:
            return
        self._silent.start()
        sound = mono_float(bytes(data), self._format.sampleFormat(), self._format.channelCount())
        if self._is_dead(sound):
            return
        self._tell(True, f"Microphone {self._description}.")
        self.sound.emit(self._resampler.feed(sound))

    def _is_dead(self, sound: np.ndarray) -> bool:
        """After a while of nothing at all: is the device still there? A pulled one is let go."""
        self._zeros = 0 if np.any(sound) else self._zeros + len(sound)
        if self._zeros < DEAD_S * self._format.sampleRate():
            return False
        self._zeros = 0
        there, name = source_names(), bytes(self._id.data()).decode("utf-8", "replace")
        if there is None or name in there:
            return False
        self._missing = name
        self._close()
        self._tell(False, f"The microphone {self._description} is gone; plug it in again.")
        return True

    def _went_silent(self) -> None:
        if self._source is not None:
            self._close()
            self._tell(False, f"The microphone {self._description} gives no sound; it is opened again.")

    def _close(self) -> None:
        self._silent.stop()
        source, self._source, self._stream = self._source, None, None
        if source is not None:
            source.stop()
            source.deleteLater()

    def _tell(self, heard: bool, sentence: str) -> None:
        if self._told != (heard, sentence):
            self._told = (heard, sentence)
            self.state_changed.emit(heard, sentence)
