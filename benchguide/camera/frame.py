"""One picture as it came from a source. Holds no behaviour and does no decoding."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A picture and when it arrived.

    image: (H, W, 3) uint8, blue-green-red, C-contiguous. Treat it as read-only: the
    preview, the shutter and the checks share it.
    exposed_ns: `time.monotonic_ns()` at arrival. No source tells when the sensor was
    exposed, so this is the latest instant it can have been.
    index: counts up from 0 since the source was opened.
    source: name of the source, for people.
    """

    image: NDArray[np.uint8]
    exposed_ns: int
    index: int
    source: str
