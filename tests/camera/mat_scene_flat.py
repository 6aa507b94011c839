"""A second, independent maker of mat pictures: flat sprites laid on the page in layers, with their truth. Seeded.

Nothing is shared with mat_scene.py, whose parts are solids met by rays. Here every part is an outline drawn in the
plane of the paper with painted shading, so that no part leans; its contact shadow may be far darker; half of the
scenes mix light and half mix picture values; screws have thread crests, tips of three forms and the top of the head
showing as a sliver of an ellipse, as the tilt of a screw that rests on its head makes it. For tests and benchmarks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from benchguide.camera.mat_layout import Box, MatLayout
from benchguide.camera.opencv import cv2

#: Pixels a millimetre of the canvas.
K = 16.0
_SPRITE_MM = 14.0

# Picture values, blue-green-red, of the middle grey of a part, and how much its shading swings.
COLOURS = {
    "steel": ((150, 153, 155), 0.9),
    "zinc": ((200, 204, 200), 0.6),
    "nickel": ((146, 156, 168), 1.1),
    "black": ((40, 38, 37), 0.7),
    "brass": ((70, 146, 186), 0.8),
}
#: Head diameter over thread diameter, head height over thread diameter.
FORMS = {"pan": (1.9, 0.62), "flat": (1.85, 0.5), "cheese": (1.7, 0.7), "wafer": (2.45, 0.34)}


@dataclass
class Part:
    """One part; lengths in mm, place of its middle on the paper."""

    kind: str
    """`screw`, `standing screw`, `washer` or `bracket`."""
    x: float
    y: float
    yaw: float
    finish: str
    long: float = 0.0
    """Length of the outline: a screw's projected overall length, a washer's diameter, a bracket's length."""
    wide: float = 0.0
    """Diameter of the head, of the hole, or width of a bracket."""
    thread: float = 0.0
    high: float = 0.0
    """Height of the head along the outline."""
    form: str = ""
    top: float = 0.0
    """How far the top of the head shows beyond its rim, the axis lying tilted."""
    tip: str = "flat"

    @property
    def seen_mm(self) -> float | None:
        """Projected overall length of a lying screw."""
        return self.long if self.kind == "screw" else None


@dataclass
class FlatScene:
    """A picture and its truth."""

    image: np.ndarray
    ppm: float
    cells: dict[str, list[Part]]
    matrix: np.ndarray
    """(3, 3) from mm on the paper to pixels from the middle of the picture, before the lens error."""
    k1: float
    touching: set[str] = field(default_factory=set)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.image.shape[1], self.image.shape[0]

    def spot(self, part: Part) -> np.ndarray:
        """Pixel of the middle of a part."""
        a, b, c = self.matrix @ np.array([part.x, part.y, 1.0])
        w, h = self.size
        u = np.array([a, b]) / c
        bent = 1 + self.k1 * float(u @ u) / ((w / 2) ** 2 + (h / 2) ** 2)
        return u * bent + np.array([(w - 1) / 2, (h - 1) / 2])


def _step(distance: np.ndarray) -> np.ndarray:
    """Share of a pixel inside, from the signed distance in mm."""
    return np.clip(distance * K + 0.5, 0, 1)


def _screw_outline(part: Part, x: np.ndarray, v: np.ndarray, crest: float) -> np.ndarray:
    """Signed distance (about) to the outline; x from the top of the head to the tip."""
    head, shank, length = part.wide / 2, part.thread / 2, part.long
    k = part.high
    if part.form == "flat":
        radius = np.where(x < k, head - (head - shank) * np.clip((x - 0.1) / max(k - 0.1, 0.1), 0, 1), shank)
    elif part.form == "pan":
        radius = np.where(
            x < k, head * np.sqrt(np.clip(1 - ((0.75 * k - x) / (1.15 * k)) ** 2, 0.3, 1)), shank
        )
        radius = np.where((x > 0.75 * k) & (x < k), head, radius)
    else:
        radius = np.where(x < k, head, shank)
    pitch = 0.22 * part.thread
    radius = radius + np.where(x > k + 0.1, crest * np.cos(2 * math.pi * x / pitch), 0)
    near = np.clip((x - (length - 0.3)) / 0.3, 0, 1)
    if part.tip == "bevel":
        radius = radius - near * 0.22 * part.thread
    elif part.tip == "round":
        radius = radius * np.sqrt(np.clip(1 - 0.75 * near**2, 0, 1))
    start = part.top * (1 - np.sqrt(np.clip(1 - (v / head) ** 2, 0, 1)))
    return np.minimum(np.minimum(radius - abs(v), x - start), length - x)


