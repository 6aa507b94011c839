"""The places that differ between as-left and as-found, most likely first, each with its three answers.

They are candidates: the list never says that nothing is wrong. It shows and asks; keeping answers is not its work.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget

from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.themed import Panel, label

#: answers as the session knows them, in the order of their keys
ANSWERS = ("intended", "mended", "not a difference")
NOTHING = "No place stood out. Small things can still differ: look yourself."


@dataclass(frozen=True, slots=True)
class Row:
    """One candidate: what it might be, its score from 0 to 1."""

    hint: str
    score: float


def likelihood(score: float) -> str:
    """A word for a score; never a promise."""
    return "likely" if score >= 0.8 else "possible" if score >= 0.5 else "faint"


class _Line(Panel):
    """One candidate; the current one shows its answers as large buttons."""

    pressed = Signal(int)
    chosen = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "", role="row")
        self.number: QLabel = label(role="strong")
        self.text: QLabel = label(role="strong", wrap=True)
        self.state: QLabel = label(role="soft")
        self.buttons: list[QPushButton] = []
        head = QHBoxLayout()
        head.addWidget(self.number, 0, Qt.AlignmentFlag.AlignTop)
        head.addWidget(self.text, 1)
        head.addWidget(self.state, 0, Qt.AlignmentFlag.AlignTop)
        self._keys = QWidget()
        across = QHBoxLayout(self._keys)
        across.setContentsMargins(0, 0, 0, 0)
        for place, answer in enumerate(ANSWERS):
            button = QPushButton(f"{place + 1}  {answer}")
            set_role(button, "large")
            button.setCheckable(True)
            button.setAccessibleName(answer)
            button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            button.clicked.connect(lambda _on=False, place=place: self.pressed.emit(place))
            across.addWidget(button, 1)
            self.buttons.append(button)
        box = QVBoxLayout(self)
        gap = theme.sizes.gap
        box.setContentsMargins(gap, gap // 2, gap, gap // 2)
        box.setSpacing(gap // 2)
        box.addLayout(head)
        box.addWidget(self._keys)

    def show_row(self, number: int, row: Row, answer: str, current: bool) -> None:
        """Fill this line."""
        self.number.setText(f"{number}")
        self.text.setText(row.hint)
        told = answer or f"{likelihood(row.score)}, no answer"
        self.state.setText(f"✓ {answer}" if answer else likelihood(row.score))
        self._keys.setVisible(current)
        for button, word in zip(self.buttons, ANSWERS, strict=True):
            button.setChecked(word == answer)
        set_role(self, "present" if current else "row")
        self.setAccessibleName(f"Difference {number}: {row.hint}, {told}")

    def mousePressEvent(self, _event: object) -> None:
        """Make this the current one."""
        self.chosen.emit()


class DifferenceList(Panel):
    """All candidates of one comparison."""

    answered = Signal(int, str)
    """Number of the candidate, counted from 1, and the answer."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Differences", parent)
        self.title = label("", "soft", wrap=True)
        self.told = label("", "strong", wrap=True)
        self._page = QWidget()
        set_role(self._page, "page")
        self._lines = QVBoxLayout(self._page)
        self._lines.setContentsMargins(0, 0, theme.sizes.gap, 0)
        self._lines.setSpacing(theme.sizes.gap // 2)
        self._lines.addStretch(1)
        self.area = QScrollArea(widgetResizable=True)
        self.area.setWidget(self._page)
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        box = QVBoxLayout(self)
        gap = theme.sizes.gap
        box.setContentsMargins(gap, gap, gap, gap)
        box.setSpacing(gap // 2)
        box.addWidget(self.title)
        box.addWidget(self.told)
        box.addWidget(self.area, 1)
        self._widgets: list[_Line] = []
        self._rows: tuple[Row, ...] = ()
        self._answers: dict[int, str] = {}
        self._key: object = None
        self.current = 1

    def show_busy(self) -> None:
        """The photos are being compared."""
        self._key = None
        self._fill((), {}, "The as-left photo is being compared with as-found …")

    def show_told(self, key: object, rows: Sequence[Row], answers: Mapping[int, str], why: str = "") -> None:
        """Show a comparison; `why` says that nothing can be told. A new `key` begins at its first open candidate."""
        told = f"Cannot tell: {why}" if why else "" if rows else NOTHING
        fresh, self._key = key != self._key, key
        if fresh:
            self.current = next((n for n in range(1, len(rows) + 1) if not answers.get(n)), 1)
        self._fill(tuple(rows), dict(answers), told)

    def _fill(self, rows: tuple[Row, ...], answers: dict[int, str], told: str) -> None:
        self._rows, self._answers = rows, answers
        while len(self._widgets) < len(rows):
            self._add_line()
        for number, widget in enumerate(self._widgets, start=1):
            widget.setVisible(number <= len(rows))
            if number <= len(rows):
                row = rows[number - 1]
                widget.show_row(number, row, answers.get(number, ""), number == self.current)
        left = sum(1 for n in range(1, len(rows) + 1) if not answers.get(n))
        head = f"{len(rows)} may differ, {left} open      D next, T flip"
        self.title.setText(head if rows else "As-left beside as-found")
        self.told.setText(told)
        self.told.setVisible(bool(told))
        self.area.setVisible(bool(rows))
        self.setAccessibleDescription(told or self.title.text())
        QTimer.singleShot(0, self, self._reveal)

    def _add_line(self) -> None:
        number = len(self._widgets) + 1
        line = _Line(self.theme)
        line.pressed.connect(lambda place: self._answer(number, ANSWERS[place]))
        line.chosen.connect(lambda: self.go(number))
        self._widgets.append(line)
        self._lines.insertWidget(number - 1, line)

    def go(self, number: int) -> None:
        """Make this candidate the current one."""
        if self._rows:
            self.current = (number - 1) % len(self._rows) + 1
            self._fill(self._rows, self._answers, self.told.text())

    def answer_current(self, answer: str) -> bool:
        """Answer the current candidate and go to the next; False when there is none."""
        if not self._rows:
            return False
        self._answer(self.current, answer)
        return True

    def _answer(self, number: int, answer: str) -> None:
        self._answers[number] = answer
        open_ = [n for n in range(1, len(self._rows) + 1) if not self._answers.get(n)]
        self.current = next((n for n in open_ if n > number), open_[0] if open_ else number)
        del self._answers[number]  # the list shows what is known, and that comes back from the session
        self.answered.emit(number, answer)

    def _reveal(self) -> None:
        if 1 <= self.current <= len(self._rows):
            self.area.ensureWidgetVisible(self._widgets[self.current - 1], 0, self.theme.sizes.gap)

    @property
    def empty(self) -> bool:
        """True when there is no candidate."""
        return not self._rows
