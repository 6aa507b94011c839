"""Lists of the records room as Qt models of plain rows, and how a row is drawn. Reads nothing by itself.

A row is what a reader needs, already in words; whoever reads with a screen reader hears the same as is drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import (
    QAbstractListModel,
    QModelIndex,
    QPersistentModelIndex,
    QPoint,
    QRect,
    QRectF,
    QSize,
    Qt,
)
from PySide6.QtGui import QFontMetrics, QPainter, QPen
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from benchguide.window.records_thumbs import Thumbs
from benchguide.window.theme import Theme

ROW = Qt.ItemDataRole.UserRole
Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, slots=True)
class Row:
    """One row: a strong line with something at its right end, softer lines below, perhaps a photo or a
    bar.
    """

    key: str
    strong: str
    right: str = ""
    soft: tuple[str, ...] = ()
    lead: str = ""
    """Short text before the strong line, in figures of equal width (time, number)."""
    photo: str = ""
    bar: tuple[float, float, float] | None = None
    """Spent, shortest and longest usual time as shares of the widest bar, 0 to 1."""

    @property
    def spoken(self) -> str:
        """The whole row as one text."""
        return ". ".join(part for part in (self.lead, self.strong, self.right, *self.soft) if part)


class RowModel(QAbstractListModel):
    """Rows in a fixed order; `renew` may replace a row when it is looked at."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows: list[Row] = []
        self.looked_at: Callable[[Row], None] | None = None

    def show(self, rows: Sequence[Row]) -> None:
        """Show these rows and no others."""
        self.beginResetModel()
        self.rows = list(rows)
        self.endResetModel()

    def replace(self, key: str, row: Row) -> None:
        """Change the row with this key."""
        for number, old in enumerate(self.rows):
            if old.key == key:
                self.rows[number] = row
                index = self.index(number)
                self.dataChanged.emit(index, index)

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        return 0 if parent.isValid() else len(self.rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        if not index.isValid() or index.row() >= len(self.rows):
            return None
        row = self.rows[index.row()]
        if role == ROW:
            return row
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return row.spoken
        return None


class RowList(QListView):
    """A list of rows by keyboard and pointer: Return or a double click opens, typing finds."""

    def __init__(
        self, theme: Theme, name: str, parent: QWidget | None = None, thumbs: Thumbs | None = None
    ) -> None:
        super().__init__(parent)
        self.rows = RowModel(self)
        self.setModel(self.rows)
        self.setItemDelegate(RowDelegate(theme, self, thumbs))
        self.setAccessibleName(name)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        if thumbs:
            thumbs.arrived.connect(lambda _sha: self.viewport().update())

    def chosen(self) -> Row | None:
        """The row the keyboard is on."""
        row = self.currentIndex().data(ROW)
        return row if isinstance(row, Row) else None

    def show_rows(self, rows: Sequence[Row]) -> None:
        """Show these rows; the one that was chosen stays chosen if it is still there."""
        old = self.chosen()
        self.rows.show(rows)
        number = next((n for n, row in enumerate(rows) if old and row.key == old.key), 0)
        if rows:
            self.setCurrentIndex(self.rows.index(number))

    def resizeEvent(self, event: Any) -> None:
        """Rows wrap anew when the width changes, also when only the scroll bar came or went."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()

    def keyPressEvent(self, event: Any) -> None:
        """Return opens the row; Page Up and Page Down stay in the list."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.currentIndex().isValid():
            self.activated.emit(self.currentIndex())
            return
        super().keyPressEvent(event)


class RowDelegate(QStyledItemDelegate):
    """Draws a row: lead, strong line with its right end, soft lines wrapped, photo at the right, bar
    below.
    """

    def __init__(self, theme: Theme, view: QListView, thumbs: Thumbs | None) -> None:
        super().__init__(view)
        self.theme, self.view, self.thumbs = theme, view, thumbs
        self._bold = QFontMetrics(theme.font(bold=True))
        self._plain = QFontMetrics(theme.font())

    # -- sizes

    @property
    def photo_box(self) -> QSize:
        """Room for a thumbnail in a row."""
        em = self.theme.sizes.body_px
        return QSize(round(em * 7.5), round(em * 4.3))

    def _lead_width(self) -> int:
        leads = [row.lead for row in self.view.model().rows[:400]]  # type: ignore[attr-defined]
        longest = max((self._plain.horizontalAdvance(lead) for lead in leads), default=0)
        return longest + 2 * self.theme.sizes.gap if longest else 0

    def _text_width(self, row: Row, width: int) -> int:
        gap = self.theme.sizes.gap
        used = self._lead_width() + 4 * gap + (self.photo_box.width() + gap if row.photo else 0)
        return max(80, width - used)

    def _right_below(self, row: Row, width: int) -> bool:
        """A right end that would crowd the strong line goes below it."""
        room = self._text_width(row, width)
        right = self._plain.horizontalAdvance(row.right)
        return bool(row.right) and right + self._bold.horizontalAdvance("n" * 22) > room

    def _strong_height(self, row: Row, width: int) -> int:
        return self._box(self._bold, row.strong, self._strong_width(row, width))

    def _strong_width(self, row: Row, width: int) -> int:
        room = self._text_width(row, width)
        if row.right and not self._right_below(row, width):
            room -= self._plain.horizontalAdvance(row.right) + 2 * self.theme.sizes.gap
        return max(80, room)

    def _box(self, metrics: QFontMetrics, text: str, width: int) -> int:
        return metrics.boundingRect(QRect(0, 0, width, 100_000), _WRAP, text).height()

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """As high as the wrapped text needs."""
        row, gap = index.data(ROW), self.theme.sizes.gap
        width = self.view.viewport().width()
        height = 2 * gap + self._strong_height(row, width)
        lines = ([row.right] if self._right_below(row, width) else []) + [s for s in row.soft if s]
        height += sum(self._box(self._plain, line, self._text_width(row, width)) + gap // 3 for line in lines)
        if row.bar:
            height += round(self.theme.sizes.body_px * 0.9)
        if row.photo:
            height = max(height, self.photo_box.height() + 2 * gap)
        return QSize(width, height)

    # -- drawing

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one row."""
        row: Row = index.data(ROW)
        model = self.view.model()
        if isinstance(model, RowModel) and model.looked_at:
            model.looked_at(row)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        rect: QRect = option.rect
        self._ground(painter, rect, option)
        self._words(painter, rect, row)
        if row.photo:
            self._photo(painter, rect, row.photo)
        painter.restore()

    def _ground(self, painter: QPainter, rect: QRect, option: QStyleOptionViewItem) -> None:
        s = self.theme.sizes
        state = option.state
        if state & QStyle.StateFlag.State_Selected:
            painter.fillRect(rect, self.theme.colour("tint"))
            painter.fillRect(
                QRect(rect.left(), rect.top(), s.stroke * 3, rect.height()), self.theme.colour("accent")
            )
            if state & QStyle.StateFlag.State_HasFocus:
                painter.setPen(QPen(self.theme.colour("accent"), s.stroke))
                half = s.stroke
                painter.drawRect(QRectF(rect).adjusted(half, half, -half, -half))
        painter.setPen(QPen(self.theme.colour("line"), s.stroke))
        painter.drawLine(rect.bottomLeft(), rect.bottomRight())

    def _words(self, painter: QPainter, rect: QRect, row: Row) -> None:
        gap, width = self.theme.sizes.gap, rect.width()
        left = rect.left() + 2 * gap
        top = rect.top() + gap
        if row.lead:
            painter.setFont(self.theme.font())
            painter.setPen(self.theme.colour("soft_ink"))
            painter.drawText(QRect(left, top, self._lead_width(), rect.height()), _WRAP, row.lead)
        left += self._lead_width()
        painter.setPen(self.theme.colour("ink"))
        painter.setFont(self.theme.font(bold=True))
        strong = self._strong_height(row, width)
        painter.drawText(QRect(left, top, self._strong_width(row, width), strong), _WRAP, row.strong)
        room = self._text_width(row, width)
        soft = [s for s in row.soft if s]
        if self._right_below(row, width):
            soft.insert(0, row.right)
        elif row.right:
            painter.setFont(self.theme.font())
            painter.drawText(QRect(left, top, room, strong), _RIGHT, row.right)
        top += strong
        painter.setFont(self.theme.font())
        painter.setPen(self.theme.colour("soft_ink"))
        for line in soft:
            height = self._box(self._plain, line, room)
            painter.drawText(QRect(left, top + gap // 3, room, height), _WRAP, line)
            top += height + gap // 3
        if row.bar:
            self._bar(painter, QRectF(left, top + gap * 0.6, room, self.theme.sizes.body_px * 0.55), row.bar)

    def _bar(self, painter: QPainter, box: QRectF, bar: tuple[float, float, float]) -> None:
        """The plan as an outlined field, the touch time as a solid bar in it."""
        spent, low, high = bar
        painter.setPen(QPen(self.theme.colour("edge"), self.theme.sizes.stroke))
        painter.setBrush(self.theme.colour("tint"))
        wide = max(2.0, (high - low) * box.width())
        painter.drawRect(QRectF(box.left() + low * box.width(), box.top(), wide, box.height()))
        inner = QRectF(box.left(), box.top() + box.height() * 0.3, spent * box.width(), box.height() * 0.4)
        painter.fillRect(inner, self.theme.colour("accent"))

    def _photo(self, painter: QPainter, rect: QRect, sha256: str) -> None:
        gap, box = self.theme.sizes.gap, self.photo_box
        place = QRect(QPoint(rect.right() - box.width() - 2 * gap, rect.top() + gap), box)
        draw_picture(painter, place, sha256, self.theme, self.thumbs, self.view.devicePixelRatioF())


class CardDelegate(RowDelegate):
    """Draws a row as a card: photo on top, words below, cut with an ellipsis where they do not fit."""

    @property
    def photo_box(self) -> QSize:
        """Room for the photo of a card."""
        em = self.theme.sizes.body_px
        return QSize(round(em * 14), round(em * 8))

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """The same for every card."""
        gap, line = self.theme.sizes.gap, self._bold.height()
        return QSize(self.photo_box.width() + 2 * gap, self.photo_box.height() + 3 * gap + 2 * line)

    def _words(self, painter: QPainter, rect: QRect, row: Row) -> None:
        gap = self.theme.sizes.gap
        left, width = rect.left() + gap, rect.width() - 2 * gap
        top = rect.top() + 2 * gap + self.photo_box.height()
        right = self._plain.horizontalAdvance(row.right)
        painter.setPen(self.theme.colour("ink"))
        painter.setFont(self.theme.font())
        painter.drawText(QRect(left, top, width, self._bold.height()), _RIGHT, row.right)
        painter.setFont(self.theme.font(bold=True))
        strong = self._bold.elidedText(row.strong, Qt.TextElideMode.ElideRight, width - right - gap)
        painter.drawText(QRect(left, top, width, self._bold.height()), _ONE_LINE, strong)
        painter.setPen(self.theme.colour("soft_ink"))
        painter.setFont(self.theme.font())
        soft = self._plain.elidedText(" ".join(row.soft), Qt.TextElideMode.ElideRight, width)
        painter.drawText(QRect(left, top + self._bold.height(), width, self._bold.height()), _ONE_LINE, soft)

    def _photo(self, painter: QPainter, rect: QRect, sha256: str) -> None:
        gap = self.theme.sizes.gap
        place = QRect(QPoint(rect.left() + gap, rect.top() + gap), self.photo_box)
        draw_picture(painter, place, sha256, self.theme, self.thumbs, self.view.devicePixelRatioF())


def as_cards(view: RowList, theme: Theme, thumbs: Thumbs) -> None:
    """Let a list show its rows as cards, as many beside each other as fit."""
    view.setItemDelegate(CardDelegate(theme, view, thumbs))
    view.setFlow(QListView.Flow.LeftToRight)
    view.setWrapping(True)
    view.setUniformItemSizes(True)
    view.setSpacing(theme.sizes.gap // 2)


def draw_picture(
    painter: QPainter, place: QRect, sha256: str, theme: Theme, thumbs: Thumbs | None, ratio: float
) -> None:
    """A photo fitted into `place`, or words while it is on its way or when it cannot be shown."""
    pixmap = (
        thumbs.picture(sha256, min(512, round(max(place.width(), place.height()) * ratio)))
        if thumbs
        else None
    )
    if pixmap is not None:
        size = pixmap.size().scaled(place.size(), Qt.AspectRatioMode.KeepAspectRatio)
        target = QRect(0, 0, size.width(), size.height())
        target.moveCenter(place.center())
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawPixmap(target, pixmap)
        return
    painter.setPen(QPen(theme.colour("line"), theme.sizes.stroke))
    painter.drawRect(place)
    painter.setPen(theme.colour("soft_ink"))
    painter.setFont(theme.font())
    words = "Photo not readable" if thumbs and thumbs.trouble(sha256) else "Loading"
    painter.drawText(place, int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap), words)


_WRAP = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
_RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
_ONE_LINE = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
