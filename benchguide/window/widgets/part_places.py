"""Which part a point of a drawing means. Geometry only; nothing is drawn here."""

from PySide6.QtCore import QPointF, QRectF

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.words import Face
from benchguide.window.widgets.device_drawing import USUAL_HEAD_MM

#: how far beside a part a click still means it, in ems of body type
NEAR_EMS = 0.55


def parts_at(
    device: DeviceMap, face: Face, spot: QPointF, origin: QPointF, scale: float, em_px: float
) -> list[str]:
    """The parts on this face under a point in pixels; what a finger means first stands first."""
    if scale <= 0:
        return []
    at, near = (spot - origin) / scale, NEAR_EMS * em_px / scale
    found = []
    for part in device.parts:
        boxes = boxes_of(part) if part.face is face else []
        inside = [box for box in boxes if box.adjusted(-near, -near, near, near).contains(at)]
        if inside:
            # a small thing is meant before the large one it lies on, and the upper before the lower
            area = min(box.width() * box.height() for box in inside)
            found.append((not any(box.contains(at) for box in inside), area, -part.z_mm, part.id))
    return [name for *_rank, name in sorted(found)]


def boxes_of(part: Part) -> list[QRectF]:
    """The areas of a part in mm: its box, a square for each screw head, the reach of its path."""
    head = (part.screws.head_mm or USUAL_HEAD_MM) if part.screws else 2.0
    boxes = [QRectF(x - head / 2, y - head / 2, head, head) for x, y in part.places]
    if part.box:
        boxes.append(QRectF(*part.box))
    for (x1, y1), (x2, y2) in zip(part.path, part.path[1:], strict=False):
        boxes.append(
            QRectF(
                QPointF(min(x1, x2) - 0.5, min(y1, y2) - 0.5), QPointF(max(x1, x2) + 0.5, max(y1, y2) + 0.5)
            )
        )
    return boxes
