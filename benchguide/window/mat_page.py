"""The page of the parts mat: the camera over it with cells and counts, beside what the ledger says lies there.

Shows and asks; reading is mat_link.py's, judging session/mat.py's.
"""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF, QKeyEvent, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from benchguide.session.mat import AGREE, DISAGREE, CellBeside
from benchguide.window.actions import Actions
from benchguide.window.mat_link import MatSeen
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.camera_view import CameraView
from benchguide.window.widgets.key_button import BigKey
from benchguide.window.widgets.themed import Painted, label

#: how a verdict is drawn before its cell: by shape, not by colour
SIGNS = {AGREE: "=", DISAGREE: "≠"}
UNKNOWN = "?"
#: type in a small picture is no smaller than this
LEAST_PLATE_PX = 9


def sign_of(verdict: str) -> str:
    """The shape of a verdict: equal, not equal, or a question mark."""
    return SIGNS.get(verdict, UNKNOWN)


def _why(row: CellBeside) -> str:
    """What the counts beside it do not say already."""
    told = row.sentence.partition(": ")[2]
    _counts, ledger, doubt = told.partition("in the ledger.")
    return doubt.strip() if ledger else told


class MatView(CameraView):
    """The live picture with the cells that were read: counts large, disagreement filled."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self.setAccessibleName("Camera over the parts mat")
        self._places: dict[str, QPolygonF] = {}
        self._rows: dict[str, CellBeside] = {}

    def set_cells(self, places: dict[str, QPolygonF], rows: Sequence[CellBeside]) -> None:
        """Show these cells."""
        self._places, self._rows = places, {row.cell: row for row in rows}
        self.update()

    def _paint_outline(self, painter: QPainter, box: QRectF) -> None:
        super()._paint_outline(painter, box)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for name, place in self._places.items():
            row = self._rows.get(name)
            if row is not None:
                self._paint_cell(painter, box, place, row)

    def _paint_cell(self, painter: QPainter, box: QRectF, place: QPolygonF, row: CellBeside) -> None:
        corners = QPolygonF(
            [
                QPointF(box.left() + p.x() * box.width(), box.top() + p.y() * box.height())
                for p in place.toList()
            ]
        )
        quiet = row.verdict == AGREE and not row.expected
        stroke = max(1, self.theme.sizes.stroke)
        violet = QColor.fromHslF(self.theme.colour("accent").hueF(), 0.6, 0.42)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        wide = 1.0 if quiet else 3.0 if row.verdict == DISAGREE else 1.8
        for colour, width in ((QColor("white"), wide + 1.4), (violet, wide)):
            painter.setPen(QPen(colour, width * stroke, j=Qt.PenJoinStyle.RoundJoin))
            painter.drawPolygon(corners)
        if quiet:
            return
        seen = str(row.count) if row.count is not None else f"≥{row.at_least}" if row.at_least else "?"
        if row.verdict == AGREE:
            words = seen
        elif row.verdict == DISAGREE and row.count == row.expected:
            words = f"{seen}≠mm"  # as many as there should be, and one of them is another screw
        else:
            words = f"{seen}{sign_of(row.verdict)}{row.expected}"
        self._paint_plate(painter, corners.boundingRect(), words, violet, row.verdict == DISAGREE)

    def _paint_plate(self, painter: QPainter, area: QRectF, words: str, violet: QColor, strong: bool) -> None:
        font = self.theme.font(bold=True)
        metrics = QFontMetricsF(font)
        wide = metrics.horizontalAdvance(words) + self.theme.sizes.gap
        if wide > area.width() > 0:
            # a plate must not cover the cell beside it
            font.setPixelSize(max(LEAST_PLATE_PX, int(font.pixelSize() * area.width() / wide)))
            metrics = QFontMetricsF(font)
        plate = QRectF(0, 0, metrics.horizontalAdvance(words) + self.theme.sizes.gap, metrics.height())
        plate.moveBottomRight(area.bottomRight())
        painter.fillRect(plate, violet if strong else QColor("white"))
        painter.setFont(font)
        painter.setPen(QColor("white") if strong else violet.darker(130))
        painter.drawText(plate, int(Qt.AlignmentFlag.AlignCenter), words)


class MatList(Painted):
    """Cells with what the ledger says and what was counted; disagreement first."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "Cells of the mat")
        self.rows: tuple[CellBeside, ...] = ()
        self._tops = [0.0]
        """Where each row begins, and where the last ends."""

    def set_rows(self, rows: Sequence[CellBeside]) -> None:
        """Show the cells in which something lies or should."""
        order = {DISAGREE: 0, AGREE: 2}
        told = [r for r in rows if r.expected or r.verdict != AGREE]
        self.rows = tuple(sorted(told, key=lambda r: order.get(r.verdict, 1)))
        self._tops = [0.0]
        for row in self.rows:
            self._tops.append(self._tops[-1] + self._row_high(row))
        self.setMinimumHeight(round(self._tops[-1] + self.theme.sizes.gap))
        self.setAccessibleDescription(" ".join(row.sentence for row in self.rows))
        self.update()

    def _row_high(self, row: CellBeside) -> float:
        lines = 2 if _why(row) else 1
        return QFontMetricsF(self.theme.font()).height() * lines + self.theme.sizes.gap * 1.5

    def paintEvent(self, _event: object) -> None:
        """One row a cell: sign, cell, counts; below it why, where the counts do not say it."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        gap = self.theme.sizes.gap
        bold, plain = self.theme.font(bold=True), self.theme.font()
        line = QFontMetricsF(bold).height()
        for number, row in enumerate(self.rows):
            high = self._tops[number + 1] - self._tops[number]
            box = QRectF(0, self._tops[number], self.width(), high - gap / 2)
            strong = row.verdict == DISAGREE
            painter.setPen(QPen(self.theme.colour("accent" if strong else "edge"), self.theme.sizes.stroke))
            painter.setBrush(self.theme.colour("tint" if strong else "panel"))
            painter.drawRoundedRect(
                box.adjusted(1, 1, -1, -1), self.theme.sizes.radius, self.theme.sizes.radius
            )
            painter.setPen(self.theme.colour("ink"))
            painter.setFont(bold)
            text = QRectF(box.left() + gap, box.top() + gap / 2, box.width() - 2 * gap, line)
            painter.drawText(text, int(Qt.AlignmentFlag.AlignLeft), f"{sign_of(row.verdict)}  {row.cell}")
            count = (
                row.count if row.count is not None else f"at least {row.at_least}" if row.at_least else "?"
            )
            counts = f"ledger {row.expected}   counted {count}"
            painter.drawText(text, int(Qt.AlignmentFlag.AlignRight), counts)
            painter.setFont(plain)
            painter.setPen(self.theme.colour("soft_ink"))
            told = _why(row)
            metrics = QFontMetricsF(plain)
            told = metrics.elidedText(told, Qt.TextElideMode.ElideRight, text.width())
            painter.drawText(text.translated(0, line), int(Qt.AlignmentFlag.AlignLeft), told)


class MatPage(QWidget):
    """The page. `left` asks for the bench again."""

    left = Signal()

    def __init__(self, theme: Theme, actions: Actions) -> None:
        super().__init__()
        gap = theme.sizes.gap
        self.title = label("Parts mat", "heading")
        self.told = label("Lay the whole mat under the camera.", "strong", wrap=True)
        self.view = MatView(theme)
        self.list = MatList(theme)
        self.warnings = label("", "soft", wrap=True)
        area = QScrollArea(widgetResizable=True)
        area.setWidget(self.list)
        area.setAccessibleName("Cells of the mat")
        set_role(self.list, "page")
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        side = QVBoxLayout()
        side.addWidget(self.told)
        side.addWidget(area, 1)
        side.addWidget(self.warnings)
        across = QHBoxLayout()
        across.setSpacing(gap)
        across.addWidget(self.view, 3)
        across.addLayout(side, 2)
        keys = QHBoxLayout()
        keys.setSpacing(gap)
        self.keep = BigKey(actions["mat-keep"], theme, primary=True)
        self.measure = BigKey(actions["measure-screw"], theme)
        self.back = BigKey(None, theme, "Back to the bench", "Escape")
        self.back.clicked.connect(self.left)
        self.scale = BigKey(actions["mat-scale"], theme)
        for key in (self.back, self.scale, self.measure, self.keep):
            keys.addWidget(key, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(gap)
        column.addWidget(self.title)
        column.addLayout(across, 1)
        column.addLayout(keys)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_reading(self, seen: MatSeen, rows: Sequence[CellBeside], told: str) -> None:
        """Show a reading beside the ledger, or why there is none."""
        self.told.setText(seen.trouble or told)
        self.view.set_cells({} if seen.trouble else seen.places, rows)
        self.list.set_rows(() if seen.trouble else rows)
        # a number stays with its unit
        self.warnings.setText(" ".join((*seen.warnings, seen.scale)).strip().replace(" %", "\u00a0%"))
        self.title.setText(f"Parts mat {seen.paper}".strip())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape goes back to the bench."""
        if event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_Backspace):
            self.left.emit()
        else:
            super().keyPressEvent(event)
