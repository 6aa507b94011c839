"""Work for the records and procedures rooms that must not hold the window up: one thread, newest wish first.

Not for the camera, the shutter or anything that must not be dropped: what is no longer wanted is forgotten.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import Any

from PySide6.QtCore import QObject, Signal

Work = Callable[[], Any]


class Background(QObject):
    """`ask(key, work)` runs `work()` in the thread; the answer comes as `ready(key, result)` in the
    window's thread.

    A wish with the same key is asked once until it is answered. An exception becomes the result.
    """

    ready = Signal(object, object)

    def __init__(self, name: str, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._wishes = _Wishes()
        # the thread knows the signal and the wishes; both outlive this object
        thread = threading.Thread(target=_run, args=(self._wishes, self.ready.emit), name=name, daemon=True)
        thread.start()

    def ask(self, key: Hashable, work: Work) -> None:
        """Want something; what was wanted last is done first."""
        self._wishes.add(key, work)

    def forget(self) -> None:
        """Drop every wish that has not begun."""
        self._wishes.clear()

    def stop(self) -> None:
        """End the thread after what it does now; returns at once."""
        self._wishes.end()

    def ender(self) -> Callable[[], None]:
        """The same as `stop`, callable also when this object is gone."""
        return self._wishes.end


class _Wishes:
    """What is wanted, guarded for two threads."""

    def __init__(self) -> None:
        self._wanted: dict[Hashable, Work] = {}
        self._busy: Hashable = None
        self._wake = threading.Condition()
        self.ended = False

    def add(self, key: Hashable, work: Work) -> None:
        with self._wake:
            if not self.ended and key not in self._wanted and key != self._busy:
                self._wanted[key] = work
                self._wake.notify()

    def clear(self) -> None:
        with self._wake:
            self._wanted.clear()

    def end(self) -> None:
        with self._wake:
            self.ended = True
            self._wanted.clear()
            self._wake.notify()

    def take(self) -> tuple[Hashable, Work] | None:
        """The newest wish, waiting for one; None when it is over."""
        with self._wake:
            self._busy = None
            while not self._wanted and not self.ended:
                self._wake.wait()
            if self.ended:
                return None
            key, work = self._wanted.popitem()
            self._busy = key
            return key, work


def _run(wishes: _Wishes, answer: Callable[[object, object], None]) -> None:
    while (wish := wishes.take()) is not None:
        key, work = wish
        try:
            result = work()
        except Exception as error:  # handed to the window, which says it
            result = error
        if wishes.ended:
            return
        try:
            answer(key, result)
        except RuntimeError:
            return  # the room was closed in this very moment
