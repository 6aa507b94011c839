"""The bench's driver: every input ends here as a command, every change leaves here as a signal.

It owns no widget. A command is decided, stored and applied by the live session; the driver adds what needs
the machine: the shutter, the clock's tick, the heartbeat, the sounds.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from time import monotonic_ns
from typing import TYPE_CHECKING

from PySide6.QtCore import QCoreApplication, QObject, QTimer, Signal

from benchguide.camera.encode import encode_jpeg
from benchguide.camera.frame import Frame
from benchguide.camera.worker import CameraState, CameraWorker, ShutterFailed
from benchguide.session.commands import Command, KeepPhoto, LeaveBench, RingCountdown
from benchguide.session.countdown import due, left_s
from benchguide.session.decide import Refused, wanted_purpose
from benchguide.session.moment import Moment
from benchguide.session.state import Countdown, Purpose, State
from benchguide.store.live import LiveSession
from benchguide.store.photos import KeptPhoto, PhotoFacts, PhotoShelf
from benchguide.store.problems import NotKept, PhotoNotKept
from benchguide.store.pulse import Pulse
from benchguide.window.photo_judge import PhotoJudge, View, pick, unchanging
from benchguide.window.photo_place import Known, known_for

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.quality import PhotoVerdict
    from benchguide.camera.simulated import Scene
    from benchguide.session.events import Fact

TICK_MS = 250
#: longer than any camera may be silent before it is told as lost, so that the told reason is the true one
SHUTTER_WAIT_S = 8.0
#: every eighth tick the heartbeat is also synced to the disk (two seconds)
SYNC_EVERY = 8
#: the tick at which what the first photo needs is loaded, so that it does not hold up the window while it is taken
LOAD_AT = 4
#: pictures the sharpest is chosen from, and how long they are waited for
BURST, BURST_S = 3, 0.15


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo on its way: where the bench stood when the shutter was asked for."""

    step: str
    purpose: str
    what: str = "the part"
    """What it shows, for sentences about it."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A photo that is verified on the disk, and what is to be said of it."""

    kept: KeptPhoto
    exposed: datetime
    source: str
    verdict: PhotoVerdict | None


