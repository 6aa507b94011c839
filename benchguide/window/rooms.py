"""Makes the three rooms and connects them to the bench's parts. Wiring only."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from benchguide.procedure.check import check
from benchguide.review.record import Record, read_record
from benchguide.window.bench import BenchRoom
from benchguide.window.procedures_room import ProceduresRoom
from benchguide.window.records_room import RecordsRoom

if TYPE_CHECKING:
    from benchguide.window.app import Bench

THUMB_PX = 320


def make_bench_room(bench: Bench) -> BenchRoom:
    """The job in hand."""

    def thumb(sha256: str) -> Path:
        return bench.photos.thumbnail(sha256, THUMB_PX)

    shell = bench.shell
    room = BenchRoom(
        bench.theme, shell.actions_by_name, shell.question, bench.camera, bench.photos.path, thumb
    )
    room.said.connect(shell.message.say)
    return room


def make_procedures_room(bench: Bench) -> ProceduresRoom:
    """What is on this bench."""
    room = ProceduresRoom(
        bench.theme,
        lambda: bench.shelf.procedures(),
        check,
        bench.log.sessions,
        person=bench.settings.person,
        may_start=bench.writing,
        devices=lambda: bench.shelf.devices(),
        print_folder=bench.folder / "prints",
    )
    before: ProceduresRoom | None = getattr(bench, "procedures_room", None)
    if before is not None:
        # another theme or text size: the plan in view stays in view
        room.plan.asked = before.plan.asked
        room.stack.setCurrentIndex(before.stack.currentIndex())
    room.start_wanted.connect(bench.start)
    room.resume_wanted.connect(bench.resume)
    return room


def make_records_room(bench: Bench) -> RecordsRoom:
    """Finished and open jobs."""

    def read(session_id: str) -> Record:
        # a connection of its own: a long session that is being read keeps no append waiting
        from benchguide.store.log import EventLog

        with EventLog.open(bench.folder, mode="read") as log:
            return read_record(log, session_id)

    room = RecordsRoom(
        bench.theme,
        bench.log.sessions,
        read,
        bench.photos,
        export_folder=bench.folder / "exports",
        may_resume=bench.writing,
    )
    room.resume_wanted.connect(bench.resume)
    room.exported.connect(lambda paths: bench.shell.message.say(_written(paths)))
    return room


def _written(paths: Iterable[Path]) -> str:
    names = ", ".join(str(path) for path in paths)
    return f"Written: {names}" if names else "Nothing was written."
