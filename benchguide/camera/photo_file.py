"""Reading one photo from a file that anybody may have made. One sentence with the remedy when it cannot be used."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.camera.decode import (
    MAX_FILE_BYTES,
    PHOTO_FORMATS,
    BadPicture,
    decode_file,
    decode_stream_jpeg,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def read_photo(path: Path) -> NDArray[np.uint8]:
    """A photo file as (H, W, 3) BGR uint8, turned upright by its Exif orientation.

    JPEG, PNG, TIFF, BMP and WebP of every depth and colour kind (see `decode_file`). Raises ValueError with one
    sentence for a file that is missing, huge, cut short or no picture; memory stays bounded by what its header tells.
    """
    data = _bytes_of(path)
    try:
        return decode_file(data, PHOTO_FORMATS)
    except BadPicture as error:
        raise BadPicture(
            f"{path} {error}; take the photo again, or save it as a JPEG of up to 100 megapixels."
        ) from None


def read_kept(path: Path) -> NDArray[np.uint8]:
    """A photo that this program kept, an upright JPEG, in a third of the time, and while other threads run on.

    Raises ValueError as `read_photo`.
    """
    data = _bytes_of(path)
    try:
        return decode_stream_jpeg(data)
    except BadPicture as error:
        raise BadPicture(f"{path} {error}; take the photo again.") from None


def _bytes_of(path: Path) -> bytes:
    if path.is_dir():
        raise ValueError(f"{path} is a folder; name one photo.")
    if not path.is_file():
        raise ValueError(f"{path} is not there; check the name.")
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise ValueError(f"{path} is larger than 256 MB; use a smaller picture.")
        return path.read_bytes()
    except OSError as error:
        raise ValueError(f"{path} cannot be read ({error.strerror or error}); look at its rights.") from None


def write_photo(path: Path, image: NDArray[np.uint8]) -> None:
    """Write a marked picture, (H, W, 3) BGR uint8, as JPEG or PNG by its name. Raises ValueError with one sentence."""
    from benchguide.camera.encode import encode_jpeg
    from benchguide.camera.opencv import cv2

    suffix = path.suffix.lower()
    if suffix in (".jpg", ".jpeg"):
        data = encode_jpeg(image)
    elif suffix == ".png":
        data = bytes(cv2().imencode(".png", image)[1])
    else:
        raise ValueError(f"{path.name}: a marked picture is written as .jpg or .png; choose such a name.")
    try:
        path.write_bytes(data)
    except OSError as error:
        raise ValueError(
            f"{path} cannot be written ({error.strerror or error}); choose another place."
        ) from None
