"""Laying one photo of a device over another: homography of the main plane, and parallax on top.

Works on arrays alone. Says honestly when it cannot tell, and why. Does not judge what
differs between the pictures: that is residual.py and compare.py.

Method: ORB points (SIFT where these fail) and a MAGSAC homography; dense inverse search
flow (Kroeger et al., ECCV 2016) on locally normalised greys sharpens it to a tenth of a
pixel; what the flow shows beyond the plane, smoothed so far that a part that was moved
cannot explain itself away, is the parallax of taller parts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]
    Floats = NDArray[np.float32]

# Sides in pixels: the pictures are compared at WORK, points are sought at POINTS, flow is
# computed at FLOW. Less than SMALLEST is refused.
WORK, POINTS, FLOW, SMALLEST = 1280, 960, 640, 64
LARGEST = 100_000_000
BLOCK = 4  # pixels of the flow picture in one cell of the parallax field
MOST_PARALLAX = 6.0  # pixels of the flow picture
ENOUGH_MATCHES = 24

CLEAR_REASONS = {
    "small": "One of the pictures is too small to compare; use photos of at least 64 pixels a side.",
    "dark": "One of the pictures is almost black or almost white; switch the lamp on and take it again.",
    "plain": "One of the pictures shows too little detail to lay them over each other; "
    "come nearer, or bring it into focus.",
    "mirror": "One of the pictures is mirrored; switch mirroring off and take it again.",
    "other": "The pictures do not seem to show the same side of the same device; check which photos were chosen.",
    "overlap": "The pictures show too little in common; put the device back to where the first photo was taken.",
    "light": "The light is too different between the pictures; use the same lamp and take it again.",
}


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """What is kept of a photo so that it can be compared again quickly.

    size: (width, height) of the photo. work: the photo at most 1280 pixels wide or high,
    (h, w, 3) uint8 BGR; scale: pixels of work per pixel of the photo. About 4 MB.
    """

    size: tuple[int, int]
    scale: float
    work: Image
    flow_grey: Image
    points_grey: Image
    points: Floats
    marks: Image
    texture: Floats
    level: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """How as-left lies over as-found.

    aligned: False where it cannot be told; `reason` is then one sentence, else empty.
    homography: (3, 3) float64, pixels of as-found to pixels of as-left, or None.
    field: (h, w, 2) float32, what the visible surface is displaced beyond the homography,
    in pixels of as-left, one cell for each stretch of `cell` pixels of as-found, or None.
    matches: how many points agree.
    """

    aligned: bool
    reason: str
    homography: NDArray[np.float64] | None = None
    field: Floats | None = None
    cell: float = 1.0
    matches: int = 0

    def to_left(self, points: Any) -> NDArray[np.float64]:
        """Where points (n, 2) of as-found lie in as-left, (n, 2) in pixels.

        Raises ValueError where the pictures are not aligned.
        """
        import numpy as np

        if self.homography is None:
            raise ValueError("The pictures are not aligned.")
        spots = np.asarray(points, np.float64).reshape(-1, 2)
        flat = np.c_[spots, np.ones(len(spots))] @ self.homography.T
        found = flat[:, :2] / flat[:, 2:]
        if self.field is not None and len(spots):
            cv = cv2()
            at = ((spots + 0.5) / self.cell - 0.5).astype(np.float32).reshape(1, -1, 2)
            found = found + cv.remap(self.field, at, None, cv.INTER_LINEAR, borderMode=cv.BORDER_REPLICATE)[0]
        return found


def checked_picture(image: Any) -> Image:
    """The picture as (H, W, 3) uint8 BGR, from grey, BGR or BGRA of 8 or 16 bit.

    Alpha is laid over white. Raises ValueError with one sentence for anything else.
    """
    import numpy as np

    array = np.asarray(image)
    if array.ndim == 2:
        array = array[:, :, None]
    if array.ndim != 3 or array.shape[2] not in (1, 3, 4) or 0 in array.shape:
        raise ValueError(f"A picture must be (H, W), (H, W, 3) or (H, W, 4), not {np.asarray(image).shape}.")
    if array.shape[0] * array.shape[1] > LARGEST:
        raise ValueError("The picture is larger than 100 megapixels; use a smaller one.")
    if array.dtype == np.uint16:
        array = (array >> 8).astype(np.uint8)
    if array.dtype != np.uint8:
        raise ValueError(f"A picture must hold 8 or 16 bit values, not {array.dtype}.")
    if array.shape[2] == 1:
        array = np.repeat(array, 3, axis=2)
    elif array.shape[2] == 4:
        alpha = array[:, :, 3:].astype(np.uint16)
        array = ((array[:, :, :3] * alpha + 255 * (255 - alpha)) // 255).astype(np.uint8)
    return np.ascontiguousarray(array)


def features(photo: Any, *, work: int = WORK) -> Features:
    """Prepare a photo for comparing: (H, W, 3) uint8 BGR, or what `checked_picture` takes.

    Keep the result for the as-found photo; it is good for any number of comparisons.
    work: longest side at which pictures are compared. Raises ValueError as `checked_picture`.
    """
    import numpy as np

    cv = cv2()
    image = checked_picture(photo)
    height, width = image.shape[:2]
    longest = max(width, height)
    scale = min(1.0, work / longest)
    small = _shrunk(image, scale)
    grey = cv.cvtColor(small, cv.COLOR_BGR2GRAY)
    points_grey = _shrunk(grey, min(1.0, POINTS / max(grey.shape)))
    flow_grey = normalised(_shrunk(grey, min(1.0, FLOW / max(grey.shape))))
    spots, marks = _orb(points_grey, longest)
    low, high = np.percentile(points_grey[::4, ::4], (2, 95)) if points_grey.size else (0.0, 0.0)
    return Features(
        (width, height), scale, small, flow_grey, points_grey, spots, marks, _texture(flow_grey),
        (float(low), float(high)),
    )  # fmt: skip


def align(
    before: Features | Any, after: Features | Any, *, guess: Any = None, thorough: bool = True
) -> Alignment:
    """Find how the as-left photo `after` lies over the as-found photo `before`.

    Either may be a picture or its `features`. guess: homography (3, 3) of a nearby earlier
    alignment, as-found to as-left, tried first; saves the search for points. thorough: also
    try the slower points (SIFT), and find out why it failed.
    Never raises for pictures that cannot be aligned: `aligned` is False and `reason` says why.
    """
    import numpy as np

    found = before if isinstance(before, Features) else features(before)
    left = after if isinstance(after, Features) else features(after)
    poor = _unusable(found, left)
    if poor:
        return Alignment(False, CLEAR_REASONS[poor])
    if guess is not None:
        close = _refined(found, left, np.asarray(guess, np.float64).reshape(3, 3), 0)
        if close.aligned:
            return close
    first, matches = _plane_from_points(found, left)
    if first is not None:
        close = _refined(found, left, first, matches)
        if close.aligned:
            return close
    if not thorough:
        return Alignment(False, CLEAR_REASONS["other"], matches=matches)
    first, matches = _plane_from_sift(found, left)
    if first is not None:
        close = _refined(found, left, first, matches)
        if close.aligned or close.reason != CLEAR_REASONS["other"]:
            return close
    return Alignment(False, CLEAR_REASONS[_why_not(found, left)], matches=matches)


# -- preparing


def _shrunk(image: Image, factor: float) -> Image:
    cv = cv2()
    if factor >= 1:
        return image
    size = (max(1, round(image.shape[1] * factor)), max(1, round(image.shape[0] * factor)))
    return cv.resize(image, size, interpolation=cv.INTER_AREA)


def normalised(grey: Image, side: int = 25) -> Image:
    """Grey with local mean and contrast taken out, so that light and exposure do not matter."""
    import numpy as np

    cv = cv2()
    exact = grey.astype(np.float32)
    mean = cv.boxFilter(exact, -1, (side, side))
    spread = np.sqrt(
        np.maximum(cv.sqrBoxFilter(grey, cv.CV_32F, (side, side)) - mean * mean, np.float32(36.0))
    )
    return cv.convertScaleAbs((exact - mean) / spread, alpha=42.0, beta=128.0)


def _texture(grey: Image) -> Floats:
    """Smaller eigenvalue of the structure tensor, one cell a block: 0 where flow cannot be known."""
    cv = cv2()
    smaller = cv.cornerMinEigenVal(grey, 5)
    size = (max(1, grey.shape[1] // BLOCK), max(1, grey.shape[0] // BLOCK))
    return cv.resize(smaller, size, interpolation=cv.INTER_AREA)


def _orb(grey: Image, longest: int) -> tuple[Floats, Image]:
    """Points in pixels of the photo whose longest side is given, and their descriptors."""
    import numpy as np

    cv = cv2()
    if min(grey.shape) < SMALLEST:
        return np.zeros((0, 2), np.float32), np.zeros((0, 32), np.uint8)
    orb = cv.ORB_create(nfeatures=1800, nlevels=5, scaleFactor=1.25, fastThreshold=12)
    spots, marks = orb.detectAndCompute(grey, None)
    if marks is None:
        return np.zeros((0, 2), np.float32), np.zeros((0, 32), np.uint8)
    factor = longest / max(grey.shape)
    return (cv.KeyPoint_convert(spots).astype(np.float32) + 0.5) * factor - 0.5, marks


def _unusable(found: Features, left: Features) -> str:
    if min(*found.size, *left.size) < SMALLEST:
        return "small"
    for each in (found, left):
        low, high = each.level
        if high < 18 or low > 248:
            return "dark"
        if high - low < 6:
            return "plain"
    return ""


# -- from points to a plane; homographies here are in pixels of the photos


def _plane_from_points(found: Features, left: Features) -> tuple[Any, int]:
    cv = cv2()
    if min(len(found.marks), len(left.marks)) < ENOUGH_MATCHES:
        return None, 0
    pairs = cv.BFMatcher(cv.NORM_HAMMING).knnMatch(found.marks, left.marks, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.82 * p[1].distance]
    return _plane(found, left, found.points, left.points, good)


def _plane_from_sift(found: Features, left: Features) -> tuple[Any, int]:
    import numpy as np

    cv = cv2()
    sift = cv.SIFT_create(nfeatures=2000, contrastThreshold=0.02)
    sets = []
    for each in (found, left):
        spots, marks = sift.detectAndCompute(each.points_grey, None)
        if marks is None or len(spots) < ENOUGH_MATCHES:
            return None, 0
        marks = np.sqrt(marks / (marks.sum(1, keepdims=True) + 1e-6))
        factor = max(each.size) / max(each.points_grey.shape)
        sets.append(((cv.KeyPoint_convert(spots).astype(np.float32) + 0.5) * factor - 0.5, marks))
    pairs = cv.BFMatcher(cv.NORM_L2).knnMatch(sets[0][1], sets[1][1], k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    return _plane(found, left, sets[0][0], sets[1][0], good)


def _plane(found: Features, left: Features, a: Floats, b: Floats, good: list[Any]) -> tuple[Any, int]:
    import numpy as np

    cv = cv2()
    if len(good) < ENOUGH_MATCHES:
        return None, len(good)
    a = a[np.fromiter((m.queryIdx for m in good), int, len(good))]
    b = b[np.fromiter((m.trainIdx for m in good), int, len(good))]
    cv.setRNGSeed(7)
    reach = 3.0 * max(left.size) / POINTS
    plane, agree = cv.findHomography(a, b, cv.USAC_MAGSAC, max(1.0, reach), maxIters=3000, confidence=0.999)
    count = 0 if agree is None else int(agree.sum())
    if plane is None or count < ENOUGH_MATCHES or not _plausible(plane, found.size):
        return None, count
    return plane, count


def _plausible(plane: Any, size: tuple[int, int]) -> bool:
    """Whether a camera could have seen it: not mirrored, not folded, not a hundredfold scale."""
    import numpy as np

    width, height = size
    corners = np.array([[0, 0, 1], [width, 0, 1], [width, height, 1], [0, height, 1]], float) @ plane.T
    if (corners[:, 2] <= 0).any():
        return False
    x, y = (corners[:, :2] / corners[:, 2:]).T
    turns = [
        (x[(i + 1) % 4] - x[i]) * (y[(i + 2) % 4] - y[(i + 1) % 4])
        - (y[(i + 1) % 4] - y[i]) * (x[(i + 2) % 4] - x[(i + 1) % 4])
        for i in range(4)
    ]
    area = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))
    return all(t > 0 for t in turns) and 0.04 < area / (width * height) < 25 * 4


# -- from a plane to a fraction of a pixel


def scaling(factor: float) -> NDArray[np.float64]:
    """Matrix from pixels of a picture to pixels of the same picture resized by `factor`."""
    import numpy as np

    half = 0.5 * factor - 0.5
    return np.array([[factor, 0, half], [0, factor, half], [0, 0, 1.0]])


def _refined(found: Features, left: Features, plane: Any, matches: int) -> Alignment:
    import numpy as np

    cv = cv2()
    height, width = found.flow_grey.shape
    to_found = scaling(width / found.size[0])
    to_left = scaling(left.flow_grey.shape[1] / left.size[0])
    local = to_left @ plane @ np.linalg.inv(to_found)
    how = cv.INTER_LINEAR | cv.WARP_INVERSE_MAP
    moved = cv.warpPerspective(left.flow_grey, local, (width, height), flags=how, borderValue=128)
    inside = cv.warpPerspective(
        np.full(left.flow_grey.shape, 255, np.uint8), local, (width, height), flags=how
    )
    if np.count_nonzero(inside) < 0.25 * inside.size:
        return Alignment(False, CLEAR_REASONS["overlap"], matches=matches)
    flow = cv.DISOpticalFlow_create(cv.DISOPTICAL_FLOW_PRESET_FAST)
    shift = flow.calc(found.flow_grey, moved, None)
    cells = found.texture.shape[::-1]
    shift = cv.resize(shift, cells, interpolation=cv.INTER_AREA)
    seen = cv.resize(inside, cells, interpolation=cv.INTER_AREA) > 250
    sharp = _sharpened(found, local, shift, seen)
    if sharp is None:
        return Alignment(False, CLEAR_REASONS["other"], matches=matches)
    local, beyond = sharp
    grown = np.linalg.inv(to_left)
    full = grown @ local @ to_found
    field = _parallax(beyond, found.texture * seen) * np.float32(grown[0, 0])
    if not _agree(found, left, local, field / np.float32(grown[0, 0]), seen):
        return Alignment(False, CLEAR_REASONS["other"], matches=matches)
    return Alignment(True, "", full / full[2, 2], field, BLOCK * found.size[0] / width, matches)


def _cell_centres(cells: tuple[int, int], size: tuple[int, int]) -> Floats:
    import numpy as np

    x = (np.arange(cells[0], dtype=np.float32) + 0.5) * (size[0] / cells[0]) - 0.5
    y = (np.arange(cells[1], dtype=np.float32) + 0.5) * (size[1] / cells[1]) - 0.5
    return np.stack(np.meshgrid(x, y), axis=-1)


def _sharpened(found: Features, local: Any, shift: Floats, seen: Any) -> tuple[Any, Floats] | None:
    """The plane fitted to the flow where there is texture, and what the flow shows beyond it."""
    import numpy as np

    cv = cv2()
    height, width = found.flow_grey.shape
    at = _cell_centres(found.texture.shape[::-1], (width, height))
    strong = found.texture > max(1e-4, float(np.median(found.texture)))
    use = strong & seen
    if np.count_nonzero(use) < 200:
        use = seen
    if np.count_nonzero(use) < 50:
        return None
    lands = cv.perspectiveTransform((at + shift).reshape(1, -1, 2), local).reshape(at.shape)
    source, target = at[use], lands[use]
    step = max(1, len(source) // 4000)
    cv.setRNGSeed(7)
    plane, _ = cv.findHomography(
        source[::step], target[::step], cv.USAC_MAGSAC, 0.7, maxIters=800, confidence=0.99
    )
    if plane is None or not _plausible(plane, (width, height)):
        return None
    flat = cv.perspectiveTransform(at.reshape(1, -1, 2), plane).reshape(at.shape)
    return plane, (lands - flat).astype(np.float32)


def _parallax(beyond: Floats, texture: Floats) -> Floats:
    """Smooth the flow beyond the plane: medians over a part's size, pulled to zero where nothing is known."""
    import numpy as np

    cv = cv2()
    step = 2 * MOST_PARALLAX / 255
    coded = np.clip(np.rint((beyond + MOST_PARALLAX) / step), 0, 255).astype(np.uint8)
    calm = cv.merge([cv.medianBlur(each, 7) for each in cv.split(coded)])
    calm = calm.astype(np.float32) * np.float32(step) - np.float32(MOST_PARALLAX)
    weight = np.minimum(texture, 4 * float(np.median(texture)) + 1e-6)
    prior = np.float32(0.08 * float(np.median(weight)) + 1e-6)
    summed = cv.GaussianBlur(calm * weight[:, :, None], (0, 0), 1.5)
    share = cv.GaussianBlur(weight, (0, 0), 1.5)
    return summed / (share + prior)[:, :, None]


