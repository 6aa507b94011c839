"""Reading one photo from a file that anybody may have made. One sentence with the remedy when it cannot be used."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.camera.decode import MAX_FILE_BYTES, BadPicture, decode_file

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def read_photo(path: Path) -> NDArray[np.uint8]:
    """A JPEG or PNG file as (H, W, 3) BGR uint8, turned upright by its Exif orientation.

    Grey, CMYK, palette, alpha and 16 bit pictures are converted. Raises ValueError with one sentence for a file
    that is missing, huge, cut short or no picture; memory stays bounded by the size its header tells.
    """
    try:
        size = path.stat().st_size
        if size > MAX_FILE_BYTES:
            raise ValueError(
                f"{path} has {size // 2**20} MB; photos of up to 256 MB are read. Save it smaller."
            )
        data = path.read_bytes()
    except IsADirectoryError:
        raise ValueError(f"{path} is a folder; name one photo.") from None
    except OSError as error:
        raise ValueError(f"{path} cannot be read ({error.strerror or error}); check the name.") from None
    try:
        return decode_file(data)
    except BadPicture as error:
        raise ValueError(f"{path} {error}; take the photo again, or save it as JPEG.") from None


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
