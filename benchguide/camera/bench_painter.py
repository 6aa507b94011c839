"""Draws a scene of the simulated bench: view, light, shadows, walls and faces, once a scene.

The order is: bench, device shell, then every shape from low to high, then the lamp. What a
face looks like is in bench_art.py; what a scene is, in simulated.py.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.camera import bench_art as art
from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.simulated import Scene, Shape

    Points = NDArray[np.float64]
    Plane = NDArray[np.float32]

TILT, TURN = math.radians(13), math.radians(-2.5)
WALL_MM, BENCH_Z_MM = 2.0, -3.0
# How thick a part of each kind is, for its shadow and its visible side, in millimetres.
THICK = {
    "body": 6.0, "cover": 1.4, "board": 1.0, "connector": 1.5, "cable": 0.5, "screw": 0.7,
    "cell": 3.6, "loose": 0.9, "bond": 0.3, "module": 2.0, "hole": 0.0,
}  # fmt: skip
RANK = {
    "body": 0,
    "bond": 2,
    "board": 3,
    "cell": 3,
    "module": 4,
    "cable": 6,
    "connector": 7,
    "hole": 8,
    "screw": 9,
}
# Drawings kept part-way, so that a part taken off the top does not mean drawing all below it.
EVERY_SHAPES, MOST_KEPT = 6, 12


def paint(scene: Scene, size: tuple[int, int], seed: int = 0) -> NDArray[np.uint8]:
    """The scene without sensor noise, (H, W, 3) uint8 BGR. The same arguments give the same picture."""
    return Painter(scene, size, seed).picture(scene)


def in_order(shapes: tuple[Shape, ...]) -> tuple[Shape, ...]:
    """Shapes from the lowest to the highest, the device's body first."""
    return tuple(sorted(shapes, key=lambda s: (s.kind != "body", s.z_mm, RANK.get(s.kind, 5), s.id)))


@dataclass(frozen=True)
class View:
    """A pinhole camera over the device, leaning back a little, with the device in the middle."""

    centre: Points
    rotation: Points
    intrinsics: Points
    distance: float

    @classmethod
    def of(cls, scene: Scene, size: tuple[int, int]) -> View:
        """The view in which the device fills most of a picture of `size` pixels."""
        import numpy as np

        w, h = scene.width_mm, scene.height_mm
        ca, sa, cb, sb = math.cos(-TILT), math.sin(-TILT), math.cos(TURN), math.sin(TURN)
        lean = np.array([[1, 0, 0], [0, ca, -sa], [0, sa, ca]])
        turn = np.array([[cb, -sb, 0], [sb, cb, 0], [0, 0, 1]])
        plain = cls(np.array([w / 2, h / 2, 0.0]), lean @ turn, np.eye(3), 2.6 * max(w, 1.5 * h))
        corners = plain.project(np.array([(0, 0), (w, 0), (w, h), (0, h)], np.float64), 0.0)
        low, high = corners.min(axis=0), corners.max(axis=0)
        focal = min(0.80 * size[0] / (high[0] - low[0]), 0.82 * size[1] / (high[1] - low[1]))
        middle = np.array(size) / 2 - focal * (low + high) / 2
        k = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1.0]])
        return cls(plain.centre, plain.rotation, k, plain.distance)

    def homography(self, z_mm: float) -> Points:
        """3x3 from device millimetres on the plane z_mm to pixels."""
        import numpy as np

        z_mm = min(z_mm, self.distance / 2)  # nothing may stand behind the camera
        shift = self.rotation @ (np.array([0, 0, -z_mm]) - self.centre) + np.array([0, 0, self.distance])
        return self.intrinsics @ np.column_stack([self.rotation[:, 0], self.rotation[:, 1], shift])

    def project(self, points: Points, z_mm: float) -> Points:
        """(N, 2) millimetres at height z_mm to (N, 2) pixels."""
        import numpy as np

        p = np.column_stack([points, np.ones(len(points))]) @ self.homography(z_mm).T
        depth = np.maximum(p[:, 2:], 0.05 * self.distance)
        return np.clip(p[:, :2] / depth, -30_000, 30_000)

    def scale(self) -> float:
        """Pixels a millimetre in the middle of the device."""
        return float(self.intrinsics[0, 0] / self.distance)


