"""A question inside the window, never a pop-up: a title, a few fields, two large buttons.

It hands the answers to a callback as texts; what they mean is decided by whoever asked. They are asked one
after the other, never two at once: a new question cancels the open one.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QFontMetricsF, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.key_button import BigKey
from benchguide.window.widgets.themed import RETURN_KEYS, Panel, claimed, label

#: More choices than this are a drop-down list, not buttons.
BUTTON_CHOICES = 6
#: more fields than this stand two in a row where they are short
MOST_ROWS = 3

Answers = dict[str, str]


@dataclass(frozen=True, slots=True)
class Field:
    """One thing asked for. A number is handed on with a decimal point, whatever was typed."""

    key: str
    label: str
    kind: Literal["text", "number", "choice"] = "text"
    choices: tuple[str, ...] = ()
    default: str = ""
    required: bool = True


class QuestionBar(Panel):
    """Hidden until something is asked. Enter accepts, Escape cancels, the focus goes back where it was."""

    opened = Signal()
    closed = Signal(bool)
    """True when the question was answered, False when it was cancelled."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Question", parent, role="present")
        self.title = label("", "heading", wrap=True)
        self.message = label("", "strong", wrap=True)
        self.ok = BigKey(None, theme, "OK", "Enter", primary=True)
        self.cancel_key = BigKey(None, theme, "Cancel", "Escape")
        self.ok.clicked.connect(self.accept)
        self.cancel_key.clicked.connect(self.cancel)
        self._callback: Callable[[Answers], None] | None = None
        self._on_cancel: Callable[[], None] | None = None
        self._fields: tuple[Field, ...] = ()
        self._inputs: dict[str, _Input] = {}
        self._before: QWidget | None = None
        self._form_host: QWidget | None = None
        self._box = QVBoxLayout(self)
        self._keys = QVBoxLayout()
        self._keys.addWidget(self.ok)
        self._keys.addWidget(self.cancel_key)
        self._keys.addStretch(1)
        self._across = QHBoxLayout()
        self._form_place = QVBoxLayout()
        self._form_place.addWidget(self.message)
        self._form_place.addStretch(1)
        self._across.addLayout(self._form_place, 1)
        self._across.addLayout(self._keys)
        self._box.addWidget(self.title)
        self._box.addLayout(self._across)
        self.restyle()
        self.setVisible(False)

    def restyle(self) -> None:
        """Spacing follows the sizes."""
        gap = self.theme.sizes.gap
        self._box.setContentsMargins(2 * gap, round(1.5 * gap), 2 * gap, round(1.5 * gap))
        self._box.setSpacing(gap)
        self._keys.setSpacing(gap)
        self._across.setSpacing(2 * gap)
        self._form_place.setSpacing(gap)
        for key in (self.ok, self.cancel_key):
            key.setMinimumWidth(round(self.theme.sizes.target * 2.2))

    @property
    def is_open(self) -> bool:
        """True while a question waits for an answer."""
        # Qt may ask before the constructor is through
        return getattr(self, "_callback", None) is not None

    @property
    def fields(self) -> tuple[Field, ...]:
        """What the open question asks for."""
        return self._fields if self.is_open else ()

    def ask(
        self, title: str, fields: Sequence[Field], ok_text: str, callback: Callable[[Answers], None],
        on_cancel: Callable[[], None] | None = None,
    ) -> None:  # fmt: skip
        """Ask; `callback` gets the answers by field key when they are complete, nothing happens on Escape."""
        if self.is_open:
            self.cancel()
        self._callback, self._on_cancel = callback, on_cancel
        self._fields = tuple(fields)
        self._before = QApplication.focusWidget()
        self.title.setText(title)
        self.setAccessibleName(f"Question: {title}")
        self._tell("")
        self.ok.set_text(ok_text, "Enter")
        self._build_form()
        # whoever gives the question their room does so before it takes it: a window must not grow in between
        self.opened.emit()
        self.setVisible(True)
        first = next(iter(self._inputs.values()), None)
        (first.focus_widget() if first else self.ok).setFocus(Qt.FocusReason.OtherFocusReason)

    def set_value(self, key: str, value: str) -> None:
        """Answer one field from outside, as voice does. Raises KeyError for an unknown field."""
        self._inputs[key].set(value)

    def values(self) -> Answers:
        """What has been entered so far."""
        return {key: box.get() for key, box in self._inputs.items()}

    def accept(self) -> None:
        """Take the answers if they are complete; else say what is missing and go there."""
        callback = self._callback
        if callback is None:
            return
        answers = self.values()
        for field in self._fields:
            problem, answers[field.key] = _checked(field, answers[field.key])
            if problem:
                self._tell(problem)
                self._inputs[field.key].focus_widget().setFocus(Qt.FocusReason.OtherFocusReason)
                return
        self._close()
        callback(answers)
        self.closed.emit(True)

    def cancel(self) -> None:
        """Close without an answer."""
        if not self.is_open:
            return
        on_cancel = self._on_cancel
        self._close()
        if on_cancel:
            on_cancel()
        self.closed.emit(False)

    def _close(self) -> None:
        self._callback = self._on_cancel = None
        before, self._before = self._before, None
        self.setVisible(False)
        if before is not None and _alive(before):
            before.setFocus(Qt.FocusReason.OtherFocusReason)

    def _tell(self, text: str) -> None:
        self.message.setText(text)
        self.message.setVisible(bool(text))
        self.setAccessibleDescription(text)

    def _build_form(self) -> None:
        if self._form_host is not None:
            self._form_place.removeWidget(self._form_host)
            self._form_host.deleteLater()
        host = QWidget()
        form = QGridLayout(host)
        form.setContentsMargins(0, 0, 0, 0)
        gap = self.theme.sizes.gap
        form.setSpacing(gap)
        form.setColumnStretch(1, 1)
        self._inputs = {}
        # many fields would push the bench out of a small screen: short ones stand side by side
        pairs = len(self._fields) > MOST_ROWS
        row = column = 0
        for field, after in zip(self._fields, (*self._fields[1:], None), strict=False):
            wide = field.kind == "choice" or not pairs
            # a short field without a neighbour takes the whole row
            wide = wide or (not column and (after is None or after.kind == "choice"))
            if wide and column:
                row, column = row + 1, 0
            caption = label(field.label)
            box: _Input = (
                _Choice(field, self._columns(field), gap) if field.kind == "choice" else _Text(field)
            )
            box.focus_widget().setAccessibleName(field.label)
            caption.setBuddy(box.focus_widget())
            form.addWidget(caption, row, column)
            form.addWidget(box.widget, row, column + 1, 1, 3 if wide else 1)
            if not wide:
                form.setColumnStretch(column + 1, 1)
            row, column = (row + 1, 0) if wide or column else (row, 2)
            self._inputs[field.key] = box
        self._form_host = host
        self._form_place.insertWidget(0, host)

    def _columns(self, field: Field) -> int:
        """How many buttons of these choices fit side by side in the room the bar has."""
        metrics = QFontMetricsF(self.theme.font(bold=True))
        sizes = self.theme.sizes
        widest = max((metrics.horizontalAdvance(f"✓  {choice}") for choice in field.choices), default=1.0)
        caption = max((metrics.horizontalAdvance(f.label) for f in self._fields), default=0.0)
        width = self.width() if self.isVisible() else (self.parentWidget() or self).width()
        room = width - caption - sizes.target * 2.2 - 10 * sizes.gap
        fit = max(1, int(room // (widest + 4 * sizes.gap)))
        rows = -(-len(field.choices) // fit)
        return max(1, -(-len(field.choices) // max(1, rows)))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Choices take as few rows as the new width allows."""
        super().resizeEvent(event)
        for field in self._fields:
            box = self._inputs.get(field.key)
            if isinstance(box, _Choice):
                box.arrange(self._columns(field))

    def event(self, event: QEvent) -> bool:
        """Keep Enter, Escape and the arrows of the choices from becoming shortcuts of the bench."""
        if self.is_open and claimed(event, (*RETURN_KEYS, Qt.Key.Key_Escape, Qt.Key.Key_Space)):
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter accepts, Escape cancels."""
        if event.key() == Qt.Key.Key_Escape:
            self.cancel()
        elif event.key() in RETURN_KEYS:
            self.accept()
        else:
            super().keyPressEvent(event)


class _Input:
    """One field on screen."""

    widget: QWidget

    def focus_widget(self) -> QWidget:
        return self.widget

    def get(self) -> str:
        raise NotImplementedError

    def set(self, value: str) -> None:
        raise NotImplementedError


class _Text(_Input):
    def __init__(self, field: Field) -> None:
        self.line = QLineEdit(field.default)
        self.line.setMaxLength(2000)
        self.line.selectAll()
        if field.kind == "number":
            self.line.setInputMethodHints(Qt.InputMethodHint.ImhFormattedNumbersOnly)
            set_role(self.line, "number")
        self.widget = self.line

    def get(self) -> str:
        return self.line.text()

    def set(self, value: str) -> None:
        self.line.setText(value)


class _Choice(_Input):
    """A few choices are large buttons, many are a drop-down list."""

    def __init__(self, field: Field, columns: int, gap: int) -> None:
        self._buttons: list[_ChoiceButton] = []
        if len(field.choices) <= BUTTON_CHOICES:
            self._make_buttons(field, columns, gap)
        else:
            self.widget = self._list = QComboBox()
            self._list.addItems(list(field.choices))
            self._list.setCurrentIndex(
                field.choices.index(field.default) if field.default in field.choices else -1
            )

    def _make_buttons(self, field: Field, columns: int, gap: int) -> None:
        self.widget = QWidget()
        row = QGridLayout(self.widget)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(gap)
        self._row, self._columns = row, 0
        self._group = QButtonGroup(self.widget)
        for choice in field.choices:
            button = _ChoiceButton(choice)
            button.setChecked(choice == field.default)
            self._group.addButton(button)
            self._buttons.append(button)
        self.arrange(columns)

    def arrange(self, columns: int) -> None:
        """Put the buttons into this many columns."""
        if not self._buttons or columns == self._columns:
            return
        self._columns = columns
        for number, button in enumerate(self._buttons):
            self._row.addWidget(button, number // columns, number % columns)

    def focus_widget(self) -> QWidget:
        if not self._buttons:
            return self.widget
        return next((b for b in self._buttons if b.isChecked()), self._buttons[0])

    def get(self) -> str:
        if self._buttons:
            return next((b.choice for b in self._buttons if b.isChecked()), "")
        return self._list.currentText()

    def set(self, value: str) -> None:
        for button in self._buttons:
            button.setChecked(button.choice == value)
        if not self._buttons:
            self._list.setCurrentText(value)


class _ChoiceButton(QPushButton):
    """A choice; arrows move among them, the chosen one carries a tick."""

    def __init__(self, choice: str) -> None:
        super().__init__(choice)
        self.choice = choice
        set_role(self, "large")
        self.setCheckable(True)
        self.setAutoDefault(False)
        self.setAccessibleName(choice)
        self.toggled.connect(lambda on: self.setText(f"✓  {choice}" if on else choice))


def _alive(widget: QWidget) -> bool:
    try:
        return widget.isVisible()
    except RuntimeError:  # deleted meanwhile
        return False


def _checked(field: Field, value: str) -> tuple[str, str]:
    """A sentence about what is wrong (or none), and the value as it is handed on."""
    value = value.strip()
    if not value:
        if not field.required:
            return "", ""
        verb = "Choose" if field.kind == "choice" else "Fill in"
        return f"{verb}: {field.label}.", value
    if field.kind != "number":
        return "", value
    plain = value.replace(",", ".") if value.count(",") + value.count(".") == 1 else value
    plain = plain.replace("−", "-")
    try:
        number = float(plain)
    except ValueError:
        return f"{value} is not a number; enter for example 3.85.", value
    if not math.isfinite(number):
        return f"{value} is not a number; enter for example 3.85.", value
    return "", plain
