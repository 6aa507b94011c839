"""Comparing the moving picture with an as-found photo: a quick comparison, and a worker that keeps up.

The worker always takes the newest frame and lets the others go. Draws nothing.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from benchguide.camera.align import Features, features
from benchguide.camera.behind import step_aside
from benchguide.camera.compare import LIVE_WORK, Comparison, Place, compare

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]

log = logging.getLogger(__name__)


class LiveComparison:
    """Compares frames with one as-found photo at 640 pixels, starting from where the last frame lay.

    Has no threads of its own and is used by one thread at a time.
    """

    def __init__(
        self, as_found: Any, *, px_per_mm: float | None = None, places: Sequence[Place] = ()
    ) -> None:
        """as_found: (H, W, 3) uint8 BGR. Raises ValueError for what is no picture."""
        self._found: Features = features(as_found, work=LIVE_WORK)
        self._px_per_mm = px_per_mm
        self._places = tuple(places)
        self._last: NDArray[np.float64] | None = None

    def see(self, frame: Image) -> Comparison:
        """Compare one frame; its candidates are in the frame's own pixels."""
        said = compare(
            None, frame, px_per_mm=self._px_per_mm, places=self._places, found_features=self._found,
            careful=False, guess=self._last,
        )  # fmt: skip
        self._last = said.homography if said.aligned else None
        return said


class ComparisonWorker:
    """Runs a LiveComparison in a thread of its own on the newest frame; frames in between are let go.

    tell: called in that thread with the Comparison and the frame it belongs to; it must
    return quickly; what it raises is logged and otherwise ignored. at_most: comparisons a
    second, so that the preview keeps its share of the machine.
    """

    def __init__(
        self, comparison: LiveComparison, tell: Callable[[Comparison, Image], None], *, at_most: float = 4.0
    ) -> None:
        self._comparison = comparison
        self._tell = tell
        self._gap_s = 1.0 / at_most
        self._changed = threading.Condition()
        self._waiting: Image | None = None
        self._stopping = False
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin. Does nothing if it is already running; may follow a stop."""
        with self._changed:
            if self._thread is not None:
                return
            self._stopping, self._waiting = False, None
            self._thread = threading.Thread(target=self._work, name="comparison", daemon=True)
            self._thread.start()

    def offer(self, frame: Image) -> None:
        """Take note of a frame, (H, W, 3) uint8 BGR; returns at once. The frame must not be written to later."""
        with self._changed:
            self._waiting = frame
            self._changed.notify_all()

    def stop(self, timeout_s: float = 3.0) -> bool:
        """End, waiting at most `timeout_s` for the comparison that is running. False where it still runs."""
        with self._changed:
            thread, self._thread = self._thread, None
            self._stopping = True
            self._changed.notify_all()
        if thread is None or thread is threading.current_thread():
            return True
        thread.join(timeout_s)
        return not thread.is_alive()

    def _work(self) -> None:
        me = threading.current_thread()
        step_aside()
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._stopping or self._waiting is not None)
                if self._stopping or self._thread is not me:
                    return
                frame, self._waiting = self._waiting, None
            assert frame is not None
            began = time.monotonic()
            try:
                said = self._comparison.see(frame)
                if not self._stopping:
                    self._tell(said, frame)
            except Exception:
                log.exception("a live comparison failed")
            left = self._gap_s - (time.monotonic() - began)
            with self._changed:
                self._changed.wait_for(lambda: self._stopping, timeout=max(0.0, left))
