"""The simulated bench: a device drawn from plain shapes, seen by a camera that is not there.

A source like the others, so that demo and tests see what a session says: whoever owns the
scene hands over a new one when a part comes off or goes back. Drawing is in
bench_painter.py; this module holds the scene's words and the camera's behaviour.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchguide.camera.frame import Frame
from benchguide.camera.source import SourceTraits

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.bench_painter import Painter

Point = tuple[float, float]

SHAPE_KINDS = (
    "body", "cover", "board", "connector", "cable", "screw", "cell", "loose", "bond", "module", "hole",
)  # fmt: skip
NOISE_MEAN = 7
NOISE_MARGIN = 96
SWAY_MARGIN = 4
# Thirds of a pixel: nine drawings of one scene, each made when it is first needed.
SUB_PIXEL = 3


@dataclass(frozen=True, slots=True)
class Shape:
    """One visible thing. Millimetres, x to the right, y towards the person, origin at the
    device's far left corner.

    kind: one of SHAPE_KINDS. z_mm: height of its top face above the floor of the device;
    higher ones are drawn over lower ones.
    outline: screw and hole: the centre; cable and bond: the points of its middle line; all
    others: two opposite corners of a box, or three or more points of a polygon.
    width_mm: width of a cable or bond. diameter_mm: of a screw's head or a hole.
    drive: recess of a screw: cross, slot, hexalobular, hex or three-wing.
    tone: a colour name of bench_painter.TONES, `#rrggbb`, or "" for the kind's usual one.
    label: short text on its face, "" for none.
    """

    id: str
    kind: str
    z_mm: float
    outline: tuple[Point, ...]
    label: str = ""
    tone: str = ""
    width_mm: float = 4.0
    diameter_mm: float = 3.2
    drive: str = "cross"

    def __post_init__(self) -> None:
        if self.kind not in SHAPE_KINDS:
            raise ValueError(
                f"{self.id}: '{self.kind}' is not a kind of shape; use one of {', '.join(SHAPE_KINDS)}."
            )
        least = 1 if self.kind in ("screw", "hole") else 2
        if len(self.outline) < least:
            raise ValueError(f"{self.id}: a {self.kind} needs at least {least} point(s) in its outline.")
        numbers = [self.z_mm, self.width_mm, self.diameter_mm, *(v for point in self.outline for v in point)]
        if not all(math.isfinite(v) and abs(v) < 10_000 for v in numbers):
            raise ValueError(f"{self.id}: sizes and places must be plain millimetres below 10,000.")


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What spoils the picture, not the scene: a shaking stand, and a lamp mirrored in the device.

    shaken_px: by how many pixels each picture is smeared along one direction. glare: middle and radius in device
    millimetres of what is burnt out, or None.
    """

    shaken_px: float = 0.0
    glare: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        numbers = (self.shaken_px, *(self.glare or (0.0,)))
        if not all(math.isfinite(v) and abs(v) < 10_000 for v in numbers) or not 0 <= self.shaken_px <= 100:
            raise ValueError("A picture is shaken by 0 to 100 pixels, and glare lies within 10 m.")


UNDISTURBED = Disturbance()


@dataclass(frozen=True, slots=True)
class Scene:
    """A device and the parts that are in it at this moment, in any order. `disturbed` changes no drawing."""

    width_mm: float
    height_mm: float
    corner_mm: float
    shapes: tuple[Shape, ...]
    disturbed: Disturbance = field(default=UNDISTURBED, compare=False)

    def __post_init__(self) -> None:
        if not (1 <= self.width_mm < 10_000 and 1 <= self.height_mm < 10_000 and self.corner_mm >= 0):
            raise ValueError("A scene needs a width and height of 1 mm to 10 m, and a corner of 0 or more.")


