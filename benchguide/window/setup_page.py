"""The first-use screen: camera, microphone, foot switch, distance, reading aloud, theme; left at any point.

Each row says how it stands and has the keys that change it. It changes settings and starts checks through what it is
handed; it knows no device.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QScrollArea, QVBoxLayout, QWidget

from benchguide.window.actions import BENCH, WINDOW
from benchguide.window.mat_scale import scale_words
from benchguide.window.settings import Settings
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.themed import Panel, label

CHECK_S = 5
#: longer names of devices are cut on their key; the tip and the sentence have them whole
MOST_NAME = 26
WORDS = {spec.name: spec.words for spec in (*BENCH, *WINDOW)}
SYSTEMS_OWN = "the system's own"
#: what a press of the switch may do, in the order its key goes through them
PRESSES = ("", "step-done", "previous-step", "take-photo", "hold", "say-again", "one-piece", "countdown")
Speeds = (("slow", -0.4), ("usual", 0.0), ("fast", 0.4))


@dataclass(frozen=True, slots=True)
class SetupState:
    """How things stand, in sentences."""

    settings: Settings
    distance_cm: int
    camera: str
    camera_live: bool
    microphone: str
    reading: str
    switch: str
    learning: bool = False
    checking: bool = False
    voices: tuple[str, ...] = ()
    microphones: tuple[str, ...] = ()
    switch_devices: tuple[str, ...] = ()
    """Paths of device files a switch may be."""
    trying: str = ""
    """What the last press on the switch was, while it is tried."""
    trying_now: bool = False
    """A press lights the lamp and does nothing else."""


def _after(choices: Sequence[str], now: str) -> str:
    """The choice behind this one, around; the first where this one is none."""
    return choices[(choices.index(now) + 1) % len(choices)] if now in choices else choices[0]


def _short(name: str) -> str:
    return name if len(name) <= MOST_NAME else f"{name[: MOST_NAME - 2]} …"


class _Row(Panel):
    """One thing to set up: its name, how it stands, its keys."""

    def __init__(self, theme: Theme, name: str, ready: bool | None, told: str) -> None:
        super().__init__(theme, name, role="row")
        gap = theme.sizes.gap
        box = QVBoxLayout(self)
        box.setContentsMargins(gap, gap // 2, gap, gap // 2)
        box.setSpacing(0)
        mark = {True: "✓  ", False: "▲  ", None: "–  "}[ready]
        self.title = label(f"{mark}{name}", "strong")
        self.told = label(told, wrap=True)
        self.told.setAccessibleName(f"{name}: {told}")
        # its height follows its width; the least Qt supposes is that of a narrow one, and the page would scroll
        self.told.setMinimumHeight(1)
        line, words = QHBoxLayout(), QVBoxLayout()
        line.setSpacing(gap)
        words.setSpacing(0)
        words.addStretch(1)
        words.addWidget(self.title)
        words.addWidget(self.told)
        words.addStretch(1)
        line.addLayout(words, 1)
        self._keys = QHBoxLayout()
        self._keys.setSpacing(gap)
        line.addLayout(self._keys)
        box.addLayout(line)
        # what is chosen less often stands below, over the whole width
        self._more = QHBoxLayout()
        self._more.setSpacing(gap)
        self._more.addStretch(1)
        box.addLayout(self._more)

    def add(
        self,
        words: str,
        pressed: Callable[[], object],
        chosen: bool | None = None,
        name: str = "",
        below: bool = False,
        small: bool = False,
    ) -> QPushButton:
        """One more key; `chosen` makes it one of several that stays down; `below` puts it into the second line.

        `small`, as those below are, for what is chosen with the mouse and without gloves.
        """
        key = QPushButton(f"✓  {words}" if chosen else words)
        if not (small or below):
            set_role(key, "large")
        key.setObjectName(name or f"setup-{words.lower().replace(' ', '-')}")
        key.setAccessibleName(f"{self.accessibleName()}: {words}")
        if chosen is not None:
            key.setCheckable(True)
            key.setChecked(chosen)
        key.clicked.connect(lambda: pressed())
        if below:
            self._more.setContentsMargins(0, self.theme.sizes.gap, 0, 0)
        (self._more if below else self._keys).addWidget(key)
        return key


class SetupPage(QWidget):
    """`show_state` builds the rows anew; signals say what is wanted."""

    left = Signal()
    wanted = Signal(object)
    """New Settings."""
    asked = Signal(str)
    """"camera", "mat-scale", "learn", "stop-learning", "check", "try", "sample", "nearer" or "farther"."""

    def __init__(self, theme: Theme, state: SetupState) -> None:
        super().__init__()
        self.setAccessibleName("Set up")
        self._theme = theme
        self._area = QScrollArea()
        self._area.setWidgetResizable(True)
        self._area.setFrameShape(QScrollArea.Shape.NoFrame)
        title = label("Set up this bench", "heading")
        hint = label(
            "Everything can be left as it is and changed later with F10. Nothing here is needed to work.",
            wrap=True,
        )
        self.done = QPushButton("To work  [Esc]")
        set_role(self.done, "primary")
        self.done.setProperty("role", "primary")
        self.done.setMinimumHeight(theme.sizes.target)
        self.done.setObjectName("setup-done")
        self.done.clicked.connect(self.left)
        head = QHBoxLayout()
        words = QVBoxLayout()
        words.addWidget(title)
        words.addWidget(hint)
        head.addLayout(words, 1)
        head.addWidget(self.done)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(theme.sizes.gap)
        column.addLayout(head)
        column.addWidget(self._area, 1)
        self.show_state(state)

    def show_state(self, state: SetupState) -> None:
        """Show how things stand now; the focus stays on the key it was on."""
        focus = self.focusWidget()
        name = focus.objectName() if focus is not None else ""
        at = self._area.verticalScrollBar().value()
        page = QWidget()
        set_role(page, "page")
        rows = QVBoxLayout(page)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.setSpacing(self._theme.sizes.gap)
        # in pairs, so that everything is in view at once on a small screen
        for pair in (
            ((self._looks(state), 1), (self._distance(state), 1)),
            ((self._camera(state), 2), (self._mat(state), 3)),
        ):
            line = QHBoxLayout()
            line.setSpacing(self._theme.sizes.gap)
            for row, share in pair:
                line.addWidget(row, share)
            rows.addLayout(line)
        for row in (self._microphone(state), self._reading(state), self._switch(state)):
            rows.addWidget(row)
        rows.addStretch(1)
        old = self._area.takeWidget()
        self._area.setWidget(page)
        if old is not None:
            old.deleteLater()  # not at once: it may be one of its keys that is being pressed
        self._area.verticalScrollBar().setValue(at)
        again = page.findChild(QPushButton, name) if name else None
        if again is not None:
            again.setFocus()

    def _looks(self, state: SetupState) -> QWidget:
        s = state.settings
        row = _Row(self._theme, "Theme", True, "Light suits a bright bench.")
        for theme in ("dark", "light"):
            changed = replace(s, theme=theme)
            row.add(theme.capitalize(), partial(self.wanted.emit, changed), s.theme == theme, small=True)
        return row

    def _distance(self, state: SetupState) -> QWidget:
        told = f"Read this from {state.distance_cm} cm away."
        row = _Row(self._theme, "Distance", True, told)
        row.add("Nearer", lambda: self.asked.emit("nearer"), small=True)
        row.add("Farther", lambda: self.asked.emit("farther"), small=True)
        return row

    def _camera(self, state: SetupState) -> QWidget:
        row = _Row(self._theme, "Camera", state.camera_live, state.camera)
        row.add("Choose camera", lambda: self.asked.emit("camera"), small=True)
        return row

    def _mat(self, state: SetupState) -> QWidget:
        right, told = scale_words(state.settings)
        row = _Row(self._theme, "Print of the parts mat", right, told)
        row.add("Enter the bar", lambda: self.asked.emit("mat-scale"), name="setup-mat-scale", small=True)
        return row

    def _microphone(self, state: SetupState) -> QWidget:
        s = state.settings
        ready = None if not s.listen else bool(s.talker_db)
        row = _Row(self._theme, "Spoken commands", ready, state.microphone)
        if s.listen:
            words = "Speak now …" if state.checking else f"Check: speak {CHECK_S} s"
            key = row.add(words, lambda: self.asked.emit("check"), name="setup-check")
            key.setEnabled(not state.checking)
            following = _after(("", *state.microphones), s.microphone)
            row.add(
                f"Microphone: {_short(s.microphone or SYSTEMS_OWN)}",
                lambda: self.wanted.emit(replace(s, microphone=following)),
                name="setup-microphone",
                below=True,
            ).setToolTip("Press for the next one that is plugged in.")
            row.add(
                "Echo canceller",
                lambda: self.wanted.emit(replace(s, echo_canceller=not s.echo_canceller)),
                s.echo_canceller,
                "setup-echo",
                below=True,
            ).setToolTip("Only where the sound server takes this program's voice out of the microphone.")
        row.add("Off", lambda: self.wanted.emit(replace(s, listen=False)), not s.listen, "setup-listen-off")
        row.add("On", lambda: self.wanted.emit(replace(s, listen=True)), s.listen, "setup-listen-on")
        return row

    def _reading(self, state: SetupState) -> QWidget:
        s = state.settings
        ready = (
            None
            if not s.read_aloud
            else "not" not in state.reading.lower() and "nothing" not in state.reading.lower()
        )
        row = _Row(self._theme, "Reading aloud", ready, state.reading)
        if s.read_aloud:
            place = min(range(len(Speeds)), key=lambda i: abs(Speeds[i][1] - s.reader_speed))
            words, _ = Speeds[place]
            following = Speeds[(place + 1) % len(Speeds)][1]
            row.add(
                f"Speed: {words}",
                lambda: self.wanted.emit(replace(s, reader_speed=following)),
                name="setup-speed",
            )
            if state.voices:
                row.add(
                    "Other voice", lambda: self.wanted.emit(replace(s, reader_voice=self._next_voice(state)))
                )
            row.add("Sample", lambda: self.asked.emit("sample"))
        row.add(
            "Off", lambda: self.wanted.emit(replace(s, read_aloud=False)), not s.read_aloud, "setup-read-off"
        )
        row.add("On", lambda: self.wanted.emit(replace(s, read_aloud=True)), s.read_aloud, "setup-read-on")
        return row

    @staticmethod
    def _next_voice(state: SetupState) -> str:
        voices, now = state.voices, state.settings.reader_voice
        return voices[(voices.index(now) + 1) % len(voices)] if now in voices else voices[0]

    def _switch(self, state: SetupState) -> QWidget:
        s = state.settings
        learnt = bool(s.switch_key or s.switch_scan)
        row = _Row(self._theme, "Foot switch", True if learnt else None, state.switch)
        if state.learning:
            row.add("Stop", lambda: self.asked.emit("stop-learning"), name="setup-learn")
        else:
            row.add(
                "Learn another" if learnt else "Learn the switch",
                lambda: self.asked.emit("learn"),
                name="setup-learn",
            )
        if learnt:
            row.add("Forget it", lambda: self.wanted.emit(replace(s, switch_key=0, switch_scan=0)))
            words = state.trying or ("Press it now …" if state.trying_now else "Try it")
            row.add(words, lambda: self.asked.emit("try"), state.trying_now, "setup-try")
            self._presses(row, state)
        return row

    def _presses(self, row: _Row, state: SetupState) -> None:
        """What short, long and double do, and the device that is heard whichever window has the focus."""
        s = state.settings
        for press in ("short", "long", "double"):
            field = f"switch_{press}"
            now = getattr(s, field)
            # a switch without a short press would do nothing
            following = _after(PRESSES[1:] if press == "short" else PRESSES, now)
            row.add(
                f"{press.capitalize()}: {WORDS.get(now, now or 'nothing')}",
                partial(self.wanted.emit, replace(s, **{field: following})),  # type: ignore[arg-type]
                name=f"setup-{press}",
                below=True,
            ).setToolTip("Press for the next command.")
        if state.switch_devices or s.switch_device:
            path = _after(("", *state.switch_devices), s.switch_device)
            row.add(
                f"Device: {_short(s.switch_device.rpartition('/')[2] or 'none')}",
                lambda: self.wanted.emit(replace(s, switch_device=path)),
                name="setup-device",
                below=True,
            ).setToolTip("A device file is heard whichever window has the focus. Press for the next one.")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)
