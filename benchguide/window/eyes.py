"""What the camera sees and what that means at the bench: verdict, hands, differences, mat. Wires parts that know
nothing of each other; judges and keeps nothing itself. Every answer ends as a command of the driver.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QRectF, QTimer

from benchguide.camera.hands import Seen, Watch
from benchguide.procedure.words import PartKind
from benchguide.session import commands as cmd
from benchguide.session.events import Fact, MatRead, PhotoTaken, PoorPhotoKept
from benchguide.session.gates import gates_for_step
from benchguide.session.mat import mat_against_ledger
from benchguide.session.reference import as_found_for
from benchguide.session.state import Purpose, State
from benchguide.window.actions import BENCH
from benchguide.window.hands_watch import HandsWatch
from benchguide.window.live_compare import LiveCompare, LiveTold, Outlined
from benchguide.window.mat_link import MatLink, MatSeen
from benchguide.window.mat_words import expected_of, span_of, summary
from benchguide.window.photo_compare import PhotoComparer
from benchguide.window.widgets.difference_list import Row
from benchguide.window.widgets.question import Field
from benchguide.window.widgets.seen_view import Banner, Spot

if TYPE_CHECKING:
    from benchguide.camera.quality import PhotoVerdict
    from benchguide.window.app import Bench
    from benchguide.window.bench import BenchRoom
    from benchguide.window.driver import BenchDriver, Shot
    from benchguide.window.mat_page import MatPage

#: a good verdict goes by itself, a poor one stays until the next photo or step
GOOD_MS = 4000
#: kinds of place that are marked one after the other by the same key
MARKING = ("screw", "connector", "")
SIMULATED = "simulated"


class Eyes(QObject):
    """One for the life of the window; `set_room` and `set_driver` follow what is on the bench."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._bench = bench
        self._room: BenchRoom | None = None
        self._driver: BenchDriver | None = None
        self._step = ""
        self._poor: Banner | None = None
        self._watch: Watch | None = None
        self._marking = 0
        self._laid: tuple[str, LiveTold] | None = None
        self.page: MatPage | None = None
        self.hands = HandsWatch(self)
        self.live = LiveCompare(self)
        self.comparer = PhotoComparer(bench.photos.path, self)
        self.live.resting = self._photo_goes_on
        self.mat = MatLink(self)
        self._good = QTimer(self, singleShot=True, interval=GOOD_MS)
        self._good.timeout.connect(self._show_banner)
        self._connect()
        self.use_settings()

    def _connect(self) -> None:
        bench = self._bench
        bench.camera.watchers = (self.hands.on_frame, self.live.on_frame, self.mat.on_frame)
        bench.camera.picture.connect(self._show_mat_picture)
        self.hands.told.connect(self._on_watch)
        self.hands.take.connect(self._take_by_itself)
        self.live.told.connect(self._on_live)
        self.comparer.compared.connect(self._on_compared)
        self.comparer.busy.connect(lambda _on: self._show_differences())
        self.mat.seen.connect(self._on_mat)
        self.mat.kept.connect(self._on_mat_kept)
        self.mat.measured.connect(self._on_measured)
        actions = bench.shell.actions_by_name
        for spec in BENCH:
            # any command stops the photo that is coming
            actions[spec.name].triggered.connect(self.hands.stop)
        for name, slot in {
            "keep-poor": self._keep_poor,
            "hands-clear": self._toggle_hands,
            "mark-place": self._next_marking,
            "difference-next": self._next_difference,
            "difference-intended": lambda: self._answer("intended"),
            "difference-mended": lambda: self._answer("mended"),
            "difference-none": lambda: self._answer("not a difference"),
            "picture-mode": self._follow,
            "flip-pair": self._follow,
            "mat": self._toggle_mat,
            "mat-keep": self._keep_mat,
            "measure-screw": self._measure,
        }.items():
            actions[name].triggered.connect(slot)

    # -- what is on the bench

    def set_room(self, room: BenchRoom) -> None:
        """The room was made anew (theme, text size)."""
        self._room = room
        room.camera.tapped.connect(self._tapped)
        room.differences.answered.connect(self._answered)
        self._marking = len(MARKING) - 1
        if self.page is not None:
            self._mat_gone(self.page)
            self._toggle_mat()
        if self._driver is not None:
            self._show_all()

    def set_driver(self, driver: BenchDriver | None) -> None:
        """Another session, or none."""
        if self._driver is not None:
            self._driver.changed.disconnect(self._on_facts)
            self._driver.photo_judged.disconnect(self._on_verdict)
            self._driver.photo_failed.disconnect(self._on_failed)
        self._driver = driver
        self._step, self._poor = "", None
        if driver is None:
            self.hands.want(False)
            self.live.follow(None)
            return
        driver.changed.connect(self._on_facts)
        driver.photo_judged.connect(self._on_verdict)
        driver.photo_failed.connect(self._on_failed)
        self._show_all()

    def use_settings(self) -> None:
        """The simulated bench has no hands that could leave its picture."""
        settings = self._bench.settings
        self.hands.set_on(settings.hands_clear and settings.camera != SIMULATED)
        self._show_all()

    @property
    def _state(self) -> State | None:
        state = self._driver.state if self._driver else None
        return state if state is not None and state.open else None

    def _on_facts(self, facts: tuple[Fact, ...]) -> None:
        for fact in facts:
            if isinstance(fact.what, PhotoTaken):
                self._photo_taken(fact.what)
            elif isinstance(fact.what, PoorPhotoKept) and self._state is not None:
                kept = [p for p in self._state.photos if p.sha256 == fact.what.sha256]
                self._compare(kept[-1], self._state)
            elif isinstance(fact.what, MatRead):
                self._bench.shell.message.say(f"The reading of the mat is kept. {self._mat_words(fact.what)}")
        self._show_all()

    def _show_all(self) -> None:
        state = self._state
        if state is None or self._room is None:
            self.hands.want(False)
            self.live.follow(None)
            return
        if state.step.id != self._step:
            self._step, self._poor = state.step.id, None
        kinds = {gate.kind for gate in gates_for_step(state, state.step)}
        if not any(kind.startswith("poor-") for kind in kinds):
            self._poor = None
        # as found: the hands of the step before are leaving; as left: they have yet to refit the part
        self.hands.want(bool(kinds & {"as-found", "as-left"}), worked="as-found" in kinds)
        self._follow()
        self._show_spots(state)
        self._show_differences()
        self._show_banner()
        self.mat.expect(expected_of(state) if self.mat.running else {})

    # -- the verdict of a photo

    def _on_verdict(self, shot: Shot, verdict: PhotoVerdict) -> None:
        if self._room is None:
            return
        if verdict.good:
            self._poor = None
            self._room.camera.set_banner(Banner(f"✓  {verdict.sentence}"))
            self._good.start()
            return
        self._good.stop()
        state = self._state
        required = state is not None and any(
            gate.kind == f"poor-{shot.purpose}" for gate in gates_for_step(state, state.step)
        )
        self._poor = Banner(f"✕  {verdict.sentence}", strong=required)
        self._show_banner()

    def _show_banner(self) -> None:
        """The countdown before a verdict, a verdict before nothing."""
        if self._room is None or self._good.isActive():
            return
        marking = MARKING[self._marking]
        marked = Banner(
            f"Tap each {marking} on the as-found photo. J: {MARKING[(self._marking + 1) % 3] or 'done'}"
        )
        coming = self._coming()
        if coming is None and self._good.isActive():
            return
        self._room.camera.set_banner(coming or (marked if marking else None) or self._poor)

    def _coming(self) -> Banner | None:
        watch = self._watch
        if watch is None or not self.hands.wanted:
            return None
        if watch.seen is Seen.SETTLING:
            left = watch.left_s / 0.6
            return Banner(f"Photo in {watch.left_s:.1f} s: keep hands away. Any key stops it.", True, left)
        if watch.offer:
            return Banner("Something is in the picture. Take the photo now?  F")
        if watch.seen is Seen.HAND:
            return Banner("The photo comes when your hands have left the picture.")
        return None

    def _keep_poor(self) -> None:
        if self._driver is not None:
            self._driver.do(cmd.KeepPoorPhoto())

    # -- hands

    def _toggle_hands(self) -> None:
        from dataclasses import replace

        bench = self._bench
        if bench.settings.camera == SIMULATED:
            bench.shell.message.warn("The simulated bench has no hands; choose a camera with F7.")
            return
        on = not bench.settings.hands_clear
        bench.remember(replace(bench.settings, hands_clear=on))
        self.use_settings()
        told = "are taken when the hands have left the picture" if on else "are taken by command only"
        bench.shell.message.say(f"Due photos {told}.")

    def _on_watch(self, watch: Watch | None) -> None:
        self._watch = watch
        self._show_banner()

    def _take_by_itself(self) -> None:
        state = self._state
        if state is None or self._driver is None or self._driver.shooting or state.to_confirm:
            return
        if not self.hands.wanted or self._room is None or not self._room.isVisible():
            return
        self._driver.take_photo(fits=self.hands.fits)

    def _on_failed(self, _sentence: str) -> None:
        self.hands.again()

    # -- differences

    def _photo_goes_on(self) -> bool:
        """Called in the camera's thread: a photo is being taken, judged or compared."""
        driver = self._driver
        return self.comparer.going or (driver is not None and driver.shooting)

    def _follow(self) -> None:
        """Compare the moving picture while an as-found photo is shown with it."""
        state, room = self._state, self._room
        if state is None or room is None:
            return
        sha = room.reference if room.mode != "live" else ""
        places = state.places.get(sha, ())
        if not sha:
            room.camera.set_seen((), None)
        self.live.follow(self._bench.photos.path(sha) if sha else None, places)

    def _on_live(self, told: LiveTold) -> None:
        room = self._room
        if room is None or not room.reference or room.mode == "live":
            return
        self._laid = (room.reference, told)
        if not told.aligned:
            room.camera.set_seen((), None, "cannot tell what differs")
            return
        listed = self._listed(told)
        outlines = told.outlines if listed is None else listed
        note = f"{len(outlines)} may differ" if outlines else ""
        room.camera.set_seen(outlines, told.laid, note if listed is None else f"{len(outlines)} listed")

    def _listed(self, told: LiveTold) -> tuple[Outlined, ...] | None:
        """What the list beside the picture still asks, by its numbers, where it lies on the moving picture; None when
        nothing is asked: then the moving picture tells what it sees itself."""
        state = self._state
        compared = state.compared.get(state.step.id) if state is not None else None
        if state is None or compared is None or not told.plane:
            return None
        photo = next((p for p in state.photos if p.sha256 == compared.as_found), None)
        if photo is None or self._room is None or self._room.reference != compared.as_found:
            return None
        shown = []
        for number, each in enumerate(compared.candidates, start=1):
            box = each["found"]
            if (state.step.id, number) in state.differences or not isinstance(box, list):
                continue
            x, y, w, h = (float(value) for value in box)
            found = QRectF(x / photo.width, y / photo.height, w / photo.width, h / photo.height)
            shown.append(Outlined(number, told.carried(found), found, str(each["hint"])))
        return tuple(shown) or None

    def _photo_taken(self, photo: PhotoTaken) -> None:
        state = self._driver.state if self._driver else None
        if state is None:
            return
        if photo.purpose == Purpose.MAT:
            self.mat.read_photo(photo.sha256, self._bench.photos.path(photo.sha256), expected_of(state))
            return
        if not photo.faults:
            self._compare(photo, state)

    def _compare(self, photo: PhotoTaken, state: State) -> None:
        """A poor photo is compared once it is kept: a blur differs everywhere."""
        step = state.step_of(photo.step)
        found = as_found_for(state, step) if step and photo.purpose == Purpose.AS_LEFT else None
        if found is not None:
            self.comparer.compare(found, photo, state.places.get(found.sha256, ()))

    def _on_compared(self, command: cmd.KeepComparison) -> None:
        if self._driver is not None:
            self._driver.enter(command)

    def _show_differences(self) -> None:
        state, room = self._state, self._room
        if state is None or room is None:
            return
        step = state.step.id
        compared = state.compared.get(step)
        going = self.comparer.going and bool(state.photos_of(step, Purpose.AS_LEFT))
        room.show_differences(going or compared is not None)
        if going:
            room.differences.show_busy()
        elif compared is not None:
            rows = [Row(str(c["hint"]), float(str(c["score"]))) for c in compared.candidates]
            answers = {n: a for (at, n), a in state.differences.items() if at == step}
            room.differences.show_told(compared.as_left, rows, answers, compared.why)
            if self._laid is not None and self._laid[0] == room.reference:
                # what the list asks now is outlined now, not with the next picture that is compared
                self._on_live(self._laid[1])

    def _next_difference(self) -> None:
        if self._room is not None:
            self._room.differences.go(self._room.differences.current + 1)

    def _answer(self, answer: str) -> None:
        room, state = self._room, self._state
        if room is None or state is None:
            return
        if state.step.lines:
            room.answers.answer_current(("intended", "mended", "not a difference").index(answer) + 1)
        elif room.differences.isHidden() or not room.differences.answer_current(answer):
            self._bench.shell.message.say("No difference is shown here.")

    def _answered(self, number: int, answer: str) -> None:
        if self._driver is not None:
            self._driver.do(cmd.AnswerDifference("", number, answer))

    # -- marked places

    def _next_marking(self) -> None:
        room = self._room
        if room is None or not room.reference:
            self._bench.shell.message.say("There is no as-found photo beside this step.")
            return
        self._marking = (self._marking + 1) % len(MARKING)
        room.camera.set_marking(MARKING[self._marking])
        if MARKING[self._marking] and room.mode != "beside":
            room.show_beside()
        self._show_banner()

    def _tapped(self, x: float, y: float, size: float) -> None:
        """A tap on a mark takes it away, a tap elsewhere sets one."""
        state, room = self._state, self._room
        photo = (
            next((p for p in state.photos if room and p.sha256 == room.reference), None) if state else None
        )
        if state is None or photo is None or self._driver is None:
            return
        left, top, wide = x * photo.width, y * photo.height, size * photo.width
        for place in state.places.get(photo.sha256, ()):
            if place and (place.x - left) ** 2 + (place.y - top) ** 2 < (place.size / 2) ** 2:
                self._driver.do(cmd.ClearPlace(photo.sha256, place.number))
                return
        kind = MARKING[self._marking]
        self._driver.do(cmd.MarkPlace(photo.sha256, kind, round(left, 1), round(top, 1), round(wide, 1)))

    def _show_spots(self, state: State) -> None:
        room = self._room
        photo = next((p for p in state.photos if room and p.sha256 == room.reference), None)
        if room is None:
            return
        places = state.places.get(photo.sha256, ()) if photo else ()
        room.camera.set_spots(
            [
                Spot(p.number, p.kind, p.x / photo.width, p.y / photo.height, p.size / photo.width)
                for p in places
                if p is not None and photo is not None
            ]
        )

    # -- the mat

    def _toggle_mat(self) -> None:
        if self.page is not None:
            self._leave_mat()
            return
        state = self._state
        if state is None:
            self._bench.shell.message.warn(
                "No job is on the bench: there is no ledger to read the mat beside."
            )
            return
        from benchguide.window.mat_page import MatPage

        self.page = page = MatPage(self._bench.theme, self._bench.shell.actions_by_name)
        page.left.connect(self._leave_mat)
        page.destroyed.connect(lambda _gone=None, page=page: self._mat_gone(page))
        self.mat.expect(expected_of(state))
        self.mat.start()
        self._bench.shell.show_page(page)

    def _leave_mat(self) -> None:
        self._mat_gone(self.page)
        self._bench.shell.show_room("bench")

    def _mat_gone(self, page: MatPage | None) -> None:
        if page is self.page:
            self.page = None
            self.mat.stop()
            if self._room is not None:
                ratio = self._room.devicePixelRatioF()
                self._bench.camera.set_room(self._room.camera.size() * ratio)

    def _show_mat_picture(self) -> None:
        if self.page is not None and self._room is not None:
            image = self._bench.camera.last_picture
            self._bench.camera.set_room(self.page.view.size() * self.page.devicePixelRatioF())
            if image is not None:
                self.page.view.set_status("")
                self.page.view.set_frame(image)

    def _on_mat(self, seen: MatSeen) -> None:
        state = self._state
        if self.page is None or state is None:
            return
        rows = mat_against_ledger(state, seen.cells) if seen.cells else ()
        self.page.show_reading(seen, rows, summary(rows, seen.cells) if rows else "")

    def _keep_mat(self) -> None:
        if self._driver is not None:
            self._driver.take_photo(Purpose.MAT)

    def _on_mat_kept(self, command: cmd.KeepMatReading | None, why: str) -> None:
        if command is None:
            self._bench.shell.message.warn(why)
        elif self._driver is not None:
            self._driver.enter(command)

    def _mat_words(self, read: MatRead) -> str:
        odd = [str(cell["told"]) for cell in read.cells if cell["verdict"] == "disagree"]
        return " ".join(odd) if odd else "No cell disagrees with the ledger."

    def _measure(self) -> None:
        state = self._state
        if state is None:
            return
        device = state.job.device
        own = [p for p in state.step.parts if device.by_id[p].kind is PartKind.SCREWS]
        out = [
            p for p in dict.fromkeys(i.part for i in reversed(state.ledger.out)) if span_of(device.by_id[p])
        ]
        parts = own or out
        if not parts:
            self._bench.shell.message.say("No screws are out: there is no place to measure one for.")
        elif len(parts) == 1:
            self._measure_for(parts[0])
        else:
            names = {device.by_id[p].name: p for p in parts}
            field = Field("part", "Place", kind="choice", choices=tuple(names), default=next(iter(names)))
            self._bench.shell.question.ask(
                "For which place is the screw meant?",
                [field],
                "Measure",
                lambda a: self._measure_for(names[a["part"]]),
            )

    def _measure_for(self, part: str) -> None:
        state = self._state
        span = span_of(state.job.device.by_id[part]) if state else None
        if span is not None:
            if not self.mat.running:
                self._toggle_mat()
            self.mat.measure(part, span)

    def _on_measured(self, command: cmd.KeepMeasurement | None, why: str) -> None:
        message = self._bench.shell.message
        if command is None:
            message.warn(why)
        elif self._driver is not None and self._driver.do(command) is not None:
            said = message.warn if command.verdict == "longer: stop" else message.say
            said(f"{command.verdict.capitalize()}. {command.told}")

    def close(self) -> None:
        """Let go of the camera and end all threads."""
        self._bench.camera.watchers = ()
        self.page = self._room = None
        self.set_driver(None)
        self._good.stop()
        self.live.close()
        self.comparer.close()
        self.mat.close()
