"""What is seen: picture sources, the worker that reads them, the shutter, encoding.

Knows no other room of the program: arrays, paths and plain values in and out, no Qt.
Importing this package loads neither OpenCV nor numpy; both come with the first picture.
"""

from benchguide.camera.frame import Frame
from benchguide.camera.source import (
    Source,
    SourceLost,
    SourceSpec,
    SourceTraits,
    make_source,
    parse_source,
)
from benchguide.camera.worker import CameraState, CameraStatus, CameraWorker, ShutterFailed

__all__ = [
    "CameraState",
    "CameraStatus",
    "CameraWorker",
    "Frame",
    "ShutterFailed",
    "Source",
    "SourceLost",
    "SourceSpec",
    "SourceTraits",
    "make_source",
    "parse_source",
]
