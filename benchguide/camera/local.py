"""Cameras plugged into this machine, found by name and hardware path, never by number.

On Linux the kernel's own lists are read (/sys/class/video4linux, /dev/v4l/by-path). Other
systems do not tell OpenCV names, so there a camera is "Camera 1", "Camera 2" by position.
"""

from __future__ import annotations

import platform
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchguide.camera.frame import Frame
from benchguide.camera.opencv import cv2
from benchguide.camera.source import SourceLost, SourceTraits

SYS_CLASS = Path("/sys/class/video4linux")
BY_PATH = Path("/dev/v4l/by-path")


@dataclass(frozen=True, slots=True)
class CameraPort:
    """One camera: its name as it gives it, where it is plugged in, and how to open it now.

    hardware_path stays the same across restarts while the camera is in the same socket;
    device (such as /dev/video2) may change at every plugging. hardware_path is "" where the
    system tells none.
    """

    name: str
    hardware_path: str
    device: str

    @property
    def address(self) -> str:
        """What follows `camera:` to choose exactly this camera."""
        return f"{self.name}@{self.hardware_path}" if self.hardware_path else self.name


def list_cameras(*, sys_class: Path = SYS_CLASS, by_path: Path = BY_PATH) -> tuple[CameraPort, ...]:
    """The cameras present now, in order of name. Opens none on Linux; briefly opens each elsewhere."""
    if platform.system() == "Linux":
        return _list_linux(sys_class, by_path)
    return _list_by_index()


def choose_camera(address: str, present: tuple[CameraPort, ...]) -> CameraPort:
    """The one camera an address `NAME` or `NAME@/hardware/path` means.

    Raises SourceLost, with the remedy, where it is absent or where the name alone would
    leave a choice: another camera is never taken silently.
    """
    name, at, path = address.partition("@/")
    path = f"/{path}" if at else ""
    named = [port for port in present if port.name == name.strip()]
    if path:
        exact = [port for port in named if port.hardware_path == path]
        if exact:
            return exact[0]
        if named:
            raise SourceLost(
                f"{name} is not in the socket it was chosen for; plug it back there or choose it again."
            )
    elif len(named) == 1:
        return named[0]
    elif named:
        raise SourceLost(f"{len(named)} cameras are called {name}; choose one with its hardware path.")
    others = ", ".join(sorted({port.name for port in present}))
    hint = f"present are: {others}" if others else "no camera is present"
    raise SourceLost(f"The camera {name} is not plugged in ({hint}); plug it in or choose another.")


class LocalCamera:
    """Source over one local camera; looked up anew at every opening."""

    traits = SourceTraits(frozen_after_s=2.0, in_flight=2, noisy=True)

    def __init__(self, address: str, *, size: tuple[int, int] = (1920, 1080), fps: int = 30) -> None:
        self._address = address
        self._size, self._fps = size, fps
        self.name = address.partition("@/")[0].strip()
        self._capture: Any = None
        self._index = 0

    def open(self) -> None:
        self.close()
        port = choose_camera(self._address, list_cameras())
        self._capture = capture = _open_port(port)
        self._index = 0
        if not capture.isOpened():
            self.close()
            raise SourceLost(
                f"{self.name} cannot be opened; close the program that uses it or check your rights to it."
            )
        cv = cv2()
        # Compressed first: few cameras send 1080p uncompressed at more than 5 pictures a second.
        capture.set(cv.CAP_PROP_FOURCC, cv.VideoWriter.fourcc(*"MJPG"))
        capture.set(cv.CAP_PROP_FRAME_WIDTH, self._size[0])
        capture.set(cv.CAP_PROP_FRAME_HEIGHT, self._size[1])
        capture.set(cv.CAP_PROP_FPS, self._fps)
        capture.set(cv.CAP_PROP_BUFFERSIZE, 1)

    def read(self) -> Frame | None:
        if self._capture is None:
            raise SourceLost(f"{self.name} is not open.")
        done, image = self._capture.read()
        if not done:
            raise SourceLost(f"{self.name} stopped sending pictures; check its cable.")
        if image is None or image.ndim != 3 or image.size == 0:
            return None
        frame = Frame(image, time.monotonic_ns(), self._index, self.name)
        self._index += 1
        return frame

    def close(self) -> None:
        capture, self._capture = self._capture, None
        if capture is not None:
            capture.release()


def _list_linux(sys_class: Path, by_path: Path) -> tuple[CameraPort, ...]:
    paths: dict[str, str] = {}
    if by_path.is_dir():
        for link in sorted(by_path.iterdir()):
            paths.setdefault(link.resolve().name, str(link))
    ports = []
    for node in sorted(sys_class.glob("video*")) if sys_class.is_dir() else []:
        # Index 0 is the picture; further indexes of the same camera carry metadata.
        if _line(node / "index") not in ("", "0"):
            continue
        name = _line(node / "name") or node.name
        ports.append(CameraPort(name, paths.get(node.name, ""), f"/dev/{node.name}"))
    return tuple(sorted(ports, key=lambda port: (port.name, port.hardware_path)))


def _list_by_index(most: int = 5) -> tuple[CameraPort, ...]:
    cv = cv2()
    ports = []
    for index in range(most):
        capture = cv.VideoCapture(index)
        if capture.isOpened():
            ports.append(CameraPort(f"Camera {index + 1}", "", str(index)))
        capture.release()
    return tuple(ports)


def _open_port(port: CameraPort) -> Any:
    cv = cv2()
    if port.device.isdigit():
        return cv.VideoCapture(int(port.device))
    return cv.VideoCapture(port.device, cv.CAP_V4L2)


def _line(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""