class Painter:
    """Draws scenes of one device at one size; remembers what lies below a change.

    `canvas` is float32 BGR, 0 to 255. For one thread at a time.
    """

    def __init__(self, scene: Scene, size: tuple[int, int], seed: int) -> None:
        import numpy as np

        self.scene, self.size, self.seed = scene, size, seed
        self.view = View.of(scene, size)
        self.ppm = self.view.scale()
        rng = np.random.default_rng(seed)
        grain = rng.standard_normal((size[1], size[0]), dtype=np.float32)
        cv = cv2()
        self.grain: Plane = cv.GaussianBlur(grain, (0, 0), 1.1) * 3.0
        coarse = rng.standard_normal((size[1] // 24 + 2, size[0] // 24 + 2), dtype=np.float32)
        self.cloud: Plane = cv.resize(coarse, size, interpolation=cv.INTER_CUBIC)
        self.light = self._lamp()
        self.canvas = np.empty((size[1], size[0], 3), np.float32)
        self._kept: list[tuple[tuple[Shape, ...], NDArray[np.uint8]]] = []
        self._tiles: dict[tuple[object, ...], NDArray[np.uint8]] = {}

    def suits(self, scene: Scene) -> bool:
        """Whether a scene is of the same device, so that this painter can go on with it."""
        mine = (self.scene.width_mm, self.scene.height_mm, self.scene.corner_mm)
        return mine == (scene.width_mm, scene.height_mm, scene.corner_mm)

    def picture(self, scene: Scene) -> NDArray[np.uint8]:
        """The scene without sensor noise, (H, W, 3) uint8 BGR."""
        import numpy as np

        shapes = in_order(scene.shapes)
        if not shapes or shapes[0].kind != "body":
            shapes = (self._plain_body(), *shapes)
        done = self._resume(shapes)
        for number, shape in enumerate(shapes[done:], start=done + 1):
            self._shape(shape)
            if number % EVERY_SHAPES == 0 or shape.kind == "body":
                self._keep(shapes[:number])
        cv = cv2()
        lit = cv.GaussianBlur(cv.multiply(self.canvas, self.light), (3, 3), 0.55)
        return np.clip(lit, 0, 255, out=lit).astype(np.uint8)

    def _plain_body(self) -> Shape:
        from benchguide.camera.simulated import Shape

        return Shape("", "body", 6.0, ((0, 0), (self.scene.width_mm, self.scene.height_mm)))

    def _resume(self, shapes: tuple[Shape, ...]) -> int:
        """Put the longest usable kept drawing on the canvas; how many shapes it holds."""
        self._kept = [kept for kept in self._kept if kept[0] == shapes[: len(kept[0])]]
        if self._kept:
            self.canvas[:] = self._kept[-1][1]
            return len(self._kept[-1][0])
        self._bench()
        self._keep(())
        return 0

    def _keep(self, shapes: tuple[Shape, ...]) -> None:
        # Whole numbers: a drawing that goes on from here must equal one that was never kept.
        import numpy as np

        whole = np.clip(np.rint(self.canvas), 0, 255).astype(np.uint8)
        self.canvas[:] = whole
        self._kept.append((shapes, whole))
        if len(self._kept) > MOST_KEPT:
            del self._kept[1]

    def _tile(self, shape: Shape, extent: Points, colour: art.Bgr, number: int) -> NDArray[np.uint8]:
        import numpy as np

        key = (shape.id, shape.kind, shape.outline, shape.label, shape.tone)
        if key not in self._tiles:
            if len(self._tiles) > 256:
                self._tiles.clear()
            rng = np.random.default_rng((number, self.seed))
            w, h = float(extent[0]), float(extent[1])
            self._tiles[key] = art.face(shape.kind, w, h, self.ppm * 1.15, colour, shape.label, rng)
        return self._tiles[key]

    # -- whole things

    def _bench(self) -> None:
        """A grey mat with a faint ten-millimetre grid."""
        import numpy as np

        cv = cv2()
        width, height = self.size
        self.canvas[:] = (124, 120, 114)
        self.canvas += _three(self.grain * 1.1 + self.cloud * 1.6)
        lines = np.zeros((height, width), np.uint8)
        back = np.linalg.inv(self.view.homography(BENCH_Z_MM))
        corners = (
            np.array([(0, 0, 1), (width, 0, 1), (width, height, 1), (0, height, 1)], np.float64) @ back.T
        )
        corners = corners[:, :2] / corners[:, 2:]
        low, high = np.floor(corners.min(axis=0) / 10) * 10, np.ceil(corners.max(axis=0) / 10) * 10
        step = 10.0 if max(high - low) < 2000 else max(high - low) / 100
        for axis in (0, 1):
            for at in np.arange(low[axis], high[axis] + step, step):
                ends = [(at, low[1]), (at, high[1])] if axis == 0 else [(low[0], at), (high[0], at)]
                a, b = np.rint(self.view.project(np.array(ends), BENCH_Z_MM) * 8).astype(int)
                cv.line(lines, tuple(a.tolist()), tuple(b.tolist()), 255, 1, cv.LINE_AA, 3)
        self.canvas -= _three(lines.astype(np.float32) * (13 / 255))

    def _shape(self, shape: Shape) -> None:
        number = zlib.crc32(shape.id.encode())
        colour = art.tone(shape.tone, shape.kind)
        if shape.kind in ("screw", "hole"):
            self._round(shape, colour, number)
        elif shape.kind in ("cable", "bond"):
            self._strip(shape, colour)
        elif shape.kind == "body":
            self._shell(self._outline(shape), shape.z_mm, colour, shape.label, number)
        else:
            points = self._outline(shape)
            thick = THICK[shape.kind]
            low, high = points.min(axis=0), points.max(axis=0)
            tile = self._tile(shape, high - low, colour, number)
            self._shadow(points, shape.z_mm, thick)
            self._walls(points, shape.z_mm, thick, colour)
            gloss = {"loose": 0.0, "board": 0.35, "cell": 0.9}.get(shape.kind, 0.6)
            self._face(points, shape.z_mm, tile, gloss=gloss, matt=1.6 if shape.kind == "cover" else 0.8)

    def _shell(self, points: Points, z: float, colour: art.Bgr, label: str, number: int) -> None:
        """The open housing: outer walls, rim, and the floor seen inside it."""
        import numpy as np

        self._shadow(points, z, z - BENCH_Z_MM, strength=0.62)
        self._walls(points, z, z - BENCH_Z_MM, colour)
        low, high = points.min(axis=0), points.max(axis=0)
        rim = np.empty((8, 8, 3), np.uint8)
        rim[:] = art.lighter(colour, 1.18)
        self._face(points, z, rim, gloss=0.5)
        inner = _inset(points, WALL_MM)
        wall = np.empty((8, 8, 3), np.uint8)
        wall[:] = art.lighter(colour, 0.42)
        self._face(inner, z, wall, gloss=0.0, bevel=0.0)
        rng = np.random.default_rng((number, self.seed))
        w, h = float(high[0] - low[0]), float(high[1] - low[1])
        floor = art.face("body", w, h, self.ppm * 1.15, colour, label, rng)
        self._face(inner, 0.0, floor, gloss=0.3, clip=self.view.project(inner, z), bevel=0.0)
        self._inner_shadow(self.view.project(inner, z), z)

    def _round(self, shape: Shape, colour: art.Bgr, number: int) -> None:
        import numpy as np

        x, y = shape.outline[0]
        r = shape.diameter_mm / 2
        turn = number % 628 / 100
        angles = np.linspace(0, 2 * math.pi, 28, endpoint=False)
        ring = np.column_stack([x + r * np.cos(angles), y + r * np.sin(angles)])
        if shape.kind == "screw":
            self._shadow(ring, shape.z_mm, THICK["screw"], strength=0.6)
            self._walls(ring, shape.z_mm, THICK["screw"], colour)
            tile = art.screw_head(colour, shape.drive, turn)
        else:
            tile = art.hole(colour)
        half = r / 0.84
        self._decal(tile, x - half, y - half, 2 * half, 2 * half, shape.z_mm)

    def _strip(self, shape: Shape, colour: art.Bgr) -> None:
        """A flat flex with its conductors, a round wire, or a bead of glue."""
        import numpy as np

        middle = _smooth(np.array(shape.outline, np.float64))
        edge = _ribbon(middle, shape.width_mm / 2)
        thick = THICK[shape.kind] if shape.width_mm > 2 else shape.width_mm / 2
        self._shadow(edge, shape.z_mm, thick, strength=0.25 if shape.kind == "bond" else 0.5)
        tile = np.empty((4, 4, 3), np.uint8)
        tile[:] = colour
        glue = shape.kind == "bond"
        self._face(edge, shape.z_mm, tile, gloss=0.9 if glue else 0.5, bevel=1.6 if glue else 0.7,
                   opacity=0.8 if glue else 1.0)  # fmt: skip
        if glue:
            return
        count = min(80, int(shape.width_mm / 0.7)) if shape.width_mm > 2 else 0
        for i in range(count):
            offset = (i - (count - 1) / 2) * 0.7
            self._line(_beside(middle, offset), shape.z_mm, art.lighter(colour, 0.7), 0.22)
        if not count:
            self._line(_beside(middle, -shape.width_mm * 0.2), shape.z_mm, art.lighter(colour, 1.6), 0.25)

    def _lamp(self) -> NDArray[np.float32]:
        """Light falls off from the lamp at the far left; its white is a little warm."""
        import numpy as np

        width, height = self.size
        x = np.linspace(0, 1, width, dtype=np.float32)[None, :] - 0.34
        y = np.linspace(0, 1, height, dtype=np.float32)[:, None] - 0.26
        light = 1.13 - 0.46 * (x * x + 0.8 * y * y)
        warm: NDArray[np.float32] = cv2().merge((light * 0.97, light, light * 1.03))
        return warm

    # -- strokes

    def _mask(self, polygons: list[Points], pad: int) -> tuple[slice, slice, Plane] | None:
        """Antialiased cover of polygons (pixels) in the smallest window around them, 0 to 1."""
        import numpy as np

        cv = cv2()
        every = np.concatenate(polygons)
        x0, y0 = np.maximum(np.floor(every.min(axis=0)).astype(int) - pad, 0)
        x1, y1 = np.minimum(np.ceil(every.max(axis=0)).astype(int) + pad + 1, self.size)
        if x1 <= x0 or y1 <= y0:
            return None
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        for polygon in polygons:
            moved = np.rint((polygon - (x0, y0)) * 16).astype(np.int32)
            cv.fillPoly(mask, [moved], 255, cv.LINE_AA, 4)
        return slice(y0, y1), slice(x0, x1), mask.astype(np.float32) / np.float32(255)

    def _shadow(self, points: Points, z: float, thick: float, strength: float = 0.55) -> None:
        import numpy as np

        reach = max(0.25, thick)
        cast = points + np.array((0.55, 0.75)) * reach * 0.8
        sigma = min(120.0, max(0.8, 0.42 * reach * self.ppm))
        found = self._mask([self.view.project(cast, z - thick)], int(3 * sigma) + 2)
        if found is None:
            return
        rows, cols, mask = found
        dark = 1 - strength * _blurred(mask, sigma)
        self._darken(rows, cols, dark)

    def _walls(self, points: Points, z: float, thick: float, colour: art.Bgr) -> None:
        import numpy as np

        steps = max(1, min(200, math.ceil(thick * self.ppm * math.sin(TILT))))
        layers = [self.view.project(points, z - thick * i / steps) for i in range(1, steps + 1)]
        found = self._mask(layers, 1)
        if found is not None:
            rows, cols, mask = found
            flat = np.empty((*mask.shape, 3), np.float32)
            flat[:] = art.lighter(colour, 0.5)
            self._blend(rows, cols, mask, flat)

    def _face(
        self, points: Points, z: float, tile: NDArray[np.uint8], *, gloss: float, matt: float = 1.0,
        bevel: float = 1.0, opacity: float = 1.0, clip: Points | None = None,
    ) -> None:  # fmt: skip
        """Lay a tile over the polygon's bounding box on the plane z, lit from the far left."""
        import numpy as np

        found = self._mask([self.view.project(points, z)], 3)
        if found is None:
            return
        rows, cols, mask = found
        low, high = points.min(axis=0), points.max(axis=0)
        picture = self._warped(tile, low, high - low, z, rows, cols).astype(np.float32)
        height, width = mask.shape
        x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
        y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
        sheen = np.exp(-((x * 0.8 + y * 0.6 + 0.35) ** 2) / 0.06) * 0.10 * gloss
        light = 1.0 - 0.05 * x - 0.06 * y + sheen + self.grain[rows, cols] * 0.006 * matt
        cv = cv2()
        picture = cv.multiply(picture, _three(light))
        if bevel:
            edges = _edge_light(mask, min(6.0, max(0.8, 0.16 * self.ppm)))
            picture = cv.add(picture, _three(edges * (62 * bevel)))
        if clip is not None:
            inside = self._mask([clip], 3)
            mask = mask * _window(inside, rows, cols) if inside is not None else mask
        self._blend(rows, cols, mask * opacity, picture)

    def _inner_shadow(self, polygon: Points, depth: float) -> None:
        import numpy as np

        sigma = min(120.0, max(1.0, 0.3 * depth * self.ppm))
        found = self._mask([polygon], 3)
        if found is None:
            return
        rows, cols, mask = found
        shift = 0.45 * depth * self.ppm
        move = np.array([[1, 0, 0.55 * shift], [0, 1, 0.75 * shift]], np.float64)
        lit = cv2().warpAffine(_blurred(mask, sigma), move, (mask.shape[1], mask.shape[0]))
        self._darken(rows, cols, 1 - 0.6 * (1 - lit) * mask)

    def _decal(self, tile: NDArray[np.uint8], x: float, y: float, w: float, h: float, z: float) -> None:
        import numpy as np

        corners = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
        found = self._mask([self.view.project(corners, z)], 1)
        if found is None:
            return
        rows, cols, _ = found
        # Shrink first: the warp samples single points and would leave a small screw ragged.
        side = max(8, round(w * self.ppm * 1.2))
        if side < tile.shape[0]:
            tile = cv2().resize(tile, (side, side), interpolation=cv2().INTER_AREA)
        warped = self._warped(tile, corners[0], np.array((w, h)), z, rows, cols).astype(np.float32)
        self._blend(rows, cols, warped[..., 3] / np.float32(255), np.ascontiguousarray(warped[..., :3]))

    def _warped(
        self, tile: NDArray[np.uint8], low: Points, extent: Points, z: float, rows: slice, cols: slice
    ) -> NDArray[np.uint8]:
        import numpy as np

        cv = cv2()
        height, width = tile.shape[:2]
        to_mm = np.array(
            [[extent[0] / width, 0, low[0]], [0, extent[1] / height, low[1]], [0, 0, 1]], np.float64
        )
        to_window = np.array([[1, 0, -cols.start], [0, 1, -rows.start], [0, 0, 1]], np.float64)
        matrix = to_window @ self.view.homography(z) @ to_mm
        border = cv.BORDER_CONSTANT if tile.shape[2] == 4 else cv.BORDER_REPLICATE
        size = (cols.stop - cols.start, rows.stop - rows.start)
        return cv.warpPerspective(tile, matrix, size, flags=cv.INTER_LINEAR, borderMode=border)

    def _line(self, points: Points, z: float, colour: art.Bgr, width_mm: float) -> None:
        import numpy as np

        cv = cv2()
        pixels = np.rint(self.view.project(points, z) * 8).astype(np.int32)
        thick = max(1, min(60, round(width_mm * self.ppm)))
        cv.polylines(self.canvas, [pixels], False, colour, thick, cv.LINE_AA, 3)

    def _blend(self, rows: slice, cols: slice, mask: Plane, picture: NDArray[np.float32]) -> None:
        window = self.canvas[rows, cols]
        window[:] = cv2().blendLinear(picture, window, mask, 1 - mask)

    def _darken(self, rows: slice, cols: slice, by: Plane) -> None:
        window = self.canvas[rows, cols]
        window[:] = cv2().multiply(window, _three(by))

    # -- outlines

    def _outline(self, shape: Shape) -> Points:
        import numpy as np

        if len(shape.outline) > 2:
            return np.array(shape.outline, np.float64)
        (x0, y0), (x1, y1) = shape.outline
        x0, x1, y0, y1 = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
        x1, y1 = max(x1, x0 + 0.2), max(y1, y0 + 0.2)
        round_mm = {
            "body": self.scene.corner_mm, "cover": self.scene.corner_mm * 0.6, "board": 0.8,
            "connector": 0.25, "cell": 1.6, "loose": 0.5, "module": 0.9,
        }[shape.kind]  # fmt: skip
        return self._rounded(x0, y0, x1, y1, min(round_mm, 0.3 * (x1 - x0), 0.3 * (y1 - y0)))

    @staticmethod
    def _rounded(x0: float, y0: float, x1: float, y1: float, r: float) -> Points:
        import numpy as np

        r = max(0.01, min(r, (x1 - x0) / 2, (y1 - y0) / 2))
        arc = np.linspace(0, math.pi / 2, 9)
        points: list[tuple[float, float]] = []
        for i, (cx, cy) in enumerate(
            ((x1 - r, y1 - r), (x0 + r, y1 - r), (x0 + r, y0 + r), (x1 - r, y0 + r))
        ):
            points += [
                (cx + r * math.cos(a + i * math.pi / 2), cy + r * math.sin(a + i * math.pi / 2)) for a in arc
            ]
        return np.array(points)


def _three(plane: Plane) -> NDArray[np.float32]:
    """The plane in all three channels; several times quicker than broadcasting over them."""
    merged: NDArray[np.float32] = cv2().merge((plane, plane, plane))
    return merged


def _blurred(mask: Plane, sigma: float) -> Plane:
    """Gaussian blur; a wide one is done on a smaller picture, where nobody sees the difference."""
    cv = cv2()
    if sigma < 6:
        return cv.GaussianBlur(mask, (0, 0), sigma, borderType=cv.BORDER_CONSTANT)
    part = 4 if sigma < 24 else 8
    height, width = mask.shape
    small = cv.resize(mask, (max(1, width // part), max(1, height // part)), interpolation=cv.INTER_AREA)
    soft = cv.GaussianBlur(small, (0, 0), sigma / part, borderType=cv.BORDER_CONSTANT)
    return cv.resize(soft, (width, height), interpolation=cv.INTER_LINEAR)


def _edge_light(mask: Plane, sigma: float) -> Plane:
    """Bright along edges that face the lamp, dark along the others."""
    cv = cv2()
    soft = cv.GaussianBlur(mask, (0, 0), sigma)
    return (cv.Sobel(soft, cv.CV_32F, 1, 0) * 0.6 + cv.Sobel(soft, cv.CV_32F, 0, 1) * 0.8) * 0.35


def _window(found: tuple[slice, slice, Plane], rows: slice, cols: slice) -> Plane:
    """A mask given for its own window, seen through another one."""
    import numpy as np

    own_rows, own_cols, mask = found
    out = np.zeros((rows.stop - rows.start, cols.stop - cols.start), np.float32)
    y0, y1 = max(rows.start, own_rows.start), min(rows.stop, own_rows.stop)
    x0, x1 = max(cols.start, own_cols.start), min(cols.stop, own_cols.stop)
    if y1 > y0 and x1 > x0:
        part = mask[y0 - own_rows.start : y1 - own_rows.start, x0 - own_cols.start : x1 - own_cols.start]
        out[y0 - rows.start : y1 - rows.start, x0 - cols.start : x1 - cols.start] = part
    return out


def _inset(points: Points, by: float) -> Points:
    """The outline moved inwards, by scaling about its middle: right for a housing's rim."""
    low, high = points.min(axis=0), points.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    return middle + (points - middle) * ((half - min(by, *(half * 0.4))) / half)


def _smooth(points: Points) -> Points:
    """Round the corners of a line, twice by Chaikin's rule; the ends stay."""
    import numpy as np

    for _ in range(3):
        if len(points) < 3:
            return points
        q, r = points[:-1] * 0.75 + points[1:] * 0.25, points[:-1] * 0.25 + points[1:] * 0.75
        points = np.concatenate([points[:1], np.stack([q, r], axis=1).reshape(-1, 2)[1:-1], points[-1:]])
    return points


def _normals(points: Points) -> Points:
    import numpy as np

    along = np.gradient(points, axis=0)
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    return np.column_stack([-along[:, 1], along[:, 0]]) / length[:, None]


def _beside(points: Points, offset: float) -> Points:
    return points + _normals(points) * offset


def _ribbon(points: Points, half: float) -> Points:
    import numpy as np

    return np.concatenate([_beside(points, half), _beside(points, -half)[::-1]])
