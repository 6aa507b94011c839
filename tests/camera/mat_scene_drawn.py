"""A third, independent maker of mat pictures: parts drawn slice by slice with Pillow, with their truth. Seeded.

Shares nothing with mat_scene.py (rays) and mat_scene_flat.py (sprites). Every part is a stack of level slices, each
a polygon shifted by the slant of the view, so that parts lean and their flanks show. Other heads (button, hexagon,
socket cap, flange, oval), other tips (point, dog, flat), threads as saw teeth, two lamps of different colour with
soft shadows and one ambient light that a part shuts out near its foot, gloss that mirrors the paper, colour cast,
a camera's tone curve, defocus as a disc, motion, vignetting, colour stored at half resolution, lens error. Besides
screws: nuts, springs, clips, rings, balls, headless screws; besides touching pairs: piles. For tests and benchmarks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from io import BytesIO
from itertools import pairwise

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from benchguide.camera.mat_layout import Box, MatLayout
from benchguide.camera.opencv import cv2

#: Pixels a millimetre of the canvas, and of the drawing of one part.
K, FINE = 20, 40
_SPRITE_MM = 16

#: Linear reflectance red-green-blue, how much of it is gloss.
METALS = {
    "steel": ((0.42, 0.42, 0.43), 0.7),
    "zinc": ((0.62, 0.64, 0.66), 0.5),
    "bright": ((0.50, 0.50, 0.50), 1.0),
    "black": ((0.022, 0.022, 0.025), 0.5),
    "brass": ((0.52, 0.36, 0.12), 0.7),
    "copper": ((0.50, 0.24, 0.14), 0.6),
}
#: Head diameter over thread, height over thread.
HEADS = {
    "button": (1.8, 0.55),
    "hexagon": (1.85, 0.7),
    "socket": (1.75, 1.0),
    "flange": (2.3, 0.7),
    "oval": (1.85, 0.85),
}
ODD = ("nut", "spring", "clip", "ring", "ball", "grub")
_PAPER = np.array([0.01, 0.42, 0.66])
Slice = tuple[float, np.ndarray, np.ndarray]


@dataclass
class Part:
    """One part; lengths in mm, place of its middle on the paper."""

    kind: str
    """`screw`, `standing screw` or one of `ODD`."""
    x: float
    y: float
    yaw: float
    metal: str
    thread: float = 0.0
    below: float = 0.0
    """Length below the head."""
    head: str = ""
    tip: str = "flat"
    size: float = 0.0
    """Width of a part that is no screw."""
    seen_mm: float | None = None
    """Overall length on the paper as the camera sees it."""
    true_mm: float | None = None

    @property
    def head_d(self) -> float:
        """Diameter of the head."""
        return HEADS[self.head][0] * self.thread

    @property
    def head_h(self) -> float:
        """Height of the head."""
        return HEADS[self.head][1] * self.thread


@dataclass
class DrawnScene:
    """A picture and its truth."""

    image: np.ndarray
    ppm: float
    cells: dict[str, list[Part]]
    matrix: np.ndarray
    """(3, 3) from mm on the paper to pixels from the middle of the picture, before the lens error."""
    k1: float
    touching: set[str] = field(default_factory=set)
    piles: set[str] = field(default_factory=set)
    light: str = ""
    """`soft`, `hard` or `dark shadow`."""

    def spot(self, part: Part) -> np.ndarray:
        """Pixel of the middle of a part."""
        a, b, c = self.matrix @ np.array([part.x, part.y, 1.0])
        h, w = self.image.shape[:2]
        u = np.array([a, b]) / c
        bent = 1 + self.k1 * float(u @ u) / ((w / 2) ** 2 + (h / 2) ** 2)
        return u * bent + np.array([(w - 1) / 2, (h - 1) / 2])


def _radius(part: Part, x: np.ndarray, crest: float) -> np.ndarray:
    """Radius of a screw at x mm from the top of its head; 0 outside."""
    big, small, k, end = part.head_d / 2, part.thread / 2, part.head_h, part.head_h + part.below
    top = np.full_like(x, big)
    if part.head == "button":
        top = big * np.sqrt(np.clip(1 - ((k - x) / k) ** 2 * 0.86, 0, 1))
    elif part.head == "hexagon":
        top = np.where(x < 0.12 * k, big * (0.86 + 0.14 * x / (0.12 * k)), big * 0.95)
    elif part.head == "flange":
        top = np.where(x < 0.72 * k, big * 0.68, big)
    elif part.head == "oval":
        rise = 0.35 * k
        cone = big - (big - small) * np.clip((x - rise) / (k - rise), 0, 1)
        top = np.where(x < rise, big * np.sqrt(np.clip(1 - ((rise - x) / rise) ** 2 * 0.8, 0, 1)), cone)
    pitch = 0.24 * part.thread
    saw = crest * (2 * abs(((x - k) / pitch) % 1 - 0.5) - 0.5)
    shank = np.where(x > k + 0.15, small + saw, small)
    if part.tip == "point":
        long = 0.5 * part.thread
        shank = np.where(x > end - long, small * np.clip(0.45 + 0.55 * (end - x) / long, 0, 1), shank)
    elif part.tip == "dog":
        shank = np.where(x > end - 0.35, small * 0.72, shank)
    radius = np.where(x < k, top, shank)
    return np.where((x < 0) | (x > end), 0.0, radius)


def _lying(rng: np.random.Generator, part: Part) -> list[Slice]:
    """Slices of a lying screw: height, outline (n, 2) mm in its own frame, up-ness of the surface."""
    end = part.head_h + part.below
    crest = float(rng.uniform(0.0, 0.06))
    x = np.concatenate([[0.0], np.arange(0.01, end - 0.005, 0.04), [end]])
    radius = _radius(part, np.clip(x, 1e-4, end - 1e-4), crest)
    big, small = part.head_d / 2, part.thread / 2
    rim = part.head_h if part.head != "oval" else 0.35 * part.head_h
    tilt = math.atan2(big - small, max(end - rim, 0.4))
    axis = big * math.cos(tilt) + (rim - x) * math.sin(tilt)
    slices = []
    for high in np.linspace(0.04, float((axis + radius).max()) - 0.03, 10):
        off = high - axis
        half = np.sqrt(np.clip(radius**2 - off**2, 0, None))
        on = half > 0
        if on.sum() < 3:
            continue
        along = (x - end / 2) * math.cos(tilt) + off * math.sin(tilt)
        for run in np.split(np.flatnonzero(on), np.flatnonzero(np.diff(np.flatnonzero(on)) > 1) + 1):
            if len(run) < 2:
                continue
            there = np.stack([along[run], half[run]], 1)
            back = np.stack([along[run][::-1], -half[run][::-1]], 1)
            up = float(np.clip(np.median(off[run] / np.maximum(radius[run], 0.05)), -1, 1))
            slices.append((float(high), np.concatenate([there, back]), np.array([up])))
    return slices


def _ring(radius: float, count: int = 48, turn: float = 0.0) -> np.ndarray:
    a = np.arange(count) * 2 * math.pi / count + turn
    return np.stack([radius * np.cos(a), radius * np.sin(a)], 1)


def _band(points: np.ndarray, wide: float) -> np.ndarray:
    """Outline of a line of some width."""
    way = np.gradient(points, axis=0)
    way /= np.maximum(np.hypot(way[:, :1], way[:, 1:]), 1e-9)
    side = np.stack([-way[:, 1], way[:, 0]], 1) * wide / 2
    return np.concatenate([points + side, (points - side)[::-1]])


def _slices(rng: np.random.Generator, part: Part) -> list[Slice]:
    """Every slice from the paper upwards."""
    up = np.array([0.6])
    if part.kind == "screw":
        return _lying(rng, part)
    if part.kind == "standing screw":
        end = part.head_h + part.below
        sides = 6 if part.head == "hexagon" else 48
        high = np.arange(0.05, end, 0.12)
        radius = _radius(part, np.clip(high, 1e-3, end - 1e-3), 0.0)
        rings = [(float(z), _ring(float(r), sides if z < part.head_h else 48), np.array([0.1]))
                 for z, r in zip(high, radius, strict=True)]  # fmt: skip
        return [*rings[:-1], (rings[-1][0], rings[-1][1], np.array([0.9]))]
    if part.kind == "nut":
        return [(float(z), _ring(part.size / 2, 6), up) for z in np.arange(0.05, 0.4 * part.size, 0.2)]
    if part.kind == "ball":
        r = part.size / 2
        return [(float(z), _ring(math.sqrt(max(r * r - (z - r) ** 2, 0.0))), np.array([(z - r) / r]))
                for z in np.linspace(0.1, 2 * r - 0.02, 12)]  # fmt: skip
    if part.kind == "ring":
        return [(z, _ring(part.size / 2), up) for z in (0.1, 0.3)]
    if part.kind == "spring":
        t = np.linspace(-1, 1, 90)
        line = np.stack([t * part.size, 0.9 * np.sin(t * 15)], 1)
        return [(z, _band(line, 0.5), up) for z in (0.2, 0.6)]
    if part.kind == "clip":
        w, h = part.size, part.size * 0.55
        line = np.array([[-w / 2, h / 2], [w / 2, h / 2], [w / 2, -h / 2], [-w / 3, -h / 2]])
        fine = np.concatenate([np.linspace(a, b, 12) for a, b in pairwise(line)])
        return [(z, _band(fine, 0.8), up) for z in (0.15, 0.5)]
    r = part.thread / 2
    slices = []
    for z in np.linspace(0.04, 2 * r - 0.02, 10):
        half, long = math.sqrt(max(r * r - (z - r) ** 2, 0.0)), part.below / 2
        box = np.array([[-long, -half], [long, -half], [long, half], [-long, half]])
        slices.append((float(z), box, np.array([(z - r) / r])))
    return slices


def _draw(
    rng: np.random.Generator, part: Part, slant: np.ndarray, lamps: list[tuple[np.ndarray, np.ndarray]],
    ambient: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """Coverage (n, n), linear colour (n, n, 3) red-green-blue, and footprint (n, n) at K pixels a millimetre."""
    side = _SPRITE_MM * FINE
    shape, foot = Image.new("L", (side, side)), Image.new("L", (side, side))
    paint = [Image.new("F", (side, side)) for _ in range(3)]
    tools = [ImageDraw.Draw(each) for each in paint]
    masks = ImageDraw.Draw(shape), ImageDraw.Draw(foot)
    base, gloss = METALS[part.metal]
    tint = np.array(base) * rng.uniform(0.85, 1.15)
    c, s = math.cos(part.yaw), math.sin(part.yaw)
    sky = rng.uniform(0.5, 1.3)
    for high, outline, up in _slices(rng, part):
        at = outline @ np.array([[c, s], [-s, c]])
        lean = ((at + slant * high + _SPRITE_MM / 2) * FINE).ravel().tolist()
        masks[0].polygon(lean, fill=255)
        masks[1].polygon(((at + _SPRITE_MM / 2) * FINE).ravel().tolist(), fill=255)
        light = _glow(float(up[0]), tint, gloss, sky, lamps, ambient, rng)
        for tool, value in zip(tools, light, strict=True):
            tool.polygon(lean, fill=float(value))
    if part.kind in ("nut", "ring"):
        hole = 0.27 if part.kind == "nut" else 0.33
        at = (_ring(part.size * hole) + _SPRITE_MM / 2) * FINE
        for mask in masks:
            mask.polygon([tuple(p) for p in at], fill=0)
    if part.kind == "screw" and rng.random() < 0.6:
        _flash(rng, part, tools, lamps, slant, (c, s))
    small = (_SPRITE_MM * K, _SPRITE_MM * K)
    cover = np.asarray(shape.resize(small, Image.Resampling.BOX), np.float32) / 255
    under = np.asarray(foot.resize(small, Image.Resampling.BOX), np.float32) / 255
    colour = np.stack([np.asarray(each.resize(small, Image.Resampling.BOX)) for each in paint], -1)
    # colours were averaged with the nothing around the part
    return cover, colour / np.maximum(cover, 0.02)[..., None], under


def _glow(
    up: float, tint: np.ndarray, gloss: float, sky: float, lamps: list[tuple[np.ndarray, np.ndarray]],
    ambient: np.ndarray, rng: np.random.Generator,
) -> np.ndarray:  # fmt: skip
    """Light from one slice: it scatters lamps, and mirrors the sky above or the paper below."""
    lamp = sum((colour for _way, colour in lamps), np.zeros(3))
    scattered = ambient + lamp * max(0.15, 0.35 + 0.65 * up)
    mirrored = (0.9 * sky * (ambient + 0.4 * lamp)) if up > 0 else (ambient + 0.5 * lamp) * _PAPER
    return np.clip(tint * ((1 - 0.6 * gloss) * scattered + gloss * mirrored * rng.uniform(0.8, 1.2)), 0, 3)


def _flash(
    rng: np.random.Generator, part: Part, tools: list[ImageDraw.ImageDraw],
    lamps: list[tuple[np.ndarray, np.ndarray]], slant: np.ndarray, turn: tuple[float, float],
) -> None:  # fmt: skip
    """A streak of the lamp along the shank."""
    c, s = turn
    half = (part.head_h + part.below) / 2
    off = rng.uniform(-0.2, 0.2) * part.thread
    run = np.array([[-half + part.head_h, off], [half - 0.3, off]])
    at = run @ np.array([[c, s], [-s, c]]) + slant * part.thread * 0.9
    line = [tuple(p) for p in (at + _SPRITE_MM / 2) * FINE]
    for tool, value in zip(tools, lamps[0][1] * rng.uniform(0.4, 1.6), strict=True):
        tool.line(line, fill=float(value), width=max(2, round(0.16 * part.thread * FINE)))


def _seen(part: Part, cover: np.ndarray, ppm: float) -> float:
    """Extent along the axis over the middle half of the shank's width, found by turning the drawing."""
    middle = cover.shape[0] / 2
    c, s = math.cos(part.yaw), math.sin(part.yaw)
    along = np.arange(-8.5, 8.5, 0.01)
    across = np.linspace(-2.5, 2.5, 101)
    u, v = np.meshgrid(along, across)
    px, py = ((u * c - v * s) * ppm + middle - 0.5), ((u * s + v * c) * ppm + middle - 0.5)
    hit = cv2().remap(cover, px.astype(np.float32), py.astype(np.float32), cv2().INTER_LINEAR) > 0.5
    rows = hit.sum(1)
    row = np.average(across, weights=np.maximum(rows - 0.5 * rows.max(), 0) + 1e-9)
    near = abs(across - row) < max(part.thread * 0.25, 0.06)
    hits = np.flatnonzero(hit[near].any(0))
    return float((hits[-1] - hits[0] + 1) * 0.01)


