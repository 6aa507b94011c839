"""Exporting a session of a data folder in one call, as the command line and the demo do."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from benchguide.review.export import export_record
from benchguide.review.record import read_record
from benchguide.store.log import EventLog
from benchguide.store.photos import PhotoShelf
from benchguide.store.places import data_folder


def export_session(
    data: Path | None, name: str, target: Path, kinds: Collection[str] = ("page", "table", "pictures")
) -> tuple[Path, ...]:
    """Write the wanted kinds of one session into `target`; returns what was written.

    `name` may be the first letters of the session's name or its job number.
    Raises ValueError, StoreProblem or ReviewProblem with one sentence.
    """
    folder = data_folder(data)
    with EventLog.open(folder, mode="read") as log:
        record = read_record(log, find_session(log, name))
    return export_record(record, PhotoShelf(folder), target, kinds).paths


def find_session(log: EventLog, name: str) -> str:
    """The one session whose name begins with `name`, or whose job number it is. Raises ValueError."""
    rows = log.sessions()
    found = [row.session_id for row in rows if row.session_id.startswith(name) or row.job == name]
    if len(found) == 1:
        return found[0]
    if not found:
        raise ValueError(f"There is no session {name!r}. `benchguide records` lists them.")
    raise ValueError(f"{len(found)} sessions fit {name!r}; write more letters of the session's name.")
