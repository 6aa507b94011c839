"""A second look at one place that differs: does it vanish when its parts may be displaced as parallax displaces?

Taller parts shift against the board between two views, all in one direction and each by its
height. Small ones do so without the smooth displacement field noticing. Here the few places
that differ are tried again with the field taken out: every bit of either photo is looked for
in the other at the displacement of the board, or at one of two more that point the same way.
What is missing, extra or routed another way is found at none of them. A plain part that was
turned by little can pass for a displaced one, so a place that weighs more than the parallax
of the pair could make is left alone. Judges one place, knows nothing of parts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchguide.camera.laid import Laid
from benchguide.camera.opencv import cv2
from benchguide.camera.residual import Blob, Limits, only_turned, went_round

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8]
    Floats = NDArray[np.float32]

PATCH = 5  # pixels of a bit that must fit as a whole
ROOM = 12  # pixels looked at around a place, besides the displacement
LARGEST = 40_000  # pixels of a place; larger ones are no edge of a part
MODES = 2  # displacements besides that of the board
LIKE = 0.6  # cosine between them
MOST = 24  # places looked at again
GLINT = 0.5  # share of the largest screw that a glint or an arm of a recess may measure
MADE = 0.95  # largest weight a pixel of parallax makes
SMALL_PARALLAX = 1.5  # pixels the first look bears anyhow
INTACT = 0.62  # share of the excess from which a place stands as it is
PLAIN = 5.0  # remaining excess in limits from which it does, too


@dataclass(frozen=True, slots=True)
class Remainder:
    """What is left of a place: share of its excess (0 to 1), half thickness in pixels, largest excess in limits."""

    share: float
    thick: float
    peak: float


def looked_again(places: list[Blob], laid: Laid, limits: Limits) -> list[Blob]:
    """The places that stand, likeliest first, with their weight lowered where parallax explains them.

    Left out is what went round with a round thing, and all but the strongest.
    """
    reach = min(6.5, 1.2 * laid.parallax + 1.5)
    shifts = laid.parallax * 1.2 >= SMALL_PARALLAX
    standing = sorted(
        (b for b in places if b.weight >= 1 and not only_turned(b, limits)), key=lambda b: -b.weight
    )
    out = []
    for blob in standing[:MOST]:
        small = max(blob.box[2:]) <= GLINT * limits.round and blob.weight < limits.clear
        if small and went_round(laid.found, laid.left, blob.box, limits):
            continue
        if not shifts or blob.weight > MADE * laid.parallax:
            out.append(blob)
            continue
        rest = second_look(
            laid.found, laid.left, (laid.field, laid.cell), blob.box, limits.fine, limits.coarse, reach
        )
        if rest is not None and rest.share < INTACT:
            blob = replace(blob, weight=blob.weight * min(1.0, rest.peak / PLAIN))
        out.append(blob)
    return out


def second_look(
    found: Image, left: Image, field: tuple[Floats, float] | None, box: tuple[int, int, int, int],
    fine: float, coarse: float, reach: float,
) -> Remainder | None:  # fmt: skip
    """Look again at `box` (x, y, w, h); None where it is too large to be an edge.

    found, left: (h, w, 3) uint8, laid over each other. field: (rows, cols, 2) float32, by how
    much `left` was displaced to fit, in these pixels, and the pixels of one cell. fine, coarse:
    grey levels of the two interval tests (residual.Limits). reach: largest displacement tried.
    """
    import numpy as np

    x, y, w, h = box
    if w * h > LARGEST:
        return None
    n = max(2, int(reach))
    room = ROOM + n
    x0, y0 = max(0, x - room), max(0, y - room)
    x1, y1 = min(found.shape[1], x + w + room), min(found.shape[0], y + h + room)
    a, b = found[y0:y1, x0:x1], _undisplaced(left, field, (x0, y0, x1, y1))
    moves = [(i, j) for j in range(-n, n + 1) for i in range(-n, n + 1) if i * i + j * j <= reach * reach]
    inner = np.s_[max(0, y - y0 - 5) : y - y0 + h + 5, max(0, x - x0 - 5) : x - x0 + w + 5]
    fits = _fits(a, b, moves, n, (fine, coarse), inner)
    limit = round(fine * np.sqrt(0.35 + float(a[inner].mean()) / 140))
    return _explained(_widened(fits, moves), moves, limit)


def _undisplaced(left: Image, field: tuple[Floats, float] | None, part: tuple[int, int, int, int]) -> Image:
    """The part (x0, y0, x1, y1) of `left` as the plane alone would lay it."""
    import numpy as np

    cv = cv2()
    x0, y0, x1, y1 = part
    if field is None:
        return left[y0:y1, x0:x1]
    x, y = np.meshgrid(np.arange(x0, x1, dtype=np.float32), np.arange(y0, y1, dtype=np.float32))
    shift, cell = field
    local = cv.remap(
        shift, (x + 0.5) / np.float32(cell) - 0.5, (y + 0.5) / np.float32(cell) - 0.5, cv.INTER_LINEAR,
        borderMode=cv.BORDER_REPLICATE,
    )  # fmt: skip
    return cv.remap(
        left, x - local[..., 0], y - local[..., 1], cv.INTER_LINEAR, borderMode=cv.BORDER_REPLICATE
    )


def _tall(picture: Image, n: int, ratio: float) -> tuple[Image, Image, Image]:
    """Six padded planes one below the other (three channels at two scales), and the range around each pixel."""
    import numpy as np

    cv = cv2()
    soft = cv.GaussianBlur(picture, (0, 0), 1.2)
    softer = cv.GaussianBlur(picture, (0, 0), 2.8)
    out: list[list[Image]] = [[], [], []]
    for each, side in ((soft, 3), (softer, 5)):
        near = np.ones((side, side), np.uint8)
        for k, plane in enumerate((each, cv.erode(each, near), cv.dilate(each, near))):
            padded = cv.copyMakeBorder(plane, n, n, n, n, cv.BORDER_REPLICATE)
            if side == 5 and ratio != 1:
                padded = cv.convertScaleAbs(padded, alpha=ratio)
            out[k].extend(cv.split(padded))
    return tuple(np.concatenate(planes) for planes in out)  # type: ignore[return-value]


def _fits(
    a: Image,
    b: Image,
    moves: list[tuple[int, int]],
    n: int,
    limits: tuple[float, float],
    inner: tuple[slice, ...],
) -> NDArray[np.uint8]:
    """(moves, 2, h, w): how badly each bit of a fits b at each displacement, and each bit of b fits a.

    In grey levels of the fine test. A bit is a square around or beside the pixel, whichever fits best,
    so that it need not straddle an edge.
    """
    import numpy as np

    cv = cv2()
    h, w = a.shape[:2]
    # the coarse test is as strict at `coarse` levels as the fine one at `fine`: halved range, doubled excess
    extra = limits[0] / limits[1]
    a_mid, a_low, a_high = _tall(a, n, 1.0)
    b_mid, b_low, b_high = _tall(b, n, 1.0)
    rows = a_mid.shape[0] - 2 * n
    own = np.s_[n : n + rows, n : n + w]
    a_own, b_own = a_mid[own], b_mid[own]
    square = np.ones((PATCH, PATCH), np.uint8)
    step = h + 2 * n
    out = np.empty((len(moves), 2, *a[inner].shape[:2]), np.uint8)
    for k, (i, j) in enumerate(moves):
        for side, (mid, low, high, x, y) in enumerate(
            ((a_own, b_low, b_high, n + i, n + j), (b_own, a_low, a_high, n - i, n - j))
        ):
            part = np.s_[y : y + rows, x : x + w]
            over = cv.max(cv.subtract(mid, high[part]), cv.subtract(low[part], mid))
            planes = [over[p * step : p * step + h] for p in range(6)]
            one = cv.max(cv.max(planes[0], planes[1]), planes[2])
            two = cv.max(cv.max(planes[3], planes[4]), planes[5])
            worst = cv.max(one, cv.convertScaleAbs(two, alpha=extra))
            out[k, side] = cv.erode(cv.blur(worst, (PATCH, PATCH)), square)[inner]
    return out


def _widened(fits: NDArray[np.uint8], moves: list[tuple[int, int]]) -> NDArray[np.uint8]:
    """The best of each displacement and its neighbours a pixel away."""
    import numpy as np

    at = {move: k for k, move in enumerate(moves)}
    out = fits.copy()
    for k, (i, j) in enumerate(moves):
        for other in ((i - 1, j), (i + 1, j), (i, j - 1), (i, j + 1)):
            if other in at:
                np.minimum(out[k], fits[at[other]], out=out[k])
    return out


def _explained(fits: NDArray[np.uint8], moves: list[tuple[int, int]], limit: int) -> Remainder:
    import numpy as np

    cv = cv2()
    least = round(0.7 * limit)
    flat = fits[moves.index((0, 0))]
    now = flat.copy()
    first = _mass(now, least)
    chosen: tuple[int, int] | None = None
    beyond = np.zeros(flat.shape, bool)
    for _ in range(MODES):
        able = [k for k, move in enumerate(moves) if _like(move, chosen)]
        if not able:
            break
        masses = [_mass(np.minimum(now, fits[k]), least) for k in able]
        best = able[int(np.argmin(masses))]
        chosen = chosen or moves[best]
        np.minimum(now, fits[best], out=now)
        beyond |= (fits[best] < limit) & (flat >= least)
    # what is hidden in the other photo by a part that is displaced there is no difference either
    for side in (0, 1):
        hidden = cv.dilate(beyond[1 - side].astype(np.uint8), np.ones((3, 3), np.uint8))
        now[side][hidden > 0] = 0
    rest = (now >= limit).astype(np.uint8)
    thick = max(
        float(
            cv.distanceTransform(cv.copyMakeBorder(each, 1, 1, 1, 1, cv.BORDER_CONSTANT), cv.DIST_L2, 3).max()
        )
        for each in rest
    )
    return Remainder(_mass(now, least) / max(1.0, first), thick, float(now.max()) / limit)


def _mass(excess: NDArray[np.uint8], least: int) -> float:
    cv = cv2()
    flat = excess.reshape(-1, excess.shape[-1])
    return float(cv.sumElems(cv.threshold(flat, least - 1, 255, cv.THRESH_TOZERO)[1])[0])


def _like(move: tuple[int, int], chosen: tuple[int, int] | None) -> bool:
    long = (move[0] ** 2 + move[1] ** 2) ** 0.5
    if long < 1.5:
        return False
    if chosen is None:
        return True
    return move[0] * chosen[0] + move[1] * chosen[1] >= LIKE * long * (chosen[0] ** 2 + chosen[1] ** 2) ** 0.5
