"""Whether a photo is good enough to find the way back by: focus, shake, light, glare. Told in words with the remedy.

Judges pixels only. Whether the photo is kept all the same is for the person to say.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from benchguide.camera.opencv import cv2
from benchguide.camera.sharpness import WIDTH, Sharpness, sharpness, steepness, steepness_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

Fault = Literal["covered", "dark", "burnt-out", "glare", "shaken", "out-of-focus", "frozen", "plain"]

#: (x, y, width, height) as shares of the picture, 0 to 1
Region = tuple[float, float, float, float]

#: Judged on its own, a photo with edges softer than this is poor: one sharp photo in twenty is (bench_quality.py).
FOCUS_FLOOR, SHAKE_FLOOR = 0.305, 0.28
#: ... and this far below the best picture of the same view
OF_BEST = 0.96
#: a blur is told as shaking when one direction has lost this much more than all together
ONE_WAY = 0.95
#: the brightest twentieth of the picture is darker than this (grey of 255)
DARK = 70
#: ... and darker than this, without an edge in it, it shows no bench at all
COVERED = 40
#: a pixel without any drawing left
BURNT = 248
#: share of the region that may be glare, and burnt out as a whole
GLARE_SHARE, BURNT_SHARE = 0.005, 0.25
#: share that glare may grow against the photo before
GLARE_GROWTH = 0.002
#: glare in smaller patches than this share of the picture is the glint of a screw; over a part, so is any that covers
#: less than the second share of it
GLINT_SHARE, GLINT_OF_PART = 0.0002, 0.04
#: focus over one part: looked at in a square of at least this many pixels a side at 640 pixels width, as a part alone
#: has few edges, and poor when softer than this (few sharp places are, bench_quality.py), or this far
#: below the best of the same view
PART_SIDE, PART_FLOOR, PART_OF_BEST = 96, 0.255, 0.9
#: light over a part is judged in this many times its size: a black plug is no dark picture
LIGHT_AROUND, LIGHT_LEAST = 2.5, 0.3


@dataclass(frozen=True, slots=True)
class Reason:
    """One fault of a photo: which, and a sentence with the remedy."""

    fault: Fault
    sentence: str


@dataclass(frozen=True, slots=True)
class PartShown:
    """Where a part lies in a photo: name as it is to stand in sentences, outline as shares of the picture, and the
    share of it that glare covered in an earlier photo of it (None where there is none).
    """

    name: str
    region: Region
    glare_before: float | None = None


@dataclass(frozen=True, slots=True)
class PhotoVerdict:
    """What was found. `reasons` is empty for a good photo; the first is the one to mend first.

    sharp, sharp_worst_way: see `Sharpness`. bright: grey level that a twentieth of the picture exceeds.
    glare: share of the region without drawing, 0 to 1; of the part where it is largest. part_sharp: steepness of the
    edges at each part that was looked at by itself, None where it has too few. place: in words, what light and glare
    were judged over.
    """

    reasons: tuple[Reason, ...]
    sharp: float | None
    sharp_worst_way: float | None
    bright: float
    glare: float
    part_sharp: tuple[float | None, ...] = ()
    place: str = "the whole picture"

    @property
    def good(self) -> bool:
        """True when nothing was found."""
        return not self.reasons

    @property
    def sentence(self) -> str:
        """One sentence for a person."""
        if self.reasons:
            return self.reasons[0].sentence
        return f"Sharp and well lit, judged over {self.place}."

    def to_json(self) -> dict[str, Any]:
        """verdict (good or poor), reasons (fault, sentence), and the figures."""
        figures = {name: getattr(self, name) for name in ("sharp", "sharp_worst_way", "bright", "glare")}
        return {
            "verdict": "good" if self.good else "poor",
            "reasons": [asdict(reason) for reason in self.reasons],
            **{key: None if value is None else round(value, 4) for key, value in figures.items()},
            "place": self.place,
        }


class Best:
    """The sharpest picture of one view so far; forget it when the view changes (next step)."""

    def __init__(self) -> None:
        self.sharpness = Sharpness(None, None)
        self.parts: tuple[float | None, ...] = ()

    def see(self, found: Sharpness, parts: tuple[float | None, ...] = ()) -> None:
        """Remember what is better; `parts` in the same order every time."""
        if parts:
            old = self.parts if len(self.parts) == len(parts) else (None,) * len(parts)
            self.parts = tuple(_larger(one, other) for one, other in zip(old, parts, strict=True))
        self.sharpness = Sharpness(
            _larger(self.sharpness.all_ways, found.all_ways),
            _larger(self.sharpness.worst_way, found.worst_way),
        )

    def forget(self) -> None:
        """Begin anew."""
        self.sharpness, self.parts = Sharpness(None, None), ()


def _larger(one: float | None, other: float | None) -> float | None:
    if one is None or other is None:
        return other if one is None else one
    return max(one, other)


def judge_photo(
    image: NDArray[np.uint8],
    *,
    region: Region | None = None,
    parts: Sequence[PartShown] = (),
    best: Best | None = None,
    before: NDArray[np.uint8] | None = None,
    frozen: bool = False,
    what: str = "the part",
    place: str = "",
) -> PhotoVerdict:
    """Judge one photo, (H, W, 3) BGR uint8, in about 80 ms of one core at 1080p.

    region: what matters where the outline of no part is known; light and glare are judged there. parts: the outlines
    of this step's parts; glare and focus are judged over each of them. best: the sharpest of the same view so far.
    before: an earlier photo of the same region, against which glare may not have grown. frozen: the camera repeats
    one picture. what: the part, as it is to stand in the sentences. place: words for what light and glare are judged
    over, instead of the usual ones. Raises ValueError for what is no such picture.
    """
    _check(image)
    if before is not None:
        _check(before)
    if min(image.shape[:2]) < 16:
        raise ValueError(f"A picture of {image.shape[1]} x {image.shape[0]} pixels is too small to judge.")
    glare = _glare(before, region)[0] if before is not None else None
    over = tuple(parts) or (PartShown(what, region or WHOLE, glare),)
    bright, spread = _light_over(image, parts, region)
    glares = [_glare(image, part.region)[0] for part in over]
    burnt = _glare(image, None)[1]
    found = sharpness(image)
    soft = tuple(_sharp_at(image, part.region) for part in parts)
    reasons: list[Reason] = []
    if frozen:
        reasons.append(Reason("frozen", "The camera repeats one picture: unplug it and plug it in again."))
    reasons += _of_light(bright, spread, burnt, edges=found.all_ways is not None)
    if not any(reason.fault in ("covered", "burnt-out") for reason in reasons):
        reasons += _of_glare(over, glares)
        reasons += _of_edges(found, best) or _of_parts(parts, soft, best)
    place = place or _place_words(parts, region)
    return PhotoVerdict(tuple(reasons), found.all_ways, found.worst_way, bright, max(glares), soft, place)


def glare_over(image: NDArray[np.uint8], region: Region | None = None) -> float:
    """Share of a region, 0 to 1, that glare covers in patches larger than a glint."""
    _check(image)
    return _glare(image, region)[0]


def _place_words(parts: Sequence[PartShown], region: Region | None) -> str:
    if parts:
        return f"the outline of {' and '.join(dict.fromkeys(part.name for part in parts))}"
    return "the middle of the picture" if region is not None else "the whole picture"


def sharpest(images: Sequence[NDArray[np.uint8]]) -> int:
    """Index of the sharpest of several pictures of one view; the last where none has edges."""
    values = [steepness(image) or 0.0 for image in images]
    return max(range(len(values)), key=lambda index: (values[index], index))


def _check(image: NDArray[np.uint8]) -> None:
    if image.ndim != 3 or image.shape[2] != 3 or str(image.dtype) != "uint8":
        raise ValueError(f"A picture must be (H, W, 3) uint8, not {image.shape} {image.dtype}.")


#: the region that is all of a picture
WHOLE: Region = (0.0, 0.0, 1.0, 1.0)


def _around(region: Region, times: float, least_wide: float, least_high: float) -> Region:
    """A region `times` as large about the same middle, of at least these shares of the picture each way."""
    wide, high = min(1.0, max(least_wide, times * region[2])), min(1.0, max(least_high, times * region[3]))
    left = min(max(0.0, region[0] + region[2] / 2 - wide / 2), 1 - wide)
    top = min(max(0.0, region[1] + region[3] / 2 - high / 2), 1 - high)
    return left, top, wide, high


def _cut(image: NDArray[np.uint8], region: Region | None) -> NDArray[np.uint8]:
    """The part of the picture a region names, at least 8 pixels a side."""
    if region is None:
        return image
    height, width = image.shape[:2]
    left, top = max(0, round(region[0] * width)), max(0, round(region[1] * height))
    right, foot = round((region[0] + region[2]) * width), round((region[1] + region[3]) * height)
    cut = image[top : max(foot, top + 8), left : max(right, left + 8)]
    return cut if min(cut.shape[:2]) >= 8 else image


def _light_over(
    image: NDArray[np.uint8], parts: Sequence[PartShown], region: Region | None
) -> tuple[float, float]:
    """Of the part that has the least light: bright end and spread of grey around it."""
    if not parts:
        return _light(_cut(image, region))
    return min(
        _light(_cut(image, _around(part.region, LIGHT_AROUND, LIGHT_LEAST, LIGHT_LEAST))) for part in parts
    )


def _light(place: NDArray[np.uint8]) -> tuple[float, float]:
    """Bright end (95 %) and spread (standard deviation) of grey."""
    import numpy as np

    cv = cv2()
    step = max(1, place.shape[1] // 480)
    grey = cv.cvtColor(np.ascontiguousarray(place[::step, ::step]), cv.COLOR_BGR2GRAY)
    return float(np.quantile(grey, 0.95)), float(grey.std())


def _of_light(bright: float, spread: float, burnt: float, *, edges: bool) -> list[Reason]:
    if bright < COVERED and not edges:
        return [Reason("covered", "The picture is black: take the cover off the lens, or put the light on.")]
    if burnt > BURNT_SHARE:
        return [
            Reason("burnt-out", "Burnt out: turn the lamp away, or set the camera to a shorter exposure.")
        ]
    if spread < 3:
        return [
            Reason("plain", "Nothing can be seen but one plain colour: is something held before the lens?")
        ]
    if bright < DARK:
        return [Reason("dark", "Too dark: bring the lamp nearer, or set the camera to a longer exposure.")]
    return []


def _glare(image: NDArray[np.uint8], region: Region | None) -> tuple[float, float]:
    """Shares of a region's pixels without drawing: in patches larger than a glint, and in all."""
    import numpy as np

    cv = cv2()
    place = _cut(image, region)
    small = place if place.shape[1] <= 960 else place[::2, ::2]
    # the smallest of the three colours, in passes that let other threads run
    mask = cv.inRange(np.ascontiguousarray(small), (BURNT,) * 3, (255,) * 3)
    total = cv.countNonZero(mask) / mask.size
    if total == 0.0:
        return 0.0, 0.0
    _, _, stats, _ = cv.connectedComponentsWithStats(mask, connectivity=8)
    sizes = stats[1:, cv.CC_STAT_AREA]
    whole = image.shape[0] * image.shape[1] / (1 if small is place else 4)
    glint = max(GLINT_SHARE * mask.size, min(GLINT_SHARE * whole, GLINT_OF_PART * mask.size))
    return float(sizes[sizes > glint].sum() / mask.size), total


