"""The words of one step, laid out and drawn as one picture: instruction, parts, tool, key point and reason.

Kept and made ahead as `Kept` pictures: a dozen labels would each be measured, arranged and painted at every step.
It shows the words it is given, as plain text, and never cuts them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from PySide6.QtCore import QEvent, QPoint, QRect, QSize, QSizeF, Qt
from PySide6.QtGui import QFont, QPainter, QPaintEvent, QPixmap
from PySide6.QtWidgets import QLabel, QSizePolicy, QStyle, QStyleOption, QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.themed import Painted, label

#: texts that are kept drawn, and those that are kept measured: a text is asked for at two widths, with and without
#: a scroll bar
MOST_DRAWN, MOST_MEASURED = 6, 64
NOTES = (("key_point", "Key point"), ("reason", "Why"))
#: looks of the texts, by what they say
ROLES = {"text": "instruction", "parts": "strong", "moved": "strong", "laid": "soft", "tool": "chip"}
_LINE = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
_WRAPPED = _LINE | int(Qt.TextFlag.TextWordWrap)


@dataclass(frozen=True, slots=True)
class StepWords:
    """All that is said of a step; an empty text takes no room."""

    text: str = ""
    parts: str = ""
    moved: str = ""
    laid: str = ""
    tool: str = ""
    key_point: str = ""
    reason: str = ""


class Piece(NamedTuple):
    """One text at its place, in pixels from the left upper corner."""

    name: str
    role: str
    text: str
    place: QRect


class Block:
    """One of the texts in view, for whoever asks what is shown and where."""

    def __init__(self, page: "StepText", name: str) -> None:
        self._page, self._name = page, name

    def text(self) -> str:
        """The words."""
        return str(getattr(self._page.words, self._name))

    def isHidden(self) -> bool:
        """True when there is nothing to say."""
        return not self.text()

    def isVisible(self) -> bool:
        """True when it can be read on the screen."""
        return bool(self.text()) and self._page.isVisible()

    def font(self) -> QFont:
        """The type it is set in."""
        return self._page.font_of(ROLES.get(self._name, ""))

    def place_in(self, widget: QWidget) -> QRect:
        """Where it stands in a widget around it, in pixels; empty when hidden."""
        for piece in self._page.pieces:
            if piece.name == self._name:
                return piece.place.translated(self._page.mapTo(widget, QPoint(0, 0)))
        return QRect()


class StepText(Painted):
    """The words of a step."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Words of the step", parent)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.words = StepWords()
        self._drawn = Kept(MOST_DRAWN)
        self._measured: dict[tuple[StepWords, int], tuple[tuple[Piece, ...], int]] = {}
        # never shown: the sheet dresses them, and their type, room and frame are those of any label
        self._dressed: dict[str, QLabel] = {}

    def restyle(self) -> None:
        """Other colours or sizes: everything is measured and drawn anew."""
        self._measured.clear()
        self._drawn.clear()

    def changeEvent(self, event: QEvent) -> None:
        """A new sheet may bring other type."""
        if event.type() in (QEvent.Type.StyleChange, QEvent.Type.FontChange, QEvent.Type.PaletteChange):
            self.restyle()
        super().changeEvent(event)

    def show_words(self, words: StepWords) -> None:
        """Show these."""
        if words == self.words:
            return
        self.words = words
        self.updateGeometry()
        said = (words.text, words.parts, words.moved, words.laid, words.tool, words.key_point, words.reason)
        self.setAccessibleDescription("\n".join(each for each in said if each))
        self.update()

    def prepare(self, words: StepWords, width: int) -> Iterator[None]:
        """Measure and draw these ahead of time as they will look `width` pixels wide, in two turns."""
        self._room(words, width)
        yield
        self._picture(words, width)
        yield

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """What is shown now, and where."""
        return self._room(self.words, self.width())[0]

    def font_of(self, role: str) -> QFont:
        """The type of texts of a role."""
        return self._like(role).font()

    # -- room

    def _like(self, role: str) -> QLabel:
        made = self._dressed.get(role)
        if made is None:
            wrap = role not in ("chip", "title")
            made = self._dressed[role] = label("", "soft" if role == "title" else role, wrap)
            made.setParent(self)
            made.hide()
        made.ensurePolished()
        return made

    def _high(self, role: str, text: str, width: int) -> int:
        like = self._like(role)
        like.setText(text)
        return like.heightForWidth(width)

    def _wide(self, role: str, text: str) -> QSize:
        like = self._like(role)
        like.setText(text)
        return like.sizeHint()

    def _room(self, words: StepWords, width: int) -> tuple[tuple[Piece, ...], int]:
        """The pieces at this width, and how high they are together."""
        key = (words, width)
        found = self._measured.get(key)
        if found is None:
            while len(self._measured) >= MOST_MEASURED:
                del self._measured[next(iter(self._measured))]
            found = self._measured[key] = self._measure(words, width)
        return found

    def _measure(self, words: StepWords, width: int) -> tuple[tuple[Piece, ...], int]:
        gap, top, pieces = self.theme.sizes.gap, 0, []
        for name in ("text", "parts", "moved", "laid"):
            text = getattr(words, name)
            # the instruction stands there even when it is empty
            if text or name == "text":
                high = self._high(ROLES[name], text, width)
                pieces.append(Piece(name, ROLES[name], text, QRect(0, top, width, high)))
                top += high + gap
        if words.tool:
            size = self._wide("chip", words.tool)
            pieces.append(Piece("tool", "chip", words.tool, QRect(QPoint(0, top), size)))
            top += size.height() + gap
        notes, below = self._measure_notes(words, width, top)
        return (*pieces, *notes), below - gap

    def _measure_notes(self, words: StepWords, width: int, top: int) -> tuple[list[Piece], int]:
        """Two columns: titles, and beside them the texts."""
        gap, pieces = self.theme.sizes.gap, []
        said = [(name, title, text) for name, title in NOTES if (text := getattr(words, name))]
        if not said:
            return [], top
        sizes = [self._wide("title", title) for _name, title, _text in said]
        left = max(size.width() for size in sizes) + 2 * gap
        for (name, title, text), size in zip(said, sizes, strict=True):
            high = self._high("", text, max(0, width - left))
            pieces.append(Piece("", "title", title, QRect(QPoint(0, top), size)))
            pieces.append(Piece(name, "", text, QRect(left, top, max(0, width - left), high)))
            top += max(high, size.height()) + gap // 2
        return pieces, top - gap // 2 + gap

    def hasHeightForWidth(self) -> bool:
        """True: the text wraps."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height in pixels that all the words need at this width."""
        return self._room(self.words, width)[1]

    def sizeHint(self) -> QSize:
        """As wide as it is now."""
        width = max(1, self.width())
        return QSize(width, self.heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        """The tool is not wrapped."""
        return QSize(self._wide("chip", self.words.tool).width() if self.words.tool else 0, 0)

    # -- painting

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Lay down the picture of these words."""
        QPainter(self).drawPixmap(0, 0, self._picture(self.words, self.width()))

    def _picture(self, words: StepWords, width: int) -> QPixmap:
        pieces, high = self._room(words, width)

        def draw(painter: QPainter) -> None:
            for piece in pieces:
                self._draw(painter, piece)

        size, ratio = QSizeF(max(1, width), max(1, high)), self.devicePixelRatioF()
        return self._drawn.picture((words, width, ratio), size, ratio, self.ground, draw)

    def _draw(self, painter: QPainter, piece: Piece) -> None:
        like, place = self._like(piece.role), piece.place
        inside = place
        if piece.role == "chip":
            like.resize(place.size())
            option = QStyleOption()
            option.initFrom(like)
            option.rect = like.rect()
            painter.save()
            painter.translate(place.topLeft())
            like.style().drawPrimitive(QStyle.PrimitiveElement.PE_Widget, option, painter, like)
            painter.restore()
            # a framed label sets its text in by half an x
            inset = like.fontMetrics().horizontalAdvance("x") // 2 if like.frameWidth() else 0
            inside = like.contentsRect().translated(place.topLeft()).adjusted(inset, 0, 0, 0)
        painter.setFont(like.font())
        painter.setPen(like.palette().color(like.foregroundRole()))
        painter.drawText(inside, _LINE if piece.role in ("chip", "title") else _WRAPPED, piece.text)
