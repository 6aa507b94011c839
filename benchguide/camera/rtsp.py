"""A network camera that speaks RTSP, read through OpenCV's FFmpeg with short time limits."""

from __future__ import annotations

import time
from typing import Any

from benchguide.camera.frame import Frame
from benchguide.camera.opencv import cv2
from benchguide.camera.source import SourceLost, SourceTraits, without_password

OPEN_MS, READ_MS = 2000, 1500


class RtspStream:
    """Source over one rtsp:// address.

    A video codec repeats unchanged areas exactly until its next key picture, commonly
    every one to five seconds, so "frozen" is told later here and identical pictures
    prove nothing.
    """

    traits = SourceTraits(frozen_after_s=10.0, in_flight=3, noisy=False)

    def __init__(self, address: str) -> None:
        self._address = address
        self.name = f"Network camera {without_password(address)}"
        self._capture: Any = None
        self._index = 0

    def open(self) -> None:
        self.close()
        cv = cv2()
        limits = [cv.CAP_PROP_OPEN_TIMEOUT_MSEC, OPEN_MS, cv.CAP_PROP_READ_TIMEOUT_MSEC, READ_MS]
        self._capture = cv.VideoCapture(self._address, cv.CAP_FFMPEG, [*limits, cv.CAP_PROP_N_THREADS, 1])
        self._index = 0
        if not self._capture.isOpened():
            self.close()
            raise SourceLost(f"{self.name} does not answer; check its address, power and network.")

    def read(self) -> Frame | None:
        if self._capture is None:
            raise SourceLost(f"{self.name} is not open.")
        done, image = self._capture.read()
        if not done:
            # After a time-out OpenCV's capture stays ended, so only a new one helps.
            raise SourceLost(f"{self.name} stopped sending pictures; check its power and network.")
        if image is None or image.size == 0:
            return None
        frame = Frame(image, time.monotonic_ns(), self._index, self.name)
        self._index += 1
        return frame

    def close(self) -> None:
        capture, self._capture = self._capture, None
        if capture is not None:
            capture.release()
