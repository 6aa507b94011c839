"""Reads the parts mat in the background: the moving picture for the view, a kept photo for the record, one screw.

Newest picture wins; the window is never kept waiting. What the ledger says of it is session/mat.py's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QPointF, Signal
from PySide6.QtGui import QPolygonF

from benchguide.session.commands import CellSeen, KeepMatReading, KeepMeasurement
from benchguide.window.mat_words import cells_seen
from benchguide.window.newest import NewestThread

if TYPE_CHECKING:
    from benchguide.camera.frame import Frame
    from benchguide.camera.mat_check import Expected
    from benchguide.camera.mat_reading import MatReading

#: rest between two readings of the moving picture
PAUSE_S = 0.4


@dataclass(frozen=True, slots=True)
class MatSeen:
    """One reading for the view. `trouble` is a sentence where there is no mat, or two; the rest is empty then."""

    trouble: str = ""
    paper: str = ""
    cells: tuple[CellSeen, ...] = ()
    places: dict[str, QPolygonF] = field(default_factory=dict)
    """Corners of the cells as shares of the picture."""
    warnings: tuple[str, ...] = ()
    scale: str = ""
    """What is known of the scale of the print, where that is no warning."""


@dataclass(frozen=True, slots=True)
class _Ask:
    """What is to be done: a picture, or the file of a photo, and what for."""

    what: str
    image: Any
    expected: dict[str, Expected]
    photo: str = ""
    part: str = ""
    span: tuple[float, float] | None = None
    bar_mm: float | None = None


class MatLink(QObject):
    """`on_frame` runs in the camera's thread, everything else in the window's."""

    seen = Signal(object)
    """A MatSeen."""
    kept = Signal(object, str)
    """A KeepMatReading for the session, or None and the reason why the photo could not be read."""
    measured = Signal(object, str)
    """A KeepMeasurement for the session, or None and the reason why there is no length."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.bar_mm: float | None = None
        """The scale bar of the print as a ruler shows it; None where nobody measured it."""
        self._live: NewestThread[_Ask] | None = None
        self._asked: NewestThread[_Ask] | None = None
        self._expected: Callable[[], dict[str, Expected]] = dict
        self._newest: Frame | None = None
        self._last: dict[str, Expected] = {}

    @property
    def running(self) -> bool:
        """True while the moving picture is read."""
        return self._live is not None

    def start(self) -> None:
        """Read the moving picture from now on."""
        if self._live is None:
            self._live = NewestThread(self._work, "mat", PAUSE_S)

    def stop(self) -> None:
        """Read it no longer."""
        live, self._live = self._live, None
        if live is not None:
            live.stop(0.0)

    def expect(self, expected: dict[str, Expected]) -> None:
        """What should lie in each cell from now on."""
        self._last = expected

    def on_frame(self, frame: Frame) -> None:
        """Take note of a picture; returns at once."""
        live = self._live
        if live is not None:
            self._newest = frame
            live.offer(_Ask("live", frame.image, self._last, bar_mm=self.bar_mm))

    def read_photo(self, photo: str, path: Path, expected: dict[str, Expected]) -> None:
        """Read a kept photo; `kept` brings the answer."""
        self._other().offer(_Ask("keep", path, expected, photo, bar_mm=self.bar_mm))

    def measure(self, part: str, span: tuple[float, float]) -> None:
        """Measure the screw at the measuring place of the newest picture; `measured` brings the answer."""
        frame = self._newest
        if frame is None:
            self.measured.emit(None, "There is no picture of the mat yet.")
            return
        self._other().offer(_Ask("measure", frame.image, {}, "", part, span, self.bar_mm))

    def _other(self) -> NewestThread[_Ask]:
        if self._asked is None:
            self._asked = NewestThread(self._work, "mat-asked")
        return self._asked

    def close(self) -> None:
        """End all threads."""
        self.stop()
        if self._asked is not None:
            self._asked.stop()

    # -- in the threads

    def _work(self, ask: _Ask) -> None:
        if ask.what == "live":
            self.seen.emit(_seen(ask))
        elif ask.what == "keep":
            self.kept.emit(*_kept(ask))
        else:
            self.measured.emit(*_measured(ask))


def _seen(ask: _Ask) -> MatSeen:
    from benchguide.camera.mat_reading import read_mat

    try:
        reading = read_mat(ask.image, expected=ask.expected, bar_mm=ask.bar_mm)
    except ValueError as error:  # NoMat is one
        return MatSeen(str(error))
    scale = "" if reading.scale.wrong else reading.scale.sentence
    return MatSeen("", reading.paper, cells_seen(reading), _places(reading), reading.warnings, scale)


def _places(reading: MatReading) -> dict[str, QPolygonF]:
    import numpy as np

    width, height = reading.plane.size
    places = {}
    for name, box in reading.plane.layout.cells.items():
        corners = reading.plane.to_pixel(np.array(box.corners))
        places[name] = QPolygonF([QPointF(float(x) / width, float(y) / height) for x, y in corners])
    return places


def _kept(ask: _Ask) -> tuple[KeepMatReading | None, str]:
    from benchguide.camera.mat_reading import read_mat
    from benchguide.camera.photo_file import read_photo

    try:
        reading = read_mat(read_photo(ask.image), expected=ask.expected, bar_mm=ask.bar_mm)
    except (OSError, ValueError) as error:
        return None, f"The mat was photographed but not read. {error}"
    return KeepMatReading(ask.photo, reading.paper, cells_seen(reading), reading.warnings), ""


def _measured(ask: _Ask) -> tuple[KeepMeasurement | None, str]:
    from benchguide.camera.mat_check import judge_length, scale_by_ruler
    from benchguide.camera.mat_reading import measure_screw

    assert ask.span is not None
    try:
        factor = scale_by_ruler(ask.bar_mm).factor if ask.bar_mm else None
        screw = measure_screw(ask.image, factor=factor or 1.0)
    except ValueError as error:
        return None, str(error)
    if screw.own_mm is None or screw.own_sigma_mm is None:
        return None, f"Cannot tell: {screw.reason}"
    judged = judge_length(screw.own_mm, screw.own_sigma_mm, ask.span)
    length, sigma = round(screw.own_mm, 3), round(screw.own_sigma_mm, 3)
    return KeepMeasurement(ask.part, length, max(sigma, 0.001), str(judged.verdict), judged.sentence), ""
