"""A video file as a source: played at its own pace, over and over.

Reads local files only: a playlist inside the file must not open a network address.
"""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path
from typing import Any

from benchguide.camera.decode import MAX_PIXELS
from benchguide.camera.frame import Frame
from benchguide.camera.opencv import cv2
from benchguide.camera.source import SourceLost, SourceTraits

_OPTIONS = "OPENCV_FFMPEG_CAPTURE_OPTIONS"
_opening = threading.Lock()


class VideoFile:
    """Source over one video file; frames that fall behind are skipped, not shown late."""

    traits = SourceTraits(frozen_after_s=None, in_flight=1, noisy=False)

    def __init__(self, path: str | Path) -> None:
        self._path = Path(path).expanduser()
        self.name = f"Video {self._path.name}"
        self._capture: Any = None
        self._period_ns = 0
        self._due_ns = 0
        self._index = 0
        self._since_rewind = 0

    def open(self) -> None:
        self.close()
        if not self._path.is_file():
            raise SourceLost(f"There is no video file {self._path}; check its path.")
        self._capture = capture = _open_local(self._path)
        cv = cv2()
        if not capture.isOpened():
            self.close()
            raise SourceLost(f"{self._path.name} cannot be read as a video; try an MP4 or AVI file.")
        if capture.get(cv.CAP_PROP_FRAME_WIDTH) * capture.get(cv.CAP_PROP_FRAME_HEIGHT) > MAX_PIXELS:
            self.close()
            raise SourceLost(
                f"The pictures of {self._path.name} are larger than 100 megapixels; make it smaller."
            )
        rate = capture.get(cv.CAP_PROP_FPS)
        if not 0.2 <= rate <= 240:  # also false for NaN
            rate = 25.0
        self._period_ns = int(1e9 / rate)
        self._due_ns = time.monotonic_ns()
        self._index = self._since_rewind = 0

    def read(self) -> Frame | None:
        if self._capture is None:
            raise SourceLost(f"{self._path.name} is not open.")
        wait = self._due_ns - time.monotonic_ns()
        if wait > 1_000_000_000:
            time.sleep(1.0)
            return None
        if wait > 0:
            time.sleep(wait / 1e9)
        self._skip_late()
        self._due_ns += self._period_ns
        done, image = self._capture.read()
        if not done:
            self._rewind()
            return None
        self._since_rewind += 1
        if image is None or image.size == 0:
            return None
        frame = Frame(image, time.monotonic_ns(), self._index, self.name)
        self._index += 1
        return frame

    def close(self) -> None:
        capture, self._capture = self._capture, None
        if capture is not None:
            capture.release()

    def _skip_late(self) -> None:
        while time.monotonic_ns() - self._due_ns > 2 * self._period_ns and self._capture.grab():
            self._due_ns += self._period_ns
            self._since_rewind += 1

    def _rewind(self) -> None:
        if self._since_rewind == 0:
            raise SourceLost(f"{self._path.name} holds no pictures that can be decoded; try another file.")
        self._since_rewind = 0
        # Seeking back is not exact in every container; opening again is.
        self._capture.release()
        self._capture = _open_local(self._path)
        if not self._capture.isOpened():
            raise SourceLost(f"{self._path.name} can no longer be read; check that it is still there.")
        self._due_ns = time.monotonic_ns()


def _open_local(path: Path) -> Any:
    cv = cv2()
    with _opening:  # the options travel through the environment, which all threads share
        before = os.environ.get(_OPTIONS)
        os.environ[_OPTIONS] = "protocol_whitelist;file"
        try:
            return cv.VideoCapture(str(path), cv.CAP_FFMPEG, [cv.CAP_PROP_N_THREADS, 1])
        finally:
            if before is None:
                os.environ.pop(_OPTIONS, None)
            else:
                os.environ[_OPTIONS] = before
