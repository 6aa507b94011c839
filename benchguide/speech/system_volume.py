"""How far the system's own microphone volume is turned up, where its tools say so (pactl of PulseAudio and PipeWire).

Changes nothing. An answer of None means: not known here.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass

ANSWER_S = 2.0
LOW_PERCENT = 40


@dataclass(frozen=True, slots=True)
class SystemVolume:
    """Of the default microphone: percent of full, and whether it is muted."""

    percent: int
    muted: bool

    @property
    def warning(self) -> str:
        """One sentence with the remedy, empty when all is well."""
        if self.muted:
            return "The microphone is muted in the system: pactl set-source-mute @DEFAULT_SOURCE@ 0"
        if self.percent < LOW_PERCENT:
            return (
                f"The system's microphone volume is far down ({self.percent} %): "
                "pactl set-source-volume @DEFAULT_SOURCE@ 100%"
            )
        return ""


def microphone_volume() -> SystemVolume | None:
    """Ask the sound server; blocks up to some seconds, so never in the window's thread."""
    pactl = shutil.which("pactl")
    if pactl is None:
        return None
    try:
        volume, mute = (
            subprocess.run(
                [pactl, f"get-source-{what}", "@DEFAULT_SOURCE@"],
                capture_output=True,
                text=True,
                timeout=ANSWER_S,
                check=True,
            ).stdout
            for what in ("volume", "mute")
        )
    except (OSError, subprocess.SubprocessError):
        return None
    return read_volume(volume, mute)


def source_names() -> set[str] | None:
    """Names of the sources the sound server has now; None where it cannot be asked. Blocks like the above."""
    pactl = shutil.which("pactl")
    if pactl is None:
        return None
    try:
        done = subprocess.run(
            [pactl, "list", "short", "sources"], capture_output=True, text=True, timeout=ANSWER_S, check=True
        )
    except (OSError, subprocess.SubprocessError):
        return None
    return {row.split("\t")[1] for row in done.stdout.splitlines() if "\t" in row}


def read_volume(volume: str, mute: str) -> SystemVolume | None:
    """From what pactl prints, whatever its language: the lowest percentage of the channels."""
    found = [int(each) for each in re.findall(r"(\d+)\s?%", volume)]
    if not found:
        return None
    last = mute.strip().rpartition(" ")[2].lower() if mute.strip() else ""
    return SystemVolume(min(found), last not in ("no", "nein", "non", ""))
