"""The shelf of photos: a JPEG under its own hash, verified on the disk before anybody hears of it.

Does not touch the log; the caller stores the event that mentions the photo after `keep` has returned.
"""

import errno
import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from benchguide.store.durable import TEMP_PREFIX, make_folder, sync_folder, write_file, write_temp
from benchguide.store.places import Places
from benchguide.store.problems import PhotoNotKept, StoreProblem

#: Larger pictures are refused from their header, before any memory is taken for them.
MOST_PIXELS = 100_000_000

_STANDALONE = frozenset({0x01, *range(0xD0, 0xD8)})  # TEM and RSTn have no length
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}  # SOFn


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """What is written into the photo itself. `taken` must know its UTC offset; `extra` is plain JSON."""

    taken: datetime
    job: str
    step: str
    part: str
    purpose: str
    source: str
    extra: Mapping[str, Any] = field(default_factory=dict)


class KeptPhoto(NamedTuple):
    """A photo that is on the disk. `size` in bytes, `width` and `height` in pixels as stored."""

    sha256: str
    path: Path
    width: int
    height: int
    size: int


class PhotoShelf:
    """Photos of one data folder, in `photos/ab/abcd….jpg`; thumbnails in `thumbs/` may be deleted."""

    def __init__(self, folder: Path, software: str | None = None) -> None:
        """`folder` is the data folder. `software` goes into the photos; default "Benchguide <version>"."""
        self._places = Places.at(folder)
        self._software = software or _software()

    def keep(self, jpeg: bytes, facts: PhotoFacts) -> KeptPhoto:
        """Add Exif, write, sync, rename, read back, compare hashes. On return the photo is on the disk.

        Raises PhotoNotKept with one sentence; nothing is left behind then. The picture is not encoded again.
        """
        from benchguide.store.exif import tag_jpeg

        width, height = check_jpeg(jpeg)
        try:
            data = tag_jpeg(
                jpeg,
                taken=facts.taken,
                description=" \u00b7 ".join(text for text in (facts.job, facts.step, facts.part) if text),
                comment={**facts.extra, **_comment(facts)},
                software=self._software,
                width=width,
                height=height,
                unique_id=_unique_id(jpeg, facts.taken),
            )
        except (ValueError, TypeError) as error:
            raise PhotoNotKept(f"The photo was not kept: its details cannot be written ({error}).") from error
        sha256 = hashlib.sha256(data).hexdigest()
        target = self.path(sha256)
        try:
            self._write_verified(target, data, sha256)
        except OSError as error:
            raise PhotoNotKept(_sentence(error, self._places.folder)) from error
        return KeptPhoto(sha256, target, width, height, len(data))

    def _write_verified(self, target: Path, data: bytes, sha256: str) -> None:
        make_folder(target.parent)
        temp = write_temp(target.parent, data, ".jpg")
        try:
            if hash_file(temp, from_disk=True) != sha256:
                raise PhotoNotKept(
                    "The photo was not kept: the disk gave back other bytes than were written. "
                    "Check the disk, then take it again."
                )
            temp.replace(target)
            sync_folder(target.parent)
        except BaseException:
            temp.unlink(missing_ok=True)
            raise

    def path(self, sha256: str) -> Path:
        """Where a photo is or would be. Raises ValueError for what is not a SHA-256 in lower-case hex."""
        if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
            raise ValueError(f"{sha256!r} is not a SHA-256.")
        return self._places.photos / sha256[:2] / f"{sha256}.jpg"

    def thumbnail(self, sha256: str, px: int) -> Path:
        """A small upright copy, at most `px` pixels wide and high, made when missing or unreadable.

        Raises StoreProblem when the photo itself is missing or cannot be read.
        """
        target = self._places.thumbs / sha256[:2] / f"{self.path(sha256).stem}-{px}.jpg"
        if _readable(target):
            return target
        from io import BytesIO

        from PIL import Image, ImageOps

        source = self.path(sha256)
        try:
            with source.open("rb") as file:
                check_jpeg(file.read())
            with Image.open(source, formats=["JPEG"]) as image:
                image.draft("RGB", (px * 2, px * 2))  # decode small: a tenth of the time and memory
                small = ImageOps.exif_transpose(image)
                small.thumbnail((px, px))
                buffer = BytesIO()
                small.convert("RGB").save(buffer, "JPEG", quality=85)
            make_folder(target.parent)
            write_file(target, buffer.getvalue())
        except FileNotFoundError as error:
            raise StoreProblem(f"The photo {source} is missing; restore it from a backup.") from error
        except (OSError, PhotoNotKept, SyntaxError) as error:
            raise StoreProblem(f"No small copy of the photo {source} can be made ({error}).") from error
        return target

    def sweep(self) -> list[Path]:
        """Move files that a killed program left half-written into `aside/`. For the one writer, at its start.

        Gives where they lie now. Raises OSError.
        """
        moved = []
        for path in sorted(self._places.photos.glob(f"*/{TEMP_PREFIX}*")):
            make_folder(self._places.aside)
            target = self._places.aside / f"unfinished-{path.name.removeprefix(TEMP_PREFIX)}"
            path.replace(target)
            moved.append(target)
        return moved


