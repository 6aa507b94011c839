"""The rail along the foot: one segment a step, as long as its expected time, filled by the time spent.

Upper lane: time (violet; hatched where it is more than usual). Lower lane: state (solid = done, crossed =
skipped, empty = open). It shows where things stand and says which step a person chose; it moves nothing.
"""

from dataclasses import dataclass
from itertools import pairwise

from PySide6.QtCore import QEvent, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFontMetricsF,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPen,
    QPixmap,
    QPolygonF,
    QRegion,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Stage
from benchguide.session.state import Mark, State
from benchguide.session.times import Times, step_times
from benchguide.window.theme import Theme
from benchguide.window.visit_sums import VisitSums
from benchguide.window.widgets.figures import clock, span
from benchguide.window.widgets.instruction import STAGE_NAMES
from benchguide.window.widgets.themed import RETURN_KEYS, Painted, claimed

NOTHING = Times()
#: What of a segment can change: mark, begun, filled to which pixel, over the usual time.
Look = tuple[Mark, bool, int, bool]

#: A wait of hours must not squeeze the steps out of sight: it is drawn no longer than this many step times.
WAIT_CAP = 3.0


def drawn_length(step: Step) -> float:
    """Length of a segment in seconds: middle of the expected time plus its wait, the wait capped."""
    usual = max(1.0, sum(step.time_s) / 2)
    return usual + (min(float(step.wait.for_s), WAIT_CAP * max(60.0, usual)) if step.wait else 0.0)


@dataclass(frozen=True, slots=True)
class Segment:
    """What one segment shows."""

    step: Step
    mark: Mark
    spent_s: float
    usual_s: float
    """Middle of the expected time with the whole wait: what counts as full."""
    most_s: float
    """Longest usual time with the whole wait: beyond it is over-time."""
    added: bool = False
    """True when the procedure has no such step: it belongs to the way back as it was laid."""

    @property
    def filled(self) -> float:
        """Share of the segment that is filled, 0 to 1."""
        return min(1.0, self.spent_s / self.usual_s) if self.usual_s else 0.0

    @property
    def over(self) -> bool:
        """True when more time was spent than the longest usual time."""
        return self.spent_s > self.most_s


def segments_of(state: State) -> tuple[Segment, ...]:
    """The segments in the order of the route. Holds and absence do not count as time spent at a step."""
    times, nothing = step_times(state), Times()
    return tuple(_segment(state, step, times.get(step.id, nothing)) for step in state.steps)


def added_on_way_back(state: State, step: Step) -> bool:
    """True for a step that the procedure does not have: it was laid because something came off beside the plan."""
    return step.id not in state.job.procedure.by_id


def _segment(state: State, step: Step, spent: Times) -> Segment:
    wait = step.wait.for_s if step.wait else 0
    usual = max(1.0, sum(step.time_s) / 2 + wait)
    return Segment(
        step,
        state.mark_of(step.id).mark,
        spent.touch_s + spent.waiting_s,
        usual,
        max(usual, step.time_s[1] + wait),
        added_on_way_back(state, step),
    )


