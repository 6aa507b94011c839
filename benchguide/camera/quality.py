"""Whether a photo is good enough to find the way back by: focus, shake, light, glare. Told in words with the remedy.

Judges pixels only. Whether the photo is kept all the same is for the person to say.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from benchguide.camera.opencv import cv2
from benchguide.camera.sharpness import Sharpness, sharpness, steepness

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
#: glare in smaller patches than this share is the glint of a screw
GLINT_SHARE = 0.0002


@dataclass(frozen=True, slots=True)
class Reason:
    """One fault of a photo: which, and a sentence with the remedy."""

    fault: Fault
    sentence: str


@dataclass(frozen=True, slots=True)
class PhotoVerdict:
    """What was found. `reasons` is empty for a good photo; the first is the one to mend first.

    sharp, sharp_worst_way: see `Sharpness`. bright: grey level that a twentieth of the picture exceeds.
    glare: share of the region without drawing, 0 to 1.
    """

    reasons: tuple[Reason, ...]
    sharp: float | None
    sharp_worst_way: float | None
    bright: float
    glare: float

    @property
    def good(self) -> bool:
        """True when nothing was found."""
        return not self.reasons

    @property
    def sentence(self) -> str:
        """One sentence for a person."""
        return self.reasons[0].sentence if self.reasons else "The photo is sharp and well lit."

    def to_json(self) -> dict[str, Any]:
        """verdict (good or poor), reasons (fault, sentence), and the figures."""
        figures = {key: value for key, value in asdict(self).items() if key != "reasons"}
        return {
            "verdict": "good" if self.good else "poor",
            "reasons": [asdict(reason) for reason in self.reasons],
            **{key: None if value is None else round(value, 4) for key, value in figures.items()},
        }


class Best:
    """The sharpest picture of one view so far; forget it when the view changes (next step)."""

    def __init__(self) -> None:
        self.sharpness = Sharpness(None, None)

    def see(self, found: Sharpness) -> None:
        """Remember what is better."""
        self.sharpness = Sharpness(
            _larger(self.sharpness.all_ways, found.all_ways),
            _larger(self.sharpness.worst_way, found.worst_way),
        )

    def forget(self) -> None:
        """Begin anew."""
        self.sharpness = Sharpness(None, None)


def _larger(one: float | None, other: float | None) -> float | None:
    if one is None or other is None:
        return other if one is None else one
    return max(one, other)


def judge_photo(
    image: NDArray[np.uint8],
    *,
    region: Region | None = None,
    best: Sharpness | None = None,
    before: NDArray[np.uint8] | None = None,
    frozen: bool = False,
    what: str = "the part",
) -> PhotoVerdict:
    """Judge one photo, (H, W, 3) BGR uint8, in about 80 ms of one core at 1080p.

    region: where the part of this step is; light and glare are judged there. best: the sharpest of the same view
    so far. before: an earlier photo of the same region, against which glare may not have grown. frozen: the camera
    repeats one picture. what: the part, as it is to stand in the sentences.
    Raises ValueError for what is no such picture.
    """
    _check(image)
    if min(image.shape[:2]) < 16:
        raise ValueError(f"A picture of {image.shape[1]} x {image.shape[0]} pixels is too small to judge.")
    place = _cut(image, region)
    bright, spread = _light(place)
    glare = _glare(place)[0]
    burnt = _glare(image)[1]
    found = sharpness(image)
    reasons: list[Reason] = []
    if frozen:
        reasons.append(Reason("frozen", "The camera repeats one picture: unplug it and plug it in again."))
    reasons += _of_light(bright, spread, burnt, edges=found.all_ways is not None)
    if not any(reason.fault in ("covered", "burnt-out") for reason in reasons):
        reasons += _of_glare(glare, before, region, what)
        reasons += _of_edges(found, best)
    return PhotoVerdict(tuple(reasons), found.all_ways, found.worst_way, bright, glare)


def sharpest(images: Sequence[NDArray[np.uint8]]) -> int:
    """Index of the sharpest of several pictures of one view; the last where none has edges."""
    values = [steepness(image) or 0.0 for image in images]
    return max(range(len(values)), key=lambda index: (values[index], index))


def _check(image: NDArray[np.uint8]) -> None:
    if image.ndim != 3 or image.shape[2] != 3 or str(image.dtype) != "uint8":
        raise ValueError(f"A picture must be (H, W, 3) uint8, not {image.shape} {image.dtype}.")


def _cut(image: NDArray[np.uint8], region: Region | None) -> NDArray[np.uint8]:
    """The part of the picture a region names, at least 8 pixels a side."""
    if region is None:
        return image
    height, width = image.shape[:2]
    left, top = max(0, round(region[0] * width)), max(0, round(region[1] * height))
    right, foot = round((region[0] + region[2]) * width), round((region[1] + region[3]) * height)
    cut = image[top : max(foot, top + 8), left : max(right, left + 8)]
    return cut if min(cut.shape[:2]) >= 8 else image


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


def _glare(place: NDArray[np.uint8]) -> tuple[float, float]:
    """Shares of pixels without drawing: in patches larger than a glint, and in all."""
    import numpy as np

    cv = cv2()
    small = place if place.shape[1] <= 960 else place[::2, ::2]
    mask = (small.min(axis=2) >= BURNT).astype(np.uint8)
    total = float(mask.mean())
    if total == 0.0:
        return 0.0, 0.0
    _, _, stats, _ = cv.connectedComponentsWithStats(mask, connectivity=8)
    sizes = stats[1:, cv.CC_STAT_AREA]
    return float(sizes[sizes > GLINT_SHARE * mask.size].sum() / mask.size), total


def _of_glare(
    glare: float, before: NDArray[np.uint8] | None, region: Region | None, what: str
) -> list[Reason]:
    if before is not None:
        _check(before)
        bad = glare - _glare(_cut(before, region))[0] > GLARE_GROWTH
    else:
        bad = glare > GLARE_SHARE
    return [Reason("glare", f"Glare over {what}: turn the lamp or the device a little.")] if bad else []


def _of_edges(found: Sharpness, best: Sharpness | None) -> list[Reason]:
    """Out of focus or shaken, or neither; too few edges is not told as a fault of the photo."""
    if found.all_ways is None:
        return []
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