class SimulatedBench:
    """Source that draws `get_scene()` as a camera over a bench would see it.

    get_scene is called once a picture, in the reading thread; a scene equal to the last one
    costs nothing. A changed scene is drawn anew before the next picture is given, so a
    picture exposed after the change shows it. The same seed, size and scenes give the same
    pictures, counted from the opening.
    """

    name = "Simulated bench"
    # drawing a changed scene for the first time takes seconds on a busy machine; that is no loss
    traits = SourceTraits(frozen_after_s=2.0, in_flight=1, noisy=True, silent_after_s=15.0)

    def __init__(
        self,
        get_scene: Callable[[], Scene],
        size: tuple[int, int] = (1920, 1080),
        fps: float = 30,
        seed: int = 0,
    ) -> None:
        if not (16 <= size[0] <= 7680 and 16 <= size[1] <= 4320 and 0 < fps <= 240):
            raise ValueError(
                "The simulated bench needs 16 to 7680 x 4320 pixels and up to 240 pictures a second."
            )
        self._get_scene = get_scene
        self._size = size
        self._period_ns = int(1e9 / fps)
        self._seed = seed
        self._drawing = threading.Lock()
        self._painter: Painter | None = None
        self._drawn: _Drawn | None = None
        self._noise: NDArray[np.uint8] | None = None
        self._due_ns = 0
        self._index = 0

    def open(self) -> None:
        self._index = 0
        self._due_ns = time.monotonic_ns()

    def read(self) -> Frame | None:
        wait = self._due_ns - time.monotonic_ns()
        if wait > 0:
            time.sleep(min(wait / 1e9, 1.0))
        scene = self._get_scene()
        drawn = self._draw(scene)
        exposed = time.monotonic_ns()
        image = self._picture(drawn, self._index, scene.disturbed)
        frame = Frame(image, exposed, self._index, self.name)
        self._index += 1
        self._due_ns = max(self._due_ns + self._period_ns, exposed - self._period_ns)
        return frame

    def close(self) -> None:
        """Nothing to let go of; the drawn scene is kept for the next opening."""

    def prepare(self, scene: Scene) -> None:
        """Draw a scene ahead of time, from any thread, so that the next picture need not wait."""
        self._draw(scene)

    def homography(self, scene: Scene, z_mm: float = 0.0) -> NDArray[np.float64]:
        """3x3 matrix from device millimetres at height z_mm to pixels, before the sway."""
        return millimetres_to_pixels(scene, self._size)(z_mm)

    def _picture(self, drawn: _Drawn, index: int, disturbed: Disturbance) -> NDArray[np.uint8]:
        """Picture number `index`: the drawn scene, swayed by under 2 px, spoilt where it is, with sensor noise."""
        import numpy as np

        from benchguide.camera.opencv import cv2

        width, height = self._size
        dx, dy = self._sway_at(index)
        view = drawn.moved(round(dx * SUB_PIXEL), round(dy * SUB_PIXEL), self._size)
        if disturbed != UNDISTURBED:
            view = self._spoilt(view, drawn.scene, disturbed, index)
        noise = self._noise_tile()
        x, y = np.random.default_rng((self._seed, index)).integers(0, NOISE_MARGIN, 2)
        picture: NDArray[np.uint8] = cv2().add(view, noise[y : y + height, x : x + width])
        return picture

    def _spoilt(
        self, view: NDArray[np.uint8], scene: Scene, disturbed: Disturbance, index: int
    ) -> NDArray[np.uint8]:
        """The view with the lamp mirrored in it, smeared along a direction that turns from picture to picture."""
        import numpy as np

        from benchguide.camera.opencv import cv2

        cv = cv2()
        picture = view.copy()
        if disturbed.glare is not None:
            x, y, radius = disturbed.glare
            points = np.array([(x, y, 1.0), (x + radius, y, 1.0)]) @ self.homography(scene, 6.0).T
            (px, py), (ex, ey) = points[:, :2] / points[:, 2:]
            wide = max(2.0, math.hypot(ex - px, ey - py))
            cover = np.zeros(picture.shape[:2], np.uint8)
            cv.ellipse(cover, ((px, py), (2.6 * wide, 1.9 * wide), 20.0), 255, -1, cv.LINE_AA)
            soft = cv.GaussianBlur(cover, (0, 0), 0.25 * wide)
            picture = cv.add(picture, cv.merge([soft] * 3))
        if disturbed.shaken_px > 1:
            length = math.ceil(disturbed.shaken_px) | 1
            angle = 0.4 + 0.02 * index
            reach = (length - 1) / 2
            dx, dy = reach * math.cos(angle), reach * math.sin(angle)
            ends = np.rint(16 * np.array([(reach - dx, reach - dy), (reach + dx, reach + dy)])).astype(int)
            kernel = np.zeros((length, length), np.uint8)
            cv.line(kernel, ends[0].tolist(), ends[1].tolist(), 255, 1, cv.LINE_AA, 4)
            picture = cv.filter2D(picture, -1, kernel.astype(np.float32) / float(kernel.sum()))
        return picture

    def _draw(self, scene: Scene) -> _Drawn:
        drawn = self._drawn
        if drawn is not None and (drawn.scene is scene or drawn.scene == scene):
            return drawn
        with self._drawing:
            drawn = self._drawn
            if drawn is None or drawn.scene != scene:
                from benchguide.camera.bench_painter import Painter

                if self._painter is None or not self._painter.suits(scene):
                    self._painter = Painter(scene, self._size, self._seed)
                drawn = self._drawn = _Drawn(scene, self._painter.picture(scene))
            return drawn

    def _noise_tile(self) -> NDArray[np.uint8]:
        if self._noise is None:
            import numpy as np

            rng = np.random.default_rng(self._seed)
            shape = (self._size[1] + NOISE_MARGIN, self._size[0] + NOISE_MARGIN, 3)
            tile = rng.standard_normal(shape, dtype=np.float32) * 1.9 + NOISE_MEAN
            self._noise = np.clip(np.rint(tile), 0, 2 * NOISE_MEAN).astype(np.uint8)
        return self._noise

    def _sway_at(self, index: int) -> tuple[float, float]:
        """Shift in pixels: slow waves, as of an arm on a table."""
        t = index * self._period_ns / 1e9
        phase = self._seed % 97
        dx = 0.7 * math.sin(1.13 * t + phase) + 0.35 * math.sin(3.1 * t + 2 * phase)
        dy = 0.5 * math.sin(0.87 * t + 3 * phase) + 0.3 * math.sin(2.7 * t + phase)
        return dx, dy


