"""A moment on several clocks at once, and how much time lies between two of them. Reads no clock itself.

The wall clock can jump, the monotonic clock stops counting at a restart, and only one of the two monotonic
clocks counts while the machine sleeps. All three are logged, so that a duration is right through all of it.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

#: Shorter differences between the two monotonic clocks are jitter of reading them, not sleep.
SLEEP_FLOOR_US = 1_000_000


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment: aware wall time, microseconds since boot with and without sleep, and which boot it was."""

    wall: datetime
    boot_us: int
    awake_us: int
    boot_id: str

    def to_doc(self) -> dict[str, object]:
        """JSON form, without loss; the wall time is RFC 3339 with microseconds and UTC offset."""
        return {
            "wall": self.wall.isoformat(timespec="microseconds"),
            "boot_us": self.boot_us,
            "awake_us": self.awake_us,
            "boot_id": self.boot_id,
        }


def moment_from_doc(doc: dict[str, object]) -> Moment:
    """Inverse of `Moment.to_doc`. Raises KeyError, TypeError or ValueError for anything else."""
    wall = datetime.fromisoformat(str(doc["wall"]))
    if wall.tzinfo is None:
        raise ValueError("a logged time has no UTC offset")
    boot, awake = doc["boot_us"], doc["awake_us"]
    if not isinstance(boot, int) or not isinstance(awake, int):
        raise TypeError("clock readings are whole microseconds")
    return Moment(wall, boot, awake, str(doc["boot_id"]))


@dataclass(frozen=True, slots=True)
class Elapsed:
    """Time between two moments in microseconds; never negative."""

    total_us: int
    asleep_us: int = 0
    doubtful: bool = False
    """True when only the wall clock could be used, or when it ran backwards."""


def elapsed(first: Moment, then: Moment) -> Elapsed:
    """How much time passed from `first` to `then`.

    Within one boot the monotonic clocks decide and a jump of the wall clock changes nothing. Across a
    restart only the wall clock is left; if it went backwards the result is zero and marked doubtful.
    """
    if first.boot_id == then.boot_id:
        total = then.boot_us - first.boot_us
        if total < 0:
            return Elapsed(0, 0, doubtful=True)
        asleep = total - max(0, then.awake_us - first.awake_us)
        return Elapsed(total, asleep if asleep >= SLEEP_FLOOR_US else 0)
    gap = (then.wall - first.wall) // timedelta(microseconds=1)
    return Elapsed(max(0, gap), 0, doubtful=True)


def not_before(then: Moment, first: Moment) -> Moment:
    """`then`, or `first` when the monotonic clock of the same boot puts `then` before it."""
    if then.boot_id == first.boot_id and then.boot_us < first.boot_us:
        return first
    return then
