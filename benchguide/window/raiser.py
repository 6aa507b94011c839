"""Raises a command by its name, for voice, switch and script alike: always through the same QAction as the key.

Says what came of it: done, refused (one sentence), asked (a question is open now), or a photo on its way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

from benchguide.window.actions import Actions
from benchguide.window.widgets.question import QuestionBar

if TYPE_CHECKING:
    from benchguide.window.driver import BenchDriver

DONE, REFUSED, ASKED, SHOOTING = "done", "refused", "asked", "shooting"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a command: done, refused, asked or shooting, and one sentence (empty for done)."""

    result: str
    sentence: str = ""


class Raiser:
    """`raise_command` triggers one action. `driver` is asked each time: sessions come and go."""

    def __init__(
        self, actions: Actions, question: QuestionBar, driver: Callable[[], BenchDriver | None]
    ) -> None:
        self.actions, self.question, self._driver = actions, question, driver

    @property
    def driver(self) -> BenchDriver | None:
        """The session on the bench, if any."""
        return self._driver()

    def raise_command(self, name: str) -> Outcome:
        """Trigger the action of this name. Nothing happens where its key would do nothing either."""
        if name not in self.actions.names():
            return Outcome(REFUSED, unknown(name, self.actions.names()))
        action = self.actions[name]
        driver = self.driver
        if not action.isEnabled():
            return Outcome(REFUSED, self._why_not(action.text()))
        told: list[str] = []

        def note(sentence: str, *_: object) -> None:
            told.append(sentence)

        asked_before = self.question.is_open
        if driver is not None:
            driver.refused.connect(note)
            driver.trouble.connect(note)
        try:
            action.trigger()
        finally:
            if driver is not None and driver is self.driver:
                driver.refused.disconnect(note)
                driver.trouble.disconnect(note)
        if told:
            return Outcome(REFUSED, told[0])
        if self.question.is_open and not asked_before:
            return Outcome(ASKED, self.question.title.text())
        if name == "take-photo" and driver is not None and driver.shooting:
            return Outcome(SHOOTING)
        return Outcome(DONE)

    def _why_not(self, words: str) -> str:
        if self.question.is_open:
            return f"A question is open: {self.question.title.text()} Answer or cancel it first."
        if self.driver is None or not self.driver.state.open:
            return "No job is on the bench. Choose a procedure and start it."
        return f"{words} is not possible here and now; show the bench first (room-bench)."


def unknown(name: str, names: tuple[str, ...]) -> str:
    """One sentence about a name there is no command for, with the nearest."""
    shown = name if len(name) <= 40 else f"{name[:40]}…"
    near = get_close_matches(name, names, 1, 0.5)
    return f"There is no command {shown!r}." + (
        f" Did you mean {near[0]}?" if near else " `commands` lists them."
    )