def _screw_shade(
    rng: np.random.Generator, part: Part, x: np.ndarray, v: np.ndarray, swing: float
) -> np.ndarray:
    radius = np.where(x < part.high, part.wide / 2, part.thread / 2)
    t = np.clip(v / np.maximum(radius, 0.05), -1, 1)
    bright, dark = rng.uniform(-0.7, 0.7, 2)
    shade = 0.6 + 0.3 * np.sqrt(1 - t * t)
    shade += swing * rng.uniform(0.2, 0.7) * np.exp(-(((t - bright) / 0.2) ** 2))
    shade -= swing * 0.3 * np.exp(-(((t - dark) / 0.25) ** 2))
    shade *= 1 + np.where(x > part.high, swing * 0.2 * np.sin(2 * math.pi * x / (0.22 * part.thread)), 0)
    shade *= 1 - 0.3 * (abs(x - part.high) < 0.1)
    # top of the head and end of the tip look elsewhere than the flanks: any brightness
    shade = np.where(x < part.top + 0.08, shade * rng.uniform(0.55, 1.35), shade)
    return np.where(x > part.long - 0.22, shade * rng.uniform(0.6, 1.25), shade)


def _sprite(rng: np.random.Generator, part: Part) -> tuple[np.ndarray, np.ndarray, tuple[int, int]]:
    """Coverage (n, n), colour (n, n, 3) in picture values, and where its upper left pixel lies on the canvas."""
    n = int(_SPRITE_MM * K)
    left, top = round(part.x * K) - n // 2, round(part.y * K) - n // 2
    px, py = np.meshgrid((np.arange(n) + left + 0.5) / K - part.x, (np.arange(n) + top + 0.5) / K - part.y)
    c, s = math.cos(part.yaw), math.sin(part.yaw)
    u, v = px * c + py * s, py * c - px * s
    base, swing = COLOURS[part.finish]
    far = np.hypot(u, v)
    if part.kind == "screw":
        x = u + part.long / 2
        cover = _step(_screw_outline(part, x, v, rng.uniform(0, 0.05)))
        shade = _screw_shade(rng, part, x, v, swing)
    elif part.kind == "standing screw":
        cover = _step(part.wide / 2 - far)
        shade = 0.85 + 0.2 * swing * np.cos(2 * np.arctan2(v, u) + rng.uniform(0, 6))
        shade = np.where(far < part.thread / 2, shade * rng.uniform(0.5, 1.2), shade)
        shade *= 1 - 0.4 * np.exp(-(((far - part.thread / 2) / 0.12) ** 2))
    elif part.kind == "washer":
        cover = np.minimum(_step(part.long / 2 - far), _step(far - part.wide / 2))
        shade = 0.9 + 0.2 * swing * np.cos(2 * np.arctan2(v, u) + rng.uniform(0, 6))
    else:
        cover = _step(np.minimum(part.long / 2 - abs(u), part.wide / 2 - abs(v)))
        cover = np.minimum(cover, _step(np.hypot(u - part.long / 4, v) - part.wide * 0.2))
        shade = 0.9 + 0.12 * swing * np.sin(3 * u + rng.uniform(0, 6))
    colour = np.array(base) * rng.uniform(0.85, 1.12) * np.clip(shade, 0.1, 1.7)[..., None]
    return cover.astype(np.float32), np.clip(colour, 2, 253).astype(np.float32), (left, top)


