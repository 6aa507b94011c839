"""The part map as a way in is planned on it: order numbers on what comes off, a sign on what must stay.

Drawn to scale; a click chooses the part under it, a further click at the same place the part below that. Marks tell by
shape and number, never by colour alone. It plans nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import reduce

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QHelpEvent, QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.words import Face, PartKind
from benchguide.session.ledger import Ledger
from benchguide.window.theme import Theme
from benchguide.window.widgets import shapes
from benchguide.window.widgets.device_drawing import DeviceDrawing, Pieces, middles
from benchguide.window.widgets.marks import PartMark
from benchguide.window.widgets.part_places import boxes_of, parts_at
from benchguide.window.widgets.themed import Painted

#: steps tried when a mark would cover another one
TRIES = 40


@dataclass(frozen=True, slots=True)
class Badge:
    """One number or sign on the map: where it stands, and the place it belongs to."""

    part: str
    text: str
    middle: QPointF
    place: QPointF
    radius: float


class PlanMap(Painted):
    """The drawing. `chosen(part)` on a click, `stay_toggled(part)` on a click with Ctrl or the other button."""

    chosen = Signal(str)
    stay_toggled = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Part map", parent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMouseTracking(True)
        self.device: DeviceMap | None = None
        self.face = Face.BACK
        self._numbers: dict[str, int] = {}
        self._keep: frozenset[str] = frozenset()
        self._target = self._current = ""
        self._ledger = Ledger()
        self.key = "number: order · double rim: target"
        """What the marks mean, in words, for the lower edge."""
        self._pieces = Pieces()
        self._clicked: tuple[QPointF, str] = (QPointF(-1, -1), "")

    def set_plan(
        self,
        device: DeviceMap,
        numbers: Mapping[str, int],
        keep: Collection[str],
        target: str,
        current: str = "",
        ledger: Ledger | None = None,
    ) -> None:
        """Show this device: `numbers` is the place of each removal in the order, `current` the part in hand,
        `ledger` what is out of it; nothing is unless it is said."""
        self._ledger = ledger or Ledger()
        if device is not self.device:
            self._pieces = Pieces()
            self.device = device
        self._numbers, self._keep = dict(numbers), frozenset(keep)
        self._target, self._current = target, current
        self.setAccessibleDescription(self._words())
        self.update()

    def show_face(self, face: Face) -> None:
        """Turn the drawing."""
        self.face = face
        self.setAccessibleDescription(self._words())
        self.update()

    def restyle(self) -> None:
        """Other colours or sizes: every part is drawn anew."""
        self._pieces = Pieces()

    def _words(self) -> str:
        if self.device is None:
            return ""
        order = sorted(self._numbers, key=lambda part: self._numbers[part])
        names = [f"{self._numbers[p]} {self.device.by_id[p].name}" for p in order if p in self.device.by_id]
        return f"{self.device.name}, {self.face.value} up. {self.key}: {', '.join(names) or 'none'}."

    def sizeHint(self) -> QSize:
        """About the shape of a device."""
        width = round(self.theme.sizes.body_px * 30)
        return QSize(width, round(width * 0.62))

    def minimumSizeHint(self) -> QSize:
        """Small, but a drawing."""
        width = round(self.theme.sizes.body_px * 12)
        return QSize(width, round(width * 0.6))

    # -- drawing

    def _drawing(self, device: DeviceMap) -> _PlanDrawing:
        marked = {*self._numbers, *self._keep, *filter(None, (self._target,))}
        return _PlanDrawing(
            self.theme, device, self._ledger, self.face, marked, self.devicePixelRatioF(), self._pieces
        )

    def paintEvent(self, _event: object) -> None:
        """Device, then marks, each beside its place where it would cover another."""
        painter = QPainter(self)
        rect = QRectF(self.rect())
        if self.device is None:
            DeviceDrawing.draw_frame(painter, rect, self.theme)
            return
        self._drawing(self.device).draw(painter, rect)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_current(painter)
        self._paint_key(painter, rect)
        font = QFont(self.theme.font(bold=True))
        for badge in self.badges():
            self._paint_badge(painter, badge, font)

    def _paint_key(self, painter: QPainter, rect: QRectF) -> None:
        """What the marks mean, along the lower edge beside the side that is up."""
        if not self._numbers:
            return
        words = self.key
        if self._keep:
            words += " · barred: stays"
        gap = self.theme.sizes.gap
        metrics = QFontMetricsF(self.theme.font())
        room = rect.width() - metrics.horizontalAdvance("Front up") - 4 * gap
        line = QRectF(
            rect.right() - gap - room, rect.bottom() - gap - metrics.height(), room, metrics.height()
        )
        painter.setPen(self.theme.colour("soft_ink"))
        painter.setFont(self.theme.font())
        told = metrics.elidedText(words, Qt.TextElideMode.ElideRight, room)
        painter.drawText(line, int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter), told)

    def _scale(self) -> tuple[QPointF, float]:
        assert self.device is not None
        return self._drawing(self.device).place(QRectF(self.rect()))

    def badges(self) -> list[Badge]:
        """The marks on the side that is up, placed so that none covers another."""
        if self.device is None:
            return []
        origin, scale = self._scale()
        if scale <= 0:
            return []
        radius = self.theme.sizes.body_px * 0.78
        placed: list[Badge] = []
        wanted = sorted(self._numbers.items(), key=lambda item: -item[1])
        marks = [(part, str(number)) for part, number in wanted]
        marks += [(part, "") for part in self._keep if part not in self._numbers]
        for name, text in marks:
            part = self.device.by_id.get(name)
            if part is None or part.face is not self.face or not middles(part):
                continue
            x, y = middles(part)[0]
            place = origin + QPointF(x, y) * scale
            middle = self._free(place, radius, [badge.middle for badge in placed])
            placed.append(Badge(name, text, middle, place, radius))
        return placed

    def _free(self, place: QPointF, radius: float, taken: list[QPointF]) -> QPointF:
        """The nearest spot, going round in growing circles, where a mark covers no other one."""
        from math import cos, pi, sin

        # the words along the lower edge stay readable
        words = QFontMetricsF(self.theme.font()).height() + self.theme.sizes.gap
        room = QRectF(self.rect()).adjusted(radius, radius, -radius, -radius - words)
        least = 4.2 * radius * radius
        for step in range(TRIES):
            ring = 0 if step == 0 else 1 + (step - 1) // 8
            turn = 2 * pi * ((step - 1) % 8) / 8 + ring * 0.4
            spot = place + QPointF(cos(turn), sin(turn)) * radius * 1.5 * ring
            near = any(_square(spot - other) < least for other in taken)
            if not near and room.contains(spot):
                return spot
        return place

    def _paint_badge(self, painter: QPainter, badge: Badge, font: QFont) -> None:
        assert self.device is not None
        part = self.device.by_id[badge.part]
        ink, ground = self.theme.colour("accent_ink"), self.theme.colour("accent")
        if badge.middle != badge.place:
            painter.setPen(QPen(ground, self.theme.sizes.stroke * 1.2))
            painter.drawLine(badge.place, badge.middle)
        if not badge.text:
            box = QRectF(0, 0, 2 * badge.radius, 2 * badge.radius)
            box.moveCenter(badge.middle)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.theme.colour("panel"))
            painter.drawEllipse(box)
            shapes.hold(painter, box, self.theme.colour("ink"), self.theme.sizes.stroke)
            return
        fitted = QFont(font)
        wide = QFontMetricsF(font).horizontalAdvance(badge.text)
        if wide > badge.radius * 1.6:
            fitted.setPointSizeF(font.pointSizeF() * badge.radius * 1.6 / wide)
        painter.setFont(fitted)
        if badge.part == self._target:
            # the part to be reached has a second rim
            painter.setPen(QPen(ground, self.theme.sizes.stroke * 1.5))
            painter.setBrush(self.theme.colour("panel"))
            rim = badge.radius + self.theme.sizes.stroke * 3
            box = QRectF(badge.middle.x() - rim, badge.middle.y() - rim, 2 * rim, 2 * rim)
            if part.kind is PartKind.SCREWS:
                painter.drawEllipse(box)
            else:
                painter.drawRect(box)
        kind = PartKind.SCREWS if part.kind is PartKind.SCREWS else PartKind.MODULE
        shapes.badge(painter, kind, badge.middle, badge.radius, badge.text, ground, ink)

    def _paint_current(self, painter: QPainter) -> None:
        """A dashed frame round the part the keyboard is on."""
        assert self.device is not None
        part = self.device.by_id.get(self._current)
        if part is None or part.face is not self.face:
            return
        origin, scale = self._scale()
        painter.setPen(QPen(self.theme.colour("ink"), self.theme.sizes.stroke * 1.5, Qt.PenStyle.DotLine))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        boxes = [QRectF(*part.box)] if part.box else boxes_of(part)
        if part.path and not part.box:
            # one frame round a whole course, not one for each of its stretches
            boxes = [reduce(lambda one, other: one.united(other), boxes)]
        for box in boxes:
            placed = QRectF(origin + box.topLeft() * scale, box.size() * scale)
            more = self.theme.sizes.stroke * 2
            painter.drawRect(placed.adjusted(-more, -more, more, more))

    # -- pointing

    def parts_at(self, spot: QPointF) -> list[str]:
        """The parts under a point of the widget on the side that is up; what a finger means first stands first."""
        if self.device is None:
            return []
        origin, scale = self._scale()
        if scale <= 0:
            return []
        return parts_at(self.device, self.face, spot, origin, scale, self.theme.sizes.body_px)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose what lies there; once more at the same place: what lies below it."""
        spot = event.position()
        found = self.parts_at(spot)
        if not found:
            return
        before, last = self._clicked
        again = _square(spot - before) < (self.theme.sizes.body_px * 0.4) ** 2 and last in found
        stay = event.button() is Qt.MouseButton.RightButton or bool(
            event.modifiers() & Qt.KeyboardModifier.ControlModifier
        )
        name = found[(found.index(last) + 1) % len(found)] if again and not stay else found[0]
        self._clicked = (spot, name)
        (self.stay_toggled if stay else self.chosen).emit(name)

    def event(self, event: QEvent) -> bool:
        """The name of what lies under the pointer."""
        if event.type() is QEvent.Type.ToolTip and isinstance(event, QHelpEvent) and self.device:
            found = self.parts_at(QPointF(event.pos()))
            QToolTip.showText(event.globalPos(), self.device.by_id[found[0]].name if found else "", self)
            return True
        return super().event(event)


