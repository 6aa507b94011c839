"""From QAction to Command: asks what a command still needs (reason, name, value) and hands it to the driver.

Knows no layout. Questions appear in the window's question bar, never in a pop-up.
"""

from __future__ import annotations

from collections.abc import Callable

from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_finish, gates_for_step
from benchguide.session.state import Mark, Status
from benchguide.window.actions import Actions
from benchguide.window.driver import BenchDriver
from benchguide.window.widgets.question import Field, QuestionBar

HOLD_REASONS = ("part missing", "question to a colleague", "phone call", "break", "end of shift", "other")


class BenchCommands:
    """Connects the bench's actions to one driver; `release` ends that."""

    def __init__(self, actions: Actions, driver: BenchDriver, question: QuestionBar) -> None:
        self._driver = driver
        self._question = question
        self._connected: list[tuple[str, Callable[[], object]]] = []
        self._actions = actions
        for name, handler in self._handlers().items():
            actions[name].triggered.connect(handler)
            self._connected.append((name, handler))

    def release(self) -> None:
        """Disconnect from the actions; the driver is going away."""
        for name, handler in self._connected:
            self._actions[name].triggered.disconnect(handler)
        self._connected.clear()

    def _handlers(self) -> dict[str, Callable[[], object]]:
        do = self._driver.do
        return {
            "step-done": lambda: do(cmd.FinishStep()),
            "previous-step": lambda: do(cmd.GoBack()),
            "take-photo": lambda: self._driver.take_photo(),
            "hold": self._hold,
            "countdown": self._countdown,
            "reading": self.ask_reading,
            "note": self._note,
            "skip": self._skip,
            "repeat": lambda: do(cmd.RepeatStep()),
            "take-back": lambda: do(cmd.TakeBack()),
            "waive": self._waive,
            "confirm": lambda: do(cmd.ConfirmLast()),
            "hand-over": self._hand_over,
            "close-record": lambda: do(cmd.FinishSession()),
            "give-up": self._give_up,
        }

    def _ask(
        self, title: str, fields: list[Field], ok: str, make: Callable[[dict[str, str]], cmd.Command]
    ) -> None:
        def answered(answers: dict[str, str]) -> None:
            self._driver.do(make(answers))

        self._question.ask(title, fields, ok, answered)

    def _name_field(self) -> Field:
        return Field("name", "Name", default=self._driver.state.person)

    def _hold(self) -> None:
        if self._driver.state.status is Status.HELD:
            self._driver.do(cmd.EndHold())
            return
        field = Field("reason", "Reason", kind="choice", choices=HOLD_REASONS, default=HOLD_REASONS[0])
        self._ask("Hold: why does work stop?", [field], "Hold", lambda a: cmd.BeginHold(a["reason"]))

    def _countdown(self) -> None:
        state = self._driver.state
        running = [c for c in state.running if c.step == state.step.id] or list(state.running)
        if state.step.wait and not any(c.step == state.step.id for c in state.countdowns.values()):
            self._driver.do(cmd.StartCountdown())
        elif running:
            name = running[0].id
            self._ask(
                f"Stop the {running[0].kind} countdown early: why?",
                [Field("reason", "Reason")],
                "Stop it",
                lambda a: cmd.StopCountdown(name, a["reason"]),
            )
        else:
            self._driver.do(cmd.StartCountdown())

    def ask_reading(self) -> None:
        """Ask for the measured value of the present step."""
        reading = self._driver.state.step.reading
        if reading is None:
            self._driver.do(cmd.EnterReading(0.0))
            return
        label = f"{reading.quantity} in {reading.unit}"
        self._ask(
            "What does the instrument show?",
            [Field("value", label, kind="number")],
            "Enter",
            lambda a: cmd.EnterReading(_number(a["value"])),
        )

    def _note(self) -> None:
        title = "Note (never write a passcode here)"
        self._ask(title, [Field("text", "Words")], "Keep", lambda a: cmd.AddNote(a["text"]))

    def _skip(self) -> None:
        fields = [Field("reason", "Reason"), self._name_field()]
        self._ask("Skip this step: why?", fields, "Skip", lambda a: cmd.SkipStep(a["reason"], a["name"]))

    def _waive(self) -> None:
        state = self._driver.state
        gates = gates_for_step(state, state.step)
        if not gates and state.mark_of(state.step.id).mark is Mark.DONE:
            gates = gates_for_finish(state)
        if not gates:
            self._driver.refused.emit("There is no hold point in the way.", ())
            return
        gate = gates[0]
        fields = [Field("reason", "Reason"), self._name_field()]
        self._ask(
            f"Waiver: {gate.sentence}", fields, "Waive", lambda a: cmd.Waive(gate.id, a["reason"], a["name"])
        )

    def _hand_over(self) -> None:
        fields = [Field("to", "Who goes on"), Field("count", "Pieces out, counted together", kind="number")]
        self._ask(
            "Hand over: count what lies on the mat together",
            fields,
            "Hand over",
            lambda a: cmd.ChangePerson(a["to"], int(_number(a["count"], -1))),
        )

    def _give_up(self) -> None:
        fields = [Field("reason", "Reason"), self._name_field()]
        self._ask(
            "Give the job up as it stands",
            fields,
            "Give up",
            lambda a: cmd.AbandonSession(a["reason"], a["name"]),
        )


def _number(text: str, otherwise: float = float("nan")) -> float:
    """A typed number; a decimal comma is understood. Anything else is `otherwise`, which is then refused."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        return otherwise