def _random_part(rng: np.random.Generator, box: Box, screw: bool = False) -> Part:
    x, y = rng.uniform(box.x + 2.3, box.x + box.w - 2.3), rng.uniform(box.y + 2.3, box.y + box.h - 2.3)
    yaw, metal = float(rng.uniform(0, 2 * math.pi)), str(rng.choice(list(METALS)))
    which = 1.0 if screw else rng.random()
    thread = float(rng.choice([1.2, 1.4, 1.6, 2.0, 2.5, 3.0]))
    if which < 0.15:
        kind = str(rng.choice(ODD))
        return Part(kind, x, y, yaw, metal, thread, rng.uniform(3.0, 6.0), size=rng.uniform(3.0, 5.0))
    head, tip = str(rng.choice(list(HEADS))), str(rng.choice(["flat", "point", "dog"]))
    kind = "standing screw" if which < 0.25 else "screw"
    return Part(kind, x, y, yaw, metal, thread, float(rng.uniform(max(1.4, 1.35 * thread), 8.5)), head, tip)


def _rough(part: Part, slant: np.ndarray, box: Box, ppm: float = 8.0) -> np.ndarray:
    """Mask of a part over a cell with 2 mm around it, where the camera sees it."""
    return _mask(_leaning(part, slant), part, box, ppm)


