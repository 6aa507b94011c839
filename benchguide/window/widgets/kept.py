"""Pictures of what a widget draws, kept for the next time it looks the same. They draw nothing by themselves.

Most of what changes on the bench changes back or was foreseen: then the widget only lays its picture down.
"""

from collections.abc import Callable, Hashable

from PySide6.QtCore import QSizeF, Qt
from PySide6.QtGui import QColor, QPainter, QPixmap


class Kept:
    """The newest pictures of one widget. Which looks there are, and when they no longer hold, is its business."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._pictures: dict[Hashable, QPixmap] = {}

    def __contains__(self, key: Hashable) -> bool:
        return key in self._pictures

    def clear(self) -> None:
        """Other colours or sizes: nothing holds any more."""
        self._pictures.clear()

    def picture(
        self,
        key: Hashable,
        size: QSizeF,
        ratio: float,
        ground: QColor | None,
        draw: Callable[[QPainter], None],
    ) -> QPixmap:
        """The picture of this look, drawn now if it is not kept. `size` in device-independent pixels, `ratio` the
        pixels of the screen to one of them, `ground` None where what lies behind shows through."""
        kept = self._pictures.pop(key, None)
        if kept is None:
            kept = QPixmap((size * ratio).toSize())
            kept.setDevicePixelRatio(ratio)
            kept.fill(Qt.GlobalColor.transparent if ground is None else ground)
            painter = QPainter(kept)
            draw(painter)
            painter.end()
            while len(self._pictures) >= self._most:
                del self._pictures[next(iter(self._pictures))]
        # the newest stands last
        self._pictures[key] = kept
        return kept
