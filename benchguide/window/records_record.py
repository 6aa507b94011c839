"""One record in the records room: figures on top, then exceptions, timeline, times, photos and proofs as
lists.

It shows; reading the log, exporting and going back are asked for with signals.
"""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from benchguide.review.record import Record
from benchguide.store.tables import SessionRow
from benchguide.window import records_words as words
from benchguide.window.records_compare import compare_rows, session_name
from benchguide.window.records_past import Past
from benchguide.window.records_rows import RowList, as_cards
from benchguide.window.records_thumbs import Thumbs
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.themed import label

KINDS = ("page", "table", "pictures")


class RecordPage(QWidget):
    """One record. Signals: `left` (back to the list), `export_asked(kind)`, `stop_asked`, `resume_asked`,
    `photo_asked(rows, sha256)`, `other_asked(session_id)` for the comparison with another session."""

    left = Signal()
    export_asked = Signal(str)
    stop_asked = Signal()
    resume_asked = Signal()
    photo_asked = Signal(object, str)
    other_asked = Signal(str)

    def __init__(self, theme: Theme, thumbs: Thumbs, folder: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.record: Record | None = None
        self.title = label("", "heading", wrap=True)
        self.who = label("", "soft", wrap=True)
        self.figures = label("", "strong", wrap=True)
        self.exceptions = RowList(theme, "Exceptions", self)
        self.timeline = RowList(theme, "Timeline", self, thumbs)
        self.times = RowList(theme, "Times beside the plan", self)
        self.photos = RowList(theme, "Photos by step", self, thumbs)
        as_cards(self.photos, theme, thumbs)
        self.proofs = RowList(theme, "Readings, tests and counts", self)
        self._past: Past | None = None
        self._others: list[SessionRow] = []
        self.compare = self._make_compare(theme)
        self.tabs = self._make_tabs()
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(theme.sizes.gap)
        layout.addLayout(self._make_head())
        layout.addWidget(self.who)
        layout.addWidget(self.figures)
        layout.addWidget(self.tabs, 1)
        layout.addLayout(self._make_foot(folder))

    def _make_head(self) -> QHBoxLayout:
        self.back = QPushButton("Records  [Esc]")
        self.back.setAccessibleName("Back to the list of records")
        self.back.clicked.connect(lambda _=False: self.left.emit())
        self.resume = QPushButton("Continue this job")
        set_role(self.resume, "primary")
        self.resume.clicked.connect(lambda _=False: self.resume_asked.emit())
        head = QHBoxLayout()
        head.addWidget(self.back)
        head.addWidget(self.title, 1)
        head.addWidget(self.resume)
        return head

    def _make_compare(self, theme: Theme) -> QWidget:
        self.other = QComboBox()
        self.other.setAccessibleName("Session to compare with")
        self.other.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.other.activated.connect(self._ask_other)
        self.differences = RowList(theme, "Differences step by step", self)
        self.compared = label("", "", wrap=True)
        page = QWidget()
        page.setFocusProxy(self.other)
        column = QVBoxLayout(page)
        gap = theme.sizes.gap
        column.setContentsMargins(gap, gap, gap, gap)
        column.setSpacing(gap)
        for widget in (self.other, self.compared):
            column.addWidget(widget)
        column.addWidget(self.differences, 1)
        return page

    def show_others(self, rows: list[SessionRow]) -> None:
        """Offer these sessions for the comparison."""
        chosen = self.other.currentData()
        self._others = rows
        self.other.clear()
        self.other.addItem("Choose a session of the same procedure", "")
        for row in rows:
            self.other.addItem(session_name(row), row.session_id)
        place = max(0, self.other.findData(chosen))
        self.other.setCurrentIndex(place)
        self.other.setEnabled(bool(rows))
        if not place:
            self.differences.show_rows([])
            said = "Choose a session above." if rows else "There is no other session of this procedure yet."
            self.compared.setText(said)

    def _ask_other(self, place: int) -> None:
        session = self.other.itemData(place)
        if session:
            self.compared.setText("The other session is being read …")
            self.other_asked.emit(session)

    def show_comparison(self, other: Record | None, trouble: str = "") -> None:
        """The other session has been read, or could not be."""
        if other is None or self.record is None:
            self.compared.setText(trouble)
            self.differences.show_rows([])
            return
        self.compared.setText(
            f"{self.record.job} beside {other.job}: how much longer or shorter hands were at work. "
            "One pair of jobs says nothing about what is usual."
        )
        self.differences.show_rows(compare_rows(self.record, other))

    def show_past(self, past: Past) -> None:
        """Times of past jobs, as far as they are read."""
        self._past = past
        if self.record:
            self.times.show_rows(words.time_rows(self.record, past))

    def _make_tabs(self) -> QTabWidget:
        tabs = QTabWidget()
        tabs.setDocumentMode(True)
        tabs.tabBar().setDrawBase(False)
        tabs.setUsesScrollButtons(True)
        tabs.setAccessibleName("Parts of the record")
        for name, widget in (
            ("Exceptions", self.exceptions),
            ("Timeline", self.timeline),
            ("Times", self.times),
            ("Photos", self.photos),
            ("Readings and tests", self.proofs),
            ("Compare", self.compare),
        ):
            tabs.addTab(widget, name)
        self.timeline.activated.connect(lambda index: self._open_photo(self.timeline))
        self.photos.activated.connect(lambda index: self._open_photo(self.photos))
        return tabs

    def _make_foot(self, folder: str) -> QVBoxLayout:
        self.folder = QLineEdit(folder)
        self.folder.setAccessibleName("Folder for exports")
        caption = label("Export to")
        caption.setBuddy(self.folder)
        self.export: dict[str, QPushButton] = {}
        line = QHBoxLayout()
        line.addWidget(caption)
        line.addWidget(self.folder, 1)
        for kind in KINDS:
            button = QPushButton(kind.capitalize())
            button.setAccessibleName(f"Export {kind}")
            button.clicked.connect(lambda _=False, kind=kind: self.export_asked.emit(kind))
            self.export[kind] = button
            line.addWidget(button)
        self.progress = QProgressBar()
        self.progress.setAccessibleName("Progress of the export")
        self.stop = QPushButton("Stop")
        self.stop.setAccessibleName("Stop the export")
        self.stop.clicked.connect(lambda _=False: self.stop_asked.emit())
        self.said = label("", "", wrap=True)
        self.said.setAccessibleName("Result of the export")
        going = QHBoxLayout()
        going.addWidget(self.progress, 1)
        going.addWidget(self.stop)
        foot = QVBoxLayout()
        foot.addLayout(line)
        foot.addLayout(going)
        foot.addWidget(self.said)
        self.show_result("")
        return foot

    def show_record(self, record: Record, may_resume: bool) -> None:
        """Show this record; an open one can be continued."""
        again = self.record is not None and self.record.session == record.session
        if not again:
            self._past = None
        self.record = record
        self.title.setText(f"{record.job}  {record.title}")
        self.who.setText(words.heading(record))
        self.resume.setVisible(record.state.open and may_resume)
        self.figures.setText(words.figures(record))
        exceptions = words.exception_rows(record)
        self.exceptions.show_rows(exceptions)
        self.timeline.show_rows(words.timeline_rows(record))
        self.times.show_rows(words.time_rows(record, self._past))
        self.photos.show_rows(words.photo_rows(record))
        self.proofs.show_rows(words.proof_rows(record))
        number = len([row for row in exceptions if row.key != "none"])
        self.tabs.setTabText(0, f"Exceptions ({number})")
        self.tabs.setTabText(3, f"Photos ({len(record.photos)})")
        if not again:
            self.tabs.setCurrentIndex(0)
            self.show_result("")
        self.tabs.currentWidget().setFocus()

    def _open_photo(self, rows: RowList) -> None:
        row = rows.chosen()
        if row and row.photo:
            self.photo_asked.emit(words.photo_order(rows.rows.rows), row.photo)

    def show_progress(self, done: int, of: int) -> None:
        """An export is going on."""
        self.progress.setRange(0, max(1, of))
        self.progress.setValue(done)
        self.progress.setFormat(f"{done} of {of} photos")
        self._going(True)
        self.said.hide()

    def show_result(self, sentence: str) -> None:
        """The export has ended with this sentence; empty for none."""
        self._going(False)
        self.said.setText(sentence)
        self.said.setVisible(bool(sentence))

    def _going(self, on: bool) -> None:
        self.progress.setVisible(on)
        self.stop.setVisible(on)
        for button in self.export.values():
            button.setEnabled(not on)

    def keyPressEvent(self, event: Any) -> None:
        """Escape goes back to the list."""
        if event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_Backspace):
            self.left.emit()
        else:
            super().keyPressEvent(event)
