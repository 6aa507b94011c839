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


def load_settings(folder: Path) -> Settings:
    """The settings of a data folder; anything unreadable falls back to the defaults."""
    try:
        data = json.loads((folder / "settings.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Settings()
    known = asdict(Settings())
    good: dict[str, Any] = {}
    if isinstance(data, dict):
        good = {key: value for key, value in data.items() if key in known and type(value) is type(known[key])}
    settings = replace(Settings(), **good)
    theme = settings.theme if settings.theme in ("dark", "light") else "dark"
    distance = min(300, max(40, settings.distance_cm)) if settings.distance_cm else 0
    return replace(settings, theme=theme, distance_cm=distance)


def distance_for(settings: Settings, screen_height: int) -> int:
    """The reading distance in cm: as set, else one metre, or 80 cm before a screen that is too low for that.

    `screen_height` is in device-independent pixels.
    """
    return settings.distance_cm or (100 if screen_height >= ROOMY_SCREEN else 80)


def save_settings(folder: Path, settings: Settings) -> None:
    """Write the settings. Raises OSError."""
    write_file(folder / "settings.json", json.dumps(asdict(settings), indent=2).encode("utf-8"))
