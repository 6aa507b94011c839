"""Small and large pictures of kept photos for the records room, loaded only for what is on the screen.

Never reads a picture in the window's thread. Originals are only read.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from PySide6.QtCore import QObject, QSize, Qt, Signal
from PySide6.QtGui import QImage, QImageReader, QPixmap

from benchguide.store.problems import StoreProblem
from benchguide.window.records_background import Background

#: pictures kept in memory; a page of thumbnails is far fewer
MOST_KEPT = 300
MOST_MEGABYTES = 512
#: up to this size the store's small copies are used
MOST_SMALL_PX = 512


class ShelfLike(Protocol):
    """The part of the photo store used here."""

    def path(self, sha256: str, /) -> Path: ...

    def thumbnail(self, sha256: str, px: int, /) -> Path: ...


class Thumbs(QObject):
    """`picture(sha, px)` gives a pixmap at once or None and emits `arrived(sha)` when it is there.

    A photo that cannot be shown arrives too; `trouble(sha)` then says why in one sentence.
    """

    arrived = Signal(str)

    def __init__(self, shelf: ShelfLike, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._shelf = shelf
        self._kept: OrderedDict[tuple[str, int], QPixmap] = OrderedDict()
        self._troubles: dict[str, str] = {}
        self._background = Background("thumbnails", self)
        self._background.ready.connect(self._take)

    def picture(self, sha256: str, px: int) -> QPixmap | None:
        """At most `px` device pixels wide and high."""
        key = (sha256, px)
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        if sha256 not in self._troubles:
            self._background.ask(key, lambda: self._load(sha256, px))
        return None

    def trouble(self, sha256: str) -> str:
        """Why this photo cannot be shown; empty while it can."""
        return self._troubles.get(sha256, "")

    @property
    def loaded(self) -> int:
        """How many pictures are in memory."""
        return len(self._kept)

    def forget(self) -> None:
        """Drop what is waiting: the page was left."""
        self._background.forget()

    def stop(self) -> None:
        """End the thread."""
        self._background.stop()

    def ender(self) -> Callable[[], None]:
        """The same as `stop`, callable also when this object is gone."""
        return self._background.ender()

    def _load(self, sha256: str, px: int) -> QImage:
        """Runs in the thread. Raises StoreProblem, ValueError."""
        path = self._file(sha256, px)
        reader = QImageReader(str(path), b"jpg")
        reader.setAutoTransform(True)
        reader.setAllocationLimit(MOST_MEGABYTES)
        size = reader.size()
        if size.isValid() and max(size.width(), size.height()) > px:
            reader.setScaledSize(size.scaled(QSize(px, px), Qt.AspectRatioMode.KeepAspectRatio))
        image = reader.read()
        if image.isNull():
            raise StoreProblem("The photo is damaged and cannot be shown; restore it from a backup.")
        return image

    def _file(self, sha256: str, px: int) -> Path:
        """The small copy if one is enough and can be kept, else the original. Raises StoreProblem."""
        path = self._shelf.path(sha256)
        if not path.exists():
            raise StoreProblem("The photo is missing from the photo folder; restore it from a backup.")
        if px <= MOST_SMALL_PX:
            try:
                return self._shelf.thumbnail(sha256, px)
            except StoreProblem:
                pass  # a read-only folder holds no small copies; a damaged photo is found below
        return path

    def _take(self, key: tuple[str, int], result: object) -> None:
        sha256 = key[0]
        if isinstance(result, QImage):
            self._kept[key] = QPixmap.fromImage(result)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        else:
            self._troubles[sha256] = str(result) or "The photo cannot be shown."
        self.arrived.emit(sha256)
