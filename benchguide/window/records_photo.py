"""One photo of a record, as large as the room allows, inside the window. Left and Right turn the pages, plus and
minus look closer and wider, 0 fits the photo in, T flips to the photo it was compared with, Escape goes back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from PySide6.QtCore import QPointF, QRectF, QSize, QSizeF, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF, QMouseEvent, QPainter, QPen, QWheelEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from benchguide.window.records_pair import Outline, Paired, words_of
from benchguide.window.records_rows import Row
from benchguide.window.records_thumbs import Thumbs
from benchguide.window.records_words import COMPARED
from benchguide.window.theme import Theme
from benchguide.window.widgets.themed import label

ZOOM_STEP = 1.5
MOST_ZOOM = 12.0
#: a photo is read at most this large
MOST_PX = 6400
#: which way Shift and an arrow look, in shares of what is in view
PANS = {
    Qt.Key.Key_Left: (-0.25, 0.0),
    Qt.Key.Key_Right: (0.25, 0.0),
    Qt.Key.Key_Up: (0.0, -0.25),
    Qt.Key.Key_Down: (0.0, 0.25),
}


class PhotoPage(QWidget):
    """Shows one of several photos. `left` is emitted when the person goes back to the record."""

    left = Signal()

    def __init__(self, theme: Theme, thumbs: Thumbs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._rows: list[Row] = []
        self._number = 0
        self._pairs: Mapping[str, Paired] = {}
        self._pair: Paired | None = None
        self.picture = _Picture(theme, thumbs, self)
        self.words: QLabel = label("", "strong", wrap=True)
        self.about: QLabel = label("", "", wrap=True)
        self.back = _button("Record", "Esc", self.left.emit, "Back to the record")
        self.previous = _button("Previous", "Left", lambda: self.turn(-1), "Previous photo")
        self.next = _button("Next", "Right", lambda: self.turn(1), "Next photo")
        self.closer = _button("Closer", "+", lambda: self.picture.zoom(ZOOM_STEP), "Look closer")
        self.wider = _button("Wider", "-", lambda: self.picture.zoom(1 / ZOOM_STEP), "Look wider")
        self.fit = _button("Fit", "0", self.picture.fit, "Fit the photo in")
        self.other = _button("Flip", "T", self.flip, "Flip to the photo it was compared with")
        bar = QHBoxLayout()
        for button in (
            self.back,
            self.previous,
            self.next,
            self.closer,
            self.wider,
            self.fit,
        ):
            bar.addWidget(button)
        bar.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        head = QHBoxLayout()
        head.addWidget(self.words, 1)
        head.addWidget(self.other, 0, Qt.AlignmentFlag.AlignTop)
        self.other.hide()
        layout.addLayout(head)
        layout.addWidget(self.about)
        layout.addWidget(self.picture, 1)
        layout.addLayout(bar)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Photo")

    def show_photo(self, rows: Sequence[Row], sha256: str, pairs: Mapping[str, Paired] | None = None) -> None:
        """Show this photo; the others are reached with Left and Right, its partner of a comparison with T."""
        self._rows = list(rows)
        self._pairs = pairs or {}
        self._number = next((n for n, row in enumerate(rows) if row.photo == sha256), 0)
        self._renew()

    @property
    def sha256(self) -> str:
        """The photo in view."""
        return self._rows[self._number].photo if self._rows else ""

    def flip(self) -> None:
        """Show the photo this one was compared with, as closely as this one."""
        pair, here = self._pair, self.sha256
        number = next((n for n, row in enumerate(self._rows) if pair and row.photo == pair.other), None)
        if pair is not None and number is not None:
            # the same pair from the other side: an as-found photo may belong to several
            self._number = number
            self._renew(pair.turned(here), fit=False)

    def turn(self, by: int) -> None:
        """Go on by so many photos; stays at the ends."""
        self._number = min(max(0, self._number + by), max(0, len(self._rows) - 1))
        self._renew()

    def _renew(self, pair: Paired | None = None, fit: bool = True) -> None:
        if not self._rows:
            return
        row = self._rows[self._number]
        place = f"{self._number + 1} of {len(self._rows)}"
        self._pair = pair = pair or self._pairs.get(row.photo)
        self.words.setText(f"{row.strong} · {row.right or row.lead} · {place}")
        about = [words_of(pair)] if pair else []
        about += [words for words in row.soft if not (pair and words.startswith(COMPARED))]
        self.about.setText(" ".join(about))
        self.other.setVisible(pair is not None)
        if pair is not None:
            self.other.setText(f"Flip to {self._purpose_of(pair.other)}  [T]")
        self.previous.setEnabled(self._number > 0)
        self.next.setEnabled(self._number + 1 < len(self._rows))
        self.picture.setAccessibleName(f"Photo {place}: {row.spoken}")
        self.picture.show_photo(row.photo, pair.outlines if pair else (), fit)

    def _purpose_of(self, sha256: str) -> str:
        """As-found or as-left, as its row calls it."""
        row = next((row for row in self._rows if row.photo == sha256), None)
        return "as-left" if row and "as-left" in row.strong else "as-found"

    def keyPressEvent(self, event: Any) -> None:
        """Left, Right, Home, End, Escape; plus, minus and 0; Shift with an arrow moves what is looked at closely."""
        key = event.key()
        if event.modifiers() & Qt.KeyboardModifier.ShiftModifier and key in PANS:
            self.picture.pan(*PANS[key])
            return
        zooms = {Qt.Key.Key_Plus: ZOOM_STEP, Qt.Key.Key_Equal: ZOOM_STEP, Qt.Key.Key_Minus: 1 / ZOOM_STEP}
        if key in zooms:
            self.picture.zoom(zooms[key])
            return
        if key == Qt.Key.Key_0:
            self.picture.fit()
            return
        if key == Qt.Key.Key_T:
            self.flip()
            return
        moves = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_Home: -(10**6), Qt.Key.Key_End: 10**6}
        if key in moves:
            self.turn(moves[key])
        elif key in (Qt.Key.Key_Escape, Qt.Key.Key_Backspace):
            self.left.emit()
        else:
            super().keyPressEvent(event)


def _button(text: str, key: str, then: Any, name: str) -> QPushButton:
    """A button that leaves the arrow keys to the page."""
    button = QPushButton(f"{text}  [{key}]")
    button.setAccessibleName(name)
    button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    button.clicked.connect(lambda _checked=False: then())
    return button


class _Picture(QWidget):
    """The photo, fitted or looked at more closely; black around it. Dragging moves it, the wheel changes the size."""

    def __init__(self, theme: Theme, thumbs: Thumbs, parent: QWidget) -> None:
        super().__init__(parent)
        self._theme, self._thumbs, self._sha256 = theme, thumbs, ""
        self._outlines: tuple[Outline, ...] = ()
        self.factor = 1.0
        """How much larger than fitted; 1 is fitted."""
        self.middle = QPointF(0.5, 0.5)
        """The point of the photo that is in the middle, as shares of its sides."""
        self._dragged: QPointF | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        thumbs.arrived.connect(lambda _sha: self.update())

    def show_photo(self, sha256: str, outlines: Sequence[Outline] = (), fit: bool = True) -> None:
        if sha256 != self._sha256 and fit:
            self.fit()
        self._sha256, self._outlines = sha256, tuple(outlines)
        self.update()

    def fit(self) -> None:
        """The whole photo."""
        self.factor, self.middle = 1.0, QPointF(0.5, 0.5)
        self.update()

    def zoom(self, by: float) -> None:
        """Look closer (more than 1) or wider."""
        self.factor = min(MOST_ZOOM, max(1.0, self.factor * by))
        self._keep_inside()

    def pan(self, right: float, down: float) -> None:
        """Look further right and down, in shares of what is in view."""
        self.middle += QPointF(right, down) / self.factor
        self._keep_inside()

    def _keep_inside(self) -> None:
        half = 0.5 / self.factor
        self.middle = QPointF(
            min(1 - half, max(half, self.middle.x())), min(1 - half, max(half, self.middle.y()))
        )
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(640, 360)

    def wheelEvent(self, event: QWheelEvent) -> None:
        self.zoom(ZOOM_STEP if event.angleDelta().y() > 0 else 1 / ZOOM_STEP)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._dragged = event.position()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._dragged is not None and self.width() and self.height():
            moved = event.position() - self._dragged
            self._dragged = event.position()
            self.pan(-moved.x() / self.width(), -moved.y() / self.height())

    def mouseReleaseEvent(self, _event: QMouseEvent) -> None:
        self._dragged = None

    def _size(self, factor: float) -> int:
        """Pixels at which the photo is read: in steps, so that resizing the window does not read it anew each time."""
        wanted = round(max(self.width(), self.height()) * self.devicePixelRatioF() * factor)
        return min(MOST_PX, max(640, -(-wanted // 640) * 640))

    def paintEvent(self, _event: object) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self._theme.colour("picture"))
        if not self._sha256:
            return
        pixmap = self._thumbs.picture(self._sha256, self._size(self.factor))
        if pixmap is None and self.factor > 1:
            # until the larger one has been read
            pixmap = self._thumbs.picture(self._sha256, self._size(1.0))
        if pixmap is None:
            painter.setPen(self._theme.colour("picture_ink"))
            painter.setFont(self._theme.font())
            words = self._thumbs.trouble(self._sha256) or "Loading the photo"
            flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
            painter.drawText(self.rect().adjusted(20, 20, -20, -20), flags, words)
            return
        size = QSizeF(pixmap.size().scaled(self.size(), Qt.AspectRatioMode.KeepAspectRatio)) * self.factor
        corner = QRectF(self.rect()).center() - QPointF(
            size.width() * self.middle.x(), size.height() * self.middle.y()
        )
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawPixmap(QRectF(corner, size), pixmap, QRectF(pixmap.rect()))
        for outline in self._outlines:
            self._paint_outline(painter, QRectF(corner, size), outline)

    def _paint_outline(self, painter: QPainter, photo: QRectF, outline: Outline) -> None:
        """A numbered box, a little outside the place."""
        x, y, w, h = outline.box
        stroke = max(2, self._theme.sizes.stroke)
        box = QRectF(
            photo.left() + x * photo.width(),
            photo.top() + y * photo.height(),
            w * photo.width(),
            h * photo.height(),
        ).adjusted(-2 * stroke, -2 * stroke, 2 * stroke, 2 * stroke)
        violet = QColor.fromHslF(self._theme.colour("accent").hueF(), 0.6, 0.42)
        for colour, width in ((QColor("white"), 3.0 * stroke), (violet, 1.6 * stroke)):
            painter.setPen(QPen(colour, width))
            painter.drawRect(box)
        painter.setFont(self._theme.font(bold=True))
        metrics = QFontMetricsF(painter.font())
        number = str(outline.number)
        plate = QRectF(0, 0, metrics.horizontalAdvance(number) + self._theme.sizes.gap, metrics.height())
        plate.moveBottomLeft(box.topLeft())
        painter.fillRect(plate, violet)
        painter.setPen(QColor("white"))
        painter.drawText(plate, int(Qt.AlignmentFlag.AlignCenter), number)
