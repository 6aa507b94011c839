"""A widget that keeps quiet: it asks the layouts around it for other room only when what it holds needs other room.

Qt's own layouts pass on every change of a text up to the window, and each one on the way is arranged anew.
"""

from PySide6.QtCore import QEvent, QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QWidget


class Still(QWidget):
    """Holds one widget, which fills it."""

    def __init__(self, held: QWidget, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        held.setParent(self)
        self.held = held
        self._asked = self._needed()
        self.setSizePolicy(held.sizePolicy())

    def _needed(self) -> tuple[QSize, int]:
        high = self.held.heightForWidth(self.width()) if self.held.hasHeightForWidth() else -1
        return self.minimumSizeHint(), high

    def event(self, event: QEvent) -> bool:
        """Pass a wish for room on when it is another one."""
        if event.type() is QEvent.Type.LayoutRequest:
            needed = self._needed()
            if needed != self._asked:
                self._asked = needed
                self.updateGeometry()
            return True
        return super().event(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """What is held fills all of this."""
        super().resizeEvent(event)
        self.held.setGeometry(self.rect())
        before, self._asked = self._asked, self._needed()
        if self._asked[0] != before[0]:
            # a change that came before the wish for it must not be lost: the layouts keep the old size for good
            self.updateGeometry()

    def sizeHint(self) -> QSize:
        """That of what is held."""
        return self.held.sizeHint()

    def minimumSizeHint(self) -> QSize:
        """That of what is held, or what was set for it."""
        hint, held = self.held.minimumSizeHint(), self.held
        return QSize(held.minimumWidth() or hint.width(), held.minimumHeight() or hint.height())

    def hasHeightForWidth(self) -> bool:
        """As what is held."""
        return self.held.hasHeightForWidth()

    def heightForWidth(self, width: int) -> int:
        """As what is held."""
        return self.held.heightForWidth(width)