def _of_glare(parts: Sequence[PartShown], glares: Sequence[float]) -> list[Reason]:
    bad = []
    for part, glare in zip(parts, glares, strict=True):
        limit = GLARE_SHARE if part.glare_before is None else part.glare_before + GLARE_GROWTH
        if glare > limit:
            bad.append(part.name)
    over = " and ".join(dict.fromkeys(bad))
    return [Reason("glare", f"Glare over {over}: turn the lamp or the device a little.")] if bad else []


def _sharp_at(image: NDArray[np.uint8], region: Region) -> float | None:
    """How steep the edges are at a part and close around it, on the scale of the whole picture's."""
    height, width = image.shape[:2]
    side = PART_SIDE / WIDTH
    return steepness_of(_cut(image, _around(region, 1.0, side, side * width / height)), width)


def _of_edges(found: Sharpness, seen: Best | None) -> list[Reason]:
    """Out of focus or shaken, or neither; too few edges is not told as a fault of the photo."""
    if found.all_ways is None:
        return []
    best = seen.sharpness if seen is not None else None
    focus_floor, shake_floor = FOCUS_FLOOR, SHAKE_FLOOR
    if best is not None and best.all_ways is not None:
        focus_floor = max(focus_floor, OF_BEST * best.all_ways)
    if best is not None and best.worst_way is not None:
        shake_floor = max(shake_floor, OF_BEST * best.worst_way)
    soft = found.all_ways < focus_floor
    one_way = found.worst_way is not None and found.worst_way < shake_floor
    if not soft and not one_way:
        return []
    lost_all = found.all_ways / focus_floor
    lost_one = (found.worst_way or 0.0) / shake_floor
    if one_way and lost_one < ONE_WAY * lost_all:
        return [Reason("shaken", "Shaken: rest the stand, let go of the table, and take it again.")]
    return [Reason("out-of-focus", "Out of focus: set the distance or touch the focus, and take it again.")]


def _of_parts(parts: Sequence[PartShown], sharp: Sequence[float | None], seen: Best | None) -> list[Reason]:
    """Parts that are out of focus in a picture that is sharp elsewhere."""
    best = seen.parts if seen is not None and len(seen.parts) == len(sharp) else (None,) * len(sharp)
    soft = [
        part.name
        for part, found, top in zip(parts, sharp, best, strict=True)
        if found is not None and found < max(PART_FLOOR, PART_OF_BEST * (top or 0.0))
    ]
    if not soft:
        return []
    over = " and ".join(dict.fromkeys(soft))
    return [Reason("out-of-focus", f"Out of focus at {over}: focus there, and take it again.")]
