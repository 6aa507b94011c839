"""Photo pairs of opened devices with known truth, drawn from a seed, nearer to a photograph than device_scenes.py.

A device is a tray with a board, chips, shields, screwed covers, sockets with plugs, cables and a
battery, on eight levels from 0 to 4 mm. Each level is seen through its own homography of one
pinhole camera, so that taller things shift against the board. Between the two photos the device is
moved, turned, tilted and brought nearer, exposure, white balance, lamp and focus differ, there is
a little radial distortion, gloss, noise and JPEG; in three of five pairs most screws were driven
again, every cable has play and every plug sits a little otherwise. None of that is a change.

The box of a change is where the noise-free pictures with and without it differ. Boards, table and
label use open photographs where they are installed (Debian's opencv-doc, scikit-image), else noise.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np

LEVELS = (0.0, 0.35, 0.7, 1.1, 1.6, 2.2, 3.0, 4.0)  # mm
CHANGES = (
    "screw missing", "screw extra", "loose screw", "cable moved", "connector turned", "cover absent", "left inside",
)  # fmt: skip
BOARDS = ((52, 120, 30), (36, 78, 60), (40, 36, 150), (120, 64, 30), (58, 56, 56), (96, 40, 92))  # BGR
CABLES = ((30, 130, 225), (24, 90, 160), (190, 90, 20), (62, 58, 56), (206, 204, 204))
WIRES = ((40, 40, 210), (225, 150, 40), (40, 200, 240), (44, 42, 42), (235, 235, 235))
BOARD_PHOTO = Path("/usr/share/doc/opencv-doc/examples/data/board.jpg")
DISTANCE = 300.0  # mm from lens to board


@dataclass(frozen=True)
class Thing:
    """One part: centre, size in mm, degrees, level (index into LEVELS), its seed, the points of a cable."""

    kind: str
    x: float
    y: float
    w: float
    h: float
    angle: float
    level: int
    seed: int
    points: tuple[tuple[float, float], ...] = ()
    on: int = -1  # number of the cover a screw holds


@dataclass(frozen=True)
class Known:
    """A part that could be marked on as-found: centre, size, degrees in its pixels; state: there, missing, turned."""

    kind: str
    x: float
    y: float
    w: float
    h: float | None
    angle: float
    state: str


@dataclass(frozen=True)
class Change:
    kind: str
    box: tuple[int, int, int, int]  # x0, y0, x1, y1 in as-left
    detail: str
    contrast: float


@dataclass(frozen=True)
class LayeredPair:
    """As-found and as-left (BGR), the changes, points of the visible surface in both photos, what could be marked."""

    found: np.ndarray
    left: np.ndarray
    changes: list[Change]
    points_found: np.ndarray
    points_left: np.ndarray
    known: list[Known]
    px_per_mm: float
    name: str


@dataclass(frozen=True)
class _View:
    roll: float
    grow: float
    shift: tuple[float, float]
    tilt: tuple[float, float]
    k1: float
    light: float  # radians, direction of the lamp
    gain: tuple[float, float, float]
    slope: tuple[float, float]
    sigma: float
    noise: float
    seed: int


@dataclass
class _Device:
    seed: int
    hard: bool
    photo: bool
    board: tuple[float, float, float, float]  # centre and size in mm
    width: float
    height: float
    head: float
    black: bool
    ring: tuple[int, int, int]
    recess: int
    things: list[Thing] = field(default_factory=list)


def scenes(count: int, *, first: int, hard: bool = False) -> Iterator[LayeredPair]:
    """Four pairs each of `count` devices from seed `first` on; the fourth is unchanged."""
    for seed in range(first, first + count):
        for turn in range(4):
            yield pair(seed, turn, hard=hard)


def pair(seed: int, turn: int, *, hard: bool = False) -> LayeredPair:
    """One pair of the device `seed`; turn 3 is unchanged, the other turns go through all kinds of changes."""
    device, first, size, scale = _scene(seed, hard)
    for again in range(20):
        made = _pair(device, first, size, scale, turn, again)
        if made is not None:
            return made
    raise ValueError(f"no change of device {seed} could be seen")


@functools.lru_cache(maxsize=2)
def _scene(seed: int, hard: bool) -> tuple[_Device, _View, tuple[int, int], float]:
    rng = np.random.default_rng([seed, 11 + hard])
    size = (1280, 720) if hard or seed % 8 else (1920, 1080)
    scale = rng.uniform(5.6, 8.7) if hard else rng.uniform(7.9, 13.7) * (size[0] / 1280) ** 0.5
    device = _make(rng, seed, hard, size[0] / scale, size[1] / scale)
    common = (rng.uniform(-3, 3), rng.uniform(-3, 3))
    lamp, k1 = float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(-0.08, 0.06))
    return device, _view(rng, size, common, lamp, k1, first=True), size, scale


@functools.lru_cache(maxsize=2)
def found_photo(seed: int, hard: bool = False) -> np.ndarray:
    """The as-found photo of a device alone, (h, w, 3) uint8; read-only."""
    device, view, size, scale = _scene(seed, hard)
    return _finish(_photo(device, view, scale, size), view)


def _pair(
    device: _Device, first: _View, size: tuple[int, int], scale: float, turn: int, again: int
) -> LayeredPair | None:
    rng = np.random.default_rng([device.seed, 100 + device.hard, turn, again])
    common = (first.tilt[0], first.tilt[1])
    view = _view(rng, size, common, first.light, first.k1, first=False)
    same = _nuisance(device, rng, rng.random() < 0.6)
    kinds = [] if turn == 3 else [CHANGES[(device.seed * 3 + turn) % len(CHANGES)]]
    if kinds and rng.random() < 0.2:
        kinds.append(CHANGES[int(rng.integers(len(CHANGES)))])
    changed, steps = same, []
    for kind in kinds:
        step = _changed(changed, kind, rng, [s[1] for s in steps])
        if step is not None:
            changed = step[0]
            steps.append((kind, step[1], step[2]))
    if kinds and not steps:
        return None
    plain = _photo(same, view, scale, size)
    now = _photo(changed, view, scale, size) if steps else plain
    changes = []
    for kind, thing, detail in steps:
        alone = now if len(steps) == 1 else _photo(_only(same, changed, thing), view, scale, size)
        box, contrast = _differs(plain, alone, size, scale)
        if box is None:
            return None
        changes.append(Change(kind, box, detail, contrast))
    if len(changes) == 2 and _meet(changes[0].box, changes[1].box):
        return None
    a, b = _points(device, first, view, scale, size)
    return LayeredPair(
        found_photo(device.seed, device.hard), _finish(now, view), changes, a, b,
        _known(device, changed, first, view, scale, size), scale, f"{'h' if device.hard else 'm'}{device.seed}_{turn}",
    )  # fmt: skip


def _meet(a: tuple[int, ...], b: tuple[int, ...]) -> bool:
    return min(a[2], b[2]) > max(a[0], b[0]) and min(a[3], b[3]) > max(a[1], b[1])


def _only(same: _Device, changed: _Device, thing: Thing) -> _Device:
    """The device with the change of `thing` (its new state) alone."""
    things = list(same.things)
    for number, new in enumerate(changed.things):
        if number >= len(things):
            if new is thing:
                things.append(new)
        elif new is thing or (thing.kind == "bay" and new.on == number_of(changed, thing)):
            things[number] = new
    return replace(same, things=things)


def number_of(device: _Device, thing: Thing) -> int:
    return next(i for i, t in enumerate(device.things) if t is thing)


# -- the device


def _make(rng: np.random.Generator, seed: int, hard: bool, width: float, height: float) -> _Device:
    side = 0.0 if rng.random() < 0.3 else float(rng.choice([-1, 1]))
    board_w, board_h = width * (1.0 if side == 0 else 0.72), height * rng.uniform(0.78, 0.98)
    board = (-side * 0.15 * width, rng.uniform(-0.02, 0.02) * height, board_w, board_h)
    device = _Device(
        seed, hard, bool(rng.random() < 0.4), board, width * 1.3, height * 1.3,
        rng.uniform(1.8, 2.2) if hard else rng.uniform(1.9, 3.4), bool(rng.random() < 0.25),
        ((170, 168, 166), (70, 150, 190), (60, 58, 58))[int(rng.choice(3, p=[0.45, 0.4, 0.15]))], int(rng.integers(3)),
    )  # fmt: skip
    taken: list[tuple[float, float, float]] = []
    x0, y0 = board[0], board[1]

    def spot(room: float, reach: float = 0.46) -> tuple[float, float] | None:
        for _ in range(80):
            x, y = x0 + rng.uniform(-reach, reach) * board_w, y0 + rng.uniform(-reach, reach) * board_h
            if all((x - a) ** 2 + (y - b) ** 2 > (room + c) ** 2 for a, b, c in taken):
                taken.append((x, y, room))
                return x, y
        return None

    def add(
        kind: str, level: int, at: tuple[float, float], w: float, h: float, angle: float, on: int = -1
    ) -> Thing:
        thing = Thing(kind, at[0], at[1], w, h, angle, level, int(rng.integers(1 << 30)), (), on)
        device.things.append(thing)
        return thing

    for kind, count in (("cover", 2), ("shield", 2)):
        for _ in range(count):
            w, h = rng.uniform(10, 19), rng.uniform(8.5, 14.5)
            at = spot(0.42 * max(w, h), 0.38)
            if at is None:
                continue
            number = len(device.things)
            add(kind, 4, at, w, h, rng.normal(0, 0.6))
            if kind == "cover":
                for sx, sy in ((-1, -1), (1, 1)):
                    where = (
                        at[0] + sx * (w / 2 - device.head * 0.8),
                        at[1] + sy * (h / 2 - device.head * 0.8),
                    )
                    add("screw", 5, where, device.head, device.head, rng.uniform(0, 360), number)
    for _ in range(5):
        w, h = rng.uniform(6, 11), rng.uniform(3.0, 4.2)
        at = spot(0.5 * w, 0.42)
        if at is not None:
            angle = float(rng.integers(4)) * 90 + rng.normal(0, 0.4)
            add("socket", 2, at, w, h, angle)
            add("connector", 3, at, w * 0.86, h * 0.72, angle)
    for _ in range(11):
        at = spot(device.head * 1.0, 0.46)
        if at is not None:
            add("screw", 3, at, device.head, device.head, rng.uniform(0, 360))
    for _ in range(3):
        at = spot(device.head * 1.0, 0.44)
        if at is not None:
            add("hole", 1, at, device.head, device.head, 0)
    for _ in range(10 if device.photo else 34):
        at = spot(rng.uniform(1.2, 2.4), 0.47)
        if at is not None:
            add("chip", 2, at, rng.uniform(2.5, 7.5), rng.uniform(2.5, 7), float(rng.integers(2)) * 90)
    for _ in range(6):
        at = spot(0.9, 0.46)
        if at is not None:
            add("can", 6, at, rng.uniform(1.8, 3.2), 0, 0)
    for _ in range(3):
        at = spot(1.5, 0.44)
        if at is not None:
            add("sticker", 1, at, rng.uniform(3, 5.5), rng.uniform(2.5, 4), rng.normal(0, 6))
    if side:
        where = (side * 0.37 * width, rng.uniform(-0.03, 0.03) * height)
        add("battery", 6, where, 0.27 * width, board_h * rng.uniform(0.72, 0.92), rng.normal(0, 0.4))
    for plug in [t for t in device.things if t.kind == "connector"]:
        device.things.append(_cable(plug, rng, device))
    return device


def _cable(plug: Thing, rng: np.random.Generator, device: _Device) -> Thing:
    angle = np.deg2rad(plug.angle + 90 + rng.uniform(-18, 18))
    if (plug.x - device.board[0]) * np.cos(angle) + (plug.y - device.board[1]) * np.sin(angle) > 0:
        angle += np.pi  # towards the middle, so that most of it is seen
    x, y, points = plug.x, plug.y, []
    x, y = x + np.cos(angle) * plug.h * 0.1, y + np.sin(angle) * plug.h * 0.1
    step = rng.uniform(2.6, 5.0)
    for _ in range(6):
        points.append((float(x), float(y)))
        x, y = x + np.cos(angle) * step, y + np.sin(angle) * step
        angle += rng.uniform(-0.4, 0.4)
    kind = "wire" if rng.random() < 0.4 else "flex"
    wide = (
        rng.uniform(0.9, 1.3) * int(rng.integers(1, 4)) if kind == "wire" else plug.w * rng.uniform(0.4, 0.65)
    )
    return Thing(
        kind, plug.x, plug.y, wide, 0, 0, int(rng.choice([4, 5])), int(rng.integers(1 << 30)), tuple(points)
    )


def _nuisance(device: _Device, rng: np.random.Generator, redriven: bool) -> _Device:
    things = []
    for t in device.things:
        if t.kind == "screw" and redriven and rng.random() < 0.7:
            t = replace(t, angle=t.angle + rng.uniform(8, 352))
        elif t.kind in ("flex", "wire"):
            t = replace(t, points=_bent(t.points, rng.uniform(-0.2, 0.2)))
        elif t.kind == "connector":
            t = replace(t, angle=t.angle + rng.normal(0, 0.25))
        things.append(t)
    return replace(device, things=things)


def _bent(points: tuple[tuple[float, float], ...], mm: float) -> tuple[tuple[float, float], ...]:
    far = np.array(points)
    along = far[-1] - far[0]
    side = np.array([-along[1], along[0]]) / (np.hypot(*along) + 1e-9)
    share = np.linspace(0, 1, len(far))[:, None]
    return tuple((float(x), float(y)) for x, y in far + share**1.4 * side * mm)


def _changed(
    device: _Device, kind: str, rng: np.random.Generator, touched: list[Thing]
) -> tuple[_Device, Thing, str] | None:
    wanted = {
        "screw missing": ("screw",), "screw extra": ("hole",), "cable moved": ("flex", "wire"),
        "connector turned": ("connector",), "cover absent": ("cover",), "left inside": ("chip", "can", "shield"),
        "loose screw": ("chip", "hole", "shield", "screw"),
    }[kind]  # fmt: skip
    choice = [t for t in device.things if t.kind in wanted and not any(t is o for o in touched)]
    choice = [
        t
        for t in choice
        if abs(t.x) < 0.34 * device.width / 1.3 * 1.15 and abs(t.y) < 0.4 * device.height / 1.3
    ]
    if kind in ("screw missing", "connector turned"):
        choice = [t for t in choice if not _covered(device, t)]
    if not choice:
        return None
    old = choice[int(rng.integers(len(choice)))]
    things, hard = list(device.things), device.hard
    at = next(i for i, t in enumerate(things) if t is old)
    sign = float(rng.choice([-1, 1]))
    if kind == "screw missing":
        new, detail = replace(old, kind="gone", level=old.level if old.on >= 0 else 1), f"D {old.w:.2f}"
    elif kind == "screw extra":
        new, detail = replace(old, kind="screw", level=3, angle=rng.uniform(0, 360)), f"D {old.w:.2f}"
    elif kind == "cable moved":
        mm = (rng.uniform(0.8, 2.0) if hard else rng.uniform(1.5, 6)) * sign
        new, detail = replace(old, points=_bent(old.points, mm)), f"{mm:.2f} mm {old.kind}"
    elif kind == "connector turned":
        turn = (rng.uniform(1.5, 4) if hard else rng.uniform(3, 7.5)) * sign
        off = rng.uniform(0.05, 0.2) if hard else rng.uniform(0.2, 0.6)
        lift = 0 if hard or rng.random() < 0.5 else 1
        way = rng.uniform(0, 2 * np.pi)
        new = replace(
            old, angle=old.angle + turn, x=old.x + off * np.cos(way), y=old.y + off * np.sin(way),
            level=old.level + lift,
        )  # fmt: skip
        detail = f"{turn:.2f} deg lift {0.5 * lift} off {off:.2f}"
    elif kind == "cover absent":
        new, detail = replace(old, kind="bay", level=1), f"{old.w:.1f} x {old.h:.1f}"
        things = [replace(t, kind="gone", level=1) if t.on == at and t.kind == "screw" else t for t in things]
    else:
        x, y = old.x + rng.uniform(-2, 2), old.y + rng.uniform(-2, 2)
        half = 0.5 if hard else 1.0
        if kind == "loose screw":
            long = rng.uniform(2.8, 4.8) * (0.55 if hard else 1.0)
            new = Thing(
                "loose", x, y, long, min(device.head, 0.62 * long), rng.uniform(0, 360), 7, old.seed + 1
            )
            detail = f"L {long:.2f}"
        else:
            what = ("washer", "pick", "fibre", "ball")[int(rng.integers(4))]
            long = {"washer": rng.uniform(3, 5.6), "pick": rng.uniform(4.5, 9), "fibre": rng.uniform(5, 10),
                    "ball": rng.uniform(1.8, 2.8)}[what] * half  # fmt: skip
            new = Thing(what, x, y, long, long, rng.uniform(0, 360), 7, old.seed + 1)
            detail = f"{what} {long:.2f} mm"
        return replace(device, things=[*things, new]), new, detail
    things[at] = new
    return replace(device, things=things), new, detail


def _covered(device: _Device, t: Thing) -> bool:
    """Whether something higher may hide a part of it."""
    for o in device.things:
        cable = o.kind in ("flex", "wire")
        if o is t or (o.level <= t.level and not cable):
            continue
        if cable:
            if t.kind == "screw":
                away = np.hypot(*(np.array(o.points) - (t.x, t.y)).T).min()
                if away < 2 + o.w / 2 + t.w / 2:
                    return True
        elif o.kind in ("can", "battery", "shield", "cover") and t.on < 0:
            high = o.w if o.kind == "can" else o.h
            if abs(o.x - t.x) < (o.w + t.w) / 2 and abs(o.y - t.y) < (high + t.w) / 2:
                return True
    return False


# -- drawing: layers are (h, w, 4) uint8 with the colour already multiplied by the alpha


class _Sheet:
    """The layers of one device at `res` pixels per mm, origin in the middle."""

    def __init__(self, device: _Device, res: float) -> None:
        self.res = res
        self.w, self.h = int(device.width * res), int(device.height * res)
        self.layers = [np.zeros((self.h, self.w, 4), np.uint8) for _ in LEVELS]

    def at(self, x: float, y: float) -> np.ndarray:
        return np.array([self.w / 2 + x * self.res, self.h / 2 + y * self.res])

    def corners(self, t: Thing, grow: float = 1.0, extra: float = 0.0) -> np.ndarray:
        a = np.deg2rad(t.angle)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [
            t.w / 2 * grow + extra,
            t.h / 2 * grow + extra,
        ]
        return half * self.res @ turn.T + self.at(t.x, t.y)

    def poly(self, level: int, points: np.ndarray, colour: tuple[float, ...]) -> None:
        cv2.fillPoly(self.layers[level], [_fixed(points)], (*colour, 255), cv2.LINE_AA, 4)

    def disc(self, level: int, centre: np.ndarray, radius_px: float, colour: tuple[float, ...]) -> None:
        at = tuple(round(v * 16) for v in centre)
        cv2.circle(self.layers[level], at, max(8, int(radius_px * 16)), (*colour, 255), -1, cv2.LINE_AA, 4)

    def line(self, level: int, points: np.ndarray, width_px: float, colour: tuple[float, ...]) -> None:
        thick = max(1, round(width_px))
        cv2.polylines(self.layers[level], [_fixed(points)], False, (*colour, 255), thick, cv2.LINE_AA, 4)

    def textured(
        self,
        level: int,
        points: np.ndarray,
        colour: tuple[float, ...],
        seed: int,
        brushed: float,
        gloss: float,
    ) -> None:
        """A plate with a grain along x and a soft sheen."""
        x, y, w, h = cv2.boundingRect(points.astype(np.float32))
        x0, y0, x1, y1 = max(0, x), max(0, y), min(self.w, x + w), min(self.h, y + h)
        if x1 <= x0 or y1 <= y0:
            return
        rng = np.random.default_rng(seed)
        grain = rng.normal(0, brushed, (y1 - y0, (x1 - x0) // 12 + 2)).astype(np.float32)
        grain = cv2.resize(grain, (x1 - x0, y1 - y0), interpolation=cv2.INTER_LINEAR)
        sheen = np.linspace(-gloss, gloss, x1 - x0, dtype=np.float32)[None] * np.float32(np.mean(colour))
        body = np.array(colour, np.float32) + (grain + sheen)[..., None]
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(mask, [_fixed(points - [x0, y0])], 255, cv2.LINE_AA, 4)
        m = mask.astype(np.float32)[..., None] / 255
        part = self.layers[level][y0:y1, x0:x1].astype(np.float32)
        full = np.dstack([np.clip(body, 0, 255), np.full(mask.shape, 255, np.float32)])
        self.layers[level][y0:y1, x0:x1] = np.rint(part * (1 - m) + full * m).astype(np.uint8)


def _fixed(points: np.ndarray) -> np.ndarray:
    return np.round(np.asarray(points) * 16).astype(np.int32)


def _sheet(device: _Device, res: float, light: float, gloss_seed: int) -> _Sheet:
    sheet = _Sheet(device, res)
    sheet.layers[0] = _ground(device, res, sheet.w, sheet.h).copy()
    order = sorted(device.things, key=lambda t: (t.level, t.kind in ("flex", "wire")))
    for t in order:
        sheen = float(np.random.default_rng([gloss_seed, t.seed]).uniform(-0.07, 0.07))
        _DRAW[t.kind](sheet, t, device, light, sheen)
    return sheet


@functools.lru_cache(maxsize=2)
def _table(seed: int) -> np.ndarray:
    name = ("brick", "gravel", "grass", "")[seed % 4]
    rng = np.random.default_rng(seed)
    if name:
        try:
            import skimage.data

            grey = getattr(skimage.data, name)()
            return cv2.merge(
                [np.clip(grey * f * 0.7, 0, 255).astype(np.uint8) for f in rng.uniform(0.7, 1.0, 3)]
            )
        except (ImportError, OSError):
            pass
    noise = cv2.resize(
        rng.normal(80, 14, (64, 64)).astype(np.float32), (512, 512), interpolation=cv2.INTER_CUBIC
    )
    return cv2.merge([np.clip(noise, 0, 255).astype(np.uint8)] * 3)


@functools.lru_cache(maxsize=1)
def _board_photo() -> np.ndarray | None:
    picture = cv2.imread(str(BOARD_PHOTO)) if BOARD_PHOTO.exists() else None
    return None if picture is None else np.hstack([picture, picture[:, ::-1]])


_kept: dict[tuple[int, bool, float], np.ndarray] = {}


def _ground(device: _Device, res: float, w: int, h: int) -> np.ndarray:
    """Table, tray and board: what lies at 0 mm and never changes."""
    key = (device.seed, device.hard, res)
    if key in _kept:
        return _kept[key]
    rng = np.random.default_rng([device.seed, 5])
    ground = np.full((h, w, 4), 255, np.uint8)
    tile = cv2.resize(_table(device.seed), None, fx=res / 9, fy=res / 9, interpolation=cv2.INTER_LINEAR)
    rows, columns = -(-h // tile.shape[0]), -(-w // tile.shape[1])
    ground[..., :3] = np.tile(tile, (rows, columns, 1))[:h, :w]
    cx, cy, bw, bh = device.board
    everything = Thing("tray", 0, cy, device.width * 0.93, bh + 16, 0, 0, 0)
    sheet = _Sheet.__new__(_Sheet)
    sheet.res, sheet.w, sheet.h, sheet.layers = res, w, h, [ground]
    dark = rng.uniform(40, 75)
    mottled = cv2.resize(rng.normal(0, 7, (h // 30 + 2, w // 30 + 2)).astype(np.float32), (w, h))
    sheet.poly(0, sheet.corners(everything), (dark + 26, dark + 24, dark + 24))
    sheet.poly(0, sheet.corners(replace(everything, w=device.width * 0.9, h=bh + 7)), (dark * 0.5,) * 3)
    p, q = sheet.at(cx - bw / 2, cy - bh / 2).astype(int), sheet.at(cx + bw / 2, cy + bh / 2).astype(int)
    p, q = np.clip(p, 0, [w, h]), np.clip(q, 0, [w, h])
    ground[p[1] : q[1], p[0] : q[0], :3] = _board(device, rng, res, q[0] - p[0], q[1] - p[1])
    top = p[1] - int(2 * res)
    ground[max(0, top) :, :, :3] = np.clip(
        ground[max(0, top) :, :, :3] + mottled[max(0, top) :, :, None], 0, 255
    )
    _kept.clear()
    _kept[key] = ground
    return ground


def _board(device: _Device, rng: np.random.Generator, res: float, w: int, h: int) -> np.ndarray:
    photo = _board_photo() if device.photo else None
    base = np.array(BOARDS[int(rng.integers(len(BOARDS)))], np.float32)
    if photo is not None:
        grow = max(w / photo.shape[1], h / photo.shape[0]) * rng.uniform(1.0, 1.4)
        big = cv2.resize(
            photo, None, fx=grow, fy=grow, interpolation=cv2.INTER_AREA if grow < 1 else cv2.INTER_CUBIC
        )
        x, y = int(rng.integers(big.shape[1] - w + 1)), int(rng.integers(big.shape[0] - h + 1))
        board = np.clip(big[y : y + h, x : x + w] * rng.uniform(0.75, 1.15, 3), 0, 255).astype(np.uint8)
        return board[:, ::-1] if rng.random() < 0.5 else board
    board = np.empty((h, w, 3), np.uint8)
    board[:] = base
    area = w * h / res**2
    for _ in range(int(area / 14)):
        x, y = rng.uniform(0, w), rng.uniform(0, h)
        points = [(x, y)]
        for _ in range(3):
            direction, length = rng.integers(8) * np.pi / 4, rng.uniform(2, 12) * res
            x, y = x + np.cos(direction) * length, y + np.sin(direction) * length
            points.append((x, y))
        colour = tuple(float(v) for v in np.clip(base * rng.uniform(1.15, 1.4) + 6, 0, 255))
        for lane in range(int(rng.integers(1, 4))):
            line = _fixed(np.array(points) + lane * 0.4 * res)
            cv2.polylines(board, [line], False, colour, max(1, int(0.16 * res)), cv2.LINE_AA, 4)
    for _ in range(int(area / 12)):
        at = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        cv2.circle(board, at, max(1, int(0.26 * res)), (110, 180, 200), -1, cv2.LINE_AA)
        cv2.circle(board, at, max(1, int(0.12 * res)), (20, 20, 20), -1, cv2.LINE_AA)
    for _ in range(int(area / 22)):
        x, y, flat = rng.uniform(0, w), rng.uniform(0, h), rng.random() < 0.5
        k = rng.uniform(0.5, 1.1)
        a, b = (1.1 * k, 0.55 * k) if flat else (0.55 * k, 1.1 * k)
        part = (60, 90, 140) if rng.random() < 0.6 else (36, 36, 40)
        for grow, colour in ((1.0, (190, 200, 205)), (0.6, part)):
            aa, bb = (a * grow, b) if flat else (a, b * grow)
            p, q = (int(x - aa * res), int(y - bb * res)), (int(x + aa * res), int(y + bb * res))
            cv2.rectangle(board, p, q, colour, -1)
    for number in range(int(area / 200)):
        at = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        name = "RCJLU"[number % 5] + str(int(rng.integers(100, 999)))
        cv2.putText(board, name, at, cv2.FONT_HERSHEY_SIMPLEX, 0.035 * res, (225, 228, 228), 1, cv2.LINE_AA)
    return board


def _draw_chip(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    rng = np.random.default_rng(t.seed)
    tone = float(rng.uniform(34, 48))
    for k in range(int(t.w / 0.7)):
        x = t.x - t.w / 2 + 0.7 * k + 0.35
        ends = np.array([s.at(x, t.y - t.h / 2 - 0.35), s.at(x, t.y + t.h / 2 + 0.35)])
        s.line(1, ends, 0.3 * s.res, (190, 194, 196))
    s.poly(2, s.corners(t), (tone, tone, tone + 2))
    for row in range(2):
        at = s.at(t.x - t.w * 0.36, t.y - t.h * 0.05 + row * 1.1)
        text = "".join("ABCDEFGHKLMNPRSTX0123456789"[int(v)] for v in rng.integers(0, 27, 4))
        org = (int(at[0]), int(at[1]))
        cv2.putText(
            s.layers[2],
            text,
            org,
            cv2.FONT_HERSHEY_SIMPLEX,
            0.03 * s.res,
            (120, 120, 122, 255),
            1,
            cv2.LINE_AA,
        )


def _draw_plate(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    rng = np.random.default_rng(t.seed)
    tone = float(rng.choice([60, 120, 160, 186])) if t.kind == "cover" else float(rng.uniform(165, 200))
    level = t.level
    s.poly(level, s.corners(t), (tone * 0.8, tone * 0.8, tone * 0.82))
    s.textured(level, s.corners(t, 1, -0.12), (tone, tone, tone + 1), t.seed, 3.0, sheen)
    if t.kind == "shield":
        for k in range(5):
            u = (k + 0.5) / 5 - 0.5
            s.disc(level, s.at(t.x + u * t.w, t.y + t.h / 2 - 0.7), 0.2 * s.res, (60, 60, 60))
    else:
        at = s.at(t.x - 1.2, t.y + 0.4)
        org, ink = (int(at[0]), int(at[1])), (tone * 0.7,) * 3
        number, font = f"{t.seed % 9973:04d}", cv2.FONT_HERSHEY_SIMPLEX
        cv2.putText(s.layers[level], number, org, font, 0.045 * s.res, (*ink, 255), 1, cv2.LINE_AA)


def _draw_bay(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    rng = np.random.default_rng(t.seed + 3)
    frame = float(rng.uniform(180, 235))
    s.poly(1, s.corners(t), (frame, frame, frame))
    base = np.array(BOARDS[t.seed % len(BOARDS)], np.float32) * 0.9
    s.poly(1, s.corners(t, 1, -0.6), tuple(float(v) for v in base))
    for _ in range(8):
        u, v = rng.uniform(-0.38, 0.38, 2) * [t.w, t.h]
        s.poly(1, s.corners(replace(t, x=t.x + u, y=t.y + v, w=1.0, h=0.6)), (200, 208, 212))
    s.poly(1, s.corners(replace(t, w=t.w * 0.4, h=t.h * 0.45)), (44, 44, 46))


def _draw_socket(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    white = t.seed % 5 > 1
    tone = 214.0 if white else 196.0
    s.poly(t.level, s.corners(t, 1, 0.12), (70, 74, 78))
    s.poly(t.level, s.corners(t), (tone - 8, tone - 2, tone))
    s.poly(t.level, s.corners(t, 1, -0.35), (120, 124, 128) if white else (40, 40, 42))


def _draw_connector(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    white = t.seed % 3 > 0
    body = (206.0, 220.0, 226.0) if white else (48.0, 46.0, 46.0)
    s.poly(t.level, s.corners(t), body)
    a = np.deg2rad(t.angle)
    pins = max(5, int(t.w / 0.62))
    for k in range(pins):
        for side in (-1, 1):
            u, v = ((k + 0.5) / pins - 0.5) * t.w * 0.94, side * t.h * 0.38
            at = s.at(t.x + u * np.cos(a) - v * np.sin(a), t.y + u * np.sin(a) + v * np.cos(a))
            pin = np.array([[-0.14, -0.26], [0.14, -0.26], [0.14, 0.26], [-0.14, 0.26]]) * s.res
            turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
            s.poly(t.level, pin @ turn.T + at, (100, 190, 225))
    inner = replace(t, w=t.w * 0.82, h=t.h * 0.42)
    s.poly(t.level, s.corners(inner), (160, 164, 166) if white else (34, 34, 36))


def _draw_screw(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    at, r = s.at(t.x, t.y), t.w / 2 * s.res
    if t.on < 0:
        _draw_ring(s, t, d)
    tone = (40.0 if d.black else 150.0) * (1 + 0.06 * float(np.cos(2 * np.deg2rad(t.angle) - light)))
    way = np.array([np.cos(light), np.sin(light)])
    s.disc(t.level, at, r, (tone * 0.62,) * 3)
    for k in range(7):
        grow = 0.95 - k * 0.11
        lit = tone + (7 if d.black else 9) * k
        s.disc(t.level, at + way * r * 0.035 * k, r * grow, (lit, lit, lit))
    a = np.deg2rad(t.angle)
    arms = (4, 6, 3)[d.recess]
    for arm in range(arms):
        b = a + arm * 2 * np.pi / arms
        out = np.array([np.cos(b), np.sin(b)]) * r * (0.64 if arms != 6 else 0.5)
        side = np.array([-np.sin(b), np.cos(b)]) * r * 0.15
        s.poly(t.level, np.array([at + out + side, at + out - side, at - side, at + side]), (26, 26, 28))
    if arms == 6:
        s.disc(t.level, at, r * 0.34, (26, 26, 28))
    glint = light + 0.35 * np.sin(a * arms)
    spot = at + np.array([np.cos(glint), np.sin(glint)]) * r * 0.7
    bright = 110.0 if d.black else 236.0
    s.disc(t.level, spot, r * 0.13, (bright, bright, bright))


def _draw_ring(s: _Sheet, t: Thing, d: _Device) -> None:
    at = s.at(t.x, t.y)
    s.disc(1, at, t.w * 0.88 * s.res, d.ring)
    s.disc(1, at, t.w * 0.82 * s.res, tuple(min(255.0, 1.06 * v) for v in d.ring))
    s.disc(1, at, t.w * 0.37 * s.res, (22, 22, 22))


def _draw_hole(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    if t.on < 0:
        _draw_ring(s, t, d)
    elif t.level > 1:
        s.disc(t.level, s.at(t.x, t.y), t.w * 0.37 * s.res, (20, 20, 20))


def _draw_can(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    at, r = s.at(t.x, t.y), t.w / 2 * s.res
    s.disc(t.level, at, r, (70, 70, 72))
    s.disc(t.level, at, r * 0.9, (214, 216, 218))


def _draw_sticker(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    s.poly(1, s.corners(t), ((30, 120, 235), (30, 215, 250), (232, 234, 234))[t.seed % 3])


def _draw_battery(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    s.textured(t.level, s.corners(t), (46, 46, 47), t.seed, 2.0, 0.0)
    label = replace(t, w=t.w * 0.72, h=t.h * 0.32)
    s.poly(t.level, s.corners(label), (202, 206, 208))
    at, wide = s.at(label.x - label.w * 0.42, label.y - label.h * 0.25), label.w * s.res
    for row in range(5):
        org = (int(at[0]), int(at[1] + row * 0.17 * label.h * s.res))
        cv2.putText(s.layers[t.level], "Cell pack 3.8 V 21 Wh keep dry"[row : 22 + row], org, cv2.FONT_HERSHEY_SIMPLEX,
                    wide / 420, (60, 60, 64, 255), 1, cv2.LINE_AA)  # fmt: skip


def _draw_cable(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    along = np.array(t.points)
    n = len(along)
    dense = np.stack([np.interp(np.linspace(0, n - 1, 90), range(n), along[:, i]) for i in (0, 1)], axis=1)
    kernel = np.hanning(19) / np.hanning(19).sum()
    padded = np.vstack([2 * dense[0] - dense[1:10][::-1], dense, 2 * dense[-1] - dense[-10:-1][::-1]])
    calm = np.stack([np.convolve(padded[:, i], kernel, "valid") for i in (0, 1)], axis=1)
    pixels = calm * s.res + [s.w / 2, s.h / 2]
    step = np.gradient(pixels, axis=0)
    side = np.stack([-step[:, 1], step[:, 0]], 1) / (np.hypot(*step.T)[:, None] + 1e-9)

    def ribbon(low: float, high: float, colour: tuple[float, ...]) -> None:
        edge = np.vstack([pixels + side * low, (pixels + side * high)[::-1]])
        s.poly(t.level, edge, colour)

    half = t.w / 2 * s.res
    if t.kind == "flex":
        own = np.array(CABLES[t.seed % len(CABLES)], float)
        ribbon(-half, half, tuple(own * 0.85))
        stripes = max(4, int(t.w / 0.55))
        for k in range(stripes):
            low = -half + 2 * half * (k + 0.15) / stripes
            ribbon(low, low + 2 * half * 0.7 / stripes, tuple(np.minimum(255, own * 1.06)))
    else:
        count = max(1, round(t.w / 1.1))
        for k in range(count):
            own = np.array(WIRES[(t.seed + k) % len(WIRES)], float)
            low, wide = -half + 2 * half * k / count, 2 * half / count
            ribbon(low, low + wide, tuple(own * 0.6))
            ribbon(low + 0.12 * wide, low + 0.88 * wide, tuple(own * 0.92))
            ribbon(low + 0.3 * wide, low + 0.55 * wide, tuple(np.minimum(255, own * 1.1 + 18)))


def _draw_loose(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    a = np.deg2rad(t.angle)
    way, across = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    at, long, head = s.at(t.x, t.y), t.w * s.res, t.h * s.res
    tone = 60.0 if d.black else 165.0

    def bar(u0: float, u1: float, half: float, colour: float) -> None:
        p, q = at + way * (u0 - 0.5) * long, at + way * (u1 - 0.5) * long
        s.poly(
            7,
            np.array([p + across * half, q + across * half, q - across * half, p - across * half]),
            (colour,) * 3,
        )

    bar(0.2, 1.0, head * 0.29, tone * 0.5)
    turns = max(4, int(t.w * 0.8 / 0.4))
    for k in range(turns):
        bar(0.2 + 0.8 * k / turns, 0.2 + 0.8 * (k + 0.55) / turns, head * 0.29, tone * 1.15)
    bar(0.0, 0.24, head * 0.5, tone * 0.9)
    bar(0.03, 0.12, head * 0.46, min(255.0, tone * 1.35))


def _draw_foreign(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    at, r = s.at(t.x, t.y), t.w / 2 * s.res
    a = np.deg2rad(t.angle)
    if t.kind == "ball":
        way = np.array([np.cos(light), np.sin(light)])
        for k in range(6):
            lit = 90.0 + 26 * k
            s.disc(7, at + way * r * 0.09 * k, r * (1 - 0.15 * k), (lit, lit, lit))
    elif t.kind == "pick":
        b = a + np.array([0, 2.1, 4.2])
        s.poly(
            7,
            at + np.stack([np.cos(b), np.sin(b)], 1) * r * [1.0, 1.0],
            ((60, 200, 50), (220, 120, 40))[t.seed % 2],
        )
    elif t.kind == "fibre":
        u = np.linspace(-1, 1, 30)
        line = np.stack([u * r, np.sin(u * 3 + t.seed) * r * 0.25], 1)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        s.line(7, line @ turn.T + at, 0.5 * s.res * min(1.5, t.w / 6), (222, 226, 226))


def _draw_washer(s: _Sheet, t: Thing, d: _Device, light: float, sheen: float) -> None:
    at, r = s.at(t.x, t.y), t.w / 2 * s.res
    tone = 170 + 400 * sheen
    s.disc(7, at, r, (tone, tone, tone))
    hole = np.zeros(s.layers[7].shape[:2], np.uint8)
    cv2.circle(hole, tuple(round(v * 16) for v in at), int(r * 0.52 * 16), 255, -1, cv2.LINE_AA, 4)
    x0, y0, x1, y1 = (int(v) for v in (at[0] - r, at[1] - r, at[0] + r + 1, at[1] + r + 1))
    part = np.s_[max(0, y0) : y1, max(0, x0) : x1]
    kept = 1 - hole[part].astype(np.float32)[..., None] / 255
    s.layers[7][part] = np.rint(s.layers[7][part] * kept).astype(np.uint8)


_DRAW = {
    "chip": _draw_chip, "cover": _draw_plate, "shield": _draw_plate, "bay": _draw_bay, "socket": _draw_socket,
    "connector": _draw_connector, "screw": _draw_screw, "hole": _draw_hole, "gone": _draw_hole, "can": _draw_can,
    "sticker": _draw_sticker, "battery": _draw_battery, "flex": _draw_cable, "wire": _draw_cable,
    "loose": _draw_loose, "washer": _draw_washer, "pick": _draw_foreign, "fibre": _draw_foreign, "ball": _draw_foreign,
}  # fmt: skip


# -- camera


def _view(
    rng: np.random.Generator,
    size: tuple[int, int],
    common: tuple[float, float],
    lamp: float,
    k1: float,
    *,
    first: bool,
) -> _View:
    free, k = (0.0 if first else 1.0), size[0] / 1280
    balance = rng.uniform(-0.16, 0.16, 2) * (0.4 if first else 1.0)
    exposure = rng.uniform(0.9, 1.1) if first else rng.uniform(0.75, 1.25)
    return _View(
        float(rng.uniform(-8, 8) * (0.5 if first else 1.0)), float(1 + rng.uniform(-0.06, 0.06) * free),
        (float(rng.uniform(-40, 40) * free * k), float(rng.uniform(-40, 40) * free * k)),
        (common[0] + float(rng.uniform(-3.5, 3.5)) * free, common[1] + float(rng.uniform(-3.5, 3.5)) * free),
        k1, lamp + float(rng.normal(0, 0.35)) * free,
        (float(exposure * (1 + balance[0])), float(exposure), float(exposure * (1 + balance[1]))),
        (float(rng.uniform(-0.22, 0.22)), float(rng.uniform(-0.22, 0.22))),
        float(rng.uniform(0.45, 1.15)), float(rng.uniform(1.3, 3.0)), int(rng.integers(1 << 30)),
    )  # fmt: skip


def _plane(view: _View, z: float, scale: float, size: tuple[int, int]) -> np.ndarray:
    """Homography from mm at height z to pixels, before radial distortion."""
    a, b, c = np.deg2rad([view.tilt[0], view.tilt[1], view.roll])
    rx = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    ry = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    rz = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    turn = rz @ ry @ rx
    outer = np.c_[turn[:, 0], turn[:, 1], turn[:, 2] * -z + [0, 0, DISTANCE / view.grow]]
    focal = scale * DISTANCE
    lens = np.array(
        [[focal, 0, size[0] / 2 + view.shift[0]], [0, focal, size[1] / 2 + view.shift[1]], [0, 0, 1]]
    )
    return lens @ outer


def _photo(device: _Device, view: _View, scale: float, size: tuple[int, int]) -> np.ndarray:
    """The picture free of noise, (h, w, 3) float32."""
    res = scale * 1.15
    sheet = _sheet(device, res, view.light, view.seed)
    back = np.array([[1 / res, 0, -device.width / 2], [0, 1 / res, -device.height / 2], [0, 0, 1]])
    picture = np.zeros((size[1], size[0], 3), np.float32)
    way = (np.cos(view.light), np.sin(view.light))
    for z, layer in zip(LEVELS, sheet.layers, strict=True):
        if not layer[..., 3].any():
            continue
        full = cv2.warpPerspective(layer, _plane(view, z, scale, size) @ back, size, flags=cv2.INTER_LINEAR)
        if z:
            alpha = cv2.extractChannel(full, 3).astype(np.float32) * np.float32(1 / 255)
            reach = 0.35 * scale * z
            moved = np.float32([[1, 0, -way[0] * reach], [0, 1, -way[1] * reach]])
            soft = max(0.8, 0.35 * z * scale)
            small = cv2.resize(
                cv2.warpAffine(alpha, moved, size), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA
            )
            dark = cv2.resize(cv2.GaussianBlur(small, (0, 0), soft / 4), size, interpolation=cv2.INTER_LINEAR)
            rest = (1 - 0.38 * dark) * (1 - alpha)
            cv2.multiply(picture, cv2.merge([rest] * 3), dst=picture)
        colour = cv2.cvtColor(full, cv2.COLOR_BGRA2BGR)
        cv2.add(picture, colour, dst=picture, dtype=cv2.CV_32F)
    x = np.linspace(-1, 1, size[0], dtype=np.float32)[None] * view.slope[0]
    y = np.linspace(-1, 1, size[1], dtype=np.float32)[:, None] * view.slope[1]
    picture = cv2.multiply(picture, cv2.merge([(1 + x + y) * np.float32(g) for g in view.gain]))
    return cv2.remap(
        picture, _undistorted(size, scale, view.k1), None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )


@functools.lru_cache(maxsize=2)
def _undistorted(size: tuple[int, int], scale: float, k1: float) -> np.ndarray:
    """Where each pixel of the photo lies in the picture without distortion, (h, w, 2)."""
    x, y = np.meshgrid(np.arange(size[0], dtype=np.float32), np.arange(size[1], dtype=np.float32))
    spots = np.stack([x, y], axis=-1)
    middle, focal = np.array(size, np.float32) / 2, np.float32(scale * DISTANCE)
    away = (spots - middle) / focal
    straight = away.copy()
    for _ in range(6):
        straight = away / (1 + np.float32(k1) * (straight**2).sum(-1, keepdims=True))
    return (straight * focal + middle).astype(np.float32)


def _bent_by_lens(points: np.ndarray, size: tuple[int, int], scale: float, k1: float) -> np.ndarray:
    middle, focal = np.array(size) / 2, scale * DISTANCE
    away = (points - middle) / focal
    return away * (1 + k1 * (away**2).sum(-1, keepdims=True)) * focal + middle


def _finish(picture: np.ndarray, view: _View) -> np.ndarray:
    rng = np.random.default_rng(view.seed)
    soft = cv2.GaussianBlur(picture, (0, 0), view.sigma)
    noisy = soft + rng.standard_normal(picture.shape, dtype=np.float32) * np.float32(view.noise)
    done, data = cv2.imencode(".jpg", np.clip(noisy, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 85])
    assert done
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


# -- truth


def _land(view: _View, spots: np.ndarray, z: float, scale: float, size: tuple[int, int]) -> np.ndarray:
    flat = cv2.perspectiveTransform(np.asarray(spots, float).reshape(1, -1, 2), _plane(view, z, scale, size))[
        0
    ]
    return _bent_by_lens(flat, size, scale, view.k1)


def _differs(
    plain: np.ndarray, now: np.ndarray, size: tuple[int, int], scale: float
) -> tuple[tuple[int, int, int, int] | None, float]:
    off = np.abs(now - plain).max(2)
    mask = cv2.morphologyEx((off > 12).astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    area = int(np.count_nonzero(mask))
    if area < 1.6 * scale * scale:
        return None, 0.0
    x, y, w, h = cv2.boundingRect(mask)
    if x < 20 or y < 20 or x + w > size[0] - 20 or y + h > size[1] - 20:
        return None, 0.0
    return (x, y, x + w, y + h), float(off[mask > 0].mean())


def _points(device, first, second, scale, size):  # type: ignore[no-untyped-def]
    """45 points on a grid of the board plane and what stands on it, in both photos."""
    a, b = [], []
    flat = [t for t in device.things if t.kind in ("chip", "cover", "shield", "battery")]
    for v in np.linspace(-0.33, 0.33, 5):
        for u in np.linspace(-0.35, 0.35, 9):
            x, y = u * device.width, v * device.height
            over = [LEVELS[t.level] for t in flat if abs(t.x - x) < 0.47 * t.w and abs(t.y - y) < 0.47 * t.h]
            z = max(over or [0.0])
            a.append(_land(first, np.array([x, y]), z, scale, size)[0])
            b.append(_land(second, np.array([x, y]), z, scale, size)[0])
    a, b = np.array(a), np.array(b)
    ok = (a > 4).all(1) & (a < np.array(size) - 4).all(1) & (b > 4).all(1) & (b < np.array(size) - 4).all(1)
    return a[ok], b[ok]


def _known(device, changed, view, second, scale, size):  # type: ignore[no-untyped-def]
    """Screws and connectors that can be seen in both photos."""
    out = []
    for old, new in zip(device.things, changed.things, strict=False):
        if old.kind not in ("screw", "connector") or _covered(device, old):
            continue
        if old.on >= 0 and changed.things[old.on].kind != device.things[old.on].kind:
            continue
        if any(
            t is not new and t.level == 7 and np.hypot(t.x - old.x, t.y - old.y) < 7 for t in changed.things
        ):
            continue  # something lies on it
        a = np.deg2rad(old.angle)
        spots = np.array([[old.x, old.y], [old.x + np.cos(a), old.y + np.sin(a)]])
        z = LEVELS[old.level]
        here, there = _land(view, spots, z, scale, size), _land(second, spots, z, scale, size)
        far = 0.8 * old.w * scale + 14
        if any((p[0] < far).any() or (p[0] > np.array(size) - far).any() for p in (here, there)):
            continue
        along = here[1] - here[0]
        if old.kind == "screw":
            w = old.w * scale
            out.append(
                Known(
                    "screw", *map(float, here[0]), w, None, 0.0, "there" if new.kind == "screw" else "missing"
                )
            )
        else:
            turn = abs(new.angle - old.angle) > 1.2 or new.level != old.level
            length = float(np.hypot(*along))
            out.append(Known(
                "connector", *map(float, here[0]), old.w * length, old.h * length,
                float(np.degrees(np.arctan2(along[1], along[0]))), "turned" if turn else "there",
            ))  # fmt: skip
    return out
