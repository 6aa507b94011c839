"""Shows the first-use screen in the window and does what its keys ask. Wiring only."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from benchguide.window.hands_free import HandsFree
from benchguide.window.mat_scale import MatScale
from benchguide.window.settings import Settings
from benchguide.window.setup_page import CHECK_S, SetupPage, SetupState
from benchguide.window.switch_device import devices

if TYPE_CHECKING:
    from benchguide.window.app import Bench

#: These change more than hearing, speaking and the switch.
LOOKS = frozenset({"theme", "distance_cm", "camera", "sound"})
SAMPLE = "Warning. This is how a step is read to you."


class SetupRoom(QObject):
    """`show` brings the screen to the front, for the first time or again."""

    def __init__(self, bench: Bench, hands_free: HandsFree) -> None:
        super().__init__(bench)
        self._bench, self._hands = bench, hands_free
        self._page: SetupPage | None = None
        self._checking = self._trying = False
        self._tried = ""
        self._before = "procedures"
        self._mat_scale = MatScale(bench)
        self._mat_scale.changed.connect(self.refresh)
        hands_free.changed.connect(self.refresh)
        hands_free.checked.connect(self._checked)
        hands_free.switch.learnt.connect(lambda _key: self._learnt())
        hands_free.switch.tried.connect(self._press_tried)
        bench.camera.status_changed.connect(lambda _status: self.refresh())
        bench.shell.actions_by_name["setup"].triggered.connect(self.show)
        hands_free.strip.clicked.connect(self.show)
        bench.shell.question.closed.connect(lambda _answered: self.refresh())

    def show(self) -> None:
        """The screen, in place of the room in view."""
        shell = self._bench.shell
        self._before = shell.room or self._before
        self._make()

    def first_use(self) -> None:
        """The screen when this bench was never set up; else nothing."""
        if not self._bench.settings.set_up and self._bench.driver is None:
            self.show()

    @property
    def in_view(self) -> bool:
        """True while the screen is shown."""
        return self._page is not None

    def _make(self) -> None:
        shell, old = self._bench.shell, self._page
        self._page = page = SetupPage(self._bench.theme, self.state())
        page.left.connect(self.leave)
        page.wanted.connect(self._use)
        page.asked.connect(self._ask)
        page.destroyed.connect(lambda: self._gone(page))
        if old is not None:
            shell.show_room(self._before)
        shell.show_page(page)

    def _gone(self, page: SetupPage) -> None:
        if self._page is page:
            self._page = None
            self._stop_learning()
            self._stop_trying()

    def leave(self) -> None:
        """To work; it does not come by itself again."""
        self._stop_learning()
        self._stop_trying()
        if not self._bench.settings.set_up:
            self._bench.remember(replace(self._bench.settings, set_up=True))
        self._page = None
        self._bench.shell.show_room(self._before)

    def refresh(self) -> None:
        """Something has changed while the screen is shown."""
        if self._page is not None:
            self._page.show_state(self.state())

    def state(self) -> SetupState:
        """How things stand now."""
        bench, hands, s = self._bench, self._hands, self._bench.settings
        status = bench.camera.worker.status()
        camera = f"{s.camera}: gives pictures." if bench.camera.live else f"{s.camera}: {status.sentence}"
        reader = hands.reader
        reading = (
            reader.sentence
            if reader
            else "Steps are read aloud on arrival. Needs the system's speech service."
        )
        return SetupState(
            settings=s,
            distance_cm=bench.theme.sizes.distance_cm,
            camera=camera,
            camera_live=bench.camera.live,
            microphone=self._microphone(s),
            reading=reading,
            switch=self._switch(s),
            learning=hands.switch.learning,
            checking=self._checking,
            voices=tuple(
                v for v in (reader.voices if reader else []) if "English" in v or s.reader_locale[:2] != "en"
            ),
            microphones=hands.listener.inputs if s.listen and hands.listener else (),
            switch_devices=tuple(str(path) for path in devices()),
            trying=self._tried,
            trying_now=self._trying,
        )

    def _press_tried(self, press: str) -> None:
        self._tried = f"●  {press}"
        self.refresh()

    def _stop_trying(self) -> None:
        self._trying, self._tried = False, ""
        self._hands.switch.trying = False

    def _microphone(self, s: Settings) -> str:
        listener = self._hands.listener
        if listener is None:
            return "Off. Needs a microphone; nothing leaves this machine."
        if self._checking:
            return f"Say a sentence as loud as at the bench, for {CHECK_S} seconds."
        if listener.hearing and s.talker_db:
            return (
                f"{listener.sentence} You speak at {s.talker_db:.0f} dB, the room is at {s.room_db:.0f} dB."
            )
        if listener.hearing:
            return f"{listener.sentence} Check it once, so that talk across the room is not taken for yours."
        return listener.sentence

    def _switch(self, s: Settings) -> str:
        if self._hands.switch.learning:
            return "Press the switch now."
        if s.switch_key or s.switch_scan:
            return self._hands.switch.sentence
        return "A foot switch types a key; press Learn, then the switch."

    def _use(self, settings: Settings) -> None:
        before = self._bench.settings
        changed = {f.name for f in fields(Settings) if getattr(before, f.name) != getattr(settings, f.name)}
        if changed & LOOKS:
            self._bench.change_settings(settings)
            self._make()
        else:
            # dressing the whole window anew takes a good part of a second
            self._hands.change(settings)
            self.refresh()

    def _ask(self, what: str) -> None:
        actions = self._bench.shell.actions_by_name
        if what == "camera":
            actions["camera"].trigger()
        elif what == "mat-scale":
            actions["mat-scale"].trigger()
        elif what in ("nearer", "farther"):
            actions[what].trigger()
            self._make()
        elif what == "learn":
            self._hands.switch.learn()
        elif what == "stop-learning":
            self._stop_learning()
        elif what == "check" and self._hands.listener is not None:
            self._checking = True
            self._hands.check_microphone(CHECK_S)
        elif what == "try":
            wanted = not self._trying
            self._stop_trying()
            self._trying = self._hands.switch.trying = wanted
        elif what == "sample":
            self._hands.speak(SAMPLE)
        self.refresh()

    def _stop_learning(self) -> None:
        self._hands.switch.forget_learning()

    def _learnt(self) -> None:
        self._bench.shell.message.say("The switch is learnt. Press it: it does what its row says.")
        self.refresh()

    def _checked(self, _check: object) -> None:
        self._checking = False
        self.refresh()
