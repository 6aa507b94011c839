"""`benchguide mat read PHOTO`: one photo of a parts mat to text, JSON and a marked picture. No window, no session."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from benchguide.camera import photo_file
from benchguide.camera.mat_layout import mat_layout
from benchguide.camera.mat_picture import marked
from benchguide.camera.mat_reading import CellReading, Item, MatReading, ScrewReading, measure_screw, read_mat


def read_photo(
    photo: Path, *, as_json: bool = False, out: Path | None = None, paper: str | None = None,
    bar_mm: float | None = None,
) -> str:  # fmt: skip
    """What is to be printed for one photo; writes the marked picture to `out` where it is given.

    paper: the mat that should lie there (`A4`, `A5`, `Letter`). bar_mm: the scale bar as a ruler shows it.
    Raises ValueError (also NoMat and BadPicture), each with one sentence.
    """
    layout = mat_layout(paper) if paper else None
    image = photo_file.read_photo(photo)
    reading = read_mat(image, layout, bar_mm=bar_mm)
    factor = reading.scale.factor if reading.scale.by == "ruler" and reading.scale.factor else 1.0
    screw = measure_screw(image, reading.plane, factor)
    if out is not None:
        photo_file.write_photo(out, marked(image, reading))
    if as_json:
        return json.dumps(reading_doc(reading, screw), indent=2, ensure_ascii=False)
    return reading_text(reading, screw)


def reading_doc(reading: MatReading, screw: ScrewReading | None = None) -> dict[str, Any]:
    """The reading as plain JSON values; DEVELOPERS.md has the schema. Lengths in mm, places in pixels."""
    return {
        "cells": [_cell_doc(cell) for cell in reading.cells.values()],
        "measuring_place": None if screw is None else {
            "length_mm": _rounded(screw.length_mm), "sigma_mm": _rounded(screw.sigma_mm),
            "own_mm": _rounded(screw.own_mm), "own_sigma_mm": _rounded(screw.own_sigma_mm),
            "reason": screw.reason, "px_per_mm": round(screw.px_per_mm, 2),
        },
        "paper": reading.paper,
        "px_per_mm": round(reading.px_per_mm, 2),
        "turned_deg": round(reading.turned_deg, 1),
        "scale": {
            "state": reading.scale.state, "factor": _rounded(reading.scale.factor, 4), "by": reading.scale.by,
            "sentence": reading.scale.sentence,
        },
        "markers": {
            "read": len(reading.plane.seen), "covered": list(reading.covered), "outside": list(reading.outside)
        },
        "warnings": list(reading.warnings),
    }  # fmt: skip


def _cell_doc(cell: CellReading) -> dict[str, Any]:
    doc: dict[str, Any] = {
        "cell": cell.cell,
        "count": cell.count,
        "at_least": cell.at_least,
        "items": [_item_doc(item) for item in cell.items],
        "reason": cell.reason,
        "px_per_mm": round(cell.px_per_mm, 2),
    }
    if cell.judged is not None:
        doc |= {"verdict": cell.judged.verdict.value, "sentence": cell.judged.sentence}
    return doc


def _item_doc(item: Item) -> dict[str, Any]:
    return {
        "kind": item.kind,
        "length_mm": _rounded(item.length_mm),
        "sigma_mm": _rounded(item.sigma_mm),
        "own_mm": _rounded(item.own_mm),
        "own_sigma_mm": _rounded(item.own_sigma_mm),
        "reason": item.reason,
        "x": round(item.spot[0], 1),
        "y": round(item.spot[1], 1),
    }


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)


def reading_text(reading: MatReading, screw: ScrewReading | None = None) -> str:
    """The reading for a person, one line a cell that is not empty."""
    lines = [f"{reading.paper} mat, {reading.px_per_mm:.1f} pixels a millimetre or more."]
    lines += list(reading.warnings)
    if reading.scale.sentence not in reading.warnings:
        lines.append(reading.scale.sentence)
    lines += [_line(cell) for cell in reading.cells.values() if cell.at_least or cell.count is None]
    empty = [cell.cell for cell in reading.cells.values() if cell.count == 0]
    if empty:
        lines.append("Empty: " + " ".join(empty))
    if screw is not None and screw.length_mm is not None and screw.sigma_mm is not None:
        lines.append(f"Measuring place: {screw.length_mm:.2f} ± {1.96 * screw.sigma_mm:.2f} mm.")
    elif screw is not None:
        lines.append(f"Measuring place: {screw.reason}")
    return "\n".join(lines)


def _line(cell: CellReading) -> str:
    count = (
        cell.count
        if cell.count is not None
        else f"at least {cell.at_least}"
        if cell.at_least
        else "cannot tell"
    )
    things = ", ".join(_words(item) for item in cell.items)
    rest = f" {cell.reason}" if cell.reason else ""
    return f"{cell.cell:3} {count}: {things}.{rest}" if things else f"{cell.cell:3} {count}.{rest}"


def _words(item: Item) -> str:
    if item.length_mm is None or item.sigma_mm is None:
        if item.kind == "screw" and item.reason:
            return f"screw ({item.reason[0].lower()}{item.reason[1:].rstrip('.')})"
        return item.kind
    return f"{item.kind} {item.length_mm:.2f} ± {1.96 * item.sigma_mm:.2f} mm"
