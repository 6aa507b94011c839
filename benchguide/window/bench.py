"""The bench: one step at a time, its picture, its parts, and what is out. Lays out widgets and shows state.

It decides nothing: keys raise actions (bench_commands.py), the driver's signals bring the new state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from PySide6.QtCore import QCoreApplication, QEvent, QObject, QPoint, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QHideEvent, QPixmap, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QMenu, QSplitter, QVBoxLayout, QWidget

from benchguide.camera.worker import CameraState, CameraStatus
from benchguide.session import commands as cmd
from benchguide.session.events import Fact
from benchguide.session.gate import Gate
from benchguide.session.gates import gates_for_finish, gates_for_step
from benchguide.session.look import stack
from benchguide.session.moment import Moment
from benchguide.session.reference import as_found_for
from benchguide.session.state import Mark, State, Status
from benchguide.window.actions import BENCH, Actions
from benchguide.window.ahead import Ahead, likely_next
from benchguide.window.bench_commands import BenchCommands
from benchguide.window.bench_words import laid_words, moved_words, recent_words, standing_words
from benchguide.window.camera_link import CameraLink
from benchguide.window.clock_words import clock_figures
from benchguide.window.driver import BenchDriver
from benchguide.window.finish import Finish
from benchguide.window.parts_commands import PartsCommands
from benchguide.window.parts_panel import PartsPanel
from benchguide.window.parts_words import blocked_words, empty_words
from benchguide.window.theme import Theme, set_role
from benchguide.window.visit_sums import VisitSums
from benchguide.window.widgets.answers import AnswerList
from benchguide.window.widgets.camera_view import Mode
from benchguide.window.widgets.clock_strip import ClockStrip
from benchguide.window.widgets.columns import PictureColumn, TextColumn
from benchguide.window.widgets.device_view import DeviceView
from benchguide.window.widgets.difference_list import DifferenceList
from benchguide.window.widgets.gatebar import GateBar
from benchguide.window.widgets.instruction import InstructionPanel
from benchguide.window.widgets.key_button import BigKey
from benchguide.window.widgets.pages import Pages
from benchguide.window.widgets.question import QuestionBar
from benchguide.window.widgets.rail import Rail
from benchguide.window.widgets.recent_card import RecentCard
from benchguide.window.widgets.seen_view import SeenView
from benchguide.window.widgets.stack_view import StackView
from benchguide.window.widgets.still import Still

MORE = (
    "note",
    "repeat",
    "skip",
    "take-back",
    "waive",
    "count-pieces",
    "unplanned",
    "parts",
    "empty-places",
    "account",
    "extra",
    "settle-extra",
    "mat",
    "mark-place",
    "flip-pair",
    "hands-clear",
    "hand-over",
    "give-up",
)
KEYS = (
    "previous-step",
    "take-photo",
    "keep-poor",
    "countdown",
    "reading",
    "hold",
    "picture-mode",
    "step-done",
    "close-record",
)
#: keys that only some steps need
SOMETIMES = ("keep-poor", "countdown", "reading", "picture-mode", "close-record")
PRIMARY = ("step-done", "close-record")
#: the frame an as-found photo is to be filled with, as shares of the picture
FRAME = QRectF(0.1, 0.1, 0.8, 0.8)
PHOTO_GATES = ("as-found", "as-left", "poor-as-found", "poor-as-left")
MODES: tuple[Mode, ...] = ("live", "beside", "over")
OPACITY_STEP = 0.15
#: a layout may ask for another one, a scroll bar that comes for a third; more than that waits
LAYOUT_TURNS = 4
#: a camera picture that comes between a command and its step waits this long
PICTURE_LATER_MS = 8
#: below this height in body-type ems only the first hold point is shown; the next follows when it is met
ROOMY_EMS = 42
#: below this width the parts take the place of the instruction too
WIDE_EMS = 76
#: a camera view narrower than this is too small to be halved
BESIDE_EMS = 20

PhotoPath = Callable[[str], Path]


class BenchRoom(QWidget):
    """The bench screen. `set_driver` gives it a session, `None` takes it away."""

    record_wanted = Signal(str)
    """The record of this session is to be shown."""
    said = Signal(str)
    """The answer to a question, in one sentence, for the message line and a voice."""

    def __init__(
        self,
        theme: Theme,
        actions: Actions,
        question: QuestionBar,
        camera: CameraLink,
        photo: PhotoPath,
        thumb: PhotoPath,
    ) -> None:
        super().__init__()
        self._theme, self._actions, self._camera = theme, actions, camera
        self.question = question
        self._photo, self._thumb = photo, thumb
        self._driver: BenchDriver | None = None
        self._commands: BenchCommands | None = None
        self._piece_commands: PartsCommands | None = None
        self.parts: PartsPanel | None = None
        """Made when it is first opened."""
        self._parts_step = ""
        self._before_parts: list[int] = []
        self._reference = ""
        self._opacity = 0.5
        self._stack_wanted = False
        self._differences_wanted = False
        self._mode: Mode = "live"
        self._sums, self._finish = VisitSums(), Finish()
        self._ahead = Ahead(self)
        self._make_widgets()
        self._arrange()
        self._connect()
        self._show_nothing()

    # -- building

    def _make_widgets(self) -> None:
        theme = self._theme
        self.instruction = InstructionPanel(theme)
        self.gates = GateBar(theme)
        self.answers = AnswerList(theme)
        self.recent = RecentCard(theme)
        self.camera = SeenView(theme)
        self.differences = DifferenceList(theme)
        self.device = DeviceView(theme)
        self.stack = StackView(theme)
        self.clock = ClockStrip(theme)
        self.rail = Rail(theme)
        self.keys = {name: BigKey(self._actions[name], theme, primary=name in PRIMARY) for name in KEYS}
        # before they are laid out: the window would stay as wide as all of them side by side
        for name in SOMETIMES:
            self.keys[name].hide()
        self.more = BigKey(None, theme, "More", "M")
        # nothing but the window's ground lies behind these: it is not painted first where they paint over it
        self.gates.stand_on("ground")
        for painted in (self.device, self.clock, self.rail):
            painted.stand_on("ground")
        for panel in (self.instruction, self.stack):
            panel.stand_on("ground")
        for key in (*self.keys.values(), self.more):
            key.stand_on("ground")
        self.empty = QLabel(
            "No job is on the bench.\nChoose a procedure (F2) and start it.",
            alignment=Qt.AlignmentFlag.AlignCenter,
        )
        set_role(self.empty, "heading")

    def _arrange(self) -> None:
        gap = self._theme.sizes.gap
        self._left = Pages()
        self._column = TextColumn(self._theme, self.instruction, self.gates)
        self._left.addWidget(self._column)
        self._left.addWidget(self.recent)
        self._across = across = QSplitter(Qt.Orientation.Horizontal)
        self._right = PictureColumn(self._theme, self.camera, self.device, self.differences, self.answers)
        self._instruction_side = Still(self._left)
        self._stack_side = Still(self.stack)
        _share(across, (self._instruction_side, 9), (self._right, 11), (self._stack_side, 4))
        across.setSizes([480, 560, 220])
        self._work = QWidget()
        whole = QVBoxLayout(self._work)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(gap)
        whole.addWidget(across, 1)
        under = QWidget()
        foot = QVBoxLayout(under)
        foot.setContentsMargins(0, 0, 0, 0)
        foot.setSpacing(gap)
        foot.addWidget(self.clock)
        foot.addLayout(self._key_row(gap))
        foot.addWidget(self.rail)
        self._foot = Still(under)
        whole.addWidget(self._foot)
        self._pages = Pages()
        self._pages.addWidget(self.empty)
        self._pages.addWidget(self._work)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(self._pages)
        self._layouts = (outer, whole, foot)

    def _key_row(self, gap: int) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(gap)
        for name, key in self.keys.items():
            row.addWidget(key, 3 if name in PRIMARY else 2)
        row.addWidget(self.more, 1)
        return row

    def _connect(self) -> None:
        self._camera.picture.connect(self._show_picture)
        # a picture that was announced before this room was here must be fetched, or no other is announced
        self._show_picture()
        self._show_status(self._camera.worker.status())
        self._camera.status_changed.connect(self._show_status)
        self.camera.installEventFilter(self)
        self.answers.answered.connect(self._answer)
        # while something is asked, the question stands where the keys are
        self.question.opened.connect(self._question_opened)
        self.question.closed.connect(self._question_closed)
        self.recent.confirmed.connect(self._actions["confirm"].trigger)
        self.recent.taken_back.connect(self._actions["take-back"].trigger)
        self.device.part_chosen.connect(self._show_part)
        self.rail.step_chosen.connect(lambda step: self._driver and self._driver.do(cmd.GoTo(step)))
        for name, slot in self._own_slots().items():
            self._actions[name].triggered.connect(slot)
        self._menu = QMenu(self)
        for name in MORE:
            self._menu.addAction(self._actions[name])
        self.more.clicked.connect(self._show_more)

    def _own_slots(self) -> dict[str, Callable[[], None]]:
        """The commands that change only what this room shows; methods, so that `release` can let go of them."""
        return {
            "picture-mode": self._next_mode,
            "overlay-more": self._show_more_as_found,
            "overlay-less": self._show_less_as_found,
            "flip-pair": self.flip_pair,
            "more": self._show_more,
            "parts": self._toggle_parts,
            "blocks": self._show_blocks,
            "empty-places": self._show_empty_places,
        }

    # -- bench commands work while the bench is in view and nothing is being asked

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._enable_commands()

    def hideEvent(self, event: QHideEvent) -> None:
        super().hideEvent(event)
        self._enable_commands(False)

    def _enable_commands(self, wanted: bool = True) -> None:
        on = wanted and self.isVisible() and self._driver is not None and not self.question.is_open
        for spec in BENCH:
            self._actions[spec.name].setEnabled(on)

    def _question_opened(self) -> None:
        self._foot.hide()
        # the question takes this room: all layouts must know before it comes up, or the window grows
        self._settle()
        self._enable_commands(False)

    def _question_closed(self, _answered: bool) -> None:
        self._foot.setVisible(self._left.currentWidget() is not self.recent)
        self._enable_commands()

    # -- one session after the other

    def set_driver(self, driver: BenchDriver | None) -> None:
        """Put a session on the bench, or clear it."""
        if self._commands:
            self._commands.release()
            self._commands = None
        if self._piece_commands:
            self._piece_commands.release()
            self._piece_commands = None
        if self._driver:
            self._driver.changed.disconnect(self._on_facts)
            self._driver.ticked.disconnect(self._on_tick)
        self._driver = driver
        self._ahead.drop()
        self._close_parts()
        if driver is None:
            self._show_nothing()
            return
        self._commands = BenchCommands(self._actions, driver, self.question)
        self._piece_commands = PartsCommands(self._actions, driver, self.question, self._part_in_hand)
        driver.changed.connect(self._on_facts)
        driver.ticked.connect(self._on_tick)
        self._pages.setCurrentWidget(self._work)
        self._enable_commands()
        self.show_state(driver.state)

    def release(self) -> None:
        """Let go of driver and camera: this room is being replaced."""
        self.set_driver(None)
        self._camera.picture.disconnect(self._show_picture)
        self._camera.status_changed.disconnect(self._show_status)
        for name, slot in self._own_slots().items():
            self._actions[name].triggered.disconnect(slot)
        self.question.cancel()
        self.question.opened.disconnect(self._question_opened)
        self.question.closed.disconnect(self._question_closed)

    def _show_nothing(self) -> None:
        # keys that only some steps need must not stretch the window before there is a step
        for name in ("keep-poor", "countdown", "reading", "picture-mode", "close-record"):
            self._actions[name].setVisible(False)
            self.keys[name].hide()
        self._right.show_below(lines=False, differences=False, camera=True)
        self._stack_side.hide()
        self._pages.setCurrentWidget(self.empty)

    def _on_facts(self, facts: tuple[Fact, ...]) -> None:
        if self._driver:
            self.show_state(self._driver.state)
            self._settle()

    def _settle(self) -> None:
        """Let all layouts come to rest now: a text that wraps anew moves others, and each would be painted twice."""
        for _turn in range(LAYOUT_TURNS):
            QCoreApplication.sendPostedEvents(None, QEvent.Type.LayoutRequest.value)
            if not self.answers.isHidden():
                # a scroll area puts off showing its bar
                QCoreApplication.sendPostedEvents(self.answers.area, QEvent.Type.MetaCall.value)

    def _on_tick(self, state: State, moment: Moment) -> None:
        if state.to_confirm and self._left.currentWidget() is not self.recent:
            # the machine slept: the question comes up with the clock, not with a command
            self._show_recent(state)
        if state.open:
            self.clock.set_times(clock_figures(state, moment, self._sums, self._finish))
            self.rail.set_state(state)

    # -- showing

    def show_state(self, state: State) -> None:
        """Redraw everything that follows from the state."""
        if not state.open:
            self._show_closed(state)
            return
        # each widget that is shown would have all layouts around it arranged at once, with the rest still to come
        for layout in self._layouts:
            layout.setEnabled(False)
        try:
            self._show_open(state)
        finally:
            for layout in self._layouts:
                layout.setEnabled(True)
            # a foot that came back meanwhile missed its turn, and a layout that is out of date asks for no other
            self._layouts[-1].activate()

    def _show_open(self, state: State) -> None:
        step, job = state.step, state.job
        gates = self._gates(state)
        # the list itself says how many answers are missing
        told = tuple(gate for gate in gates if gate.kind != "answers")
        self.instruction.wait_for_step()
        # one at a time: the next follows when it is met; the instruction says how many there are
        self.gates.set_gates(told[:1])
        self._column.arrange()
        self.instruction.show_step(
            step,
            job.device,
            state.here + 1,
            len(state.steps),
            gates,
            moved_words(state, step),
            laid_words(state, step),
        )
        self._share_right(bool(step.lines), any(gate.kind in PHOTO_GATES for gate in gates))
        self.answers.set_lines(step.lines, _answers_at(state))
        self.device.set_state(job.device, state.ledger, step)
        self.stack.set_ledger(state.ledger, job.device, stack(state))
        self._stack_wanted = bool(state.ledger.out or state.ledger.extras)
        self._stack_side.setVisible(self._stack_wanted and not self.parts_open)
        self._renew_parts(state)
        self._show_reference(state)
        self._show_frame(state, gates)
        self._show_recent(state)
        self._show_keys(state, gates)
        if self._driver:
            now = self._driver.read_clock()
            self._on_tick(*now)
            self._ahead.plan(self._prepare(*now))

    @property
    def busy_ahead(self) -> bool:
        """True while what is likely next is being drawn."""
        return self._ahead.busy

    def _prepare(self, state: State, moment: Moment) -> Iterator[None]:
        """Draw ahead what the likely next commands will show, a little at each turn."""
        for after in likely_next(state, moment):
            yield
            step = after.step
            self.clock.prepare(clock_figures(after, moment, self._sums.copied(), self._finish))
            yield
            gates = [gate for gate in self._gates(after) if gate.kind != "answers"]
            yield from self.gates.prepare(gates[:1])
            words = moved_words(after, step), laid_words(after, step)
            yield from self.instruction.prepare(step, after.job.device, *words)
            yield from self.answers.prepare(step.lines, _answers_at(after))
            yield from self.stack.prepare(after.job.device, stack(after))
            if not step.lines:
                yield from self.device.prepare(after.ledger, step)

    def _share_right(self, lines: bool, photo_due: bool) -> None:
        """A list to answer takes the place of the drawing, and on a small screen that of the camera."""
        camera = not lines or photo_due or self._roomy
        self._right.show_below(lines, self._differences_wanted, camera)

    @property
    def _roomy(self) -> bool:
        return self.height() > ROOMY_EMS * self._theme.sizes.body_px

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if self._driver and self._driver.state.open:
            self.show_state(self._driver.state)

    def _gates(self, state: State) -> tuple[Gate, ...]:
        return gates_for_finish(state) if self._at_end(state) else gates_for_step(state, state.step)

    def _show_closed(self, state: State) -> None:
        words = "The record is closed." if state.status is Status.FINISHED else "The job was given up."
        self.empty.setText(f"{words}\nIt can be read under Records (F4).")
        self._pages.setCurrentWidget(self.empty)

    def _show_frame(self, state: State, gates: tuple[Gate, ...]) -> None:
        """While an as-found photo is due, a frame says what belongs in the picture."""
        due = any(gate.kind in ("as-found", "poor-as-found") for gate in gates)
        names = [state.job.device.by_id[part].name for part in state.step.parts]
        self.camera.set_outline(FRAME if due else None, ", ".join(names) if due else "")

    def _show_recent(self, state: State) -> None:
        if state.to_confirm:
            pictures = [self._thumbnail(fact) for fact in state.recent]
            self.recent.set_actions(list(zip(recent_words(state), pictures, strict=True)))
            self.recent.set_standing(standing_words(state))
        asked = bool(state.to_confirm)
        # the card has keys of its own and takes the room of the others: never both, or the window grows for good
        if asked:
            self._foot.hide()
        if self._left.currentIndex() != asked:
            self._left.setCurrentIndex(int(asked))
            self._across.updateGeometry()
        if not asked:
            self._foot.setVisible(not self.question.is_open)

    def _thumbnail(self, fact: Fact) -> QPixmap | None:
        sha = getattr(fact.what, "sha256", "") or self._photo_of(getattr(fact.what, "step", ""))
        try:
            return QPixmap(str(self._thumb(sha))) if sha else None
        except (OSError, ValueError):
            return None

    def _photo_of(self, step: str) -> str:
        photos = [p for p in self._driver.state.photos if p.step == step] if self._driver else []
        return photos[-1].sha256 if photos else ""

    def _show_keys(self, state: State, gates: tuple[Gate, ...]) -> None:
        actions, step = self._actions, state.step
        actions["hold"].setText("Continue" if state.status is Status.HELD else "Hold")
        closing = self._at_end(state)
        actions["step-done"].setVisible(not closing)
        actions["close-record"].setVisible(closing)
        running = any(c.step == step.id for c in state.running)
        actions["countdown"].setVisible(step.wait is not None or bool(state.running))
        actions["countdown"].setText("Stop countdown" if running else "Start countdown")
        actions["reading"].setVisible(step.reading is not None)
        actions["keep-poor"].setVisible(any(gate.kind.startswith("poor-") for gate in gates))
        for name in ("picture-mode", "overlay-more", "overlay-less", "flip-pair", "mark-place"):
            actions[name].setVisible(bool(self._reference))
        for name, key in self.keys.items():
            key.setVisible(actions[name].isVisible())
        self.keys["take-photo"].set_wanted(any(gate.kind in PHOTO_GATES for gate in gates))
        self.keys["step-done"].set_primary(not gates and not state.to_confirm)

    def _at_end(self, state: State) -> bool:
        last = state.here == len(state.steps) - 1
        return last and state.mark_of(state.step.id).mark is not Mark.OPEN

    def _show_more(self) -> None:
        self._menu.popup(self.more.mapToGlobal(QPoint(0, -self._menu.sizeHint().height())))

    # -- the parts panel

    @property
    def parts_open(self) -> bool:
        """True while the parts stand where picture, drawing and stack are."""
        return self.parts is not None and not self.parts.isHidden()

    def _part_in_hand(self) -> str:
        return self.parts.part if self.parts is not None and self.parts_open else ""

    def _open_parts(self) -> PartsPanel | None:
        if self._driver is None or not self._driver.state.open:
            return None
        if self.parts is None:
            self.parts = PartsPanel(self._theme)
            self.parts.left.connect(self._close_parts)
            self.parts.moved_asked.connect(lambda _part: self._actions["unplanned"].trigger())
            self._across.addWidget(self.parts)
            self._across.setStretchFactor(self._across.count() - 1, 15)
            self.parts.hide()
        if not self.parts_open:
            self._before_parts = self._across.sizes()
            left = min(self._left.width(), self._across.width() * 9 // 24)
            self._right.hide()
            self._stack_side.hide()
            self.parts.show()
            # the instruction stays as wide as it was
            self._across.setSizes([left, 0, 0, self._across.width() - left])
            self._parts_step = self._driver.state.step.id
            self.parts.set_state(self._driver.state)
            self._share_left(self._driver.state)
        return self.parts

    def _share_left(self, state: State) -> None:
        """On a small screen the parts take the place of the instruction; a question after a break keeps its own."""
        wide = self._roomy and self.width() > WIDE_EMS * self._theme.sizes.body_px
        self._instruction_side.setVisible(wide or not self.parts_open or bool(state.to_confirm))

    def _close_parts(self) -> None:
        if self.parts is None or not self.parts_open:
            return
        self.parts.hide()
        self._instruction_side.show()
        self._right.show()
        self._stack_side.setVisible(self._stack_wanted)
        self._across.setSizes(self._before_parts)
        self.instruction.setFocus()

    def _renew_parts(self, state: State) -> None:
        """The panel answers for this moment; another step brings the picture back."""
        if self.parts is None or not self.parts_open:
            return
        if state.step.id != self._parts_step:
            self._close_parts()
        else:
            self.parts.set_state(state)
            self._share_left(state)

    def _toggle_parts(self) -> None:
        if self.parts_open:
            self._close_parts()
        elif panel := self._open_parts():
            panel.show_step()

    def _show_part(self, part: str) -> None:
        if panel := self._open_parts():
            panel.show_part(part)

    def _show_blocks(self) -> None:
        """What bars this step: the panel at its first part, and one sentence for those who only hear or glance."""
        if panel := self._open_parts():
            panel.show_step()
            self.said.emit(blocked_words(panel.state))

    def _show_empty_places(self) -> None:
        if panel := self._open_parts():
            panel.show_empty()
            self.said.emit(empty_words(panel.state))

    # -- camera and reference

    def _show_reference(self, state: State) -> None:
        photo = as_found_for(state, state.step)
        sha = photo.sha256 if photo else ""
        if sha == self._reference:
            return
        self._reference = sha
        self.camera.load_reference(self._photo(sha) if sha else None)
        wide = self.camera.width() > BESIDE_EMS * self._theme.sizes.body_px
        self._set_mode("live" if not sha else "beside" if wide else "over")

    def _next_mode(self) -> None:
        if self._reference:
            self._set_mode(MODES[(MODES.index(self._mode) + 1) % len(MODES)])

    def _set_mode(self, mode: Mode) -> None:
        self._mode = mode
        self.camera.set_mode(mode)

    def _show_more_as_found(self) -> None:
        self._set_opacity(self._opacity + OPACITY_STEP)

    def _show_less_as_found(self) -> None:
        self._set_opacity(self._opacity - OPACITY_STEP)

    def flip_pair(self) -> None:
        """As-found and live picture in turn at the same place."""
        if not self._reference:
            return
        whole = self._mode != "over" or self._opacity < 0.5
        self._set_mode("over")
        self._set_opacity(1.0 if whole else 0.0)

    def show_beside(self) -> None:
        """The as-found photo beside the live picture."""
        if self._reference:
            self._set_mode("beside")

    @property
    def reference(self) -> str:
        """The as-found photo that belongs beside this step, by its hash; empty when there is none."""
        return self._reference

    @property
    def mode(self) -> Mode:
        """How the picture is shown."""
        return self._mode

    def show_differences(self, wanted: bool) -> None:
        """Show the list of differences where the drawing is, or the drawing."""
        if wanted != self._differences_wanted:
            self._differences_wanted = wanted
            if self._driver and self._driver.state.open:
                lines = bool(self._driver.state.step.lines)
                self._right.show_below(lines, wanted, not self.camera.isHidden())

    def _set_opacity(self, opacity: float) -> None:
        self._opacity = min(1.0, max(0.0, opacity))
        self.camera.set_opacity(self._opacity)

    def _show_picture(self) -> None:
        if self._ahead.waits:
            # the step that was just asked for is painted first; the picture is as new a moment later
            QTimer.singleShot(PICTURE_LATER_MS, self, self._show_picture)
            return
        image = self._camera.take_picture()
        if image is not None:
            self.camera.set_frame(image)

    def _show_status(self, status: CameraStatus) -> None:
        live = status.state is CameraState.LIVE
        self.camera.set_status("" if live else status.sentence)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self.camera and event.type() == QEvent.Type.Resize:
            ratio = self.devicePixelRatioF()
            size: QSize = self.camera.size()
            self._camera.set_room(QSize(round(size.width() * ratio), round(size.height() * ratio)))
        return super().eventFilter(watched, event)

    def _answer(self, line: str, answer: str) -> None:
        if self._driver:
            self._driver.do(cmd.AnswerLine(line, answer))


def _answers_at(state: State) -> dict[str, str]:
    """The answers to the lines of the present step, by line."""
    here = state.step
    if not here.lines:
        return {}
    return {line: answer for (at, line), answer in state.answers.items() if at == here.id}


def _share(splitter: QSplitter, *shares: tuple[QWidget, int]) -> None:
    """Put widgets into a splitter with their shares of the room; none can be dragged away."""
    splitter.setChildrenCollapsible(False)
    for place, (widget, share) in enumerate(shares):
        splitter.addWidget(widget)
        splitter.setStretchFactor(place, share)
