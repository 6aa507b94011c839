"""Small drawn shapes that tell states and kinds without colour. They draw; they decide nothing."""

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF

from benchguide.procedure.words import PartKind


def alert(painter: QPainter, box: QRectF, triangle: QColor, mark: QColor) -> None:
    """The safety alert symbol: a filled triangle with an exclamation mark."""
    side = min(box.width(), box.height() / 0.88)
    top = box.center().y() - side * 0.44
    middle = box.center().x()
    shape = QPolygonF(
        [
            QPointF(middle, top),
            QPointF(middle + side / 2, top + side * 0.88),
            QPointF(middle - side / 2, top + side * 0.88),
        ]
    )
    painter.save()
    painter.setPen(QPen(triangle, side * 0.08, j=Qt.PenJoinStyle.RoundJoin))
    painter.setBrush(triangle)
    painter.drawPolygon(shape)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(mark)
    stem = QPolygonF(
        [
            QPointF(middle - side * 0.065, top + side * 0.28),
            QPointF(middle + side * 0.065, top + side * 0.28),
            QPointF(middle + side * 0.04, top + side * 0.6),
            QPointF(middle - side * 0.04, top + side * 0.6),
        ]
    )
    painter.drawPolygon(stem)
    painter.drawEllipse(QPointF(middle, top + side * 0.72), side * 0.06, side * 0.06)
    painter.restore()


def camera(painter: QPainter, box: QRectF, ink: QColor, stroke: float) -> None:
    """A camera: take a photo."""
    painter.save()
    painter.setPen(QPen(ink, stroke, j=Qt.PenJoinStyle.RoundJoin))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    body = box.adjusted(0, box.height() * 0.22, 0, -box.height() * 0.06)
    painter.drawRoundedRect(body, stroke * 2, stroke * 2)
    hump = QPolygonF(
        [
            QPointF(box.left() + box.width() * 0.28, body.top()),
            QPointF(box.left() + box.width() * 0.38, box.top() + box.height() * 0.06),
            QPointF(box.left() + box.width() * 0.62, box.top() + box.height() * 0.06),
            QPointF(box.left() + box.width() * 0.72, body.top()),
        ]
    )
    painter.drawPolyline(hump)
    painter.drawEllipse(body.center(), body.height() * 0.27, body.height() * 0.27)
    painter.restore()


def hold(painter: QPainter, box: QRectF, ink: QColor, stroke: float) -> None:
    """A barred ring: work may not go on yet."""
    painter.save()
    painter.setPen(QPen(ink, stroke * 1.5, c=Qt.PenCapStyle.FlatCap))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    inner = box.adjusted(stroke, stroke, -stroke, -stroke)
    painter.drawEllipse(inner)
    middle = inner.center().y()
    painter.drawLine(
        QPointF(inner.left() + inner.width() * 0.22, middle),
        QPointF(inner.right() - inner.width() * 0.22, middle),
    )
    painter.restore()


def tick(painter: QPainter, box: QRectF, ink: QColor, stroke: float) -> None:
    """A tick: answered, done."""
    painter.save()
    painter.setPen(QPen(ink, stroke * 2, c=Qt.PenCapStyle.RoundCap, j=Qt.PenJoinStyle.RoundJoin))
    painter.drawPolyline(
        QPolygonF(
            [
                QPointF(box.left() + box.width() * 0.12, box.top() + box.height() * 0.55),
                QPointF(box.left() + box.width() * 0.4, box.top() + box.height() * 0.82),
                QPointF(box.left() + box.width() * 0.9, box.top() + box.height() * 0.2),
            ]
        )
    )
    painter.restore()


def kind_path(kind: PartKind, box: QRectF) -> QPainterPath:
    """The outline that stands for a kind of part in lists and marks."""
    path = QPainterPath()
    w, h = box.width(), box.height()
    if kind is PartKind.SCREWS:
        path.addEllipse(box)
    elif kind is PartKind.CONNECTOR:
        path.addRect(box.adjusted(0, h * 0.14, 0, -h * 0.14))
        for i in range(3):
            x = box.left() + w * (0.25 + 0.25 * i)
            path.moveTo(x, box.top() + h * 0.86)
            path.lineTo(x, box.bottom())
    elif kind is PartKind.BOND:
        middle = box.center()
        path.addPolygon(
            QPolygonF(
                [
                    QPointF(middle.x(), box.top()),
                    QPointF(box.right(), middle.y()),
                    QPointF(middle.x(), box.bottom()),
                    QPointF(box.left(), middle.y()),
                    QPointF(middle.x(), box.top()),
                ]
            )
        )
    elif kind is PartKind.CELL:
        path.addRect(box.adjusted(0, h * 0.2, -w * 0.12, -h * 0.2))
        path.addRect(QRectF(box.right() - w * 0.12, box.top() + h * 0.38, w * 0.12, h * 0.24))
    elif kind is PartKind.LOOSE:
        path.addRoundedRect(box.adjusted(0, h * 0.3, 0, -h * 0.3), h * 0.2, h * 0.2)
    elif kind is PartKind.MODULE:
        path.addRect(box.adjusted(w * 0.05, h * 0.1, -w * 0.05, -h * 0.1))
        path.addRect(box.adjusted(w * 0.3, h * 0.33, -w * 0.3, -h * 0.33))
    else:
        path.addRoundedRect(box.adjusted(0, h * 0.1, 0, -h * 0.1), w * 0.2, h * 0.2)
    return path


def recess(path: QPainterPath, middle: QPointF, arm: float) -> None:
    """Add the cross of a screw's recess to `path`."""
    path.moveTo(middle.x() - arm, middle.y())
    path.lineTo(middle.x() + arm, middle.y())
    path.moveTo(middle.x(), middle.y() - arm)
    path.lineTo(middle.x(), middle.y() + arm)


def badge(painter: QPainter, kind: PartKind, middle: QPointF, radius: float, text: str,
          ground: QColor, ink: QColor) -> None:  # fmt: skip
    """A filled mark with a letter or number: a disc for screws, a square for the rest."""
    painter.save()
    box = QRectF(middle.x() - radius, middle.y() - radius, 2 * radius, 2 * radius)
    painter.setPen(QPen(ink, max(1.0, radius / 9)))
    painter.setBrush(ground)
    if kind is PartKind.SCREWS:
        painter.drawEllipse(box)
    elif kind is PartKind.BOND:
        painter.drawPath(
            kind_path(kind, box.adjusted(-radius * 0.2, -radius * 0.2, radius * 0.2, radius * 0.2))
        )
    else:
        painter.drawRoundedRect(box, radius * 0.2, radius * 0.2)
    painter.setPen(ink)
    painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), text)
    painter.restore()
