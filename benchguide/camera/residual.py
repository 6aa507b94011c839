"""Where two photos that lie over each other differ by more than light, play and a turned recess.

Takes the as-found photo and the as-left photo already laid over it, both small enough to
work on; gives places with what was measured there. Knows nothing of parts and files, and
finds no alignment.

Method: local gain; a pixel counts only when it lies outside the range of values in the
other photo's neighbourhood (play and parallax stay inside it); places are kept when the
local distributions of intensity differ (Wasserstein-1 distance) and when it is not the
same round thing turned about its own axis (ring test).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]
    Floats = NDArray[np.float32]


ROUND = 0.5  # share of a difference that may be left once a round thing is turned back
EVEN = 0.3  # evenness of a circular edge from which it is one
REACH = 1.35  # radii of a circle a difference may reach out from its centre, and be that of a turned head
SORTED = 0.52  # share of the distance of two heads that may be left once their rings are sorted
CLIPPED = 246  # grey levels of 8 bit from which a channel is taken to be cut off


@dataclass(frozen=True, slots=True)
class Limits:
    """What counts as a difference. Grey levels of 8 bit; lengths in pixels of the work picture.

    fine, coarse: how far outside the other photo's range a pixel must lie at the two scales.
    distribution: Wasserstein-1 distance a place must reach. ring: mean distance of sorted
    rings below which a round thing was only turned; sure: distribution above which that is
    not asked any more; circle: radial step an edge must have to be taken for a circle;
    round: longest side of what may be a screw. thick: least half thickness; solid: half
    thickness from which it counts in full. area: least area of a blob. border: strip
    along the edge of the common view where nothing is told. join: gaps closed in one blob.
    window: sigma of the window of the distributions. few, clear: see `worth_telling`.
    """

    fine: float = 14.0
    coarse: float = 7.0
    distribution: float = 12.0
    ring: float = 10.0
    sure: float = 45.0
    circle: float = 9.5
    round: float = 60.0
    thick: float = 3.0
    solid: float = 6.0
    area: int = 25
    border: int = 13
    join: int = 15
    window: float = 6.6
    few: int = 4
    clear: float = 2.2


def limits_for(px_per_mm: float | None) -> Limits:
    """Limits for a scale in work pixels per millimetre, or for an unknown one."""
    if px_per_mm is None or px_per_mm <= 0:
        return Limits()
    least = min(18.0, max(6.0, 1.2 * px_per_mm))
    return Limits(distribution=least, round=min(90.0, max(16.0, 4.3 * px_per_mm)))


def smaller(limits: Limits, factor: float) -> Limits:
    """The same limits for work pictures that are `factor` times as large as usual."""
    return replace(
        limits, round=limits.round * factor, thick=limits.thick * factor, solid=limits.solid * factor,
        area=max(6, round(limits.area * factor * factor)), border=max(4, round(limits.border * factor)),
        join=max(5, round(limits.join * factor) | 1), window=limits.window * factor,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Blob:
    """One place that differs: box (x, y, w, h) in work pixels, and what was measured there.

    area: pixels of the core. strength: mean excess over the limits. distribution: largest
    Wasserstein-1 distance in grey levels. ring, about: least ring distance of a round thing
    there in both pictures (inf where there is none) and the distance about the middle of the
    box. thick: half thickness. fill: share of the box. busier: log ratio of detail, as-left to
    as-found. weight: how far it exceeds what is worth telling; ring, about and busier are
    measured from 1 on.
    """

    box: tuple[int, int, int, int]
    area: int
    strength: float
    distribution: float
    ring: float
    about: float
    thick: float
    fill: float
    busier: float
    weight: float


def matched(found: Image, left: Image, seen: Image, side: int = 81) -> Image:
    """As-left with its local gain (0.5 to 2, each channel) brought to that of as-found.

    seen: (h, w) uint8, 0 where as-left shows nothing. Two rounds; what fits badly in the
    first counts little in the second, so that a part that is gone does not light up its
    surroundings.
    """
    import numpy as np

    cv = cv2()
    height, width = seen.shape
    small = (max(1, width // 4), max(1, height // 4))
    side = max(3, side // 4 | 1)
    a = cv.resize(found, small, interpolation=cv.INTER_AREA).astype(np.float32)
    b = cv.resize(left, small, interpolation=cv.INTER_AREA).astype(np.float32)
    inside = cv.resize(seen, small, interpolation=cv.INTER_AREA) > 250
    # a channel that is cut off tells no gain
    known = (inside[..., None] & (a < CLIPPED) & (b < CLIPPED)).astype(np.float32)
    weight = known
    gain = np.ones_like(a)
    for _ in range(3):
        most = (cv.mean(a * weight)[:3], cv.mean(b * weight)[:3])
        overall = np.array([(x + 0.5) / (y + 0.5) for x, y in zip(*most, strict=True)], np.float32)
        above = cv.boxFilter(a * weight, -1, (side, side)) + 0.5 * overall
        below = cv.boxFilter(b * weight, -1, (side, side)) + 0.5
        gain = np.clip(above / below, np.float32(0.5), np.float32(2.0))
        misfit = (np.abs(a - b * gain) * known).max(2)
        weight = known / (1 + (misfit / 12) ** 2)[..., None]
    gain = cv.resize(gain, (width, height), interpolation=cv.INTER_LINEAR)
    lit = cv.convertScaleAbs(cv.multiply(left, gain, dtype=cv.CV_32F))
    # a value at the top of the range only says "at least so much": found may be brighter there
    burnt = cv.dilate(cv.compare(left, CLIPPED, cv.CMP_GE), np.ones((3, 3), np.uint8))
    return cv.max(lit, cv.bitwise_and(found, burnt))


def equally_sharp(found: Image, left: Image, seen: Image) -> tuple[Image, Image]:
    """Both pictures, the sharper one blurred until they fit best (Gaussian, sigma up to 1.6 pixels)."""

    cv = cv2()
    a, b = cv.cvtColor(found, cv.COLOR_BGR2GRAY), cv.cvtColor(left, cv.COLOR_BGR2GRAY)
    known = cv.compare(seen, 250, cv.CMP_GT)

    def misfit(one: Image, two: Image) -> float:
        return float(cv.mean(cv.min(cv.absdiff(one, two), 40.0), mask=known)[0])

    def detail(grey: Image) -> float:
        edges = cv.Laplacian(cv.GaussianBlur(grey, (0, 0), 1.0), cv.CV_16S)
        return float(cv.mean(cv.convertScaleAbs(edges), mask=known)[0])

    blur_found = detail(a) > detail(b)
    sigmas = (0.5, 0.65, 0.8, 0.95, 1.1, 1.3, 1.6)
    best, least = 0.0, misfit(a, b)
    for sigma in sigmas:
        soft = cv.GaussianBlur(a if blur_found else b, (0, 0), sigma)
        now = misfit(soft, b) if blur_found else misfit(a, soft)
        if now >= least:
            break
        best, least = sigma, now
    if best == 0:
        return found, left
    if blur_found:
        return cv.GaussianBlur(found, (0, 0), best), left
    return found, cv.GaussianBlur(left, (0, 0), best)


def excess(a: Image, b: Image, reach: int) -> Image:
    """How far each pixel of either picture lies outside the other's range within `reach` pixels.

    (h, w) uint8, the largest over channels and over both directions.
    """
    cv = cv2()
    near = cv.getStructuringElement(cv.MORPH_RECT, (2 * reach + 1, 2 * reach + 1))
    worst = cv.max(
        cv.max(cv.subtract(a, cv.dilate(b, near)), cv.subtract(cv.erode(b, near), a)),
        cv.max(cv.subtract(b, cv.dilate(a, near)), cv.subtract(cv.erode(a, near), b)),
    )
    first, second, third = cv.split(worst)
    return cv.max(cv.max(first, second), third)


def ratio_map(found: Image, left: Image, limits: Limits) -> Floats:
    """Excess over the limit, the larger of two scales: 1 and more counts. (h, w) float32."""
    import numpy as np

    cv = cv2()
    a, b = cv.GaussianBlur(found, (0, 0), 1.2), cv.GaussianBlur(left, (0, 0), 1.2)
    fine = excess(a, b, 2)
    half = (found.shape[1] // 2, found.shape[0] // 2)
    small_a = cv.GaussianBlur(cv.resize(a, half, interpolation=cv.INTER_AREA), (0, 0), 1.4)
    small_b = cv.GaussianBlur(cv.resize(b, half, interpolation=cv.INTER_AREA), (0, 0), 1.4)
    coarse = cv.resize(excess(small_a, small_b, 2), fine.shape[::-1], interpolation=cv.INTER_LINEAR)
    eighth = (max(1, half[0] // 4), max(1, half[1] // 4))
    mean = cv.resize(cv.cvtColor(small_a, cv.COLOR_BGR2GRAY), eighth, interpolation=cv.INTER_AREA)
    mean = cv.boxFilter(mean.astype(np.float32), -1, (5, 5))
    noise = cv.resize(1 / cv.sqrt(0.35 + mean / 140), fine.shape[::-1], interpolation=cv.INTER_LINEAR)
    both = cv.max(
        fine.astype(np.float32) * (1 / limits.fine), coarse.astype(np.float32) * (1 / limits.coarse)
    )
    return both * noise


def distribution_map(a: Image, b: Image, sigma: float) -> Floats:
    """Local Wasserstein-1 distance between the intensities of two pictures, in grey levels.

    Taken on grey and two colour differences, the largest of grey and half their sum; window Gaussian of `sigma`.
    (h, w) float32. For one channel it is the integral of the difference of the two
    cumulative distributions.
    """
    import numpy as np

    cv = cv2()
    worst = None
    for one, two, low, high in _planes(a, b):
        step = (high - low) / 12
        total = np.zeros(one.shape, np.float32)
        for level in np.arange(low + step / 2, high, step):
            ramp = np.float32(1 / step)
            offset = np.float32(level / step + 0.5)
            less = cv.min(cv.max(offset - one * ramp, 0.0), 1.0) - cv.min(
                cv.max(offset - two * ramp, 0.0), 1.0
            )
            total += np.abs(_window(less, sigma))
        total *= np.float32(step)
        worst = total if worst is None else cv.max(worst, total)
    assert worst is not None
    return worst


def _planes(a: Image, b: Image) -> list[tuple[Floats, Floats, float, float]]:
    import numpy as np

    planes = []
    fa, fb = a.astype(np.float32), b.astype(np.float32)
    kinds = [
        lambda p: 0.114 * p[..., 0] + 0.587 * p[..., 1] + 0.299 * p[..., 2],
        lambda p: p[..., 2] - p[..., 1],
        lambda p: p[..., 0] - p[..., 1],
    ]
    for kind in kinds:
        one, two = kind(fa), kind(fb)
        low = float(min(one.min(), two.min()))
        high = float(max(one.max(), two.max())) + 1e-3
        planes.append((one, two, low, max(high, low + 12)))
    return planes


def _window(plane: Floats, sigma: float) -> Floats:
    cv = cv2()
    side = max(3, round(sigma * 1.9) | 1)
    return cv.boxFilter(cv.boxFilter(plane, -1, (side, side)), -1, (side, side))


def ring_distance(
    a: Image, b: Image, centre: tuple[float, float], radius: float, play: float = 2.0, *, order: bool = True
) -> float:
    """How unlike two round things are when turning does not count, in grey levels.

    Each ring about the centre is sorted by value in both pictures and compared; the centre
    in `b` may lie up to `play` pixels off: the least of 25 positions is given. order: False
    leaves the rings unsorted, so that turning counts.
    """
    import numpy as np

    rings = max(5, min(14, round(radius * 0.8)))
    offsets = np.linspace(-play, play, 5)
    spots = np.array([(centre[0] + x, centre[1] + y) for y in offsets for x in offsets])
    own, other = _polar(a, np.array([centre]), radius, rings, 40), _polar(b, spots, radius, rings, 40)
    if order:
        own, other = np.sort(own, axis=1), np.sort(other, axis=1)
    weight = np.arange(rings, dtype=np.float32) + 0.5
    per_ring = np.abs(own - other).mean(axis=(1, 3))
    return float((per_ring @ (weight / weight.sum())).min())


def _polar(image: Image, centres: Any, radius: float, rings: int, spokes: int) -> Floats:
    """Values about each centre: (centres, spokes, rings, channels) float32."""
    import numpy as np

    cv = cv2()
    angle = np.arange(spokes) * (2 * np.pi / spokes)
    out = (np.arange(rings) + 0.5) * (radius / rings)
    x = centres[:, 0, None, None] + np.cos(angle)[None, :, None] * out[None, None]
    y = centres[:, 1, None, None] + np.sin(angle)[None, :, None] * out[None, None]
    shape = (len(centres) * spokes, rings)
    values = cv.remap(
        image, x.reshape(shape).astype(np.float32), y.reshape(shape).astype(np.float32), cv.INTER_LINEAR,
        borderMode=cv.BORDER_REPLICATE,
    )  # fmt: skip
    return values.reshape(len(centres), spokes, rings, -1).astype(np.float32)


def circles(
    grey: Image,
    near: tuple[float, float],
    reach: float,
    smallest: float,
    largest: float,
    step: float,
    most: int = 4,
) -> list[tuple[float, float, float, float]]:
    """The strongest circular edges about a place, best first: x, y, radius, mean radial step in grey levels.

    Centres up to `reach` pixels from `near` are tried, a pixel and a half apart. An edge
    counts as far as all its spokes step the same way, and from a radial step of `step` on.
    """
    import numpy as np

    n = max(1, int(reach // 1.5))
    offsets = np.arange(-n, n + 1) * 1.5
    spots = np.array([(near[0] + x, near[1] + y) for y in offsets for x in offsets])
    rings = max(4, int(np.ceil(largest + 2)))
    values = _polar(grey, spots, float(rings), rings, 20)[..., 0]
    change = np.clip(values[:, :, 2:] - values[:, :, :-2], -60, 60)
    score = np.abs(change.mean(1)) - 0.5 * change.std(1)
    radii = np.arange(1, rings - 1) + 0.5
    score[:, (radii < smallest) | (radii > largest)] = -1e3
    found: list[tuple[float, float, float, float]] = []
    for at in np.argsort(score, axis=None)[::-1][:400]:
        i, j = divmod(int(at), score.shape[1])
        if score[i, j] < step:
            break
        x, y, r = float(spots[i, 0]), float(spots[i, 1]), float(radii[j])
        if all(abs(r - o[2]) > 2.5 or (x - o[0]) ** 2 + (y - o[1]) ** 2 > 16 for o in found):
            found.append((x, y, r, float(score[i, j])))
            if len(found) == most:
                break
    return found


def turned(a: Image, b: Image, box: tuple[int, int, int, int], limits: Limits) -> float:
    """Least ring distance over round things about a box that are there in both pictures, else inf."""
    cv = cv2()
    x, y, w, h = box
    centre = (x + (w - 1) / 2, y + (h - 1) / 2)
    longest = max(w, h)
    sizes = (max(5.0, 0.42 * longest), min(30.0, max(14.0, 1.5 * longest)))
    reach = 4 + 0.3 * longest
    grey = [cv.cvtColor(each, cv.COLOR_BGR2GRAY) for each in (a, b)]
    first = circles(grey[0], centre, reach, *sizes, limits.circle)
    second = circles(grey[1], centre, reach, *sizes, limits.circle) if first else []
    best = float("inf")
    for one in first:
        for two in second:
            if abs(one[2] - two[2]) <= 1.6 and (one[0] - two[0]) ** 2 + (one[1] - two[1]) ** 2 <= 8:
                # only as far out as the difference goes: what is alike around it says nothing
                far = max(one[0] - x, x + w - 1 - one[0], one[1] - y, y + h - 1 - one[1])
                if far > REACH * one[2] or min(_evenness(grey[0], one), _evenness(grey[1], two)) < EVEN:
                    continue  # the difference goes on outside, or it is a corner of something square
                out = min(one[2] * 1.15, far + 1.5)
                play = min(2.0, max(0.8, 0.12 * out))
                ring = ring_distance(a, b, (one[0], one[1]), out, play)
                apart = ring_distance(a, b, (one[0], one[1]), out, play, order=False)
                if ring > SORTED * apart:
                    continue  # turning explains too little of it
                best = min(best, ring)
                break
    return best


def _evenness(grey: Image, circle: tuple[float, float, float, float]) -> float:
    """Whether the step at a circle goes all round: its lower quartile over 40 spokes by its mean, 1 at best."""
    import numpy as np

    rings = int(np.ceil(circle[2] + 3))
    values = _polar(grey, np.array([circle[:2]]), float(rings), rings, 40)[0, :, :, 0]
    change = values[:, 2:] - values[:, :-2]
    at = min(change.shape[1] - 1, max(0, round(circle[2] - 1.5)))
    step = (change[:, max(0, at - 1) : at + 2] * np.sign(change[:, at].mean())).max(1)
    mean = float(step.mean())
    return float(np.percentile(step, 25)) / mean if mean > 0 else 0.0


def went_round(a: Image, b: Image, box: tuple[int, int, int, int], limits: Limits) -> bool:
    """Whether a small place on a larger round thing went round with it: a glint, or the arm of a recess.

    True where, on the rings of some circle of both pictures that the box touches, the sorted
    values agree although the values at each angle do not.
    """
    import numpy as np

    cv = cv2()
    margin = int(limits.round)
    x, y, w, h = box
    x0, y0 = max(0, x - margin), max(0, y - margin)
    a, b = a[y0 : y + h + margin, x0 : x + w + margin], b[y0 : y + h + margin, x0 : x + w + margin]
    middle = (x - x0 + (w - 1) / 2, y - y0 + (h - 1) / 2)
    sizes = (max(6.0, 0.6 * max(w, h)), limits.round / 2)
    reach = 0.42 * limits.round
    grey = [cv.cvtColor(each, cv.COLOR_BGR2GRAY) for each in (a, b)]
    for cx, cy, radius, _ in circles(grey[0], middle, reach, *sizes, limits.circle, most=6):
        from_centre = float(np.hypot(middle[0] - cx, middle[1] - cy))
        if from_centre > radius + 1:
            continue
        half = 0.5 * max(w, h) + 1
        rings = max(4, round(radius * 1.15))
        out = (np.arange(rings) + 0.5) * (radius * 1.15 / rings)
        band = (out > from_centre - half) & (out < from_centre + half)
        offsets = np.linspace(-2, 2, 5)
        spots = np.array([(cx + i, cy + j) for j in offsets for i in offsets])
        own = _polar(a, np.array([(cx, cy)]), radius * 1.15, rings, 40)[:, :, band]
        other = _polar(b, spots, radius * 1.15, rings, 40)[:, :, band]
        apart = np.abs(own - other).mean(axis=(1, 2, 3))
        ordered = np.abs(np.sort(own, axis=1) - np.sort(other, axis=1)).mean(axis=(1, 2, 3))
        best = int(np.argmin(ordered))
        if ordered[best] < limits.ring and ordered[best] < ROUND * float(apart[12]):
            return True
    return False


def blobs(found: Image, left: Image, seen: Image, limits: Limits, *, most: int = 40) -> list[Blob]:
    """The `most` strongest places that exceed the limits of the interval test, and what was measured there."""
    import numpy as np

    cv = cv2()
    ratio = ratio_map(found, left, limits)
    edge = cv.getStructuringElement(cv.MORPH_RECT, (2 * limits.border + 1, 2 * limits.border + 1))
    inner = cv.erode(seen, edge, borderType=cv.BORDER_CONSTANT, borderValue=0)
    ratio[inner < 250] = 0
    strong = (ratio >= 1).astype(np.uint8)
    join = cv.getStructuringElement(cv.MORPH_ELLIPSE, (limits.join, limits.join))
    merged = cv.morphologyEx(strong, cv.MORPH_CLOSE, join)
    count, labels, stats, _ = cv.connectedComponentsWithStats(merged, connectivity=8)
    if count < 2:
        return []
    inside = np.bincount(labels.ravel(), weights=ratio.ravel(), minlength=count)
    area = stats[:, cv.CC_STAT_AREA]
    order = [int(i) for i in np.argsort(-inside) if i > 0 and area[i] >= limits.area][:most]
    half = (found.shape[1] // 2, found.shape[0] // 2)
    pictures = _Pictures(
        found, left, ratio,
        cv.resize(found, half, interpolation=cv.INTER_AREA), cv.resize(left, half, interpolation=cv.INTER_AREA),
    )  # fmt: skip
    made = [_measured(pictures, labels, stats[i], i, limits) for i in order]
    return [blob for blob in made if blob is not None]


@dataclass(frozen=True, slots=True, eq=False)
class _Pictures:
    found: Image
    left: Image
    ratio: Floats
    half_found: Image
    half_left: Image


def _measured(p: _Pictures, labels: Any, stat: Any, label: int, limits: Limits) -> Blob | None:
    import numpy as np

    cv = cv2()
    x, y, w, h = (int(v) for v in stat[:4])
    own = labels[y : y + h, x : x + w] == label
    solid = cv.copyMakeBorder(own.astype(np.uint8), 1, 1, 1, 1, cv.BORDER_CONSTANT)
    thick = float(cv.distanceTransform(solid, cv.DIST_L2, 3).max())
    if thick <= limits.thick:
        return None
    level = p.ratio[y : y + h, x : x + w] * own
    high = float(np.percentile(level[own], 95))
    core = level >= max(1.0, 0.22 * high)
    bx, by, bw, bh = cv.boundingRect(core.astype(np.uint8))
    box = (x + bx, y + by, bw, bh)
    area = int(np.count_nonzero(core))
    if area == 0:
        return None
    strength, fill = float(level[core].mean()), area / (bw * bh)
    unlike = _distribution(p, (x, y, w, h), own, limits)
    weight = unlike / limits.distribution * min(1.5, max(0.4, strength / 1.8))
    weight *= min(1.0, fill / 0.15) * min(1.0, thick / limits.solid)
    ring = about = float("inf")
    busier = 0.0
    if weight >= 1:
        ring, about, busier = _around(p, box, limits, ask=unlike < limits.sure)
    return Blob(box, area, strength, unlike, ring, about, thick, fill, busier, weight)


def worth_telling(places: list[Blob], limits: Limits) -> list[Blob]:
    """The blobs that stand out, likeliest first.

    Left out are round things that were only turned, and what is no stronger than the
    clutter the pair shows in many places (edges of tall parts, shadows): that limit is
    raised up to `limits.clear`, above which a place is always told.
    """
    kept = [b for b in places if b.weight >= 1 and not only_turned(b, limits)]
    kept.sort(key=lambda b: -b.weight)
    clutter = kept[limits.few].weight if len(kept) > limits.few else 0.0
    least = max(1.0, min(limits.clear, 1.25 * clutter))
    return [b for b in kept if b.weight >= least]


def only_turned(blob: Blob, limits: Limits) -> bool:
    """Whether it is most likely a round thing that was turned about its own axis."""
    solid = blob.fill > 0.58  # a recess leaves gaps; a head that is gone does not
    if blob.ring < (0.75 * limits.ring if solid else limits.ring):
        return True
    return blob.about < 6.0 and max(blob.box[2:]) <= 0.67 * limits.round


def _distribution(p: _Pictures, box: tuple[int, int, int, int], own: Any, limits: Limits) -> float:
    """Largest local distance of distributions inside a blob, measured at half size."""
    import numpy as np

    cv = cv2()
    x, y, w, h = box
    margin = int(2 * limits.window)
    height, width = p.half_found.shape[:2]
    x0, x1 = max(0, x // 2 - margin), min(width, (x + w) // 2 + margin)
    y0, y1 = max(0, y // 2 - margin), min(height, (y + h) // 2 + margin)
    local = distribution_map(p.half_found[y0:y1, x0:x1], p.half_left[y0:y1, x0:x1], limits.window / 2)
    inside = np.zeros((2 * (y1 - y0), 2 * (x1 - x0)), np.uint8)
    part = inside[y - 2 * y0 : y - 2 * y0 + h, x - 2 * x0 : x - 2 * x0 + w]
    part[:] = own[: part.shape[0], : part.shape[1]]
    mask = cv.resize(inside, (x1 - x0, y1 - y0), interpolation=cv.INTER_AREA)
    return float(local[mask > 0].max()) if mask.any() else 0.0


def _around(
    p: _Pictures, box: tuple[int, int, int, int], limits: Limits, *, ask: bool
) -> tuple[float, float, float]:
    """Ring distance of round things there, ring distance about the middle, and the ratio of detail."""
    x, y, w, h = box
    margin = 20 + max(w, h) // 2 if max(w, h) <= limits.round else 8
    y0, y1 = max(0, y - margin), min(p.ratio.shape[0], y + h + margin)
    x0, x1 = max(0, x - margin), min(p.ratio.shape[1], x + w + margin)
    a, b = p.found[y0:y1, x0:x1], p.left[y0:y1, x0:x1]
    ring = about = float("inf")
    if ask and max(w, h) <= limits.round:
        local = (x - x0, y - y0, w, h)
        ring = turned(a, b, local, limits)
        if min(w, h) > 0.5 * max(w, h):
            middle = (local[0] + (w - 1) / 2, local[1] + (h - 1) / 2)
            about = ring_distance(a, b, middle, 0.575 * max(w, h) + 1)
    return ring, about, _busier(p.found[y : y + h, x : x + w], p.left[y : y + h, x : x + w])


def _busier(a: Image, b: Image) -> float:
    import numpy as np

    cv = cv2()
    detail = [float(np.abs(cv.Laplacian(p, cv.CV_16S)).mean()) + 1.0 for p in (a, b)]
    return float(np.log(detail[1] / detail[0]))
