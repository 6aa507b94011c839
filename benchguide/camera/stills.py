"""A folder of pictures as a source: each is shown for a while, then the next, round and round.

Pictures that cannot be used are passed over and remembered with the reason. Never writes.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.camera.decode import MAX_FILE_BYTES, BadPicture, decode_file
from benchguide.camera.frame import Frame
from benchguide.camera.source import SourceLost, SourceTraits

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

ENDINGS = {".jpg", ".jpeg", ".png"}
PERIOD_NS = 100_000_000


class StillsFolder:
    """Source over the JPEG and PNG files of one folder, in order of their names.

    skipped: file name -> why it was passed over, for the files met so far.
    """

    traits = SourceTraits(frozen_after_s=None, in_flight=0, noisy=False)

    def __init__(self, folder: str | Path, *, seconds_each: float = 2.0) -> None:
        self._folder = Path(folder).expanduser()
        self._each_ns = int(seconds_each * 1e9)
        self.name = f"Folder {self._folder.name or self._folder}"
        self.skipped: dict[str, str] = {}
        self._files: list[Path] = []
        self._at = -1
        self._image: NDArray[np.uint8] | None = None
        self._until_ns = 0
        self._due_ns = 0
        self._index = 0

    def open(self) -> None:
        try:
            entries = sorted(self._folder.iterdir())
        except OSError as error:
            why = error.strerror or "unknown reason"
            raise SourceLost(f"The folder {self._folder} cannot be read ({why}); check its path.") from None
        self._files = [p for p in entries if p.suffix.lower() in ENDINGS and p.is_file()]
        if not self._files:
            raise SourceLost(f"The folder {self._folder} holds no JPEG or PNG pictures; put some there.")
        self.skipped = {}
        self._at, self._image, self._index = -1, None, 0
        self._due_ns = time.monotonic_ns()

    def read(self) -> Frame | None:
        wait = self._due_ns - time.monotonic_ns()
        if wait > 0:
            time.sleep(min(wait / 1e9, 1.0))
        now = time.monotonic_ns()
        self._due_ns = max(self._due_ns + PERIOD_NS, now)
        if self._image is None or now >= self._until_ns:
            self._next_picture()
            now = time.monotonic_ns()
            self._until_ns = now + self._each_ns
        assert self._image is not None
        frame = Frame(self._image, now, self._index, self.name)
        self._index += 1
        return frame

    def close(self) -> None:
        self._files, self._image = [], None

    def _next_picture(self) -> None:
        for _ in range(len(self._files)):
            self._at = (self._at + 1) % len(self._files)
            path = self._files[self._at]
            try:
                self._image = _load(path)
                self.skipped.pop(path.name, None)
                return
            except BadPicture as error:
                self.skipped[path.name] = str(error)
        name, why = next(iter(self.skipped.items()), ("the first", "is missing"))
        raise SourceLost(
            f"No picture in {self._folder} can be shown: {name} {why}; put sound pictures there."
        )


def _load(path: Path) -> NDArray[np.uint8]:
    try:
        if not path.is_file():
            raise BadPicture("is no longer there")
        if path.stat().st_size > MAX_FILE_BYTES:
            raise BadPicture("is larger than 256 MB")
        return decode_file(path.read_bytes())
    except OSError as error:
        raise BadPicture(f"cannot be read ({error.strerror})") from None
