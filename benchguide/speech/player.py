"""Plays the bench's tones through Qt's sound effects. Silent, never failing, where there is no sound device.

Loaded after the first paint: Qt's multimedia library takes its time.
"""

from pathlib import Path

from PySide6.QtCore import QUrl
from PySide6.QtMultimedia import QMediaDevices, QSoundEffect

from benchguide.speech.tones import Tone, wav_bytes


class TonePlayer:
    """Keeps one loaded effect a tone."""

    def __init__(self, folder: Path) -> None:
        """`folder` is a cache for the tone files; it is made when missing. Raises OSError."""
        folder.mkdir(parents=True, exist_ok=True)
        self._effects: dict[Tone, QSoundEffect] = {}
        if not QMediaDevices.audioOutputs():
            return
        for tone in Tone:
            path = folder / f"{tone}.wav"
            path.write_bytes(wav_bytes(tone))
            effect = QSoundEffect()
            effect.setSource(QUrl.fromLocalFile(str(path)))
            self._effects[tone] = effect

    @property
    def can_play(self) -> bool:
        """True when there is a sound device."""
        return bool(self._effects)

    def set_volume(self, volume: float) -> None:
        """From 0 to 1, on top of the system's own volume, which is not touched."""
        for effect in self._effects.values():
            effect.setVolume(volume)

    def play(self, tone: Tone) -> None:
        """Start the tone and return at once."""
        effect = self._effects.get(tone)
        if effect:
            effect.play()
