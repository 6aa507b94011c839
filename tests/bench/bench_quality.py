"""How well spoilt photos and hands in the picture are told, beside the simplest way to do the same.

Run: python tests/bench/bench_quality.py [STREAMS]

Photos: real photographs of the Debian package opencv-doc, scaled to 640 pixels and spoilt here; the sharp class
holds noise, half and quarter exposure and over-exposure. Baseline: variance of the Laplacian. Places: squares of those
photographs, judged by themselves as the outline of a part is. Hands: STREAMS (40)
made streams with three visits each (tests/camera/hand_streams.py). Baseline: a photo after 0.6 s without change.
Exit code 1 when a bar is missed.
"""

import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1] / "camera")]

import numpy as np  # noqa: E402
from hand_streams import stream  # noqa: E402

from benchguide.camera.hands import MOVING, HandsClear, Seen, _share, shrunk  # noqa: E402
from benchguide.camera.opencv import cv2  # noqa: E402
from benchguide.camera.quality import OF_BEST, PART_FLOOR, PART_SIDE  # noqa: E402
from benchguide.camera.sharpness import measured_grey, sharpness, steepness_of  # noqa: E402

SAMPLES = Path("/usr/share/doc/opencv-doc/examples")
PHOTOS = (
    *(f"text/scenetext0{n}.jpg" for n in (1, 2, 3, 4, 5, 6)),
    *(f"data/{name}" for name in ("leuvenA.jpg", "leuvenB.jpg", "aloeL.jpg", "aloeR.jpg", "board.jpg")),
    *(f"data/{name}" for name in ("basketball1.png", "basketball2.png", "cards.png", "stuff.jpg")),
    *(f"data/{name}" for name in ("ela_original.jpg", "graf1.png", "graf3.png", "left.jpg", "right.jpg")),
    *(f"data/{name}" for name in ("aero1.jpg", "aero3.jpg", "building.jpg")),
)


def row(what: str, bar: str, figure: str, baseline: str, met: bool) -> bool:
    print(f"{what:<52}{bar:>12}{figure:>14}{baseline:>22}  {'met' if met else 'MISSED'}")
    return met


def photos() -> list[np.ndarray]:
    cv = cv2()
    found = [cv.imread(str(SAMPLES / name)) for name in PHOTOS if (SAMPLES / name).exists()]
    if not found:
        sys.exit("The photographs are missing: install the Debian package opencv-doc.")
    size = [(640, round(image.shape[0] * 640 / image.shape[1])) for image in found]
    return [cv.resize(image, s, interpolation=cv.INTER_AREA) for image, s in zip(found, size, strict=True)]


def disc(radius: float) -> np.ndarray:
    half = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1)
    return kernel / kernel.sum()


def streak(length: float, angle: float) -> np.ndarray:
    """A line of motion, drawn eight times finer and averaged."""
    n = int(length) + 4 | 1
    fine = np.zeros((8 * n, 8 * n), np.float32)
    dx, dy, c = np.cos(angle) * length * 4, np.sin(angle) * length * 4, n * 4
    cv2().line(fine, (round(c - dx), round(c - dy)), (round(c + dx), round(c + dy)), 1.0, 8)
    kernel = cv2().resize(fine, (n, n), interpolation=cv2().INTER_AREA)
    return kernel / kernel.sum()


def area(good: list[float], bad: list[float]) -> float:
    """Area under the receiver operating characteristic: how often a good one is above a bad one."""
    a, b = np.array(good)[:, None], np.array(bad)[None]
    return float(((a > b) + 0.5 * (a == b)).mean())


