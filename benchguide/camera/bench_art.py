"""Flat art for the simulated bench: what the face of each kind of part looks like from above.

Each function returns a tile, (H, W, 3) uint8 BGR, at `ppm` pixels a millimetre, or a tile
with an alpha channel where the part is round. Knows nothing of views, light or scenes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Tile = NDArray[np.uint8]

Bgr = tuple[float, float, float]
MOST_SIDE = 3000

TONES: dict[str, Bgr] = {
    "graphite": (62, 58, 54), "dark": (40, 38, 36), "black": (30, 29, 28), "green": (44, 70, 28),
    "deepgreen": (44, 64, 30), "steel": (168, 166, 162), "silver": (196, 195, 192), "brass": (92, 160, 190),
    "copper": (70, 120, 184), "amber": (40, 128, 196), "white": (222, 224, 224), "cream": (186, 206, 214),
    "brown": (52, 74, 104), "blue": (128, 84, 48), "red": (52, 52, 168), "yellow": (76, 186, 214),
    "grey": (128, 126, 122), "foam": (74, 78, 84), "glue": (58, 86, 96),
}  # fmt: skip

USUAL = {
    "body": "graphite", "cover": "graphite", "board": "green", "connector": "cream", "cable": "amber",
    "screw": "steel", "cell": "silver", "loose": "foam", "bond": "glue", "module": "dark", "hole": "black",
}  # fmt: skip


def tone(name: str, kind: str) -> Bgr:
    """The colour a shape asks for, or its kind's usual one where the name is unknown."""
    if len(name) == 7 and name.startswith("#"):
        try:
            red, green, blue = (int(name[i : i + 2], 16) for i in (1, 3, 5))
            return (blue, green, red)
        except ValueError:
            pass
    return TONES.get(name) or TONES[USUAL[kind]]