def hash_file(path: Path, *, from_disk: bool = False) -> str:
    """Hex SHA-256 of a file in bounded memory. Raises OSError.

    `from_disk` drops the system's cached copy first, where it can.
    """
    digest = hashlib.sha256()
    with path.open("rb", buffering=0) as file:
        if from_disk and hasattr(os, "posix_fadvise"):
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while chunk := file.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()


def check_jpeg(data: bytes, *, thorough: bool = False) -> tuple[int, int]:
    """Width and height in pixels of a whole JPEG. Raises PhotoNotKept with one sentence.

    Looks at the markers only and takes no memory for the picture. `thorough` also decodes it (at an eighth of
    the size) to find damage inside.
    """
    if not data.startswith(b"\xff\xd8"):
        raise PhotoNotKept("This is not a JPEG photo; take it again or choose a JPEG file.")
    width, height, scan = _frame(data)
    if not width or not height:
        raise PhotoNotKept("The photo has no size in its header; take it again or choose another file.")
    if width * height > MOST_PIXELS:
        raise PhotoNotKept(
            f"The photo has {width} x {height} pixels, over the limit of "
            f"{MOST_PIXELS // 1_000_000} megapixels; make it smaller first."
        )
    if data.rfind(b"\xff\xd9", scan) < 0:
        raise _cut_off()
    if thorough:
        _decode_small(data)
    return width, height


def _frame(data: bytes) -> tuple[int, int, int]:
    """Walk the markers up to the first scan: (width, height, where the scan begins)."""
    place, size = 2, (0, 0)
    while place + 4 <= len(data):
        if data[place] != 0xFF:
            raise PhotoNotKept("The photo is damaged in its header; take it again or choose another file.")
        marker = data[place + 1]
        if marker == 0xFF:  # fill byte
            place += 1
            continue
        if marker in _STANDALONE:
            place += 2
            continue
        length = int.from_bytes(data[place + 2 : place + 4], "big")
        if marker in _FRAMES and place + 9 <= len(data):
            size = (
                int.from_bytes(data[place + 7 : place + 9], "big"),
                int.from_bytes(data[place + 5 : place + 7], "big"),
            )
        if marker == 0xDA:
            return (*size, place + 2 + length)
        if length < 2:
            raise PhotoNotKept("The photo is damaged in its header; take it again or choose another file.")
        place += 2 + length
    raise _cut_off()


def _cut_off() -> PhotoNotKept:
    return PhotoNotKept("The photo is cut off (its end is missing); take it again or choose another file.")


def _decode_small(data: bytes) -> None:
    from io import BytesIO

    from PIL import Image

    try:
        with Image.open(BytesIO(data), formats=["JPEG"]) as image:
            image.draft("L", (1, 1))
            image.load()
    except (OSError, SyntaxError, ValueError) as error:
        raise PhotoNotKept("The photo is damaged inside; take it again or choose another file.") from error


def _readable(path: Path) -> bool:
    try:
        check_jpeg(path.read_bytes(), thorough=True)
    except (OSError, PhotoNotKept):
        return False
    return True


def _comment(facts: PhotoFacts) -> dict[str, Any]:
    return {
        "job": facts.job,
        "step": facts.step,
        "part": facts.part,
        "purpose": facts.purpose,
        "source": facts.source,
        "taken": facts.taken.isoformat(timespec="milliseconds"),
    }


def _unique_id(jpeg: bytes, taken: datetime) -> str:
    """128 bits from when the photo was taken and the end of its scan, which noise makes its own."""
    return hashlib.sha256(taken.isoformat().encode() + jpeg[-65536:]).hexdigest()[:32]


def _software() -> str:
    from benchguide import __version__

    return f"Benchguide {__version__}"


def _sentence(error: OSError, folder: Path) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        why, remedy = f"the disk is full ({folder})", "Make room"
    elif error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        why, remedy = f"{folder} is read-only", "Give yourself write permission"
    else:
        why, remedy = f"the disk did not accept it ({error.strerror})", f"Check {folder}"
    return f"The photo was not kept: {why}. {remedy}, then take it again."
