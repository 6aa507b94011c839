"""What the simulated bench shows: the part map in its present state as plain shapes. Draws nothing itself."""

from collections.abc import Iterator

from benchguide.camera.simulated import Scene, Shape
from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Face, PartKind
from benchguide.session.ledger import Ledger

KIND_NAMES = {
    PartKind.COVER: "cover",
    PartKind.CONNECTOR: "connector",
    PartKind.MODULE: "module",
    PartKind.CELL: "cell",
    PartKind.LOOSE: "loose",
}

#: how a part looks that its kind alone does not tell: a word of its name, shape kind ("" for that of its kind), tone
LOOKS: tuple[tuple[str, str, str], ...] = (
    ("rubber", "", "#2b2b2f"),
    ("gasket", "", "#2b2b2f"),
    ("magnet", "cover", "#8f9298"),
    ("shim", "cover", "#b4b6bb"),
    ("washer", "cover", "#b4b6bb"),
    ("tape", "cover", "#b98d3c"),
    ("sheet", "cover", "#b98d3c"),
    ("badge", "cover", "#9fa3a8"),
    ("membrane", "cover", "#d9dad6"),
    ("strap", "", "#34343a"),
    ("tie", "cover", "#d9dad6"),
    ("heat-conducting", "", "#7c8a94"),
    ("filter", "", "#55585c"),
)
#: what runs along a path: a word of its name, width in mm, tone; anything else is a flat flex
CABLES: tuple[tuple[str, float, str], ...] = (
    ("coax", 1.2, "#2c2c30"),
    ("braid", 1.9, "#a8a59c"),
    ("earth", 1.9, "#5c7a3a"),
    ("ribbon", 7.0, "#a9a9a4"),
    ("link", 1.6, "#3a3a40"),
    ("plug", 1.8, "#37373c"),
)
FLEX = (3.0, "")


def face_of(device: DeviceMap, step: Step) -> Face:
    """The side that is up at this step: its own word, else that of the parts it moves, else the back."""
    if step.face:
        return step.face
    faces = {device.by_id[name].face for name in step.parts if name in device.by_id}
    return faces.pop() if len(faces) == 1 else Face.BACK


def scene_of(device: DeviceMap, ledger: Ledger, face: Face = Face.BACK) -> Scene:
    """The device seen from one side, with the parts of the ledger missing."""
    parts = [part for part in device.parts if part.face is face]
    shapes = [shape for part in parts for shape in _shapes(part, ledger.pieces_of(part.id))]
    if face is Face.FRONT:
        shapes.insert(0, _front_plate(device))
    outline = device.outline
    return Scene(outline.width_mm, outline.height_mm, outline.corner_mm, tuple(shapes))


def with_refitted(ledger: Ledger, step: Step) -> Ledger:
    """The ledger as it will be once this refit step is done."""
    return Ledger(tuple(item for item in ledger.out if item.part not in step.parts))


def _front_plate(device: DeviceMap) -> Shape:
    """The front of a device is one closed plate under whatever the part map says is on it."""
    width, height = device.outline.width_mm, device.outline.height_mm
    return Shape("front-plate", "cover", 1.0, ((1.5, 1.5), (width - 1.5, height - 1.5)))


def _shapes(part: Part, out: int) -> Iterator[Shape]:
    if part.kind is PartKind.SCREWS:
        yield from _screws(part, out)
    elif out:
        return
    elif part.kind is PartKind.BOND:
        if len(part.path) > 1:
            yield Shape(part.id, "bond", part.z_mm, part.path, width_mm=2.0)
    else:
        yield from _body(part)


def _screws(part: Part, out: int) -> Iterator[Shape]:
    assert part.screws is not None
    head = part.screws.head_mm or 2.8
    drive = part.screws.drive.split()[0]
    drive = drive if drive in ("cross", "slot", "hexalobular", "hex") else "cross"
    for number, place in enumerate(part.places):
        name = f"{part.id}-{number + 1}"
        if number < part.screws.count - out:
            yield Shape(name, "screw", part.z_mm, (place,), diameter_mm=head, drive=drive)
        else:
            yield Shape(name, "hole", max(0.0, part.z_mm - 1), (place,), diameter_mm=head * 0.6)


def _body(part: Part) -> Iterator[Shape]:
    if len(part.path) > 1:
        width, tone = _cable_look(part)
        z = max(0.0, part.z_mm - 0.1)
        yield Shape(f"{part.id}-cable", "cable", z, part.path, width_mm=width, tone=tone)
    if part.box:
        left, top, width, height = part.box
        label = part.name if part.kind is PartKind.CELL else ""
        kind, tone = _look(part)
        corners = ((left, top), (left + width, top + height))
        yield Shape(part.id, kind, part.z_mm, corners, label=label[:24], tone=tone)


def _look(part: Part) -> tuple[str, str]:
    """Kind of shape and tone of the body of a part."""
    name = part.name.lower()
    if part.kind is PartKind.LOOSE:
        for word, kind, tone in LOOKS:
            if word in name:
                return kind or KIND_NAMES[part.kind], tone
    if part.kind is PartKind.MODULE and "board" in name:
        return "board", ""
    return KIND_NAMES[part.kind], ""


def _cable_look(part: Part) -> tuple[float, str]:
    """Width in mm and tone of what runs along the path of a part."""
    words = part.name.lower().split()
    return next(((width, tone) for word, width, tone in CABLES if word in words), FLEX)
