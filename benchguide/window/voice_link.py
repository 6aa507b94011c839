"""From what was heard to what the bench does: the same actions as keys and switch, numbers read back before they count.

Hears and speaks nothing itself: it is handed a Heard, and says by signals what it understood. A risky command waits
for the one word "confirm"; "cancel that" takes the last one back, as a new fact.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Signal

from benchguide.procedure.words import FAILING
from benchguide.session import commands as cmd
from benchguide.session.state import Status
from benchguide.window.answering import accept, answers_to, do, move_choice, next_line, wants_number
from benchguide.window.raiser import ASKED, DONE, REFUSED, SHOOTING, Outcome, Raiser

if TYPE_CHECKING:
    from benchguide.procedure.procedure import CheckLine
    from benchguide.speech.recogniser import Heard

#: What is said, and the action it raises. A table of phrases may also name any action by its own name.
ACTIONS = {
    "next step": "step-done",
    "step done": "step-done",
    "previous step": "previous-step",
    "take photo": "take-photo",
    "pause timer": "hold",
    "continue work": "hold",
    "begin countdown": "countdown",
    "enter value": "reading",
    "show picture": "picture-mode",
    "say again": "say-again",
    "start note": "note",
    "list commands": "keys",
    "stop listening": "listen",
    "skip step": "skip",
    "waive hold point": "waive",
    "close record": "close-record",
}
#: These are confirmed by a second word, whatever a table of phrases says.
RISKY = frozenset({"skip", "waive", "close-record", "give-up", "account", "hand-over", "quit", "extra"})
#: A reason is asked for and a voice cannot dictate one: the record says so instead of inventing one.
SPOKEN_REASON = "asked for by voice, no reason written"
#: Facts that stay: what to do instead.
STAYS = {
    "take-photo": "A photo stays in the record; take another.",
    "note": "A note stays in the record; write another.",
    "reading": "Enter the value again; the last one counts.",
}
WAIT_MS = 15_000


@dataclass(frozen=True, slots=True)
class _Pending:
    """What waits for the word: as a question, and what is then done."""

    question: str
    run: Callable[[], Outcome]


class VoiceLink(QObject):
    """`take` one Heard after the other."""

    understood = Signal(str, bool)
    """One sentence to be shown, and whether it is to be spoken too."""
    refused = Signal(str)
    """A command was understood and is not possible: one sentence."""
    expects = Signal(bool, bool)
    """Whether a count, and whether an answer, is waited for now."""

    def __init__(self, raiser: Raiser, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._raiser = raiser
        self._pending: _Pending | None = None
        self._last: tuple[str, Callable[[], Outcome] | None] = ("", None)
        self._late = QTimer(self, singleShot=True, interval=WAIT_MS)
        self._late.timeout.connect(self._too_late)
        raiser.question.opened.connect(self.follow)
        raiser.question.closed.connect(lambda _answered: self.follow())

    @property
    def waiting(self) -> str:
        """The question that waits for the word, "" when none does."""
        return self._pending.question if self._pending else ""

    def follow(self) -> None:
        """Tell again what is expected: the step or the question has changed."""
        question = self._raiser.question
        state = self._raiser.driver.state if self._raiser.driver else None
        numbers = wants_number(question) is not None or (not question.is_open and self._counts())
        asking = bool(self._pending) or question.is_open or next_line(self._raiser) is not None
        self.expects.emit(numbers, asking or bool(state and state.open and state.to_confirm))

    def drop(self) -> None:
        """Nothing waits for a word any more: the person did something else."""
        if self._pending:
            self._pending = None
            self._late.stop()
            self.follow()

    def take(self, heard: Heard) -> None:
        """One command was heard."""
        if heard.command == "cancel that":
            self._cancel()
        elif heard.command == "confirm":
            self._confirm()
        elif heard.command == "line fails":
            self._line_fails(heard.words)
        elif heard.number is not None:
            self._number(heard.number, heard.words)
        else:
            self.drop()
            self._command(heard)

    # -- commands

    def _command(self, heard: Heard) -> None:
        name = ACTIONS.get(heard.command, heard.command)
        question = self._raiser.question
        if question.is_open:
            self._within_question(heard.command, name)
        elif why := self._not_now(heard.command):
            self._refuse(heard.words, why)
        elif heard.risky or name in RISKY:
            self._ask(f"{heard.words}?", lambda: self._do(heard.words, name))
        else:
            self._tell(heard.words, self._do(heard.words, name), name)

    def _not_now(self, command: str) -> str:
        driver = self._raiser.driver
        held = driver is not None and driver.state.status is Status.HELD
        if command == "pause timer" and held:
            return "Work is on hold already."
        if command == "continue work" and driver is not None and not held:
            return "Work is not on hold."
        return ""

    def _within_question(self, command: str, name: str) -> None:
        """While something is asked, next and previous choose among its answers; "end note" keeps the note."""
        question = self._raiser.question
        if name in ("step-done", "previous-step"):
            outcome = move_choice(question, 1 if name == "step-done" else -1)
            if outcome.result is REFUSED:
                outcome = Outcome(REFUSED, f"{question.title.text()} Say confirm, or cancel that.")
            self._tell(outcome.sentence, Outcome(outcome.result, outcome.sentence), "")
        elif command == "end note":
            self._tell("note kept", accept(question), "note")
        else:
            self._refuse(command, f"A question is open: {question.title.text()}")

    def _do(self, words: str, name: str) -> Outcome:
        """Raise the action; what it asks beside is filled in as far as a voice can."""
        driver = self._raiser.driver
        before = driver.state.step.id if driver and driver.state.open else ""
        outcome = self._raiser.raise_command(name)
        if outcome.result is ASKED and name in ("hold", "skip", "waive", "countdown"):
            self._fill_reason()
            outcome = accept(self._raiser.question)
        if outcome.result in (DONE, SHOOTING):
            self._last = (name, self._back_from(name, before))
        return outcome

    def _fill_reason(self) -> None:
        question = self._raiser.question
        values = question.values()
        for field in question.fields:
            if field.key != "reason":
                continue
            if field.kind == "choice":
                question.set_value("reason", "other" if "other" in field.choices else field.choices[-1])
            elif not values["reason"].strip():
                question.set_value("reason", SPOKEN_REASON)

    def _back_from(self, name: str, before: str) -> Callable[[], Outcome] | None:
        raiser = self._raiser
        if name in ("step-done", "skip"):
            return lambda: raiser.raise_command("take-back")
        if name == "previous-step" and before:
            return lambda: do(raiser, cmd.GoTo(before))
        if name in ("hold", "picture-mode", "listen", "theme"):
            return lambda: self._do("", name)
        return None

    # -- the word, and taking back

    def _ask(self, question: str, run: Callable[[], Outcome]) -> None:
        self._pending = _Pending(question, run)
        self._late.start()
        self.understood.emit(f"{_first_up(question)} Say confirm, or cancel that.", True)
        self.follow()

    def _confirm(self) -> None:
        pending, self._pending = self._pending, None
        self._late.stop()
        question, driver = self._raiser.question, self._raiser.driver
        if pending:
            self._tell(pending.question.rstrip("?"), pending.run(), "")
        elif question.is_open:
            self._fill_reason()
            self._tell("confirmed", accept(question), "")
        elif driver and driver.state.open and driver.state.to_confirm:
            self._tell("confirmed", self._raiser.raise_command("confirm"), "")
        elif line := next_line(self._raiser):
            self._ask_line(line, answers_to(line)[0])
        else:
            self._refuse("confirm", "Nothing waits to be confirmed.")
        self.follow()

    def _line_fails(self, words: str) -> None:
        """The next line of the list is not as it should be: read back, and confirmed like every answer."""
        question, line = self._raiser.question, next_line(self._raiser)
        if question.is_open:
            self._refuse(words, f"A question is open: {question.title.text()}")
        elif line is None:
            self._refuse(words, "No line of a list waits for an answer.")
        else:
            self._ask_line(line, next(each for each in answers_to(line) if each in FAILING))

    def _ask_line(self, line: CheckLine, answer: str) -> None:
        told = line.text.rstrip(".?!")
        self._ask(f"{told}: {answer}?", lambda: do(self._raiser, cmd.AnswerLine(line.id, answer)))

    def _cancel(self) -> None:
        if self._pending:
            self.drop()
            if self._raiser.question.is_open:
                self._raiser.question.cancel()
            self.understood.emit("Cancelled.", True)
            return
        if self._raiser.question.is_open:
            self._raiser.question.cancel()
            self.understood.emit("Cancelled.", True)
            return
        name, back = self._last
        self._last = ("", None)
        if name in STAYS:
            self._refuse("cancel that", STAYS[name])
        elif back is None and name:
            self._refuse("cancel that", f"{self._raiser.actions[name].text()} cannot be taken back by voice.")
        else:
            self._tell("taken back", back() if back else self._raiser.raise_command("take-back"), "take-back")

    def _too_late(self) -> None:
        if self._pending:
            self.drop()
            self.understood.emit("Nothing was done: no confirm was heard.", True)

    # -- counts

    def _counts(self) -> bool:
        """Whether this step moves pieces, whose count can be said."""
        names = self._raiser.actions.names()
        driver = self._raiser.driver
        if "count-pieces" not in names or driver is None or not driver.state.open:
            return False
        device = driver.state.job.device
        return any(device.by_id[part].pieces > 1 for part in driver.state.step.parts)

    def _number(self, number: int, words: str) -> None:
        question = self._raiser.question
        if not question.is_open and self._counts():
            outcome = self._raiser.raise_command("count-pieces")
            if outcome.result is REFUSED:
                self._refuse(words, outcome.sentence)
                return
        field = wants_number(question)
        if field is None:
            self._refuse(words, "No count is asked for now.")
            return
        question.set_value(field.key, str(number))
        self._ask(f"{words}, {field.label}?", lambda: accept(question))

    # -- telling

    def _tell(self, words: str, outcome: Outcome, name: str) -> None:
        if outcome.result is REFUSED:
            self._refuse(words, outcome.sentence)
        elif outcome.result is ASKED:
            self.understood.emit(outcome.sentence, True)
        else:
            # a step that comes up is read aloud anyway, and a photo has its own sound
            arrives = name in ("step-done", "previous-step", "take-photo", "say-again")
            self.understood.emit(f"{_first_up(words)}.", not arrives)
        self.follow()

    def _refuse(self, words: str, sentence: str) -> None:
        self.understood.emit(f"{_first_up(words)}.", False)
        self.refused.emit(sentence)


def _first_up(words: str) -> str:
    return words[:1].upper() + words[1:]
