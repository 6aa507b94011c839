"""The record is the same fold as the bench, and every exception a supervisor needs is named."""

import sqlite3
from pathlib import Path

import pytest

from benchguide.review.exceptions import exceptions_of
from benchguide.review.problems import ReviewProblem
from benchguide.review.record import read_record
from benchguide.review.timeline import timeline_of
from benchguide.session import commands as cmd
from tests.review.sample_sessions import Runner


def test_the_record_has_the_state_of_the_bench(full: Runner) -> None:
    record = read_record(full.log, full.session)
    assert record.state == full.live.state
    assert record.chain.verified
    assert record.chain.events == len(record.facts)
    assert record.persons == ("Ada", "Bela")
    assert record.began == "2031-03-04T08:30:00+01:00"


def test_visits_steps_and_session_add_up(full: Runner) -> None:
    record = read_record(full.log, full.session)
    visits = sum(v.visit.total_us for v in record.visits)
    assert visits / 1e6 == pytest.approx(record.times.total_s)
    assert sum(s.times.total_s for s in record.steps) == pytest.approx(record.times.total_s)
    # nothing was asleep, away or doubtful: the visits fill the time from start to end exactly
    assert visits == full.clock().boot_us - record.facts[0].at.boot_us
    assert record.times.hold_s == 600
    assert record.times.waiting_s == 100


@pytest.mark.parametrize(
    ("kind", "part"),
    [
        ("test", "does not work"),
        ("test", "not testable"),
        ("reading", "3.2 V is outside 3.6 to 4.2 V"),
        ("waiver", "as-found photo"),
        ("skipped", "Bela"),
        ("count", "1 x Lid screws: lost"),
        ("countdown", "1 min 40 s of 5 min 00 s"),
        ("longer", "1 min 23 s of touch time; 30 s"),
        ("hold", "10 min 00 s"),
        ("taken back", "taken back"),
        ("handover", "Ada handed over to Bela, 6 pieces"),
    ],
)
def test_exceptions_are_named(full: Runner, kind: str, part: str) -> None:
    found = exceptions_of(read_record(full.log, full.session))
    assert [e for e in found if e.kind == kind and part in e.sentence]


def test_a_smooth_job_has_no_exceptions(runner: Runner) -> None:
    runner.finish()
    record = read_record(runner.log, runner.session)
    # the soak countdown ends long after the last step: its waiting is on the last visit, not an exception
    assert [e for e in exceptions_of(record) if e.kind != "longer"] == []
    assert all(not s.missing for s in record.steps)


def test_holds_know_their_step_reason_and_length(full: Runner) -> None:
    (hold,) = read_record(full.log, full.session).holds
    assert (hold.step, hold.reason, hold.seconds) == ("lid-lift", "telephone", 600)


def test_an_open_session_can_be_read(runner: Runner) -> None:
    runner.finish_step(20)
    runner.do(cmd.BeginHold("lunch"), 5)
    runner.clock.advance(50)
    record = read_record(runner.log, runner.session, runner.clock())
    assert record.status_words == "open, on hold"
    assert record.ended == ""
    assert record.times.hold_s == 50
    assert [e.kind for e in exceptions_of(record)] == ["open"]


def test_an_altered_event_is_told_and_the_part_before_it_is_read(full: Runner) -> None:
    whole = len(read_record(full.log, full.session).facts)
    full.log.close()
    con = sqlite3.connect(full.folder / "sessions.db")
    with con:
        con.execute("UPDATE events SET body = replace(body, 'telephone', 'telegraph')")
    con.close()
    with type(full.log).open(full.folder, mode="read") as log:
        record = read_record(log, full.session)
    assert not record.chain.verified
    assert 0 < len(record.facts) < whole
    assert exceptions_of(record)[0].kind == "log differs"


def test_an_unknown_session_is_one_sentence(full: Runner) -> None:
    with pytest.raises(ReviewProblem, match="no session nowhere"):
        read_record(full.log, "nowhere")


def test_an_entry_of_a_newer_version_is_one_sentence(tmp_path: Path) -> None:
    runner = Runner(tmp_path / "newer")
    at = runner.clock().to_doc()
    runner.log.append(runner.session, [{"kind": "Teleported", "v": 9, "at": at, "by": "x", "data": {}}])
    with pytest.raises(ReviewProblem, match="newer Benchguide"):
        read_record(runner.log, runner.session)
    runner.log.close()


def test_the_timeline_tells_every_fact(full: Runner) -> None:
    record = read_record(full.log, full.session)
    entries = timeline_of(record)
    assert len(entries) == len(record.facts)
    assert [e.at for e in entries] == [f.at for f in record.facts]
    assert {e.photo for e in entries if e.photo} == {p.sha256 for p in record.photos}
