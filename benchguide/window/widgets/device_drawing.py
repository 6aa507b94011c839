"""The device drawn to scale from its part map: what is on is solid, what is out is a dashed outline.

One object for one look: a device, what is out of it, and a step whose places carry marks. It draws into any
painter; it is no widget, and it knows no session.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QFont, QFontMetricsF, QPainter, QPainterPath, QPen, QPixmap, QPolygonF

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Face, PartKind
from benchguide.session.ledger import Ledger
from benchguide.window.theme import Theme
from benchguide.window.widgets import shapes
from benchguide.window.widgets.marks import PartMark, marks_of
from benchguide.window.widgets.themed import wrap_flags, wrapped

#: Diameter of a screw head whose map does not give it, in mm.
USUAL_HEAD_MM = 3.0

#: Kinds that are drawn as areas; the rest are drawn over them.
AREAS = (PartKind.COVER, PartKind.MODULE, PartKind.CELL, PartKind.LOOSE, PartKind.CONNECTOR)

#: Drawn parts that are kept: a few looks of each at a few scales.
MOST_KEPT = 600


def face_of(device: DeviceMap, step: Step | None) -> Face:
    """The side that is up in this step: what the step says, else where its parts are."""
    if step is not None:
        if step.face is not None:
            return step.face
        for name in step.parts:
            if name in device.by_id:
                return device.by_id[name].face
    return Face.BACK


def middles(part: Part) -> tuple[tuple[float, float], ...]:
    """Where the marks of a part go, in mm."""
    if part.places:
        return part.places
    if part.box:
        left, top, width, height = part.box
        return ((left + width / 2, top + height / 2),)
    return (part.path[len(part.path) // 2],) if part.path else ()


@dataclass(slots=True)
class Pieces:
    """What the drawings of one device have in common: parts drawn already, and what lies over a part's name."""

    kept: dict[tuple[object, ...], tuple[QPointF, QPixmap]] = field(default_factory=dict)
    above: dict[str, tuple[tuple[Part, bool], ...]] = field(default_factory=dict)