class _PlanDrawing(DeviceDrawing):
    """A device with marked parts outlined, and no legend but the side that is up."""

    def __init__(
        self,
        theme: Theme,
        device: DeviceMap,
        ledger: Ledger,
        face: Face,
        marked: Collection[str],
        ratio: float,
        pieces: Pieces,
    ) -> None:
        super().__init__(theme, device, ledger, None, ratio, pieces)
        self.face = face
        self._outlined = tuple(PartMark(device.by_id[name], "") for name in device.by_id if name in marked)
        self._marked = frozenset(mark.part.id for mark in self._outlined)

    def draw(self, painter: QPainter, rect: QRectF) -> None:
        """As any device, and once more in outline what comes off under something else."""
        super().draw(painter, rect)
        origin, scale, area = self._place(rect)
        if scale <= 0:
            return
        painter.save()
        painter.setClipRect(area)
        for mark in self._outlined:
            if mark.part.face is self.face:
                self._paint_part(painter, mark.part, origin, scale, hidden=True)
        painter.restore()

    def _name_shown(self, part: Part) -> bool:
        """No name where a number or sign stands, of this part or of one under it."""
        if part.id in self._marked or part.box is None:
            return False
        left, top, width, height = part.box
        inner = QRectF(left + width * 0.15, top + height * 0.2, width * 0.7, height * 0.6)
        busy = (middles(mark.part)[:1] for mark in self._outlined if mark.part.face is self.face)
        if any(inner.contains(QPointF(*place)) for places in busy for place in places):
            return False
        return super()._name_shown(part)


def _square(point: QPointF) -> float:
    return point.x() ** 2 + point.y() ** 2
