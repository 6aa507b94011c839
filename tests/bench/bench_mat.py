"""How well the parts mat is read: counts, touching parts, lengths, their stated intervals, and time.

    python tests/bench/bench_mat.py [--scenes 14] [--seed 1] [--maker solid|flat|drawn] [--keep FOLDER]

Mats printed by the program itself are rendered with parts on them by three independent makers of pictures, and read:
tests/camera/mat_scene.py (half of the pictures with solid parts seen slantwise, half looking straight down on every
part), tests/camera/mat_scene_flat.py (flat sprites, other shading, darker shadows) and tests/camera/mat_scene_drawn.py
(stacks of slices drawn with Pillow: other heads and tips, gloss that mirrors the paper, dark contact shadows, odd
parts, heaps). A5, 24 cells, 5.3 to 12 px/mm. Pictures in which too few markers are left are told, and not counted.
--keep FOLDER keeps the pictures with their truth, because rendering takes most of the time.

The baseline of the same run sees the same straightened cells: one Otsu threshold for each cell, connected
components, and the long side of the smallest rectangle as the length. Needs pdftoppm (poppler-utils).
Exits with 1 when a bar is missed.
"""

from __future__ import annotations

import argparse
import math
import pickle
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "camera"))

import numpy as np
from mat_scene import Pinhole, Scene, View, make_scene, page_raster, random_view
from mat_scene_drawn import DrawnScene, make_drawn_scene
from mat_scene_flat import FlatScene, make_flat_scene

from benchguide.camera.mat_blobs import DUST_MM2
from benchguide.camera.mat_layout import MatLayout, mat_layout
from benchguide.camera.mat_markers import NoMat
from benchguide.camera.mat_paper import straighten
from benchguide.camera.mat_reading import MatReading, read_cell, read_mat
from benchguide.camera.opencv import cv2

Picture = Scene | FlatScene | DrawnScene
WIRES = ("spring", "clip")
DENSITIES = (5.3, 6, 6, 7, 8, 10, 12)
NEAR_6, NEAR_10 = (5.0, 8.5), (8.5, 15.0)
BANDS = ((5, 6), (6, 8), (8, 10), (10, 15))


@dataclass
class Tally:
    """What was found over all pictures, one entry a cell or a screw."""

    apart: list[bool] = field(default_factory=list)
    touching: list[bool] = field(default_factory=list)
    filled_as_empty: int = 0
    empty_as_filled: int = 0
    lengths: list[tuple[float, float, float | None]] = field(default_factory=list)
    """Pixels a millimetre, error in mm, stated standard uncertainty."""
    wanted: int = 0
    standing_measured: list[bool] = field(default_factory=list)
    own: list[tuple[float, float, float]] = field(default_factory=list)
    """Error of the length as seen and of the screw's own length against the true one, its stated uncertainty."""
    piles: list[bool] = field(default_factory=list)
    wires: list[bool] = field(default_factory=list)
    """Cells with a spring or a clip: counted right, or told that it cannot be told."""
    lights: dict[str, list[bool]] = field(default_factory=dict)
    """Whether the interval holds, by the light the picture was made in."""
    odd: list[str] = field(default_factory=list)