class DeviceDrawing:
    """A device as it looks now or soon. `ratio`: pixels of the screen to one of the drawing."""

    def __init__(
        self, theme: Theme, device: DeviceMap, ledger: Ledger, step: Step | None, ratio: float, pieces: Pieces
    ) -> None:
        self.theme, self.device = theme, device
        self.face = face_of(device, step)
        self.marks: tuple[PartMark, ...] = marks_of(device, step)
        self._marked = frozenset(mark.part.id for mark in self.marks)
        self._out: dict[str, int] = {}
        for item in ledger.out:
            self._out[item.part] = self._out.get(item.part, 0) + item.pieces
        self.ratio = ratio
        self._pieces = pieces

    @property
    def key(self) -> tuple[object, ...]:
        """What makes two drawings of one device look the same."""
        marked = tuple((mark.part.id, mark.sign) for mark in self.marks)
        return self.face, marked, tuple(sorted(self._out.items())), self.ratio

    def draw(self, painter: QPainter, rect: QRectF) -> None:
        """Draw everything: frame, device, marks, and the legend along the lower edge."""
        s = self.theme.sizes
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self.draw_frame(painter, rect, self.theme)
        origin, scale, area = self._place(rect)
        self._paint_legend(painter, rect.adjusted(s.gap, s.gap, -s.gap, -s.gap))
        if scale <= 0:
            return
        painter.save()
        painter.setClipRect(area)
        self._paint_case(painter, origin, scale)
        for part in self._parts():
            self._paint_part(painter, part, origin, scale, hidden=False)
        for mark in self.marks:
            if mark.part.face is self.face:
                # once more as a bare outline: the part of this step shows also where a cover lies over it
                self._paint_part(painter, mark.part, origin, scale, hidden=True)
        painter.restore()
        self._paint_marks(painter, origin, scale)

    def place(self, rect: QRectF) -> tuple[QPointF, float]:
        """Where the corner of the device comes to lie, and how many pixels a millimetre has."""
        origin, scale, _area = self._place(rect)
        return origin, scale

    def pieces(self, rect: QRectF) -> Iterator[None]:
        """Draw the parts ahead of time, one at each turn; `draw` then has little left to do."""
        _origin, scale, _area = self._place(rect)
        if scale <= 0:
            return
        for part in self._parts():
            self._piece(part, scale, hidden=False)
            yield
        for mark in self.marks:
            if mark.part.face is self.face:
                self._piece(mark.part, scale, hidden=True)
                yield

    @staticmethod
    def draw_frame(painter: QPainter, rect: QRectF, theme: Theme) -> None:
        """The frame alone, for a view without a device."""
        s = theme.sizes
        inset = s.stroke / 2
        painter.setPen(QPen(theme.colour("line"), s.stroke))
        painter.setBrush(theme.colour("panel"))
        painter.drawRoundedRect(rect.adjusted(inset, inset, -inset, -inset), s.radius, s.radius)

    def _place(self, rect: QRectF) -> tuple[QPointF, float, QRectF]:
        """Corner of the device, its scale in pixels to the millimetre, and the area it may use."""
        gap = self.theme.sizes.gap
        area = rect.adjusted(gap, gap, -gap, -gap)
        area.setBottom(area.bottom() - self._legend_height(area) - gap / 2)
        outline = self.device.outline
        scale = min(area.width() / outline.width_mm, area.height() / outline.height_mm) * 0.985
        # on whole pixels, so that kept drawings of parts fit wherever the device comes to lie
        corner = area.center() - QPointF(outline.width_mm, outline.height_mm) * scale / 2
        return QPointF(corner.toPoint()), scale, area

    def _parts(self) -> Iterator[Part]:
        """Parts on the side that is up, the lowest first, so that covers hide what lies under them."""
        shown = [p for p in self.device.parts if p.face is self.face]

        def order(part: Part) -> tuple[float, bool]:
            return part.z_mm, part.kind not in AREAS

        return iter(sorted(shown, key=order))

    def _name_shown(self, part: Part) -> bool:
        """False where something that is on lies over the middle of this part: half a name helps nobody."""
        if part.box is None:
            return False
        if part.id not in self._pieces.above:
            self._pieces.above[part.id] = tuple(self._over_name(part))
        # the dashed outline of something larger that is out runs round the name, not through it
        return all(around and self._all_out(other) for other, around in self._pieces.above[part.id])

    def _over_name(self, part: Part) -> Iterator[tuple[Part, bool]]:
        """The parts above the middle of this one, and whether they reach all round its name."""
        assert part.box is not None
        x, y = middles(part)[0]
        reach_x, reach_y = part.box[2] * 0.35, min(part.box[3] * 0.3, 8)
        middle = QRectF(x - reach_x, y - reach_y, 2 * reach_x, 2 * reach_y)
        for other in self.device.parts:
            if other.box and other.id != part.id and other.z_mm >= part.z_mm and other.face is part.face:
                box = QRectF(*other.box)
                if box.intersects(middle):
                    yield other, box.contains(middle)

    def _pieces_out(self, part: Part) -> int:
        return self._out.get(part.id, 0)

    def _all_out(self, part: Part) -> bool:
        return self._pieces_out(part) >= part.pieces

    def _paint_case(self, painter: QPainter, origin: QPointF, scale: float) -> None:
        outline = self.device.outline
        box = QRectF(origin.x(), origin.y(), outline.width_mm * scale, outline.height_mm * scale)
        painter.setPen(QPen(self.theme.colour("ink"), self.theme.sizes.stroke * 1.5))
        painter.setBrush(self.theme.colour("ground"))
        painter.drawRoundedRect(box, outline.corner_mm * scale, outline.corner_mm * scale)

    def _pen(self, part: Part, out: bool, present: bool) -> QPen:
        stroke = self.theme.sizes.stroke
        if present:
            pen = QPen(self.theme.colour("accent"), stroke * 1.7)
        else:
            pen = QPen(self.theme.colour("edge"), max(1.0, stroke * (0.6 if out else 0.8)))
        if out:
            pen.setStyle(Qt.PenStyle.DashLine)
        return pen

    def _paint_part(self, painter: QPainter, part: Part, origin: QPointF, scale: float, hidden: bool) -> None:
        corner, picture = self._piece(part, scale, hidden)
        painter.drawPixmap(origin + corner, picture)

    def _piece(self, part: Part, scale: float, hidden: bool) -> tuple[QPointF, QPixmap]:
        """A part drawn, or the drawing of it that was kept: a step changes the look of very few."""
        ratio, kept = self.ratio, self._pieces.kept
        present, named = part.id in self._marked, not hidden and self._name_shown(part)
        key = (part.id, scale, ratio, self._pieces_out(part), present, hidden, named)
        made = kept.get(key)
        if made is None:
            if len(kept) >= MOST_KEPT:
                kept.clear()
            box = self._reach(part, scale)
            picture = QPixmap((box.size() * ratio).toSize())
            picture.setDevicePixelRatio(ratio)
            picture.fill(Qt.GlobalColor.transparent)
            drawing = QPainter(picture)
            drawing.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._draw_part(drawing, part, -box.topLeft(), scale, hidden)
            drawing.end()
            made = kept[key] = (box.topLeft(), picture)
        return made

    def _reach(self, part: Part, scale: float) -> QRectF:
        """Where a part is drawn, in whole pixels from the corner of the device, with room for its lines."""
        points = [QPointF(x, y) * scale for x, y in (*part.places, *part.path)]
        if part.box:
            whole = QRectF(*(v * scale for v in part.box))
            points += [whole.topLeft(), whole.bottomRight()]
        head = (part.screws.head_mm or USUAL_HEAD_MM) / 2 * scale if part.screws else 0.0
        room = head + self.theme.sizes.stroke * 4 + 2
        box = QPolygonF(points).boundingRect().adjusted(-room, -room, room, room)
        return QRectF(box.toAlignedRect())

    def _draw_part(self, painter: QPainter, part: Part, origin: QPointF, scale: float, hidden: bool) -> None:
        out = self._all_out(part)
        present = part.id in self._marked
        pen = self._pen(part, out, present)
        fill = QBrush(self.theme.colour("tint" if present else "raised"))
        if out or hidden:
            fill = QBrush(Qt.BrushStyle.NoBrush)
        if part.path:
            self._paint_path(painter, part, pen, origin, scale)
        if part.box:
            left, top, width, height = (v * scale for v in part.box)
            box = QRectF(origin.x() + left, origin.y() + top, width, height)
            self._paint_box(painter, part, box, pen, fill, scale)
        if part.kind is PartKind.SCREWS:
            self._paint_screws(painter, part, present, origin, scale)

    def _paint_path(self, painter: QPainter, part: Part, pen: QPen, origin: QPointF, scale: float) -> None:
        course = QPolygonF([origin + QPointF(x, y) * scale for x, y in part.path])
        width = pen.widthF() * (2.2 if part.kind is PartKind.BOND else 1.6)
        line = QPen(pen.color(), width, c=Qt.PenCapStyle.RoundCap, j=Qt.PenJoinStyle.RoundJoin)
        if pen.style() == Qt.PenStyle.DashLine:
            line = QPen(pen)
        elif part.kind is PartKind.BOND:
            line.setDashPattern([0.1, 2.0])  # a row of dots: glue, not a cable
        painter.setPen(line)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline(course)

    def _paint_box(
        self, painter: QPainter, part: Part, box: QRectF, pen: QPen, fill: QBrush, scale: float
    ) -> None:
        painter.setPen(pen)
        painter.setBrush(fill)
        corner = {PartKind.COVER: 2.0, PartKind.CELL: 1.5, PartKind.LOOSE: 1.5}.get(part.kind, 0.0) * scale
        whole = self.device.outline.width_mm * scale
        if part.kind is PartKind.COVER and box.width() > 0.9 * whole:
            corner = max(corner, (self.device.outline.corner_mm - 1) * scale)
        if corner:
            painter.drawRoundedRect(box, corner, corner)
        else:
            painter.drawRect(box)
        if fill.style() != Qt.BrushStyle.NoBrush:
            self._paint_inside(painter, part, box, pen)

    def _paint_inside(self, painter: QPainter, part: Part, box: QRectF, pen: QPen) -> None:
        """What tells the kind by shape: pins of a connector, pole of a cell; and the name, where it fits."""
        painter.setPen(QPen(pen.color(), max(1.0, pen.widthF() * 0.7)))
        if part.kind is PartKind.CONNECTOR and min(box.width(), box.height()) > 6:
            upright = box.height() > box.width()
            for share in (0.25, 0.5, 0.75):
                if upright:
                    y = box.top() + box.height() * share
                    painter.drawLine(QPointF(box.left() + 2, y), QPointF(box.right() - 2, y))
                else:
                    x = box.left() + box.width() * share
                    painter.drawLine(QPointF(x, box.top() + 2), QPointF(x, box.bottom() - 2))
        elif part.kind in (PartKind.CELL, PartKind.MODULE, PartKind.COVER) and self._name_shown(part):
            self._paint_name(painter, part, box)

    def _paint_name(self, painter: QPainter, part: Part, box: QRectF) -> None:
        font: QFont = self.theme.font()
        inner = box.adjusted(6, 4, -6, -4)
        longest = max(QFontMetricsF(font).horizontalAdvance(word) for word in part.name.split())
        size = wrapped(font, part.name, round(inner.width()))
        if longest > inner.width() or size.height() > inner.height():
            return
        painter.setFont(font)
        painter.setPen(self.theme.colour("soft_ink"))
        painter.drawText(inner, int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap), part.name)

    def _paint_screws(
        self, painter: QPainter, part: Part, present: bool, origin: QPointF, scale: float
    ) -> None:
        assert part.screws is not None
        radius = (part.screws.head_mm or USUAL_HEAD_MM) / 2 * scale
        still_in = part.pieces - self._pieces_out(part)
        heads = {True: QPainterPath(), False: QPainterPath()}
        for number, (x, y) in enumerate(part.places):
            out = number >= still_in
            heads[out].addEllipse(origin + QPointF(x, y) * scale, radius, radius)
            if not out and radius > 3:
                shapes.recess(heads[out], origin + QPointF(x, y) * scale, radius * 0.5)
        for out, path in heads.items():
            painter.setPen(self._pen(part, out, present))
            painter.setBrush(Qt.BrushStyle.NoBrush if out else self.theme.colour("panel"))
            painter.drawPath(path)

    def _paint_marks(self, painter: QPainter, origin: QPointF, scale: float) -> None:
        painter.setFont(self.theme.font(bold=True))
        for mark in self.marks:
            if mark.part.face is not self.face:
                continue
            places = [origin + QPointF(x, y) * scale for x, y in middles(mark.part)]
            radius = self._badge_radius(places)
            for place in places:
                self._badge(painter, mark, place, radius)

    def _badge_radius(self, places: list[QPointF]) -> float:
        """As large as the type asks; smaller where two places of one group lie close together."""
        radius = self.theme.sizes.body_px * 0.8
        for i, one in enumerate(places):
            for other in places[i + 1 :]:
                apart = QPointF(one - other)
                radius = min(radius, (apart.x() ** 2 + apart.y() ** 2) ** 0.5 / 2)
        return max(radius, self.theme.sizes.body_px * 0.6)

    def _badge(self, painter: QPainter, mark: PartMark, middle: QPointF, radius: float) -> None:
        shapes.badge(
            painter, mark.part.kind, middle, radius, mark.sign,
            self.theme.colour("accent"), self.theme.colour("accent_ink"),
        )  # fmt: skip

    def _legend_lines(self, area: QRectF) -> list[tuple[PartMark, str, float]]:
        """Mark, words and height in pixels of each line of the legend."""
        s, font = self.theme.sizes, self.theme.font()
        icon = s.body_px * 1.5
        lines = [(mark, self._legend_words(mark)) for mark in self.marks]
        room = round(area.width() - icon - s.gap)
        return [(mark, words, max(icon, wrapped(font, words, room).height())) for mark, words in lines]

    def _legend_height(self, area: QRectF) -> float:
        """Height in pixels: that of all lines, at most 45 % of the area; of the side that is up without any."""
        heights = [height for _mark, _words, height in self._legend_lines(area)]
        if not heights:
            return QFontMetricsF(self.theme.font()).height()
        return min(sum(heights) + self.theme.sizes.gap * 0.4 * (len(heights) - 1), area.height() * 0.45)

    def _paint_legend(self, painter: QPainter, area: QRectF) -> None:
        """Draw the legend along the lower edge."""
        s, font = self.theme.sizes, self.theme.font()
        icon, line, high = s.body_px * 1.5, QFontMetricsF(font).height(), self._legend_height(area)
        lines = self._legend_lines(area)
        y = area.bottom() - min(high, area.height() * 0.45)
        painter.setFont(font)
        if not lines:
            side = f"{self.face.value.capitalize()} up"
            painter.setPen(self.theme.colour("soft_ink"))
            painter.drawText(QRectF(area.left(), y, area.width(), line), wrap_flags(), side)
            return
        painter.save()
        painter.setClipRect(QRectF(area.left(), y, area.width(), high))
        for mark, words, height in lines:
            painter.setFont(self.theme.font(bold=True))
            self._badge(painter, mark, QPointF(area.left() + icon / 2, y + icon / 2), s.body_px * 0.7)
            painter.setFont(font)
            painter.setPen(self.theme.colour("ink"))
            shift = max(0.0, (icon - line) / 2) if height <= icon else 0.0
            painter.drawText(
                QRectF(area.left() + icon + s.gap, y + shift, area.width() - icon - s.gap + 1, 1e4),
                wrap_flags(), words,
            )  # fmt: skip
            y += height + s.gap * 0.4
        painter.restore()

    def _legend_words(self, mark: PartMark) -> str:
        words = mark.legend.split(" = ", 1)[1]
        out = self._pieces_out(mark.part)
        if not out:
            return words
        return f"{words} (out)" if out >= mark.part.pieces else f"{words} ({out} of {mark.part.pieces} out)"
