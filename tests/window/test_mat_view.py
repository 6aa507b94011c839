"""The parts mat in the window: read from the moving picture, kept with its photo, one screw measured; rendered mats."""

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))

from test_eyes import WAIT_MS, Pictures, Shown

from benchguide.camera.mat_layout import MatLayout, mat_layout
from benchguide.review.exceptions import exceptions_of
from benchguide.review.record import read_record
from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_step
from benchguide.session.mat import expected_in_cells
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.mat_words import expected_of, span_of
from benchguide.window.newest import NewestThread
from benchguide.window.print_mat import write_mat
from tests.camera.mat_scene import Piece, View, page_raster, photograph

VIEW = View(
    (1600, 900), 68.0, 208.0, (105, 74), (0.04, -0.06), 3.0, -0.06, 0.6, 2.0, 88, 0.3, 0.7, True, True
)


@pytest.fixture(scope="module")
def layout() -> MatLayout:
    return mat_layout("A5")


@pytest.fixture(scope="module")
def page(layout: MatLayout, tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    folder = tmp_path_factory.mktemp("mat")
    write_mat(layout, folder / "mat.pdf", "Test")
    return page_raster(folder / "mat.pdf", folder)


def mat(page: np.ndarray, layout: MatLayout, pieces: list[Piece]) -> np.ndarray:
    return photograph(np.random.default_rng(1), page, layout, VIEW, pieces)


def screw(layout: MatLayout, at: tuple[float, float], length: float) -> Piece:
    return Piece("screw", at[0], at[1], 0.0, "steel", 1.6, length - 1.0, "pan", 2.8, 1.0)


@pytest.fixture(scope="module")
def empty(page: np.ndarray, layout: MatLayout) -> np.ndarray:
    return mat(page, layout, [])


@pytest.fixture
def bench(
    tmp_path: Path, qtbot: QtBot, qapp: QApplication, empty: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Bench]:
    shown = Shown(empty)
    monkeypatch.setattr(Bench, "_make_source", lambda self: Pictures(shown))
    options = Options(data=tmp_path, camera="camera:test", sound=False, hands_free=False)
    shell, theme = open_shell(application(), options)
    qtbot.addWidget(shell)
    shell.show()
    made = Bench(application(), shell, theme, options)
    made.settings = replace(made.settings, hands_clear=False)
    made.load()
    made.shown = shown  # type: ignore[attr-defined]
    entry = made.shelf.procedure("gloamreed-tuning-wheel")
    assert entry is not None
    made.start(entry, "J-1", "Ada")
    qtbot.waitUntil(lambda: made.camera.live, timeout=WAIT_MS)
    yield made
    made.close()


def take_off_screws(bench: Bench) -> tuple[str, str]:
    """The first group of screws that comes off: its part and cell."""
    driver = bench.driver
    assert driver is not None
    part = next(p for p in driver.state.job.device.parts if p.screws and p.cell)
    for gate in _gates(bench, part.id):
        driver.do(cmd.Waive(gate, "test", "Ada"))
    driver.do(cmd.TakeOffPart(part.id, reason="test"))
    assert driver.state.ledger.is_out(part.id), driver.state.ledger
    return part.id, part.cell or ""


def _gates(bench: Bench, part: str) -> list[str]:
    from benchguide.session.gates_part import gates_for_part_off

    assert bench.driver is not None
    return [gate.id for gate in gates_for_part_off(bench.driver.state, part)]


def test_an_empty_mat_beside_a_full_ledger_names_the_cell_and_is_kept(bench: Bench, qtbot: QtBot) -> None:
    part, cell = take_off_screws(bench)
    driver = bench.driver
    assert driver is not None
    count = expected_in_cells(driver.state)[cell]
    bench.shell.actions_by_name["mat"].trigger()
    page = bench.eyes.page
    assert page is not None
    qtbot.waitUntil(lambda: bool(page.list.rows), timeout=WAIT_MS)
    assert page.list.rows[0].sentence == f"{cell}: 0 counted, {count} in the ledger."
    assert cell in page.told.text()
    bench.shell.actions_by_name["mat-keep"].trigger()
    qtbot.waitUntil(lambda: driver.state.mat is not None, timeout=WAIT_MS)
    kept = driver.state.mat
    assert kept is not None
    assert driver.state.photos[-1].purpose == "mat"
    assert kept.photo == driver.state.photos[-1].sha256
    assert {c["cell"]: c["verdict"] for c in kept.cells}[cell] == "disagree"
    told = [e.sentence for e in exceptions_of(read_record(bench.log, driver.session_id)) if e.kind == "mat"]
    assert told == [f"Parts mat, cell {cell}: 0 counted, {count} in the ledger."]
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert bench.shell.room == "bench"
    assert not bench.eyes.mat.running
    assert span_of(driver.state.job.device.by_id[part]) is not None
    assert expected_of(driver.state)[cell].count == count


def test_an_empty_mat_beside_an_empty_ledger_is_said_in_words(bench: Bench, qtbot: QtBot) -> None:
    bench.shell.actions_by_name["mat"].trigger()
    page = bench.eyes.page
    assert page is not None
    qtbot.waitUntil(lambda: "empty" in page.told.text(), timeout=WAIT_MS)
    assert page.list.rows == ()


def test_no_mat_under_the_camera_is_told_with_the_remedy(bench: Bench, qtbot: QtBot) -> None:
    bench.shown.image = np.full((720, 1280, 3), 90, np.uint8)  # type: ignore[attr-defined]
    bench.shell.actions_by_name["mat"].trigger()
    page = bench.eyes.page
    assert page is not None
    before = page.told.text()
    qtbot.waitUntil(lambda: page.told.text() not in ("", before), timeout=WAIT_MS)
    assert page.list.rows == ()


def test_a_screw_that_is_too_long_stops_the_step(
    bench: Bench, qtbot: QtBot, page: np.ndarray, layout: MatLayout
) -> None:
    part, _cell = take_off_screws(bench)
    driver = bench.driver
    assert driver is not None
    span = span_of(driver.state.job.device.by_id[part])
    assert span is not None
    place = screw(layout, layout.measuring.middle, span[1] + 3.0)
    bench.shown.image = mat(page, layout, [place])  # type: ignore[attr-defined]
    bench.shell.actions_by_name["mat"].trigger()
    with qtbot.waitSignal(bench.eyes.mat.seen, timeout=WAIT_MS):
        pass
    bench.shell.actions_by_name["measure-screw"].trigger()
    qtbot.waitUntil(lambda: part in driver.state.measured, timeout=WAIT_MS)
    measured = driver.state.measured[part]
    assert measured.verdict == "longer: stop"
    back = next(s for s in driver.state.steps if part in s.parts and s.action in ("on", "fit", "close"))
    driver.do(cmd.GoTo(back.id))
    assert "stop" in {gate.kind for gate in gates_for_step(driver.state, driver.state.step)}


def test_only_the_newest_is_worked_on() -> None:
    import threading

    begun, go, done = threading.Event(), threading.Event(), []

    def work(number: int) -> None:
        begun.set()
        assert go.wait(10)
        done.append(number)

    thread = NewestThread(work, "test")
    thread.offer(1)
    assert begun.wait(10)
    for number in (2, 3, 4):
        thread.offer(number)
    begun.clear()
    go.set()
    assert begun.wait(10)
    assert thread.stop()
    assert done == [1, 4]


def test_the_ruler_on_the_bar_is_asked_for_kept_and_used(bench: Bench, qtbot: QtBot) -> None:
    """A 100 mm bar that measures 94 mm: everything on the mat is 0.94 times as long as it looks there."""
    from benchguide.window.settings import load_settings

    actions, question = bench.shell.actions_by_name, bench.shell.question
    told: list[str] = []
    bench.shell.message.warn = told.append  # type: ignore[method-assign]
    actions["mat"].trigger()
    page = bench.eyes.page
    assert page is not None
    with qtbot.waitSignal(bench.eyes.mat.seen, timeout=WAIT_MS):
        pass
    assert page.scale.text() == "Scale of print"
    actions["mat-scale"].trigger()
    assert [field.kind for field in question.fields] == ["number"]
    question.set_value("bar", "94")
    question.accept()
    assert load_settings(bench.folder).mat_bar_mm == 94.0
    assert "94 mm: print the mat again at 100 %" in told[-1]
    qtbot.waitUntil(lambda: "printed at 94.0\u00a0%" in page.warnings.text(), timeout=WAIT_MS)


def test_a_row_of_the_list_says_below_only_what_its_counts_do_not() -> None:
    from benchguide.session.mat import CellBeside
    from benchguide.window.mat_page import _why

    def row(told: str) -> CellBeside:
        return CellBeside("A1", 2, 1, 1, "disagree", f"A1: {told}")

    assert _why(row("1 counted, 2 in the ledger.")) == ""
    assert (
        _why(row("1 counted, 2 in the ledger. Something lies on the line.")) == "Something lies on the line."
    )
    assert _why(row("Parts touch: spread them.")) == "Parts touch: spread them."
