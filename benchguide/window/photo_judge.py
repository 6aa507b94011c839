"""Which of some pictures is kept, and what is told of it: the camera's judgement for the step at hand.

Used in the shutter's thread alone. Decides nothing about the session.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchguide.session.state import Purpose
from benchguide.window.photo_place import Earlier, Known

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchguide.camera.compare import Features
    from benchguide.camera.frame import Frame
    from benchguide.camera.quality import Best, PartShown, PhotoVerdict, Region

#: the frame a required photo is to be filled with: left, top, width, height as shares of the picture
FRAME = (0.1, 0.1, 0.8, 0.8)
#: how much wider than a mark what is around it is judged
AROUND_MARK = 1.5
#: the outline of no part is known
NOWHERE: tuple[tuple[()], str] = ((), "")
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


def unchanging(frames: Sequence[Frame]) -> bool:
    """Whether pictures taken one after the other are all the very same; of one alone it cannot be told."""
    return len(frames) > 1 and len({_print_of(frame.image) for frame in frames}) == 1


def _print_of(image: NDArray[np.uint8]) -> int:
    return zlib.crc32(image[::8].tobytes())


class PhotoJudge:
    """Remembers the sharpest photo of each view: a photo much softer than that is poor, however sharp it looks.

    Glare and focus are judged over the outline of the step's parts where that is known: by the part map where the
    picture is registered to the device, else as the as-found photo shows the place; else over the middle, which the
    person was asked to fill with it.
    """

    def __init__(self) -> None:
        self._best: dict[View, Best] = {}
        self._earlier: tuple[str, Features, tuple[float, ...]] | None = None
        self._last = 0

    def judge(
        self,
        image: NDArray[np.uint8],
        view: View,
        known: Known | None = None,
        *,
        frozen: bool = False,
        may_repeat: bool = True,
    ) -> PhotoVerdict | None:
        """The verdict on one photo, (H, W, 3) BGR uint8; None for a mat (its reading says more) or a picture too
        small to judge. frozen: the camera is known to repeat one picture. may_repeat: this photo may rightly be the
        same as the one before (stills, a stream that changes); else the same picture twice means that the camera
        repeats one.
        """
        from benchguide.camera.quality import Best, judge_photo
        from benchguide.camera.sharpness import Sharpness

        if view.purpose == Purpose.MAT:
            return None
        frozen = self._repeated(image, may_repeat) or frozen
        required = view.purpose in (Purpose.AS_FOUND, Purpose.AS_LEFT)
        parts, place = self._parts(image, known) if required and known is not None else NOWHERE
        best = self._best.get(view)
        try:
            verdict = judge_photo(
                image,
                region=FRAME if required else None,
                parts=parts,
                best=best,
                frozen=frozen,
                what="the middle of the picture" if required else "the picture",
                place=place,
            )
        except ValueError:
            return None
        if best is None:
            while len(self._best) >= MOST_VIEWS:
                del self._best[next(iter(self._best))]
            best = self._best[view] = Best()
        best.see(Sharpness(verdict.sharp, verdict.sharp_worst_way), verdict.part_sharp)
        return verdict

    def _repeated(self, image: NDArray[np.uint8], may_repeat: bool) -> bool:
        """Whether this is the very picture of the photo before: a sensor's own noise never comes twice."""
        last, self._last = self._last, _print_of(image)
        return not may_repeat and self._last == last

    def _parts(self, image: NDArray[np.uint8], known: Known) -> tuple[tuple[PartShown, ...], str]:
        """Where the parts lie, and in words what that place is."""
        if known.scene is not None:
            parts = _by_map(known, (image.shape[1], image.shape[0]))
            return parts, "the part's outline" if parts else ""
        if known.earlier is not None:
            return self._by_earlier(image, known.earlier, known)
        return NOWHERE

    def _by_earlier(
        self, image: NDArray[np.uint8], earlier: Earlier, known: Known
    ) -> tuple[tuple[PartShown, ...], str]:
        """The places of an earlier photo, its marks or else its middle, where they lie in this one."""
        from benchguide.camera.part_place import by_earlier, registered
        from benchguide.camera.quality import PartShown

        regions = _marked(earlier) or (FRAME,)
        try:
            features, glares = self._features(earlier, regions)
        except (OSError, ValueError):
            return NOWHERE
        matrix = registered(features, image)
        if matrix is None:
            return NOWHERE
        size = (image.shape[1], image.shape[0])
        names = " and ".join(part.name for part in known.parts) or "the part"
        shown = []
        for region, glare in zip(regions, glares, strict=True):
            place = by_earlier(region, features, matrix, size)
            if place is not None:
                shown.append(PartShown(names, place, glare if earlier.sound else None))
        how = "the marked place" if earlier.marks else "the place as found"
        return tuple(shown), how if shown else ""

    def _features(self, earlier: Earlier, regions: Sequence[Region]) -> tuple[Features, tuple[float, ...]]:
        """What is kept of the earlier photo; read once for all photos that follow it and its marks."""
        from benchguide.camera.part_place import remembered
        from benchguide.camera.photo_file import read_kept
        from benchguide.camera.quality import glare_over

        key = f"{earlier.sha256} {regions}"
        if self._earlier is None or self._earlier[0] != key:
            photo = read_kept(earlier.path)
            glares = tuple(glare_over(photo, region) for region in regions)
            self._earlier = (key, remembered(photo), glares)
        return self._earlier[1], self._earlier[2]


def _by_map(known: Known, size: tuple[int, int]) -> tuple[PartShown, ...]:
    from benchguide.camera.part_place import by_map
    from benchguide.camera.quality import PartShown
    from benchguide.camera.simulated import millimetres_to_pixels

    assert known.scene is not None
    to_pixels = millimetres_to_pixels(known.scene, size)
    places = [(part, by_map(part, to_pixels, size)) for part in known.parts]
    return tuple(PartShown(part.name, place) for part, place in places if place is not None)


def _marked(earlier: Earlier) -> tuple[Region, ...]:
    """What is around each mark, in shares of the photo."""
    found = []
    for x, y, size in earlier.marks:
        half = AROUND_MARK * size / 2
        wide, high = 2 * half / earlier.width, 2 * half / earlier.height
        found.append((x / earlier.width - wide / 2, y / earlier.height - high / 2, wide, high))
    return tuple(found)
