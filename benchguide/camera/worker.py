"""The camera worker: reads one source in a thread, keeps the newest picture, tells its state.

Newest frame wins: nothing queues up. A second, idle thread watches the first, so that a
read that blocks is still told as a loss. The worker does not draw, encode or store.
"""

from __future__ import annotations

import enum
import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from benchguide.camera.frame import Frame
from benchguide.camera.source import Source, SourceLost, SourceTraits

log = logging.getLogger(__name__)

NS = 1_000_000_000
START_WITHIN_NS = 4 * NS
REOPEN_AFTER_NS = 2 * NS
FIRST_DELAY_S, LONGEST_DELAY_S = 0.25, 2.0
WATCH_EVERY_S = 0.2


class CameraState(enum.Enum):
    """What the pictures are worth right now. Only LIVE may be shown as live."""

    STARTING = "starting"
    LIVE = "live"
    LOST = "lost"
    FROZEN = "frozen"
    BLACK = "black"


@dataclass(frozen=True, slots=True)
class CameraStatus:
    """State, one sentence for a person, since when (clock of the worker), pictures a second."""

    state: CameraState
    sentence: str
    since_ns: int
    fps: float


class ShutterFailed(Exception):
    """No picture exposed after the command could be had; its text is one sentence."""


class CameraWorker:
    """Reads a source until stopped and reopens it whenever it is lost.

    make_source: returns a new, closed source; called for every (re)connection.
    on_frame, on_status: called in the worker's own threads, on_status never twice at the
    same time and only when state or sentence changed. They must return quickly; what they
    raise is logged and otherwise ignored.
    clock: nanoseconds on the same scale as `Frame.exposed_ns`.
    """

    def __init__(
        self,
        make_source: Callable[[], Source],
        *,
        on_frame: Callable[[Frame], None] | None = None,
        on_status: Callable[[CameraStatus], None] | None = None,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._make_source = make_source
        self._on_frame = on_frame
        self._on_status = on_status
        self._clock = clock
        self._changed = threading.Condition()
        self._telling = threading.Lock()
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self._name = "The camera"
        self._traits = SourceTraits()
        self._newest: Frame | None = None
        self._arrivals: deque[int] = deque(maxlen=128)
        self._look = Look()
        self._down: str | None = None
        self._asked_ns = clock()
        self._status = CameraStatus(
            CameraState.STARTING, "The camera is not switched on yet.", self._asked_ns, 0.0
        )
        self._told: tuple[CameraState, str] | None = None

    # -- commands

    def start(self) -> None:
        """Begin reading. Does nothing if it is already running; may follow a stop."""
        with self._changed:
            if self._threads:
                return
            self._stopping = threading.Event()
            self._asked_ns = self._clock()
            self._down = None
            self._told = None
            self._newest = None
            self._arrivals.clear()
            stopping = self._stopping
            self._threads = [
                threading.Thread(target=self._read_on, args=(stopping,), name="camera", daemon=True),
                threading.Thread(target=self._watch, args=(stopping,), name="camera-watch", daemon=True),
            ]
            threads = list(self._threads)
        for thread in threads:
            thread.start()

    def stop(self, timeout_s: float = 3.0) -> bool:
        """End reading and wait for the threads, at most `timeout_s` in all.

        Returns False where the driver would not let go of a read in that time; the thread
        then ends by itself with that read and touches nothing any more.
        """
        self._stopping.set()
        with self._changed:
            threads, self._threads = self._threads, []
            self._changed.notify_all()
        deadline = time.monotonic() + timeout_s
        for thread in threads:
            if thread is not threading.current_thread():
                thread.join(max(0.0, deadline - time.monotonic()))
        with self._changed:
            if threads:
                self._down = "The camera is switched off."
                self._judge()
        return not any(thread.is_alive() for thread in threads if thread is not threading.current_thread())

    def shutter(self, after_ns: int | None = None, timeout_s: float = 3.0) -> Frame:
        """Wait for a picture exposed after the command, and return it.

        after_ns: instant of the command on the worker's clock, now if None. Pictures that
        were in flight at that instant are passed over (see SourceTraits.in_flight); from a
        source with sensor noise a picture identical to the one before is never taken.
        Blocks up to `timeout_s` seconds: not for a window's own thread.
        Raises ShutterFailed with one sentence.
        """
        after = self._clock() if after_ns is None else after_ns
        deadline = time.monotonic() + timeout_s
        with self._changed:
            while True:
                frame = self._frame_after(after)
                if frame is not None:
                    return frame
                left = deadline - time.monotonic()
                if left <= 0 or not self._threads:
                    raise ShutterFailed(f"No photo was taken. {self._why_no_frame()}")
                self._changed.wait(left)

    def burst(
        self, count: int, after_ns: int | None = None, *, within_s: float = 0.4, timeout_s: float = 3.0
    ) -> list[Frame]:
        """The first picture exposed after the command and up to `count` - 1 that follow it within `within_s`.

        Like `shutter`, for choosing the sharpest; never empty. Raises ShutterFailed with one sentence.
        """
        frames = [self.shutter(after_ns, timeout_s)]
        deadline = time.monotonic() + within_s
        with self._changed:
            while len(frames) < count:
                newest = self._newest
                if newest is not None and newest.exposed_ns > frames[-1].exposed_ns:
                    if self._judge().state is not CameraState.LIVE:
                        break
                    frames.append(newest)
                    continue
                left = deadline - time.monotonic()
                if left <= 0 or not self._threads:
                    break
                self._changed.wait(left)
        return frames

    # -- questions

    def newest(self) -> Frame | None:
        """The last picture that arrived since the start, or None. Ask status() what it is worth."""
        return self._newest

    @property
    def may_repeat(self) -> bool:
        """Whether two pictures may rightly be the same (stills, a video file)."""
        return self._traits.frozen_after_s is None

    def status(self) -> CameraStatus:
        """The state at this instant; right even while a read is blocked."""
        with self._changed:
            return self._judge()

    # -- the reading thread

    def _read_on(self, stopping: threading.Event) -> None:
        delay = FIRST_DELAY_S
        while not stopping.is_set():
            if self._read_until_lost(stopping):
                delay = FIRST_DELAY_S
            if stopping.wait(delay):
                return
            delay = min(2 * delay, LONGEST_DELAY_S)

    def _read_until_lost(self, stopping: threading.Event) -> bool:
        """Open a source and read it until it fails; True if it gave at least one picture."""
        source: Source | None = None
        got_one = False
        try:
            source = self._make_source()
            with self._changed:
                self._name = source.name
                self._traits = getattr(source, "traits", SourceTraits())
                self._look = Look()
            source.open()
            last_ns = self._clock()
            while not stopping.is_set():
                frame = source.read()
                if stopping.is_set():
                    break
                if frame is not None:
                    got_one, last_ns = True, self._clock()
                    self._take(frame)
                elif self._clock() - last_ns > REOPEN_AFTER_NS:
                    raise SourceLost(f"{source.name} sends no usable pictures; it is being opened again.")
                else:
                    stopping.wait(0.005)
        except SourceLost as error:
            self._lose(str(error), stopping)
        except Exception as error:
            log.exception("a picture source failed unexpectedly")
            self._lose(f"{self._name} failed ({type(error).__name__}); it is being opened again.", stopping)
        finally:
            if source is not None:
                _close_quietly(source)
        return got_one

    def _take(self, frame: Frame) -> None:
        with self._changed:
            self._newest = frame
            self._arrivals.append(frame.exposed_ns)
            self._down = None
            self._look.see(frame)
            self._changed.notify_all()
        self._tell()
        if self._on_frame is not None:
            try:
                self._on_frame(frame)
            except Exception:
                log.exception("a frame callback failed")

    def _lose(self, sentence: str, stopping: threading.Event) -> None:
        if stopping.is_set():
            return
        with self._changed:
            self._down = sentence
            self._changed.notify_all()
        self._tell()

    # -- the watching thread

    def _watch(self, stopping: threading.Event) -> None:
        while not stopping.wait(WATCH_EVERY_S):
            self._tell()

    def _tell(self) -> None:
        with self._telling:
            with self._changed:
                status = self._judge()
                fact = (status.state, status.sentence)
                if fact == self._told:
                    return
                self._told = fact
            if self._on_status is not None:
                try:
                    self._on_status(status)
                except Exception:
                    log.exception("a status callback failed")

    # -- judging; the condition is held

    def _judge(self) -> CameraStatus:
        now = self._clock()
        state, sentence = self._state_at(now)
        since = self._status.since_ns if state is self._status.state else now
        self._status = CameraStatus(state, sentence, since, self._fps_at(now))
        return self._status

    def _state_at(self, now: int) -> tuple[CameraState, str]:
        name = self._name
        if self._down is not None:
            return CameraState.LOST, self._down
        if self._newest is None:
            if not self._threads:
                return CameraState.STARTING, "The camera is not switched on yet."
            if now - self._asked_ns < max(START_WITHIN_NS, self._traits.silent_after_s * NS):
                return CameraState.STARTING, f"{name} is starting."
            return CameraState.LOST, f"{name} has not sent a picture yet; check its cable and power."
        if now - self._arrivals[-1] > self._traits.silent_after_s * NS:
            return CameraState.LOST, f"{name} stopped sending pictures; check its cable and power."
        if self._look.black:
            return CameraState.BLACK, f"{name} sends black pictures; check the lens cover and the light."
        if self._look.frozen(self._traits.frozen_after_s):
            return CameraState.FROZEN, f"{name} repeats the same picture; unplug it and plug it in again."
        return CameraState.LIVE, f"{name} is live."

    def _fps_at(self, now: int) -> float:
        recent = [ns for ns in self._arrivals if now - ns <= 2 * NS]
        if len(recent) < 2 or recent[-1] == recent[0]:
            return 0.0
        return (len(recent) - 1) * NS / (recent[-1] - recent[0])

    def _frame_after(self, after: int) -> Frame | None:
        if self._newest is None or self._judge().state is not CameraState.LIVE:
            return None
        arrived = sum(1 for ns in self._arrivals if ns > after)
        if arrived <= self._traits.in_flight:
            return None
        if self._traits.noisy and self._look.changed_ns <= after:
            return None
        return self._newest

    def _why_no_frame(self) -> str:
        status = self._judge()
        if status.state is CameraState.LIVE:
            if self._traits.noisy and self._look.unchanged:
                return f"{self._name} repeated the same picture; unplug it and plug it in again."
            return f"{self._name} sent no new picture in time; try again."
        return status.sentence


class Look:
    """What the last pictures look like: black, or the same for how long.

    Works on every 16th row (and column, for darkness), about 0.2 ms at 1080p.
    """

    # Share of samples that may be brighter than 32 of 255 in a picture told as black:
    # hot pixels and a burnt-in time are not a view of the bench.
    DARK_LEVEL, BRIGHT_SHARE = 32, 0.005

    def __init__(self) -> None:
        self.black = False
        self.changed_ns = 0
        self.unchanged = False
        self._last_ns = 0
        self._rows: bytes | None = None
        self._shape: tuple[int, ...] = ()

    def see(self, frame: Frame) -> None:
        """Judge one more picture."""
        image = frame.image
        rows = image[::16].tobytes()
        self.unchanged = rows == self._rows and image.shape == self._shape
        if not self.unchanged:
            self._rows, self._shape = rows, image.shape
            self.changed_ns = frame.exposed_ns
        self._last_ns = frame.exposed_ns
        sample = image[::16, ::16]
        self.black = int((sample > self.DARK_LEVEL).sum()) <= self.BRIGHT_SHARE * sample.size

    def frozen(self, after_s: float | None) -> bool:
        """Whether the same picture has been coming for longer than `after_s`."""
        return after_s is not None and self._last_ns - self.changed_ns > after_s * NS


def _close_quietly(source: Source) -> None:
    try:
        source.close()
    except Exception:
        log.exception("a picture source failed to close")
