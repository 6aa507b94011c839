"""A caution as the standards draw it: signal word panel with safety alert symbol, and the message under it.

ANSI Z535.4 / ISO 3864-2: the symbol stands before DANGER, WARNING and CAUTION and never before NOTICE.
This is the only widget that uses the safety colours.
"""

from PySide6.QtCore import QRectF, QSize, QSizeF, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPainterPath, QPen, QPixmap
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchguide.procedure.words import SignalWord
from benchguide.window.theme import Theme
from benchguide.window.widgets import shapes
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.themed import Painted, wrap_flags, wrapped

#: cautions of one panel that are kept drawn: a person goes back and forth
MOST_KEPT = 4


class CautionPanel(Painted):
    """One caution; grows with its text, never cuts it."""

    def __init__(self, theme: Theme, word: SignalWord, text: str, parent: QWidget | None = None) -> None:
        super().__init__(theme, "", parent)
        self._kept = Kept(MOST_KEPT)
        self.word, self.text = word, ""
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.set_caution(word, text)

    @property
    def has_symbol(self) -> bool:
        """True when the safety alert symbol is drawn."""
        return self.word is not SignalWord.NOTICE

    def set_caution(self, word: SignalWord, text: str) -> None:
        """Show this caution."""
        if (word, text) == (self.word, self.text) and self.accessibleName():
            return
        self.word, self.text = SignalWord(word), text
        self.setAccessibleName(f"{self.word.value}: {text}")
        self.updateGeometry()
        self.update()

    def _band(self) -> float:
        return QFontMetricsF(self.theme.font("heading", bold=True)).height() * 1.3

    def heightForWidth(self, width: int) -> int:
        """Height in pixels that the whole text needs at this width."""
        return self._height(self.text, width)

    def _height(self, text: str, width: int) -> int:
        gap = self.theme.sizes.gap
        room = wrapped(self.theme.font("heading-text"), text, width - 4 * gap)
        return round(self._band()) + room.height() + 2 * gap

    def hasHeightForWidth(self) -> bool:
        """True: the text wraps."""
        return True

    def sizeHint(self) -> QSize:
        """A sensible width and the height that goes with it."""
        width = round(self.theme.sizes.body_px * 26)
        return QSize(width, self.heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        """Wide enough for the longest signal word."""
        return QSize(round(self.theme.sizes.body_px * 12), round(self._band() * 2))

    def paintEvent(self, _event: object) -> None:
        """Lay down the picture of this caution."""
        QPainter(self).drawPixmap(0, 0, self._picture(self.word, self.text, self.size()))

    def prepare(self, word: SignalWord, text: str, width: int) -> None:
        """Draw ahead of time how this caution will look."""
        self._picture(word, text, QSize(width, self._height(text, width)))

    def _picture(self, word: SignalWord, text: str, size: QSize) -> QPixmap:
        key = (size.width(), size.height(), self.devicePixelRatioF(), word, text, self.theme)

        def draw(painter: QPainter) -> None:
            self._draw(painter, word, text, QRectF(0, 0, size.width(), size.height()))

        return self._kept.picture(key, QSizeF(size), self.devicePixelRatioF(), self.ground, draw)

    def _draw(self, painter: QPainter, word: SignalWord, text: str, whole: QRectF) -> None:
        ground, ink = self.theme.signal(word)
        s = self.theme.sizes
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        half = s.stroke / 2
        box = whole.adjusted(half, half, -half, -half)
        shape = QPainterPath()
        shape.addRoundedRect(box, s.radius, s.radius)
        band = QRectF(box.left(), box.top(), box.width(), self._band())
        painter.setClipPath(shape)
        painter.fillRect(box, self.theme.colour("panel"))
        painter.fillRect(band, ground)
        painter.setClipping(False)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(ground, s.stroke))
        painter.drawPath(shape)
        left = band.left() + 2 * s.gap
        if word is not SignalWord.NOTICE:
            side = band.height() * 0.72
            shapes.alert(painter, QRectF(left, band.center().y() - side / 2, side, side), ink, ground)
            left += side + s.gap
        painter.setPen(ink)
        painter.setFont(self.theme.font("heading", bold=True))
        painter.drawText(
            QRectF(left, band.top(), band.right() - left, band.height()),
            int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft),
            word.value,
        )
        painter.setPen(self.theme.colour("ink"))
        painter.setFont(self.theme.font("heading-text"))
        painter.drawText(
            QRectF(2 * s.gap, band.bottom() + s.gap * 0.8, box.width() - 4 * s.gap + 1, 1e5),
            wrap_flags(),
            text,
        )
