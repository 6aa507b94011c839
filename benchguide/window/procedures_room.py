"""The procedures room: what is on this bench, whether it holds together, what it needs, and the key that
starts it.

It starts nothing itself: it asks with a signal. Reading and checking of files run in a thread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded
from benchguide.procedure.problems import Problem
from benchguide.procedure.procedure import Procedure
from benchguide.store.problems import StoreProblem
from benchguide.store.tables import SessionRow
from benchguide.window.procedures_needs import NeedsView
from benchguide.window.procedures_words import check_words, may_start, needs_of, problem_lines
from benchguide.window.records_background import Background
from benchguide.window.records_rows import Row, RowList
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.themed import label


class EntryLike(Protocol):
    """A procedure on the shelf, as procedure.shelf gives it."""

    @property
    def path(self) -> Path: ...
    @property
    def loaded(self) -> Loaded[Procedure] | None: ...
    @property
    def device(self) -> Loaded[DeviceMap] | None: ...
    @property
    def problems(self) -> tuple[Problem, ...]: ...
    @property
    def title(self) -> str: ...


class ProceduresRoom(QWidget):
    """Procedures at the left, the chosen one's needs at the right, job number, name and the start key below.

    `procedures()` gives the entries of the shelf and `check(device, procedure)` the checker's findings
    (both are
    called in a thread), `sessions()` the rows of the log. `may_start` is false in a window that only reads.
    """

    start_wanted = Signal(object, str, str)
    """The entry, the job number and the person's name."""
    resume_wanted = Signal(str)

    def __init__(
        self,
        theme: Theme,
        procedures: Callable[[], Sequence[EntryLike]],
        check: Callable[[Loaded[DeviceMap], Loaded[Procedure]], Sequence[Problem]],
        sessions: Callable[[], Sequence[SessionRow]],
        person: str = "",
        may_start: bool = True,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.theme, self._procedures, self._check, self._sessions = theme, procedures, check, sessions
        self._may_start = may_start
        self._entries: dict[str, EntryLike] = {}
        self._found: dict[str, tuple[Problem, ...]] = {}
        self._open: list[SessionRow] = []
        self._wanted = ""
        self._shown = ""
        self._background = Background("procedure-check", self)
        self._background.ready.connect(self._take)
        self._build(person)
        self.destroyed.connect(self._background.ender())

    def _build(self, person: str) -> None:
        theme, gap = self.theme, self.theme.sizes.gap
        self.list = RowList(theme, "Procedures", self)
        self.list.selectionModel().currentChanged.connect(lambda *_: self._show_chosen())
        self.list.activated.connect(lambda _index: self.job.setFocus())
        self.needs = NeedsView(theme)
        both = QHBoxLayout()
        both.setSpacing(2 * gap)
        for widget, stretch in ((self.list, 2), (self.needs, 3)):
            widget.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
            both.addWidget(widget, stretch)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(2 * gap, gap, 2 * gap, gap)
        outer.setSpacing(gap)
        outer.addLayout(both, 1)
        outer.addLayout(self._make_foot(person))
        self.setAccessibleName("Procedures")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def _make_foot(self, person: str) -> QVBoxLayout:
        self.job = _field("Job number", 60)
        self.person = _field("Your name", 60)
        self.person.setText(person)
        self.start = QPushButton("Start this job")
        set_role(self.start, "primary")
        # the sheet knows primary buttons of a row's height only; this one is the 20 mm key of the room
        self.start.setStyleSheet(f"min-height: {self.theme.sizes.target}px")
        self.start.clicked.connect(self._start)
        self.job.returnPressed.connect(lambda: self.person.setFocus() if not self._name() else self._start())
        self.person.returnPressed.connect(self._start)
        line = QHBoxLayout()
        line.setSpacing(self.theme.sizes.gap)
        for caption, field, stretch in (("Job number", self.job, 2), ("Your name", self.person, 3)):
            words = label(caption)
            words.setBuddy(field)
            line.addWidget(words)
            line.addWidget(field, stretch)
        line.addWidget(self.start)
        self.told = label("", "strong", wrap=True)
        self.told.setAccessibleName("Why the job cannot be started")
        self.told.hide()
        foot = QVBoxLayout()
        foot.addWidget(self.told)
        foot.addLayout(line)
        return foot

    # -- the shelf

    def refresh(self) -> None:
        """Read the shelf and the open sessions anew."""
        try:
            self._open = [row for row in self._sessions() if row.state == "open"]
        except StoreProblem as error:
            self._open = []
            self._tell(str(error))
        self._background.ask("shelf", lambda: list(self._procedures()))

    def choose(self, entry: EntryLike) -> None:
        """Bring this procedure to the front, now or as soon as the shelf has been read."""
        self._wanted = _key(entry)
        self._go_to_wanted()

    @property
    def chosen(self) -> EntryLike | None:
        """The procedure in view."""
        row = self.list.chosen()
        return self._entries.get(row.key) if row else None

    def _take(self, key: Any, result: Any) -> None:
        if key == "shelf":
            self._show_shelf(result)
            return
        problem = isinstance(result, Exception)
        self._found[key[1]] = () if problem else tuple(result)
        if problem:
            self._tell(f"The check of {key[1]} did not end: {result}.")
        entry = self._entries.get(key[1])
        if entry:
            self.list.rows.replace(key[1], self._row(entry))
            if self._shown == key[1]:
                self._show_chosen()

    def _show_shelf(self, result: Any) -> None:
        if isinstance(result, Exception):
            self._tell(f"The procedures cannot be read: {result}.")
            return
        self._entries = {_key(entry): entry for entry in result}
        self._found = {}
        for key, entry in reversed(self._entries.items()):
            self._ask_check(key, entry)
        self.list.show_rows([self._row(entry) for entry in result])
        self._go_to_wanted()
        if not self._entries:
            self.needs.begin()
            self.needs.show_title("No procedures", "No procedure files (*.procedure.yaml) were found.", "")
            self.needs.end()
        self._show_chosen()

    def _ask_check(self, key: str, entry: EntryLike) -> None:
        device, loaded = entry.device, entry.loaded
        if device is None or loaded is None:
            self._found[key] = tuple(entry.problems)
        else:
            self._background.ask(("check", key), lambda: [*entry.problems, *self._check(device, loaded)])

    def _go_to_wanted(self) -> None:
        keys = list(self._entries)
        if self._wanted in keys:
            self.list.setCurrentIndex(self.list.rows.index(keys.index(self._wanted)))
            self._wanted = ""

    def _row(self, entry: EntryLike) -> Row:
        device = entry.device.model.name if entry.device else ""
        going = len(self._open_of(entry))
        right = f"{going} open" if going else ""
        return Row(_key(entry), entry.title, right, (device, self._verdict(entry)))

    def _verdict(self, entry: EntryLike) -> str:
        return check_words(self._found.get(_key(entry)), _readable(entry), _steps(entry))

    def _open_of(self, entry: EntryLike) -> list[SessionRow]:
        device = entry.device.model.name if entry.device else None
        return [row for row in self._open if row.procedure == entry.title and row.device == device]

    # -- the chosen procedure

    def _show_chosen(self) -> None:
        entry = self.chosen
        if entry is None:
            self.start.setEnabled(False)
            return
        self._shown = _key(entry)
        problems = self._found.get(self._shown)
        ready = may_start(problems, _readable(entry), _steps(entry))
        self.start.setEnabled(ready and self._may_start)
        self._tell(
            "" if self._may_start else "Another window works on this data folder; start the job there."
        )
        self.needs.begin()
        about = entry.loaded.model.about if entry.loaded else f"File: {entry.path}"
        self.needs.show_title(entry.title, about, self._verdict(entry))
        for button, session in self.needs.show_open(self._open_of(entry), self._may_start):
            button.clicked.connect(lambda _=False, session=session: self.resume_wanted.emit(session))
        if entry.loaded and entry.device:
            self.needs.show_needs(needs_of(entry.device.model, entry.loaded.model))
        self.needs.show_findings(problem_lines(problems or ()))
        self.needs.end()

    def _name(self) -> str:
        return self.person.text().strip()

    def _start(self) -> None:
        entry = self.chosen
        if entry is None or not self.start.isEnabled():
            return
        missing = next((field for field in (self.job, self.person) if not field.text().strip()), None)
        if missing is not None:
            what = "job number" if missing is self.job else "name"
            self._tell(f"A {what} is needed before the job can start.")
            missing.setFocus()
            return
        self._tell("")
        self.start_wanted.emit(entry, self.job.text().strip(), self._name())

    def _tell(self, sentence: str) -> None:
        self.told.setText(sentence)
        self.told.setVisible(bool(sentence))

    # -- coming and going

    def stop(self) -> None:
        """End the thread."""
        self._background.stop()

    def showEvent(self, event: Any) -> None:
        """The room comes into view: shelf and sessions are read anew, after the first paint."""
        super().showEvent(event)
        QTimer.singleShot(0, self, self.refresh)

    def focusInEvent(self, event: Any) -> None:
        """The keyboard belongs to the list."""
        super().focusInEvent(event)
        self.list.setFocus()


def _field(name: str, longest: int) -> QLineEdit:
    field = QLineEdit()
    field.setMaxLength(longest)
    field.setAccessibleName(name)
    return field


def _key(entry: EntryLike) -> str:
    return str(entry.path)


def _readable(entry: EntryLike) -> bool:
    return entry.loaded is not None and entry.device is not None


def _steps(entry: EntryLike) -> int:
    return len(entry.loaded.model.steps) if entry.loaded else 0
