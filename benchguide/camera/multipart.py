"""Cuts the pictures out of a multipart/x-mixed-replace byte stream (RFC 2046 framing).

Written for streams that may be broken: unknown bytes are passed over up to the next
boundary, and no more is ever kept than one picture may be long. Decodes nothing.
"""

from __future__ import annotations

MAX_HEADER = 8 * 1024
MAX_PART = 16 * 1024 * 1024


class MultipartParser:
    """Feed bytes in, get whole part bodies out.

    boundary: as in the Content-Type header, with or without its leading dashes (cameras
    differ).
    wasted: bytes passed over since the last whole part.
    held: bytes kept at this moment, never more than max_part + max_header + one feed.
    """

    def __init__(self, boundary: str, *, max_part: int = MAX_PART) -> None:
        self._mark = b"--" + boundary.strip().strip('"').lstrip("-").encode("latin-1", "replace")
        self._max_part = max_part
        self._buffer = bytearray()
        self._in_part = False
        self._length: int | None = None
        self._searched = 0
        self.wasted = 0

    @property
    def held(self) -> int:
        return len(self._buffer)

    def feed(self, data: bytes) -> list[bytes]:
        """Take more bytes; return the bodies completed by them, oldest first."""
        self._buffer += data
        parts: list[bytes] = []
        while True:
            body = self._body() if self._in_part else None
            if body is not None:
                self._in_part = False
                if body:
                    self.wasted = 0
                    parts.append(body)
            elif self._in_part or not self._header():
                return parts

    def _header(self) -> bool:
        """Find the next boundary and read the lines after it; False if more bytes are needed."""
        start = self._buffer.find(self._mark)
        if start < 0:
            self._drop(max(0, len(self._buffer) - len(self._mark)))
            return False
        self._drop(start)
        end, gap = _blank_line(self._buffer)
        if end < 0 or end > MAX_HEADER:
            if len(self._buffer) > MAX_HEADER:
                self._drop(len(self._mark))  # not a header: look for the next boundary
                return True
            return False
        self._length = _content_length(bytes(self._buffer[:end]), self._max_part)
        del self._buffer[: end + gap]
        self._in_part, self._searched = True, 0
        return True

    def _body(self) -> bytes | None:
        """The body if whole, empty if it has to be given up, None if more bytes are needed."""
        if self._length is not None:
            if len(self._buffer) < self._length:
                # A length that does not lead to a boundary is caught by the next header.
                return None
            return self._cut(self._length)
        end = self._buffer.find(self._mark, self._searched)
        if end >= 0:
            return self._cut(end).removesuffix(b"\n").removesuffix(b"\r")
        self._searched = max(0, len(self._buffer) - len(self._mark))
        if len(self._buffer) > self._max_part:
            self._drop(len(self._buffer))
            return b""
        return None

    def _cut(self, end: int) -> bytes:
        body = bytes(self._buffer[:end])
        del self._buffer[:end]
        return body

    def _drop(self, count: int) -> None:
        self.wasted += count
        del self._buffer[:count]


def _blank_line(buffer: bytearray) -> tuple[int, int]:
    """Where the first empty line begins and how long it is, (-1, 0) if there is none."""
    found = [
        (at, len(gap)) for gap in (b"\r\n\r\n", b"\n\n") if (at := buffer.find(gap, 0, MAX_HEADER + 4)) >= 0
    ]
    return min(found, default=(-1, 0))


def _content_length(header: bytes, most: int) -> int | None:
    for line in header.split(b"\n"):
        key, _, value = line.partition(b":")
        text = value.strip()
        if key.strip().lower() == b"content-length" and text.isdigit() and len(text) < 10:
            length = int(text)
            return length if 0 < length <= most else None
    return None
