"""Work done ahead, in the pauses between commands: what is likely to be shown next is drawn before it is asked for.

Nothing here decides or stores anything: the likely next states are worked out by the same pure functions that will
judge the command when it comes, and thrown away.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from PySide6.QtCore import QObject, QTimer

from benchguide.session.apply import apply
from benchguide.session.commands import Command, FinishStep, GoBack
from benchguide.session.decide import Refused, decide
from benchguide.session.moment import Moment
from benchguide.session.state import State

#: a pause before the first piece of work, so that what was just asked for is painted first
AFTER_MS = 25
#: pause between two pieces, for everything else that waits
BETWEEN_MS = 4
#: a piece ends with the first turn after this time
PIECE_S = 0.003


class Ahead(QObject):
    """Carries out one plan, a piece at a time; a new plan takes the place of the old one."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._turns: Iterator[None] | None = None
        self._seen = False
        self._timer = QTimer(self, singleShot=True)
        self._timer.timeout.connect(self._go_on)

    def plan(self, turns: Iterator[None]) -> None:
        """Do this from now on; each turn should take a millisecond or two."""
        self._turns, self._seen = turns, False
        self._timer.start(AFTER_MS)

    def drop(self) -> None:
        """Something else is more urgent."""
        self._turns = None
        self._timer.stop()

    @property
    def waits(self) -> bool:
        """True from a plan until what was asked for before it has been painted, or would have been."""
        return self._turns is not None and not self._seen

    @property
    def busy(self) -> bool:
        """True while something is left to do."""
        return self._turns is not None

    def _go_on(self) -> None:
        turns, end = self._turns, time.perf_counter() + PIECE_S
        if turns is None:
            return
        if not self._seen:
            # on a busy machine the time may be over before anything was painted: let that come first
            self._seen = True
            self._timer.start(BETWEEN_MS)
            return
        for _turn in turns:
            if time.perf_counter() >= end:
                self._timer.start(BETWEEN_MS)
                return
        self._turns = None


def likely_next(state: State, now: Moment) -> Iterator[State]:
    """The states after the two commands that most often come next: this step done, and back to the one before."""
    for command in (FinishStep(), GoBack()):
        after = _after(state, command, now)
        if after is not None and after.open and after.here != state.here:
            yield after


def _after(state: State, command: Command, now: Moment) -> State | None:
    try:
        facts = decide(state, command, now)
    except Refused:
        return None
    for fact in facts:
        state = apply(state, fact)
    return state
