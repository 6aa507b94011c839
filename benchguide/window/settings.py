"""The person's settings: theme, distance, camera, name. One small JSON file in the data folder; no Qt here."""

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from benchguide.store.durable import write_file


@dataclass(frozen=True, slots=True)
class Settings:
    """What is remembered between starts."""

    theme: str = "dark"
    distance_cm: int = 100
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
    return replace(settings, theme=theme, distance_cm=min(300, max(40, settings.distance_cm)))


def save_settings(folder: Path, settings: Settings) -> None:
    """Write the settings. Raises OSError."""
    write_file(folder / "settings.json", json.dumps(asdict(settings), indent=2).encode("utf-8"))
