"""One page in view out of several, and room for that one alone. Decides nothing about which."""

from PySide6.QtCore import QSize
from PySide6.QtWidgets import QStackedWidget


class Pages(QStackedWidget):
    """A stack that asks for the room of the page in view; Qt's own asks for that of the largest page."""

    def hasHeightForWidth(self) -> bool:
        """No: pages scroll or share what height there is, so that a small window stays small."""
        return False

    def minimumSizeHint(self) -> QSize:
        """That of the page in view."""
        page = self.currentWidget()
        return page.minimumSizeHint() if page else super().minimumSizeHint()