def view_for(rng: np.random.Generator, layout: MatLayout, i: int) -> View:
    """Picture sizes and distances in turn; every second round looks slantwise on solid parts."""
    ppm = DENSITIES[i % len(DENSITIES)]
    size = (1920, 1080) if ppm < 9 else (2560, 1440)
    return random_view(rng, layout, ppm, size, (i // len(DENSITIES)) % 2 == 1)


def scenes(count: int, seed: int, keep: Path | None, maker: str = "solid") -> Iterator[tuple[str, Picture]]:
    """Rendered mats with their truth, from the folder where they are kept already."""
    layout = mat_layout("A5")
    page = None
    for i in range(count):
        name = f"{seed}-{i:03}" if maker == "solid" else f"{maker}-{seed}-{i:03}"
        stored = keep / f"{name}.pkl" if keep else None
        if stored is not None and stored.exists():
            scene = pickle.loads(stored.read_bytes())
            scene.image = cv2().imread(str(stored.with_suffix(".png")))
            yield name, scene
            continue
        if page is None:
            page = _page(layout)
        scene = _render(maker, seed, i, layout, page)
        if stored is not None:
            cv2().imwrite(str(stored.with_suffix(".png")), scene.image)
            image, scene.image = scene.image, np.zeros((1, 1, 3), np.uint8)
            stored.write_bytes(pickle.dumps(scene))
            scene.image = image
        yield name, scene


def _render(maker: str, seed: int, i: int, layout: MatLayout, page: np.ndarray) -> Picture:
    if maker == "flat":
        ppm = DENSITIES[i % len(DENSITIES)]
        return make_flat_scene(seed * 1000 + i, layout, page, ppm, (1920, 1080) if ppm < 9 else (2560, 1440))
    if maker == "drawn":
        ppm = DENSITIES[i % len(DENSITIES)]
        return make_drawn_scene(seed * 1000 + i, layout, page, ppm, (1920, 1080) if ppm < 9 else (2560, 1440))
    rng = np.random.default_rng([seed, i])
    return make_scene(int(rng.integers(2**31)), layout, page, view_for(rng, layout, i), touching=0.15)


def _page(layout: MatLayout) -> np.ndarray:
    from benchguide.window.print_labels import CellLabel
    from benchguide.window.print_mat import write_mat

    with tempfile.TemporaryDirectory() as folder:
        pdf = Path(folder) / "mat.pdf"
        labels = {cell: CellLabel(cell, ("B: 4 × M1.6 × 3",)) for cell in list(layout.cells)[::2]}
        write_mat(layout, pdf, "Bench", labels)
        return page_raster(pdf, Path(folder))


def _spotter(scene: Picture) -> tuple[Callable[[Any], np.ndarray], float]:
    """Where a part of the truth is in the picture, and about how many pixels a millimetre has."""
    if not isinstance(scene, Scene):
        return scene.spot, scene.ppm
    hole = Pinhole(scene.view)
    return lambda piece: hole.to_pixel(np.array([piece.x, piece.y, 0.5])), scene.view.ppm


def _leans(scene: Picture) -> bool:
    """True where parts are seen slantwise, so that the length as seen is not the screw's own."""
    return scene.view.parallax if isinstance(scene, Scene) else isinstance(scene, DrawnScene)


def count_reading(name: str, scene: Picture, reading: MatReading, tally: Tally) -> None:
    """Add what the reader says of one picture."""
    spotter = _spotter(scene)
    for cell, found in reading.cells.items():
        if found.px_per_mm < 5 or not reading.plane.inside(
            np.array(reading.plane.layout.cells[cell].corners)
        ):
            continue
        truth = scene.cells[cell]
        tally.filled_as_empty += bool(truth) and found.empty is True
        tally.empty_as_filled += not truth and found.at_least > 0
        heap = cell in getattr(scene, "piles", ())
        if heap:
            tally.piles.append(found.count is None)
            if found.count is not None:
                tally.odd.append(f"{name} {cell}: a heap of {len(truth)} read as {found.count}")
        elif cell in scene.touching:
            tally.touching.append(found.count is None)
            if found.count is not None:
                kinds = ", ".join(item.kind for item in found.items)
                tally.odd.append(f"{name} {cell}: {len(truth)} lie there, two touching, read as {kinds}")
        elif any(piece.kind in WIRES for piece in truth):
            tally.wires.append(found.count in (len(truth), None))
        else:
            tally.apart.append(found.count == len(truth))
            if found.count != len(truth):
                tally.odd.append(
                    f"{name} {cell}: {len(truth)} lie there, read {found.count} ({found.reason})"
                )
        for piece, item in _pairs(truth, [(i.spot, i) for i in found.items], spotter):
            if piece.kind == "screw" and cell not in scene.touching and not heap:
                tally.wanted += 1
                if item.length_mm is not None and piece.seen_mm is not None:
                    tally.lengths.append((found.px_per_mm, item.length_mm - piece.seen_mm, item.sigma_mm))
                    true = getattr(piece, "true_mm", None)
                    light = getattr(scene, "light", "")
                    if light and item.sigma_mm:
                        held = abs(item.length_mm - piece.seen_mm) <= 1.96 * item.sigma_mm
                        tally.lights.setdefault(light, []).append(held)
                    if true and _leans(scene):
                        tally.own.append((item.length_mm - true, item.own_mm - true, item.own_sigma_mm))
                    if abs(item.length_mm - piece.seen_mm) > 0.5:
                        tally.odd.append(f"{name} {cell}: {piece.seen_mm:.2f} mm read {item.length_mm:.2f}")
            elif piece.kind == "standing screw":
                tally.standing_measured.append(item.length_mm is not None)


def _pairs(
    truth: list[Any],
    items: list[tuple[tuple[float, float], Any]],
    spotter: tuple[Callable[[Any], np.ndarray], float],
) -> list[tuple[Any, Any]]:
    place, ppm = spotter
    found = []
    for piece in truth:
        at = place(piece)
        far = [math.hypot(at[0] - x, at[1] - y) for (x, y), _ in items]
        if far and min(far) < 3.0 * ppm:
            found.append((piece, items[far.index(min(far))][1]))
    return found


def count_naive(scene: Picture, reading: MatReading, tally: Tally) -> None:
    """The same cells by Otsu, connected components and smallest rectangle."""
    spotter = _spotter(scene)
    for cell, found in reading.cells.items():
        box = reading.plane.layout.cells[cell]
        if found.px_per_mm < 5 or not reading.plane.inside(np.array(box.corners)):
            continue
        truth = scene.cells[cell]
        items = _naive(scene.image, reading, cell)
        tally.filled_as_empty += bool(truth) and not items
        tally.empty_as_filled += not truth and bool(items)
        if cell in scene.touching or cell in getattr(scene, "piles", ()):
            (tally.touching if cell in scene.touching else tally.piles).append(False)
            continue
        tally.apart.append(len(items) == len(truth))
        for piece, length in _pairs(truth, items, spotter):
            if piece.kind == "screw" and piece.seen_mm is not None:
                tally.wanted += 1
                tally.lengths.append((found.px_per_mm, length - piece.seen_mm, None))


def _naive(image: np.ndarray, reading: MatReading, cell: str) -> list[tuple[tuple[float, float], float]]:
    cv, box, ppm = cv2(), reading.plane.layout.cells[cell], 8.0
    grey = cv.cvtColor(straighten(image, reading.plane, box, ppm), cv.COLOR_BGR2GRAY)
    _, on = cv.threshold(grey, 0, 255, cv.THRESH_BINARY + cv.THRESH_OTSU)
    if (on > 0).mean() > 0.5:
        on = 255 - on
    _, labels, stats, _ = cv.connectedComponentsWithStats(on)
    items = []
    for i in range(1, len(stats)):
        if stats[i, cv.CC_STAT_AREA] < DUST_MM2 * ppm**2:
            continue
        ys, xs = np.nonzero(labels == i)
        (cx, cy), (w, h), _ = cv.minAreaRect(np.stack([xs, ys], 1).astype(np.float32))
        mm = np.array([box.x + (cx + 0.5) / ppm, box.y + (cy + 0.5) / ppm])
        x, y = reading.plane.to_pixel(mm)
        items.append(((float(x), float(y)), max(w, h) / ppm))
    return items


def _spread(tally: Tally, near: tuple[float, float]) -> tuple[float, float, int]:
    """Robust standard deviation and share of gross errors in a range of densities, and how many."""
    errors = np.array([e for ppm, e, _ in tally.lengths if near[0] <= ppm < near[1]])
    if not len(errors):
        return math.nan, math.nan, 0
    middle = np.median(errors)
    return float(1.4826 * np.median(abs(errors - middle))), float((abs(errors) > 1).mean()), len(errors)


def report(ours: Tally, naive: Tally, times: list[float], cells: list[float]) -> bool:
    """Print the table; True when every bar is met."""
    share = lambda flags: sum(flags) / len(flags) if flags else math.nan  # noqa: E731
    rows: list[tuple[str, str, str, str, bool]] = []

    def row(what: str, bar: str, ours_: str, naive_: str, met: bool) -> None:
        rows.append((what, bar, ours_, naive_, met))

    right = share(ours.apart)
    row(
        f"cells counted right, parts apart, 5 px/mm and more (n {len(ours.apart)})", ">= 98 %",
        f"{right:.1%}", f"{share(naive.apart):.1%}", right >= 0.98,
    )  # fmt: skip
    told = share(ours.touching)
    row(
        f"cells with touching parts, told as touching (n {len(ours.touching)})", "told",
        f"{told:.1%}", f"{share(naive.touching):.1%}", told >= 0.95,
    )  # fmt: skip
    row(
        "filled cells called empty",
        "0",
        str(ours.filled_as_empty),
        str(naive.filled_as_empty),
        not ours.filled_as_empty,
    )
    row(
        "empty cells called filled",
        "0",
        str(ours.empty_as_filled),
        str(naive.empty_as_filled),
        not ours.empty_as_filled,
    )
    for label, near, bar in (("6", NEAR_6, 0.15), ("10", NEAR_10, 0.08)):
        sd, gross, n = _spread(ours, near)
        base, base_gross, _ = _spread(naive, near)
        row(
            f"length, robust sd about {label} px/mm (n {n})",
            f"<= {bar} mm",
            f"{sd:.3f} mm",
            f"{base:.3f} mm",
            sd <= bar,
        )
        row(
            f"length, over 1 mm off about {label} px/mm",
            "< 2 %",
            f"{gross:.1%}",
            f"{base_gross:.1%}",
            gross < 0.02,
        )
    if ours.piles:
        row(
            f"cells with a heap, told as not to be counted (n {len(ours.piles)})", "told",
            f"{share(ours.piles):.1%}", f"{share(naive.piles):.1%}", share(ours.piles) >= 0.95,
        )  # fmt: skip
        row(
            f"cells with a spring or a clip, right or told (n {len(ours.wires)})", "told",
            f"{share(ours.wires):.1%}", "", share(ours.wires) >= 0.95,
        )  # fmt: skip
    for light, holds in sorted(ours.lights.items()):
        row(
            f"95 % intervals that hold, light: {light} (n {len(holds)})", "92 to 98 %",
            f"{share(holds):.1%}", "none stated", 0.92 <= share(holds) <= 0.98,
        )  # fmt: skip
    for near in BANDS:
        label = f"{near[0]} to {near[1]}"
        these = [(e, s) for ppm, e, s in ours.lengths if s is not None and near[0] <= ppm < near[1]]
        if not these:
            continue
        held, middle = share([abs(e) <= 1.96 * s for e, s in these]), statistics.median(e for e, _ in these)
        typical = statistics.median(s for _, s in these)
        row(
            f"95 % intervals that hold, {label} px/mm (n {len(these)}, sigma {typical:.3f})",
            "92 to 98 %", f"{held:.1%}", "none stated", 0.92 <= held <= 0.98,
        )  # fmt: skip
        base = statistics.median(e for ppm, e, _ in naive.lengths if near[0] <= ppm < near[1])
        bar = 0.1
        row(
            f"length, median error, {label} px/mm", f"+-{bar:g} mm", f"{middle:+.3f} mm", f"{base:+.3f} mm",
            abs(middle) <= bar,
        )  # fmt: skip
    if times:
        row(
            "24 cells at 1080p, CPU, median",
            "<= 2 s",
            f"{statistics.median(times):.2f} s",
            "",
            statistics.median(times) <= 2,
        )
        worst = max(times)
        row("the same, worst picture", "<= 2 s", f"{worst:.2f} s", "", worst <= 2)
    row(
        "one changed cell, CPU, median",
        "<= 0.2 s",
        f"{statistics.median(cells):.3f} s",
        "",
        statistics.median(cells) <= 0.2,
    )
    print(f"{'what':72} {'bar':12} {'figure':>10} {'baseline':>12}")
    for what, bar, figure, base, met in rows:
        print(f"{what:72} {bar:12} {figure:>10} {base:>12}  {'' if met else 'MISSED'}")
    print(f"lengths given for {len(ours.lengths)} of {ours.wanted} lying screws")
    if ours.own:
        own = np.array(ours.own)
        inside = (abs(own[:, 1]) <= 1.96 * own[:, 2]).mean()
        print(
            f"own length of solid parts seen slantwise (n {len(own)}): median error {np.median(own[:, 1]):+.2f} mm, "
            f"95 % of errors within {np.percentile(abs(own[:, 1]), 95):.2f} mm, intervals hold {inside:.1%}; "
            f"the length as seen would be {np.median(own[:, 0]):+.2f} mm and "
            f"{np.percentile(abs(own[:, 0]), 95):.2f} mm off"
        )
    print(f"standing screws given a length: {sum(ours.standing_measured)} of {len(ours.standing_measured)}")
    return all(met for *_, met in rows)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=int, default=14)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--maker", choices=("solid", "flat", "drawn"), help="one maker of pictures only")
    parser.add_argument("--keep", type=Path)
    parser.add_argument(
        "--odd", action="store_true", help="list every miscount and every length over 0.5 mm off"
    )
    options = parser.parse_args()
    if options.keep:
        options.keep.mkdir(parents=True, exist_ok=True)
    cv2().setNumThreads(1)
    makers = [options.maker] if options.maker else ["solid", "flat", "drawn"]
    met = [_try(maker, options) for maker in makers]
    return 0 if all(met) else 1


def _try(maker: str, options: argparse.Namespace) -> bool:
    """All pictures of one maker; True when every bar is met."""
    ours, naive = Tally(), Tally()
    times: list[float] = []
    cells: list[float] = []
    for name, scene in scenes(options.scenes, options.seed, options.keep, maker):
        start = time.process_time()
        try:
            reading = read_mat(scene.image)
        except NoMat as error:
            print(f"{name}: {error}")
            continue
        if scene.image.shape[0] == 1080:
            times.append(time.process_time() - start)
        start = time.process_time()
        read_cell(scene.image, "B3", reading.plane)
        cells.append(time.process_time() - start)
        count_reading(name, scene, reading, ours)
        count_naive(scene, reading, naive)
    print(f"\n{maker} parts, seed {options.seed}, {options.scenes} pictures")
    met = report(ours, naive, times, cells)
    if options.odd:
        print("\n".join(ours.odd))
    return met


if __name__ == "__main__":
    sys.exit(main())
