"""The moving picture compared with the as-found photo, in threads of their own: newest picture wins.

Gives the window plain values in shares of the picture, and the as-found photo as it lies over the live one.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QRectF, QTimer, Signal
from PySide6.QtGui import QImage

from benchguide.camera.behind import step_aside
from benchguide.window.photo_differences import differences_of, places_of

if TYPE_CHECKING:
    from benchguide.camera.compare import Comparison
    from benchguide.camera.compare_live import ComparisonWorker
    from benchguide.camera.frame import Frame
    from benchguide.session.events import PlaceMarked

log = logging.getLogger(__name__)

#: comparisons a second at most: two are promised, and the preview keeps its share of the machine
AT_MOST = 3.0
#: a step that was just asked for is painted first: reading its photo takes a processor for a while
AFTER_STEP_MS = 60
#: width of the as-found photo that is laid over the picture, in pixels
SHOWN_PX = 960
#: outlines on a moving picture: more would hide it
MOST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Outlined:
    """One candidate: its number, its box on the live picture and on as-found, in shares of each, and what it may be."""

    number: int
    box: QRectF
    found: QRectF
    hint: str


@dataclass(frozen=True, slots=True)
class LiveTold:
    """What one comparison of the moving picture says. Where `aligned` is false, `why` says so and nothing is told."""

    aligned: bool
    why: str
    outlines: tuple[Outlined, ...] = ()
    laid: QImage | None = None
    plane: tuple[float, ...] = ()
    """3x3, row by row: as-found to the moving picture, both in shares of their width and height."""

    def carried(self, found: QRectF) -> QRectF:
        """Where a box of the as-found photo lies on the moving picture, in shares of each."""
        a, b, c, d, e, f, g, h, i = self.plane
        spots = []
        for x in (found.left(), found.right()):
            for y in (found.top(), found.bottom()):
                depth = g * x + h * y + i
                spots.append(((a * x + b * y + c) / depth, (d * x + e * y + f) / depth))
        left, top = min(x for x, _ in spots), min(y for _, y in spots)
        return QRectF(left, top, max(x for x, _ in spots) - left, max(y for _, y in spots) - top)


class LiveCompare(QObject):
    """`follow` an as-found photo, offer frames from the camera's thread, `told` brings what is seen."""

    told = Signal(object)
    """A LiveTold."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._lock = threading.Lock()
        self._worker: ComparisonWorker | None = None
        self._wanted = 0
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="compare-prepare", initializer=step_aside)
        self._following: tuple[Path | None, tuple[PlaceMarked | None, ...]] = (None, ())
        self._soon = QTimer(self, singleShot=True, interval=AFTER_STEP_MS)
        self._soon.timeout.connect(self._begin)
        self.resting: Callable[[], bool] = lambda: False
        """Asked with every frame, in the camera's thread: while it says yes, nothing is compared. A photo that is
        being judged needs the machine more than the moving picture does."""

    def follow(self, photo: Path | None, places: tuple[PlaceMarked | None, ...] = ()) -> None:
        """Compare with this photo from now on; None ends it. Reading the photo is not the window's work."""
        wanted = (photo, places)
        if wanted == self._following:
            return
        self._following = wanted
        with self._lock:
            self._wanted += 1
            old, self._worker = self._worker, None
        if old is not None:
            self._pool.submit(old.stop)
        if photo is not None:
            self._soon.start()
        else:
            self._soon.stop()

    def _begin(self) -> None:
        photo, places = self._following
        if photo is not None:
            self._pool.submit(self._prepare, self._wanted, photo, places)

    def _prepare(self, number: int, photo: Path, places: tuple[PlaceMarked | None, ...]) -> None:
        try:
            worker = self._made(number, photo, places)
        except (OSError, ValueError) as error:
            self.told.emit(LiveTold(False, f"The as-found photo cannot be read: {error}"))
            return
        except Exception:
            log.exception("a live comparison could not be prepared")
            return
        with self._lock:
            if number != self._wanted:
                return
            self._worker = worker
        worker.start()

    def _made(self, number: int, photo: Path, places: tuple[PlaceMarked | None, ...]) -> ComparisonWorker:
        from benchguide.camera.compare_live import ComparisonWorker, LiveComparison
        from benchguide.camera.encode import scaled
        from benchguide.camera.laid_picture import see_through
        from benchguide.camera.photo_file import read_kept

        found = read_kept(photo)
        small = scaled(found, SHOWN_PX, SHOWN_PX)
        factor = small.shape[1] / found.shape[1]
        live = LiveComparison(found, places=places_of(places))
        size = (found.shape[1], found.shape[0])
        small = see_through(small)

        def tell(said: Comparison, frame: Any) -> None:
            if number == self._wanted:
                self.told.emit(_told(said, frame, small, factor, size))

        return ComparisonWorker(live, tell, at_most=AT_MOST)

    def on_frame(self, frame: Frame) -> None:
        """Called in the camera's thread; returns at once."""
        worker = self._worker
        if worker is not None and not self.resting():
            worker.offer(frame.image)

    def close(self) -> None:
        """End all threads."""
        self.follow(None)
        self._pool.shutdown(wait=True)


def _told(said: Comparison, frame: Any, small: Any, factor: float, found: tuple[int, int]) -> LiveTold:
    if not said.aligned:
        return LiveTold(False, said.reason)
    from benchguide.camera.laid_picture import laid_picture

    height, width = frame.shape[:2]
    shown = [
        Outlined(number, _shares(d.box, width, height), _shares(d.found, *found), d.hint)
        for number, d in enumerate(differences_of(said)[:MOST_SHOWN], start=1)
    ]
    picture = laid_picture(small, said.homography, factor, (width, height), min(SHOWN_PX, width))
    return LiveTold(
        True, "", tuple(shown), image_of(picture), _plane(said.homography, found, (width, height))
    )


def _plane(homography: Any, found: tuple[int, int], live: tuple[int, int]) -> tuple[float, ...]:
    """A homography between pixels as one between shares."""
    import numpy as np

    to_pixels, to_shares = np.diag([*found, 1.0]), np.diag([1 / live[0], 1 / live[1], 1.0])
    return tuple(float(value) for value in (to_shares @ homography @ to_pixels).ravel())


def image_of(picture: Any) -> QImage:
    """A QImage of its own from (h, w, 4) uint8 blue, green, red, alpha, the colours multiplied by alpha."""
    height, width = picture.shape[:2]
    image = QImage(picture.data, width, height, picture.strides[0], QImage.Format.Format_ARGB32_Premultiplied)
    return image.copy()


def _shares(box: tuple[int, int, int, int], width: int, height: int) -> QRectF:
    return QRectF(box[0] / width, box[1] / height, box[2] / width, box[3] / height)
