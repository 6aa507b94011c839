"""The log in good order: append, read, lists, documents, one writer."""

import json
import math
import os
import sqlite3
import subprocess
import sys

import pytest

from benchguide.store import tables
from benchguide.store.links import NOTHING_BEFORE, canonical, link_hash
from benchguide.store.log import EventLog
from benchguide.store.problems import AlreadyOpen, NotKept, StoreProblem


def test_events_are_chained_and_come_back_as_they_were_told(tmp_path, doc, started):
    with EventLog.open(tmp_path) as log:
        told = log.append("s", [started, doc("StepDone", step="s-1")])
        told += log.append("s", [doc("NoteAdded", text="größer · 電池", number=1.0)])
        assert log.events("s") == told
    with EventLog.open(tmp_path) as log:
        assert log.events("s") == told
        assert log.notices == []
    assert [event.seq for event in told] == [1, 2, 3]
    assert told[0].prev == NOTHING_BEFORE
    assert told[1].prev == told[0].hash == link_hash(canonical(told[0].doc))
    assert told[2].doc["data"] == {"text": "größer · 電池", "number": 1}


def test_the_stored_text_is_the_canonical_form(tmp_path, started):
    with EventLog.open(tmp_path) as log:
        log.append("s", [started])
    con = sqlite3.connect(tmp_path / "sessions.db")
    body = con.execute("SELECT body FROM events").fetchone()[0]
    con.close()
    assert body == canonical(json.loads(body)).decode()
    assert json.loads(body) == {**started, "session": "s", "seq": 1, "prev": NOTHING_BEFORE}


def test_sessions_do_not_mix(tmp_path, doc, started):
    with EventLog.open(tmp_path) as log:
        log.append("a", [started])
        log.append("b", [started])
        log.append("a", [doc("StepDone", step="1")])
        assert [e.seq for e in log.events("a")] == [1, 2]
        assert [row.session_id for row in log.sessions()] == ["b", "a"]
        assert log.events("nobody") == []


def test_quick_lists_follow_the_events(tmp_path, doc, started):
    photo = doc("PhotoTaken", sha256="f" * 64, purpose="as-found", step="s-2", part="cover", width=1)
    with EventLog.open(tmp_path) as log:
        log.append("s", [started, photo])
        row = log.sessions()[0]
        assert (row.job, row.device, row.procedure, row.person) == ("JOB", "DEVICE", "PROCEDURE", "PERSON")
        assert (row.state, row.events, row.photos) == ("open", 2, 1)
        assert (row.started, row.last_at) == (started["at"]["wall"], photo["at"]["wall"])
        assert [tuple(p) for p in log.photos("s")] == [
            ("s", 2, "f" * 64, "as-found", "s-2", "cover", photo["at"]["wall"])
        ]
        log.append("s", [doc("SessionFinished"), doc("NoteAdded", text="later")])
        log.append("t", [started, doc("SessionAbandoned", reason="no part", name="Ada")])
        assert [(r.session_id, r.state, r.abandoned) for r in log.sessions()] == [
            ("t", "finished", True),
            ("s", "finished", False),
        ]


def test_settings_are_what_the_promises_rest_on(tmp_path):
    with EventLog.open(tmp_path) as log:
        pragma = {
            name: log._con.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "user_version", "application_id")
        }
    assert pragma == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "user_version": tables.FORMAT,
        "application_id": tables.APPLICATION_ID,
    }


@pytest.mark.parametrize("data", [{"x": math.nan}, {"x": 2**60}, {"x": object()}, {"x": "\ud800"}])
def test_what_json_cannot_hold_is_refused_and_nothing_is_kept(tmp_path, doc, started, data):
    with EventLog.open(tmp_path) as log:
        log.append("s", [started])
        with pytest.raises(ValueError):  # noqa: PT011 - the words are the library's
            log.append("s", [doc("Fine"), doc("Bad", **data)])
        assert len(log.events("s")) == 1
        assert log.append("s", [doc("Fine")])[0].seq == 2


def test_the_stores_own_keys_are_refused_from_callers(tmp_path, started):
    with EventLog.open(tmp_path) as log, pytest.raises(ValueError, match="set by the store"):
        log.append("s", [{**started, "seq": 4}])


