"""Where the bundled procedures and the demo's data lie: beside the package in a clone, inside it in a wheel.

Not for: the person's own data folder, or for reading any of these files.
"""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def procedures_folder() -> Path:
    """Return the folder of bundled part maps and procedures.

    Raises FileNotFoundError where the installation is incomplete.
    """
    return _folder("procedures")


def demo_folder() -> Path:
    """Return the folder of the demo's photos, sounds and scripts.

    Raises FileNotFoundError where the installation is incomplete.
    """
    return _folder("assets_demo")


def _folder(name: str) -> Path:
    places = (_PACKAGE / "_bundled" / name, _PACKAGE.parent / name)
    for place in places:
        if place.is_dir():
            return place
    raise FileNotFoundError(
        f"The bundled folder {name!r} is missing from this installation of benchguide (looked in "
        f"{places[0]} and {places[1]}). Install benchguide again, or run it from a complete clone."
    )