class Rail(Painted):
    """Arrow keys look at a step, Return or a click chooses it."""

    step_chosen = Signal(str)
    """Id of the step a person clicked or confirmed with Return."""
    step_looked_at = Signal(str)
    """Id of the step the arrow keys moved to; nothing is decided by it."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Rail of steps", parent)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.here = self.cursor_at = 0
        self._state: State | None = None
        self._steps: tuple[Step, ...] = ()
        self._index: dict[str, int] = {}
        self._sums = VisitSums()
        self._spent: dict[str, Times] = {}
        self._segments: tuple[Segment, ...] | None = ()
        self._boxes: list[QRectF] = []
        self._looks: list[Look] = []
        self._stale: set[int] = set()
        self._layer = self._names = self._whole = QPixmap()
        self._named = -1
        self._hatches: tuple[QBrush, QBrush] | None = None

    def set_state(self, state: State) -> None:
        """Show this state; repaints only the segments that look different now, and the pointer."""
        steps, spent = state.steps, self._sums.of_steps(state)
        before, self._state = self._state, state
        if steps is not self._steps or before is None:
            self._steps, self._spent, self._segments = steps, spent, None
            self._index = {step.id: i for i, step in enumerate(steps)}
            self.here = self.cursor_at = state.here
            self._draw_anew()
            self._tell()
            self.update()
            return
        changed = self._renew_looks(before, self._spent, spent)
        self._spent, self._segments = spent, None
        if state.here == self.here and not changed:
            return
        region, stage = QRegion(), self._stage_here()
        for i in changed:
            region += self._reach(i)
        if state.here != self.here:
            region += self._reach(self.here)
            self.here = self.cursor_at = state.here
            region += self._reach(self.here)
        if stage != self._stage_here() or self.hasFocus():
            region += QRegion(self.rect())
        self._tell()
        self.update(region)

    def _renew_looks(self, before: State, had: dict[str, Times], spent: dict[str, Times]) -> list[int]:
        """The segments that look different from before; the others are not even looked at."""
        assert self._state is not None
        marks, old = self._state.marks, before.marks
        if len(self._looks) != len(self._steps):
            return []
        names = {name for name, mark in marks.items() if old.get(name) is not mark}
        names.update(name for name, times in spent.items() if had.get(name) is not times)
        names.update(old.keys() - marks.keys(), had.keys() - spent.keys())
        changed = []
        for i in (self._index[name] for name in names if name in self._index):
            look = self._look(i, spent)
            if look != self._looks[i]:
                self._looks[i] = look
                changed.append(i)
        self._stale.update(changed)
        return changed

    def _look(self, i: int, spent: dict[str, Times]) -> Look:
        assert self._state is not None
        segment = _segment(self._state, self._steps[i], spent.get(self._steps[i].id, NOTHING))
        filled = round(segment.filled * self.boxes[i].width() * self.devicePixelRatioF())
        return segment.mark, segment.spent_s > 0, filled, segment.over

    @property
    def segments(self) -> tuple[Segment, ...]:
        """What the segments show, in the order of the route."""
        if self._segments is None:
            self._segments = segments_of(self._state) if self._state is not None else ()
        return self._segments

    def _draw_anew(self) -> None:
        """Nothing that was drawn holds any more."""
        self._boxes, self._looks = [], []
        self._layer = self._names = self._whole = QPixmap()

    def _reach(self, i: int) -> QRect:
        """Where a segment and a pointer over it are drawn."""
        if i >= len(self.boxes):
            return self.rect()
        side = self.theme.sizes.body_px * 0.45 + self.theme.sizes.stroke * 3
        box = self.boxes[i]
        return QRectF(
            box.left() - side, 0, box.width() + 2 * side, box.bottom() + self.theme.sizes.stroke * 3
        ).toAlignedRect()

    def _tell(self) -> None:
        marks = self._state.marks.values() if self._state is not None else ()
        found = [mark.mark for mark in marks]
        done, skipped = found.count(Mark.DONE), found.count(Mark.SKIPPED)
        words = f"Step {self.here + 1} of {len(self._steps)}; {done} done, {skipped} skipped"
        self.setAccessibleDescription(words)

    # -- where things are

    def _metrics(self) -> tuple[float, float, float]:
        """Height of the pointer, of the segments, and of the line of names."""
        s = self.theme.sizes
        return s.body_px * 0.7, s.body_px * 1.9, QFontMetricsF(self.theme.font()).height() * 1.1

    def _lay_out(self) -> None:
        lengths = [drawn_length(step) for step in self._steps]
        pointer, height, _names = self._metrics()
        pad = self.theme.sizes.body_px * 0.4
        room = max(1.0, self.width() - 2 * pad)
        least = min(self.theme.sizes.body_px * 0.45, room / max(1, len(lengths)))
        spare = max(0.0, room - least * len(lengths))
        whole = sum(lengths) or 1.0
        x = pad
        self._boxes = []
        for length in lengths:
            width = least + spare * length / whole
            self._boxes.append(QRectF(x, pointer, width, height))
            x += width

    @property
    def boxes(self) -> list[QRectF]:
        """Where each segment lies, in widget pixels."""
        if len(self._boxes) != len(self._steps):
            self._lay_out()
        return self._boxes

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Lay the segments out anew."""
        self._draw_anew()
        super().resizeEvent(event)

    def restyle(self) -> None:
        """Sizes or colours changed: lay out and draw anew."""
        self._hatches = None
        self._draw_anew()

    def sizeHint(self) -> QSize:
        """As high as pointer, segments and names."""
        return QSize(round(self.theme.sizes.body_px * 40), round(sum(self._metrics())) + 2)

    def minimumSizeHint(self) -> QSize:
        """The same height, narrow."""
        return QSize(round(self.theme.sizes.body_px * 16), self.sizeHint().height())

    def step_at(self, x: float) -> int:
        """Index of the segment at this horizontal place, -1 outside."""
        return next((i for i, box in enumerate(self.boxes) if box.left() <= x < box.right()), -1)

    # -- drawing

    def paintEvent(self, _event: object) -> None:
        """Lay down segments and stage names, and draw the pointer."""
        self._renew_whole()
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._whole)
        self._paint_pointer(painter)

    def _renew_whole(self) -> None:
        """Draw what looks different now; a step changes one or two of a hundred segments."""
        ratio, size = self.devicePixelRatioF(), self.size() * self.devicePixelRatioF()
        if self._whole.size() != size or self._whole.devicePixelRatioF() != ratio:
            self._boxes, self._looks = [], []
            self._layer, self._names, self._whole = (self._blank(size, ratio) for _ in range(3))
            self._named = -1
        fresh = len(self._looks) != len(self._steps)
        if fresh:
            self._looks = [self._look(i, self._spent) for i in range(len(self._steps))]
            self._stale = set(range(len(self._steps)))
            self._layer.fill(Qt.GlobalColor.transparent)
        named = fresh or self._stage_here() != self._named
        if not self._stale and not named:
            return
        region = QRegion(self.rect()) if named else QRegion()
        for i in self._stale:
            region += self._reach(i)
        self._renew_layer()
        if named:
            self._renew_names()
        painter = QPainter(self._whole)
        painter.setClipRegion(region)
        painter.setCompositionMode(QPainter.CompositionMode.CompositionMode_Source)
        painter.fillRect(self.rect(), self.ground or Qt.GlobalColor.transparent)
        painter.setCompositionMode(QPainter.CompositionMode.CompositionMode_SourceOver)
        painter.drawPixmap(0, 0, self._layer)
        painter.drawPixmap(0, 0, self._names)
        painter.end()

    def _blank(self, size: QSize, ratio: float) -> QPixmap:
        made = QPixmap(size)
        made.setDevicePixelRatio(ratio)
        made.fill(Qt.GlobalColor.transparent)
        return made

    def _renew_names(self) -> None:
        """Draw the names of the stages when another stage is the present one."""
        self._named = self._stage_here()
        self._names.fill(Qt.GlobalColor.transparent)
        painter = QPainter(self._names)
        painter.setFont(self.theme.font())
        self._paint_stages(painter)
        painter.end()

    def _stage_here(self) -> int:
        """Number of the present stage, counted along the route."""
        stages = [step.stage for step in self._steps[: self.here + 1]]
        return sum(1 for one, other in pairwise(stages) if one is not other)

    def _renew_layer(self) -> None:
        if self._hatches is None:
            period = self.theme.sizes.body_px * 0.4
            self._hatches = (
                QBrush(hatch(self.theme.colour("accent_ink"), period, False)),
                QBrush(hatch(self.theme.colour("ink"), period, True)),
            )
        over, crossed = self._hatches
        gap = max(1.0, self.theme.sizes.stroke / 2)
        assert self._state is not None or not self._stale
        painter = QPainter(self._layer)
        for i in self._stale:
            step = self._steps[i]
            segment = _segment(self._state, step, self._spent.get(step.id, NOTHING))  # type: ignore[arg-type]
            self._paint_segment(painter, segment, self._boxes[i].adjusted(0, 0, -gap, 0), over, crossed)
        painter.end()
        self._stale = set()

    def _paint_segment(
        self, painter: QPainter, segment: Segment, box: QRectF, over: QBrush, crossed: QBrush
    ) -> None:
        lane = box.height() * 0.66
        upper = QRectF(box.left(), box.top(), box.width(), lane)
        lower = QRectF(box.left(), box.top() + lane, box.width(), box.height() - lane)
        painter.fillRect(box, self.theme.colour("raised"))
        if segment.spent_s > 0:
            width = max(1.0, upper.width() * segment.filled)
            filled = QRectF(upper.left(), upper.top(), width, upper.height())
            painter.fillRect(filled, self.theme.colour("accent"))
            if segment.over:
                painter.fillRect(filled, over)
        if segment.mark is Mark.DONE:
            painter.fillRect(lower, self.theme.colour("ink"))
        elif segment.mark is Mark.SKIPPED:
            painter.fillRect(lower, crossed)
        painter.setPen(QPen(self.theme.colour("edge"), max(1, self.theme.sizes.stroke // 2)))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(box)
        if segment.added:
            arm, middle = min(upper.width(), upper.height()) * 0.32, upper.center()
            painter.setPen(QPen(self.theme.colour("ink"), self.theme.sizes.stroke))
            painter.drawLine(middle - QPointF(arm, 0), middle + QPointF(arm, 0))
            painter.drawLine(middle - QPointF(0, arm), middle + QPointF(0, arm))

    def _stages(self) -> list[tuple[Stage, QRectF]]:
        found: list[tuple[Stage, QRectF]] = []
        for step, box in zip(self._steps, self.boxes, strict=True):
            if found and found[-1][0] is step.stage:
                found[-1] = (step.stage, found[-1][1].united(box))
            else:
                found.append((step.stage, box))
        return found

    def _paint_stages(self, painter: QPainter) -> None:
        pointer, height, names = self._metrics()
        metrics = QFontMetricsF(painter.font())
        stages = self._stages()
        painter.setPen(QPen(self.theme.colour("ink"), self.theme.sizes.stroke))
        for _stage, box in stages[1:]:
            x = box.left() - 1
            painter.drawLine(QPointF(x, pointer * 0.4), QPointF(x, pointer + height + names))
        here = next((i for i, (_, box) in enumerate(stages) if self._is_here(box)), -1)
        taken = QRectF()
        # the present name always shows; one that does not fit is in the tool tip: half a word is no help
        for number in sorted(range(len(stages)), key=lambda i: i != here):
            stage, box = stages[number]
            text = self._stage_words(stage)
            room = QRectF(box.left() + 4, pointer + height, metrics.horizontalAdvance(text) + 2, names)
            if number == here:
                room.moveLeft(min(room.left(), self.width() - room.width()))
                taken = room
            elif room.right() > box.right() or room.intersects(taken):
                continue
            painter.setPen(self.theme.colour("ink" if number == here else "soft_ink"))
            painter.drawText(room, int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter), text)

    def _stage_words(self, stage: Stage) -> str:
        """The name of a stage; the way back says when it follows what came off instead of the plan."""
        laid = stage is Stage.WAY_BACK and self._state is not None and self._state.laid is not None
        return f"{STAGE_NAMES[stage]}, as it came off" if laid else STAGE_NAMES[stage]

    def _is_here(self, box: QRectF) -> bool:
        return self.here < len(self._boxes) and box.contains(self._boxes[self.here].center())

    def _paint_pointer(self, painter: QPainter) -> None:
        if self.here >= len(self._boxes):
            return
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        stroke = self.theme.sizes.stroke
        box = self._boxes[self.here]
        side = self.theme.sizes.body_px * 0.45
        middle = box.center().x()
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.theme.colour("ink"))
        painter.drawPolygon(
            QPolygonF([QPointF(middle - side, 0), QPointF(middle + side, 0), QPointF(middle, box.top() - 1)])
        )
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(self.theme.colour("ink"), stroke * 2))
        painter.drawRect(box.adjusted(0, 0, -1, 0))
        if self.hasFocus() and self.cursor_at < len(self._boxes):
            looked = self._boxes[self.cursor_at].adjusted(-stroke, -stroke, stroke, stroke)
            painter.setPen(QPen(self.theme.colour("accent"), stroke * 2, Qt.PenStyle.DotLine))
            painter.drawRect(looked)

    # -- hands

    def words(self, index: int) -> str:
        """One segment in words, for tool tip and screen reader."""
        segment = self.segments[index]
        spent = f", spent {clock(segment.spent_s)}" if segment.spent_s else ""
        wait = f" and {clock(segment.step.wait.for_s)} wait" if segment.step.wait else ""
        late = ", longer than usual" if segment.over else ""
        late += ", added to the way back" if segment.added else ""
        stage = STAGE_NAMES[segment.step.stage]
        return (
            f"Step {index + 1}, {stage}, {segment.mark.value}\n{segment.step.text}\n"
            f"usually {span(*segment.step.time_s)}{wait}{spent}{late}"
        )

    def event(self, event: QEvent) -> bool:
        """Tool tips by segment; Return and arrows stay here while the rail has the focus."""
        if event.type() is QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            index = self.step_at(event.pos().x())
            if index >= 0:
                QToolTip.showText(event.globalPos(), self.words(index), self)
            return True
        if claimed(
            event,
            (
                *RETURN_KEYS,
                Qt.Key.Key_Left,
                Qt.Key.Key_Right,
                Qt.Key.Key_Home,
                Qt.Key.Key_End,
            ),
        ):
            return True
        return super().event(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """A click chooses a step."""
        index = self.step_at(event.position().x())
        if index >= 0 and event.button() is Qt.MouseButton.LeftButton:
            self.step_chosen.emit(self._steps[index].id)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left, Right, Home, End look; Return chooses."""
        last = len(self._steps) - 1
        to = {
            Qt.Key.Key_Left: self.cursor_at - 1,
            Qt.Key.Key_Right: self.cursor_at + 1,
            Qt.Key.Key_Home: 0,
            Qt.Key.Key_End: last,
        }.get(Qt.Key(event.key()))
        if to is not None and last >= 0:
            self.cursor_at = min(max(0, to), last)
            self.setAccessibleDescription(self.words(self.cursor_at))
            self.step_looked_at.emit(self._steps[self.cursor_at].id)
            self._tip_at_cursor()
            self.update()
        elif event.key() in RETURN_KEYS and last >= 0:
            self.step_chosen.emit(self._steps[self.cursor_at].id)
        else:
            super().keyPressEvent(event)

    def _tip_at_cursor(self) -> None:
        if self.isVisible() and self.cursor_at < len(self._boxes):
            at = self._boxes[self.cursor_at].topLeft().toPoint()
            QToolTip.showText(self.mapToGlobal(at), self.words(self.cursor_at), self)


def hatch(colour: QColor, period: float, crossed: bool) -> QPixmap:
    """A tile of slanting lines, crossed or not, that repeats every `period` pixels."""
    side = max(4, round(period))
    tile = QPixmap(side, side)
    tile.fill(Qt.GlobalColor.transparent)
    painter = QPainter(tile)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(colour, max(1.0, side / 5)))
    for shift in (-side, 0, side):
        painter.drawLine(shift, side, shift + side, 0)
        if crossed:
            painter.drawLine(shift, 0, shift + side, side)
    painter.end()
    return tile
