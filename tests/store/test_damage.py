"""What happens when things break: the leftovers are opened, and what can be read is there."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from benchguide.store import rescue, tables
from benchguide.store.chain import verify
from benchguide.store.log import EventLog
from benchguide.store.places import Places
from benchguide.store.problems import NotKept, StoreProblem


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name.startswith("sessions.db")}


@pytest.fixture
def long_log(tmp_path, doc, started):
    """A closed log with three sessions of 300 events and a document."""
    with EventLog.open(tmp_path) as log:
        for session in ("a", "b", "c"):
            log.append(session, [started, *(doc("NoteAdded", text="x" * 100, n=n) for n in range(299))])
        log.put_document("device", "{}")
    return tmp_path


def run_and_kill(folder: Path, body: str) -> str:
    """A program that does `body` with an open log `log`, then is killed with no chance to clean up."""
    code = (
        "import os, signal, sys, pathlib\n"
        "from benchguide.store.log import EventLog\nfrom benchguide.store.photos import *\n"
        "folder = pathlib.Path(sys.argv[1])\nlog = EventLog.open(folder)\n"
        "def doc(kind, **data):\n"
        "    return {'kind': kind, 'v': 1, 'at': {'wall': 'w'}, 'by': 'A', 'data': data}\n"
        f"{body}\nsys.stdout.flush()\nos.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    return done.stdout


def test_killed_after_append(tmp_path):
    run_and_kill(tmp_path, "log.append('s', [doc('SessionStarted'), doc('StepDone')])")
    with EventLog.open(tmp_path) as log:
        assert [event.kind for event in log.events("s")] == ["SessionStarted", "StepDone"]
        assert log.notices == []
    assert verify(tmp_path).ok


def test_killed_inside_a_transaction(tmp_path):
    run_and_kill(
        tmp_path,
        "log.append('s', [doc('SessionStarted')])\nlog._con.execute('BEGIN IMMEDIATE')\n"
        "log._con.execute(\"INSERT INTO events VALUES ('s', 2, 'half')\")",
    )
    with EventLog.open(tmp_path) as log:
        assert len(log.events("s")) == 1
        assert log.append("s", [{"kind": "X", "at": {"wall": "w"}}])[0].seq == 2
    assert verify(tmp_path).ok


def test_killed_between_photo_and_row(tmp_path, jpeg):
    (tmp_path / "in.jpg").write_bytes(jpeg())
    sha256 = run_and_kill(
        tmp_path,
        "from datetime import datetime, UTC\nlog.append('s', [doc('SessionStarted')])\n"
        "facts = PhotoFacts(datetime.now(UTC), 'j', 's', 'p', 'as-found', 'x')\n"
        "print(PhotoShelf(folder).keep((folder / 'in.jpg').read_bytes(), facts).sha256)",
    ).strip()
    with EventLog.open(tmp_path) as log:
        assert log.photos("s") == []
    report = verify(tmp_path)
    assert report.ok
    assert [line for line in report.notes if sha256 in line and "mentioned by no session" in line]


def test_garbage_database_file(long_log):
    database = long_log / "sessions.db"
    garbage = os.urandom(50_000)
    database.write_bytes(garbage)
    with EventLog.open(long_log) as log:
        assert log.sessions() == []
        assert "put aside" in log.notices[0]
        log.append("n", [{"kind": "X", "at": {"wall": "w"}}])
    assert next((long_log / "aside").glob("*/sessions.db")).read_bytes() == garbage
    assert verify(long_log).ok


def test_first_page_overwritten(long_log):
    """SQLite can read nothing then; the events are found in the raw bytes and proved by their chain."""
    with (long_log / "sessions.db").open("rb+") as file:
        file.write(b"\0" * 4096)
    with EventLog.open(long_log) as log:
        assert {row.session_id: row.events for row in log.sessions()} == {"a": 300, "b": 300, "c": 300}
        assert len(log.notices) == 1
    assert verify(long_log).ok


def test_broken_last_page(long_log):
    database = long_log / "sessions.db"
    before = database.read_bytes()
    os.truncate(database, len(before) - 4096 - 100)
    damaged = database.read_bytes()
    with EventLog.open(long_log) as log:
        assert "damaged" in log.notices[0]
        kept = {row.session_id: row.events for row in log.sessions()}
        assert all(len(log.events(session)) == count for session, count in kept.items())
        assert sum(kept.values()) >= 550
        log.append("a", [{"kind": "X", "at": {"wall": "w"}}])
    assert verify(long_log).ok
    assert next((long_log / "aside").glob("*/sessions.db")).read_bytes() == damaged
    with EventLog.open(long_log) as log:
        assert log.notices == []


def test_a_page_in_the_middle_is_noticed_and_rescued_at_the_next_start(long_log):
    database = long_log / "sessions.db"
    pages = database.stat().st_size // 4096
    raw = database.read_bytes()
    # 10: a leaf of the kind of tree the events are kept in (SQLite file format, section 1.6)
    target = next(n for n in range(pages // 2, pages) if raw[n * 4096] == 10)
    with database.open("rb+") as file:
        file.seek(target * 4096)
        file.write(b"\xff" * 64)
    with EventLog.open(long_log) as log:
        total = sum(len(log.events(session)) for session in "abc")
        assert 0 < total < 900
        assert log.notices
    with EventLog.open(long_log) as log:
        assert "put aside" in log.notices[0]
        assert sum(row.events for row in log.sessions()) >= total
    assert verify(long_log).ok


def test_truncated_write_ahead_log(tmp_path):
    run_and_kill(tmp_path, "[log.append('s', [doc('StepDone', n=n)]) for n in range(50)]")
    wal = tmp_path / "sessions.db-wal"
    os.truncate(wal, wal.stat().st_size - 1000)
    with EventLog.open(tmp_path) as log:
        assert len(log.events("s")) == 49
        assert log.sessions()[0].events == 49
    assert verify(tmp_path).ok


@pytest.mark.parametrize("stop", ["os.link", "migrate", "unlink"])
def test_killed_during_rescue_the_next_start_goes_on(long_log, stop, monkeypatch):
    with (long_log / "sessions.db").open("rb+") as file:
        file.write(b"\0" * 4096)

    class Killed(BaseException):
        pass

    def killed(*args, **options):
        raise Killed

    with monkeypatch.context() as patch:
        if stop == "os.link":
            patch.setattr(rescue.os, "link", killed)
        elif stop == "migrate":
            patch.setattr(rescue.tables, "migrate", killed)
        else:
            patch.setattr(rescue, "finish_swap", killed)
        with pytest.raises(Killed):
            EventLog.open(long_log)
    with EventLog.open(long_log) as log:
        assert [row.events for row in log.sessions()] == [300, 300, 300]
    assert verify(long_log).ok
    assert not list(long_log.glob("rescued*"))


def test_newer_version_is_left_alone(long_log):
    con = sqlite3.connect(long_log / "sessions.db")
    con.execute(f"PRAGMA user_version = {tables.FORMAT + 1}")
    con.close()
    before = bytes_of(long_log)
    for mode in ("write", "read"):
        with pytest.raises(StoreProblem, match="newer Benchguide"):
            EventLog.open(long_log, mode=mode)
    with pytest.raises(StoreProblem, match="newer Benchguide"):
        verify(long_log)
    assert bytes_of(long_log) == before


def test_newer_version_told_in_the_write_ahead_log_only(long_log, tmp_path):
    source, copy = long_log / "sessions.db", tmp_path / "copy"
    copy.mkdir()
    con = sqlite3.connect(source, isolation_level=None)
    con.execute("PRAGMA user_version = 99")
    for path in (source, Path(f"{source}-wal")):
        shutil.copy(path, copy / path.name)
    con.close()
    before = bytes_of(copy)
    with pytest.raises(StoreProblem, match="newer Benchguide"):
        EventLog.open(copy)
    after = bytes_of(copy)
    assert {name: after[name] for name in before} == before


def test_database_of_another_program_is_left_alone(tmp_path):
    con = sqlite3.connect(tmp_path / "sessions.db")
    con.execute("PRAGMA application_id = 1234")
    con.execute("CREATE TABLE t (x)")
    con.close()
    before = bytes_of(tmp_path)
    with pytest.raises(StoreProblem, match="another program"):
        EventLog.open(tmp_path)
    assert bytes_of(tmp_path) == before


def test_locked_by_another_process(long_log, doc):
    hold = (
        "import sqlite3, sys\ncon = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "con.execute('BEGIN IMMEDIATE')\nprint('held', flush=True)\nsys.stdin.read()\n"
    )
    with EventLog.open(long_log) as log:
        holder = subprocess.Popen(
            [sys.executable, "-c", hold, str(long_log / "sessions.db")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        with holder:
            assert holder.stdout.readline() == "held\n"
            with pytest.raises(NotKept, match="Another program is using the log"):
                log.append("a", [doc("StepDone", step="1")])
            assert len(log.events("a")) == 300
            holder.stdin.close()
        assert log.append("a", [doc("StepDone", step="1")])[0].seq == 301
    assert verify(long_log).ok


def test_disk_full_keeps_nothing_half_and_goes_on_when_there_is_room(small_disk, doc, started, fill):
    with EventLog.open(small_disk) as log:
        log.append("s", [started])
        ballast = fill(small_disk)
        kept, told = 1, ""
        while not told:
            try:
                kept = log.append("s", [doc("NoteAdded", text="y" * 3000), doc("StepDone")])[-1].seq
            except NotKept as refused:
                told = str(refused)
        assert "disk is full" in told
        assert len(log.events("s")) == kept
        assert kept % 2 == 1
        ballast.unlink()
        assert log.append("s", [doc("StepDone")])[0].seq == kept + 1
    assert verify(small_disk).ok


def test_file_size_limit_without_root(tmp_path):
    """Where no small disk can be mounted: the kernel's own limit on file size gives a real refusal."""
    pytest.importorskip("resource")
    code = (
        "import resource, signal, sys, pathlib\nfrom benchguide.store.log import EventLog\n"
        "from benchguide.store.problems import NotKept\n"
        "doc = {'kind': 'X', 'at': {'wall': 'w'}, 'data': {'t': 'z' * 3000}}\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "log = EventLog.open(pathlib.Path(sys.argv[1]))\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))\n"
        "kept = 0\n"
        "try:\n    for _ in range(400): kept = log.append('s', [doc])[0].seq\n"
        "except NotKept as told: print(told)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))\n"
        "assert len(log.events('s')) == kept > 0\n"
        "assert log.append('s', [doc])[0].seq == kept + 1\nlog.close()\n"
    )
    run = [sys.executable, "-c", code, str(tmp_path)]
    out = subprocess.run(run, capture_output=True, text=True, check=True).stdout
    assert "disk" in out
    assert verify(tmp_path).ok


