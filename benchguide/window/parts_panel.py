"""The parts of the device on the bench, at any moment: where each is, what is in its way, which places are empty.

A part is chosen in the list or with a click on the drawing. The panel answers questions; entering what came off is
asked for with signals, and done by parts_commands.py.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from PySide6.QtCore import QPoint, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from benchguide.procedure.words import Face
from benchguide.session.state import State
from benchguide.window import parts_words as words
from benchguide.window.records_rows import RowList
from benchguide.window.theme import Theme
from benchguide.window.widgets.device_drawing import face_of
from benchguide.window.widgets.plan_map import PlanMap
from benchguide.window.widgets.themed import Panel, label

#: a panel lower than this, in body-type ems, has its answers beside the drawing instead of below it
LOW_EMS = 30
#: shares of the room: list, then drawing and answers
LIST_SHARE, RIGHT_SHARE = 30, 70
BESIDE, BELOW = (37, 33), (52, 48)


class WholeRows(RowList):
    """A list that shows no half rows: what does not fit whole waits below."""

    def __init__(self, theme: Theme, name: str, parent: QWidget | None = None) -> None:
        super().__init__(theme, name, parent)
        self._ground = theme.colour("panel")
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerItem)

    def resizeEvent(self, event: Any) -> None:
        """The row in hand stays in view."""
        super().resizeEvent(event)
        self.scrollTo(self.currentIndex())

    def paintEvent(self, event: QPaintEvent) -> None:
        """The rows, with the half one at the lower edge laid over."""
        super().paintEvent(event)
        view = self.viewport().rect()
        last = self.visualRect(self.indexAt(QPoint(view.left() + 1, view.bottom())))
        if last.isValid() and last.bottom() > view.bottom() and last.top() > view.top():
            QPainter(self.viewport()).fillRect(view.adjusted(0, last.top() - view.top(), 0, 0), self._ground)


class PartsPanel(Panel):
    """`set_state` keeps it up to date; `show_part` and `show_empty` open it at a question."""

    left = Signal()
    moved_asked = Signal(str)
    """A person wants to say that this part came off or went back."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Parts of this device", parent, role="present")
        self._state: State | None = None
        self.search = QLineEdit()
        self.search.setPlaceholderText("Search parts")
        self.search.setAccessibleName("Search parts by name")
        self.search.setClearButtonEnabled(True)
        self.search.setMinimumWidth(round(9 * theme.sizes.body_px))
        self.search.textChanged.connect(lambda _text: self._show_list())
        self.search.returnPressed.connect(self._focus_list)
        self.empty = _button("Empty only", "Show only parts with empty places")
        self.empty.setCheckable(True)
        self.empty.toggled.connect(lambda _on: self._show_list())
        self.list: RowList = WholeRows(theme, "Parts", self)
        self.list.selectionModel().currentChanged.connect(lambda *_: self._show_answers())
        self.list.activated.connect(self._focus_answers)
        self.map = PlanMap(theme)
        self.map.key = "number: in its way"
        self.map.chosen.connect(self.show_part)
        # while something is asked on a small screen there is little room; the drawing gives way before the answers
        self.list.setMinimumHeight(round(2 * theme.sizes.body_px))
        self.map.setMinimumHeight(round(3.5 * theme.sizes.body_px))
        self.turn = _button("Turn over", "Show the other side of the drawing")
        self.turn.clicked.connect(lambda _=False: self.turn_over())
        self.moved = _button("Came off / went back", "Say that this part came off or went back")
        self.moved.clicked.connect(lambda _=False: self.moved_asked.emit(self.part))
        self.close_key = _button("Close  [Esc]", "Close the parts")
        self.close_key.clicked.connect(lambda _=False: self.left.emit())
        # the answer is read from where the instruction is read: a size above the list that is worked with
        large = replace(theme, sizes=replace(theme.sizes, body_pt=theme.sizes.heading_pt))
        self.answers: RowList = WholeRows(large, "What is in its way", self)
        # an answer may be longer than the list is high
        self.answers.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.told = label("", "strong", wrap=True)
        self.told.setAccessibleName("Places that are empty")
        self.answers.setMinimumHeight(round(2 * theme.sizes.body_px))
        self._arrange()

    def _arrange(self) -> None:
        gap = self.theme.sizes.gap
        head = QHBoxLayout()
        head.setSpacing(gap)
        head.addWidget(self.search, 1)
        for button in (self.empty, self.turn, self.moved, self.close_key):
            head.addWidget(button)
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(gap)
        column.addWidget(self.told)
        column.addWidget(self.list, 1)
        self._right = right = QSplitter(Qt.Orientation.Vertical)
        across = QSplitter(Qt.Orientation.Horizontal)
        for splitter, widgets, shares in (
            (right, (self.map, self.answers), BELOW),
            (across, (left, right), (LIST_SHARE, RIGHT_SHARE)),
        ):
            splitter.setChildrenCollapsible(False)
            splitter.setHandleWidth(gap)
            for widget, share in zip(widgets, shares, strict=True):
                splitter.addWidget(widget)
                splitter.setStretchFactor(splitter.count() - 1, share)
            splitter.setSizes([100 * share for share in shares])
        box = QVBoxLayout(self)
        box.setContentsMargins(gap, gap, gap, gap)
        box.setSpacing(gap)
        box.addLayout(head)
        box.addWidget(across, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A low panel has the answers beside the drawing: both as high as it is."""
        super().resizeEvent(event)
        low = self.height() < LOW_EMS * self.theme.sizes.body_px
        wanted = Qt.Orientation.Horizontal if low else Qt.Orientation.Vertical
        if wanted is not self._right.orientation():
            self._right.setOrientation(wanted)
            self._right.setSizes([100 * share for share in (BESIDE if low else BELOW)])

    def _focus_list(self) -> None:
        self.list.setFocus()

    def _focus_answers(self) -> None:
        self.answers.setFocus()

    @property
    def part(self) -> str:
        """The part in hand, empty while there is none."""
        row = self.list.chosen()
        return row.key if row else ""

    @property
    def state(self) -> State:
        """The moment it answers for. Raises ValueError before it was given one."""
        if self._state is None:
            raise ValueError("The parts were opened without a session.")
        return self._state

    def set_state(self, state: State) -> None:
        """Answer for this moment."""
        self._state = state
        self.told.setText(words.empty_count(state))
        self._show_list()

    def show_part(self, part: str) -> None:
        """Bring this part to hand; a search that hides it is dropped."""
        if not self._bring(part):
            self.search.clear()
            self.empty.setChecked(False)
            self._bring(part)

    def show_step(self) -> None:
        """Open at the first part of the present step."""
        if self._state is None:
            return
        self.map.show_face(face_of(self._state.job.device, self._state.step))
        if self._state.step.parts:
            self.show_part(self._state.step.parts[0])
        self.list.setFocus()

    def show_empty(self) -> None:
        """Open at the empty places."""
        self.search.clear()
        self.empty.setChecked(True)
        self.list.setFocus()

    def turn_over(self) -> None:
        """Show the other side of the drawing."""
        self.map.show_face(Face.FRONT if self.map.face is Face.BACK else Face.BACK)

    def _bring(self, part: str) -> bool:
        keys = [row.key for row in self.list.rows.rows]
        if part not in keys:
            return False
        self.list.setCurrentIndex(self.list.rows.index(keys.index(part)))
        return True

    def _show_list(self) -> None:
        if self._state is not None:
            self.list.show_rows(words.part_rows(self._state, self.search.text(), self.empty.isChecked()))
            self._show_answers()

    def _show_answers(self) -> None:
        state, part = self._state, self.part
        if state is None:
            return
        device = state.job.device
        known = part in device.by_id
        self.moved.setEnabled(known)
        self.answers.show_rows(words.answer_rows(state, part) if known else [words.step_row(state)])
        bars = {name: number for number, name in enumerate(words.bars_of(state, part), 1)} if known else {}
        if known:
            self.map.show_face(device.by_id[part].face)
        self.map.set_plan(device, bars, (), "", part, state.ledger)

    def keyPressEvent(self, event: Any) -> None:
        """Escape closes, Ctrl+F goes to the search, F10 turns the drawing over."""
        control = event.modifiers() & Qt.KeyboardModifier.ControlModifier
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        elif event.key() == Qt.Key.Key_F10:
            self.turn_over()
        elif event.key() == Qt.Key.Key_F and control:
            self.search.setFocus()
        else:
            super().keyPressEvent(event)


def _button(text: str, name: str) -> QPushButton:
    button = QPushButton(text)
    button.setAccessibleName(name)
    return button
