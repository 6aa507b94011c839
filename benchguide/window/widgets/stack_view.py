"""The stack of what is out of the device; what came out last lies on top and goes back first.

It shows the ledger and changes nothing.
"""

from collections.abc import Iterator, Sequence

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize, QSizeF, Qt, Signal
from PySide6.QtGui import QPainter, QPen, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QListWidget,
    QListWidgetItem,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QVBoxLayout,
    QWidget,
)

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.words import PartKind
from benchguide.session.ledger import Ledger, OutItem
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets import shapes
from benchguide.window.widgets.kept import Kept
from benchguide.window.widgets.themed import Panel, label, wrap_flags, wrapped

_ROW = int(Qt.ItemDataRole.UserRole)
AnyIndex = QModelIndex | QPersistentModelIndex
#: Width of the text of a row, and its lines: words, bold or not, colour, height when wrapped.
Words = tuple[int, list[tuple[str, bool, str, int]]]
#: What is out, its kind and name, and whether it goes back first.
Shape = tuple[OutItem, PartKind, str, bool]
#: Rows that are kept drawn.
MOST_KEPT = 64


def where_words(item: OutItem, kind: PartKind) -> str:
    """Where a thing that is out lies now."""
    if item.cell:
        return f"mat cell {item.cell}"
    return "open, still in place" if kind is PartKind.CONNECTOR else "no mat cell"


class _List(QListWidget):
    """A list whose rows wrap anew when its width changes, also when only the scroll bar came or went."""

    resized = Signal()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.resized.emit()
        self.scheduleDelayedItemsLayout()