def bench_photos() -> list[bool]:
    cv, rng = cv2(), np.random.default_rng(5)
    scenes = photos()

    def grain(image: np.ndarray, sd: float = 2.0) -> np.ndarray:
        return np.clip(image + rng.normal(0, sd, image.shape), 0, 255).astype(np.uint8)

    sharp = [
        grain(np.clip(i * gain, 0, 255), sd)
        for i in scenes
        for gain, sd in ((1, 2), (0.5, 2), (0.25, 1), (1.4, 2))
    ]
    soft = {r: [grain(cv.filter2D(i, -1, disc(r))) for i in scenes] for r in (1, 2, 3)}
    moved = {
        n: [grain(cv.filter2D(i, -1, streak(n, angle))) for i in scenes for angle in rng.uniform(0, np.pi, 2)]
        for n in (5, 8)
    }
    begin = time.process_time()
    good = [sharpness(image) for image in sharp]
    each = (time.process_time() - begin) / len(sharp) * 1e3

    def naive(images: list[np.ndarray]) -> list[float]:
        return [float(cv.Laplacian(measured_grey(image), cv.CV_32F).var()) for image in images]

    plain = naive(sharp)
    met = []
    print(f"{len(scenes)} photographs, {len(sharp)} sharp; {each:.0f} ms of processor a photo at 640 pixels")
    for radius, bar in ((2, 0.95), (3, None)):
        ours = area([s.all_ways or 1 for s in good], [sharpness(i).all_ways or 1 for i in soft[radius]])
        base = area(plain, naive(soft[radius]))
        met.append(
            row(
                f"defocus of {radius} px, area under the curve",
                f">= {bar or 0}",
                f"{ours:.3f}",
                f"{base:.3f}",
                ours >= (bar or 0),
            )
        )
    for length, bar in ((5, 0.95), (8, None)):
        ours = area([s.worst_way or 1 for s in good], [sharpness(i).worst_way or 1 for i in moved[length]])
        base = area(plain, naive(moved[length]))
        met.append(
            row(
                f"motion of {length} px, area under the curve",
                f">= {bar or 0}",
                f"{ours:.3f}",
                f"{base:.3f}",
                ours >= (bar or 0),
            )
        )
    # against the best of the same view: every level, and how often a mere repetition would be called poor
    caught, total, false = 0, 0, 0
    for index, scene in enumerate(scenes):
        best = sharpness(grain(scene))
        again = sharpness(grain(scene))
        false += _below(again, best)
        spoilt = [soft[r][index] for r in soft] + [moved[n][2 * index + k] for n in moved for k in (0, 1)]
        caught += sum(_below(sharpness(image), best) for image in spoilt)
        total += len(spoilt)
    met.append(
        row(
            "against the view's own best: caught",
            ">= 99 %",
            f"{100 * caught / total:.1f} %",
            f"{false}/{len(scenes)} false",
            caught >= 0.99 * total,
        )
    )
    return met


def bench_places() -> list[bool]:
    """Focus at one place of a picture, as over the outline of a part: squares anywhere in the photographs."""
    cv, rng = cv2(), np.random.default_rng(3)
    side = PART_SIDE

    def grain(image: np.ndarray) -> np.ndarray:
        return np.clip(image + rng.normal(0, 2.0, image.shape), 0, 255).astype(np.uint8)

    ours: dict[int, list[float]] = {0: [], 2: [], 3: []}
    plain: dict[int, list[float]] = {0: [], 2: [], 3: []}
    for scene in photos():
        height, width = scene.shape[:2]
        spots = [(int(rng.integers(0, width - side)), int(rng.integers(0, height - side))) for _ in range(6)]
        for radius in ours:
            image = grain(cv.filter2D(scene, -1, disc(radius)) if radius else scene)
            for x, y in spots:
                cut = image[y : y + side, x : x + side]
                told = steepness_of(cut, width)
                if told is not None:
                    ours[radius].append(told)
                    plain[radius].append(
                        float(cv.Laplacian(cv.cvtColor(cut, cv.COLOR_BGR2GRAY), cv.CV_32F).var())
                    )
    false = sum(value < PART_FLOOR for value in ours[0]) / len(ours[0])
    caught = sum(value < PART_FLOOR for value in ours[3]) / len(ours[3])
    print(f"{len(ours[0])} sharp places of {side} x {side} pixels")
    met = []
    for radius, bar in ((2, 0.85), (3, 0.95)):
        mine, base = area(ours[0], ours[radius]), area(plain[0], plain[radius])
        what = f"a place out of focus by {radius} px, area under the curve"
        met.append(row(what, f">= {bar}", f"{mine:.3f}", f"{base:.3f}", mine >= bar))
    told = f"{100 * caught:.0f} % of 3 px told"
    met.append(row("sharp places told as soft", "<= 4 %", f"{100 * false:.1f} %", told, false <= 0.04))
    return met


