"""Whatever byte of the record is flipped, `verify` says where."""

import sqlite3
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from benchguide.store.chain import verify
from benchguide.store.links import End, canonical, link, parse_exact, read_chain
from benchguide.store.log import EventLog
from benchguide.store.photos import PhotoShelf
from benchguide.store.problems import StoreProblem

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)


@given(json_values)
def test_canonical_text_reads_back_to_itself(value):
    text = canonical(value)
    assert text == rfc8785.dumps(value)
    assert canonical(parse_exact(text)) == text


@given(
    st.lists(
        st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), json_values),
        min_size=1,
        max_size=4,
    ),
    st.data(),
)
@settings(max_examples=300)
def test_flipping_any_bit_of_any_event_shortens_the_chain(datas, data):
    docs = [{"kind": "X", "v": 1, "at": {"wall": "w"}, "by": "A", "data": d} for d in datas]
    linked = link("s", 0, "0" * 64, docs)
    rows = [(event.seq, text) for event, text in linked]
    end = End(len(linked), linked[-1][0].hash)
    assert read_chain("s", rows, end) == ([event for event, _ in linked], None)
    index = data.draw(st.integers(0, len(rows) - 1))
    place = data.draw(st.integers(0, len(rows[index][1]) - 1))
    changed = bytearray(rows[index][1])
    changed[place] ^= 1 << data.draw(st.integers(0, 7))
    rows[index] = (rows[index][0], bytes(changed))
    events, broken = read_chain("s", rows, end)
    assert broken is not None
    # Never longer than what is untouched; shorter by one at most, where it cannot be known which one lies.
    assert index - 1 <= len(events) <= index
    assert broken.seq == len(events) + 1
    assert [event.doc for event in events] == [event.doc for event, _ in linked[: len(events)]]


@pytest.fixture
def record(tmp_path, doc, started, jpeg, facts):
    kept = PhotoShelf(tmp_path).keep(jpeg(), facts)
    photo = doc("PhotoTaken", sha256=kept.sha256, purpose="as-found", step="s-1", part="cover")
    with EventLog.open(tmp_path) as log:
        log.append("s", [started, photo, doc("StepDone", step="s-1"), doc("SessionFinished")])
        log.append("t", [started])
        log.put_document("device", '{"a":1}')
    return tmp_path


def change(folder: Path, query: str) -> None:
    con = sqlite3.connect(folder / "sessions.db", isolation_level=None)
    assert con.execute(query).rowcount > 0
    con.close()


def test_a_sound_record(record):
    before = {path: path.stat().st_mtime_ns for path in record.rglob("*")}
    report = verify(record)
    assert report.ok
    assert report.lines() == ["Everything agrees: 2 sessions, 5 events, 1 photos."]
    assert report.photos_checked == 1
    assert {path: path.stat().st_mtime_ns for path in record.rglob("*")} == before


@pytest.mark.parametrize(
    ("query", "seq", "words"),
    [
        ("UPDATE events SET body = replace(body, 's-1', 's-2') WHERE session='s' AND seq=3", 3, "altered"),
        ("UPDATE events SET body = replace(body, 'Ada', 'Bob') WHERE session='s' AND seq=4", 4, "last one"),
        ("UPDATE events SET body = body || ' ' WHERE session='s' AND seq=1", 1, "altered"),
        ("DELETE FROM events WHERE session='s' AND seq=2", 2, "missing"),
        ("DELETE FROM events WHERE session='s' AND seq=4", 4, "missing"),
        ("UPDATE events SET seq = 9 WHERE session='s' AND seq=4", 4, "missing"),
        ("UPDATE sessions SET job = 'other' WHERE session='s'", None, "list of sessions"),
        ("UPDATE sessions SET photos = 7 WHERE session='s'", None, "list of sessions"),
        ("UPDATE photos SET part = 'other' WHERE session='s'", None, "list of photos"),
        ("DELETE FROM photos WHERE session='s'", None, "list of photos"),
    ],
)
def test_the_first_event_that_differs_is_named(record, query, seq, words):
    change(record, query)
    report = verify(record)
    assert not report.ok
    bad = [check for check in report.sessions if not check.ok]
    assert [(check.session_id, check.first_bad_seq) for check in bad] == [("s", seq)]
    assert words in bad[0].problem
    assert any("Session s:" in line and words in line for line in report.lines())
    assert report.to_json()["ok"] is False


def test_a_whole_chain_made_anew_is_found_by_the_kept_head(record):
    """Somebody rewrites the last event with a right prev: only the list of sessions still knows better."""
    con = sqlite3.connect(record / "sessions.db", isolation_level=None)
    body = con.execute("SELECT body FROM events WHERE session='t'").fetchone()[0]
    con.execute("UPDATE events SET body = ? WHERE session='t'", (body.replace("JOB", "FOB"),))
    con.close()
    assert [c.session_id for c in verify(record).sessions if not c.ok] == ["t"]


def test_altered_missing_and_unmentioned_photos(record):
    photo = next(record.glob("photos/*/*.jpg"))
    data = photo.read_bytes()
    photo.write_bytes(data[:-20] + b"\0" + data[-19:])
    assert "was altered" in verify(record).sessions[0].bad_photos[0]
    photo.unlink()
    assert "is missing" in verify(record).sessions[0].bad_photos[0]
    photo.write_bytes(data)
    stranger = photo.parent / f"{'a' * 64}.jpg"
    stranger.write_bytes(data)
    report = verify(record)
    assert report.ok
    assert report.notes == [f"{stranger} is mentioned by no session."]


def test_altered_document(record):
    change(record, "UPDATE documents SET text = '{}'")
    report = verify(record)
    assert not report.ok
    assert "document" in report.problems[0]


def test_verify_beside_a_writing_window(record, doc):
    with EventLog.open(record) as log:
        log.append("t", [doc("StepDone", step="1")])
        assert verify(record).ok


def test_verify_can_be_stopped(record):
    report = verify(record, progress=lambda done, total: done < 1)
    assert report.stopped
    assert not report.ok
    assert len(report.sessions) == 1


def test_verify_without_a_log(tmp_path):
    with pytest.raises(StoreProblem, match="no log"):
        verify(tmp_path)
