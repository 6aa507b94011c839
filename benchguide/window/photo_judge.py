"""Which of some pictures is kept, and what is told of it: the camera's judgement for the step at hand.

Used in the shutter's thread alone. Decides nothing about the session.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.session.state import Purpose

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.frame import Frame
    from benchguide.camera.quality import Best, PhotoVerdict

#: the frame a required photo is to be filled with: left, top, width, height as shares of the picture
FRAME = (0.1, 0.1, 0.8, 0.8)
#: views whose sharpest picture is remembered
MOST_VIEWS = 32


@dataclass(frozen=True, slots=True)
class View:
    """What a photo is of: pictures of one view can be compared in sharpness."""

    step: str
    purpose: str
    what: str


def pick(frames: Sequence[Frame]) -> Frame:
    """The sharpest frame."""
    if len(frames) == 1:
        return frames[0]
    from benchguide.camera.quality import sharpest

    return frames[sharpest([frame.image for frame in frames])]


class PhotoJudge:
    """Remembers the sharpest photo of each view: a photo much softer than that is poor, however sharp it looks."""

    def __init__(self) -> None:
        self._best: dict[View, Best] = {}

    def judge(self, image: NDArray[np.uint8], view: View) -> PhotoVerdict | None:
        """The verdict on one photo, (H, W, 3) BGR uint8; None for a mat (its reading says more) or a picture too
        small to judge."""
        from benchguide.camera.quality import Best, judge_photo
        from benchguide.camera.sharpness import Sharpness

        if view.purpose == Purpose.MAT:
            return None
        region = FRAME if view.purpose in (Purpose.AS_FOUND, Purpose.AS_LEFT) else None
        best = self._best.get(view)
        try:
            verdict = judge_photo(image, region=region, best=best.sharpness if best else None, what=view.what)
        except ValueError:
            return None
        if best is None:
            while len(self._best) >= MOST_VIEWS:
                del self._best[next(iter(self._best))]
            best = self._best[view] = Best()
        best.see(Sharpness(verdict.sharp, verdict.sharp_worst_way))
        return verdict
