"""The driver on real parts: command to disk to signal, photos only after verification, time rings."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))

from bench_parts import Parts

from benchguide.session import commands as cmd
from benchguide.session.state import Status
from benchguide.store.live import read_session, resume_session
from benchguide.store.photos import PhotoNotKept
from benchguide.store.problems import NotKept


@pytest.fixture
def parts(tmp_path: Path, qtbot: QtBot) -> Iterator[Parts]:
    made = Parts(tmp_path)
    yield made
    made.close()


def test_what_is_signalled_is_on_the_disk(parts: Parts, qtbot: QtBot) -> None:
    with qtbot.waitSignal(parts.driver.changed):
        parts.driver.do(cmd.AddNote("a scratch at the port"))
    state, _facts = read_session(parts.log, parts.driver.session_id)
    assert state.notes[-1].what.text == "a scratch at the port"  # type: ignore[attr-defined]
    assert state == parts.driver.state


def test_a_refused_command_changes_nothing_and_is_told(parts: Parts, qtbot: QtBot) -> None:
    parts.driver.do(cmd.GoTo("in-cell-plug"))
    before = parts.driver.state
    with qtbot.waitSignal(parts.driver.refused) as told:
        parts.driver.do(cmd.FinishStep())
    assert "as-found photo" in told.args[0]
    assert parts.driver.state is before


def test_a_photo_is_told_only_when_it_is_verified_on_the_disk(parts: Parts, qtbot: QtBot) -> None:
    parts.driver.do(cmd.GoTo("in-cell-plug"))
    with qtbot.waitSignal(parts.driver.photo_kept, timeout=15_000) as kept:
        parts.driver.take_photo()
    path = parts.shelf.path(kept.args[0])
    assert path.read_bytes()[:2] == b"\xff\xd8"
    photo = parts.driver.state.photos[-1]
    assert (photo.sha256, photo.purpose, photo.step) == (kept.args[0], "as-found", "in-cell-plug")


def test_a_photo_that_cannot_be_kept_is_told_and_not_entered(
    parts: Parts, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_args: object) -> None:
        raise PhotoNotKept("The disk is full. Make room and take the photo again.")

    monkeypatch.setattr(parts.shelf, "keep", full)
    with qtbot.waitSignal(parts.driver.photo_failed, timeout=15_000) as told:
        parts.driver.take_photo()
    assert "disk is full" in told.args[0]
    assert parts.driver.state.photos == ()


def test_a_command_that_cannot_be_stored_is_not_shown(
    parts: Parts, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = parts.driver.state

    def full(*_args: object) -> None:
        raise NotKept("The disk is full. Make room; nothing was lost.")

    monkeypatch.setattr(parts.log, "append", full)
    with qtbot.waitSignal(parts.driver.trouble) as told:
        parts.driver.do(cmd.AddNote("lost?"))
    assert "disk is full" in told.args[0]
    assert parts.driver.state is before
    monkeypatch.undo()
    parts.driver.do(cmd.AddNote("kept"))
    assert len(parts.driver.state.notes) == 1


def test_a_countdown_rings_once_when_it_is_due(parts: Parts, qtbot: QtBot) -> None:
    parts.driver.do(cmd.GoTo("in-warm"))
    parts.driver.do(cmd.StartCountdown())
    parts.driver.do(cmd.GoBack())
    parts.clock.advance(179)
    parts.driver.tick()
    assert parts.driver.state.running
    parts.clock.advance(1)
    with qtbot.waitSignal(parts.driver.time_up):
        parts.driver.tick()
    assert not parts.driver.state.running


def test_leaving_and_coming_back_asks_to_confirm_the_last_action(tmp_path: Path, qtbot: QtBot) -> None:
    parts = Parts(tmp_path)
    parts.driver.do(cmd.GoTo("in-cell-plug"))
    with qtbot.waitSignal(parts.driver.photo_kept, timeout=15_000):
        parts.driver.take_photo()
    parts.driver.close()
    parts.clock.advance(3600)
    again = resume_session(parts.log, parts.driver.session_id, parts.clock)
    assert again.state.to_confirm
    assert again.state.step.id == "in-cell-plug"
    assert again.state.visit is not None
    assert again.state.visit.away_us == 3600_000_000
    again.do(cmd.ConfirmLast())
    assert again.state.status is Status.WORKING
    parts.camera.stop()
    parts.log.close()
