"""A kept photo made small enough to live inside a page. Originals are only read, never changed."""

import base64
import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

LARGE_PX = 1280
SMALL_PX = 480
#: a photo with more pixels than this is not decoded (memory): about four times the largest usual camera
MAX_PIXELS = 120_000_000
MAX_BYTES = 200_000_000


class ShelfLike(Protocol):
    """The part of the photo store that a review needs."""

    def path(self, sha256: str, /) -> Path:
        """Where the original lies; it need not exist."""
        ...


@dataclass(frozen=True, slots=True)
class Embedded:
    """A photo as two data URIs, or, in `trouble`, one sentence why it cannot be shown."""

    small: str = ""
    large: str = ""
    width: int = 0
    height: int = 0
    trouble: str = ""


def embed(shelf: ShelfLike, sha256: str, with_large: bool = True) -> Embedded:
    """The photo for a page. Never raises for a missing, damaged or oversized file; says so instead."""
    try:
        data = read_original(shelf, sha256)
    except PhotoTrouble as trouble:
        return Embedded(trouble=str(trouble))
    if hashlib.sha256(data).hexdigest() != sha256:
        return Embedded(trouble="The file differs from what was kept: its SHA-256 is not the logged one.")
    return _scaled(data, with_large)


class PhotoTrouble(Exception):  # told in the page, not a fault of the program
    """A photo cannot be read; `str()` is the sentence."""


def read_original(shelf: ShelfLike, sha256: str) -> bytes:
    """The bytes of the original. Raises PhotoTrouble with one sentence."""
    try:
        path = shelf.path(sha256)
        if path.stat().st_size > MAX_BYTES:
            raise PhotoTrouble("The file is far larger than a photo can be and was not read.")
        return path.read_bytes()
    except FileNotFoundError:
        raise PhotoTrouble("The file is missing from the photo folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error) or "it cannot be opened"
        raise PhotoTrouble(f"The file cannot be read: {reason}.") from None


def _scaled(data: bytes, with_large: bool) -> Embedded:
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as image:
            if image.width * image.height > MAX_PIXELS:
                return Embedded(trouble="The photo has too many pixels to be shown here.")
            image.draft("RGB", (LARGE_PX, LARGE_PX))
            large = ImageOps.exif_transpose(image).convert("RGB")
        large.thumbnail((LARGE_PX, LARGE_PX), Image.Resampling.LANCZOS)
        small = large.copy()
        small.thumbnail((SMALL_PX, SMALL_PX), Image.Resampling.LANCZOS)
        return Embedded(_uri(small, 72), _uri(large, 80) if with_large else "", large.width, large.height)
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError):
        return Embedded(trouble="The file is damaged or not a JPEG and cannot be shown.")


def _uri(image: object, quality: int) -> str:
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, optimize=True)  # type: ignore[attr-defined]
    return "data:image/jpeg;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