def _agree(found: Features, left: Features, local: Any, field: Floats, seen: Any) -> bool:
    """Whether the pictures look alike where they should: local correlation over textured blocks."""
    import numpy as np

    cv = cv2()
    height, width = found.flow_grey.shape
    moved = cv.remap(left.flow_grey, field_map(local, field, (width, height)), None, cv.INTER_LINEAR)
    side = max(8, min(width, height) // 16)
    cells = (max(1, width // side), max(1, height // side))
    a = found.flow_grey.astype(np.float32) - 128
    b = moved.astype(np.float32) - 128
    together = cv.resize(a * b, cells, interpolation=cv.INTER_AREA)
    alone = (
        cv.resize(a * a, cells, interpolation=cv.INTER_AREA),
        cv.resize(b * b, cells, interpolation=cv.INTER_AREA),
    )
    alike = together / np.sqrt(alone[0] * alone[1] + 1.0)
    known = cv.resize(seen.astype(np.float32), cells, interpolation=cv.INTER_AREA) > 0.9
    if np.count_nonzero(known) < 6:
        return False
    return float(np.median(alike[known])) > 0.35


def field_map(plane: Any, field: Floats | None, size: tuple[int, int]) -> Floats:
    """For every pixel of a (width, height) picture, where it is found in the other: (h, w, 2) float32.

    plane and field are both in the pixels of these very pictures.
    """
    import numpy as np

    cv = cv2()
    width, height = size
    x, y = np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32)
    m = np.asarray(plane, np.float32) / np.float32(plane[2][2])
    below = (m[2, 0] * x)[None] + (m[2, 1] * y + m[2, 2])[:, None]
    at = np.empty((height, width, 2), np.float32)
    at[..., 0] = ((m[0, 0] * x)[None] + (m[0, 1] * y + m[0, 2])[:, None]) / below
    at[..., 1] = ((m[1, 0] * x)[None] + (m[1, 1] * y + m[1, 2])[:, None]) / below
    if field is not None:
        at += cv.resize(field, (width, height), interpolation=cv.INTER_LINEAR)
    return at


def _why_not(found: Features, left: Features) -> str:
    """The likeliest reason, once nothing fitted."""
    cv = cv2()
    if min(len(found.points), len(left.points)) < 80:
        return "plain"
    flipped, marks = _orb(cv.flip(left.points_grey, 1), max(left.size))
    pairs = cv.BFMatcher(cv.NORM_HAMMING).knnMatch(found.marks, marks, k=2) if len(marks) > 1 else []
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.82 * p[1].distance]
    if _plane(found, left, found.points, flipped, good)[0] is not None:
        return "mirror"
    bright = sorted((found.level[1], left.level[1]))
    if bright[0] < 0.3 * bright[1]:
        return "light"
    return "other"
