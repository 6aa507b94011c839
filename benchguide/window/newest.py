"""Work on the newest of many things in a thread of its own; those in between are let go. No Qt, no queue."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

log = logging.getLogger(__name__)

T = TypeVar("T")


class NewestThread(Generic[T]):
    """`offer` returns at once. `work` runs in the thread; what it raises is logged and otherwise ignored.

    pause_s: rest between two pieces of work, so that the preview keeps its share of the machine.
    """

    def __init__(self, work: Callable[[T], None], name: str, pause_s: float = 0.0) -> None:
        self._work, self._pause_s = work, pause_s
        self._changed = threading.Condition()
        self._waiting: T | None = None
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def offer(self, thing: T) -> None:
        """Take note of a thing to work on, in place of one that still waits."""
        with self._changed:
            self._waiting = thing
            self._changed.notify_all()

    def stop(self, timeout_s: float = 5.0) -> bool:
        """End after the work that is going on. False where it still runs after that time."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._stopping or self._waiting is not None)
                if self._stopping:
                    return
                thing, self._waiting = self._waiting, None
            assert thing is not None
            try:
                self._work(thing)
            except Exception:
                log.exception("work in the background failed")
            with self._changed:
                self._changed.wait_for(lambda: self._stopping, timeout=self._pause_s)
