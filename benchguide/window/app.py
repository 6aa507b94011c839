"""The one place where the window's parts are wired together. Paints first, loads afterwards.

`run_window` builds everything from options and returns the exit code; tests build a `Bench` by hand.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QApplication

from benchguide.window.settings import Settings, distance_for, load_settings, save_settings
from benchguide.window.shell import Shell
from benchguide.window.theme import PALETTES, Theme, apply_theme, sizes_on

if TYPE_CHECKING:
    from benchguide.camera.simulated import Scene
    from benchguide.camera.source import Source
    from benchguide.procedure.shelf import ProcedureEntry, Shelf
    from benchguide.session.events import Fact
    from benchguide.speech.player import TonePlayer
    from benchguide.store.live import Clock, LiveSession
    from benchguide.store.log import EventLog
    from benchguide.store.photos import PhotoShelf
    from benchguide.window.driver import BenchDriver, Shot


#: the simulated bench follows a step after this time
SCENE_AFTER_MS = 40
#: how long one thread may keep the interpreter from another: the usual 5 ms, some times over, is a late step
TURN_S = 0.0002


@dataclass(frozen=True, slots=True)
class Options:
    """How the window is to be opened; empty values fall back to the person's settings."""

    data: Path | None = None
    camera: str | None = None
    theme: str | None = None
    procedure: Path | None = None
    job: str = ""
    person: str = ""
    folders: tuple[Path, ...] = ()
    size: tuple[int, int] = (1280, 800)
    clock: Clock | None = None
    sound: bool = True
    commands: bool = False
    """Commands come as lines on standard input too (script_commands.py)."""
    hands_free: bool = True
    """False leaves the processes that hear and speak, and the screen's sleep, alone."""


def run_window(options: Options) -> int:
    """Open the window and stay until it is closed. Returns the exit code."""
    app = application()
    shell, theme = open_shell(app, options)
    held: list[Bench] = []

    def load() -> None:
        bench = Bench(app, shell, theme, options)
        held.append(bench)
        try:
            bench.load()
            bench.offer_setup()
        except Exception as error:
            # a fault of ours: said in the window instead of leaving it empty, and traced on standard error
            shell.cannot_open(
                f"The bench could not be opened ({error}). Your data are as they were; start again."
            )
            raise

    shell.painted.connect(lambda: QTimer.singleShot(0, load))
    shell.showMaximized()
    code = app.exec()
    for bench in held:
        bench.close()
    return code


def application() -> QApplication:
    """The one QApplication of this process."""
    app = QApplication.instance()
    if isinstance(app, QApplication):
        return app
    app = QApplication(sys.argv[:1])
    app.setApplicationName("benchguide")
    app.setApplicationDisplayName("Benchguide")
    return app


def open_shell(app: QApplication, options: Options) -> tuple[Shell, Theme]:
    """The themed, still empty window."""
    from benchguide.store.places import data_folder

    settings = _with_options(load_settings(data_folder(options.data)), options)
    theme = theme_for(app, settings)
    apply_theme(app, theme)
    shell = Shell(theme)
    shell.resize(*options.size)
    return shell, theme


def theme_for(app: QApplication, settings: Settings) -> Theme:
    """The theme of these settings on the first screen."""
    screen = app.primaryScreen()
    distance = distance_for(settings, screen.size().height())
    return Theme(PALETTES[settings.theme], sizes_on(screen, distance))


def _with_options(settings: Settings, options: Options) -> Settings:
    return replace(settings, theme=options.theme or settings.theme, camera=options.camera or settings.camera)