def face(
    kind: str, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> Tile:
    """The face of a flat part of w x h millimetres."""
    import numpy as np

    # A part may be far larger than the picture; finer than this nothing shows.
    ppm = min(ppm, MOST_SIDE / max(w, h))
    tile = np.empty((max(2, round(h * ppm)), max(2, round(w * ppm)), 3), np.uint8)
    tile[:] = np.clip(colour, 0, 255)
    makers: dict[str, Callable[..., None]] = {
        "body": _body, "cover": _cover, "board": _board, "connector": _connector,
        "cell": _cell, "loose": _loose, "module": _module,
    }  # fmt: skip
    maker = makers.get(kind)
    if maker is not None:
        maker(tile, w, h, ppm, colour, label, rng)
    return tile


def text(
    tile: Tile,
    words: str,
    at: tuple[float, float],
    height: float,
    colour: Bgr,
    most: float = 1e9,
    middle: bool = False,
) -> None:
    """Write lettering of about `height` pixels, ASCII only, no wider than `most` pixels.

    `at` is its lower left corner, or the middle of its base line where `middle` is set.
    """
    cv = cv2()
    words = words.encode("ascii", "replace").decode()[:40]
    scale = height / 21
    if scale < 0.12 or not words:
        return
    thick = max(1, round(scale * 1.6))
    width = cv.getTextSize(words, cv.FONT_HERSHEY_SIMPLEX, scale, thick)[0][0]
    if width > most:
        scale, width = scale * most / width, most
    x = at[0] - width / 2 if middle else at[0]
    cv.putText(
        tile, words, (round(x), round(at[1])), cv.FONT_HERSHEY_SIMPLEX, scale, colour, thick, cv.LINE_AA
    )


def lighter(colour: Bgr, by: float) -> Bgr:
    """The colour times `by`, kept within range."""
    return (min(255.0, colour[0] * by), min(255.0, colour[1] * by), min(255.0, colour[2] * by))


def _box(
    tile: Tile, ppm: float, x: float, y: float, w: float, h: float, colour: Bgr, thick: int = -1
) -> None:
    cv = cv2()
    a = (round(x * ppm * 8), round(y * ppm * 8))
    b = (round((x + w) * ppm * 8) - 8, round((y + h) * ppm * 8) - 8)
    cv.rectangle(tile, a, b, colour, thick, cv.LINE_AA, 3)


def _dot(tile: Tile, ppm: float, x: float, y: float, r: float, colour: Bgr, thick: int = -1) -> None:
    cv = cv2()
    cv.circle(
        tile,
        (round(x * ppm * 8), round(y * ppm * 8)),
        max(4, round(r * ppm * 8)),
        colour,
        thick,
        cv.LINE_AA,
        3,
    )


def _body(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    """The floor of the shell: ribs, bosses and a moulding mark."""
    cv = cv2()
    floor, rib = lighter(colour, 0.66), lighter(colour, 0.9)
    tile[:] = floor
    step = max(14.0, w / 60, h / 60)
    for i in range(1, int(w / step) + 1):
        x = i * w / (int(w / step) + 1)
        _box(tile, ppm, x, 0, 0.7, h, lighter(colour, 0.5))
        _box(tile, ppm, x - 0.3, 0, 0.6, h, rib)
    for i in range(1, int(h / step) + 1):
        y = i * h / (int(h / step) + 1)
        _box(tile, ppm, 0, y, w, 0.7, lighter(colour, 0.5))
        _box(tile, ppm, 0, y - 0.3, w, 0.6, rib)
    x, y = w * 0.62, h * 0.6
    _dot(tile, ppm, x, y, 4.2, rib, max(1, round(0.3 * ppm)))
    text(tile, ">PC+ABS<", ((x - 3.2) * ppm, (y + 0.6) * ppm), 1.3 * ppm, rib)
    cv.GaussianBlur(tile, (0, 0), 0.6, dst=tile)


def _cover(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    inset, metal = min(2.2, w / 8, h / 8), sum(colour) > 400
    if not metal and w > 16 and h > 16:
        for shift, shade in ((0.0, 0.62), (0.35, 1.3)):
            at, ink, thick = inset + shift, lighter(colour, shade), max(1, round(0.22 * ppm))
            _box(tile, ppm, at, at, w - 2 * inset, h - 2 * inset, ink, thick)
    if metal:
        _pressed_ribs(tile, w, h, ppm, colour)
    elif w > 46 and h > 34:
        for i in range(7):
            x = w - inset - 6 - 2.6 * i
            _box(tile, ppm, x, inset + 4, 1.1, min(12.0, h / 4), lighter(colour, 0.4))
            _box(tile, ppm, x + 1.1, inset + 4.2, 0.25, min(12.0, h / 4), lighter(colour, 1.4))
    size = min(3.2, h * 0.16, w * 1.2 / max(4, len(label)))
    ink = lighter(colour, 0.5) if metal else lighter(colour, 2.1)
    base = h * 0.5 + 4.6 if metal and w > 14 and h > 14 else h - inset - 2.4
    text(
        tile,
        label,
        (w * 0.5 * ppm, min(base, h - 0.8) * ppm),
        size * ppm,
        ink,
        (w - 2 * inset - 1) * ppm,
        True,
    )


def _pressed_ribs(tile: Tile, w: float, h: float, ppm: float, colour: Bgr) -> None:
    """Stamped sheet metal: two long beads and a row of small holes."""
    long_x = w >= h
    for part in (0.3, 0.7):
        x, y = (w * 0.12, h * part) if long_x else (w * part, h * 0.12)
        bw, bh = (w * 0.76, 0.9) if long_x else (0.9, h * 0.76)
        _box(tile, ppm, x, y, bw, bh, lighter(colour, 1.2))
        _box(tile, ppm, x + 0.25, y + 0.45, bw, bh * 0.6, lighter(colour, 0.74))
    if w > 14 and h > 14:
        for i in range(5):
            _dot(tile, ppm, w * 0.5 + (i - 2) * 2.2, h * 0.5, 0.55, lighter(colour, 0.3))


def _board(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    cv = cv2()
    copper, dark = lighter(colour, 1.32), lighter(colour, 0.74)
    for _ in range(min(1500, int(w * h / 34))):
        _trace(tile, w, h, ppm, copper if rng.random() < 0.7 else dark, rng)
    for _ in range(min(1500, int(w * h / 22))):
        x, y = rng.uniform(0.8, w - 0.8), rng.uniform(0.8, h - 0.8)
        _dot(tile, ppm, x, y, 0.3, (110, 170, 190))
        _dot(tile, ppm, x, y, 0.13, (30, 40, 34))
    free = _Room(w, h)
    for size in _chip_sizes(w, h, rng):
        place = free.take(size, rng)
        if place is not None:
            _chip(tile, ppm, *place, rng)
    for _ in range(min(400, int(w * h / 18))):
        place = free.take((1.7, 0.9) if rng.random() < 0.5 else (0.9, 1.7), rng)
        if place is not None:
            _small_part(tile, ppm, *place, rng)
    text(tile, label, (w * 0.5 * ppm, (h - 1.3) * ppm), 1.7 * ppm, (206, 214, 208), w * 0.6 * ppm, True)
    rim = max(1, round(0.25 * ppm))
    cv.rectangle(tile, (0, 0), (tile.shape[1] - 1, tile.shape[0] - 1), (96, 150, 150), rim)


def _trace(tile: Tile, w: float, h: float, ppm: float, colour: Bgr, rng: np.random.Generator) -> None:
    import numpy as np

    x, y = rng.uniform(0, w), rng.uniform(0, h)
    points = [(x, y)]
    heading = int(rng.integers(0, 8))
    for _ in range(int(rng.integers(2, 5))):
        length = rng.uniform(1.5, 9)
        x += length * math.cos(heading * math.pi / 4)
        y += length * math.sin(heading * math.pi / 4)
        points.append((x, y))
        heading += int(rng.choice((-1, 1)))
    lines = int(rng.integers(1, 5))
    cv = cv2()
    for i in range(lines):
        moved = (np.array(points) + i * 0.55) * ppm * 8
        cv.polylines(
            tile, [np.rint(moved).astype(np.int32)], False, colour, max(1, round(0.2 * ppm)), cv.LINE_AA, 3
        )


def _chip_sizes(w: float, h: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    most = min(w, h) * 0.42
    sizes = [(min(11.0, most), min(11.0, most))]
    for _ in range(min(60, int(w * h / 260))):
        side = rng.uniform(2.4, max(2.6, min(7.0, most)))
        sizes.append((side, side * rng.choice((0.62, 1.0, 1.4))))
    return sizes


class _Room:
    """Which places of a board are still free, on a grid of half millimetres."""

    def __init__(self, w: float, h: float) -> None:
        import numpy as np

        self.w, self.h = w, h
        self.used = np.zeros((min(6000, int(h * 2) + 4), min(6000, int(w * 2) + 4)), bool)

    def take(
        self, size: tuple[float, float], rng: np.random.Generator
    ) -> tuple[float, float, float, float] | None:  # fmt: skip
        bw, bh = size
        if bw + 3 > self.w or bh + 3 > self.h:
            return None
        for _ in range(12):
            x, y = rng.uniform(1.2, self.w - bw - 1.2), rng.uniform(1.2, self.h - bh - 1.2)
            rows = slice(int(2 * y - 1.4), int(2 * (y + bh) + 2.4))
            cols = slice(int(2 * x - 1.4), int(2 * (x + bw) + 2.4))
            if not self.used[rows, cols].any():
                self.used[int(2 * y) : int(2 * (y + bh)) + 1, int(2 * x) : int(2 * (x + bw)) + 1] = True
                return x, y, bw, bh
        return None


def _chip(tile: Tile, ppm: float, x: float, y: float, w: float, h: float, rng: np.random.Generator) -> None:
    _box(tile, ppm, x + 0.45, y + 0.55, w, h, (22, 34, 16))
    pins = max(2, min(60, int(w / 0.9)))
    for i in range(pins):
        px = x + 0.4 + i * (w - 0.8) / max(1, pins - 1)
        _box(tile, ppm, px - 0.15, y - 0.35, 0.3, h + 0.7, (188, 190, 190))
    _box(tile, ppm, x, y, w, h, (42, 40, 40))
    _box(tile, ppm, x, y, w, 0.18, (74, 72, 72))
    _box(tile, ppm, x, y, 0.18, h, (64, 62, 62))
    _dot(tile, ppm, x + 0.75, y + 0.75, 0.22, (84, 84, 84))
    if w > 3.4 and h > 2.6:
        number = f"{rng.integers(10, 99)}K{rng.integers(100, 999)}"
        text(tile, number, ((x + 0.7) * ppm, (y + h * 0.6) * ppm), min(1.1, w / 5) * ppm, (132, 134, 134))


def _small_part(
    tile: Tile, ppm: float, x: float, y: float, w: float, h: float, rng: np.random.Generator
) -> None:
    bodies = ((96, 132, 158), (40, 40, 42), (120, 150, 168), (58, 60, 66))
    _box(tile, ppm, x + 0.15, y + 0.2, w, h, (24, 38, 18))
    _box(tile, ppm, x, y, w, h, (200, 202, 202))
    if w > h:
        _box(tile, ppm, x + 0.38, y, w - 0.76, h, bodies[int(rng.integers(0, 4))])
    else:
        _box(tile, ppm, x, y + 0.38, w, h - 0.76, bodies[int(rng.integers(0, 4))])


def _connector(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    """A housing with contacts along both long sides and a locking bar."""
    if h > w:
        turned = tile.transpose(1, 0, 2).copy()
        _connector(turned, h, w, ppm, colour, "", rng)
        tile[:] = turned.transpose(1, 0, 2)
        return
    edge = min(0.7, h * 0.16)
    pins = max(3, min(120, int((w - 1.2) / 0.8)))
    for i in range(pins):
        x = 0.8 + i * (w - 1.6) / (pins - 1)
        for y in (0.0, h - edge):
            _box(tile, ppm, x - 0.18, y, 0.36, edge, (150, 196, 214))
    _box(tile, ppm, 0, edge, w, h - 2 * edge, colour)
    _box(tile, ppm, 0.5, h * 0.36, w - 1.0, h * 0.34, lighter(colour, 0.5))
    _box(tile, ppm, 0.9, h * 0.42, w - 1.8, h * 0.2, (70, 66, 62))
    _box(tile, ppm, 0.9, h * 0.42, w - 1.8, 0.14, (124, 120, 116))
    text(tile, label, (0.6 * ppm, (h * 0.34) * ppm), min(1.2, h * 0.22) * ppm, lighter(colour, 0.35))


def _cell(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    """A pouch cell: folded edge, a printed plate, a warning in words."""
    _box(tile, ppm, 0, 0, w, min(3.0, h * 0.09), (70, 132, 168))
    _box(tile, ppm, 0, min(3.0, h * 0.09), w, 0.3, lighter(colour, 0.6))
    for x in (0.9, w - 1.2):
        _box(tile, ppm, x, h * 0.1, 0.25, h * 0.88, lighter(colour, 0.82))
    px, py, pw, ph = w * 0.12, h * 0.24, w * 0.76, h * 0.6
    _box(tile, ppm, px, py, pw, ph, (60, 58, 56))
    ink, size = (206, 208, 208), min(pw * 0.085, ph * 0.13, 3.0)
    lines = (label or "CELL", "3.85 V  RECHARGEABLE", "DO NOT PIERCE OR BEND", "SEE SERVICE TEXT")
    for i, line in enumerate(lines):
        size_i = size * (1.35 if i == 0 else 0.72)
        text(tile, line, ((px + 1.2) * ppm, (py + ph * (0.25 + 0.21 * i)) * ppm), size_i * ppm, ink)
    for i in range(14):
        _box(tile, ppm, px + pw - 9 + i * 0.55, py + ph - 3.4, 0.2 + 0.2 * (i * 7 % 3 == 0), 2.4, ink)


def _loose(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    """Foam or tape: pores on a matt face."""
    for _ in range(min(6000, int(w * h * 2.2))):
        shade = 0.72 if rng.random() < 0.6 else 1.22
        _dot(tile, ppm, rng.uniform(0, w), rng.uniform(0, h), rng.uniform(0.06, 0.22), lighter(colour, shade))
    text(tile, label, (0.8 * ppm, h * 0.62 * ppm), min(1.4, h * 0.3) * ppm, lighter(colour, 1.7))


def _module(
    tile: Tile, w: float, h: float, ppm: float, colour: Bgr, label: str, rng: np.random.Generator
) -> None:
    """A closed unit: frame, printed label, two lugs."""
    frame = min(1.2, w / 9, h / 9)
    _box(
        tile, ppm, frame, frame, w - 2 * frame, h - 2 * frame, lighter(colour, 1.5), max(1, round(0.2 * ppm))
    )
    pw, ph = w * 0.56, h * 0.34
    px, py = w * 0.12, h * 0.54
    if w > 8 and h > 8:
        _box(tile, ppm, px, py, pw, ph, (196, 202, 202))
        size = min(pw * 1.2 / max(5, len(label)), ph * 0.34)
        text(
            tile,
            label,
            ((px + 0.6) * ppm, (py + ph * 0.46) * ppm),
            size * ppm,
            (48, 46, 44),
            (pw - 1.2) * ppm,
        )
        for i in range(12):
            _box(
                tile,
                ppm,
                px + 0.6 + i * 0.5,
                py + ph * 0.62,
                0.16 + 0.18 * (i * 5 % 3 == 0),
                ph * 0.26,
                (48, 46, 44),
            )
        _dot(tile, ppm, w * 0.8, h * 0.28, min(w, h) * 0.11, lighter(colour, 0.5))
        _dot(tile, ppm, w * 0.8, h * 0.28, min(w, h) * 0.11, lighter(colour, 1.9), max(1, round(0.2 * ppm)))
    else:
        text(tile, label, (frame * 1.6 * ppm, h * 0.6 * ppm), min(1.2, h * 0.3) * ppm, lighter(colour, 2.4))


def screw_head(colour: Bgr, drive: str, turn: float, side: int = 96) -> Tile:
    """A screw head from above, (side, side, 4) with alpha; its radius is 0.42 of the side."""
    import numpy as np

    cv = cv2()
    yy, xx = np.mgrid[0:side, 0:side].astype(np.float32)
    u, v = (xx - side / 2 + 0.5) / (0.42 * side), (yy - side / 2 + 0.5) / (0.42 * side)
    r = np.sqrt(u * u + v * v)
    dome = np.clip((r - 0.62) / 0.38, 0, 1)
    lit = -(u * 0.6 + v * 0.8) * dome * 0.75
    brushed = 0.05 * np.cos(9 * np.arctan2(v, u) + 40 * r)
    shade = 0.92 + lit + brushed + 0.28 * np.exp(-((u + 0.34) ** 2 + (v + 0.42) ** 2) / 0.05)
    recess = cv.GaussianBlur(_recess(drive, turn, side), (0, 0), 1.2)
    edge = cv.GaussianBlur(recess, (0, 0), 2.0)
    slope = np.gradient(edge)
    shade = shade * (1 - 0.72 * recess) + (slope[1] * 0.6 + slope[0] * 0.8) * -4.5 * (1 - recess)
    tile = np.empty((side, side, 4), np.float32)
    tile[..., :3] = np.array(colour, np.float32) * shade[..., None]
    tile[..., 3] = np.clip((1.0 - r) * 0.42 * side * 0.5, 0, 1) * 255
    return np.clip(tile, 0, 255).astype(np.uint8)


def _recess(drive: str, turn: float, side: int) -> NDArray[np.float32]:
    import numpy as np

    cv = cv2()
    mask = np.zeros((side, side), np.uint8)
    reach, c = 0.25 * side, side / 2

    def blade(angle: float, both: bool, half: float) -> None:
        d = np.array([math.cos(angle), math.sin(angle)])
        n = np.array([-d[1], d[0]]) * half
        a, b = c - (d * reach if both else d * 0), c + d * reach
        cv.fillPoly(mask, [np.rint(np.array([a - n, a + n, b + n, b - n])).astype(np.int32)], 255, cv.LINE_AA)

    if drive == "slot":
        reach = 0.4 * side
        blade(turn, True, 0.045 * side)
    elif drive == "hex":
        points = [(c + reach * math.cos(turn + i * math.pi / 3), c + reach * math.sin(turn + i * math.pi / 3))
                  for i in range(6)]  # fmt: skip
        cv.fillPoly(mask, [np.rint(points).astype(np.int32)], 255, cv.LINE_AA)
    elif drive == "hexalobular":
        cv.circle(mask, (side // 2, side // 2), round(0.17 * side), 255, -1, cv.LINE_AA)
        for i in range(3):
            blade(turn + i * math.pi / 3, True, 0.05 * side)
    elif drive == "three-wing":
        for i in range(3):
            blade(turn + i * 2 * math.pi / 3, False, 0.05 * side)
    else:
        for i in range(2):
            blade(turn + i * math.pi / 2, True, 0.05 * side)
    return mask.astype(np.float32) / np.float32(255)


def hole(colour: Bgr, side: int = 64) -> Tile:
    """An empty screw place: dark bore, lit far rim, (side, side, 4) with alpha."""
    import numpy as np

    yy, xx = np.mgrid[0:side, 0:side].astype(np.float32)
    u, v = (xx - side / 2 + 0.5) / (0.42 * side), (yy - side / 2 + 0.5) / (0.42 * side)
    r = np.sqrt(u * u + v * v)
    rim = np.clip(1 - np.abs(r - 0.8) / 0.2, 0, 1)
    value = np.where(r < 0.66, 14.0, 56.0) + rim * (u * 0.6 + v * 0.8) * 95
    tile = np.repeat(value[..., None], 4, axis=2)
    tile[..., 3] = np.clip((1.0 - r) * 0.42 * side * 0.5, 0, 1) * 255
    return np.clip(tile, 0, 255).astype(np.uint8)