def test_documents_are_kept_once_under_their_hash(tmp_path):
    with EventLog.open(tmp_path) as log:
        sha256 = log.put_document("device", '{"a":"ä"}')
        assert sha256 == log.put_document("device", '{"a":"ä"}') == link_hash('{"a":"ä"}'.encode())
        assert log.document(sha256) == '{"a":"ä"}'
        with pytest.raises(StoreProblem, match="no document"):
            log.document("0" * 64)


def test_a_second_writer_is_told_who_holds_the_log_and_can_read(tmp_path, doc, started):
    with EventLog.open(tmp_path) as first:
        first.append("s", [started])
        with pytest.raises(AlreadyOpen, match="already open in another window") as caught:
            EventLog.open(tmp_path)
        assert caught.value.pid
        assert caught.value.since
        with EventLog.open(tmp_path, mode="read") as second:
            assert second.read_only
            first.append("s", [doc("StepDone", step="1")])
            assert len(second.events("s")) == 2
            with pytest.raises(NotKept, match="reading only"):
                second.append("s", [doc("StepDone", step="2")])
            with pytest.raises(NotKept, match="reading only"):
                second.put_document("device", "{}")
    EventLog.open(tmp_path).close()


def test_a_second_process_is_turned_away_too(tmp_path):
    code = (
        "import sys, pathlib\nfrom benchguide.store.log import EventLog\n"
        "from benchguide.store.problems import AlreadyOpen\n"
        "try:\n    EventLog.open(pathlib.Path(sys.argv[1]))\n"
        "except AlreadyOpen as told:\n    print(told.pid)\n"
    )
    with EventLog.open(tmp_path) as log:
        run = [sys.executable, "-c", code, str(tmp_path)]
        out = subprocess.run(run, capture_output=True, text=True, check=True).stdout
        assert not log.read_only
    assert out.strip() == str(os.getpid())


def test_reading_where_there_is_no_log(tmp_path):
    with pytest.raises(StoreProblem, match="no log"):
        EventLog.open(tmp_path, mode="read")
    assert list(tmp_path.iterdir()) == []


def test_five_thousand_events_come_back(tmp_path, doc, started):
    with EventLog.open(tmp_path) as log:
        log.append("s", [started, *(doc("StepDone", step=f"s-{n}") for n in range(4_999))])
        assert len(log.events("s")) == 5_000


def test_a_format_step_and_its_receipt_are_one(tmp_path):
    """A step that fails half way leaves the tables, the number and the receipts as they were."""

    def bad_step(db):
        db.table("half").create({"x": int})
        raise RuntimeError("stopped")

    con = sqlite3.connect(tmp_path / "x.db", isolation_level=None)
    tables.migrate(con, "now")
    with pytest.raises(RuntimeError):
        tables.migrate(con, "now", [*tables.STEPS, bad_step])
    names = {row[0] for row in con.execute("SELECT name FROM sqlite_schema")}
    receipts = con.execute("SELECT number, name FROM format_steps").fetchall()
    version = con.execute("PRAGMA user_version").fetchone()[0]
    con.close()
    assert "half" not in names
    assert receipts == [(1, "_step_1")]
    assert version == 1


def test_the_next_format_step_runs_once(tmp_path):
    def step_2(db):
        db.table("more").create({"x": int})

    con = sqlite3.connect(tmp_path / "x.db", isolation_level=None)
    tables.migrate(con, "now")
    for _ in range(2):
        tables.migrate(con, "now", [*tables.STEPS, step_2])
    receipts = con.execute("SELECT number FROM format_steps").fetchall()
    con.close()
    assert receipts == [(1,), (2,)]


def test_a_reader_never_sees_half_of_what_a_writer_does(tmp_path, doc, started):
    """The list of sessions and the events are read in one view, so no false alarm about a broken chain."""
    with EventLog.open(tmp_path) as log:
        log.append("s", [started])
        with EventLog.open(tmp_path, mode="read") as reader:
            for n in range(1, 30):
                log.append("s", [doc("StepDone", step=str(n))])
                assert len(reader.events("s")) == n + 1 == reader.sessions()[0].events
            assert reader.notices == []


def test_threads_take_turns(tmp_path, doc, started):
    from concurrent.futures import ThreadPoolExecutor

    with EventLog.open(tmp_path) as log:
        log.append("s", [started])
        with ThreadPoolExecutor(4) as pool:
            list(pool.map(lambda n: log.append("s", [doc("StepDone", step=str(n))]), range(40)))
        assert [event.seq for event in log.events("s")] == list(range(1, 42))
        assert log.notices == []