def _leaning(part: Part, slant: np.ndarray) -> list[np.ndarray]:
    """Every slice's outline as the camera sees it, about the middle of the part."""
    turn = np.array([[math.cos(part.yaw), math.sin(part.yaw)], [-math.sin(part.yaw), math.cos(part.yaw)]])
    return [outline @ turn + slant * high for high, outline, _up in _slices(np.random.default_rng(0), part)]


def _mask(outlines: list[np.ndarray], part: Part, box: Box, ppm: float = 8.0) -> np.ndarray:
    mask = np.zeros((round((box.h + 4) * ppm), round((box.w + 4) * ppm)), np.uint8)
    for outline in outlines:
        at = outline + np.array([part.x - box.x + 2, part.y - box.y + 2])
        cv2().fillPoly(mask, [np.rint(at * ppm).astype(np.int32)], 1)
    return mask > 0


def _fill(
    rng: np.random.Generator, box: Box, slant: np.ndarray, count: int, touch: bool, gap: float
) -> list[Part]:
    """Parts inside a cell, at least `gap` mm apart; with `touch` the second is pushed against the first."""
    kernel = cv2().getStructuringElement(cv2().MORPH_ELLIPSE, (2 * round(gap * 8) + 1,) * 2)
    parts: list[Part] = []
    taken = first = np.zeros((0, 0), bool)
    for _ in range(250):
        if len(parts) == count:
            break
        part = _random_part(rng, box)
        mask = _rough(part, slant, box)
        if touch and len(parts) == 1:
            way, outlines = rng.uniform(0, 2 * math.pi), _leaning(part, slant)
            for far in np.arange(12.0, 0.0, -0.12):
                part.x, part.y = parts[0].x + far * math.cos(way), parts[0].y + far * math.sin(way)
                mask = _mask(outlines, part, box)
                if (mask & first).any():
                    break
        elif parts and (mask & taken).any():
            continue
        if mask[21:-21, 21:-21].sum() < mask.sum() or not mask.any():
            continue
        grown = cv2().dilate(mask.astype(np.uint8), kernel) > 0
        taken = grown if not parts else taken | grown
        first = mask if not parts else first
        parts.append(part)
    return parts


