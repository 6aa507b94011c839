"""`benchguide mat print` and `benchguide map print`: find the files, print, say what was printed. No window opens."""

from __future__ import annotations

from pathlib import Path

from benchguide.bundled import procedures_folder
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import load_device
from benchguide.procedure.problems import BadFile
from benchguide.procedure.shelf import ProcedureEntry, Shelf
from benchguide.window.print_map import print_map
from benchguide.window.print_mat import print_mat


def print_mat_for(procedure: Path, paper: str | None = None, out: Path | None = None) -> str:
    """Print the parts mat of a procedure file, or of a bundled procedure by its short name.

    Returns one sentence for the person. Raises ValueError (also BadFile) and OSError.
    """
    entry = _procedure(procedure)
    if entry.loaded is None or entry.device is None:
        raise BadFile(entry.problems)
    job = entry.loaded.model
    target = out or Path(f"{job.id}.mat.pdf")
    used = print_mat(entry.device.model, job, target, paper)
    return f"{target}: parts mat on {used}. Print it at 100 %, and check the scale bar with a ruler."


def print_map_for(device: Path, paper: str = "A4", out: Path | None = None) -> str:
    """Print the placemat of a part map file, or of a bundled device by its short name.

    Returns one sentence for the person. Raises ValueError (also BadFile) and OSError.
    """
    part_map = _device(device)
    target = out or Path(f"{part_map.id}.map.pdf")
    pages = print_map(part_map, target, paper)
    count = len(pages.tiles)
    sheets = "one page" if count == 1 else f"{count} pages and a legend"
    return f"{target}: placemat on {sheets} of {paper}. Print it at 100 %, and check the bar with a ruler."


def _procedure(name: Path) -> ProcedureEntry:
    if not name.suffix and not name.exists():
        bundled = Shelf((procedures_folder(),)).procedure(str(name))
        if bundled is not None:
            return bundled
    return Shelf((name.parent,)).procedure_at(name)


def _device(name: Path) -> DeviceMap:
    if not name.suffix and not name.exists():
        bundled = Shelf((procedures_folder(),)).device(str(name))
        if bundled is not None:
            return bundled.model
    return load_device(name).model
