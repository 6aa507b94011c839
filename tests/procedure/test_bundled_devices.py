"""The bundled devices as a stock of demonstration data: how many, how complete, and whether their maps look right.

Whether each file passes the checker is test_bundled.py. Here jobs and ways in are played by the simulator, which
shares no code with the program, and the geometry of a map is held against its own relations.
"""

from collections import Counter
from math import hypot
from pathlib import Path

import pytest

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.planner import plan_way_in
from benchguide.procedure.shelf import Shelf
from benchguide.procedure.words import Face, PartKind
from tests.simulator import moves_of, play

SHELF = Shelf([Path(__file__).parents[2] / "procedures"])
DEVICES = {entry.loaded.model.id: entry.loaded.model for entry in SHELF.devices() if entry.loaded}
JOBS = {path.name: SHELF.procedure_at(path) for path in SHELF.procedure_paths}

#: Parts count as one over the other when they come this close in the plane, in mm: a screw beside the edge that
#: it clamps, a tongue of a cover (a choice of ours, no published figure)
BESIDE_MM = 5.0

every_device = pytest.mark.parametrize("device", DEVICES.values(), ids=DEVICES)
every_job = pytest.mark.parametrize("entry", JOBS.values(), ids=JOBS)


def test_three_devices_with_two_jobs_each_and_some_150_parts():
    jobs = Counter(entry.loaded.model.device for entry in JOBS.values() if entry.loaded)
    assert set(jobs) == set(DEVICES)
    assert len(DEVICES) >= 3
    assert min(jobs.values()) >= 2
    assert jobs["gloamreed"] >= 3
    assert 140 <= sum(len(device.parts) for device in DEVICES.values()) <= 180


def test_both_ways_of_writing_a_job_are_shown():
    written = [entry.path.read_text("utf-8") for entry in JOBS.values()]
    assert any("\nsteps:" in text for text in written)
    assert any("\nsteps:" not in text for text in written)


@every_job
def test_a_job_can_be_done_step_by_step(entry):
    job = entry.loaded.model
    assert len(job.steps) > 20
    assert play(entry.device.model, moves_of(job)) == []


@every_job
def test_a_job_tells_key_points_times_and_a_test_before_closing(entry):
    job = entry.loaded.model
    moving = [
        step for step in job.steps if step.action.value in ("off", "open", "lift", "on", "close", "fit")
    ]
    bare = [step.id for step in moving if not (step.key_point and step.reason)]
    assert bare == []
    assert [step.id for step in job.steps if not 0 < step.time_s[0] < step.time_s[1]] == []
    tested = [line for step in job.steps if step.before_seal for line in step.lines]
    assert len([line for line in tested if line.serves]) >= 2
    assert job.cautions
    assert job.steps[-1].stage.value == "close-out"


@every_device
def test_every_part_says_how_it_comes_off_and_goes_back(device):
    keys = ("off_text", "on_text", "key_point", "reason", "off_s", "on_s")
    silent = [(part.id, key) for part in device.parts for key in keys if getattr(part, key) is None]
    assert silent == []
    # screws go back by the key point they came off by; all else has one of its own
    alone = [
        p.id for p in device.parts if p.kind is not PartKind.SCREWS and not (p.on_key_point and p.on_reason)
    ]
    assert alone == []
    assert [p.id for p in device.parts if p.off_s and p.on_s and not (p.off_s[0] < p.off_s[1])] == []


@every_device
def test_small_pieces_have_a_cell_of_the_mat_each(device):
    small = [p for p in device.parts if p.kind in (PartKind.SCREWS, PartKind.LOOSE)]
    assert [p.id for p in small if p.cell is None] == []
    cells = Counter(p.cell for p in device.parts if p.cell)
    assert [cell for cell, count in cells.items() if count > 1] == []


@every_device
def test_the_way_in_to_every_part_is_possible_and_explained(device):
    for part in device.parts:
        way_in = plan_way_in(device, part.id)
        names = [removal.part.id for removal in way_in.removals]
        moves = [("off", (name,)) for name in names]
        assert [fault for fault in play(device, moves) if fault.what != "left-off"] == [], part.id
        assert way_in.exact, part.id
        assert way_in.untimed == ()
        assert all(removal.why.startswith("because ") for removal in way_in.removals)


# -- drawn from its millimetres


