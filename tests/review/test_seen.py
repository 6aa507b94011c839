"""What the camera saw, as a supervisor reads it: on the page with outlines and answers, and in the second table."""

import csv
import io
from datetime import datetime
from pathlib import Path

import isodate
import pytest

from benchguide.review.exceptions import exceptions_of
from benchguide.review.page import page
from benchguide.review.record import read_record
from benchguide.review.seen import comparisons_of, mat_readings_of, poor_photos_of
from benchguide.review.table import guarded
from benchguide.review.table_seen import SEEN_COLUMNS, table_seen
from benchguide.session import commands as cmd
from tests.review.sample_sessions import Runner
from tests.review.test_export import Reader

HINT = "=cable routed <b>another</b> way"


@pytest.fixture
def seen(tmp_path: Path) -> Runner:
    """A poor photo retaken, one kept, a difference mended and its photo taken anew, a mat, a screw that is too long."""
    runner = Runner(tmp_path / "data")
    runner.go_to("lid-lift")
    poor = runner.photo("as-found", faults=("glare",))
    found = runner.photo("as-found")
    runner.go_to("plug-open")
    runner.photo("as-found", faults=("shaken", "dark"))
    runner.do(cmd.KeepPoorPhoto(), 7)
    mat = runner.photo("mat")
    cells = (
        cmd.CellSeen("A1", 3, 3, (("screw", 4.1, 0.2), ("screw", 3.9, 0.2), ("other", None, None)), ""),
        cmd.CellSeen("A2", None, 1, (), "Parts touch each other."),
        cmd.CellSeen("B1", 0, 0, (), ""),
    )
    runner.do(cmd.KeepMatReading(mat, "A5", cells, ("The scale was not checked.",)))
    runner.do(cmd.KeepMeasurement("lid-screws", 6.2, 0.1, "longer: stop", "6.2 mm, 4 mm came out."))
    runner.go_to("lid-fit")
    first = runner.photo("as-left")
    boxes = (
        cmd.Difference((64, 48, 128, 96), (32, 48, 64, 96), 0.9, HINT),
        cmd.Difference((320, 240, 32, 24), (320, 240, 32, 24), 0.6, "changed"),
    )
    runner.do(cmd.KeepComparison(found, first, True, "", boxes), 2)
    runner.do(cmd.AnswerDifference("", 1, "mended"), 30)
    runner.do(cmd.KeepComparison(found, runner.photo("as-left"), True, "", ()), 2)
    assert runner.live.state.photos[0].sha256 == poor
    return runner


def test_answers_stay_with_their_comparison_when_the_photo_is_taken_anew(seen: Runner) -> None:
    first, second = comparisons_of(read_record(seen.log, seen.session))
    assert [c.answer for c in first.candidates] == ["mended", ""]
    assert (first.anew, second.anew) == (True, False)
    assert first.words == "2 places may differ."
    assert second.words.startswith("No place stood out.")


def test_poor_photos_say_what_became_of_them(seen: Runner) -> None:
    retaken, kept = poor_photos_of(read_record(seen.log, seen.session))
    assert (retaken.faults, retaken.became) == ("hidden by glare", "a better one was taken after it")
    assert (kept.faults, kept.became) == ("shaken, too dark", "kept on purpose by Ada")


def test_what_was_mended_stays_among_the_exceptions(seen: Runner) -> None:
    told = [e.sentence for e in exceptions_of(read_record(seen.log, seen.session)) if e.kind == "difference"]
    assert told == [f"May differ from as-found (1): {HINT} - mended, the photo was taken anew."]


def test_the_page_shows_outlines_answers_poor_photos_and_the_mat(seen: Runner) -> None:
    html, troubles = page(read_record(seen.log, seen.session), seen.shelf)
    read = Reader(html)
    spaced = html.replace("</td>", " </td>").replace("</th>", " </th>")
    words = " ".join(Reader(spaced).text.split())
    assert troubles == ()
    marks = [a for a in read.all("span") if a.get("class") == "mark"]
    # two outlines, on as-found and as-left, small and large
    assert len(marks) == 8
    assert str(marks[-1]["style"]) == "left:50.0%;top:50.0%;width:5.0%;height:5.0%"
    assert {
        "left:5.0%;top:10.0%;width:10.0%;height:20.0%",
        "left:10.0%;top:10.0%;width:20.0%;height:20.0%",
    } <= {str(mark["style"]) for mark in marks}
    assert "mended, Ada" in words
    assert "1 may be: =cable routed <b>another</b> way - mended" in words
    assert "2 may be: changed - not answered" in words
    assert "The photo was taken anew later." in words
    assert "Poor: hidden by glare, a better one was taken after it" in words
    assert "Poor: shaken, too dark, kept on purpose by Ada" in words
    assert "Parts mat beside the ledger" in words
    assert "A1 4 3 disagree A1: 3 counted, 4 in the ledger." in words
    assert "screw 4.1 ± 0.2 mm, screw 3.9 ± 0.2 mm" in words
    assert "A2 1 at least 1 cannot tell" in words
    assert "1 more cell empty, as in the ledger." in words
    assert "The scale was not checked." in words
    assert "longer: stop" in words
    assert "<script" not in html
    assert "<b>another</b>" not in html


def test_the_page_of_a_job_nobody_photographed_has_no_mat(runner: Runner) -> None:
    html, _ = page(read_record(runner.log, runner.session), runner.shelf)
    assert "Parts mat" not in html


def test_the_second_table_has_one_row_a_thing_seen(seen: Runner) -> None:
    record = read_record(seen.log, seen.session)
    data = table_seen(record)
    assert data.endswith(b"\r\n")
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))
    assert [row["kind"] for row in rows] == [
        "poor photo", "poor photo", "mat cell", "mat cell", "screw",
        "comparison", "difference", "difference", "comparison",
    ]  # fmt: skip
    assert [int(row["row"]) for row in rows] == list(range(1, len(rows) + 1))
    by_visit = {str(visit.number): visit.visit.step for visit in record.visits}
    assert all(by_visit[row["visit"]] == row["step"] for row in rows)
    for row in rows:
        for name in ("at", "answered"):
            if row[name]:
                # ISO 8601 with offset, as two outside readers understand it
                assert isodate.parse_datetime(row[name]) == datetime.fromisoformat(row[name])
                assert datetime.fromisoformat(row[name]).utcoffset() is not None
    mended, open_ = (row for row in rows if row["kind"] == "difference")
    assert (mended["answer"], mended["answered_by"], open_["answer"]) == ("mended", "Ada", "")
    assert [mended[name] for name in ("x", "y", "width", "height")] == ["64", "48", "128", "96"]
    assert mended["told"] == guarded(HINT) == "'" + HINT
    cell, untold = (row for row in rows if row["kind"] == "mat cell")
    assert (cell["ledger"], cell["counted"], cell["verdict"]) == ("4", "3", "disagree")
    assert cell["lengths_mm"] == "4.10 ± 0.20 | 3.90 ± 0.20"
    assert (untold["counted"], untold["at_least"]) == ("", "1")
    assert (rows[0]["answer"], rows[0]["answered"]) == ("a better one was taken after it", "")
    assert rows[1]["answered_by"] == "Ada"


def test_a_table_of_nothing_seen_is_its_header(runner: Runner) -> None:
    record = read_record(runner.log, runner.session)
    assert table_seen(record).decode() == ",".join(name for name, _, _ in SEEN_COLUMNS) + "\r\n"
    assert mat_readings_of(record) == ()