def _pile(rng: np.random.Generator, box: Box) -> list[Part]:
    """Screws thrown on one heap in the middle."""
    parts = []
    for _ in range(int(rng.integers(4, 8))):
        part = _random_part(rng, box, screw=True)
        part.below = min(part.below, 5.0)
        part.x, part.y = box.middle[0] + rng.normal(0, 1.1), box.middle[1] + rng.normal(0, 1.1)
        parts.append(part)
    return parts


def make_drawn_scene(
    seed: int,
    layout: MatLayout,
    page: np.ndarray,
    ppm: float,
    size: tuple[int, int] = (1920, 1080),
    touching: float = 0.15,
    piles: float = 0.05,
) -> DrawnScene:
    """Parts at random on the mat, seen by a camera at random at about `ppm` pixels a millimetre.

    page: the printed page as (H, W, 3) blue-green-red at any resolution. touching, piles: share of the cells in which
    two parts touch, and in which a heap lies.
    """
    rng = np.random.default_rng([seed, 991])
    focal = size[0] / 2 / math.tan(math.radians(rng.uniform(55, 75)) / 2)
    matrix, eye = _pose(rng, layout, focal, focal / ppm)
    k1 = float(rng.uniform(-0.08, 0.03))
    cells: dict[str, list[Part]] = {}
    touched, heaps = set(), set()
    for name, box in layout.cells.items():
        slant = (np.array(box.middle) - eye[:2]) / eye[2]
        if rng.random() < piles:
            cells[name] = _pile(rng, box)
            heaps.add(name)
            continue
        count = int(rng.integers(0, 6))
        touch = count >= 2 and rng.random() < touching
        cells[name] = _fill(rng, box, slant, count, touch, 0.8)
        if touch and len(cells[name]) >= 2:
            touched.add(name)
    parts = [part for found in cells.values() for part in found]
    canvas, light = _canvas(rng, layout, page, parts, eye)
    return DrawnScene(_shoot(rng, canvas, matrix, k1, size), ppm, cells, matrix, k1, touched, heaps, light)