class BenchDriver(QObject):
    """Drives one live session. Everything runs in the window's thread but the shutter's own work."""

    changed = Signal(object)
    """New facts are on the disk and in `state`: a tuple of Fact."""
    ticked = Signal(object, object)
    """The state with the clocks read now, and that Moment; four times a second."""
    refused = Signal(str, object)
    """A command was not possible: one sentence, and the gates in the way."""
    trouble = Signal(str)
    """Something failed (disk, camera): one sentence with the remedy."""
    asked = Signal(object)
    """The shutter is about to be asked for a picture: the Shot."""
    photo_kept = Signal(str)
    """A photo is verified on the disk and entered: its SHA-256."""
    photo_judged = Signal(object, object)
    """The Shot, and the PhotoVerdict on it: sentences with the remedy. After `photo_kept`, within a second of the
    command."""
    photo_failed = Signal(str)
    time_up = Signal(object)
    """A countdown rang: the Countdown."""

    _written = Signal(object, object)

    def __init__(
        self,
        live: LiveSession,
        camera: CameraWorker,
        shelf: PhotoShelf,
        pulse: Pulse,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._live = live
        self._camera = camera
        self._shelf = shelf
        self._pulse = pulse
        self._beats = 0
        self._shooting = 0
        self._judge = PhotoJudge()
        self.scene: Callable[[], Scene | None] = lambda: None
        """What the camera's picture is registered to at this moment; only the simulated bench knows."""
        self._shutter = ThreadPoolExecutor(1, thread_name_prefix="shutter")
        self._written.connect(self._enter_photo)
        live.listen(self.changed.emit)
        self._timer = QTimer(self, interval=TICK_MS)
        self._timer.timeout.connect(self.tick)
        self._timer.start()

    @property
    def state(self) -> State:
        """What is on the disk."""
        return self._live.state

    @property
    def session_id(self) -> str:
        """The session's name in the store."""
        return self._live.session_id

    @property
    def shooting(self) -> bool:
        """True while a photo is on its way."""
        return self._shooting > 0

    def read_clock(self) -> tuple[State, Moment]:
        """The state with the clocks read now, and that Moment."""
        moment = self._live.clock()
        return self._live.as_at(moment), moment

    def left_s(self, countdown: Countdown) -> float:
        """Seconds left of a countdown."""
        return left_s(countdown, self._live.clock())

    def do(self, command: Command) -> tuple[Fact, ...] | None:
        """Carry out a command. None, with a signal, when it was refused or could not be stored."""
        try:
            return self._live.do(command)
        except Refused as refusal:
            self.refused.emit(str(refusal), refusal.gates)
        except NotKept as error:
            self.trouble.emit(str(error))
        return None

    def enter(self, command: Command) -> bool:
        """Carry out a command nobody gave just now (a comparison that has ended): no refusal is told."""
        try:
            self._live.do(command)
        except Refused:
            return False
        except NotKept as error:
            self.trouble.emit(str(error))
            return False
        return True

    def take_photo(self, purpose: str = "", fits: Callable[[NDArray[np.uint8]], bool] | None = None) -> None:
        """Ask for a photo of what the camera sees after this moment; the answer comes as a signal.

        fits: called in the shutter's thread; pictures it says no to are not taken (a hand came in).
        """
        if not self.state.open:
            self.refused.emit("This session is closed; it can be read, not changed.", ())
            return
        step = self.state.step
        names = self.state.job.device.by_id
        what = ", ".join(names[part].name for part in step.parts) or "the part"
        shot = Shot(step.id, purpose or str(wanted_purpose(self.state, step)), what)
        facts = self._photo_facts(shot)
        self.asked.emit(shot)
        self._shooting += 1
        known = known_for(self.state, shot.step, shot.purpose, self.scene(), self._shelf.path)
        future = self._shutter.submit(self._shoot, monotonic_ns(), facts, shot, known, fits)
        future.add_done_callback(lambda done: self._written.emit(shot, done))

    def _photo_facts(self, shot: Shot) -> PhotoFacts:
        state = self.state
        part = ", ".join(state.job.device.by_id[p].name for p in state.step.parts)
        job = state.started.job if state.started else ""
        return PhotoFacts(
            taken=self._live.clock().wall,
            job=job,
            step=shot.step,
            part=part,
            purpose=shot.purpose,
            source="",
            extra={"session": self.session_id},
        )

    def _shoot(
        self,
        asked_ns: int,
        facts: PhotoFacts,
        shot: Shot,
        known: Known,
        fits: Callable[[NDArray[np.uint8]], bool] | None,
    ) -> Taken:
        """Runs in the shutter's thread: the sharpest of some frames, file, verification, then the verdict."""
        frame, same = self._frame(asked_ns, fits)
        taken = facts.taken + timedelta(microseconds=(frame.exposed_ns - asked_ns) // 1000)
        kept = self._shelf.keep(encode_jpeg(frame.image), replace(facts, taken=taken, source=frame.source))
        frozen = self._camera.status().state is CameraState.FROZEN
        verdict = self._judge.judge(
            frame.image,
            View(shot.step, shot.purpose, shot.what),
            known,
            frozen=frozen,
            may_repeat=self._camera.may_repeat or not same,
        )
        return Taken(kept, taken, frame.source, verdict)

    def _frame(self, asked_ns: int, fits: Callable[[NDArray[np.uint8]], bool] | None) -> tuple[Frame, bool]:
        """The picture to keep, and whether all that were taken with it were the very same."""
        frames = self._camera.burst(BURST, asked_ns, within_s=BURST_S, timeout_s=SHUTTER_WAIT_S)
        if fits is not None:
            frames = [frame for frame in frames if fits(frame.image)]
            if not frames:
                raise ShutterFailed("No photo was taken: something came into the picture.")
        return pick(frames), unchanging(frames)

    def _enter_photo(self, shot: Shot, done: Future[Taken]) -> None:
        self._shooting -= 1
        try:
            taken = done.result()
        except (ShutterFailed, PhotoNotKept, ValueError) as error:
            self.photo_failed.emit(str(error))
            return
        kept, verdict = taken.kept, taken.verdict
        faults = tuple(reason.fault for reason in verdict.reasons) if verdict else ()
        exposed = taken.exposed.isoformat(timespec="milliseconds")
        command = KeepPhoto(
            kept.sha256,
            kept.width,
            kept.height,
            exposed,
            taken.source,
            shot.purpose,
            shot.step,
            faults=faults,
        )
        if self.do(command) is None:
            self.photo_failed.emit("The photo is on the disk but could not be entered in the session.")
            return
        self.photo_kept.emit(kept.sha256)
        if verdict is not None and shot.purpose != Purpose.MAT:
            self.photo_judged.emit(shot, verdict)

    def tick(self) -> None:
        """Read the clocks: ring what is due, beat the heart, tell the window."""
        if not self.state.open:
            return
        moment = self._live.clock()
        for countdown in due(self.state, moment):
            if self.do(RingCountdown(countdown.id)) is not None:
                self.time_up.emit(countdown)
        self._beat(moment.to_doc())
        self.ticked.emit(self._live.as_at(moment), moment)

    def _beat(self, doc: dict[str, object]) -> None:
        self._beats += 1
        try:
            self._pulse.beat({**doc, "session": self.session_id})
            if self._beats == LOAD_AT:
                self._shutter.submit(_load_for_photos)
            if self._beats % SYNC_EVERY == 0:
                self._shutter.submit(self._pulse.sync)
        except (OSError, RuntimeError):
            # the heartbeat only sharpens the clock after a crash; the log itself reports a failing disk
            pass

    def close(self) -> None:
        """Leave the bench in good order; what is stored stays open for the next start."""
        self._timer.stop()
        self._shutter.shutdown(wait=True)
        # a photo that was being written is entered before the bench is left
        QCoreApplication.sendPostedEvents(self, 0)
        if self.state.open and not self.state.away:
            self.do(LeaveBench())
        self._pulse.close()


def _load_for_photos() -> None:
    """Runs in the shutter's thread: go through what a photo needs once, with a picture that is thrown away."""
    import numpy as np

    from benchguide.camera.quality import judge_photo
    from benchguide.store.exif import tag_jpeg

    plain = np.full((96, 128, 3), 128, np.uint8)
    tag_jpeg(
        encode_jpeg(plain), taken=datetime.now().astimezone(), description="", comment={}, software="",
        width=128, height=96, unique_id="0" * 32,
    )  # fmt: skip
    with suppress(ValueError):
        judge_photo(plain)
