"""The procedures room: what is on this bench, whether it holds together, what it needs, and the key that
starts it.

It starts nothing itself: it asks with a signal. Reading and checking of files run in a thread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded
from benchguide.procedure.problems import Problem
from benchguide.procedure.procedure import Procedure
from benchguide.store.problems import StoreProblem
from benchguide.store.tables import SessionRow
from benchguide.window.plan_asked import Asked
from benchguide.window.plan_page import PlanPage
from benchguide.window.procedures_needs import NeedsView
from benchguide.window.procedures_words import (
    check_words,
    made_words,
    may_start,
    needs_of,
    problem_lines,
    row_words,
)
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


class DeviceLike(Protocol):
    """A part map on the shelf, as procedure.shelf gives it."""

    @property
    def loaded(self) -> Loaded[DeviceMap] | None: ...


class ProceduresRoom(QWidget):
    """Procedures at the left, the chosen one's needs at the right, job number, name and the start key below; and
    the page on which a way in is planned (`show_plan`).

    `procedures()` and `devices()` give the entries of the shelf and `check(device, procedure)` the checker's
    findings (all are called in a thread), `sessions()` the rows of the log. `may_start` is false in a window that
    only reads. Prints go to `print_folder` unless the person names another.
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
        devices: Callable[[], Sequence[DeviceLike]] = tuple,
        print_folder: Path | None = None,
    ) -> None:
        super().__init__(parent)
        self.theme, self._procedures, self._check, self._sessions = theme, procedures, check, sessions
        self._devices = devices
        self._may_start = may_start
        self._entries: dict[str, EntryLike] = {}
        self._found: dict[str, tuple[Problem, ...]] = {}
        self._open: list[SessionRow] = []
        self._wanted = ""
        self._shown = ""
        self._background = Background("procedure-check", self)
        self._background.ready.connect(self._take)
        self._build(person, print_folder)
        self.destroyed.connect(self._background.ender())

    def _build(self, person: str, print_folder: Path | None) -> None:
        theme, gap = self.theme, self.theme.sizes.gap
        self.list = RowList(theme, "Procedures", self)
        self.list.selectionModel().currentChanged.connect(lambda *_: self._show_chosen())
        self.list.activated.connect(lambda _index: self.job.setFocus())
        self.needs = NeedsView(theme)
        both = QHBoxLayout()
        both.setSpacing(2 * gap)
        for widget, stretch in ((self._make_left(), 2), (self.needs, 3)):
            widget.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
            both.addWidget(widget, stretch)
        first = QWidget()
        page = QVBoxLayout(first)
        page.setContentsMargins(0, 0, 0, 0)
        page.setSpacing(gap)
        page.addLayout(both, 1)
        page.addLayout(self._make_foot(person))
        self.plan = PlanPage(theme, print_folder)
        self.plan.left.connect(self.show_list)
        self.plan.job_wanted.connect(self._prepare_job)
        self.destroyed.connect(self.plan.ender())
        self.stack = QStackedWidget()
        for each in (first, self.plan):
            self.stack.addWidget(each)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(2 * gap, gap, 2 * gap, gap)
        outer.addWidget(self.stack)
        self.setAccessibleName("Procedures")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def _make_left(self) -> QWidget:
        self.plan_key = QPushButton("Way in to any part  [F9]")
        self.plan_key.setAccessibleName("Plan the way in to any part of this device")
        self.plan_key.clicked.connect(lambda _=False: self.show_plan())
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(self.theme.sizes.gap)
        column.addWidget(self.list, 1)
        column.addWidget(self.plan_key)
        return left

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
        self._background.ask("shelf", lambda: (_in_order(self._procedures()), list(self._devices())))

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
        entries, devices = result
        self._entries = {_key(entry): entry for entry in entries}
        self._found = {}
        for key, entry in reversed(self._entries.items()):
            self._ask_check(key, entry)
        self.list.show_rows([self._row(entry) for entry in entries])
        self.plan.show_devices(_maps(entries, devices), entries)
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
        return Row(_key(entry), entry.title, right, row_words(device, entry.loaded, self._verdict(entry)))

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
            self.needs.show_origin(made_words(entry.loaded, entry.device.model))
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

    # -- the way in to a part

    def show_plan(self, asked: Asked | None = None) -> None:
        """Go to the page that plans a way in: as asked, else as it was left, else for the procedure in view."""
        entry = self.chosen
        if asked is None and not self.plan.asked.target and entry and entry.loaded and entry.device:
            procedure = entry.loaded.model
            asked = Asked(procedure.device, procedure.target or "", procedure.keep)
        if asked is not None:
            self.plan.ask(asked)
        self.stack.setCurrentIndex(1)
        self.plan.search.setFocus()

    def show_list(self) -> None:
        """Go back to the procedures."""
        self.stack.setCurrentIndex(0)
        self.list.setFocus()

    def _prepare_job(self, entry: EntryLike) -> None:
        """A job was chosen on the plan page: its needs come into view, the keyboard goes to the job number."""
        self.show_list()
        self.choose(entry)
        self.job.setFocus()

    # -- coming and going

    def stop(self) -> None:
        """End the threads."""
        self._background.stop()
        self.plan.stop()

    def showEvent(self, event: Any) -> None:
        """The room comes into view: shelf and sessions are read anew, after the first paint."""
        super().showEvent(event)
        QTimer.singleShot(0, self, self.refresh)

    def focusInEvent(self, event: Any) -> None:
        """The keyboard belongs to the page in view."""
        super().focusInEvent(event)
        (self.list, self.plan.parts)[self.stack.currentIndex()].setFocus()


def _field(name: str, longest: int) -> QLineEdit:
    field = QLineEdit()
    field.setMaxLength(longest)
    field.setAccessibleName(name)
    return field


def _key(entry: EntryLike) -> str:
    return str(entry.path)


def _in_order(entries: Sequence[EntryLike]) -> list[EntryLike]:
    """Jobs of one device beside each other, by name; what cannot be read comes last."""
    return sorted(entries, key=lambda e: (e.device is None, e.device.model.name if e.device else "", e.title))


def _maps(entries: Sequence[EntryLike], devices: Sequence[DeviceLike]) -> list[Loaded[DeviceMap]]:
    """Every part map that can be read, each once, by name."""
    found = {each.loaded.model.id: each.loaded for each in devices if each.loaded}
    found |= {each.device.model.id: each.device for each in entries if each.device}
    return sorted(found.values(), key=lambda loaded: loaded.model.name)


def _readable(entry: EntryLike) -> bool:
    return entry.loaded is not None and entry.device is not None


def _steps(entry: EntryLike) -> int:
    return len(entry.loaded.model.steps) if entry.loaded else 0
