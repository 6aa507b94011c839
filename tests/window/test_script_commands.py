"""Lines of standard input drive the bench through the same actions; every line gets one answer in JSON."""

import io
import json
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from benchguide.session import commands as cmd
from benchguide.session.state import Status
from benchguide.speech.input_lines import MOST_LINE, InputLines
from benchguide.window.script_commands import ScriptCommands
from tests.window.hands_parts import HandsParts


@pytest.fixture
def parts(tmp_path: Path, qapp: QApplication) -> Iterator[HandsParts]:
    made = HandsParts(tmp_path)
    yield made
    made.close()


class Script:
    """A script and its answers."""

    def __init__(self, parts: HandsParts) -> None:
        self.lines = InputLines(io.StringIO())
        self.told: list[dict[str, Any]] = []
        self.script = ScriptCommands(
            parts.raiser, self.lines, lambda line: self.told.append(json.loads(line))
        )

    def send(self, line: str) -> dict[str, Any]:
        before = len(self.told)
        self.lines.line.emit(line)
        assert len(self.told) == before + 1
        return self.told[-1]


@pytest.fixture
def script(parts: HandsParts) -> Script:
    return Script(parts)


def test_a_command_is_done_or_refused_in_one_sentence(parts: HandsParts, script: Script) -> None:
    parts.driver.do(cmd.GoTo("prep-functions"))
    refused = script.send("step-done")
    assert refused["result"] == "refused"
    assert refused["sentence"].endswith(".")
    assert script.send("previous-step") == {"line": 2, "command": "previous-step", "result": "done"}


def test_a_question_is_answered_field_by_field(parts: HandsParts, script: Script) -> None:
    asked = script.send("skip")
    assert asked["result"] == "asked"
    assert [field["field"] for field in asked["asked"]] == ["reason", "name"]
    step = parts.driver.state.step.id
    assert script.send("answer worn out")["result"] == "done"
    assert parts.driver.state.mark_of(step).mark == "skipped"


def test_a_choice_is_taken_by_its_first_letters_and_a_wrong_one_named(
    parts: HandsParts, script: Script
) -> None:
    script.send("hold")
    wrong = script.send("answer reason=lunch")
    assert wrong["result"] == "refused"
    assert "break" in wrong["sentence"]
    assert script.send("answer reason=BREAK")["result"] == "done"
    assert parts.driver.state.status is Status.HELD


def test_lines_of_a_list_are_answered(parts: HandsParts, script: Script) -> None:
    parts.driver.do(cmd.GoTo("prep-functions"))
    step = parts.driver.state.step
    assert script.send("state")["state"]["line"]["name"] == step.lines[0].id
    assert script.send("answer works")["result"] == "done"
    last = step.lines[-1].id
    assert script.send(f"answer {last}=does not")["result"] == "done"
    assert parts.driver.state.answers[step.id, last] == "does not work"
    assert script.send("answer nothing=works")["result"] == "refused"
    assert script.send("answer perhaps")["result"] == "refused"


def test_a_photo_is_answered_when_it_is_on_the_disk_and_the_next_line_waits(
    parts: HandsParts, script: Script, qtbot: QtBot
) -> None:
    with qtbot.waitSignal(parts.driver.photo_kept, timeout=20_000):
        script.lines.line.emit("take-photo")
        script.lines.line.emit("state")
        assert script.told == []
    assert [doc["command"] for doc in script.told] == ["take-photo", "state"]
    assert script.told[0]["photo"] == parts.driver.state.photos[0].sha256


def test_unknown_and_overfull_lines_get_one_sentence(script: Script) -> None:
    assert "step-done" in script.send("step_done")["sentence"]
    assert script.send("zzz")["sentence"].endswith("`commands` lists them.")
    assert script.send("step-done now")["result"] == "refused"
    assert script.send("accept")["sentence"] == "Nothing is asked."
    assert script.send("cancel")["result"] == "refused"
    assert "step-done" in script.send("commands")["commands"]
    before = len(script.told)
    script.lines.line.emit("   ")
    script.lines.line.emit("# a remark")
    assert len(script.told) == before


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(line=st.text(max_size=200).filter(lambda s: s.strip() not in ("take-photo", "quit")))
def test_any_line_is_answered_or_passed_over(script: Script, line: str) -> None:
    before = len(script.told)
    script.lines.line.emit(line)
    words = line.strip()
    assert len(script.told) - before == (1 if words and not words.startswith("#") else 0)


def test_lines_come_from_a_pipe_and_its_end_is_told(qtbot: QtBot) -> None:
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8", errors="replace") as stream:
        lines = InputLines(stream)
        got: list[str] = []
        lines.line.connect(got.append)

        def feed() -> None:
            with os.fdopen(write, "wb") as out:
                out.write(b"step-done\r\nnext\n" + b"y" * (3 * MOST_LINE) + b"\n\xff\xfe\nlast")

        with qtbot.waitSignal(lines.ended, timeout=10_000):
            lines.start()
            threading.Thread(target=feed).start()
    assert got[:2] == ["step-done", "next"]
    assert len(got[2]) == MOST_LINE
    assert got[4] == "last"
