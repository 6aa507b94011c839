"""Real folders, real files, real documents of the store's tests."""

import io
import os
import subprocess
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from benchguide.store.photos import PhotoFacts

Doc = dict[str, Any]


@pytest.fixture(scope="session")
def doc() -> Callable[..., Doc]:
    """Make an event document: doc("StepDone", step="s-1")."""
    count = 0

    def make(kind: str, **data: object) -> Doc:
        nonlocal count
        count += 1
        wall = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1))) + timedelta(seconds=count)
        at = {"wall": wall.isoformat(timespec="milliseconds"), "boot_us": count * 1_000_000}
        return {"kind": kind, "v": 1, "at": {**at, "awake_us": 7, "boot_id": "b"}, "by": "Ada", "data": data}

    return make


@pytest.fixture(scope="session")
def started(doc: Callable[..., Doc]) -> Doc:
    names = {name: name.upper() for name in ("job", "device", "procedure", "person")}
    return doc("SessionStarted", **names, device_doc="d" * 64, procedure_doc="p" * 64)


@pytest.fixture(scope="session")
def jpeg() -> Callable[..., bytes]:
    """Make the bytes of a JPEG with something in it: jpeg(640, 480)."""

    def make(width: int = 320, height: int = 240, **options: Any) -> bytes:
        from PIL import Image

        buffer = io.BytesIO()
        Image.effect_mandelbrot((width, height), (-2, -1.2, 1, 1.2), 60).convert("RGB").save(
            buffer, "JPEG", **options
        )
        return buffer.getvalue()

    return make


@pytest.fixture
def facts() -> PhotoFacts:
    taken = datetime(2026, 3, 2, 9, 13, 7, 123_000, tzinfo=timezone(timedelta(hours=-8)))
    return PhotoFacts(taken, "J-17", "s-04", "fan cover", "as-found", "bench camera", {"turn": 90})


def _mount(options: list[str], target: Path) -> None:
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root may mount a file system of the test's own")
    done = subprocess.run(["mount", *options, str(target)], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"this machine allows no mounts: {done.stderr.strip()}")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB."""
    place = tmp_path / "small"
    place.mkdir()
    _mount(["-t", "tmpfs", "-o", "size=1m", "none"], place)
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.fixture
def read_only_view(tmp_path: Path) -> Iterator[Callable[[Path], Path]]:
    """The same folder seen through a read-only mount, which binds root as well."""
    mounted: list[Path] = []

    def view(folder: Path) -> Path:
        place = tmp_path / "read-only-view"
        place.mkdir()
        _mount(["--bind", str(folder)], place)
        mounted.append(place)
        _mount(["-o", "remount,bind,ro"], place)
        return place

    yield view
    for place in mounted:
        subprocess.run(["umount", str(place)], check=True)


def fill(folder: Path) -> Path:
    """Take every byte that is left."""
    ballast = folder / "ballast"
    with ballast.open("wb", buffering=0) as file:
        for size in (4096, 64, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue
    return ballast


@pytest.fixture(scope="session", name="fill")
def fill_fixture() -> Callable[[Path], Path]:
    return fill
