"""When have the hands left the picture? Watches the moving picture and says when a photo may be taken by itself.

Knows no skin colour: whatever is thick, reaches in from the border and was not there in the last clear view counts as
a hand, be it a glove, a tool or a shadow. It takes no photo and keeps no thread.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: the size everything is watched at (pixels)
WIDTH, HEIGHT = 160, 90
#: seconds the scene must have been still before the photo
STILL_S = 0.6
#: seconds after which "take it now" is offered when something still seems to be in the picture
OFFER_S = 2.5
#: a grey change that counts, and the share of changed pixels that counts as moving, and as hands at work
CHANGE, MOVING, WORKING = 9, 0.004, 0.015
#: a hand is thicker than this (pixels) and larger than this share of the picture
THICK, HAND = 7, 0.006
#: how far the picture must differ from the clear view, of 255
DIFFERS = 16
#: pixels at the border that count as "reaching in"
EDGE = 2
#: how long ago the pictures were that a slow hand is seen against, seconds
LOOK_BACK_S = (0.3, 0.6)


class Seen(StrEnum):
    """What the watcher sees now."""

    WAITING = "waiting"
    """Nothing has happened since the last clear view."""
    MOVING = "moving"
    """Something moves."""
    HAND = "hand"
    """Still, but something reaches into the picture."""
    SETTLING = "settling"
    """Clear and still, not yet for long enough: the photo comes unless it is stopped."""
    CLEAR = "clear"
    """Hands have been here and are gone: take the photo now. Told once."""


@dataclass(frozen=True, slots=True)
class Watch:
    """What is seen, seconds until the photo (while settling), and whether "take it now" should be offered."""

    seen: Seen
    left_s: float = 0.0
    offer: bool = False


class HandsClear:
    """Fed with every picture (ten to thirty a second); tells when hands came and went.

    `arm()` when a photo becomes due. After CLEAR it is to be armed again.
    """

    def __init__(self, still_s: float = STILL_S) -> None:
        self._still_s = still_s
        self._clear: NDArray[np.float32] | None = None
        self._past: deque[tuple[float, NDArray[np.float32]]] = deque()
        self._still_since: float | None = None
        self._worked = False
        self._blocked_since: float | None = None
        self._registered_at: float | None = None

    def arm(self, *, worked: bool = False) -> None:
        """Wait for the next time hands come and go. `worked`: they have been here already."""
        self._worked = worked
        self._blocked_since = None
        self._registered_at = None

    def forget(self) -> None:
        """The view has changed (another camera, another step's framing): learn it anew."""
        self._clear = None
        self._past.clear()
        self._still_since = None
        self.arm()

    def still_clear(self, image: NDArray[np.uint8]) -> bool:
        """Whether another picture, taken right after CLEAR, shows the clear view as it was: nothing came in since."""
        clear = self._clear
        if clear is None:
            return False
        small = shrunk(image)
        return _share(_gained(small, clear), clear) <= MOVING

    def see(self, image: NDArray[np.uint8], at_s: float) -> Watch:
        """Judge one more picture, (H, W, 3) BGR uint8, seen at `at_s` seconds of a steady clock.

        Some 2 ms of one core at 1080p.
        """
        small = shrunk(image)
        if self._clear is None:
            self._clear, self._still_since = small, at_s
        moved, drifted = self._changes(small, at_s)
        self._past.append((at_s, small))
        if max(moved, drifted) > WORKING:
            self._worked = True
        if moved > MOVING or self._still_since is None:
            self._still_since = at_s if moved <= MOVING else None
            self._registered_at = None
        if moved > MOVING:
            return Watch(Seen.MOVING)
        return self._when_still(small, at_s, quiet=drifted <= MOVING)

    def _changes(self, small: NDArray[np.float32], at_s: float) -> tuple[float, float]:
        """Share of the pixels that changed since the picture before, and the most since those further back."""
        while len(self._past) > 1 and self._past[0][0] < at_s - LOOK_BACK_S[-1] - 0.05:
            self._past.popleft()
        if not self._past:
            return 0.0, 0.0
        back = [next((old for when, old in self._past if when >= at_s - ago), small) for ago in LOOK_BACK_S]
        step = _share(_gained(small, self._past[-1][1]), self._past[-1][1])
        return step, max(_share(_gained(small, old), old) for old in back)

    def _when_still(self, small: NDArray[np.float32], at_s: float, *, quiet: bool) -> Watch:
        since = self._still_since if self._still_since is not None else at_s
        if not self._worked:
            if quiet and at_s - since >= self._still_s:
                self._clear = small  # light drifts; the view without hands follows it
            return Watch(Seen.WAITING)
        if self._reaches_in(small, at_s):
            if self._blocked_since is None:
                self._blocked_since = at_s
            return Watch(Seen.HAND, offer=at_s - self._blocked_since >= OFFER_S)
        left = self._still_s - (at_s - since)
        if left > 0 or not quiet:
            return Watch(Seen.SETTLING, left_s=max(0.0, left))
        self._clear = small
        self.arm()
        return Watch(Seen.CLEAR)

    def _reaches_in(self, small: NDArray[np.float32], at_s: float) -> bool:
        """Whether something thick that the clear view does not have touches the border."""
        assert self._clear is not None
        if not hand_in(small, self._clear):
            return False
        # A nudged device differs from the clear view along all its edges: lay the clear view over it once.
        if self._registered_at is None:
            self._registered_at = at_s
            moved = _registered(self._clear, small)
            if moved is not None and not hand_in(small, moved):
                self._clear = moved
                return False
        return True


def shrunk(image: NDArray[np.uint8]) -> NDArray[np.float32]:
    """The picture as (90, 160, 3) float32, softly: averaged over what each pixel stands for."""
    import numpy as np

    cv = cv2()
    factor = min(image.shape[0] // (4 * HEIGHT), image.shape[1] // (4 * WIDTH))
    # every n-th pixel first: averaging all of a 1080p picture would cost four times as much
    coarse = image[::factor, ::factor] if factor > 1 else image
    small = cv.resize(np.ascontiguousarray(coarse), (WIDTH, HEIGHT), interpolation=cv.INTER_AREA)
    return cv.GaussianBlur(small, (3, 3), 0).astype(np.float32)


def hand_in(small: NDArray[np.float32], clear: NDArray[np.float32]) -> bool:
    """Whether a thick thing that is not in the clear view reaches in from the border."""
    import numpy as np

    cv = cv2()
    differs = (np.abs(_gained(small, clear) - clear).max(axis=2) > DIFFERS).astype(np.uint8)
    kernel = cv.getStructuringElement(cv.MORPH_ELLIPSE, (THICK, THICK))
    # without padding the opening would eat what lies at the border, where hands come from
    padded = cv.copyMakeBorder(differs, THICK, THICK, THICK, THICK, cv.BORDER_REPLICATE)
    thick = cv.morphologyEx(padded, cv.MORPH_OPEN, kernel)[THICK:-THICK, THICK:-THICK]
    count, _labels, stats, _ = cv.connectedComponentsWithStats(thick, connectivity=8)
    least = HAND * thick.size
    for number in range(1, count):
        left, top, width, height, size = stats[number]
        if size < least:
            continue
        if left < EDGE or top < EDGE or left + width > WIDTH - EDGE or top + height > HEIGHT - EDGE:
            return True
    return False


def _gained(small: NDArray[np.float32], like: NDArray[np.float32]) -> NDArray[np.float32]:
    """The picture with its exposure and white balance made like another's: one factor a colour."""
    import numpy as np

    ratio = (like[::3, ::3] + 4) / (small[::3, ::3] + 4)
    return small * np.clip(np.median(ratio, axis=(0, 1)), 0.5, 2.0).astype(np.float32)


def _share(small: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    """Share of the pixels that differ."""
    import numpy as np

    return float((np.abs(small - other).max(axis=2) > CHANGE).mean())


def _registered(clear: NDArray[np.float32], small: NDArray[np.float32]) -> NDArray[np.float32] | None:
    """The clear view moved and turned on to the present one; None where that cannot be found."""
    import numpy as np

    cv = cv2()
    one, other = (cv.cvtColor(view, cv.COLOR_BGR2GRAY) for view in (small, clear))
    warp = np.eye(2, 3, dtype=np.float32)
    stop = (cv.TERM_CRITERIA_EPS | cv.TERM_CRITERIA_COUNT, 40, 1e-4)
    try:
        _, warp = cv.findTransformECC(one, other, warp, cv.MOTION_EUCLIDEAN, stop, None, 5)
    except cv.error:
        return None
    return cv.warpAffine(
        clear,
        warp,
        (WIDTH, HEIGHT),
        flags=cv.INTER_LINEAR | cv.WARP_INVERSE_MAP,
        borderMode=cv.BORDER_REPLICATE,
    )
