"""Between the camera's thread and the window: newest picture wins, status as a signal. Draws nothing."""

from __future__ import annotations

import threading
from collections.abc import Callable

from PySide6.QtCore import QObject, QSize, Signal
from PySide6.QtGui import QImage

from benchguide.camera.encode import for_screen
from benchguide.camera.frame import Frame
from benchguide.camera.source import Source
from benchguide.camera.worker import CameraState, CameraStatus, CameraWorker


class CameraLink(QObject):
    """Owns the camera worker of the bench.

    `picture` is emitted at most once until `take_picture` fetched it: a slow window drops pictures, never
    queues them.
    """

    picture = Signal()
    status_changed = Signal(object)

    def __init__(self, make_source: Callable[[], Source], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._lock = threading.Lock()
        self._newest: QImage | None = None
        self.last_picture: QImage | None = None
        """The preview picture that was fetched last, for a second view."""
        self._asked = False
        self._room = (960, 540)
        self.watchers: tuple[Callable[[Frame], None], ...] = ()
        """Called with every frame, in the camera's thread; they must return within a few milliseconds. Replace the
        tuple as a whole."""
        self.worker = CameraWorker(make_source, on_frame=self._on_frame, on_status=self._on_status)

    def start(self) -> None:
        """Begin reading the camera."""
        self.worker.start()

    def stop(self) -> None:
        """End reading; returns when the thread is gone or after a bounded wait."""
        self.worker.stop()

    def set_room(self, size: QSize) -> None:
        """How large the preview is shown, in device pixels; pictures are scaled to it in the camera's thread."""
        self._room = (max(160, size.width()), max(90, size.height()))

    def take_picture(self) -> QImage | None:
        """The newest preview picture, or None when there is no new one."""
        with self._lock:
            image, self._newest, self._asked = self._newest, None, False
        self.last_picture = image or self.last_picture
        return image

    def _on_frame(self, frame: Frame) -> None:
        for watcher in self.watchers:
            watcher(frame)
        with self._lock:
            if self._asked:
                return
        small = for_screen(frame.image, *self._room)
        height, width = small.shape[:2]
        # a copy, as the array belongs to this thread; in the screen's own format, or every paint would convert it
        image = QImage(small.data, width, height, small.strides[0], QImage.Format.Format_RGB32).copy()
        with self._lock:
            self._newest, tell, self._asked = image, not self._asked, True
        if tell:
            self.picture.emit()

    def _on_status(self, status: CameraStatus) -> None:
        self.status_changed.emit(status)

    @property
    def live(self) -> bool:
        """True when pictures may be shown as live."""
        return self.worker.status().state is CameraState.LIVE
