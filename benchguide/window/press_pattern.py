"""Short, long and double presses of one switch, told from its edges and a clock. Knows no key, no device, no Qt.

Every call is given the time in seconds of a steady clock. A bounce and a touch that is too short are no press.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Press(StrEnum):
    """What a person did with the switch."""

    SHORT = "short"
    LONG = "long"
    DOUBLE = "double"


@dataclass(frozen=True, slots=True)
class PressTimes:
    """All in seconds. `double_s` 0: no double press is waited for, and a short one is told at once on release."""

    least_s: float = 0.02
    bounce_s: float = 0.03
    long_s: float = 0.6
    double_s: float = 0.0


class PressPattern:
    """Fed with edges; gives a Press when it is certain which one it was.

    `due_s` tells when `elapsed` must be called at the latest (for a long press, or the end of the wait for a second
    one); None when nothing is awaited.
    """

    def __init__(self, times: PressTimes | None = None) -> None:
        self.times = times or PressTimes()
        self._down_s: float | None = None
        self._up_s = float("-inf")
        self._told_long = False
        self._first_up_s: float | None = None

    @property
    def due_s(self) -> float | None:
        """The instant at which `elapsed` has something to say, or None."""
        if self._down_s is not None and not self._told_long:
            return self._down_s + self.times.long_s
        if self._down_s is None and self._first_up_s is not None:
            return self._first_up_s + self.times.double_s
        return None

    def down(self, at_s: float) -> Press | None:
        """The switch closed. Says SHORT for an earlier press that can no longer become a double one."""
        earlier = self.elapsed(at_s)
        if self._down_s is not None or at_s - self._up_s < self.times.bounce_s:
            return earlier
        self._down_s, self._told_long = at_s, False
        return earlier

    def up(self, at_s: float) -> Press | None:
        """The switch opened."""
        if self._down_s is None:
            return None
        long = self.elapsed(at_s)
        held = at_s - self._down_s
        told, self._down_s, self._up_s = self._told_long, None, at_s
        if told:
            self._first_up_s = None
            return long
        if held < self.times.least_s:
            return None
        if self.times.double_s <= 0:
            return Press.SHORT
        if self._first_up_s is not None:
            self._first_up_s = None
            return Press.DOUBLE
        self._first_up_s = at_s
        return None

    def elapsed(self, at_s: float) -> Press | None:
        """Time has passed: a press may have become long, or stayed the only one."""
        if self._down_s is not None:
            if not self._told_long and at_s >= self._down_s + self.times.long_s:
                self._told_long = True
                return Press.LONG
            return None
        if self._first_up_s is not None and at_s >= self._first_up_s + self.times.double_s:
            self._first_up_s = None
            return Press.SHORT
        return None

    def forget(self) -> None:
        """The window lost the switch in the middle of a press: it counts for nothing."""
        self._down_s = self._first_up_s = None
        self._told_long = False
