"""Takes the due photo when the hands have left the picture: watches in the camera's thread, tells the window.

What counts as a hand is camera/hands.py's. It asks for photos; it neither takes nor keeps them.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.frame import Frame
    from benchguide.camera.hands import HandsClear, Watch

NS = 1_000_000_000
#: pictures looked at, nanoseconds apart: some fifteen a second
EVERY_NS = NS // 15


class HandsWatch(QObject):
    """`on_frame` is called in the camera's thread; everything else in the window's."""

    told = Signal(object)
    """The Watch while a photo is wanted, only when it says something new; None when nothing is wanted any more."""
    take = Signal()
    """Hands have been here and are gone: take the photo now. Ask `fits` of every picture that may become it."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._lock = threading.Lock()
        self._hands: HandsClear | None = None
        self._on = False
        self._wanted = False
        self._asks: list[str] = []
        self._last_ns = 0
        self._said: tuple[object, ...] = ()

    @property
    def wanted(self) -> bool:
        """True while it would take a photo."""
        return self._on and self._wanted

    def set_on(self, on: bool) -> None:
        """Watch, or do nothing at all."""
        if on == self._on:
            return
        self._on = on
        self._ask("forget")
        self.told.emit(None)

    def want(self, wanted: bool, worked: bool = False) -> None:
        """A photo is due from now on, or no longer. `worked`: the hands need not come first."""
        if wanted and not self._wanted:
            self._ask("arm worked" if worked else "arm")
        if self._wanted and not wanted:
            self.told.emit(None)
        self._wanted = wanted

    def stop(self) -> None:
        """Any command stops the photo that is coming; it waits for the next time hands come and go."""
        self._ask("arm")

    def again(self) -> None:
        """The picture that came was not clear: wait for the hands to leave."""
        self._ask("arm worked")

    def forget(self) -> None:
        """Another camera, another view."""
        self._ask("forget")

    def _ask(self, what: str) -> None:
        with self._lock:
            self._asks.append(what)
            self._said = ()

    def fits(self, image: NDArray[np.uint8]) -> bool:
        """Whether nothing has come into the picture since it was clear. From any thread."""
        hands = self._hands
        return hands is not None and hands.still_clear(image)

    def on_frame(self, frame: Frame) -> None:
        """Look at one picture; some 2 ms of the camera's thread."""
        if not self._on or frame.exposed_ns - self._last_ns < EVERY_NS:
            return
        from benchguide.camera.hands import HandsClear, Seen

        self._last_ns = frame.exposed_ns
        hands = self._hands
        if hands is None:
            hands = self._hands = HandsClear()
        with self._lock:
            asks, self._asks = self._asks, []
        for ask in asks:
            hands.forget() if ask == "forget" else hands.arm(worked=ask == "arm worked")
        watch = hands.see(frame.image, frame.exposed_ns / NS)
        if not self._wanted:
            return
        self._tell(watch)
        if watch.seen is Seen.CLEAR:
            self.take.emit()

    def _tell(self, watch: Watch) -> None:
        said = (watch.seen, round(watch.left_s, 1), watch.offer)
        with self._lock:
            if said == self._said:
                return
            self._said = said
        self.told.emit(watch)
