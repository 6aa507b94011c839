"""The lines of a check or test list, each with the answers it allows as large buttons.

Arrows choose the line, 1 to 4 answer it. It shows answers and emits them; keeping them is not its work.
"""

from collections.abc import Iterator, Mapping, Sequence

from PySide6.QtCore import QEvent, Qt, QTimer, Signal
from PySide6.QtGui import QFontMetricsF, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from benchguide.procedure.procedure import CheckLine
from benchguide.procedure.words import CHOICES
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.themed import Panel, claimed, label

#: a line has at most so many answers
MOST = max(len(choices) for choices in CHOICES.values())
_DIGITS = (Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3, Qt.Key.Key_4)


class _Line(Panel):
    """One line with its four buttons."""

    pressed = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "", role="row")
        self.line_id, self.answer = "", ""
        self.choices: tuple[str, ...] = ()
        self.text: QLabel = label(role="strong", wrap=True)
        self.state: QLabel = label(role="soft")
        self.buttons = [self._button(number) for number in range(MOST)]
        head = QHBoxLayout()
        head.addWidget(self.text, 1)
        head.addWidget(self.state, 0, Qt.AlignmentFlag.AlignTop)
        self._grid = QGridLayout()
        self._box = QVBoxLayout(self)
        self._box.addLayout(head)
        self._box.addLayout(self._grid)
        self._columns = 0
        self._wanted = MOST
        for column in range(MOST):
            self._grid.setColumnStretch(column, 1)
        self.arrange(MOST)
        self.restyle()

    def arrange(self, columns: int) -> None:
        """Put the buttons into this many columns (4 or 2); two answers share the whole width."""
        self._wanted = columns
        columns = min(columns, max(2, len(self.choices) or MOST))
        if columns == self._columns:
            return
        self._columns = columns
        span = MOST // columns
        for number, button in enumerate(self.buttons):
            self._grid.addWidget(button, number // columns, number % columns * span, 1, span)

    def _button(self, number: int) -> QPushButton:
        button = QPushButton()
        set_role(button, "large")
        button.setCheckable(True)
        button.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        button.clicked.connect(lambda: self.pressed.emit(self.choices[number]))
        return button

    def restyle(self) -> None:
        gap = self.theme.sizes.gap
        self._box.setContentsMargins(gap, gap, gap, gap)
        self._box.setSpacing(gap)
        self._grid.setSpacing(gap)

    def dress(self) -> None:
        """Put on the style now instead of when it is first shown."""
        for widget in (self, *self.findChildren(QWidget)):
            widget.ensurePolished()

    def show_line(self, line: CheckLine, answer: str) -> None:
        """Show a line and its answer, empty when it has none."""
        self.line_id, self.answer = line.id, answer
        self.text.setText(line.text)
        self.state.setText("" if answer else "no answer yet")
        self.choices = CHOICES[line.answers]
        for number, (button, word) in enumerate(zip(self.buttons, self.choices, strict=False), 1):
            chosen = word == answer
            button.setChecked(chosen)
            button.setText(f"✓  {word}" if chosen else f"{number}  {word}")
            button.setAccessibleName(word)
        for number, button in enumerate(self.buttons):
            button.setVisible(number < len(self.choices))
        self.arrange(self._wanted)
        self.setAccessibleName(f"{line.text}: {answer or 'no answer yet'}")


class AnswerList(Panel):
    """All lines of one step."""

    answered = Signal(str, str)
    """Id of the line and the answer in words, one of the line's choices."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Answers", parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.title = label("", "soft", wrap=True)
        self._page = QWidget()
        set_role(self._page, "page")
        self._lines = QVBoxLayout(self._page)
        self._lines.addStretch(1)
        self.area = QScrollArea()
        self.area.setWidget(self._page)
        self.area.setWidgetResizable(True)
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._box = QVBoxLayout(self)
        self._box.addWidget(self.title)
        self._box.addWidget(self.area, 1)
        self._rows: list[_Line] = []
        self._count = self.current = 0
        self._ids: tuple[str, ...] = ()
        self.restyle()

    def restyle(self) -> None:
        """Spacing follows the sizes."""
        gap = self.theme.sizes.gap
        self._box.setContentsMargins(gap, gap, gap, gap)
        self._lines.setContentsMargins(0, 0, gap, 0)
        for layout in (self._box, self._lines):
            layout.setSpacing(gap)

    def set_lines(self, lines: Sequence[CheckLine], answers: Mapping[str, str]) -> None:
        """Show these lines; `answers` are by line id. A new list starts at its first unanswered line."""
        if not lines and not self._count:
            return
        ids = tuple(line.id for line in lines)
        while len(self._rows) < len(lines):
            self._add_row()
        self._arrange()
        for row, line in zip(self._rows, lines, strict=False):
            row.show_line(line, answers.get(line.id, ""))
        for i, row in enumerate(self._rows):
            row.setVisible(i < len(lines))
        self._count = len(lines)
        done = sum(1 for line in lines if answers.get(line.id))
        most = max((len(CHOICES[line.answers]) for line in lines), default=MOST)
        self.title.setText(f"{done} of {len(lines)} answered      ↑ ↓ line, 1 to {most} answer")
        if ids != self._ids:
            self._ids = ids
            self._go(next((i for i, line in enumerate(lines) if not answers.get(line.id)), 0))

    def prepare(self, lines: Sequence[CheckLine], answers: Mapping[str, str]) -> Iterator[None]:
        """Make, dress and lay out the rows of a list that will be shown soon, one at each turn."""
        if not lines:
            return
        while len(self._rows) < len(lines):
            self._add_row()
            self._rows[-1].hide()
            self._rows[-1].dress()
            yield
        if self.isHidden():
            self.set_lines(lines, answers)
            yield
            self._lines.activate()
            yield

    def _arrange(self) -> None:
        metrics, gap = QFontMetricsF(self.theme.font(bold=True)), self.theme.sizes.gap
        words = [word for choices in CHOICES.values() for word in choices]
        widest = max(metrics.horizontalAdvance(f"✓  {word}") for word in words) + 4 * gap
        room = self.area.viewport().width() - 6 * gap
        for row in self._rows:
            row.arrange(4 if 4 * widest <= room else 2)

    def _add_row(self) -> None:
        row = _Line(self.theme)
        row.pressed.connect(lambda answer, row=row: self._answer_row(row, answer))
        self._rows.append(row)
        self._lines.insertWidget(len(self._rows) - 1, row)

    def _answer_row(self, row: _Line, answer: str) -> None:
        self._go(self._rows.index(row))
        # the button shows what is known, not what was pressed: the answer comes back through set_lines
        for button, word in zip(row.buttons, row.choices, strict=False):
            button.setChecked(word == row.answer)
        self.answered.emit(row.line_id, answer)

    def answer_current(self, number: int) -> None:
        """Answer the current line with its first, second ... answer and go to the next, for key, pedal and voice
        alike; a number it has no answer for does nothing."""
        if not self._count or not 1 <= number <= len(self._rows[self.current].choices):
            return
        row = self._rows[self.current]
        self._go(min(self.current + 1, self._count - 1))
        self.answered.emit(row.line_id, row.choices[number - 1])

    def _go(self, index: int) -> None:
        if not self._count:
            return
        self.current = min(max(0, index), self._count - 1)
        for i, row in enumerate(self._rows[: self._count]):
            set_role(row, "present" if i == self.current else "row")
        self.setAccessibleDescription(self._rows[self.current].accessibleName())
        self._reveal()
        # a row that was just shown or filled has no place yet
        QTimer.singleShot(0, self, self._reveal)

    def _reveal(self) -> None:
        if self.current < self._count:
            self.area.ensureWidgetVisible(self._rows[self.current], 0, self.theme.sizes.gap)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Buttons in one line or two, and the current line in view."""
        super().resizeEvent(event)
        self._arrange()
        QTimer.singleShot(0, self, self._reveal)

    def event(self, event: QEvent) -> bool:
        """Keep digits and arrows from becoming shortcuts while the list has the focus."""
        if claimed(event, (*_DIGITS, Qt.Key.Key_Up, Qt.Key.Key_Down)):
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows go to a line, 1 to 4 answer it."""
        if event.key() in _DIGITS:
            self.answer_current(_DIGITS.index(Qt.Key(event.key())) + 1)
        elif event.key() in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self._go(self.current + (1 if event.key() == Qt.Key.Key_Down else -1))
        else:
            super().keyPressEvent(event)