def rectangles(device: DeviceMap, part: Part) -> list[tuple[float, float, float, float]]:
    """Left, top, right, bottom of all that is known of a part's position, seen from the back."""
    found = [(x, y, x, y) for x, y in part.places]
    if part.box:
        left, top, width, height = part.box
        found.append((left, top, left + width, top + height))
    for (x, y), (u, v) in zip(part.path, part.path[1:], strict=False):
        found.append((min(x, u), min(y, v), max(x, u), max(y, v)))
    if part.face is Face.FRONT:
        wide = device.outline.width_mm
        found = [(wide - right, top, wide - left, bottom) for left, top, right, bottom in found]
    return found


def apart(device: DeviceMap, one: Part, other: Part) -> float:
    """Distance in the plane, in mm."""
    return min(
        hypot(max(a[0] - b[2], b[0] - a[2], 0), max(a[1] - b[3], b[1] - a[3], 0))
        for a in rectangles(device, one)
        for b in rectangles(device, other)
    )


@every_device
def test_every_part_has_a_place_in_the_drawing(device):
    assert [p.id for p in device.parts if not rectangles(device, p)] == []
    # bonds are lines and screws are points; everything else is drawn as an area
    areas = [p for p in device.parts if p.kind not in (PartKind.SCREWS, PartKind.BOND)]
    assert [p.id for p in areas if p.box is None] == []


@every_device
def test_what_holds_or_covers_a_part_lies_there(device):
    far = [
        (part.id, name)
        for part in device.parts
        for name in part.held_by + part.under
        if apart(device, part, device.by_id[name]) > BESIDE_MM
    ]
    assert far == []


@every_device
def test_a_cover_lies_higher_than_what_it_hides(device):
    low = [
        (part.id, name)
        for part in device.parts
        for name in part.under
        if device.by_id[name].kind is PartKind.COVER
        and device.by_id[name].face is part.face
        and part.kind is not PartKind.MODULE  # a module may stand up through an opening of its cover
        and device.by_id[name].z_mm < part.z_mm
    ]
    assert low == []


@every_device
def test_screw_heads_of_one_height_do_not_touch(device):
    heads = [
        (part, x, y, part.screws.head_mm or 3.0)
        for part in device.parts
        if part.screws
        for x, y in part.places
    ]
    touching = [
        (one.id, other.id)
        for n, (one, x, y, wide) in enumerate(heads)
        for other, u, v, broad in heads[n + 1 :]
        if one.face is other.face
        and abs(one.z_mm - other.z_mm) < 2
        and hypot(x - u, y - v) < (wide + broad) / 2
    ]
    assert touching == []


# -- screws against published tables

#: Largest head diameter in mm by head and thread: ISO 1580 and ISO 14583 (pan), ISO 1207 and ISO 14580 (cheese),
#: ISO 7046 (flat, raised part left out; from memory). M4 from memory.
HEADS = {
    "pan": {"M1.6": 3.2, "M2": 4.0, "M2.5": 5.0, "M3": 5.6, "M4": 8.0},
    "cheese": {"M1.6": 3.0, "M2": 3.8, "M2.5": 4.5, "M3": 5.5, "M4": 7.0},
    "flat": {"M1.6": 3.0, "M2": 3.8, "M2.5": 4.7, "M3": 5.5, "M4": 8.4},
}
#: Size of the hexalobular recess by thread: ISO 14583 and ISO 14580; M4 from memory
HEXALOBULAR = {"M2": "T6", "M2.5": "T8", "M3": "T10", "M4": "T20"}
#: Preferred lengths in mm, ISO 888 (from memory)
LENGTHS = {2, 2.5, 3, 4, 5, 6, 8, 10, 12, 16, 20, 25}
#: Metric threads of the coarse series, ISO 261
COARSE = {"M1", "M1.2", "M1.4", "M1.6", "M2", "M2.5", "M3", "M4"}


@every_device
def test_screws_are_such_as_the_standards_have(device):
    for part in device.parts:
        screws = part.screws
        if screws is None or screws.thread.startswith("ST"):
            continue
        assert screws.thread in COARSE, part.id
        assert screws.length_mm in LENGTHS, part.id
        head = HEADS.get(screws.head, {}).get(screws.thread)
        assert head is None or screws.head_mm == head, part.id
        kind, size = screws.drive.split()
        if kind == "hexalobular":
            assert size == HEXALOBULAR[screws.thread], part.id
        assert screws.depth_mm is not None, part.id
        assert screws.length_mm <= screws.depth_mm < screws.length_mm + 5, part.id


@every_device
def test_the_tool_of_a_screw_has_its_size(device):
    for part in device.parts:
        if part.screws:
            assert part.screws.drive in device.tool_names[part.tool], part.id
