"""What is known of where a step's parts lie in its next photo. Gathered in the window's thread, plain values only.

The pixels are camera/part_place.py's, the verdict photo_judge.py's.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchguide.camera.part_place import PartOutline
from benchguide.camera.simulated import Scene
from benchguide.procedure.device import Part
from benchguide.session.reference import as_found_for
from benchguide.session.state import Purpose, State


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier photo of the same place: file, hash, size, marks on it (x, y, size in its pixels), and whether it
    is an as-found photo in which nothing was found wrong: glare in a later one is new then.
    """

    path: Path
    sha256: str
    width: int
    height: int
    marks: tuple[tuple[float, float, float], ...]
    sound: bool


@dataclass(frozen=True, slots=True)
class Known:
    """The parts of the step by their map, the scene the picture is registered to (the simulated bench knows), and an
    earlier photo of the same place."""

    parts: tuple[PartOutline, ...] = ()
    scene: Scene | None = None
    earlier: Earlier | None = None


def known_for(state: State, step_id: str, purpose: str, scene: Scene | None, photo: object) -> Known:
    """What is known before a photo of this step is taken. `photo`: hash to path."""
    step = state.step_of(step_id) or state.step
    by_id = state.job.device.by_id
    parts = tuple(outline_of(by_id[name]) for name in step.parts if name in by_id)
    found = as_found_for(state, step) if purpose == Purpose.AS_LEFT else None
    if found is None:
        # a retake: places that were marked on the photo before count for this one
        marked = [p for p in state.photos if p.step == step_id and any(state.places.get(p.sha256, ()))]
        found = marked[-1] if marked else None
    if found is None or not callable(photo):
        return Known(parts, scene)
    marks = tuple((m.x, m.y, m.size) for m in state.places.get(found.sha256, ()) if m is not None)
    sound = found.purpose == Purpose.AS_FOUND and not found.faults
    earlier = Earlier(photo(found.sha256), found.sha256, found.width, found.height, marks, sound)
    return Known(parts, scene, earlier)


def outline_of(part: Part) -> PartOutline:
    """Points around a part: its body, else the places of its screws with their heads, else what runs along a path."""
    points: tuple[tuple[float, float], ...]
    if part.box:
        left, top, wide, high = part.box
        points = ((left, top), (left + wide, top), (left + wide, top + high), (left, top + high))
    elif part.places:
        half = ((part.screws.head_mm if part.screws else None) or 2.8) / 2
        points = tuple(
            (x + dx, y + dy) for x, y in part.places for dx in (-half, half) for dy in (-half, half)
        )
    else:
        points = tuple(part.path)
    return PartOutline(part.name, points, part.z_mm)
