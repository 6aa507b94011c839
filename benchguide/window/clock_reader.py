"""Reads the machine's clocks into a Moment. The only place that does; no Qt here.

Linux has a monotonic clock that counts through sleep (CLOCK_BOOTTIME) and one that does not. Elsewhere one
monotonic clock is all there is: sleep is then told only by the wall clock at the next start.
"""

import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

from benchguide.session.moment import Moment

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class ClockReader:
    """Callable that gives the present Moment."""

    def __init__(self) -> None:
        self._boot_id = _read_boot_id()
        self._through_sleep = getattr(time, "CLOCK_BOOTTIME", None)

    def __call__(self) -> Moment:
        awake = time.monotonic_ns()
        boot = time.clock_gettime_ns(self._through_sleep) if self._through_sleep is not None else awake
        return Moment(datetime.now(UTC).astimezone(), boot // 1000, awake // 1000, self._boot_id)


def _read_boot_id() -> str:
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        # without a boot id two runs cannot share a monotonic clock; a fresh name makes that plain
        return f"run-{uuid.uuid4()}"