def _random_part(rng: np.random.Generator, box: Box) -> Part:
    x, y = rng.uniform(box.x + 2, box.x + box.w - 2), rng.uniform(box.y + 2, box.y + box.h - 2)
    yaw, finish = float(rng.uniform(0, 2 * math.pi)), str(rng.choice(list(COLOURS)))
    which = rng.random()
    if which < 0.09:
        long = rng.uniform(3.0, 6.0)
        return Part("washer", x, y, yaw, finish, long, long * rng.uniform(0.4, 0.55))
    if which < 0.15:
        return Part("bracket", x, y, yaw, finish, rng.uniform(4.5, 9.0), rng.uniform(2.5, 4.5))
    thread = float(rng.choice([1.2, 1.4, 1.6, 1.8, 2.0, 2.5]))
    form = str(rng.choice(list(FORMS)))
    wide, high = FORMS[form][0] * thread, FORMS[form][1] * thread
    if which < 0.27:
        return Part("standing screw", x, y, yaw, finish, wide, wide, thread)
    below = rng.uniform(max(1.2, 1.3 * thread), 8.0)
    run = below - (high if form == "flat" else 0)
    tilt = math.atan2((wide - thread) / 2, max(run, 0.7))
    overall = (below + (0 if form == "flat" else high)) * math.cos(tilt)
    sliver = min(0.5 * wide * math.sin(tilt), 0.35) * (0.4 if form == "pan" else 1)
    tip = str(rng.choice(["flat", "bevel", "round"]))
    return Part("screw", x, y, yaw, finish, max(overall, high + 0.8), wide, thread, high, form, sliver, tip)


def _cover_in(part: Part, box: Box, ppm: float = 8.0) -> np.ndarray:
    """Rough mask of a part over a cell with 2 mm around it."""
    xs = np.arange(box.x - 2, box.x + box.w + 2, 1 / ppm) - part.x
    ys = np.arange(box.y - 2, box.y + box.h + 2, 1 / ppm) - part.y
    px, py = np.meshgrid(xs, ys)
    c, s = math.cos(part.yaw), math.sin(part.yaw)
    u, v = px * c + py * s, py * c - px * s
    if part.kind == "screw":
        return _screw_outline(part, u + part.long / 2, v, 0.0) > 0
    if part.kind == "bracket":
        return (abs(u) < part.long / 2) & (abs(v) < part.wide / 2)
    return np.hypot(u, v) < part.long / 2


def _fill(rng: np.random.Generator, box: Box, count: int, touch: bool, gap: float) -> list[Part]:
    """Parts inside the cell, at least `gap` mm apart; with `touch` the second one pushed against the first."""
    parts: list[Part] = []
    taken = np.zeros((0, 0), bool)
    kernel = cv2().getStructuringElement(cv2().MORPH_ELLIPSE, (2 * round(gap * 8) + 1,) * 2)
    first = np.zeros((0, 0), bool)
    for _ in range(200):
        if len(parts) == count:
            break
        part = _random_part(rng, box)
        mask = _cover_in(part, box)
        if touch and len(parts) == 1:
            way = rng.uniform(0, 2 * math.pi)
            for far in np.arange(11.0, 0.0, -0.15):
                part.x, part.y = parts[0].x + far * math.cos(way), parts[0].y + far * math.sin(way)
                mask = _cover_in(part, box)
                if (mask & first).any():
                    break
        elif parts and (mask & taken).any():
            continue
        edge = 21
        if mask[edge:-edge, edge:-edge].sum() < mask.sum():
            continue
        grown = cv2().dilate(mask.astype(np.uint8), kernel) > 0
        taken = grown if not parts else taken | grown
        first = mask if not parts else first
        parts.append(part)
    return parts