def _below(found: object, best: object) -> bool:
    pairs = [(found.all_ways, best.all_ways), (found.worst_way, best.worst_way)]  # type: ignore[attr-defined]
    return any(a is not None and b is not None and a < OF_BEST * b for a, b in pairs)


class StillOnly:
    """The baseline: a photo whenever nothing changed for 0.6 s after something did."""

    def __init__(self) -> None:
        self.last, self.since, self.worked = None, 0.0, False

    def see(self, image: np.ndarray, at_s: float) -> bool:
        small = shrunk(image)
        share = 0.0 if self.last is None else _share(small, self.last)
        self.last = small
        if share > MOVING:
            self.since, self.worked = at_s, True
        if self.worked and at_s - self.since >= 0.6:
            self.worked = False
            return True
        return False


def bench_hands(streams: int) -> list[bool]:
    tallies = {"ours": [0, 0, 0], "base": [0, 0, 0]}  # taken, with a hand, events
    waits: list[float] = []
    for seed in range(streams):
        ours, base, last = HandsClear(), StillOnly(), {}
        got: dict[str, set[int]] = {"ours": set(), "base": set()}
        for shot in stream(1000 + seed):
            if shot.hand:
                last[shot.visit] = shot.at_s
            fired = {
                "ours": ours.see(shot.image, shot.at_s).seen is Seen.CLEAR,
                "base": base.see(shot.image, shot.at_s),
            }
            for who in (name for name, yes in fired.items() if yes):
                if shot.hand:
                    tallies[who][1] += 1
                elif shot.visit and shot.visit not in got[who]:
                    got[who].add(shot.visit)
                    if who == "ours":
                        waits.append(shot.at_s - last[shot.visit])
        for who in tallies:
            tallies[who][0] += len(got[who])
            tallies[who][2] += 3
    (taken, hand, events), (btaken, bhand, _) = tallies["ours"], tallies["base"]
    print(f"{streams} streams, {events} visits of hands")
    met = [
        row(
            "hands come and go: photo taken",
            ">= 95 %",
            f"{100 * taken / events:.1f} %",
            f"{100 * btaken / events:.1f} %",
            taken >= 0.95 * events,
        ),
        row(
            "photo with a hand in it",
            "< 1 %",
            f"{hand} of {events}",
            f"{bhand} of {events}",
            hand < 0.01 * events,
        ),
        row(
            "last of the hand to the photo, median",
            "<= 1.1 s",
            f"{np.median(waits):.2f} s",
            "0.6 s wanted",
            float(np.median(waits)) <= 1.1,
        ),
    ]
    return [*met, bench_cost()]


def bench_cost() -> bool:
    frames = [cv2().resize(s.image, (1920, 1080)) for s in list(stream(1, 1))[:40]]
    watcher, times, bare = HandsClear(), [], []
    for number, frame in enumerate(frames * 3):
        begin = time.process_time()
        watcher.see(frame, number / 15)
        times.append((time.process_time() - begin) * 1e3)
        begin = time.process_time()
        cv2().resize(frame, (160, 90), interpolation=cv2().INTER_AREA)
        bare.append((time.process_time() - begin) * 1e3)
    figure = float(np.median(times))
    return row(
        "cost of a 1080p picture, processor",
        "<= 10 ms",
        f"{figure:.1f} ms",
        f"resize {np.median(bare):.1f} ms",
        figure <= 10,
    )


def main() -> int:
    streams = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print(f"{'what':<52}{'bar':>12}{'figure':>14}{'baseline':>22}")
    met = [*bench_photos(), *bench_places(), *bench_hands(streams)]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
