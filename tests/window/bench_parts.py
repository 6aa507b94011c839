"""Real parts for window tests: a data folder, the demo job, the simulated bench, a clock that is told the time."""

from datetime import UTC, datetime
from pathlib import Path

from benchguide.camera.simulated import SimulatedBench
from benchguide.camera.worker import CameraWorker
from benchguide.procedure.shelf import Shelf
from benchguide.session.state import Job
from benchguide.store.live import LiveSession, start_session
from benchguide.store.log import EventLog
from benchguide.store.photos import PhotoShelf
from benchguide.store.pulse import Pulse
from benchguide.window.demo import ScriptClock
from benchguide.window.driver import BenchDriver
from benchguide.window.scene import scene_of

ROOT = Path(__file__).parents[2]


def demo_job() -> Job:
    """The bundled demo job."""
    entry = Shelf((ROOT / "procedures",)).procedure("gloamreed-tuning-wheel")
    assert entry is not None
    assert entry.loaded is not None
    assert entry.device is not None
    return Job(entry.device.model, entry.loaded.model)


class Parts:
    """Everything a driver needs, in a temporary place."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = ScriptClock(datetime(2026, 3, 1, 9, 0, tzinfo=UTC))
        self.log = EventLog.open(folder)
        self.shelf = PhotoShelf(folder)
        self.live: LiveSession = start_session(self.log, demo_job(), "J-1", "Ada", self.clock)
        self.camera = CameraWorker(
            lambda: SimulatedBench(
                lambda: scene_of(self.live.state.job.device, self.live.state.ledger), size=(640, 360)
            )
        )
        self.camera.start()
        self.driver = BenchDriver(self.live, self.camera, self.shelf, Pulse(folder / "pulse"))

    def close(self) -> None:
        """Let go of everything."""
        self.driver.close()
        self.camera.stop()
        self.log.close()
