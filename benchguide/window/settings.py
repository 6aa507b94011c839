"""The person's settings: theme, distance, camera, name. One small JSON file in the data folder; no Qt here."""

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from benchguide.store.durable import write_file

#: from this height in device-independent pixels a screen has room for type that is read at one metre
ROOMY_SCREEN = 1000


@dataclass(frozen=True, slots=True)
class Settings:
    """What is remembered between starts."""

    theme: str = "dark"
    distance_cm: int = 0
    """How far the person stands away, in cm; 0 until somebody said so (then it follows from the screen)."""
    camera: str = "simulated"
    person: str = ""
    sound: bool = True
    hands_clear: bool = True
    """Take a due photo by itself when the hands have left the picture."""
    set_up: bool = False
    """The first-use screen was seen to its end or left."""
    read_aloud: bool = False
    reader_voice: str = ""
    """Name of the reading voice; "" is the usual one of the language."""
    reader_speed: float = 0.0
    """From -1 (slow) to 1 (fast)."""
    reader_locale: str = "en_US"
    listen: bool = False
    microphone: str = ""
    """Description of the microphone; "" is the system's own choice."""
    talker_db: float = 0.0
    """The talker's level from the microphone check in dB below full scale; 0 before there was one."""
    room_db: float = 0.0
    """The room's level from the same check; 0 before there was one."""
    echo_canceller: bool = False
    """True where the sound server takes the program's own voice out of the microphone: it listens while it speaks."""
    phrases: str = ""
    """File with another table of spoken phrases; "" is the one that comes along."""
    mat_bar_mm: float = 0.0
    """The 100 mm bar of the printed parts mat as a ruler shows it, in mm; 0 where nobody measured it."""
    switch_key: int = 0
    switch_scan: int = 0
    """The learnt key of the foot switch: Qt's number and the scan code; 0 and 0 are none."""
    switch_device: str = ""
    """Device file of the foot switch, to hear it whichever window has the focus; "" is none."""
    switch_short: str = "step-done"
    switch_long: str = "take-photo"
    switch_double: str = ""
    """Commands (names of window/actions.py) of a short, long and double press; "" is none."""


def load_settings(folder: Path) -> Settings:
    """The settings of a data folder; anything unreadable falls back to the defaults."""
    try:
        data = json.loads((folder / "settings.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Settings()
    known = asdict(Settings())
    good: dict[str, Any] = {}
    if isinstance(data, dict):
        good = {key: _fitted(data[key], known[key]) for key in known.keys() & data.keys()}
        good = {key: value for key, value in good.items() if type(value) is type(known[key])}
    settings = replace(Settings(), **good)
    theme = settings.theme if settings.theme in ("dark", "light") else "dark"
    distance = min(300, max(40, settings.distance_cm)) if settings.distance_cm else 0
    bar = settings.mat_bar_mm if 20 <= settings.mat_bar_mm <= 300 else 0.0
    return replace(settings, theme=theme, distance_cm=distance, mat_bar_mm=bar)


def _fitted(value: Any, like: Any) -> Any:
    """A whole number where a number with a fraction belongs is one; what JSON calls NaN is none."""
    if isinstance(like, float) and type(value) in (int, float) and abs(value) < 1000:
        return float(value)
    return value if not isinstance(like, float) else None


def distance_for(settings: Settings, screen_height: int) -> int:
    """The reading distance in cm: as set, else one metre, or 80 cm before a screen that is too low for that.

    `screen_height` is in device-independent pixels.
    """
    return settings.distance_cm or (100 if screen_height >= ROOMY_SCREEN else 80)


def save_settings(folder: Path, settings: Settings) -> None:
    """Write the settings. Raises OSError."""
    write_file(folder / "settings.json", json.dumps(asdict(settings), indent=2).encode("utf-8"))
