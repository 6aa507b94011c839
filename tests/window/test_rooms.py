"""The records and procedures rooms with a real log, real photos and real procedure files, by keyboard."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from benchguide.bundled import procedures_folder
from benchguide.procedure.check import check
from benchguide.procedure.problems import Severity
from benchguide.procedure.shelf import Shelf
from benchguide.review.record import Record, read_record
from benchguide.window.procedures_room import ProceduresRoom
from benchguide.window.procedures_words import may_start, needs_of
from benchguide.window.records_room import RecordsRoom
from benchguide.window.theme import DARK, LIGHT, Palette, Theme, apply_theme, sizes_on
from benchguide.window.widgets.caution import CautionPanel
from tests.review.sample_sessions import Runner, eventful

Key = Qt.Key


@pytest.fixture
def theme(qapp: QApplication) -> Theme:
    return _themed(qapp, DARK)


def _themed(app: QApplication, palette: Palette) -> Theme:
    made = Theme(palette, sizes_on(app.primaryScreen(), 100))
    apply_theme(app, made)
    return made


@pytest.fixture
def data(tmp_path: Path) -> Iterator[Runner]:
    """A data folder with a finished job and an open one."""
    first = eventful(Runner(tmp_path / "data"))
    first.log.close()
    runner = Runner(tmp_path / "data", number="J-18", person="Chandra")
    runner.first = first.session  # type: ignore[attr-defined]
    yield runner
    runner.log.close()


@pytest.fixture
def records(qtbot: QtBot, theme: Theme, data: Runner, tmp_path: Path) -> Iterator[RecordsRoom]:
    def read(session: str) -> Record:
        return read_record(data.log, session)

    room = RecordsRoom(theme, data.log.sessions, read, data.shelf, tmp_path / "out")
    _show(qtbot, room)
    yield room
    room.stop()


def _show(qtbot: QtBot, room: QWidget) -> None:
    qtbot.addWidget(room)
    room.resize(1280, 800)
    with qtbot.waitExposed(room):
        room.show()


def _rows(records: RecordsRoom) -> list[str]:
    return [row.spoken for row in records.list.rows.rows]


def _open(qtbot: QtBot, records: RecordsRoom, session: str) -> None:
    records.open_record(session)
    qtbot.waitUntil(lambda: records.stack.currentIndex() == 1)


def test_sessions_are_rows_with_times_and_exceptions(qtbot: QtBot, records: RecordsRoom) -> None:
    qtbot.waitUntil(lambda: len(_rows(records)) == 2 and all("exception" in row for row in _rows(records)))
    opened, finished = _rows(records)
    for words in ("J-18", "Clean the plug", "Sample box", "Chandra", "2031-03-04", "open", "0 photos"):
        assert words in opened
    for words in ("J-17", "finished", "touch 5 min 52 s", "waiting 1 min 40 s", "hold 10 min 00 s"):
        assert words in finished


@pytest.mark.parametrize(
    ("text", "found"), [("chandra", 1), ("j-1 PLUG", 2), ("finished", 1), ("2031-03", 2), ("nobody", 0)]
)
def test_search(qtbot: QtBot, records: RecordsRoom, text: str, found: int) -> None:
    qtbot.waitUntil(lambda: len(_rows(records)) == 2)
    qtbot.keyClicks(records.search, text)
    assert len(_rows(records)) == found
    assert records.told.text()


def test_a_record_opens_and_closes_by_keyboard(qtbot: QtBot, records: RecordsRoom) -> None:
    qtbot.waitUntil(lambda: len(_rows(records)) == 2)
    qtbot.keyClick(records.list, Key.Key_Down)
    qtbot.keyClick(records.list, Key.Key_Return)
    qtbot.waitUntil(lambda: records.stack.currentIndex() == 1)
    assert "J-17" in records.page.title.text()
    qtbot.keyClick(records.page.exceptions, Key.Key_Escape)
    assert records.stack.currentIndex() == 0


def test_one_record_shows_everything(qtbot: QtBot, records: RecordsRoom, data: Runner) -> None:
    _open(qtbot, records, data.first)  # type: ignore[attr-defined]
    page = records.page
    record = page.record
    assert record is not None
    assert len(page.timeline.rows.rows) == len(record.facts)
    assert len(page.times.rows.rows) == len(record.steps)
    assert len(page.photos.rows.rows) == len(record.photos)
    spoken = " ".join(row.spoken for row in page.exceptions.rows.rows)
    for words in ("Camera cable broken & gone", "telephone", "cleaner does it", "rolled off"):
        assert words in spoken
    proofs = " ".join(row.spoken for row in page.proofs.rows.rows)
    assert "OUTSIDE its limits (3.6 to 4.2 V)" in proofs
    assert "Dial moves - not testable" in proofs
    assert page.resume.isHidden()


def test_only_pictures_on_the_screen_are_loaded(qtbot: QtBot, theme: Theme, tmp_path: Path) -> None:
    runner = Runner(tmp_path / "many")
    for _ in range(80):
        runner.photo("free", (64, 48))
    room = RecordsRoom(theme, runner.log.sessions, lambda s: read_record(runner.log, s), runner.shelf)
    _show(qtbot, room)
    _open(qtbot, room, runner.session)
    assert room._thumbs.loaded == 0
    room.page.tabs.setCurrentWidget(room.page.photos)
    qtbot.waitUntil(lambda: room._thumbs.loaded > 2)
    qtbot.waitUntil(lambda: not room._thumbs._background._wishes._wanted)
    assert room._thumbs.loaded < 40
    room.stop()
    runner.log.close()


def test_photos_turn_by_keys(qtbot: QtBot, records: RecordsRoom, data: Runner) -> None:
    _open(qtbot, records, data.first)  # type: ignore[attr-defined]
    records.page.tabs.setCurrentWidget(records.page.photos)
    shas = [row.photo for row in records.page.photos.rows.rows]
    qtbot.keyClick(records.page.photos, Key.Key_Return)
    assert records.stack.currentIndex() == 2
    seen = [records.photo.sha256]
    for _ in shas:
        qtbot.keyClick(records.photo, Key.Key_Right)
        seen.append(records.photo.sha256)
    assert seen == [*shas, shas[-1]]
    qtbot.keyClick(records.photo, Key.Key_Home)
    assert records.photo.sha256 == shas[0]
    qtbot.keyClick(records.photo, Key.Key_Escape)
    assert records.stack.currentIndex() == 1


def test_a_missing_photo_is_told(qtbot: QtBot, records: RecordsRoom, data: Runner) -> None:
    _open(qtbot, records, data.first)  # type: ignore[attr-defined]
    row = records.page.photos.rows.rows[0]
    data.shelf.path(row.photo).unlink()
    records._open_photo([row], row.photo)
    qtbot.waitUntil(lambda: "missing" in records._thumbs.trouble(row.photo))


@pytest.mark.parametrize(("kind", "ending"), [("page", ".html"), ("table", ".csv"), ("pictures", "_photos")])
def test_export_buttons_write_files(
    qtbot: QtBot, records: RecordsRoom, data: Runner, tmp_path: Path, kind: str, ending: str
) -> None:
    _open(qtbot, records, data.first)  # type: ignore[attr-defined]
    with qtbot.waitSignal(records.exported) as signal:
        records.page.export[kind].click()
    (paths,) = signal.args or ((),)
    assert paths[0].parent == tmp_path / "out"
    assert paths[0].name.endswith(ending)
    assert str(paths[0]) in records.page.said.text()


def test_export_trouble_is_a_sentence_in_the_room(
    qtbot: QtBot, records: RecordsRoom, data: Runner, tmp_path: Path
) -> None:
    _open(qtbot, records, data.first)  # type: ignore[attr-defined]
    (tmp_path / "file").write_text("x")
    records.page.folder.setText(str(tmp_path / "file"))
    records.page.export["table"].click()
    qtbot.waitUntil(lambda: "not a folder" in records.page.said.text())
    assert records.page.export["table"].isEnabled()


def test_without_a_folder_the_export_is_asked_for(qtbot: QtBot, theme: Theme, data: Runner) -> None:
    room = RecordsRoom(theme, data.log.sessions, lambda s: read_record(data.log, s), data.shelf)
    _show(qtbot, room)
    _open(qtbot, room, data.session)
    with qtbot.waitSignal(room.export_wanted) as signal:
        room.page.export["page"].click()
    assert signal.args == [data.session, "page"]
    with qtbot.waitSignal(room.resume_wanted) as signal:
        room.page.resume.click()
    assert signal.args == [data.session]
    room.stop()


def test_a_record_that_cannot_be_read_is_told(qtbot: QtBot, theme: Theme, data: Runner) -> None:
    room = RecordsRoom(theme, data.log.sessions, lambda s: read_record(data.log, "gone"), data.shelf)
    _show(qtbot, room)
    room.open_record(data.session)
    qtbot.waitUntil(lambda: "no session gone" in room.told.text())
    assert room.stack.currentIndex() == 0
    room.stop()


# -- procedures

BROKEN = "benchguide: procedure/1\nid: broken\ntitle: Broken\ndevice: nothing\n"


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "broken.procedure.yaml").write_text(BROKEN, encoding="utf-8")
    return Shelf([procedures_folder(), folder])


@pytest.fixture
def procedures(qtbot: QtBot, theme: Theme, data: Runner, shelf: Shelf) -> Iterator[ProceduresRoom]:
    room = ProceduresRoom(theme, shelf.procedures, check, data.log.sessions)
    _show(qtbot, room)
    qtbot.waitUntil(lambda: len(room.list.rows.rows) >= 2)
    qtbot.waitUntil(lambda: len(room._found) == len(room._entries))
    yield room
    room.stop()


def _texts(room: ProceduresRoom) -> str:
    return "\n".join(label.text() for label in room.needs.widget().findChildren(QLabel))


def test_needs_of_the_chosen_procedure(procedures: ProceduresRoom, shelf: Shelf) -> None:
    entry = next(e for e in shelf.procedures() if e.usable)
    procedures.choose(entry)
    assert entry.loaded
    assert entry.device
    needs = needs_of(entry.device.model, entry.loaded.model)
    text = _texts(procedures)
    for words in (
        needs.time,
        needs.waits,
        str(needs.photos),
        *needs.tools,
        *needs.supplies,
        *needs.consumables,
    ):
        assert words in text
    cautions = procedures.needs.widget().findChildren(CautionPanel)
    assert [c.word for c in cautions] == [c.word for c in needs.cautions]
    assert needs.photos > 0
    assert "Checked" in text


def test_start_asks_for_what_is_missing_then_starts(
    qtbot: QtBot, procedures: ProceduresRoom, shelf: Shelf
) -> None:
    entry = next(e for e in shelf.procedures() if e.usable)
    procedures.choose(entry)
    procedures.start.click()
    assert "job number" in procedures.told.text()
    qtbot.keyClicks(procedures.job, "  R-7 ")
    procedures.start.click()
    assert "name" in procedures.told.text()
    qtbot.keyClicks(procedures.person, "Dagny")
    with qtbot.waitSignal(procedures.start_wanted) as signal:
        qtbot.keyClick(procedures.person, Key.Key_Return)
    started, job, person = signal.args or (None, "", "")
    assert (started.path, job, person) == (entry.path, "R-7", "Dagny")


def test_a_broken_procedure_says_why_and_cannot_be_started(procedures: ProceduresRoom, shelf: Shelf) -> None:
    entry = next(e for e in shelf.procedures() if not e.usable)
    procedures.choose(entry)
    assert "Cannot be used" in _texts(procedures)
    assert "broken.procedure.yaml, line" in _texts(procedures)
    assert not procedures.start.isEnabled()


def test_an_open_job_can_be_continued(qtbot: QtBot, theme: Theme, tmp_path: Path, shelf: Shelf) -> None:
    from benchguide.session.state import Job

    entry = next(e for e in shelf.procedures() if e.usable)
    assert entry.loaded
    assert entry.device
    runner = Runner(tmp_path / "demo", Job(entry.device.model, entry.loaded.model), "R-9", "Edda")
    room = ProceduresRoom(theme, shelf.procedures, check, runner.log.sessions)
    _show(qtbot, room)
    room.choose(entry)
    qtbot.waitUntil(lambda: "R-9" in _texts(room))
    buttons = room.needs.widget().findChildren(QPushButton)
    button = next(b for b in buttons if b.accessibleName() == "Continue job R-9")
    with qtbot.waitSignal(room.resume_wanted) as signal:
        button.click()
    assert signal.args == [runner.session]
    room.stop()
    runner.log.close()


def test_errors_of_the_checker_bar_the_start() -> None:
    from benchguide.procedure.problems import Problem

    error = Problem("f", 1, 1, Severity.ERROR, "r", "", "m", "r")
    assert may_start((), readable=True, steps=3)
    assert may_start(None, readable=True, steps=3)
    assert not may_start((error,), readable=True, steps=3)
    assert not may_start((), readable=True, steps=0)
    assert not may_start((), readable=False, steps=3)


def _usable(widget: QWidget) -> bool:
    return isinstance(widget, QPushButton | QLineEdit)


def test_everything_that_can_be_used_has_a_name(records: RecordsRoom, procedures: ProceduresRoom) -> None:
    for widget in (*records.findChildren(QWidget), *procedures.findChildren(QWidget)):
        if _usable(widget):
            text = widget.text() if isinstance(widget, QPushButton) else ""
            assert widget.accessibleName() or text


def test_tab_reaches_every_field_and_button(records: RecordsRoom, procedures: ProceduresRoom) -> None:
    for room in (records, procedures):
        found = [w for w in room.findChildren(QWidget) if _usable(w)]
        usable = {w for w in found if w.focusPolicy() & Qt.FocusPolicy.TabFocus}
        chain, widget = set(), room.nextInFocusChain()
        while widget is not room:
            chain.add(widget)
            widget = widget.nextInFocusChain()
        assert usable
        assert usable <= chain


@pytest.mark.parametrize("palette", [DARK, LIGHT], ids=["dark", "light"])
@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)])
def test_both_themes_paint_without_a_sideways_scroll(
    qtbot: QtBot, qapp: QApplication, data: Runner, shelf: Shelf, palette: Palette, size: tuple[int, int]
) -> None:
    theme = _themed(qapp, palette)
    records = RecordsRoom(theme, data.log.sessions, lambda s: read_record(data.log, s), data.shelf)
    procedures = ProceduresRoom(theme, shelf.procedures, check, data.log.sessions)
    for room in (records, procedures):
        _show(qtbot, room)
        room.resize(*size)
        assert room.minimumSizeHint().width() <= size[0]
    qtbot.waitUntil(lambda: len(procedures._found) >= 2)
    _open(qtbot, records, data.first)  # type: ignore[attr-defined]
    for number in range(records.page.tabs.count()):
        records.page.tabs.setCurrentIndex(number)
        assert not records.grab().isNull()
    assert not procedures.grab().isNull()
    assert procedures.needs.widget().width() <= procedures.needs.viewport().width()
    records.stop()
    procedures.stop()