class Bench(QObject):
    """Everything behind one window: data folder, camera, rooms, and at most one session on the bench."""

    def __init__(self, app: QApplication, shell: Shell, theme: Theme, options: Options) -> None:
        super().__init__(shell)
        from benchguide.store.places import data_folder

        self.app, self.shell, self.theme, self.options = app, shell, theme, options
        self.folder = data_folder(options.data)
        self.settings = _with_options(load_settings(self.folder), options)
        self.driver: BenchDriver | None = None
        self._closed = False
        self._scene_soon = QTimer(self, singleShot=True, interval=SCENE_AFTER_MS)
        self._scene_soon.timeout.connect(self._set_scene)
        self._shelf: Shelf | None = None

    # -- loading, after the first paint

    def load(self) -> None:
        """Open the data folder, move the rooms in, start the camera, go on where the bench was left."""
        from benchguide.store.photos import PhotoShelf
        from benchguide.store.problems import AlreadyOpen, StoreProblem

        message = self.shell.message
        try:
            self.log, self.writing = self._open_log(), True
        except AlreadyOpen as error:
            from benchguide.store.log import EventLog

            self.log, self.writing = EventLog.open(self.folder, mode="read"), False
            message.warn(f"{error} This window can read records but not run a job.")
        except (StoreProblem, OSError) as error:
            # without a log there is no bench: the sentence takes its place, the data stay as they are
            self.shell.cannot_open(str(error))
            return
        self.photos: PhotoShelf = PhotoShelf(self.folder)
        if self.writing:
            self.photos.sweep()
        self._make_camera()
        self._make_sounds()
        self._make_eyes()
        self._make_rooms()
        self._connect_window()
        self._make_hands_free()
        # not sooner: its thread imports too, and Qt's import hook looks into modules that are only half imported here
        self.camera.start()
        sys.setswitchinterval(TURN_S)
        for notice in (*self.log.notices, *self._warnings()):
            message.warn(notice)
        self._first_room()

    def _open_log(self) -> EventLog:
        from benchguide.store.log import EventLog

        return EventLog.open(self.folder)

    def _warnings(self) -> list[str]:
        from benchguide.store.places import storage_warnings

        return storage_warnings(self.folder)

    def _make_camera(self) -> None:
        from benchguide.window.camera_link import CameraLink
        from benchguide.window.simulated_hands import SimulatedHands

        self.simulated = SimulatedHands()
        """What the simulated bench shows."""
        self.camera = CameraLink(self._make_source, self)

    def _make_source(self) -> Source:
        """Called in the camera's thread for every connection."""
        from benchguide.camera.source import SourceLost, make_source, parse_source

        try:
            return make_source(parse_source(self.settings.camera), get_scene=self._get_scene)
        except ValueError as error:
            # a settings file that was edited by hand: told like a lost camera, beside the picture
            raise SourceLost(f"{error} Choose a camera with F7.") from error

    def _get_scene(self) -> Scene:
        """Called in the camera's thread; the scene is replaced as a whole, never changed."""
        return self.simulated.seen()

    def _make_sounds(self) -> None:
        self.sounds: TonePlayer | None = None
        if not (self.settings.sound and self.options.sound):
            return
        # the multimedia library takes its time: not before the window is up
        QTimer.singleShot(400, self._load_sounds)

    def _load_sounds(self) -> None:
        try:
            from benchguide.speech.player import TonePlayer

            self.sounds = TonePlayer(self.folder / "thumbs" / "tones")
        except (ImportError, OSError) as error:
            self.shell.message.warn(f"No sounds: {error}. Run `benchguide preflight` to see what is missing.")

    def _make_eyes(self) -> None:
        from benchguide.window.eyes import Eyes

        self.eyes = Eyes(self)

    def _make_rooms(self) -> None:
        from benchguide.window import rooms

        self.bench_room = rooms.make_bench_room(self)
        self.procedures_room = rooms.make_procedures_room(self)
        self.records_room = rooms.make_records_room(self)
        self.shell.place("procedures", self.procedures_room)
        self.shell.place("bench", self.bench_room)
        self.shell.place("records", self.records_room)
        self.eyes.set_room(self.bench_room)

    @property
    def shelf(self) -> Shelf:
        """Bundled procedures, those of the data folder, and those of the options."""
        if self._shelf is None:
            from benchguide.bundled import procedures_folder
            from benchguide.procedure.shelf import Shelf

            folders = [procedures_folder(), self.folder / "procedures", *self.options.folders]
            if self.options.procedure:
                folders.append(self.options.procedure.parent)
            self._shelf = Shelf(tuple(dict.fromkeys(f.resolve() for f in folders if f.is_dir())))
        return self._shelf

    def _connect_window(self) -> None:
        from benchguide.window.window_commands import WindowCommands

        self.window_commands = WindowCommands(self)
        self.shell.closing.connect(self.close)

    def _make_hands_free(self) -> None:
        from benchguide.window.hands_free import HandsFree
        from benchguide.window.setup_room import SetupRoom

        self.hands_free = HandsFree(self, autostart=self.options.hands_free)
        self.setup_room = SetupRoom(self, self.hands_free)
        self.shell.show_strip(self.hands_free.strip)
        if self.options.commands:
            self._make_script()

    def _make_script(self) -> None:
        from benchguide.speech.input_lines import InputLines
        from benchguide.window.script_commands import ScriptCommands

        def tell(line: str) -> None:
            try:
                sys.stdout.write(line + "\n")
                sys.stdout.flush()
            except (OSError, ValueError):
                pass  # nobody reads the answers any more; the window stays

        self._script = ScriptCommands(self.hands_free.raiser, InputLines(), tell, self)
        # the first room is in view and a job from the options is on the bench by then
        QTimer.singleShot(0, self, self._script.start)

    def offer_setup(self) -> None:
        """The first-use screen, where this bench was never set up and nothing else was asked for."""
        if hasattr(self, "setup_room") and not self.options.procedure and not self.options.commands:
            self.setup_room.first_use()

    def _first_room(self) -> None:
        open_rows = [row for row in self.log.sessions() if row.state == "open"]
        if self.options.procedure:
            self._start_from_options()
        elif open_rows and self.writing:
            self.resume(open_rows[0].session_id)
        else:
            self.shell.show_room("procedures")

    def _start_from_options(self) -> None:
        wanted = self.options.procedure
        assert wanted is not None
        entry = next((e for e in self.shelf.procedures() if e.path.resolve() == wanted.resolve()), None)
        if entry is None:
            self.shell.message.warn(f"{wanted} is not a procedure file (*.procedure.yaml).")
            self.shell.show_room("procedures")
        elif self.options.job and self.options.person:
            self.start(entry, self.options.job, self.options.person)
        else:
            self.procedures_room.choose(entry)
            self.shell.show_room("procedures")

    # -- sessions

    def start(self, entry: ProcedureEntry, number: str, person: str) -> None:
        """Begin a job on the bench."""
        from benchguide.session.decide import Refused
        from benchguide.session.state import Job
        from benchguide.store.live import start_session
        from benchguide.store.problems import StoreProblem

        if not entry.usable or entry.loaded is None or entry.device is None:
            self.shell.message.warn(f"{entry.title} cannot be followed: its files have errors.")
            return
        if not self._may_write() or self._busy():
            return
        job = Job(entry.device.model, entry.loaded.model)
        try:
            live = start_session(self.log, job, number, person, self._clock())
        except (Refused, StoreProblem, OSError) as error:
            self.shell.message.warn(str(error))
            return
        self.remember(replace(self.settings, person=person))
        self._put_on_bench(live)

    def resume(self, session_id: str) -> None:
        """Go on with an open session."""
        from benchguide.store.live import resume_session
        from benchguide.store.problems import StoreProblem

        if self.driver and self.driver.session_id == session_id:
            self.shell.show_room("bench")
            return
        if not self._may_write() or self._busy():
            return
        try:
            live = resume_session(self.log, session_id, self._clock(), self._last_beat(session_id))
        except (StoreProblem, ValueError) as error:
            self.shell.message.warn(str(error))
            self.shell.show_room("procedures")
            return
        self._put_on_bench(live)

    def _may_write(self) -> bool:
        if not self.writing:
            self.shell.message.warn(
                "Another window has this data folder open for writing. Work there, or close it."
            )
        return self.writing

    def _busy(self) -> bool:
        if self.driver and self.driver.state.open:
            self.shell.message.warn(
                "A job is on the bench. Close its record, or leave it on hold and restart."
            )
            return True
        return False

    def _clock(self) -> Clock:
        from benchguide.window.clock_reader import ClockReader

        return self.options.clock or ClockReader()

    def _last_beat(self, session_id: str) -> dict[str, object] | None:
        from benchguide.store.pulse import Pulse

        beat = Pulse(self.folder / "pulse").last()
        return beat if beat and beat.get("session") == session_id else None

    def _put_on_bench(self, live: LiveSession) -> None:
        from benchguide.store.pulse import Pulse
        from benchguide.window.driver import BenchDriver

        if self.driver:
            self.driver.close()
        self.driver = driver = BenchDriver(
            live, self.camera.worker, self.photos, Pulse(self.folder / "pulse"), self
        )
        driver.scene = lambda: self._get_scene() if self.settings.camera == "simulated" else None
        self._set_scene()
        # drawing a scene anew takes the camera's thread a while: the step is painted first
        driver.changed.connect(lambda _facts: self._scene_soon.start())
        driver.changed.connect(self._tell_way_back)
        driver.asked.connect(self._on_asked)
        driver.refused.connect(self._on_refused)
        driver.trouble.connect(self.shell.message.warn)
        driver.photo_kept.connect(self._on_photo)
        driver.photo_failed.connect(self._on_photo_failed)
        driver.time_up.connect(self._on_time_up)
        started = live.state.started
        if started:
            self.shell.say_what(f"{started.job}  ·  {started.procedure}  ·  {live.state.person}")
        self.bench_room.set_driver(driver)
        self.eyes.set_driver(driver)
        self.shell.show_room("bench")
        self.hands_free.set_driver(driver)

    def _set_scene(self) -> None:
        if self.driver and self.driver.state.open:
            self.simulated.follow(self.driver.state)

    def _on_asked(self, shot: Shot) -> None:
        """The simulated hands refit the parts of this step before its as-left photo is taken."""
        from benchguide.session.state import Purpose

        if self._scene_soon.isActive():
            self._scene_soon.stop()
            self._set_scene()
        if self.driver and shot.purpose == Purpose.AS_LEFT:
            state = self.driver.state
            self.simulated.refit(state, state.step_of(shot.step) or state.step)

    # -- what is heard and said

    def _tell_way_back(self, facts: tuple[Fact, ...]) -> None:
        """The way back was laid anew: say what differs from the plan."""
        from benchguide.session.events import WayBackLaid

        for fact in facts:
            if isinstance(fact.what, WayBackLaid):
                self.shell.message.say(f"The way back follows what came off: {fact.what.why}.")

    def play(self, tone: str) -> None:
        if self.sounds:
            from benchguide.speech.tones import Tone

            self.sounds.play(Tone(tone))
            self.hands_free.tone_played(tone)

    def _on_refused(self, sentence: str, _gates: object) -> None:
        self.play("blocked")
        self.shell.message.warn(sentence)

    def _on_photo(self, _sha: str) -> None:
        self.play("photo-kept")
        self.shell.message.say("Photo kept and verified on the disk.")

    def _on_photo_failed(self, sentence: str) -> None:
        self.play("photo-failed")
        self.shell.message.warn(sentence)

    def _on_time_up(self, countdown: object) -> None:
        self.play("time-up")
        self.shell.message.warn(f"Time is up: {getattr(countdown, 'kind', '')}.")

    # -- settings and the end

    def remember(self, settings: Settings) -> None:
        self.settings = settings
        try:
            save_settings(self.folder, settings)
        except OSError as error:
            self.shell.message.warn(f"The settings could not be kept: {error.strerror}.")

    def change_settings(self, settings: Settings) -> None:
        """Use and keep new settings; the window is dressed anew, the camera reopened if it changed."""
        camera_changed = settings.camera != self.settings.camera
        self.remember(settings)
        self.theme = theme_for(self.app, settings)
        apply_theme(self.app, self.theme)
        room = self.shell.room
        self._stop_rooms()
        self._make_rooms()
        if self.driver and self.driver.state.open:
            self.bench_room.set_driver(self.driver)
        self.shell.show_room(room)
        self.hands_free.use(settings)
        self.eyes.use_settings()
        if camera_changed:
            self.eyes.hands.forget()
            self.camera.stop()
            self.camera.start()

    def _stop_rooms(self) -> None:
        """End what the rooms do in the background; they are about to go or to lose the log."""
        self.bench_room.release()
        self.procedures_room.stop()
        self.records_room.stop()

    def close(self) -> None:
        """Leave the bench and let go of camera, log and threads. May be called twice."""
        if self._closed:
            return
        self._closed = True
        if hasattr(self, "hands_free"):
            self.hands_free.close()
        if hasattr(self, "eyes"):
            self.eyes.close()
        if hasattr(self, "records_room"):
            self._stop_rooms()
        if self.driver:
            self.driver.close()
            self.driver = None
        if hasattr(self, "camera"):
            self.camera.stop()
        if hasattr(self, "log"):
            self.log.close()