def _canvas(
    rng: np.random.Generator, layout: MatLayout, page: np.ndarray, parts: list[Part], eye: np.ndarray
) -> tuple[np.ndarray, str]:
    """The lit page with its parts, (H, W, 3) linear red-green-blue, and what the light is like."""
    w, h = round(layout.width_mm * K), round(layout.height_mm * K)
    paper = Image.fromarray(np.ascontiguousarray(page[..., ::-1])).resize((w, h), Image.Resampling.BOX)
    linear = np.power(np.asarray(paper, np.float32) / 255, 2.2) * np.float32(0.9) + np.float32(0.012)
    kind = str(rng.choice(["soft", "hard", "dark shadow"]))
    share = {"soft": 0.75, "hard": 0.45, "dark shadow": 0.3}[kind] * rng.uniform(0.85, 1.15)
    white = rng.uniform(0.42, 0.8)
    ambient = white * share * rng.uniform(0.93, 1.07, 3)
    lamps = []
    for part_of in (1.0,) if rng.random() < 0.5 else (0.65, 0.35):
        turn, low = rng.uniform(0, 2 * math.pi), rng.uniform(0.2, 0.9)
        colour = white * (1 - share) * part_of * rng.uniform(0.93, 1.07, 3)
        lamps.append((low * np.array([math.cos(turn), math.sin(turn)]), colour))
    shut = np.ones((h, w), np.float32)
    dark = [np.ones((h, w), np.float32) for _ in lamps]
    foot = {"soft": 0.35, "hard": 0.6, "dark shadow": 0.9}[kind] * rng.uniform(0.7, 1.05)
    near, soft = rng.uniform(0.25, 0.6), rng.uniform(0.1, 0.45)
    drawn = []
    for part in parts:
        slant = (np.array([part.x, part.y]) - eye[:2]) / eye[2]
        cover, colour, under = _draw(rng, part, slant, lamps, ambient)
        if part.kind == "screw":
            part.seen_mm, part.true_mm = _seen(part, cover, K), part.head_h + part.below
        x, y, n = round((part.x - _SPRITE_MM / 2) * K), round((part.y - _SPRITE_MM / 2) * K), len(cover)
        off = (part.x - _SPRITE_MM / 2) * K - x, (part.y - _SPRITE_MM / 2) * K - y
        cover, colour, under = (_moved(each, *off) for each in (cover, colour, under))
        where = _inside(x, y, n, w, h)
        if where is None:
            continue
        place, cut = where
        # the part stands on the paper: near it less of the sky is seen
        shut[place] *= (1 - min(foot, 0.95) * _blurred(under, near * K))[cut]
        for lamp, shade in zip(lamps, dark, strict=True):
            long = np.zeros_like(under)
            for high in (0.2, 0.6, 1.1):
                long = np.maximum(
                    long, _blurred(_moved(under, *(lamp[0] * high * K)), soft * (0.5 + high) * K)
                )
            shade[place] *= (1 - 0.95 * long)[cut]
        drawn.append((place, cut, cover[..., None], colour))
    light = shut[..., None] * ambient.astype(np.float32)
    for lamp, shade in zip(lamps, dark, strict=True):
        light += shade[..., None] * lamp[1].astype(np.float32)
    linear *= light
    for place, cut, cover, colour in drawn:
        linear[place] += cover[cut] * (colour[cut] - linear[place])
    gy, gx = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j].astype(np.float32)
    a, b = rng.uniform(-0.12, 0.12, 2)
    linear *= (1 + np.float32(a) * gx + np.float32(b) * gy)[..., None]
    if rng.random() < 0.4:
        at, wide = rng.uniform(-0.9, 0.9, 2), rng.uniform(0.15, 0.4)
        spot = rng.uniform(0.05, 0.22) * np.exp(-((gx - at[0]) ** 2 + (gy - at[1]) ** 2) / (2 * wide * wide))
        linear += spot[..., None].astype(np.float32)
    return linear, kind


