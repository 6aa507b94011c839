"""Photo pairs of devices with known truth, drawn from a seed: as-found, as-left, and what was changed.

A device is a stack of flat layers at heights of 0 to 3 mm, each seen through its own
homography of one pinhole camera, so that taller things shift against the board as they do
in photographs. Between the two photos the device is moved and turned, the light changes,
screws were driven again (turned recess, other glint), cables have play, the focus differs,
and there is noise and JPEG. None of that is a change; the truth lists what is.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

HEIGHTS = (0.0, 0.7, 1.4, 2.2, 3.0)  # mm, of the layers
BOARDS = [(52, 92, 40), (96, 60, 34), (44, 42, 46), (120, 76, 96), (70, 96, 110)]
CHANGES = ("screw missing", "screw extra", "cable moved", "connector turned", "cover absent", "left inside")


@dataclass(frozen=True)
class Thing:
    """One part: kind, centre and size in mm, angle in degrees, and its own seed."""

    kind: str
    x: float
    y: float
    w: float
    h: float
    angle: float
    seed: int
    points: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Pair:
    """As-found and as-left photo (BGR), the changed places as boxes (x0, y0, x1, y1) of as-left, and the truth
    of the geometry: points of the visible surface in both; places: what could be marked in as-found."""

    found: np.ndarray
    left: np.ndarray
    boxes: list[tuple[int, int, int, int]]
    kinds: list[str]
    points_found: np.ndarray
    points_left: np.ndarray
    places: list[tuple[str, float, float, float, str]]
    px_per_mm: float
    name: str


@dataclass(frozen=True)
class View:
    """Camera and light of one photo."""

    plane: tuple[float, ...]  # roll deg, scale, shift x, shift y, tilt x deg, tilt y deg
    light: tuple[float, float]
    gain: tuple[float, float, float]
    slope: tuple[float, float]
    sigma: float
    noise: float
    seed: int


@dataclass
class Device:
    board: tuple[int, int, int]
    seed: int
    hard: bool
    things: list[Thing] = field(default_factory=list)
    width: float = 120.0
    height: float = 76.0


def pairs(
    count: int, *, seed: int = 1, hard: bool = False, size: tuple[int, int] = (1280, 720)
) -> Iterator[Pair]:
    """`count` pairs; every fourth is unchanged. The as-found photo stays for four pairs."""
    for number in range(count):
        scene, turn = divmod(number, 4)
        yield pair(seed * 1000 + scene, turn, hard=hard, size=size)


@functools.lru_cache(maxsize=8)
def pair(seed: int, turn: int, *, hard: bool = False, size: tuple[int, int] = (1280, 720)) -> Pair:
    """One pair; turn 3 is unchanged. Pairs are kept for a while: treat their pictures as read-only."""
    rng = np.random.default_rng(seed)
    scale = size[0] / 1280 * (rng.uniform(5.7, 8.7) if hard else rng.uniform(8, 15))
    device = _device(rng, hard, size[0] / scale * 1.25, size[1] / scale * 1.25)
    lamp = float(rng.uniform(0, 2 * np.pi))
    found_view = _view(np.random.default_rng(seed * 7 + 1), size, lamp, first=True)
    rng = np.random.default_rng(seed * 31 + turn % 100 + 977 * (turn // 100))
    left_view = _view(rng, size, lamp, first=False)
    kinds = [] if turn % 100 == 3 else [CHANGES[int(rng.integers(len(CHANGES)))]]
    if turn % 100 == 0 and rng.random() < 0.3:
        kinds.append(CHANGES[int(rng.integers(len(CHANGES)))])
    same = _nuisance(device, rng, redrive=rng.random() < 0.6)
    changed, done, touched = same, [], []
    for kind in kinds:
        trial = _changed(changed, kind, rng, hard, touched)
        if trial is not None:
            changed = trial[0]
            touched.append(trial[1])
            done.append(kind)
    found = _photo(device, found_view, scale, size)
    clean, now = (
        _photo(same, left_view, scale, size, clean=True),
        _photo(changed, left_view, scale, size, clean=True),
    )
    left = _finish(now, left_view)
    boxes = _boxes(clean, now, device, touched, left_view, scale, size)
    if None in boxes:  # out of the picture or hidden: draw lots again
        return pair(seed, turn + 100, hard=hard, size=size)
    a, b = _points(device, found_view, left_view, scale, size)
    return Pair(
        _finish(found, found_view), left, boxes, done, a, b,
        _places(device, changed, found_view, scale, size), scale, f"{seed}_{turn}",
    )  # fmt: skip


# -- the device


def _device(rng: np.random.Generator, hard: bool, width: float, height: float) -> Device:
    device = Device(
        BOARDS[int(rng.integers(len(BOARDS)))], int(rng.integers(1 << 30)), hard, [], width, height
    )
    taken: list[tuple[float, float, float]] = []

    def spot(room: float) -> tuple[float, float] | None:
        for _ in range(60):
            x, y = rng.uniform(-0.36, 0.36) * width, rng.uniform(-0.36, 0.36) * height
            if all((x - a) ** 2 + (y - b) ** 2 > (room + c) ** 2 for a, b, c in taken):
                taken.append((x, y, room))
                return x, y
        return None

    def add(
        kind: str, count: int, w: tuple[float, float], h: tuple[float, float], square: bool = False
    ) -> None:
        for _ in range(count):
            a = rng.uniform(*w)
            b = a if square else rng.uniform(*h)
            at = spot(0.55 * max(a, b))
            if at is not None:
                angle = float(rng.integers(4)) * 90 + rng.normal(0, 0.5)
                device.things.append(Thing(kind, at[0], at[1], a, b, angle, int(rng.integers(1 << 30))))

    add("cover", 2, (11, 18), (9, 14))
    add("connector", 4, (6, 10), (2.4, 3.4))
    head = (1.8, 2.2) if hard else (1.9, 3.4)
    style = rng.uniform(*head)
    add("screw", 14, (style, style + 1e-6), (0, 0), square=True)
    add("hole", 3, (style, style + 1e-6), (0, 0), square=True)
    add("chip", 16, (3, 9), (3, 8))
    add("can", 5, (3, 5), (0, 0), square=True)
    add("label", 1, (12, 16), (8, 10))
    for thing in [t for t in device.things if t.kind == "connector"]:
        device.things.append(_cable_from(thing, rng))
    return device


def _cable_from(plug: Thing, rng: np.random.Generator) -> Thing:
    angle = np.deg2rad(plug.angle + 90 + rng.uniform(-15, 15))
    x, y, points = plug.x, plug.y, []
    for _ in range(5):
        points.append((x, y))
        step = rng.uniform(3, 5)
        x, y = x + np.cos(angle) * step, y + np.sin(angle) * step
        angle += rng.uniform(-0.5, 0.5)
    kind = "wire" if rng.random() < 0.4 else "flex"
    wide = rng.uniform(1.0, 1.6) if kind == "wire" else plug.w * rng.uniform(0.4, 0.7)
    return Thing(kind, plug.x, plug.y, wide, 0, 0, int(rng.integers(1 << 30)), tuple(points))


def _nuisance(device: Device, rng: np.random.Generator, redrive: bool) -> Device:
    things = []
    for t in device.things:
        if t.kind == "screw" and redrive and rng.random() < 0.7:
            t = replace(t, angle=t.angle + rng.uniform(10, 350))
        elif t.kind in ("flex", "wire"):
            t = replace(t, points=_bent(t.points, rng.uniform(-0.2, 0.2)))
        elif t.kind == "connector":
            t = replace(t, angle=t.angle + rng.normal(0, 0.25))
        things.append(t)
    return replace(device, things=things)


def _bent(points: tuple[tuple[float, float], ...], mm: float) -> tuple[tuple[float, float], ...]:
    """Sideways by up to `mm`, more towards the free end; the plug stays."""
    far = np.array(points)
    along = far[-1] - far[0]
    side = np.array([-along[1], along[0]]) / (np.hypot(*along) + 1e-9)
    return tuple(
        (float(x), float(y)) for x, y in far + np.linspace(0, 1, len(far))[:, None] ** 1.5 * side * mm
    )


def _changed(
    device: Device, kind: str, rng: np.random.Generator, hard: bool, touched: list[Thing]
) -> tuple[Device, Thing] | None:
    wanted = {
        "screw missing": ("screw",), "screw extra": ("hole",), "cable moved": ("flex", "wire"),
        "connector turned": ("connector",), "cover absent": ("cover",), "left inside": ("chip", "cover"),
    }[kind]  # fmt: skip
    choice = [t for t in device.things if t.kind in wanted and t not in touched]
    choice = [t for t in choice if abs(t.x) < 0.33 * device.width and abs(t.y) < 0.3 * device.height]
    if not choice:
        return None
    old = choice[int(rng.integers(len(choice)))]
    things = list(device.things)
    at = things.index(old)
    if kind == "screw missing":
        new = replace(old, kind="hole")
    elif kind == "screw extra":
        new = replace(old, kind="screw", angle=rng.uniform(0, 360))
    elif kind == "cable moved":
        far = (rng.uniform(0.8, 2) if hard else rng.uniform(1.5, 5)) * rng.choice([-1, 1])
        new = replace(old, points=_bent(old.points, far))
    elif kind == "connector turned":
        turn = (rng.uniform(2, 4) if hard else rng.uniform(4, 9)) * rng.choice([-1, 1])
        new = replace(
            old, angle=old.angle + turn, x=old.x + rng.uniform(-0.2, 0.2), y=old.y + rng.uniform(-0.2, 0.2)
        )
    elif kind == "cover absent":
        new = replace(old, kind="under cover")
    else:
        size = 0.5 if hard else 1.0
        small = rng.uniform(1.8, 3.2) * size
        new = Thing(
            "washer", old.x + rng.uniform(-1, 1), old.y + rng.uniform(-1, 1), small, small, 0, old.seed + 1
        )
        return replace(device, things=[*things, new]), new
    things[at] = new
    return replace(device, things=things), new


# -- drawing in the plane of the device, `res` pixels per mm


LEVEL = {"chip": 1, "connector": 3, "cover": 3, "under cover": 0, "label": 0, "can": 4, "hole": 0, "washer": 4,
         "flex": 4, "wire": 4}  # fmt: skip


def _layers(device: Device, res: float, light: tuple[float, float]) -> list[np.ndarray]:
    """One (h, w, 4) uint8 picture with alpha for each height."""
    h, w = int(device.height * res), int(device.width * res)
    layers = [np.zeros((h, w, 4), np.uint8) for _ in HEIGHTS]
    layers[0] = _board(device, res, w, h)
    for t in device.things:
        level = 2 if t.kind == "screw" else LEVEL[t.kind]
        if t.kind in ("screw", "hole"):
            _pad(layers[0], t, res, w, h)
        _DRAW.get(t.kind, _draw_box)(layers[level], t, res, w, h, light)
        if t.kind == "connector":
            _draw_frame(layers[1], replace(t, angle=round(t.angle / 90) * 90), res, w, h)
    return layers


def _board(device: Device, res: float, w: int, h: int) -> np.ndarray:
    rng = np.random.default_rng(device.seed)
    base = np.array(device.board, np.float32)
    board = np.empty((h, w, 4), np.uint8)
    mottled = cv2.resize(rng.normal(0, 5, (h // 24 + 2, w // 24 + 2)).astype(np.float32), (w, h))
    board[..., :3] = np.clip(base + mottled[..., None], 0, 255)
    board[..., 3] = 255
    for _ in range(260):
        x, y = int(rng.uniform(0, w)), int(rng.uniform(0, h))
        points = [(x, y)]
        for _ in range(3):
            direction = rng.integers(8) * np.pi / 4
            length = rng.uniform(2, 12) * res
            x, y = int(x + np.cos(direction) * length), int(y + np.sin(direction) * length)
            points.append((x, y))
        colour = (*(float(v) for v in np.clip(base * 1.25 + 8, 0, 255)), 255.0)
        cv2.polylines(board, [np.array(points)], False, colour, max(1, int(0.25 * res)), cv2.LINE_AA)
    for _ in range(420):
        x, y = rng.uniform(0, w), rng.uniform(0, h)
        cv2.circle(board, (int(x), int(y)), max(1, int(0.3 * res)), (120, 190, 210, 255), -1, cv2.LINE_AA)
    for _ in range(260):
        x, y = rng.uniform(0, w), rng.uniform(0, h)
        a, b = (1.2, 0.6) if rng.random() < 0.5 else (0.6, 1.2)
        part = (60, 90, 130) if rng.random() < 0.6 else (40, 40, 44)
        for grow, colour in ((1.0, (190, 195, 200)), (0.6, part)):
            aa, bb = (a * grow, b) if a > b else (a, b * grow)
            p, q = (int(x - aa * res), int(y - bb * res)), (int(x + aa * res), int(y + bb * res))
            cv2.rectangle(board, p, q, (*colour, 255), -1)
    for number in range(60):
        at = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        size, white = 0.03 * res + 0.1, (215, 220, 220, 255)
        cv2.putText(board, f"R{number + 100}", at, cv2.FONT_HERSHEY_SIMPLEX, size, white, 1, cv2.LINE_AA)
    return board


def _at(t: Thing, res: float, w: int, h: int) -> tuple[float, float]:
    return w / 2 + t.x * res, h / 2 + t.y * res


def _shift(points: np.ndarray) -> np.ndarray:
    return np.round(points * 16).astype(np.int32)


def _corners(t: Thing, res: float, w: int, h: int, grow: float = 1.0) -> np.ndarray:
    a = np.deg2rad(t.angle)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [t.w * res / 2 * grow, t.h * res / 2 * grow]
    return half @ turn.T + _at(t, res, w, h)


def _disc(layer: np.ndarray, centre: tuple[float, float], radius: float, colour: tuple[int, ...]) -> None:
    at = tuple(round(v * 16) for v in centre)
    cv2.circle(layer, at, max(1, int(radius * 16)), (*colour, 255), -1, cv2.LINE_AA, 4)


def _pad(layer: np.ndarray, t: Thing, res: float, w: int, h: int) -> None:
    at = _at(t, res, w, h)
    _disc(layer, at, t.w * 0.72 * res, (140, 185, 205))
    _disc(layer, at, t.w * 0.36 * res, (28, 26, 26))


def _draw_hole(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    _disc(layer, _at(t, res, w, h), t.w * 0.30 * res, (14, 14, 15))


def _draw_screw(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    x, y = _at(t, res, w, h)
    radius = t.w / 2 * res
    black = t.seed % 5 == 0
    tone = 52 if black else 168
    for k in range(8):
        out = 1 - k / 9
        lit = int(tone + (10 if black else 5) * k)
        off = k * radius * 0.03
        _disc(layer, (x + light[0] * off, y + light[1] * off), radius * out, (lit, lit, lit))
    arms = 2 if t.seed % 2 else 3
    for arm in range(arms):
        a = np.deg2rad(t.angle + arm * 180 / arms)
        d = np.array([np.cos(a), np.sin(a)]) * radius * 0.52
        n = np.array([-d[1], d[0]]) * 0.26
        quad = np.array([d + n, d - n, -d - n, -d + n])
        quad += np.array([x, y])
        cv2.fillPoly(layer, [_shift(quad)], (34, 32, 32, 255), cv2.LINE_AA, 4)
    a = np.deg2rad(t.angle * 1.7) * 0.3 + np.arctan2(light[1], light[0])
    glint = (x + np.cos(a) * radius * 0.68, y + np.sin(a) * radius * 0.68)
    _disc(layer, glint, radius * 0.16, (120, 122, 124) if black else (244, 246, 248))


def _draw_box(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    rng = np.random.default_rng(t.seed)
    tone = {"chip": 44, "under cover": 70, "label": 214, "can": 150}.get(t.kind, 60)
    colour = np.clip(tone + rng.normal(0, 6, 3), 0, 255)
    if t.kind == "under cover":
        colour = np.array([70, 110, 60]) + rng.normal(0, 8, 3)
    cv2.fillPoly(layer, [_shift(_corners(t, res, w, h))], (*map(float, colour), 255.0), cv2.LINE_AA, 4)
    if t.kind == "chip":
        x, y = _at(t, res, w, h)
        cv2.putText(layer, f"{t.seed % 9973}", (int(x - t.w * 0.3 * res), int(y)), cv2.FONT_HERSHEY_SIMPLEX,
                    0.05 * res, (150, 150, 150, 255), 1, cv2.LINE_AA)  # fmt: skip
    if t.kind in ("label", "under cover"):
        for _ in range(14):
            u, v = rng.uniform(-0.42, 0.42, 2) * [t.w, t.h]
            x, y = w / 2 + (t.x + u) * res, h / 2 + (t.y + v) * res
            cv2.rectangle(
                layer, (int(x), int(y)), (int(x + 1.6 * res), int(y + 0.4 * res)), (50, 50, 60, 255), -1
            )


def _draw_cover(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    cv2.fillPoly(layer, [_shift(_corners(t, res, w, h))], (150, 152, 156, 255), cv2.LINE_AA, 4)
    cv2.fillPoly(layer, [_shift(_corners(t, res, w, h, 0.92))], (168, 170, 172, 255), cv2.LINE_AA, 4)


def _draw_can(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    _disc(layer, _at(t, res, w, h), t.w / 2 * res, (40, 36, 34))
    _disc(layer, _at(t, res, w, h), t.w / 2 * res * 0.86, (176, 178, 182))


def _draw_washer(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    at = _at(t, res, w, h)
    _disc(layer, at, t.w / 2 * res, (188, 192, 196))
    _disc(layer, at, t.w / 4.4 * res, (50, 50, 52))


def _draw_frame(layer: np.ndarray, t: Thing, res: float, w: int, h: int) -> None:
    cv2.fillPoly(layer, [_shift(_corners(t, res, w, h, 1.14))], (196, 200, 204, 255), cv2.LINE_AA, 4)
    a = np.deg2rad(t.angle)
    for k in range(int(t.w / 0.5)):
        for side in (-1, 1):
            u, v = (k + 0.5) * 0.5 - t.w / 2, side * t.h * 0.62
            x = w / 2 + (t.x + u * np.cos(a) - v * np.sin(a)) * res
            y = h / 2 + (t.y + u * np.sin(a) + v * np.cos(a)) * res
            _disc(layer, (x, y), 0.15 * res, (110, 180, 215))


def _draw_connector(
    layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]
) -> None:
    tone = (60, 58, 56) if t.seed % 2 else (196, 204, 208)
    cv2.fillPoly(layer, [_shift(_corners(t, res, w, h))], (*tone, 255), cv2.LINE_AA, 4)
    inner = replace(t, w=t.w * 0.8, h=t.h * 0.4)
    tone = (88, 86, 82) if t.seed % 2 else (150, 158, 162)
    cv2.fillPoly(layer, [_shift(_corners(inner, res, w, h))], (*tone, 255), cv2.LINE_AA, 4)


def _draw_cable(layer: np.ndarray, t: Thing, res: float, w: int, h: int, light: tuple[float, float]) -> None:
    along = np.array(t.points)
    calm = [cv2.GaussianBlur(along[:, i : i + 1], (1, 3), 0.6).ravel() for i in (0, 1)]
    dense = np.stack([np.interp(np.linspace(0, 4, 60), range(5), each) for each in calm], axis=1)
    pixels = dense * res + [w / 2, h / 2]
    colours = [(30, 130, 235), (190, 90, 30), (40, 40, 44), (60, 190, 225), (50, 50, 200)]
    own = colours[t.seed % len(colours)]
    cv2.polylines(layer, [_shift(pixels)], False, (*own, 255), max(2, int(t.w * res)), cv2.LINE_AA, 4)
    stripes = 5 if t.kind == "flex" else 2
    step = np.gradient(pixels, axis=0)
    side = np.stack([-step[:, 1], step[:, 0]], 1) / (np.hypot(*step.T)[:, None] + 1e-9)
    for k in range(stripes):
        line = pixels + side * ((k + 0.5) / stripes - 0.5) * t.w * res
        other = (
            colours[(t.seed + 3) % len(colours)]
            if t.kind == "wire" and k
            else tuple(min(255, c + 22) for c in own)
        )
        thick = max(1, int(0.45 * res)) if t.kind == "wire" else 1
        cv2.polylines(layer, [_shift(line)], False, (*other, 255), thick, cv2.LINE_AA, 4)


_DRAW = {"screw": _draw_screw, "hole": _draw_hole, "cover": _draw_cover, "can": _draw_can, "washer": _draw_washer,
         "connector": _draw_connector, "flex": _draw_cable, "wire": _draw_cable}  # fmt: skip


# -- camera


def _view(rng: np.random.Generator, size: tuple[int, int], lamp: float, *, first: bool) -> View:
    free = 0.0 if first else 1.0
    k = size[0] / 1280
    plane = (
        rng.uniform(-8, 8) * free, 1 + rng.uniform(-0.06, 0.06) * free, rng.uniform(-40, 40) * free * k,
        rng.uniform(-40, 40) * free * k, rng.uniform(-3.5, 3.5), rng.uniform(-3.5, 3.5),
    )  # fmt: skip
    angle = lamp + rng.normal(0, 0.35)
    gain = rng.uniform(0.75, 1.25) * np.array(
        [1 + rng.uniform(-0.12, 0.12), 1.0, 1 + rng.uniform(-0.12, 0.12)]
    )
    slope = (rng.uniform(-0.2, 0.2), rng.uniform(-0.2, 0.2))
    return View(
        plane, (float(np.cos(angle)), float(np.sin(angle))), tuple(float(g) for g in gain), slope,
        rng.uniform(0.45, 1.15), rng.uniform(1.3, 3.0), int(rng.integers(1 << 30)),
    )  # fmt: skip


def _plane(view: View, z: float, scale: float, size: tuple[int, int]) -> np.ndarray:
    """Homography from mm of a layer at height z to pixels of the photo: a pinhole 300 mm away."""
    roll, grow, sx, sy, tx, ty = view.plane
    distance, a, b, c = 300.0, *np.deg2rad([tx, ty, roll])
    rx = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    ry = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    rz = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    turn = rz @ ry @ rx
    outer = np.c_[turn[:, 0], turn[:, 1], turn[:, 2] * -z + [0, 0, distance / grow]]
    focal = scale * distance
    lens = np.array([[focal, 0, size[0] / 2 + sx], [0, focal, size[1] / 2 + sy], [0, 0, 1]])
    return lens @ outer


def _photo(
    device: Device, view: View, scale: float, size: tuple[int, int], *, clean: bool = False
) -> np.ndarray:
    """Noise-free float picture (h, w, 3)."""
    res = scale * 1.2
    picture = np.full((size[1], size[0], 3), 80, np.float32)
    back = np.array([[1 / res, 0, -device.width / 2], [0, 1 / res, -device.height / 2], [0, 0, 1]])
    reach = 0.3 * scale
    for z, layer in zip(HEIGHTS, _layers(device, res, view.light), strict=True):
        full = cv2.warpPerspective(layer, _plane(view, z, scale, size) @ back, size, flags=cv2.INTER_AREA)
        alpha = full[..., 3:].astype(np.float32) / 255
        if z:
            moved = np.float32([[1, 0, -view.light[0] * reach * z], [0, 1, -view.light[1] * reach * z]])
            dark = cv2.GaussianBlur(cv2.warpAffine(alpha, moved, size), (0, 0), max(0.8, 0.4 * z * scale))
            picture *= (1 - 0.3 * dark)[..., None]
        picture = picture * (1 - alpha) + full[..., :3] * alpha
    x = np.linspace(-1, 1, size[0], dtype=np.float32)[None] * view.slope[0]
    y = np.linspace(-1, 1, size[1], dtype=np.float32)[:, None] * view.slope[1]
    return picture * (1 + x + y)[..., None] * np.array(view.gain, np.float32)


def _finish(picture: np.ndarray, view: View) -> np.ndarray:
    rng = np.random.default_rng(view.seed)
    soft = cv2.GaussianBlur(picture, (0, 0), view.sigma)
    noisy = soft + rng.standard_normal(picture.shape, dtype=np.float32) * view.noise
    done, data = cv2.imencode(".jpg", np.clip(noisy, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 85])
    assert done
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


# -- truth


def _land(view: View, x: float, y: float, z: float, scale: float, size: tuple[int, int]) -> np.ndarray:
    p = _plane(view, z, scale, size) @ [x, y, 1.0]
    return p[:2] / p[2]


def _boxes(clean, now, device, touched, view, scale, size):  # type: ignore[no-untyped-def]
    differs = (np.abs(now - clean).max(2) > 10).astype(np.uint8)
    differs = cv2.morphologyEx(differs, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    joined = cv2.dilate(differs, np.ones((int(2.2 * scale) | 1,) * 2, np.uint8))
    _, labels = cv2.connectedComponents(joined)
    boxes = []
    for t in touched:
        spots = [(t.x, t.y), *t.points]
        found = None
        for sx, sy in spots[::-1]:
            x, y = _land(view, sx, sy, 1.5, scale, size)
            r = int(1.2 * scale)
            window = labels[max(0, int(y) - r) : int(y) + r, max(0, int(x) - r) : int(x) + r]
            if window.size and window.max() > 0:
                own = (labels == window.max()).astype(np.uint8) * differs
                bx, by, bw, bh = cv2.boundingRect(own)
                inside = bx > 22 and by > 22 and bx + bw < size[0] - 22 and by + bh < size[1] - 22
                found = (bx, by, bx + bw, by + bh) if inside and own.sum() > 60 else None
                break
        boxes.append(found)
    return boxes


def _points(device, first, second, scale, size):  # type: ignore[no-untyped-def]
    """Where 45 points of the visible surface lie in both photos."""
    a, b = [], []
    for v in np.linspace(-0.3, 0.3, 5):
        for u in np.linspace(-0.3, 0.3, 9):
            x, y = u * device.width, v * device.height
            flat = [t for t in device.things if t.kind in ("chip", "cover", "label")]
            over = [t for t in flat if max(abs(t.x - x), abs(t.y - y)) < 0.5 * min(t.w, t.h)]
            z = max([HEIGHTS[LEVEL[t.kind]] for t in over] or [0.0])
            a.append(_land(first, x, y, z, scale, size))
            b.append(_land(second, x, y, z, scale, size))
    a, b = np.array(a), np.array(b)
    ok = (b > 4).all(1) & (b[:, 0] < size[0] - 4) & (b[:, 1] < size[1] - 4)
    return a[ok], b[ok]


def _places(device, changed, view, scale, size):  # type: ignore[no-untyped-def]
    """Screws and connectors as marked in as-found: kind, x, y, size in pixels, and what became of them."""
    places = []
    for old, new in zip(device.things, changed.things, strict=False):
        if old.kind not in ("screw", "connector"):
            continue
        z = HEIGHTS[2 if old.kind == "screw" else 3]
        x, y = _land(view, old.x, old.y, z, scale, size)
        if not (60 < x < size[0] - 60 and 60 < y < size[1] - 60):
            continue
        off = abs(old.angle - new.angle) > 1.2 if old.kind == "connector" else old.kind != new.kind
        state = ("turned" if old.kind == "connector" else "missing") if off else "there"
        places.append((old.kind, float(x), float(y), float(old.w * scale), state))
    return places