def millimetres_to_pixels(scene: Scene, size: tuple[int, int]) -> Callable[[float], NDArray[np.float64]]:
    """How a picture of a scene is registered to the device: height in millimetres to the 3x3 matrix from device
    millimetres on that plane to pixels, before the sway."""
    from benchguide.camera.bench_painter import View

    return View.of(scene, size).homography


class _Drawn:
    """One scene as drawn, and its copies moved by parts of a pixel."""

    def __init__(self, scene: Scene, picture: NDArray[np.uint8]) -> None:
        from benchguide.camera.opencv import cv2

        cv = cv2()
        self.scene = scene
        # The noise tile is unsigned with mean NOISE_MEAN: taken off here once, so that
        # adding it costs one pass a picture.
        dark = cv.subtract(picture, (NOISE_MEAN,) * 4)
        m = SWAY_MARGIN
        self._wide: NDArray[np.uint8] = cv.copyMakeBorder(dark, m, m, m, m, cv.BORDER_REPLICATE)
        self._copies: dict[tuple[int, int], NDArray[np.uint8]] = {}

    def moved(self, right: int, down: int, size: tuple[int, int]) -> NDArray[np.uint8]:
        """A window of the drawing moved by right/SUB_PIXEL and down/SUB_PIXEL pixels (no copy)."""
        x, part_x = divmod(-right, SUB_PIXEL)
        y, part_y = divmod(-down, SUB_PIXEL)
        wide = self._copies.get((part_x, part_y))
        if wide is None:
            wide = self._copies[part_x, part_y] = self._between(part_x / SUB_PIXEL, part_y / SUB_PIXEL)
        x, y = x + SWAY_MARGIN, y + SWAY_MARGIN
        return wide[y : y + size[1], x : x + size[0]]

    def _between(self, fx: float, fy: float) -> NDArray[np.uint8]:
        """Bilinear between each pixel and the ones to its right and below."""
        import numpy as np

        from benchguide.camera.opencv import cv2

        if fx == 0 and fy == 0:
            return self._wide
        kernel = np.outer((1 - fy, fy), (1 - fx, fx)).astype(np.float32)
        between: NDArray[np.uint8] = cv2().filter2D(self._wide, -1, kernel, anchor=(0, 0))
        return between
