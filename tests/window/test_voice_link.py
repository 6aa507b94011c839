"""What was heard does what the key does; risky words and counts wait for a second word; cancel takes back."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from benchguide.procedure.words import CHOICES, FAILING, Answer
from benchguide.session import commands as cmd
from benchguide.session.state import Mark, Status
from benchguide.speech.phrases import Group, bundled
from benchguide.window.raiser import REFUSED
from benchguide.window.voice_link import ACTIONS, SPOKEN_REASON, VoiceLink
from benchguide.window.widgets.question import Field
from tests.window.hands_parts import HandsParts, heard


@pytest.fixture
def parts(tmp_path: Path, qapp: QApplication) -> Iterator[HandsParts]:
    made = HandsParts(tmp_path)
    yield made
    made.close()


class Told:
    """A voice link and what it told."""

    def __init__(self, parts: HandsParts) -> None:
        self.parts = parts
        self.link = VoiceLink(parts.raiser)
        self.understood: list[str] = []
        self.refused: list[str] = []
        self.expected = (False, False)
        self.link.understood.connect(lambda words, _aloud: self.understood.append(words))
        self.link.refused.connect(self.refused.append)
        self.link.expects.connect(lambda *now: setattr(self, "expected", now))

    def say(self, *commands: str) -> None:
        for command in commands:
            self.link.take(heard(command))


@pytest.fixture
def told(parts: HandsParts) -> Told:
    return Told(parts)


def test_every_command_of_the_table_means_something() -> None:
    from benchguide.window.actions import BENCH, WINDOW

    names = {spec.name for spec in (*BENCH, *WINDOW)}
    assert set(ACTIONS.values()) <= names
    own = {"cancel that", "confirm", "end note", "line fails"}
    said = {phrase.command for phrase in bundled().phrases if phrase.group is not Group.NUMBER}
    unknown = said - own - set(ACTIONS) - names
    assert not unknown


def test_a_spoken_step_is_the_same_as_the_key(parts: HandsParts, told: Told) -> None:
    parts.driver.do(cmd.GoTo("in-main-board"))
    here = parts.driver.state.here
    told.say("previous step")
    assert parts.driver.state.here == here - 1
    told.say("step done")
    # refused or done by the same judge as the key: the sentence is the gate's
    assert told.refused or parts.driver.state.here == here


def test_hold_needs_no_typing_and_continue_ends_it(parts: HandsParts, told: Told) -> None:
    told.say("pause timer")
    assert parts.driver.state.status is Status.HELD
    told.say("pause timer")
    assert told.refused[-1] == "Work is on hold already."
    told.say("continue work")
    assert parts.driver.state.status is Status.WORKING
    assert not parts.question.is_open


def test_a_risky_word_waits_for_confirm(parts: HandsParts, told: Told) -> None:
    here = parts.driver.state.step.id
    told.say("skip step")
    assert parts.driver.state.mark_of(here).mark is Mark.OPEN
    assert told.link.waiting
    assert told.expected[1]
    told.say("confirm")
    assert parts.driver.state.mark_of(here).mark is Mark.SKIPPED
    assert any(SPOKEN_REASON in str(event.doc) for event in parts.log.events(parts.live.session_id))
    assert not told.link.waiting


@pytest.mark.parametrize("other", ["cancel that", "say again", "previous step"])
def test_anything_else_drops_what_waited(parts: HandsParts, told: Told, other: str) -> None:
    here = parts.driver.state.step.id
    told.say("skip step", other, "confirm")
    assert parts.driver.state.mark_of(here).mark is Mark.OPEN


def test_silence_drops_what_waited(parts: HandsParts, told: Told, qtbot, monkeypatch) -> None:
    told.link._late.setInterval(10)
    told.say("skip step")
    qtbot.waitUntil(lambda: not told.link.waiting)
    assert "no confirm was heard" in told.understood[-1]


def test_cancel_takes_the_last_back_as_a_new_fact(parts: HandsParts, told: Told) -> None:
    parts.driver.do(cmd.GoTo("prep-off"))
    told.say("skip step", "confirm")
    facts = parts.driver.state.facts
    told.say("cancel that")
    assert parts.driver.state.step.id == "prep-off"
    assert parts.driver.state.facts > facts
    told.say("pause timer", "cancel that")
    assert parts.driver.state.status is Status.WORKING


def test_a_photo_stays_and_that_is_said(parts: HandsParts, told: Told, qtbot) -> None:
    with qtbot.waitSignal(parts.driver.photo_kept, timeout=20_000):
        told.say("take photo")
    told.say("cancel that")
    assert told.refused[-1].startswith("A photo stays")
    assert len(parts.driver.state.photos) == 1


def test_a_count_is_read_back_before_it_counts(parts: HandsParts, told: Told) -> None:
    answers: list[dict[str, str]] = []
    parts.question.ask("How many?", [Field("count", "Screws", "number")], "Count", answers.append)
    assert told.expected == (True, True)
    told.link.take(heard("three screws", 3))
    assert parts.question.values() == {"count": "3"}
    assert "Three screws" in told.understood[-1]
    assert "Say confirm" in told.understood[-1]
    assert answers == []
    told.link.take(heard("four screws", 4))
    told.say("confirm")
    assert answers == [{"count": "4"}]
    assert told.expected[0] is told.link._counts()


def test_choices_are_moved_among_and_taken(parts: HandsParts, told: Told) -> None:
    parts.actions["hold"].trigger()
    first = parts.question.values()["reason"]
    told.say("next step")
    assert parts.question.values()["reason"] != first
    told.say("previous step")
    assert parts.question.values()["reason"] == first
    told.say("cancel that")
    assert not parts.question.is_open
    assert parts.driver.state.status is Status.WORKING


def test_a_line_of_a_list_is_read_back_and_then_answered(parts: HandsParts, told: Told) -> None:
    parts.driver.do(cmd.GoTo("prep-functions"))
    step = parts.driver.state.step
    told.link.follow()
    assert told.expected[1]
    told.say("confirm")
    assert not parts.driver.state.answers
    told.say("confirm")
    assert parts.driver.state.answers == {(step.id, step.lines[0].id): "works"}


def test_a_line_that_fails_is_said_read_back_and_then_answered(parts: HandsParts, told: Told) -> None:
    parts.driver.do(cmd.GoTo("prep-functions"))
    step = parts.driver.state.step
    told.say("line fails")
    assert f"{Answer.FAILS}? Say confirm, or cancel that." in told.understood[-1]
    assert not parts.driver.state.answers
    told.say("cancel that")
    assert not parts.driver.state.answers
    # asked whether it works, a person may say that it does not
    told.say("confirm", "line fails", "confirm")
    assert parts.driver.state.answers == {(step.id, step.lines[0].id): Answer.FAILS}
    told.say("line fails", "confirm")
    assert parts.driver.state.answers[(step.id, step.lines[1].id)] == Answer.FAILS


def test_a_failing_line_needs_a_line_and_no_open_question(parts: HandsParts, told: Told) -> None:
    told.say("line fails")
    assert "No line" in told.refused[-1]
    parts.driver.do(cmd.GoTo("prep-functions"))
    parts.actions["note"].trigger()
    told.say("line fails")
    assert "question is open" in told.refused[-1]
    assert not parts.driver.state.answers


def test_every_set_of_answers_has_one_that_fails() -> None:
    """Or what is said could not be told."""
    assert all(sum(each in FAILING for each in choices) == 1 for choices in CHOICES.values())


def test_commands_of_the_bench_wait_while_something_is_asked(parts: HandsParts, told: Told) -> None:
    parts.actions["note"].trigger()
    told.say("take photo")
    assert "question is open" in told.refused[-1]
    parts.question.set_value("text", "seen")
    told.say("end note")
    assert len(parts.driver.state.notes) == 1


def test_an_unknown_name_gets_one_sentence_with_the_nearest(parts: HandsParts) -> None:
    outcome = parts.raiser.raise_command("step-dun")
    assert outcome.result == REFUSED
    assert "step-done" in outcome.sentence
    assert len(parts.raiser.raise_command("x" * 5000).sentence) < 200
