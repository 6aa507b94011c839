"""Seeded pictures of a printed parts mat with parts on it, with the truth beside them. For tests and benchmarks.

The page is the raster of the real PDF, so printing and reading are tried together. Parts are solids (cylinders,
cones, plates) met by the rays of a pinhole camera with radial distortion; `parallax=False` looks straight down on
every part instead, as a flat drawing would. Light: gradient, soft shadows, a lamp's glare on the paper, metal
that mirrors lamp and paper. Camera: defocus, noise, sharpening, JPEG.
"""

from __future__ import annotations

import math
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from benchguide.camera.mat_layout import Box, MatLayout
from benchguide.camera.opencv import cv2

PAGE_PPM = 16.0
CYAN_BELOW = np.array([0.62, 0.40, 0.02])

# Linear reflectance, blue-green-red; share that mirrors; share that scatters.
FINISHES = {
    "steel": ((0.55, 0.56, 0.56), 0.8, 0.25),
    "zinc": ((0.74, 0.72, 0.70), 0.65, 0.4),
    "nickel": ((0.56, 0.60, 0.66), 0.85, 0.15),
    "black": ((0.045, 0.045, 0.048), 0.9, 0.5),
    "brass": ((0.16, 0.42, 0.62), 0.75, 0.3),
}
#: Head diameter and height over thread diameter.
HEADS = {"pan": (1.95, 0.62), "cheese": (1.85, 0.7), "wafer": (2.5, 0.32), "flat": (1.9, 0.55)}


def page_raster(pdf: Path, folder: Path, ppm: float = PAGE_PPM) -> np.ndarray:
    """The first page of a PDF as (H, W, 3) BGR, rendered by poppler at `ppm` pixels a millimetre."""
    target = folder / f"{pdf.stem}-{ppm:g}"
    subprocess.run(
        ["pdftoppm", "-r", f"{ppm * 25.4:.4f}", "-png", "-singlefile", str(pdf), str(target)],
        check=True, capture_output=True,
    )  # fmt: skip
    image = cv2().imread(str(target) + ".png")
    assert image is not None
    return image


@dataclass
class Piece:
    """One part on the mat; lengths in mm."""

    kind: str
    x: float
    y: float
    yaw: float
    finish: str
    thread: float = 0.0
    shank: float = 0.0
    head: str = "pan"
    head_d: float = 0.0
    head_h: float = 0.0
    w: float = 0.0
    h: float = 0.0
    seen_mm: float | None = None
    """Overall length on the paper as the camera sees it, for lying screws."""
    true_mm: float | None = None

    @property
    def overall(self) -> float:
        return self.shank + (0.0 if self.head == "flat" else self.head_h)


@dataclass
class View:
    """The camera over the mat, and its weaknesses."""

    size: tuple[int, int] = (1920, 1080)
    hfov: float = 70.0
    distance: float = 220.0
    aim: tuple[float, float] = (105.0, 74.0)
    off: tuple[float, float] = (0.0, 0.0)
    """Where the camera stands beside the aim, as a share of the distance."""
    roll: float = 0.0
    k1: float = -0.05
    blur: float = 0.6
    noise: float = 2.0
    quality: int = 88
    sharpen: float = 0.3
    white: float = 0.7
    parallax: bool = True
    glare: bool = False

    @property
    def ppm(self) -> float:
        """Pixels a millimetre at the aim."""
        return self.size[0] / (2 * self.distance * math.tan(math.radians(self.hfov / 2)))


@dataclass
class Scene:
    """A picture and its truth."""

    image: np.ndarray
    view: View
    cells: dict[str, list[Piece]]
    touching: set[str] = field(default_factory=set)