def make_flat_scene(
    seed: int,
    layout: MatLayout,
    page: np.ndarray,
    ppm: float,
    size: tuple[int, int] = (1920, 1080),
    touching: float = 0.15,
) -> FlatScene:
    """Parts at random on the mat, seen by a camera at random at about `ppm` pixels a millimetre.

    page: the printed page as (H, W, 3) blue-green-red at any resolution. touching: share of the cells with two parts
    or more in which two touch.
    """
    rng = np.random.default_rng([seed, 77])
    cells: dict[str, list[Part]] = {}
    touched: set[str] = set()
    for name, box in layout.cells.items():
        count = int(rng.integers(0, 6))
        touch = count >= 2 and rng.random() < touching
        cells[name] = _fill(rng, box, count, touch, 0.7)
        if touch and len(cells[name]) >= 2:
            touched.add(name)
    parts = [part for found in cells.values() for part in found]
    power = 2.2 if rng.random() < 0.5 else 1.0
    canvas = _canvas(rng, layout, page, parts, power)
    image, matrix, k1 = _shoot(rng, layout, canvas, ppm, size, power)
    return FlatScene(image, ppm, cells, matrix, k1, touched)


def _canvas(
    rng: np.random.Generator, layout: MatLayout, page: np.ndarray, parts: list[Part], power: float
) -> np.ndarray:
    """The lit page with its parts, (H, W, 3) float32, 1 for white: picture values to the power, straight down."""
    cv = cv2()
    w, h = round(layout.width_mm * K), round(layout.height_mm * K)
    # of a paper that is lit well but not clipped
    canvas = (cv.resize(page, (w, h), interpolation=cv.INTER_AREA).astype(np.float32) / 255) ** power
    canvas *= rng.uniform(0.68, 0.92) ** power
    shadow = np.ones((h, w), np.float32)
    way, cast, soft = rng.uniform(0, 2 * math.pi), rng.uniform(0.25, 0.8), rng.uniform(0.3, 0.8)
    depth, contact, close = rng.uniform(0.15, 0.5), rng.uniform(0.1, 0.5), rng.uniform(0.12, 0.35)
    drawn = []
    for part in parts:
        cover, colour, (x, y) = _sprite(rng, part)
        n = len(cover)
        if x < 0 or y < 0 or x + n > w or y + n > h:
            raise AssertionError("a part lies too near the edge of the page")
        shift = np.float32([[1, 0, cast * math.cos(way) * K], [0, 1, cast * math.sin(way) * K]])
        long = cv.warpAffine(cv.GaussianBlur(cover, (0, 0), soft * K), shift, (n, n))
        tight = cv.GaussianBlur(cover, (0, 0), close * K)
        shadow[y : y + n, x : x + n] *= (1 - depth * long) * (1 - contact * tight)
        drawn.append((x, y, n, cover[..., None], (colour / 255) ** power))
    gy, gx = np.mgrid[0 : layout.height_mm : 48j, 0 : layout.width_mm : 64j].astype(np.float32)
    slope = rng.uniform(-0.0013, 0.0013, 2)
    light = 1 + slope[0] * (gx - layout.width_mm / 2) + slope[1] * (gy - layout.height_mm / 2)
    if rng.random() < 0.6:
        turn = rng.uniform(0, 2 * math.pi)
        off = gx * math.cos(turn) + gy * math.sin(turn) - rng.uniform(-60, 150)
        light *= 1 - rng.uniform(0.1, 0.35) / (1 + np.exp(-off / rng.uniform(3, 14)))
    light = cv.resize(light.astype(np.float32), (w, h), interpolation=cv.INTER_LINEAR)
    canvas *= (shadow * light)[..., None]
    for x, y, n, cover, colour in drawn:
        under = canvas[y : y + n, x : x + n]
        under += cover * (colour * light[y : y + n, x : x + n, None] - under)
    if rng.random() < 0.5:
        x, y, wide = rng.uniform(0, layout.width_mm), rng.uniform(0, layout.height_mm), rng.uniform(12, 40)
        spot = rng.uniform(0.08, 0.3) * np.exp(-((gx - x) ** 2 + (gy - y) ** 2) / (2 * wide * wide))
        canvas += cv.resize(spot.astype(np.float32), (w, h), interpolation=cv.INTER_LINEAR)[..., None]
    return canvas


