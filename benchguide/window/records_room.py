"""The records room: sessions as rows, one record, one photo. Everything in one place, no dialogs, by
keyboard alone.

Reading and exporting run in threads of their own; the room only asks and shows. It changes nothing in
the log.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from threading import Event
from typing import Any

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QLineEdit, QStackedWidget, QVBoxLayout, QWidget

from benchguide.review.problems import ReviewProblem, Stopped
from benchguide.review.record import Record
from benchguide.store.problems import StoreProblem
from benchguide.store.tables import SessionRow
from benchguide.window.records_background import Background
from benchguide.window.records_compare import comparable
from benchguide.window.records_pair import pairs_of
from benchguide.window.records_past import Past, step_seconds
from benchguide.window.records_photo import PhotoPage
from benchguide.window.records_record import RecordPage
from benchguide.window.records_rows import Row, RowList
from benchguide.window.records_thumbs import ShelfLike, Thumbs
from benchguide.window.records_words import Summary, found_by, session_row, summary_of
from benchguide.window.theme import Theme
from benchguide.window.widgets.themed import label

#: past jobs read for the times of a step, the newest first
MOST_PAST = 60


class RecordsRoom(QWidget):
    """Sessions, newest first; Return opens one.

    `sessions()` gives the rows of the log, `read(session_id)` a Record (it is called in a thread, so is
    the shelf).
    With `export_folder` the room exports by itself and emits `exported(paths)`; without one it emits
    `export_wanted(session_id, kind)` and leaves the work to whoever listens. Call `refresh` when the log
    has grown
    (it is called by itself whenever the room comes into view) and `stop` before the log is closed.
    """

    export_wanted = Signal(str, str)
    exported = Signal(object)
    resume_wanted = Signal(str)
    _photo_done = Signal(int, int)

    def __init__(
        self,
        theme: Theme,
        sessions: Callable[[], Sequence[SessionRow]],
        read: Callable[[str], Record],
        shelf: ShelfLike,
        export_folder: Path | None = None,
        may_resume: bool = True,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.theme, self._sessions, self._read, self._shelf = theme, sessions, read, shelf
        self._export_folder, self._may_resume = export_folder, may_resume
        self._rows: list[SessionRow] = []
        self._summaries: dict[tuple[str, str], Summary | str] = {}
        self._opened = ""
        self._asked = 0
        self._past = Past()
        self._seconds: dict[tuple[str, str], dict[str, float]] = {}
        self._stop_export = Event()
        self._thumbs = Thumbs(shelf, self)
        self._reader = Background("record-reader", self)
        self._exporter = Background("record-exporter", self)
        self._reader.ready.connect(self._take)
        self._exporter.ready.connect(self._export_ended)
        self._photo_done.connect(self._show_progress)
        self._build()
        self.destroyed.connect(_stopper(self._thumbs, self._reader, self._exporter, self._stop_export))

    def _build(self) -> None:
        theme = self.theme
        self.search = QLineEdit()
        self.search.setPlaceholderText("Search job, device, procedure, person, date, state")
        self.search.setAccessibleName("Search the records")
        self.search.setClearButtonEnabled(True)
        self.search.textChanged.connect(self._show_list)
        self.search.returnPressed.connect(self._focus_list)
        self.told = label("", "soft", wrap=True)
        self.list = RowList(theme, "Records", self)
        self.list.activated.connect(lambda _index: self.open_chosen())
        self.list.rows.looked_at = self._looked_at
        first = QWidget()
        layout = QVBoxLayout(first)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(theme.sizes.gap)
        for widget in (self.search, self.told):
            layout.addWidget(widget)
        layout.addWidget(self.list, 1)
        self.page = RecordPage(theme, self._thumbs, str(self._export_folder or ""))
        self.page.left.connect(self.show_list)
        self.page.export_asked.connect(self._export)
        self.page.stop_asked.connect(self._stop_export.set)
        self.page.resume_asked.connect(lambda: self.resume_wanted.emit(self._opened))
        self.page.photo_asked.connect(self._open_photo)
        self.page.other_asked.connect(self._read_other)
        self.page.folder.setVisible(self._export_folder is not None)
        self.photo = PhotoPage(theme, self._thumbs)
        self.photo.left.connect(self._close_photo)
        self.stack = QStackedWidget()
        for each in (first, self.page, self.photo):
            self.stack.addWidget(each)
        outer = QVBoxLayout(self)
        gap = theme.sizes.gap
        outer.setContentsMargins(2 * gap, gap, 2 * gap, gap)
        outer.addWidget(self.stack)
        self.setAccessibleName("Records")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    # -- the list

    def _focus_list(self) -> None:
        self.list.setFocus()

    def refresh(self) -> None:
        """Read the list of sessions anew; a record in view is read anew as well."""
        try:
            self._rows = list(self._sessions())
        except StoreProblem as error:
            self._rows = []
            self.told.setText(str(error))
        self._show_list()
        if self._opened and self.stack.currentIndex() > 0:
            self.open_record(self._opened)

    def _show_list(self) -> None:
        text = self.search.text()
        found = [row for row in self._rows if found_by(row, text)]
        self.list.show_rows([self._row(row) for row in found])
        if not self._rows:
            self.told.setText("There are no records yet. Start a job in Procedures.")
        elif not found:
            self.told.setText(f"None of {len(self._rows)} records holds these words.")
        elif len(found) < len(self._rows):
            self.told.setText(f"{len(found)} of {len(self._rows)} records, newest first")
        else:
            self.told.setText(
                f"{len(found)} record{'s' if len(found) > 1 else ''}, newest first. Return opens one."
            )

    def _row(self, row: SessionRow) -> Row:
        known = self._summaries.get((row.session_id, row.head))
        if isinstance(known, str):
            return session_row(row, None, known)
        return session_row(row, known)

    def _looked_at(self, row: Row) -> None:
        """A row is being drawn: its times are worth reading now."""
        session = next((r for r in self._rows if r.session_id == row.key), None)
        if session and (session.session_id, session.head) not in self._summaries:
            key = ("summary", session.session_id, session.head)
            self._reader.ask(key, lambda: self._read_summary(session.session_id))

    def _read_summary(self, session_id: str) -> Summary:
        return summary_of(self._read(session_id))

    def _take(self, key: Any, result: object) -> None:
        if key[0] == "record":
            if key[2] == self._asked:
                self._show_record(key[1], result)
            return
        if key[0] == "past":
            self._take_past(key, result)
            return
        if key[0] == "other":
            if key[1] == self._opened:
                other = result if isinstance(result, Record) else None
                self.page.show_comparison(other, "" if other else str(result))
            return
        _, session_id, head = key
        known = result if isinstance(result, Summary) else str(result)
        self._summaries[(session_id, head)] = known
        session = next((r for r in self._rows if r.session_id == session_id and r.head == head), None)
        if session:
            self.list.rows.replace(session_id, self._row(session))
            self.list.scheduleDelayedItemsLayout()

    def show_list(self) -> None:
        """Go back to the list."""
        self._opened = ""
        self._thumbs.forget()
        self.stack.setCurrentIndex(0)
        self.list.setFocus()

    def open_chosen(self) -> None:
        """Open the record the keyboard is on."""
        row = self.list.chosen()
        if row:
            self.open_record(row.key)

    # -- one record

    def open_record(self, session_id: str) -> None:
        """Read a session and show it."""
        self._opened = session_id
        self._asked += 1  # never merged with an older wish: the log may have grown since
        self._reader.ask(("record", session_id, self._asked), lambda: self._read(session_id))

    def _show_record(self, session_id: str, result: object) -> None:
        if session_id != self._opened:
            return
        if isinstance(result, Record):
            if self.stack.currentIndex() == 0:
                self.stack.setCurrentIndex(1)
            self.page.show_record(result, self._may_resume)
            others = comparable(self._rows, result)
            self.page.show_others(others)
            self._read_past([row for row in others if row.state == "finished" and not row.abandoned])
        else:
            self.show_list()
            self.told.setText(str(result))

    def _read_past(self, rows: list[SessionRow]) -> None:
        """Read past jobs of the same procedure, one wish each, so that anything else comes in between."""
        rows = rows[:MOST_PAST]
        self._past = Past(wanted=len(rows))
        for row in reversed(rows):
            known = self._seconds.get((row.session_id, row.head))
            if known is not None:
                self._past.add(known)
                continue
            key = ("past", self._opened, row.session_id, row.head, self._asked)
            self._reader.ask(key, partial(self._read_seconds, row.session_id))
        self.page.show_past(self._past)

    def _read_seconds(self, session_id: str) -> dict[str, float]:
        return step_seconds(self._read(session_id))

    def _take_past(self, key: Any, result: object) -> None:
        _, opened, session_id, head, asked = key
        # a past job that cannot be read counts as read, and tells nothing
        seconds = result if isinstance(result, dict) else {}
        self._seconds[(session_id, head)] = seconds
        if opened == self._opened and asked == self._asked:
            self._past.add(seconds)
            if self._past.complete:
                self.page.show_past(self._past)

    def _read_other(self, session_id: str) -> None:
        self._reader.ask(("other", self._opened, session_id), lambda: self._read(session_id))

    def _open_photo(self, rows: list[Row], sha256: str) -> None:
        record = self.page.record
        self.photo.show_photo(rows, sha256, pairs_of(record) if record else None)
        self.stack.setCurrentIndex(2)
        self.photo.setFocus()

    def _close_photo(self) -> None:
        self.stack.setCurrentIndex(1)
        self.page.tabs.currentWidget().setFocus()

    # -- export

    def _export(self, kind: str) -> None:
        record = self.page.record
        if record is None:
            return
        if self._export_folder is None:
            self.export_wanted.emit(record.session, kind)
            return
        text = self.page.folder.text().strip()
        if not text:
            self.page.show_result("Write a folder to save in first.")
            self.page.folder.setFocus()
            return
        folder = Path(text).expanduser()
        self._stop_export.clear()
        self.page.show_progress(0, len(record.photos))
        self._exporter.ask(("export", record.session, kind), lambda: self._export_now(record, folder, kind))

    def _export_now(self, record: Record, folder: Path, kind: str) -> object:
        """Runs in the exporter's thread."""
        from benchguide.review.export import export_record

        def tell(done: int, of: int) -> bool:
            self._photo_done.emit(done, of)
            return not self._stop_export.is_set()

        return export_record(record, self._shelf, folder, (kind,), tell)

    def _show_progress(self, done: int, of: int) -> None:
        self.page.show_progress(done, of)

    def _export_ended(self, _key: object, result: Any) -> None:
        if isinstance(result, Stopped | ReviewProblem):
            self.page.show_result(str(result))
        elif isinstance(result, Exception):
            self.page.show_result(f"The record could not be exported: {result}.")
        else:
            told = f"Saved: {result.paths[0]}"
            if result.troubles:
                told += f"  {len(result.troubles)} photos could not be taken along: {result.troubles[0]}"
            self.page.show_result(told)
            self.exported.emit(result.paths)

    # -- coming and going

    def stop(self) -> None:
        """End the threads; the room shows what it has but reads nothing more."""
        self._stop_export.set()
        for each in (self._thumbs, self._reader, self._exporter):
            each.stop()

    def showEvent(self, event: Any) -> None:
        """The room comes into view: the list is read anew, after the first paint."""
        super().showEvent(event)
        QTimer.singleShot(0, self, self.refresh)

    def hideEvent(self, event: Any) -> None:
        """The room is left: what has not been read need not be."""
        super().hideEvent(event)
        self._reader.forget()
        self._thumbs.forget()

    def focusInEvent(self, event: Any) -> None:
        """The keyboard belongs to the page in view."""
        super().focusInEvent(event)
        page = self.stack.currentIndex()
        (self.list, self.page.tabs.currentWidget(), self.photo)[page].setFocus()

    def keyPressEvent(self, event: Any) -> None:
        """Ctrl+F goes to the search field."""
        if event.key() == Qt.Key.Key_F and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.show_list()
            self.search.setFocus()
        else:
            super().keyPressEvent(event)


def _stopper(thumbs: Thumbs, reader: Background, exporter: Background, flag: Event) -> Callable[[], None]:
    """Ends the threads when the room is deleted. Holds the threads, not the room."""
    ends = (flag.set, thumbs.ender(), reader.ender(), exporter.ender())

    def stop() -> None:
        for end in ends:
            end()

    return stop
