"""Page, table and pictures as a stranger reads them: with an HTML parser, a CSV reader and a file listing."""

import csv
import errno
import hashlib
import io
import json
import os
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path

import isodate
import pytest
from wcag_contrast_ratio import rgb

from benchguide.review import export
from benchguide.review import page as page_module
from benchguide.review.export import export_record
from benchguide.review.page import page
from benchguide.review.problems import ReviewProblem, Stopped
from benchguide.review.record import Record, read_record
from benchguide.review.table import COLUMNS, guarded, table
from tests.review.sample_sessions import NASTY, Runner

VOID = {"meta", "img", "br", "hr", "link", "input"}


class Reader(HTMLParser):
    """Collects tags, attributes and text, and insists that what is opened is closed in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text += data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.seen if name == tag]


@pytest.fixture
def record(full: Runner) -> Record:
    return read_record(full.log, full.session)


@pytest.fixture
def html(full: Runner, record: Record) -> str:
    text, troubles = page(record, full.shelf)
    assert troubles == ()
    return text


def test_the_page_is_well_formed_and_needs_nothing_else(html: str) -> None:
    read = Reader(html)
    tags = {tag for tag, _ in read.seen}
    assert not tags & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attrs in read.seen:
        assert not [name for name in attrs if name.startswith("on")]
        for name in ("src", "href", "srcset", "poster", "action"):
            value = attrs.get(name)
            assert value is None or value.startswith(("#", "data:image/jpeg;base64,"))
    assert "url(" not in html
    assert "@import" not in html


def test_links_lead_somewhere_and_every_picture_has_words(html: str) -> None:
    read = Reader(html)
    ids = [attrs["id"] for _, attrs in read.seen if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert {str(a["href"])[1:] for a in read.all("a")} <= set(ids)
    assert all(image.get("alt") for image in read.all("img"))
    assert read.all("html")[0]["lang"] == "en"
    assert len(read.all("h1")) == 1


def test_free_text_stays_text(html: str) -> None:
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "\U0001f41d" in html
    assert "Lid &lt;b&gt;&amp;amp;" in html
    assert NASTY.split("\n")[1] in Reader(html).text


def test_the_summary_comes_first_and_names_the_exceptions(html: str) -> None:
    text = Reader(html).text
    order = [
        "In short",
        "Exceptions (",
        "Times beside the plan",
        "Photos by part",
        "Readings and tests",
        "Timeline",
    ]
    places = [text.index(words, text.index("In short")) for words in order]
    assert places == sorted(places)
    for words in (
        "Camera cable broken & gone",
        "cleaner does it",
        "rolled off",
        "telephone",
        "dried already",
    ):
        assert words in text


def test_the_page_makes_no_promise(html: str, record: Record) -> None:
    text = Reader(html).text
    assert "safe" not in text.lower().replace("unsafe", "")
    assert "do not assume resistance to water and dust any more, unless it was tested" in " ".join(
        text.split()
    )
    assert record.chain.head in text


def test_all_photos_are_in_the_page_small_and_large(html: str, record: Record) -> None:
    assert len(Reader(html).all("img")) == 2 * len(record.photos)


def test_a_page_with_very_many_photos_carries_the_small_ones(
    full: Runner, record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(page_module, "MOST_LARGE", len(record.photos) - 1)
    text, _ = page(record, full.shelf)
    assert len(Reader(text).all("img")) == len(record.photos)


def test_a_missing_and_an_altered_photo_are_told_not_fatal(full: Runner, record: Record) -> None:
    first, second = record.photos[0].sha256, record.photos[1].sha256
    full.shelf.path(first).unlink()
    with full.shelf.path(second).open("ab") as file:
        file.write(b"x")
    text, troubles = page(record, full.shelf)
    assert len(troubles) == 2
    assert "missing from the photo folder" in text
    assert "SHA-256 is not the logged one" in text
    Reader(text)


def test_page_of_an_empty_open_session(runner: Runner) -> None:
    text, _ = page(read_record(runner.log, runner.session), runner.shelf)
    assert "No photos were taken" in Reader(text).text


def _css_colours() -> dict[str, tuple[float, float, float]]:
    css = (Path(export.__file__).parent / "templates" / "record.css").read_text(encoding="utf-8")
    root = css[css.index("{") + 1 : css.index("}")]
    pairs = [line.split(":") for line in root.split(";") if "#" in line]
    return {
        name.strip().removeprefix("--"): tuple(int(value.strip()[i : i + 2], 16) / 255 for i in (1, 3, 5))
        for name, value in pairs
    }


@pytest.mark.parametrize(
    ("ink", "ground", "least"),
    [
        *((ink, ground, 4.5) for ink in ("ink", "soft", "accent") for ground in ("ground", "field", "tint")),
        ("edge", "ground", 3.0),
        ("accent", "tint", 3.0),
    ],
)
def test_contrast_of_the_page(ink: str, ground: str, least: float) -> None:
    """WCAG 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (shapes, 3:1), by an outside package."""
    colours = _css_colours()
    assert rgb(colours[ink], colours[ground]) >= least


def _rows(record: Record) -> list[dict[str, str]]:
    text = table(record).decode("utf-8")
    assert not text.startswith("\ufeff")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_the_table_reads_back_with_the_same_totals(record: Record) -> None:
    rows = _rows(record)
    assert len(rows) == len(record.visits)
    for column, wanted in (
        ("touch_s", record.times.touch_s),
        ("waiting_s", record.times.waiting_s),
        ("hold_s", record.times.hold_s),
        ("total_s", record.times.total_s),
    ):
        assert sum(float(row[column]) for row in rows) == pytest.approx(wanted, abs=0.001 * len(rows))
    assert sum(int(row["photos"]) for row in rows) == len(record.photos)


def test_times_of_the_table_are_iso_8601_with_offset(record: Record) -> None:
    """ISO 8601 as two outside readers understand it; end minus start is the duration (common practice)."""
    for row in _rows(record):
        began, ended = (datetime.fromisoformat(row[name]) for name in ("began", "ended"))
        assert isodate.parse_datetime(row["began"]) == began
        assert began.utcoffset() is not None
        assert (ended - began).total_seconds() == pytest.approx(float(row["total_s"]), abs=0.0015)


def test_the_table_follows_rfc_4180(record: Record) -> None:
    """RFC 4180 section 2: CR LF line ends, quotes doubled, every record as many fields as the header."""
    data = table(record)
    assert data.endswith(b"\r\n")
    parsed = list(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))
    assert parsed[0] == [name for name, _, _ in COLUMNS]
    assert {len(row) for row in parsed} == {len(COLUMNS)}
    assert b'""quoted""' in data


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "  =1", "\uff1d1"])
def test_formulas_are_disarmed(text: str) -> None:
    assert guarded(text) == "'" + text


def test_free_text_cells_are_disarmed_and_plain_ones_left_alone(record: Record) -> None:
    (noted,) = [row for row in _rows(record) if row["notes"]]
    assert noted["notes"] == "'" + NASTY
    assert guarded("5 screws - all there") == "5 screws - all there"


def test_pictures_are_the_originals_under_speaking_names(
    full: Runner, record: Record, tmp_path: Path
) -> None:
    (folder,) = export_record(record, full.shelf, tmp_path / "out", ["pictures"]).paths
    names = sorted(path.name for path in folder.glob("*.jpg"))
    assert "003_lid-lift_as-found_1.jpg" in names
    assert len(names) == len(record.photos)
    hashes = {hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("*.jpg")}
    assert hashes == {photo.sha256 for photo in record.photos}
    index = (folder / "index.txt").read_text(encoding="utf-8")
    assert all(name in index for name in names)
    for line in (folder / "sha256sums.txt").read_text().splitlines():
        sha256, name = line.split("  ")
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == sha256


def test_export_writes_all_kinds_and_never_overwrites(full: Runner, record: Record, tmp_path: Path) -> None:
    first = export_record(record, full.shelf, tmp_path / "out")
    again = export_record(record, full.shelf, tmp_path / "out")
    assert len(first.paths) == 6
    assert not set(first.paths) & set(again.paths)
    assert all(path.exists() for path in (*first.paths, *again.paths))
    assert not [p for p in (tmp_path / "out").iterdir() if p.name.startswith(".tmp")]
    for path in (p for p in first.paths if p.suffix == ".json"):
        described = json.loads(path.read_text(encoding="utf-8"))
        with (tmp_path / "out" / described["url"]).open(encoding="utf-8", newline="") as file:
            header = next(csv.reader(file))
        assert header == [column["name"] for column in described["tableSchema"]["columns"]]


def test_a_hostile_job_number_stays_in_the_folder(tmp_path: Path) -> None:
    runner = Runner(tmp_path / "data", number="../../etc/\u202epasswd:*?", person="Ada")
    record = read_record(runner.log, runner.session)
    for path in export_record(record, runner.shelf, tmp_path / "out").paths:
        assert path.parent == tmp_path / "out"
    runner.log.close()


def test_stopping_leaves_nothing_behind(full: Runner, record: Record, tmp_path: Path) -> None:
    for kind in ("page", "pictures"):
        with pytest.raises(Stopped):
            export_record(record, full.shelf, tmp_path / "out", [kind], lambda done, of: done < 2)
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "no room left"),
        (errno.EROFS, "Nothing may be written"),
        (errno.EIO, "could not be exported"),
    ],
)
@pytest.mark.parametrize("kind", ["page", "table", "pictures"])
def test_a_failing_disk_is_one_sentence(
    full: Runner,
    record: Record,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    number: int,
    words: str,
    kind: str,
) -> None:
    from benchguide.store import durable

    def fail(fd: int, data: bytes) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(durable, "write_all", fail)
    with pytest.raises(ReviewProblem, match=words):
        export_record(record, full.shelf, tmp_path / "out", [kind])
    assert list((tmp_path / "out").iterdir()) == []


def test_a_file_in_place_of_the_folder_is_one_sentence(full: Runner, record: Record, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(ReviewProblem, match="not a folder"):
        export_record(record, full.shelf, tmp_path / "out", ["table"])
    with pytest.raises(ReviewProblem, match="page, table or pictures"):
        export_record(record, full.shelf, tmp_path / "two", ["film"])
