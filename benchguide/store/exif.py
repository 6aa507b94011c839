"""Exif 3.0 fields for a JPEG, put in as a segment: the picture data is never decoded or encoded again.

Pillow builds the fields; what it gets wrong for Exif (types of a few fields) is set right here.
"""

import json
import struct
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from PIL.Image import Exif

_EXIF_IFD = 0x8769
_UNDEFINED = 7  # TIFF field type
_USER_COMMENT = 0x9286
_COMPONENTS = 0x9101
_IMAGE_DESCRIPTION = 0x010E
_HEADER = b"Exif\0\0"
#: A segment's length is 16 bit and counts its own two bytes.
_ROOM = 0xFFFF - 2 - len(_HEADER)


def tag_jpeg(
    jpeg: bytes,
    *,
    taken: datetime,
    description: str,
    comment: Mapping[str, Any],
    software: str,
    width: int,
    height: int,
    unique_id: str,
) -> bytes:
    """The same JPEG with an Exif segment right behind its start marker.

    `taken` must know its UTC offset. `comment` goes into UserComment as JSON in ASCII. `unique_id` is 32 hex
    digits. Fields of an Exif segment that is there already are kept where ours do not say otherwise.
    Raises ValueError when text is too long for one segment (64 KB).
    """
    from PIL.Image import Exif

    old, rest = _split_exif(jpeg)
    exif = Exif()
    if old:
        _load(exif, old)
    _main_fields(exif, taken, description, software)
    _detail_fields(exif, taken, comment, width, height, unique_id)
    payload = _right_types(exif.tobytes()[len(_HEADER) :])
    if len(payload) > _ROOM:
        raise ValueError("The description of the photo is too long (over 64 KB); shorten it.")
    segment = b"\xff\xe1" + struct.pack(">H", len(payload) + len(_HEADER) + 2) + _HEADER + payload
    return rest[:2] + segment + rest[2:]


def _main_fields(exif: "Exif", taken: datetime, description: str, software: str) -> None:
    # UTF-8 in a field of type ASCII, which is what readers expect (common practice). Exif 3.0 has a type of
    # its own for it, 129, but exiftool 12.57 and others stop reading the whole block at it.
    exif[_IMAGE_DESCRIPTION] = description.encode("utf-8")
    exif[0x0131] = software
    exif[0x0132] = _date(taken)
    exif[0x0213] = exif.get(0x0213, 1)  # YCbCrPositioning: centred, as JFIF has it
    exif[0x011A] = exif.get(0x011A, 72)
    exif[0x011B] = exif.get(0x011B, 72)
    exif[0x0128] = exif.get(0x0128, 2)  # ResolutionUnit: inch


def _detail_fields(
    exif: "Exif", taken: datetime, comment: Mapping[str, Any], width: int, height: int, unique_id: str
) -> None:
    offset, fraction = _offset(taken), f"{taken.microsecond // 1000:03d}"
    text = json.dumps(comment, ensure_ascii=True, sort_keys=True, separators=(",", ":")).encode("ascii")
    exif.get_ifd(_EXIF_IFD).update(
        {
            0x9000: b"0300",
            0x9003: _date(taken),
            0x9004: _date(taken),
            0x9010: offset,
            0x9011: offset,
            0x9012: offset,
            _COMPONENTS: b"\1\2\3\0",  # Y, Cb, Cr
            _USER_COMMENT: b"ASCII\0\0\0" + text,
            0x9290: fraction,
            0x9291: fraction,
            0x9292: fraction,
            0xA000: b"0100",
            0xA001: 1,  # sRGB
            0xA002: width,
            0xA003: height,
            0xA420: unique_id,
        }
    )


def _date(taken: datetime) -> str:
    return taken.strftime("%Y:%m:%d %H:%M:%S")


def _offset(taken: datetime) -> str:
    delta = taken.utcoffset()
    if delta is None:
        raise ValueError("The time a photo was taken must know its UTC offset.")
    minutes = round(delta.total_seconds() / 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _split_exif(jpeg: bytes) -> tuple[bytes | None, bytes]:
    """(payload of the Exif segment, JPEG without it)."""
    place = 2
    while jpeg[place : place + 1] == b"\xff" and 0xE0 <= jpeg[place + 1] <= 0xEF:
        length = int.from_bytes(jpeg[place + 2 : place + 4], "big")
        body = jpeg[place + 4 : place + 2 + length]
        if jpeg[place + 1] == 0xE1 and body.startswith(_HEADER):
            return body, jpeg[:place] + jpeg[place + 2 + length :]
        place += 2 + length
    return None, jpeg


def _load(exif: "Exif", old: bytes) -> None:
    """Take over what the camera wrote. A damaged block is dropped: the picture does not depend on it."""
    try:
        exif.load(old)
        details = dict(exif.get_ifd(_EXIF_IFD))
        details.pop(0x927C, None)  # maker notes hold offsets that are wrong after moving
        exif.get_ifd(_EXIF_IFD).clear()
        exif.get_ifd(_EXIF_IFD).update(details)
        exif.tobytes()
    except Exception:  # Pillow raises nearly anything here (SyntaxError, struct.error, ...)
        exif.clear()


def _right_types(tiff: bytes) -> bytes:
    """Set the type UNDEFINED on fields that Pillow writes as BYTE."""
    data = bytearray(tiff)
    order = "<" if data[:2] == b"II" else ">"
    types = {_USER_COMMENT: _UNDEFINED, _COMPONENTS: _UNDEFINED}
    pointer = _retype(data, order, struct.unpack_from(order + "I", data, 4)[0], types)
    if pointer:
        _retype(data, order, pointer, types)
    return bytes(data)


def _retype(data: bytearray, order: str, start: int, types: Mapping[int, int]) -> int | None:
    """Rewrite types in one directory (12 bytes an entry); gives the place of the Exif directory, if named."""
    pointer = None
    for index in range(struct.unpack_from(order + "H", data, start)[0]):
        place = start + 2 + 12 * index
        tag = struct.unpack_from(order + "H", data, place)[0]
        if tag in types:
            struct.pack_into(order + "H", data, place + 2, types[tag])
        if tag == _EXIF_IFD:
            pointer = struct.unpack_from(order + "I", data, place + 8)[0]
    return pointer
