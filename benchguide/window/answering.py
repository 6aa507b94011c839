"""Answers what the bench asks, from outside: the open question's fields, or the next line of the step's list.

Used by voice, switch and script. Keeps nothing; refuses in one sentence.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchguide.procedure.procedure import CheckLine
from benchguide.procedure.words import CHOICES
from benchguide.session import commands as cmd
from benchguide.window.raiser import ASKED, DONE, REFUSED, Outcome, Raiser, unknown
from benchguide.window.widgets.question import Field, QuestionBar


def fields_of(question: QuestionBar) -> tuple[Field, ...]:
    """The fields of the open question, none when nothing is asked."""
    return question.fields if question.is_open else ()


def wants_number(question: QuestionBar) -> Field | None:
    """The first number the open question asks for."""
    return next((field for field in fields_of(question) if field.kind == "number"), None)


def next_line(raiser: Raiser) -> CheckLine | None:
    """The first line of the present step that has no answer yet."""
    driver = raiser.driver
    if driver is None or not driver.state.open:
        return None
    state = driver.state
    return next((x for x in state.step.lines if (state.step.id, x.id) not in state.answers), None)


def answers_to(line: CheckLine) -> tuple[str, ...]:
    """The words a line can be answered with, the good one first."""
    return tuple(str(each) for each in CHOICES[line.answers])


def answer(raiser: Raiser, words: str) -> Outcome:
    """Answer what is asked. `field=words` names the field; plain words go to the first field that has no answer.

    The question is accepted once every required field has an answer. Without a question the next line of the step's
    list is answered; `LINE=words` names the line.
    """
    if raiser.question.is_open:
        return _answer_question(raiser.question, words)
    return _answer_line(raiser, words)


def _answer_question(question: QuestionBar, words: str) -> Outcome:
    fields = {field.key: field for field in fields_of(question)}
    name, found, value = words.partition("=")
    if not (found and name.strip() in fields):
        values = question.values()
        name = next((key for key in fields if not values[key].strip()), next(iter(fields), ""))
        value = words
    name, value = name.strip(), value.strip()
    if not name:
        question.accept()
        return Outcome(DONE)
    field = fields[name]
    if field.kind == "choice":
        chosen = chosen_of(field.choices, value)
        if chosen is None:
            return Outcome(REFUSED, f"{field.label}: {value!r} is none of {', '.join(field.choices)}.")
        value = chosen
    question.set_value(name, value)
    return accept(question, only_when_full=True)


def accept(question: QuestionBar, only_when_full: bool = False) -> Outcome:
    """Take the answers as they stand; says what is still missing."""
    if not question.is_open:
        return Outcome(REFUSED, "Nothing is asked.")
    values = question.values()
    missing = [f for f in fields_of(question) if f.required and not values[f.key].strip()]
    if missing and only_when_full:
        return Outcome(ASKED, f"Still to be answered: {missing[0].key} ({missing[0].label}).")
    question.accept()
    return Outcome(REFUSED, question.message.text()) if _still_open(question) else Outcome(DONE)


def _still_open(question: QuestionBar) -> bool:
    return question.is_open


def _answer_line(raiser: Raiser, words: str) -> Outcome:
    driver = raiser.driver
    if driver is None or not driver.state.open:
        return Outcome(REFUSED, "Nothing is asked.")
    lines = {line.id: line for line in driver.state.step.lines}
    name, found, value = words.partition("=")
    line = lines.get(name.strip()) if found else next_line(raiser)
    if found and line is None and lines:
        return Outcome(REFUSED, unknown(name.strip(), tuple(lines)))
    if line is None:
        return Outcome(REFUSED, "Nothing is asked; every line of this step has its answer.")
    said = (value if found else words).strip()
    chosen = chosen_of(answers_to(line), said)
    if chosen is None:
        return Outcome(REFUSED, f"{line.text}: {said!r} is none of {', '.join(answers_to(line))}.")
    return do(raiser, cmd.AnswerLine(line.id, chosen))


def do(raiser: Raiser, command: cmd.Command) -> Outcome:
    """Carry out a command that is no action of its own (an answer), and say what came of it."""
    driver = raiser.driver
    if driver is None:
        return Outcome(REFUSED, "No job is on the bench. Choose a procedure and start it.")
    told: list[str] = []

    def note(sentence: str, *_: object) -> None:
        told.append(sentence)

    driver.refused.connect(note)
    driver.trouble.connect(note)
    try:
        facts = driver.do(command)
    finally:
        driver.refused.disconnect(note)
        driver.trouble.disconnect(note)
    return Outcome(REFUSED, told[0]) if facts is None and told else Outcome(DONE)


def chosen_of(choices: Sequence[str], said: str) -> str | None:
    """The choice a person meant: the same words, or the only one that begins so; case does not matter."""
    said = said.strip().casefold()
    if not said:
        return None
    exact = [choice for choice in choices if choice.casefold() == said]
    begun = [choice for choice in choices if choice.casefold().startswith(said)]
    return exact[0] if exact else begun[0] if len(begun) == 1 else None


def move_choice(question: QuestionBar, by: int) -> Outcome:
    """Choose the next (or previous) answer of the question's first list of choices."""
    field = next((f for f in fields_of(question) if f.kind == "choice"), None)
    if field is None:
        return Outcome(REFUSED, "There is nothing to choose from in this question.")
    now = question.values()[field.key]
    place = field.choices.index(now) if now in field.choices else -1
    chosen = field.choices[(place + by) % len(field.choices)]
    question.set_value(field.key, chosen)
    return Outcome(ASKED, f"{field.label}: {chosen}")