def _shoot(
    rng: np.random.Generator,
    layout: MatLayout,
    canvas: np.ndarray,
    ppm: float,
    size: tuple[int, int],
    power: float,
) -> tuple[np.ndarray, np.ndarray, float]:
    """Picture, (3, 3) mm to pixels from its middle, radial term."""
    cv, over = cv2(), 2
    w, h = size
    focal = w / 2 / math.tan(math.radians(rng.uniform(60, 78)) / 2)
    matrix = _pose(rng, layout, focal, focal / ppm)
    k1 = float(rng.uniform(-0.10, 0.04))
    xs = (np.arange(0, w * over + 8, 8) + 0.5) / over - 0.5 - (w - 1) / 2
    ys = (np.arange(0, h * over + 8, 8) + 0.5) / over - 0.5 - (h - 1) / 2
    bent = np.stack(np.meshgrid(xs, ys), -1)
    straight = bent.copy()
    for _ in range(8):
        straight = bent / (1 + k1 * (straight**2).sum(-1, keepdims=True) / (w * w / 4 + h * h / 4))
    q = np.concatenate([straight, np.ones_like(straight[..., :1])], -1) @ np.linalg.inv(matrix).T
    mm = (q[..., :2] / q[..., 2:]).astype(np.float32)
    u, v = np.meshgrid(np.arange(w * over, dtype=np.float32) / 8, np.arange(h * over, dtype=np.float32) / 8)
    at = cv.remap(mm, u, v, cv.INTER_LINEAR) * np.float32(K) - np.float32(0.5)
    table = tuple(float(value) ** power for value in rng.uniform(0.1, 0.43, 3))
    seen = cv.remap(canvas, at, None, cv.INTER_LINEAR, borderMode=cv.BORDER_CONSTANT, borderValue=table)
    seen = cv.GaussianBlur(seen, (0, 0), float(rng.uniform(0.4, 1.0)) * over)
    seen = cv.resize(seen, size, interpolation=cv.INTER_AREA)
    # the lens mixes in the same way as the scene: light, or picture values
    seen = np.maximum(seen, 0) ** np.float32(1 / power) * 255
    seen *= rng.uniform(0.92, 1.08, 3).astype(np.float32)
    seen += rng.standard_normal(seen.shape, np.float32) * np.float32(rng.uniform(1.2, 3.2))
    seen += np.float32(rng.uniform(0, 0.6)) * (seen - cv.GaussianBlur(seen, (0, 0), 1.1))
    ok, data = cv.imencode(
        ".jpg", np.clip(seen + 0.5, 0, 255).astype(np.uint8),
        [cv.IMWRITE_JPEG_QUALITY, int(rng.integers(75, 93))],
    )  # fmt: skip
    assert ok
    return cv.imdecode(data, cv.IMREAD_COLOR), matrix, k1


def _pose(rng: np.random.Generator, layout: MatLayout, focal: float, distance: float) -> np.ndarray:
    """Homography of a camera beside the middle of the mat that looks at it."""
    middle = np.array([layout.width_mm / 2, layout.height_mm / 2, 0.0])
    eye = middle + np.array([*(rng.uniform(-0.22, 0.22, 2) * distance), -distance])
    forward = (middle - eye) / np.linalg.norm(middle - eye)
    right = np.array([1.0, 0.0, 0.0]) - forward[0] * forward
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    a = math.radians(rng.uniform(-12, 12))
    turned = np.stack(
        [math.cos(a) * right + math.sin(a) * down, math.cos(a) * down - math.sin(a) * right, forward]
    )
    move = -turned @ eye
    return np.diag([focal, focal, 1.0]) @ np.column_stack([turned[:, 0], turned[:, 1], move])