class Pinhole:
    """Mat to pixel and back, in mm and pixels; z up from the paper."""

    def __init__(self, view: View) -> None:
        self.view = view
        w, h = view.size
        self.f = w / (2 * math.tan(math.radians(view.hfov / 2)))
        self.c = np.array([(w - 1) / 2, (h - 1) / 2])
        self.half = math.hypot(w, h) / 2
        ax, ay = view.aim
        self.eye = np.array(
            [ax + view.off[0] * view.distance, ay + view.off[1] * view.distance, view.distance]
        )
        ahead = np.array([ax, ay, 0.0]) - self.eye
        ahead /= np.linalg.norm(ahead)
        down = np.array([0.0, 1.0, 0.0])
        right = np.cross(ahead, down)
        right /= np.linalg.norm(right)
        down = np.cross(right, ahead)
        a = math.radians(view.roll)
        self.R = np.array(
            [math.cos(a) * right + math.sin(a) * down, -math.sin(a) * right + math.cos(a) * down, ahead]
        )
        if self.R[0, 0] < 0 and abs(view.roll) < 90:
            raise AssertionError("the picture would be mirrored")

    def to_pixel(self, points: np.ndarray) -> np.ndarray:
        """(..., 3) mm to (..., 2) pixels."""
        q = (np.asarray(points, float) - self.eye) @ self.R.T
        u = q[..., :2] / q[..., 2:] * self.f
        r2 = (u**2).sum(-1, keepdims=True) / self.half**2
        return u * (1 + self.view.k1 * r2) + self.c

    def to_mat(self, pixels: np.ndarray) -> np.ndarray:
        """(..., 2) pixels to (..., 2) mm on the paper."""
        d = np.asarray(pixels, float) - self.c
        u = d.copy()
        for _ in range(8):
            u = d / (1 + self.view.k1 * (u**2).sum(-1, keepdims=True) / self.half**2)
        ray = np.concatenate([u / self.f, np.ones((*u.shape[:-1], 1))], -1) @ self.R
        return self.eye[:2] + ray[..., :2] * (-self.eye[2] / ray[..., 2:])


def rest(piece: Piece) -> tuple[float, float]:
    """Tilt in radians and height of the axis at the head's rim, for a screw that lies on rim and tip."""
    big, small = piece.head_d / 2, piece.thread / 2
    run = max(piece.shank - (piece.head_h if piece.head == "flat" else 0.0), 0.3)
    tilt = math.atan2(big - small, run)
    return tilt, big * math.cos(tilt)


def _solids(piece: Piece) -> list[tuple[float, float, float, float]]:
    """Frustums along the axis: from, to, radius at from, radius at to; 0 is the top of the head."""
    big, small, k = piece.head_d / 2, piece.thread / 2, piece.head_h
    end = piece.overall
    chamfer = min(0.25, piece.thread * 0.15)
    shank = [(k, end - chamfer, small, small), (end - chamfer, end, small, small * 0.7)]
    if piece.head == "flat":
        return [(0.0, 0.1, big, big), (0.1, k, big, small), *shank]
    if piece.head == "pan":
        return [(0.0, k * 0.45, big * 0.78, big), (k * 0.45, k, big, big), *shank]
    return [(0.0, k, big, big), *shank]


