"""From QAction to Command for single pieces and parts: some of a group out or back, what no step asked for, extras,
and pieces that will not go back as they came. Asks what is missing in the window's question bar; decides nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from benchguide.procedure.words import REFITS, REMOVALS
from benchguide.session import commands as cmd
from benchguide.session.state import State
from benchguide.window.actions import Actions
from benchguide.window.driver import BenchDriver
from benchguide.window.parts_words import name_of, where_words
from benchguide.window.widgets.question import Field, QuestionBar

OFF, ON = "it came off", "it went back"
COUNTED = "counted again"
#: what became of pieces, as a person says it, and the word of the command
FATES = {
    "lost": "lost",
    "replaced by new": "replaced",
    "left out on purpose": "left-out",
    "never was in": "not-fitted",
    "found again": "found",
    "new one laid ready": "supplied",
}
#: what becomes of an item that belonged nowhere
ENDS = {"belongs to a part": "assigned", "kept": "kept", "thrown away": "thrown-away"}
NO_PART = "no part"


class PartsCommands:
    """Connects these actions to one driver; `release` ends that. `in_hand` names the part a person looks at."""

    def __init__(
        self, actions: Actions, driver: BenchDriver, question: QuestionBar, in_hand: Callable[[], str]
    ) -> None:
        self._actions, self._driver, self._question, self._in_hand = actions, driver, question, in_hand
        self._connected: list[tuple[str, Callable[[], object]]] = []
        for name, handler in (
            ("one-piece", self.one_piece),
            ("count-pieces", self.ask_count),
            ("unplanned", self.ask_unplanned),
            ("account", self.ask_account),
            ("extra", self.ask_extra),
            ("settle-extra", self.ask_settle),
        ):
            actions[name].triggered.connect(handler)
            self._connected.append((name, handler))

    def release(self) -> None:
        """Disconnect from the actions; the driver is going away."""
        for name, handler in self._connected:
            self._actions[name].triggered.disconnect(handler)
        self._connected.clear()

    @property
    def _state(self) -> State:
        return self._driver.state

    def _refuse(self, sentence: str) -> None:
        self._driver.refused.emit(sentence, ())

    def _ask(
        self, title: str, fields: list[Field], ok: str, make: Callable[[dict[str, str]], cmd.Command]
    ) -> None:
        def answered(answers: dict[str, str]) -> None:
            self._driver.do(make(answers))

        self._question.ask(title, fields, ok, answered)

    def _reasons(self, required: bool = True) -> list[Field]:
        fields = [Field("reason", "Reason", required=required)]
        return [*fields, Field("name", "Name", default=self._state.person)] if required else fields

    # -- pieces of the present step

    def _moving(self) -> list[str]:
        step = self._state.step
        moves = step.action in REMOVALS or step.action in REFITS
        return list(dict.fromkeys(step.parts)) if moves else []

    def one_piece(self) -> None:
        """One more piece of this step is out, or back."""
        state, parts = self._state, self._moving()
        if not parts:
            self._refuse("This step moves no pieces. Say with Something else what came off or went back.")
            return
        removal = state.step.action in REMOVALS
        left = [p for p in parts if (state.in_device(p) if removal else state.ledger.pieces_of(p))]
        if not left:
            self._refuse(
                "Every piece of this step is out." if removal else "Every piece of this step is back."
            )
            return
        self._driver.do(cmd.PiecesOut(left[0], 1) if removal else cmd.PiecesBack(left[0], 1))

    def ask_count(self) -> None:
        """How many pieces of one part of this step are out now; more and fewer are both understood."""
        state, parts = self._state, self._moving()
        if not parts:
            self._refuse("This step moves no pieces. Say with Something else what came off or went back.")
            return
        names = _named(state, parts)
        first = state.job.device.by_id[parts[0]]
        fields = [_choice("part", "Part", names)] if len(parts) > 1 else []
        out = str(state.ledger.pieces_of(parts[0])) if len(parts) == 1 else ""
        fields.append(
            Field(
                "out", f"Out now, of {first.pieces}" if len(parts) == 1 else "Out now", "number", default=out
            )
        )
        fields.append(Field("cell", "Mat cell, if not its own", required=False))
        title = (
            f"How many are out of the device now? {first.name}"
            if len(parts) == 1
            else "How many are out now?"
        )

        def answered(answers: dict[str, str]) -> None:
            self._count(names[answers["part"]] if "part" in answers else parts[0], answers)

        self._question.ask(title, fields, "Enter", answered)

    def _count(self, part: str, answers: dict[str, str]) -> None:
        wanted, state = whole(answers["out"]), self._state
        if wanted is None or wanted < 0:
            self._refuse(f"{answers['out']} is not a number of pieces.")
            return
        more = wanted - state.ledger.pieces_of(part)
        removal, cell = state.step.action in REMOVALS, answers.get("cell", "")
        if not more:
            self._refuse("That is what the ledger says already.")
        elif more > 0:
            out = cmd.PiecesOut(part, more, cell) if removal else cmd.TakeOffPart(part, more, cell, COUNTED)
            self._driver.do(out)
        else:
            self._driver.do(cmd.PutBackPart(part, -more, COUNTED) if removal else cmd.PiecesBack(part, -more))

    # -- what no step asked for

    def ask_unplanned(self) -> None:
        """Something else came off, or went back."""
        state = self._state
        hand = self._in_hand()
        names = _named(state, [part.id for part in state.job.device.parts])
        known = next((label for label, part in names.items() if part == hand), "")
        out = bool(hand) and hand in state.job.device.by_id and not state.in_device(hand)
        fields = [
            Field("how", "What happened", "choice", (OFF, ON), default=ON if out else OFF),
            Field("part", "Part", "choice", tuple(names), default=known),
            Field("pieces", "Pieces, if not all", "number", required=False),
            Field("cell", "Mat cell, if not its own", required=False),
            *self._reasons(required=False),
        ]
        self._ask(
            "Something else came off, or went back", fields, "Enter", lambda a: _moved(names[a["part"]], a)
        )

    # -- pieces that do not go back as they came, and items that belong nowhere

    def ask_account(self) -> None:
        """Say why a count differs."""
        state = self._state
        parts = [item.part for item in reversed(state.ledger.out)]
        parts += [*state.gone, *state.step.parts]
        if self._in_hand():
            parts.insert(0, self._in_hand())
        names = _named(state, [part for part in dict.fromkeys(parts) if part in state.job.device.by_id])
        if not names:
            self._refuse("Nothing is out of the device, and this step has no parts.")
            return
        fields = [
            _choice("part", "Part", names),
            Field("pieces", "Pieces", "number", default="1"),
            Field("what", "What became of them", "choice", tuple(FATES)),
            *self._reasons(),
        ]
        self._ask(
            "Pieces that are not where the count says",
            fields,
            "Account for",
            lambda a: cmd.Reconcile(
                names[a["part"]], whole(a["pieces"]) or 0, FATES[a["what"]], a["reason"], a["name"]
            ),
        )

    def ask_extra(self) -> None:
        """Something was found that belongs nowhere yet."""
        fields = [
            Field("what", "What was found"),
            Field("cell", "Mat cell", required=False),
            *self._reasons(),
        ]
        self._ask(
            "Found: belongs to no part so far",
            fields,
            "Enter",
            lambda a: cmd.EnterExtra(a["what"], a["reason"], a["name"], a["cell"]),
        )

    def ask_settle(self) -> None:
        """What becomes of a found item."""
        state = self._state
        if not state.ledger.extras:
            self._refuse("No found item waits for an answer.")
            return
        extras = {f"{extra.what} ({extra.id})": extra.id for extra in state.ledger.extras}
        parts = {NO_PART: "", **_named(state, [part.id for part in state.job.device.parts])}
        fields = [
            _choice("extra", "Item", extras),
            Field("how", "What becomes of it", "choice", tuple(ENDS)),
            Field("part", "Part, if it belongs to one", "choice", tuple(parts), default=NO_PART),
            *self._reasons(),
        ]
        self._ask(
            "What becomes of the found item?",
            fields,
            "Enter",
            lambda a: cmd.SettleExtra(
                extras[a["extra"]], ENDS[a["how"]], a["reason"], a["name"], parts[a["part"]]
            ),
        )


def _moved(part: str, answers: dict[str, str]) -> cmd.Command:
    pieces = 0
    if answers["pieces"]:
        # a number that is no count is refused by the session, with its sentence
        pieces = whole(answers["pieces"]) or -1
    if answers["how"] == ON:
        return cmd.PutBackPart(part, pieces, answers["reason"])
    return cmd.TakeOffPart(part, pieces, answers["cell"], answers["reason"])


def _named(state: State, parts: Iterable[str]) -> dict[str, str]:
    """Parts by name and whereabouts; the same words twice get the short name too."""
    names: dict[str, str] = {}
    for part in parts:
        words = f"{name_of(state, part)} ({where_words(state, part)})"
        names[words if words not in names else f"{words}, {part}"] = part
    return names


def _choice(key: str, words: str, choices: dict[str, str]) -> Field:
    return Field(key, words, "choice", tuple(choices), default=next(iter(choices)))


def whole(text: str) -> int | None:
    """A whole number as typed; None for anything else."""
    try:
        number = float(text.strip().replace(",", "."))
        return int(number) if number == int(number) else None
    except (ValueError, OverflowError):
        return None