class _Rows(QStyledItemDelegate):
    """Draws one thing that is out: shape of its kind, pieces and name, where it lies."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.theme = theme
        self.kept = Kept(MOST_KEPT)

    def _icon(self) -> int:
        return round(self.theme.sizes.body_px * 1.2)

    def _words(self, shape: Shape, width: int) -> Words:
        """Width of the text, and its lines: words, bold or not, colour, height when wrapped."""
        item, kind, name, first = shape
        room = max(1, width - self._icon() - 3 * self.theme.sizes.gap)
        title = f"{item.pieces} × {name}" if item.pieces > 1 else name
        lines = [(title, True, "ink"), (where_words(item, kind), False, "soft_ink")]
        if first:
            lines.insert(0, ("goes back first", True, "accent"))
        return room, [
            (words, bold, colour, wrapped(self.theme.font(bold=bold), words, room).height())
            for words, bold, colour in lines
        ]

    def size(self, shape: Shape, width: int) -> QSize:
        """Room for the whole name, wrapped."""
        _room, lines = self._words(shape, width)
        return QSize(width, round(sum(line[3] for line in lines) + 2.4 * self.theme.sizes.gap))

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: AnyIndex) -> None:
        """Lay down the picture of the row."""
        rect = option.rect
        picture = self.picture(index.data(_ROW), rect.size(), painter.device().devicePixelRatioF())
        painter.drawPixmap(rect.topLeft(), picture)

    def picture(self, shape: Shape, size: QSize, ratio: float) -> QPixmap:
        """The row of this shape and size in pixels."""
        item, kind, name, first = shape
        key = (item.pieces, kind, name, item.cell, first, size.width(), size.height(), ratio)

        def draw(fresh: QPainter) -> None:
            whole = QRectF(0, 0, size.width(), size.height())
            self._draw(fresh, whole, kind, first, self._words(shape, size.width()))

        # nothing but the colour of the panel lies behind the list
        return self.kept.picture(key, QSizeF(size), ratio, self.theme.colour("panel"), draw)

    def _draw(self, painter: QPainter, whole: QRectF, kind: PartKind, first: bool, words: Words) -> None:
        """Draw a row; the first is framed and says so in words."""
        s = self.theme.sizes
        rect = whole.adjusted(0, 0, 0, -s.gap * 0.6)
        room, lines = words
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        width = s.stroke * (2 if first else 1)
        painter.setPen(QPen(self.theme.colour("accent" if first else "line"), width))
        painter.setBrush(self.theme.colour("tint" if first else "raised"))
        inset = width / 2
        painter.drawRoundedRect(rect.adjusted(inset, inset, -inset, -inset), s.radius, s.radius)
        icon = self._icon()
        painter.setPen(QPen(self.theme.colour("ink"), s.stroke))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        glyph = QRectF(rect.left() + s.gap, rect.center().y() - icon / 2, icon, icon)
        painter.drawPath(shapes.kind_path(kind, glyph))
        left, top = rect.left() + icon + 2 * s.gap, rect.top() + s.gap * 0.9
        for text, bold, colour, height in lines:
            painter.setFont(self.theme.font(bold=bold))
            painter.setPen(self.theme.colour(colour))
            painter.drawText(QRectF(left, top, room + 1, height + 1), wrap_flags(), text)
            top += height


class StackView(Panel):
    """What is out, top item first."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Out of the device", parent)
        self.title = label("Out of the device", "heading", wrap=True)
        self.count = label("", "soft", wrap=True)
        self.list = _List()
        self.list.setFrameShape(QFrame.Shape.NoFrame)
        set_role(self.list, "bare")
        self.list.setAccessibleName("Stack of what is out, top goes back first")
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.list.setResizeMode(QListWidget.ResizeMode.Adjust)
        self.list.setSelectionMode(QListWidget.SelectionMode.NoSelection)
        self._delegate = _Rows(theme)
        self.list.setItemDelegate(self._delegate)
        self.list.resized.connect(self._measure)
        self._box = QVBoxLayout(self)
        self._box.addWidget(self.title)
        self._box.addWidget(self.count)
        self._box.addWidget(self.list, 1)
        self._shown: tuple[OutItem, ...] | None = None
        self._extras: dict[str, str] = {}
        self.restyle()

    def restyle(self) -> None:
        """Spacing and rows follow the sizes."""
        gap = self.theme.sizes.gap
        self._delegate.theme = self.theme
        self._delegate.kept.clear()
        self._measure()
        self._box.setContentsMargins(round(1.5 * gap), round(1.5 * gap), round(1.5 * gap), gap)
        self._box.setSpacing(gap)
        self.list.doItemsLayout()

    def sizeHint(self) -> QSize:
        """Wide enough for a usual name in two lines."""
        return QSize(round(self.theme.sizes.body_px * 15), round(self.theme.sizes.body_px * 24))

    def minimumSizeHint(self) -> QSize:
        """Room for one row."""
        return QSize(round(self.theme.sizes.body_px * 12), round(self.theme.sizes.body_px * 10))

    def set_ledger(
        self, ledger: Ledger, device: DeviceMap, top_first: Sequence[OutItem] | None = None
    ) -> None:
        """Show what is out; nothing happens when it is what is shown already. `top_first` is its order, without it
        the last out lies on top. Found items that belong nowhere lie below everything."""
        self._extras = {extra.id: extra.what for extra in ledger.extras}
        order = ledger.out if top_first is None else tuple(reversed(top_first))
        out = (*(OutItem(extra.id, 1, extra.cell, extra.step) for extra in ledger.extras), *order)
        if out == self._shown:
            return
        before, self._shown = self._shown or (), out
        same = 0
        while same < min(len(before), len(out)) and before[same] == out[same]:
            same += 1
        # what came out first lies at the foot of the list and mostly stays there
        while self.list.count() > same:
            self.list.takeItem(0)
        if self.list.count() and len(out) != same:
            self._fill(self.list.item(0), out[same - 1], device, False)
        for number, item in enumerate(out[same:], same + 1):
            self.list.insertItem(0, self._row(item, device, number == len(out)))
        if out and len(out) == same:
            self._fill(self.list.item(0), out[-1], device, True)
        self.list.scrollToTop()
        # now, and not in the round of events after this one, which would paint the whole list a second time
        self.list.executeDelayedItemsLayout()
        self.count.setText(counted(ledger))

    def prepare(self, device: DeviceMap, top_first: Sequence[OutItem]) -> Iterator[None]:
        """Draw ahead of time the rows that look different when this is out: the top one, and the one it covers."""
        width, ratio = self.list.viewport().width(), self.devicePixelRatioF()
        for number, item in enumerate(top_first[:2]):
            shape = self._shape(item, device, number == 0)
            self._delegate.picture(shape, self._delegate.size(shape, width), ratio)
            yield

    @property
    def rows(self) -> tuple[str, ...]:
        """The rows in words, top first."""
        return tuple(self.list.item(i).text() for i in range(self.list.count()))

    def _measure(self) -> None:
        """Every row for the width there is now."""
        width = self.list.viewport().width()
        for row in map(self.list.item, range(self.list.count())):
            row.setSizeHint(self._delegate.size(row.data(_ROW), width))

    def _shape(self, item: OutItem, device: DeviceMap, first: bool) -> Shape:
        part = device.by_id.get(item.part)
        if part is None:
            # a found item: it goes back nowhere
            return item, PartKind.LOOSE, f"Found: {self._extras.get(item.part, item.part)}", False
        return item, part.kind, part.name, first

    def _in_words(self, item: OutItem, device: DeviceMap, first: bool) -> str:
        _item, kind, name, first = self._shape(item, device, first)
        where = where_words(item, kind)
        return f"{item.pieces} × {name}, {where}" + (", goes back first" if first else "")

    def _row(self, item: OutItem, device: DeviceMap, first: bool) -> QListWidgetItem:
        row = QListWidgetItem()
        self._fill(row, item, device, first)
        return row

    def _fill(self, row: QListWidgetItem, item: OutItem, device: DeviceMap, first: bool) -> None:
        """Words, shape and size of a row; told once, as the list asks for all sizes whenever one row comes or goes."""
        shape = self._shape(item, device, first)
        row.setText(self._in_words(item, device, first))
        row.setData(_ROW, shape)
        row.setSizeHint(self._delegate.size(shape, self.list.viewport().width()))


def counted(ledger: Ledger) -> str:
    """How much is out, in words, with what was found beside it."""
    found = len(ledger.extras)
    extra = f"{found} found item" + ("" if found == 1 else "s") if found else ""
    return ", ".join(words for words in (_counted_out(ledger), extra) if words)


def _counted_out(ledger: Ledger) -> str:
    if not ledger.out:
        return "Nothing is out" + ("" if ledger.extras else ".")
    entries = len(ledger.out)
    pieces = "1 piece" if ledger.pieces == 1 else f"{ledger.pieces} pieces"
    if entries == ledger.pieces:
        return pieces
    return f"{pieces}, {entries} " + ("entry" if entries == 1 else "entries")