def test_read_only_folder(long_log, read_only_view):
    view = read_only_view(long_log)
    with pytest.raises(StoreProblem, match="read-only"):
        EventLog.open(view)
    with EventLog.open(view, mode="read") as log:
        assert len(log.events("a")) == 300
    assert verify(view).ok


def test_an_altered_event_ends_the_valid_prefix_and_the_rest_is_put_aside(long_log, doc):
    con = sqlite3.connect(long_log / "sessions.db")
    con.execute("UPDATE events SET body = replace(body, '\"Ada\"', '\"Bob\"') WHERE session='b' AND seq=101")
    con.commit()
    con.close()
    report = verify(long_log)
    assert [(c.session_id, c.first_bad_seq) for c in report.sessions if not c.ok] == [("b", 101)]
    with EventLog.open(long_log) as log:
        assert len(log.events("b")) == 100
        assert "event 101 was altered" in log.notices[0]
        assert log.append("b", [doc("StepDone", step="1")])[0].seq == 101
        assert len(log.events("b")) == 101
        assert next(row.events for row in log.sessions() if row.session_id == "b") == 101
    tail = next((long_log / "aside").glob("*-tail.jsonl")).read_text(encoding="utf-8").splitlines()
    assert len(tail) == 200
    report = verify(long_log)
    assert report.ok
    assert "200 damaged events" in report.notes[0]


def test_places_of_a_folder_with_odd_characters(tmp_path, started):
    folder = tmp_path / "a b%20?#é"
    with EventLog.open(folder) as log:
        log.append("s", [started])
    assert verify(folder).ok
    assert Places.at(folder).database.exists()
