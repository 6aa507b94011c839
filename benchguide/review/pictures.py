"""The photos of a record as ordinary JPEG files: the originals, byte for byte, under names that say what
they show.
"""

import hashlib
from collections.abc import Callable
from pathlib import Path

from benchguide.review.embed import PhotoTrouble, ShelfLike, read_original
from benchguide.review.lines import PhotoLine
from benchguide.review.problems import Stopped
from benchguide.review.record import Record
from benchguide.review.words import day_and_time
from benchguide.store.durable import write_file

INDEX = "index.txt"


def picture_name(record: Record, line: PhotoLine) -> str:
    """`012_open-battery-plug_as-found_1.jpg`: place in the plan, step, purpose, count."""
    number = record.state.index.get(line.step, -1) + 1
    return f"{number:03d}_{line.step}_{line.purpose}_{line.number}.jpg"


def write_pictures(
    record: Record, shelf: ShelfLike, folder: Path, tell: Callable[[int, int], bool] | None = None
) -> tuple[str, ...]:
    """Copy every photo into `folder` and write the index. `tell(done, of)` may return False to stop.

    A photo that is missing or was altered is told in the index. Gives those sentences. Raises OSError,
    Stopped.
    """
    lines = [
        f"Photos of job {_one_line(record.job)}, {_one_line(record.device)}: {_one_line(record.title)}",
        f"Session {record.session}, begun {record.began}"
        + (f", ended {record.ended}" if record.ended else ""),
        "Each line: file, purpose, time, person, SHA-256 of the file. The files are unaltered originals.",
        "To check them where that tool exists: sha256sum -c sha256sums.txt",
        "",
    ]
    sums, troubles = [], []
    for done, line in enumerate(record.photos, start=1):
        name = picture_name(record, line)
        trouble = _copy(shelf, line, folder / name)
        if trouble:
            troubles.append(f"{name}: {trouble}")
        else:
            sums.append(f"{line.sha256}  {name}")
        facts = (name, line.purpose, day_and_time(line.at), _one_line(line.by), line.sha256)
        lines.append("  ".join(facts) + (f"  NOT COPIED: {trouble}" if trouble else ""))
        if tell and not tell(done, len(record.photos)):
            raise Stopped("The export was stopped.")
    if not record.photos:
        lines.append("No photos were taken.")
    write_file(folder / INDEX, ("\n".join(lines) + "\n").encode("utf-8", "replace"))
    write_file(folder / "sha256sums.txt", ("\n".join(sums) + "\n").encode("ascii") if sums else b"")
    return tuple(troubles)


def _copy(shelf: ShelfLike, line: PhotoLine, target: Path) -> str:
    """Copy one original; gives a sentence when it cannot be copied. Raises OSError for the target's sake
    only.
    """
    try:
        data = read_original(shelf, line.sha256)
    except PhotoTrouble as trouble:
        return str(trouble)
    if hashlib.sha256(data).hexdigest() != line.sha256:
        return "The file differs from what was kept: its SHA-256 is not the logged one."
    write_file(target, data)
    return ""


def _one_line(text: str) -> str:
    return " ".join(text.split())
