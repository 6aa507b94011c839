"""What a picture source is, and how one is named in a line of text.

The sources themselves are in local.py, mjpeg.py, rtsp.py, video.py, stills.py and
simulated.py; each is loaded only when it is asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, runtime_checkable
from urllib.parse import urlsplit

from benchguide.camera.frame import Frame

if TYPE_CHECKING:
    from benchguide.camera.simulated import Scene

KINDS = ("simulated", "camera", "mjpeg", "rtsp", "video", "stills")
FORMS = (
    "simulated, camera:NAME, camera:NAME@/hardware/path, http://address, rtsp://address, "
    "video:/path/to/file or stills:/path/to/folder"
)


class SourceLost(Exception):
    """The source cannot be opened or has stopped; its text is one sentence for a person."""


@dataclass(frozen=True, slots=True)
class SourceTraits:
    """What a source's pictures are like, so that the worker can judge them.

    frozen_after_s: unchanged pictures for this long mean "frozen"; None where pictures
    may rightly stay the same (stills, video files).
    in_flight: how many pictures that arrive after an instant may have been exposed before it.
    noisy: no two pictures are ever identical (a sensor's own noise), so an identical
    picture proves that nothing new was exposed.
    silent_after_s: no picture for this long means "lost"; longer for a source that draws.
    """

    frozen_after_s: float | None = 2.0
    in_flight: int = 2
    noisy: bool = True
    silent_after_s: float = 1.5


@runtime_checkable
class Source(Protocol):
    """A place pictures come from. Used by one thread at a time.

    `open` and `read` raise SourceLost; `read` waits for the next picture but never longer
    than about 1.5 s, and returns None where a picture was missing or unusable; `close` may
    be called at any time, also twice, and never raises.
    """

    @property
    def name(self) -> str: ...

    @property
    def traits(self) -> SourceTraits: ...

    def open(self) -> None: ...

    def read(self) -> Frame | None: ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class SourceSpec:
    """Which source: `kind` is one of KINDS, `address` what it needs to be found.

    For a local camera the address is `NAME` or `NAME@/hardware/path`.
    """

    kind: str
    address: str

    def __str__(self) -> str:
        if self.kind == "simulated":
            return "simulated"
        return self.address if self.kind in ("mjpeg", "rtsp") else f"{self.kind}:{self.address}"


def parse_source(text: str) -> SourceSpec:
    """Read one line such as `camera:Desk Camera` into a SourceSpec.

    Raises ValueError with one sentence that says what to write instead. The text may
    come from a settings file, so nothing is opened or looked up here.
    """
    text = text.strip()
    if text == "simulated":
        return SourceSpec("simulated", "")
    scheme = text.split(":", 1)[0].lower()
    if scheme in ("http", "https", "rtsp", "rtsps"):
        return SourceSpec("mjpeg" if scheme.startswith("http") else "rtsp", _checked_url(text))
    kind, colon, address = text.partition(":")
    kind, address = kind.strip().lower(), address.strip()
    if not colon or kind not in ("camera", "video", "stills"):
        raise ValueError(f"{_short(text)} is not a picture source; write {FORMS}.")
    if not address or "\0" in address:
        needed = {"camera": "the camera's name", "video": "the path of a video file"}
        raise ValueError(f"After {kind}: write {needed.get(kind, 'the path of a folder of pictures')}.")
    if kind == "camera" and not address.partition("@")[0].strip():
        raise ValueError("After camera: write the camera's name before the @ and its hardware path.")
    return SourceSpec(kind, address)


def make_source(spec: SourceSpec, *, get_scene: Callable[[], Scene] | None = None) -> Source:
    """Make the source a spec names, closed. `get_scene` is needed for the simulated bench.

    Raises ValueError for an unknown kind, or where the simulated bench has no scene.
    """
    if spec.kind == "simulated":
        if get_scene is None:
            raise ValueError("The simulated bench needs a device to draw; open a procedure first.")
        from benchguide.camera.simulated import SimulatedBench

        return SimulatedBench(get_scene)
    if spec.kind == "camera":
        from benchguide.camera.local import LocalCamera

        return LocalCamera(spec.address)
    if spec.kind == "mjpeg":
        from benchguide.camera.mjpeg import MjpegStream

        return MjpegStream(spec.address)
    if spec.kind == "rtsp":
        from benchguide.camera.rtsp import RtspStream

        return RtspStream(spec.address)
    if spec.kind == "video":
        from benchguide.camera.video import VideoFile

        return VideoFile(spec.address)
    if spec.kind == "stills":
        from benchguide.camera.stills import StillsFolder

        return StillsFolder(spec.address)
    raise ValueError(f"{_short(spec.kind)} is not a kind of picture source; use one of {', '.join(KINDS)}.")


def without_password(url: str) -> str:
    """The address as it may be shown or logged: user name and password left out."""
    parts = urlsplit(url)
    host = parts.netloc.rpartition("@")[2]
    return parts._replace(netloc=host).geturl()


def _checked_url(text: str) -> str:
    try:
        parts = urlsplit(text)
        parts.port  # noqa: B018 - reading it is the check
    except ValueError:
        raise ValueError(
            f"{_short(text)} is not a usable address; write it like http://192.0.2.7:8080/video."
        ) from None
    if not parts.hostname or any(c.isspace() or ord(c) < 33 for c in text):
        raise ValueError(f"{_short(text)} names no machine; write it like http://192.0.2.7:8080/video.")
    return text


def _short(text: str) -> str:
    shown = text if len(text) <= 60 else text[:57] + "..."
    return f"'{shown}'" if shown else "An empty line"