def _inside(x: int, y: int, n: int, w: int, h: int) -> tuple[tuple[slice, slice], tuple[slice, slice]] | None:
    """Where a sprite lies on the canvas, and which part of it does."""
    x0, y0, x1, y1 = max(0, x), max(0, y), min(w, x + n), min(h, y + n)
    if x1 <= x0 or y1 <= y0:
        return None
    return (slice(y0, y1), slice(x0, x1)), (slice(y0 - y, y1 - y), slice(x0 - x, x1 - x))


def _blurred(mask: np.ndarray, sigma: float) -> np.ndarray:
    image = Image.fromarray(np.rint(mask * 255).astype(np.uint8))
    return np.asarray(image.filter(ImageFilter.GaussianBlur(sigma)), np.float32) / 255


def _moved(values: np.ndarray, dx: float, dy: float) -> np.ndarray:
    return cv2().warpAffine(values, np.float32([[1, 0, dx], [0, 1, dy]]), values.shape[1::-1])


def _shoot(
    rng: np.random.Generator, canvas: np.ndarray, matrix: np.ndarray, k1: float, size: tuple[int, int]
) -> np.ndarray:
    """The picture, blue-green-red."""
    cv, over = cv2(), 2
    w, h = size
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
    desk = tuple(float(value) for value in rng.uniform(0.02, 0.2, 3))
    seen = cv.remap(canvas, at, None, cv.INTER_LINEAR, borderMode=cv.BORDER_CONSTANT, borderValue=desk)
    seen = cv.filter2D(seen, -1, _lens(rng, over))
    seen = cv.resize(seen, size, interpolation=cv.INTER_AREA)
    gy, gx = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j].astype(np.float32)
    seen *= (1 - np.float32(rng.uniform(0, 0.15)) * (gx**2 + gy**2))[..., None]
    seen *= rng.uniform(0.88, 1.12, 3).astype(np.float32)
    seen = rng.poisson(np.maximum(seen, 0) * (full := rng.uniform(1500, 9000))).astype(np.float32) / full
    # a camera's curve: gamma, with a toe and a shoulder of its own
    bend = np.float32(rng.uniform(0.0, 0.35))
    seen = np.clip(seen, 0, 1) ** np.float32(1 / rng.uniform(2.0, 2.4))
    seen = seen * (1 - bend) + bend * (3 * seen**2 - 2 * seen**3)
    values = seen * 255
    values += np.float32(rng.uniform(0, 0.5)) * (values - cv.GaussianBlur(values, (0, 0), 1.0))
    data = BytesIO()
    image = Image.fromarray(np.clip(values + 0.5, 0, 255).astype(np.uint8))
    image.save(data, "JPEG", quality=int(rng.integers(72, 94)), subsampling=2)
    return np.ascontiguousarray(np.asarray(Image.open(data).convert("RGB"))[..., ::-1])


