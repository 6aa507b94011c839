"""Commands as lines of standard input, so that any other device can drive the bench; one JSON line answers each.

A line is the name of a command (window/actions.py), or `answer WORDS`, `answer FIELD=WORDS`, `accept`, `cancel`,
`state`, `commands`. An empty line and one that begins with # are passed over. The end of the input ends only this;
the window stays.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject

from benchguide.speech.input_lines import InputLines
from benchguide.window.answering import accept, answer, answers_to, next_line
from benchguide.window.raiser import ASKED, DONE, REFUSED, SHOOTING, Outcome, Raiser, unknown

if TYPE_CHECKING:
    from benchguide.window.driver import BenchDriver

OWN = ("answer", "accept", "cancel", "state", "commands")
#: A device that sends faster than the bench works is told so, and memory stays bounded.
MOST_WAITING = 1000


class ScriptCommands(QObject):
    """Takes lines one after the other; a photo is waited for before the next line."""

    def __init__(
        self, raiser: Raiser, lines: InputLines, tell: Callable[[str], None], parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._raiser, self._lines, self._write = raiser, lines, tell
        self._waiting: deque[tuple[int, str]] = deque()
        self._number = 0
        self._shot: tuple[int, str] | None = None
        self._driver: BenchDriver | None = None
        self.ended = False
        lines.line.connect(self.take)
        lines.ended.connect(self._end)

    def start(self) -> None:
        """Read from now on."""
        self._lines.start()

    def take(self, text: str) -> None:
        """One line."""
        self._number += 1
        if len(self._waiting) >= MOST_WAITING:
            self._tell(self._number, text, Outcome(REFUSED, "Too many lines wait; send more slowly."))
            return
        self._waiting.append((self._number, text))
        self._go_on()

    def _go_on(self) -> None:
        while self._waiting and self._shot is None:
            number, text = self._waiting.popleft()
            words = text.strip()
            if words and not words.startswith("#"):
                self._take(number, words)

    def _take(self, number: int, words: str) -> None:
        name, _, rest = words.partition(" ")
        outcome = self._done(name, rest.strip())
        if outcome.result is SHOOTING:
            self._await_photo(number, name)
        else:
            more: dict[str, Any] = self._state() if name == "state" else {}
            if name == "commands":
                more = {"commands": [*OWN, *self._raiser.actions.names()]}
            self._tell(number, name, outcome, **more)

    def _done(self, name: str, rest: str) -> Outcome:
        if name == "answer":
            return answer(self._raiser, rest)
        if rest and name in (*OWN, *self._raiser.actions.names()):
            return Outcome(
                REFUSED, f"{name} takes nothing behind its name; answer follows as a line of its own."
            )
        if name == "accept":
            return accept(self._raiser.question)
        if name == "cancel":
            if not self._raiser.question.is_open:
                return Outcome(REFUSED, "Nothing is asked.")
            self._raiser.question.cancel()
            return Outcome(DONE)
        if name in OWN:
            return Outcome(DONE)
        if name not in self._raiser.actions.names():
            return Outcome(REFUSED, unknown(name, (*OWN, *self._raiser.actions.names())))
        return self._raiser.raise_command(name)

    # -- a photo takes its time: the answer is that of the disk

    def _await_photo(self, number: int, name: str) -> None:
        driver = self._raiser.driver
        if driver is None:
            return
        self._shot, self._driver = (number, name), driver
        driver.photo_kept.connect(self._photo_kept)
        driver.photo_failed.connect(self._photo_failed)
        driver.destroyed.connect(self._driver_gone)

    def _photo_kept(self, sha256: str) -> None:
        self._shot_over(Outcome(DONE), photo=sha256)

    def _photo_failed(self, sentence: str) -> None:
        self._shot_over(Outcome(REFUSED, sentence))

    def _driver_gone(self) -> None:
        self._driver = None
        self._shot_over(Outcome(REFUSED, "The job left the bench before the photo was there."))

    def _shot_over(self, outcome: Outcome, **more: Any) -> None:
        shot, self._shot = self._shot, None
        driver, self._driver = self._driver, None
        if driver is not None:
            driver.photo_kept.disconnect(self._photo_kept)
            driver.photo_failed.disconnect(self._photo_failed)
            driver.destroyed.disconnect(self._driver_gone)
        if shot:
            self._tell(*shot, outcome, **more)
        self._go_on()

    # -- answers

    def _tell(self, number: int, name: str, outcome: Outcome, **more: Any) -> None:
        doc: dict[str, Any] = {"line": number, "command": name[:80], "result": outcome.result}
        if outcome.sentence:
            doc["sentence"] = outcome.sentence
        if outcome.result is ASKED or self._raiser.question.is_open:
            doc["asked"] = self._asked()
        self._write(json.dumps(doc | more, ensure_ascii=False))

    def _asked(self) -> list[dict[str, Any]]:
        values = self._raiser.question.values() if self._raiser.question.is_open else {}
        return [
            {"field": f.key, "label": f.label, "kind": f.kind, "value": values.get(f.key, "")}
            | ({"choices": list(f.choices)} if f.choices else {})
            for f in self._raiser.question.fields
        ]

    def _state(self) -> dict[str, Any]:
        driver = self._raiser.driver
        if driver is None or not driver.state.open:
            return {"state": {"open": False}}
        state = driver.state
        doc: dict[str, Any] = {
            "open": True,
            "session": driver.session_id,
            "step": state.step.id,
            "number": state.here + 1,
            "steps": len(state.steps),
            "status": str(state.status),
            "text": state.step.text,
        }
        line = next_line(self._raiser)
        if line:
            doc["line"] = {"name": line.id, "text": line.text, "answers": list(answers_to(line))}
        return {"state": doc}

    def _end(self) -> None:
        self.ended = True