def _cast(
    piece: Piece, mat: np.ndarray, eye: np.ndarray, parallax: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which paper points (..., 2) the part hides; the normal (world) and the view direction there."""
    shape = mat.shape[:-1]
    p = np.concatenate([mat, np.zeros((*shape, 1))], -1)
    d = p - eye if parallax else np.broadcast_to(np.array([0.0, 0.0, -1.0]), p.shape)
    d = d / np.linalg.norm(d, axis=-1, keepdims=True)
    start = p - d * (40.0 / np.maximum(-d[..., 2:], 0.2))
    c, s = math.cos(piece.yaw), math.sin(piece.yaw)
    if piece.kind == "standing screw":
        axis, origin = np.array([0.0, 0.0, 1.0]), np.array([piece.x, piece.y, 0.0])
        side = np.array([c, s, 0.0])
    else:
        tilt, high = rest(piece)
        rim = piece.head_h if piece.head != "flat" else 0.1
        axis = np.array([c * math.cos(tilt), s * math.cos(tilt), -math.sin(tilt)])
        side = np.array([-s, c, 0.0])
        middle = np.array([piece.x, piece.y, 0.0])
        up = np.cross(axis, side)
        origin = middle + np.array([0, 0, high]) - axis * rim
        origin[:2] -= axis[:2] * (piece.overall / 2 - rim)
        del up
    third = np.cross(axis, side)
    B = np.stack([axis, side, third])
    o, v = (start - origin) @ B.T, d @ B.T
    best = np.full(shape, np.inf)
    normal = np.zeros((*shape, 3))
    for a, b, ra, rb in _solids(piece):
        slope = (rb - ra) / (b - a)
        # |yz|^2 = (ra + slope (x - a))^2
        r0 = ra + slope * (o[..., 0] - a)
        A = v[..., 1] ** 2 + v[..., 2] ** 2 - (slope * v[..., 0]) ** 2
        Bq = o[..., 1] * v[..., 1] + o[..., 2] * v[..., 2] - slope * v[..., 0] * r0
        C = o[..., 1] ** 2 + o[..., 2] ** 2 - r0**2
        disc = Bq**2 - A * C
        with np.errstate(all="ignore"):
            t = (-Bq - np.sqrt(disc)) / A
            x = o[..., 0] + t * v[..., 0]
            ok = (disc > 0) & (x >= a) & (x <= b) & (t > 0) & (t < best)
        if ok.any():
            h = o[ok] + t[ok][:, None] * v[ok]
            n = np.concatenate(
                [
                    np.full((len(h), 1), -slope),
                    h[:, 1:] / np.maximum(np.hypot(h[:, 1], h[:, 2]), 1e-6)[:, None],
                ],
                1,
            )
            if a >= piece.head_h:
                n[:, 0] += 0.7 * np.sin(2 * math.pi * h[:, 0] / max(0.2, piece.thread * 0.21))
            n /= np.linalg.norm(n, axis=1, keepdims=True)
            normal[ok], best[ok] = n, t[ok]
        for cap, radius, way in ((a, ra, -1.0), (b, rb, 1.0)):
            with np.errstate(all="ignore"):
                t = (cap - o[..., 0]) / v[..., 0]
                y, z = o[..., 1] + t * v[..., 1], o[..., 2] + t * v[..., 2]
                ok = (y**2 + z**2 <= radius**2) & (t > 0) & (t < best)
            if ok.any():
                best[ok] = t[ok]
                normal[ok] = np.array([way, 0.0, 0.0])
    return np.isfinite(best), normal @ B, d


def _plate(
    piece: Piece, mat: np.ndarray, eye: np.ndarray, parallax: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Washers and brackets: flat, 0.4 mm thick."""
    high = 0.4
    p = mat + (eye[:2] - mat) * (high / eye[2]) if parallax else mat
    c, s = math.cos(piece.yaw), math.sin(piece.yaw)
    q = p - np.array([piece.x, piece.y])
    u, v = q[..., 0] * c + q[..., 1] * s, -q[..., 0] * s + q[..., 1] * c
    if piece.kind == "washer":
        r = np.hypot(u, v)
        hit = (r < piece.w / 2) & (r > piece.h / 2)
    else:
        hit = (
            (abs(u) < piece.w / 2)
            & (abs(v) < piece.h / 2)
            & (np.hypot(u - piece.w * 0.25, v) > piece.h * 0.22)
        )
    n = np.zeros((*hit.shape, 3))
    n[..., 2] = 1
    n[..., 0] = 0.05 * np.sin(u * 40)
    d = np.concatenate([mat, np.zeros((*hit.shape, 1))], -1) - eye
    return hit, n, d / np.linalg.norm(d, axis=-1, keepdims=True)


def _metal(piece: Piece, n: np.ndarray, d: np.ndarray, lamp: np.ndarray) -> np.ndarray:
    """Linear colour of metal with normals n seen along d."""
    colour, mirror, scatter = FINISHES[piece.finish]
    r = d - 2 * (d * n).sum(-1, keepdims=True) * n
    up = r[..., 2]
    spot = np.exp(-((r - lamp) ** 2).sum(-1) / 0.12) * 2.2
    sky = 0.28 + 0.35 * np.clip(up, 0, 1) + spot
    env = np.where((up > -0.05)[..., None], sky[..., None] * np.ones(3), CYAN_BELOW * 0.55)
    lit = np.clip((n * lamp).sum(-1), 0, 1)[..., None]
    out = np.array(colour) * (mirror * env + scatter * lit)
    return out + (0.03 * env if piece.finish == "black" else 0)


def _seen(piece: Piece, hole: Pinhole) -> float:
    """Extent along the axis on the paper, over the middle half of the shank's width."""
    c, s = math.cos(piece.yaw), math.sin(piece.yaw)
    along = np.arange(-piece.overall - 3, piece.overall + 3, 0.01)
    across = np.linspace(-2.5, 2.5, 101)
    u, v = np.meshgrid(along, across)
    mat = np.stack([piece.x + u * c - v * s, piece.y + u * s + v * c], -1)
    hit, _, _ = _cast(piece, mat, hole.eye, hole.view.parallax)
    rows = hit.sum(1)
    middle = np.average(across, weights=np.maximum(rows - 0.5 * rows.max(), 0) + 1e-9)
    near = abs(across - middle) < max(piece.thread * 0.25, 0.06)
    hits = np.flatnonzero(hit[near].any(0))
    return float((hits[-1] - hits[0] + 1) * 0.01)


def footprint(piece: Piece, hole: Pinhole, box: Box, ppm: float = 8.0) -> np.ndarray:
    """Mask of the part over a cell with 2 mm around it."""
    xs = np.arange(box.x - 2, box.x + box.w + 2, 1 / ppm)
    ys = np.arange(box.y - 2, box.y + box.h + 2, 1 / ppm)
    mat = np.stack(np.meshgrid(xs, ys), -1)
    cast = _plate if piece.kind in ("washer", "bracket") else _cast
    return cast(piece, mat, hole.eye, hole.view.parallax)[0]


def random_piece(rng: np.random.Generator, box: Box, screws_only: bool = False) -> Piece:
    """A part somewhere in a cell."""
    x = rng.uniform(box.x + 2.5, box.x + box.w - 2.5)
    y = rng.uniform(box.y + 2.5, box.y + box.h - 2.5)
    yaw, finish = rng.uniform(0, 2 * math.pi), str(rng.choice(list(FINISHES)))
    roll = 1.0 if screws_only else rng.random()
    if roll < 0.1:
        outer = rng.uniform(3.2, 6.0)
        return Piece("washer", x, y, yaw, finish, w=outer, h=outer * rng.uniform(0.42, 0.55))
    if roll < 0.15:
        return Piece("bracket", x, y, yaw, finish, w=rng.uniform(5, 9), h=rng.uniform(2.5, 4.5))
    thread = float(rng.choice([1.2, 1.4, 1.6, 2.0, 2.5]))
    head = str(rng.choice(list(HEADS)))
    wide, high = HEADS[head]
    shank = float(rng.uniform(max(1.2, thread * (1.25 if head != "flat" else 1.6)), 8.0))
    kind = "standing screw" if roll < 0.27 else "screw"
    return Piece(kind, x, y, yaw, finish, thread, shank, head, thread * wide, thread * high)


def fill_cell(
    rng: np.random.Generator,
    hole: Pinhole,
    box: Box,
    count: int,
    touch: bool,
    screws_only: bool = False,
    gap: float = 0.8,
) -> list[Piece]:
    """Parts that lie inside the cell, apart by `gap` mm, or two of them touching."""  # fmt: skip
    cv, ppm = cv2(), 8.0
    around = cv.getStructuringElement(cv.MORPH_ELLIPSE, (2 * round(gap * ppm) + 1,) * 2)
    taken: np.ndarray | None = None
    last: np.ndarray | None = None
    pieces: list[Piece] = []
    for _ in range(400):
        if len(pieces) == count:
            break
        piece = random_piece(rng, box, screws_only)
        mask = footprint(piece, hole, box, ppm)
        edge = round(2.4 * ppm)
        inside = mask[edge:-edge, edge:-edge].sum()
        if not inside or inside < mask.sum():
            continue
        if touch and len(pieces) == 1 and last is not None:
            slid = _slide(rng, piece, pieces[0], hole, box, last)
            if slid is None:
                continue
            piece, mask = slid
        elif taken is not None and (taken & mask).any():
            continue
        grown = cv.dilate(mask.astype(np.uint8), around) > 0
        taken = grown if taken is None else taken | grown
        last = mask
        pieces.append(piece)
    return pieces


def _slide(
    rng: np.random.Generator, piece: Piece, other: Piece, hole: Pinhole, box: Box, taken: np.ndarray
) -> tuple[Piece, np.ndarray] | None:
    """Move a part straight towards another until the two just touch."""  # fmt: skip
    way = rng.uniform(0, 2 * math.pi)
    for far in np.arange(12.0, 0.0, -0.12):
        piece.x, piece.y = other.x + far * math.cos(way), other.y + far * math.sin(way)
        mask = footprint(piece, hole, box)
        if (mask & taken).any():
            edge = round(2.2 * 8)
            return (piece, mask) if mask[edge:-edge, edge:-edge].sum() == mask.sum() else None
    return None


def random_view(
    rng: np.random.Generator,
    layout: MatLayout,
    ppm: float,
    size: tuple[int, int] = (1920, 1080),
    parallax: bool = True,
) -> View:
    """A camera that sees the mat at about `ppm` pixels a millimetre."""  # fmt: skip
    hfov = float(rng.uniform(60, 78))
    distance = size[0] / (2 * ppm * math.tan(math.radians(hfov / 2)))
    middle = (layout.width_mm / 2, layout.height_mm / 2)
    return View(
        size, hfov, distance, (middle[0] + rng.uniform(-4, 4), middle[1] + rng.uniform(-3, 3)),
        (float(rng.uniform(-0.22, 0.22)), float(rng.uniform(-0.22, 0.22))), float(rng.uniform(-12, 12)),
        float(rng.uniform(-0.10, 0.04)), float(rng.uniform(0.45, 0.95)), float(rng.uniform(1.2, 3.0)),
        int(rng.integers(80, 93)), float(rng.uniform(0, 0.6)), float(rng.uniform(0.5, 0.85)), parallax,
        bool(rng.random() < 0.5),
    )  # fmt: skip


def make_scene(
    seed: int,
    layout: MatLayout,
    page: np.ndarray,
    view: View,
    *,
    touching: float = 0.0,
    counts: tuple[int, int] = (0, 5),
    screws_only: bool = False,
    only: set[str] | None = None,
) -> Scene:
    """Fill the mat at random and photograph it."""  # fmt: skip
    rng = np.random.default_rng(seed)
    hole = Pinhole(view)
    cells: dict[str, list[Piece]] = {}
    touched: set[str] = set()
    for name, box in layout.cells.items():
        count = int(rng.integers(counts[0], counts[1] + 1)) if only is None or name in only else 0
        touch = count >= 2 and rng.random() < touching
        cells[name] = fill_cell(rng, hole, box, count, touch, screws_only)
        if touch and len(cells[name]) >= 2:
            touched.add(name)
    pieces = [piece for found in cells.values() for piece in found]
    return Scene(photograph(rng, page, layout, view, pieces), view, cells, touched)


def photograph(
    rng: np.random.Generator,
    page: np.ndarray,
    layout: MatLayout,
    view: View,
    pieces: list[Piece],
    page_scale: float = 1.0,
    over: int = 2,
) -> np.ndarray:
    """The picture; `page_scale` shrinks what is printed around the middle of the page."""  # fmt: skip
    cv, hole = cv2(), Pinhole(view)
    w, h = view.size
    mat = _mat_grid(hole, w * over, h * over, over)
    thin = mat[::8, ::8].astype(np.float64)
    field_, lamp = _light(rng, view, thin)
    light = _spread(field_, mat)
    linear = _paper(rng, page, layout, mat, page_scale)
    shade = np.ones((h * over, w * over), np.float32)
    hits = []
    for piece in pieces:
        lean = piece.overall * 0.8 if piece.kind == "standing screw" else piece.overall / 2
        reach = lean + piece.head_d * 0.7 + max(piece.w, piece.h) * 0.6 + 1.2
        spots = [
            (piece.x + a, piece.y + b, z) for a in (-reach, reach) for b in (-reach, reach) for z in (0, 3)
        ]
        at = hole.to_pixel(np.array(spots)) * over
        x0, y0 = np.maximum(np.floor(at.min(0)).astype(int), 0)
        x1, y1 = np.minimum(np.ceil(at.max(0)).astype(int), [w * over, h * over])
        if x1 - x0 < 2 or y1 - y0 < 2:
            continue
        cast = _plate if piece.kind in ("washer", "bracket") else _cast
        hit, n, d = cast(piece, mat[y0:y1, x0:x1], hole.eye, view.parallax)
        hits.append((slice(y0, y1), slice(x0, x1), hit, _metal(piece, n, d, lamp)))
        if piece.kind == "screw":
            piece.seen_mm, piece.true_mm = _seen(piece, hole), piece.overall
        _shadow(
            shade, hit, (x0, y0), view.ppm * over, lamp, 0.5 if piece.kind in ("washer", "bracket") else 1.2
        )
    linear *= (shade * light)[..., None]
    if view.glare:
        linear += _spread(_glare(rng, thin, layout), mat)[..., None]
    for ys, xs, hit, colour in hits:
        linear[ys, xs][hit] = (colour * light[ys, xs][..., None])[hit]
    return _develop(rng, linear.astype(np.float32), view, over, cv)


def _mat_grid(hole: Pinhole, w: int, h: int, over: int, step: int = 8) -> np.ndarray:
    """Paper point of every sample, (h, w, 2) mm: exact on every eighth, straight in between."""
    xs, ys = np.arange(0, w + step, step), np.arange(0, h + step, step)
    coarse = hole.to_mat(np.stack(np.meshgrid((xs + 0.5) / over - 0.5, (ys + 0.5) / over - 0.5), -1))
    u, v = np.meshgrid(np.arange(w, dtype=np.float32) / step, np.arange(h, dtype=np.float32) / step)
    # remap interpolates in 1/32 steps, which eighths fit
    return cv2().remap(coarse.astype(np.float32), u, v, cv2().INTER_LINEAR)


def _paper(
    rng: np.random.Generator, page: np.ndarray, layout: MatLayout, mat: np.ndarray, scale: float
) -> np.ndarray:
    """Linear light of page and desk, (h, w, 3) float32."""
    cv = cv2()
    middle = np.array([layout.width_mm, layout.height_mm], np.float32) / 2
    at = (mat - middle) * np.float32(PAGE_PPM / scale) + middle * np.float32(PAGE_PPM) - np.float32(0.5)
    smooth = cv.GaussianBlur(page, (0, 0), 0.8)
    values = cv.remap(smooth, at, None, cv.INTER_LINEAR, borderValue=(255, 255, 255))
    linear = ((np.arange(256, dtype=np.float32) / 255) ** 2.2 * 0.93 + 0.02)[values]
    x, y = mat[..., 0], mat[..., 1]
    off = (x < 0) | (x > layout.width_mm) | (y < 0) | (y > layout.height_mm)
    desk = (rng.uniform(0.03, 0.35, 3) * np.array([0.7, 0.85, 1.0])).astype(np.float32)
    xs, ys = x[off], y[off]
    linear[off] = desk * (1 + 0.15 * np.sin(xs * 1.3 + 2 * np.sin(ys * 0.11)))[:, None]
    return linear


def _spread(coarse: np.ndarray, like: np.ndarray) -> np.ndarray:
    """A smooth field, computed on every eighth sample, over all samples."""
    size = (like.shape[1], like.shape[0])
    return cv2().resize(coarse.astype(np.float32), size, interpolation=cv2().INTER_LINEAR)


def _light(rng: np.random.Generator, view: View, mat: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Brightness over the paper, with a gradient and a broad soft shadow; direction to the lamp."""
    a, b = rng.uniform(-0.0012, 0.0012, 2)
    field_ = 1 + a * (mat[..., 0] - 105) + b * (mat[..., 1] - 74)
    if rng.random() < 0.5:
        way, at = rng.uniform(0, 2 * math.pi), rng.uniform(40, 170)
        edge = mat[..., 0] * math.cos(way) + mat[..., 1] * math.sin(way) - at
        field_ *= 1 - rng.uniform(0.1, 0.4) / (1 + np.exp(np.clip(-edge / rng.uniform(3, 12), -60, 60)))
    turn, high = rng.uniform(0, 2 * math.pi), rng.uniform(0.7, 0.92)
    flat = math.sqrt(1 - high**2)
    return field_ * view.white**1.0, np.array([math.cos(turn) * flat, math.sin(turn) * flat, high])


def _glare(rng: np.random.Generator, mat: np.ndarray, layout: MatLayout) -> np.ndarray:
    at = np.array([rng.uniform(0, layout.width_mm), rng.uniform(0, layout.height_mm)])
    wide = rng.uniform(12, 40)
    return rng.uniform(0.08, 0.35) * np.exp(-((mat - at) ** 2).sum(-1) / (2 * wide**2))


def _shadow(
    shade: np.ndarray, hit: np.ndarray, corner: tuple[int, int], ppm: float, lamp: np.ndarray, high: float
) -> None:
    cv = cv2()
    mask = hit.astype(np.float32)
    out = np.ones_like(mask)
    for reach, soft, deep in ((0.15, 0.35, 0.35), (0.6, 0.8, 0.3)):
        dx, dy = -lamp[:2] / lamp[2] * high * reach * ppm
        moved = cv.warpAffine(mask, np.float32([[1, 0, dx], [0, 1, dy]]), mask.shape[::-1])
        out *= 1 - deep * cv.GaussianBlur(moved, (0, 0), soft * ppm)
    x, y = corner
    shade[y : y + mask.shape[0], x : x + mask.shape[1]] *= out


def _develop(rng: np.random.Generator, linear: np.ndarray, view: View, over: int, cv: object) -> np.ndarray:
    cv = cv2()
    linear *= np.float32(rng.uniform(0.92, 1.08, 3))
    linear = cv.GaussianBlur(linear, (0, 0), view.blur * over)
    linear = cv.resize(linear, view.size, interpolation=cv.INTER_AREA)
    linear += (
        rng.standard_normal(linear.shape, np.float32)
        * np.sqrt(np.maximum(linear, 0.003))
        * view.noise
        / 255
        * 0.9
    )
    x = np.clip(linear, 0, 1)
    srgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055) * 255
    srgb = srgb.astype(np.float32)
    if view.sharpen:
        srgb += view.sharpen * (srgb - cv.GaussianBlur(srgb, (0, 0), 1.2))
    image = np.clip(srgb + 0.5, 0, 255).astype(np.uint8)
    done, data = cv.imencode(".jpg", image, [cv.IMWRITE_JPEG_QUALITY, view.quality])
    assert done
    return cv.imdecode(data, cv.IMREAD_COLOR)