def _lens(rng: np.random.Generator, over: int) -> np.ndarray:
    """Defocus as a disc, at times with motion, as a kernel at `over` samples a pixel."""
    n, fine = 13, 8
    image = Image.new("L", (n * fine, n * fine))
    r = rng.uniform(0.6, 1.5) * over * fine
    middle = n * fine / 2
    ImageDraw.Draw(image).ellipse((middle - r, middle - r, middle + r, middle + r), fill=255)
    kernel = np.asarray(image.resize((n, n), Image.Resampling.BOX), np.float32)
    if rng.random() < 0.3:
        streak = np.zeros((n, n), np.float32)
        turn, long = rng.uniform(0, math.pi), rng.uniform(0.3, 1.2) * over
        for t in np.linspace(-0.5, 0.5, 9):
            x, y = n // 2 + t * long * math.cos(turn), n // 2 + t * long * math.sin(turn)
            streak[round(y), round(x)] += 1
        kernel = cv2().filter2D(kernel, -1, streak / streak.sum())
    return kernel / kernel.sum()


def _pose(
    rng: np.random.Generator, layout: MatLayout, focal: float, distance: float
) -> tuple[np.ndarray, np.ndarray]:
    """Homography of a camera that looks at the mat, and where the camera is (z towards it)."""
    aim = np.array([layout.width_mm / 2 + rng.uniform(-3, 3), layout.height_mm / 2 + rng.uniform(-3, 3), 0.0])
    eye = aim + np.array([*(rng.uniform(-0.25, 0.25, 2) * distance), -distance])
    ahead = (aim - eye) / np.linalg.norm(aim - eye)
    right = np.cross([0.0, 1.0, 0.0], ahead)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    a = math.radians(rng.uniform(-15, 15))
    turned = np.stack(
        [math.cos(a) * right + math.sin(a) * down, math.cos(a) * down - math.sin(a) * right, ahead]
    )
    move = -turned @ eye
    matrix = np.diag([focal, focal, 1.0]) @ np.column_stack([turned[:, 0], turned[:, 1], move])
    return matrix, np.array([eye[0], eye[1], distance])
