"""Turning pictures into JPEG bytes and into smaller pictures. Writes no files, no Exif."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchguide.camera.opencv import cv2

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def encode_jpeg(image: NDArray[np.uint8], quality: int = 92) -> bytes:
    """Encode a (H, W, 3) uint8 BGR picture as baseline JPEG, quality 1 to 100.

    Raises ValueError for another shape or type, an empty picture, or one JPEG cannot hold
    (65,535 pixels a side).
    """
    _check(image)
    cv = cv2()
    done, data = cv.imencode(".jpg", image, [cv.IMWRITE_JPEG_QUALITY, max(1, min(100, int(quality)))])
    if not done:
        raise ValueError("The picture could not be encoded as JPEG.")
    return bytes(data)


def scaled(image: NDArray[np.uint8], max_w: int, max_h: int) -> NDArray[np.uint8]:
    """The picture made to fit into max_w x max_h pixels, sides in proportion; never enlarged.

    Returns the very same array where it already fits.
    """
    _check(image)
    height, width = image.shape[:2]
    factor = min(max_w / width, max_h / height)
    if factor >= 1:
        return image
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    cv = cv2()
    # Area averaging keeps screw slots from flickering; between half and full size linear
    # looks the same and costs a third.
    how = cv.INTER_LINEAR if factor > 0.5 else cv.INTER_AREA
    return cv.resize(image, size, interpolation=how)


def for_preview(image: NDArray[np.uint8], max_w: int, max_h: int) -> NDArray[np.uint8]:
    """A C-contiguous BGR picture that fits max_w x max_h.

    A window may wrap its memory without a copy: three bytes a pixel in the order blue,
    green, red, `strides[0]` bytes a line. The array must stay alive as long as the wrapping.
    """
    import numpy as np

    return np.ascontiguousarray(scaled(image, max_w, max_h))


def for_screen(image: NDArray[np.uint8], max_w: int, max_h: int) -> NDArray[np.uint8]:
    """Like `for_preview`, with a fourth byte of 255 a pixel: what a screen takes as it is, (H, W, 4) BGRA.

    Converted here, where it does not hold up other threads; four bytes a pixel need no conversion at each paint.
    """
    import numpy as np

    cv = cv2()
    return np.ascontiguousarray(cv.cvtColor(scaled(image, max_w, max_h), cv.COLOR_BGR2BGRA))


def to_rgb(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A contiguous RGB copy, for libraries that want red first."""
    _check(image)
    cv = cv2()
    return cv.cvtColor(image, cv.COLOR_BGR2RGB)


def _check(image: NDArray[np.uint8]) -> None:
    if image.ndim != 3 or image.shape[2] != 3 or str(image.dtype) != "uint8":
        raise ValueError(f"A picture must be (H, W, 3) uint8, not {image.shape} {image.dtype}.")
    if not (0 < image.shape[0] <= 65535 and 0 < image.shape[1] <= 65535):
        raise ValueError(f"A picture of {image.shape[1]} x {image.shape[0]} pixels cannot be encoded.")
