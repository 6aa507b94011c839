"""Pairs of a record: flipped by one key, each photo with the outlines and answers of its own comparison."""

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from benchguide.review.record import read_record
from benchguide.session import commands as cmd
from benchguide.window.records_pair import pairs_of, words_of
from benchguide.window.records_photo import PhotoPage
from benchguide.window.records_thumbs import Thumbs
from benchguide.window.records_words import photo_rows, proof_rows
from benchguide.window.theme import PALETTES, Theme, sizes_on
from tests.review.sample_sessions import Runner

BOX = cmd.Difference((64, 48, 128, 96), (32, 48, 64, 96), 0.9, "cable routed another way")


@pytest.fixture
def mended(tmp_path: Path) -> tuple[Runner, str, str, str]:
    """A difference that was mended: as-found, the first as-left, the second."""
    runner = Runner(tmp_path / "data")
    runner.go_to("lid-lift")
    runner.photo("as-found", faults=("glare",))
    found = runner.photo("as-found")
    runner.go_to("lid-fit")
    first = runner.photo("as-left")
    runner.do(cmd.KeepComparison(found, first, True, "", (BOX,)))
    runner.do(cmd.AnswerDifference("", 1, "mended"))
    second = runner.photo("as-left")
    runner.do(cmd.KeepComparison(found, second, True, "", ()))
    mat = runner.photo("mat")
    cells = (cmd.CellSeen("A1", 3, 3, (("screw", 4.06, 0.2),)), cmd.CellSeen("B1", 0, 0))
    runner.do(cmd.KeepMatReading(mat, "A5", cells, ()))
    runner.do(cmd.KeepMeasurement("lid-screws", 6.2, 0.1, "longer: stop", "6.2 mm, 4 mm came out."))
    return runner, found, first, second


def test_each_photo_has_the_outlines_and_answers_of_its_own_comparison(
    mended: tuple[Runner, str, str, str],
) -> None:
    runner, found, first, second = mended
    pairs = pairs_of(read_record(runner.log, runner.session))
    assert (pairs[first].other, pairs[second].other) == (found, found)
    assert pairs[first].outlines[0].box == (0.1, 0.1, 0.2, 0.2)
    assert words_of(pairs[first]) == (
        "May differ: (1) cable routed another way, mended. As-left was taken anew later."
    )
    assert words_of(pairs[second]) == "Compared: no place stood out."
    # as-found stands beside the one in which something may differ
    assert pairs[found].other == first
    assert pairs[found].outlines[0].box == (0.05, 0.1, 0.1, 0.2)


def test_one_key_flips_to_and_fro_between_the_same_two(
    mended: tuple[Runner, str, str, str], qtbot: QtBot, qapp: QApplication
) -> None:
    runner, found, first, second = mended
    record = read_record(runner.log, runner.session)
    theme = Theme(PALETTES["dark"], sizes_on(qapp.primaryScreen(), 80))
    thumbs = Thumbs(runner.shelf)
    page = PhotoPage(theme, thumbs)
    qtbot.addWidget(page)
    page.resize(900, 600)
    page.show()
    for left in (first, second):
        page.show_photo(photo_rows(record), left, pairs_of(record))
        assert page.other.text() == "Flip to as-found  [T]"
        QTest.keyClick(page, Qt.Key.Key_T)
        assert page.sha256 == found
        assert page.other.text() == "Flip to as-left  [T]"
        QTest.keyClick(page, Qt.Key.Key_T)
        assert page.sha256 == left
    thumbs.stop()


def test_rows_say_what_was_wrong_what_may_differ_and_what_lay_on_the_mat(
    mended: tuple[Runner, str, str, str],
) -> None:
    runner, found, first, second = mended
    record = read_record(runner.log, runner.session)
    soft = {row.photo: row.soft for row in photo_rows(record)}
    assert soft[record.photos[0].sha256][0] == "Poor: hidden by glare; a better one was taken after it."
    assert soft[first][0] == "May differ: 1 place, mended."
    assert soft[second][1] == "No place stood out beside as-found."
    assert soft[found] == (record.state.step_of("lid-lift").text,)  # type: ignore[union-attr]
    proofs = {row.strong: row.soft for row in proof_rows(record)}
    assert proofs["Parts mat beside the ledger, A5"][0].startswith("A1: 3 counted, 4 in the ledger.")
    assert proofs["Parts mat beside the ledger, A5"][0].endswith("4.1 ± 0.2 mm.")
    assert proofs["Parts mat beside the ledger, A5"][-1] == "1 cell empty, as in the ledger."
    assert proofs["Screw for Lid screws: 6.2 ± 0.1 mm: longer: stop"] == ("6.2 mm, 4 mm came out.",)
