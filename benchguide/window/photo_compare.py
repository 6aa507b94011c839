"""The careful comparison of a kept as-left photo with its as-found photo, in a thread of its own.

Hands on a command for the session; judges nothing itself. Photos are read from the disk as they were kept.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from benchguide.camera.behind import step_aside
from benchguide.session.commands import KeepComparison
from benchguide.window.photo_differences import differences_of, places_of

if TYPE_CHECKING:
    from benchguide.camera.compare import Features
    from benchguide.session.events import PhotoTaken, PlaceMarked

log = logging.getLogger(__name__)


class PhotoComparer(QObject):
    """`compare` returns at once; `compared` brings the KeepComparison for the session."""

    compared = Signal(object)
    busy = Signal(bool)
    """A comparison has begun, or the last one has ended."""
    _ended = Signal(object)

    def __init__(self, photo: Callable[[str], Path], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._photo = photo
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="compare", initializer=step_aside)
        self._features: tuple[str, Features] | None = None
        self._going = 0
        self._ended.connect(self._take)

    @property
    def going(self) -> bool:
        """True while a comparison goes on."""
        return self._going > 0

    def compare(
        self, found: PhotoTaken, left: PhotoTaken, places: tuple[PlaceMarked | None, ...] = ()
    ) -> None:
        """Compare two kept photos."""
        self._going += 1
        self.busy.emit(True)
        future = self._pool.submit(self._work, found.sha256, left.sha256, places)
        future.add_done_callback(self._ended.emit)

    def _work(self, found: str, left: str, places: tuple[PlaceMarked | None, ...]) -> KeepComparison:
        from benchguide.camera.compare import compare, features
        from benchguide.camera.photo_file import read_kept

        try:
            if self._features is None or self._features[0] != found:
                self._features = (found, features(read_kept(self._photo(found))))
            said = compare(
                None,
                read_kept(self._photo(left)),
                places=places_of(places),
                found_features=self._features[1],
            )
        except (OSError, ValueError) as error:
            return KeepComparison(found, left, False, f"A photo cannot be read: {error}")
        if not said.aligned:
            return KeepComparison(
                found, left, False, said.reason or "The photos cannot be laid over each other."
            )
        return KeepComparison(found, left, True, "", differences_of(said))

    def _take(self, future: Future[KeepComparison]) -> None:
        self._going -= 1
        try:
            self.compared.emit(future.result())
        except CancelledError:
            pass
        except Exception:
            log.exception("a comparison failed")
        if not self._going:
            self.busy.emit(False)

    def close(self) -> None:
        """Wait for the comparison that is going on; its answer is dropped with the window."""
        self._pool.shutdown(wait=True, cancel_futures=True)
