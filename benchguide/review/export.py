"""A record into a folder that a person chose: page, table, pictures. All or nothing for each, under a
free name.
"""

import errno
import re
import secrets
import shutil
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from benchguide.review.embed import ShelfLike
from benchguide.review.page import page
from benchguide.review.pictures import write_pictures
from benchguide.review.problems import ReviewProblem
from benchguide.review.record import Record
from benchguide.review.table import description, table
from benchguide.review.table_seen import description_seen, table_seen
from benchguide.store.durable import TEMP_PREFIX, make_folder, sync_folder, write_file

KINDS = ("page", "table", "pictures")

Tell = Callable[[int, int], bool]
"""Called with photos done and photos in all; returning False stops the export."""


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written, and sentences about photos that could not be taken along."""

    paths: tuple[Path, ...]
    troubles: tuple[str, ...] = ()


def export_record(
    record: Record,
    shelf: ShelfLike,
    target_folder: Path,
    kinds: Collection[str] = KINDS,
    tell: Tell | None = None,
    made: datetime | None = None,
) -> Exported:
    """Write the wanted kinds. Nothing that is there already is overwritten: a number is added to the name.

    Raises ReviewProblem with one sentence (full disk, read-only folder, unknown kind), Stopped when
    `tell` said so.
    """
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown or not kinds:
        what = f"{unknown[0]!r}" if unknown else "nothing"
        raise ReviewProblem(f"A record is exported as page, table or pictures, not as {what}.")
    paths: list[Path] = []
    troubles: list[str] = []
    try:
        make_folder(target_folder)
        for kind in dict.fromkeys(kinds):
            written, told = _WRITERS[kind](record, shelf, target_folder, tell, made)
            paths += written
            troubles += told
    except OSError as error:
        raise ReviewProblem(_sentence(error, target_folder)) from error
    return Exported(tuple(paths), tuple(dict.fromkeys(troubles)))


Written = tuple[list[Path], tuple[str, ...]]


def _page(
    record: Record, shelf: ShelfLike, folder: Path, tell: Tell | None, made: datetime | None
) -> Written:
    html, troubles = page(record, shelf, tell, made)
    target = _free(folder, _stem(record), ".html")
    write_file(target, html.encode("utf-8", "replace"))
    return [target], troubles


def _table(
    record: Record, shelf: ShelfLike, folder: Path, tell: Tell | None, made: datetime | None
) -> Written:
    """The visits, and beside them what the camera saw; each with the meaning of its columns."""
    target = _free(folder, _stem(record), ".csv")
    seen = _free(folder, f"{target.stem}_seen", ".csv")
    files = {
        target: table(record),
        target.with_name(f"{target.name}-metadata.json"): description(target.name),
        seen: table_seen(record),
        seen.with_name(f"{seen.name}-metadata.json"): description_seen(seen.name),
    }
    for path, data in files.items():
        write_file(path, data)
    return list(files), ()


def _pictures(
    record: Record, shelf: ShelfLike, folder: Path, tell: Tell | None, made: datetime | None
) -> Written:
    """Filled under a temporary name in the same folder; appears under its own name when it is complete."""
    temp = folder / f"{TEMP_PREFIX}{secrets.token_hex(8)}"
    temp.mkdir()
    try:
        troubles = write_pictures(record, shelf, temp, tell)
        target = _free(folder, f"{_stem(record)}_photos", "")
        temp.rename(target)
    except BaseException:
        shutil.rmtree(temp, ignore_errors=True)
        raise
    sync_folder(folder)
    return [target], troubles


_WRITERS = {"page": _page, "table": _table, "pictures": _pictures}


def _stem(record: Record) -> str:
    """Job, day and the head of the session's name, in characters that every file system takes."""
    job = re.sub(r"[^A-Za-z0-9-]+", "-", record.job).strip("-")[:40] or "job"
    session = re.sub(r"[^A-Za-z0-9-]+", "-", record.session)[:8]
    return f"{job}_{record.facts[0].at.wall:%Y-%m-%d}_{session}"


def _free(folder: Path, stem: str, suffix: str) -> Path:
    """A path that is not taken: the name itself, or with `_2`, `_3` and so on."""
    path, number = folder / f"{stem}{suffix}", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}_{number}{suffix}"
    return path


def _sentence(error: OSError, folder: Path) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"There is no room left in {folder}; make room or choose another folder, then export again."
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"Nothing may be written to {folder}; choose another folder."
    if isinstance(error, FileExistsError | NotADirectoryError):
        return f"{folder} is not a folder; choose another one."
    reason = (error.strerror or str(error)).lower()
    return f"The record could not be exported to {folder}: {reason}. Choose another folder and export again."
