"""The one door to OpenCV: loads it late, quietly, and leaves the environment as it was.

The opencv-python wheel points QT_QPA_PLATFORM_PLUGIN_PATH and QT_QPA_FONTDIR at its own
Qt when it is imported, which stops a PySide6 window from starting. Nothing else in the
package imports cv2.
"""

from __future__ import annotations

import os
import threading
from types import ModuleType

_QT_VARIABLES = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")
_lock = threading.Lock()
_module: ModuleType | None = None


def cv2() -> ModuleType:
    """Return the OpenCV module, importing it at the first call (about 0.25 s).

    Safe to call from any thread. Raises ImportError where OpenCV is not installed.
    """
    global _module
    if _module is None:
        with _lock:
            if _module is None:
                _module = _load()
    return _module


def _load() -> ModuleType:
    before = {name: os.environ.get(name) for name in _QT_VARIABLES}
    os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
    # FFmpeg inside OpenCV prints to stderr by itself; -8 is its "quiet".
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    # A pulled cable must not hold a read for the default of ten seconds.
    os.environ.setdefault("OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT", "1")
    try:
        import cv2 as module
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
    # One thread a call: pictures come from one worker thread, and the cores that are
    # left belong to the window. More threads only add switching at these sizes.
    module.setNumThreads(1)
    return module
