"""Prints what lies on the bench during a job: the part map at 1:1 as a placemat, and the parts mat. Files only.

No dialogs: the folder stands in the window. Both functions may run in a thread.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from benchguide.procedure.device import DeviceMap, Part

PAPERS = ("A4", "Letter", "A5")


def write_placemat(device: DeviceMap, folder: Path, paper: str) -> Path:
    """Write the placemat of a device into a folder, which is made. Raises ValueError and OSError."""
    from benchguide.window.print_map import print_map

    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{device.id}-placemat-{paper}.pdf"
    print_map(device, path, paper)
    return path


def write_parts_mat(device: DeviceMap, parts: Iterable[Part], title: str, folder: Path, paper: str) -> Path:
    """Write the parts mat with labels for these parts into a folder, which is made.

    Raises ValueError when the paper lacks a cell that one of them has, OSError when it cannot be written.
    """
    from benchguide.camera.mat_layout import mat_layout
    from benchguide.window.print_labels import cell_labels
    from benchguide.window.print_mat import write_mat

    labels, layout = cell_labels(device, parts), mat_layout(paper)
    lacking = [cell for cell in labels if cell not in layout.cells]
    if lacking:
        raise ValueError(
            f"The {paper} mat has no cell {lacking[0]}, which this job uses. Choose A4 or Letter."
        )
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{device.id}-parts-mat-{paper}.pdf"
    write_mat(layout, path, title, labels)
    return path


def trouble(error: Exception) -> str:
    """One sentence about what went wrong."""
    if isinstance(error, OSError):
        where = f" {error.filename}" if error.filename else ""
        return f"The file could not be written:{where} {(error.strerror or str(error)).lower()}. Name another folder."
    return str(error)
