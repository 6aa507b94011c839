"""What the simulated bench is told to draw: exactly what the ledger says is in the device."""

from pathlib import Path

from benchguide.procedure.loader import load_device
from benchguide.procedure.words import Face, PartKind
from benchguide.session.ledger import Ledger, take_off
from benchguide.window.scene import scene_of

DEVICE = load_device(Path(__file__).parents[2] / "procedures/gloamreed/gloamreed.device.yaml").model


def ids(ledger: Ledger, face: Face = Face.BACK) -> set[str]:
    return {shape.id for shape in scene_of(DEVICE, ledger, face).shapes}


def test_a_part_that_is_out_is_not_drawn() -> None:
    assert "main-board" in ids(Ledger())
    assert "main-board" not in ids(take_off(Ledger(), "main-board", 1, "", ""))


def test_screws_that_are_out_leave_their_holes() -> None:
    part = DEVICE.by_id["screws-back"]
    scene = scene_of(DEVICE, take_off(Ledger(), part.id, 3, "", ""))
    kinds = [shape.kind for shape in scene.shapes if shape.id.startswith("screws-back-")]
    assert (kinds.count("screw"), kinds.count("hole")) == (part.pieces - 3, 3)


def test_each_side_shows_its_own_parts() -> None:
    front = {part.id for part in DEVICE.parts if part.face is Face.FRONT and part.kind is not PartKind.SCREWS}
    assert front
    assert front <= ids(Ledger(), Face.FRONT)
    assert not front & ids(Ledger())


def test_cables_and_loose_things_look_like_what_they_are() -> None:
    shapes = {shape.id: shape for shape in scene_of(DEVICE, Ledger()).shapes}
    cables = {part.name: shapes[f"{part.id}-cable"] for part in DEVICE.parts if f"{part.id}-cable" in shapes}
    coax = [shape for name, shape in cables.items() if name.startswith("Coax")]
    flex = [shape for name, shape in cables.items() if name.endswith("flex")]
    assert coax
    assert flex
    assert all(one.width_mm < other.width_mm and one.tone != other.tone for one in coax for other in flex)
    loose = {p.name: shapes[p.id] for p in DEVICE.parts if p.kind is PartKind.LOOSE and p.id in shapes}
    assert len({(shape.kind, shape.tone) for shape in loose.values()}) > 2
