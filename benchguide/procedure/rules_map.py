"""Rules on the part map itself: screws that can be mistaken for each other, parts that nothing concerns."""

import re
from collections.abc import Iterator

from benchguide.procedure.device import Part, ScrewType
from benchguide.procedure.problems import Severity
from benchguide.procedure.rules import Finding, Rule, View, named
from benchguide.procedure.words import PartKind

WARNING, ADVICE = Severity.WARNING, Severity.ADVICE

#: lengths closer than this are taken for equal, by eye and by a camera over the mat, in mm
ALIKE_MM = 0.5

Group = tuple[int, Part, ScrewType]


def _by_cell(view: View) -> Iterator[list[Group]]:
    """Screw groups that share a cell of the mat, in the order of the file."""
    cells: dict[str, list[Group]] = {}
    for number, part in enumerate(view.device.parts):
        if part.screws and part.cell:
            cells.setdefault(part.cell, []).append((number, part, part.screws))
    yield from (groups for groups in cells.values() if len(groups) > 1)


def _alike(a: ScrewType, b: ScrewType) -> bool:
    same = a.drive.lower() == b.drive.lower() and a.thread == b.thread
    # a tenth of a micrometre, so that 3.5 - 3.0 in binary fractions does not decide
    return same and 0 < abs(a.length_mm - b.length_mm) < ALIKE_MM - 1e-4


def easily_swapped(view: View) -> Iterator[Finding]:
    """Screws of almost equal length lie in one cell."""
    for groups in _by_cell(view):
        for place, (number, part, screws) in enumerate(groups):
            others = [other.id for _, other, theirs in groups[:place] if _alike(screws, theirs)]
            if others:
                message = f"`{part.id}` shares this cell with {named(others)}, almost equal in length"
                remedy = "Give each of these screw groups a cell of its own."
                yield Finding(("parts", number, "cell"), part.cell, message, remedy, in_map=True)


def shared_cell(view: View) -> Iterator[Finding]:
    """Different screws lie in one cell."""
    for groups in _by_cell(view):
        for place, (number, part, screws) in enumerate(groups):
            others = [
                other.id
                for _, other, theirs in groups[:place]
                if _kind(theirs) != _kind(screws) and not _alike(screws, theirs)
            ]
            if others:
                message = f"`{part.id}` shares this cell with {named(others)}, which are other screws"
                yield Finding(
                    ("parts", number, "cell"), part.cell, message, "Give it a cell of its own.", in_map=True
                )


def _kind(screws: ScrewType) -> tuple[str, str, float, str]:
    return screws.drive.lower(), screws.thread, screws.length_mm, screws.head


def _told(part: Part, length_mm: float) -> bool:
    """True when a person is told what sets these screws apart: by their length in a text or a caution."""
    texts = (part.off_text, part.on_text, part.key_point, part.reason, *(c.text for c in part.cautions))
    pattern = re.compile(rf"(?<![\d.,]){re.escape(f'{length_mm:g}')}(?:\.0)?\s?mm\b")
    return any(pattern.search(text) for text in texts if text)


def too_long_elsewhere(view: View) -> Iterator[Finding]:
    """A screw is too long for another hole of its thread, and nobody is told.

    What lies under a head takes up some of the length: a hole is known to take its own screw, so only a screw
    longer than that one and longer than the hole is deep is told.
    """
    deepest: dict[str, list[tuple[float, str]]] = {}
    for part in view.device.parts:
        if part.screws and part.screws.depth_mm is not None and not _told(part, part.screws.length_mm):
            most = max(part.screws.depth_mm, part.screws.length_mm)
            deepest.setdefault(part.screws.thread, []).append((most, part.id))
    for holes in deepest.values():
        holes.sort()
    for number, part in enumerate(view.device.parts):
        if not part.screws or _told(part, part.screws.length_mm):
            continue
        holes = deepest.get(part.screws.thread, [])
        if holes and holes[0][0] < part.screws.length_mm - 1e-4:
            names = [name for most, name in holes[:50] if most < part.screws.length_mm - 1e-4]
            message = f"`{part.id}` is longer than the holes of {named(names)} are deep, and goes into them"
            remedy = "Name the length in a text of one of the two (`3 mm`), or add a NOTICE to it."
            keys = ("parts", number, "screws", "length_mm")
            yield Finding(keys, f"{part.screws.length_mm:g}", message, remedy, in_map=True)


def cell_not_isolated(view: View) -> Iterator[Finding]:
    """A cell that no connector isolates."""
    isolated = {name for part in view.device.isolators for name in part.isolates}
    for number, part in enumerate(view.device.parts):
        if part.kind is PartKind.CELL and part.id not in isolated:
            message = f"no connector isolates `{part.id}`, so the order of isolation cannot be checked"
            remedy = "Add `isolates` to the connector that disconnects it."
            yield Finding(("parts", number, "id"), None, message, remedy, in_map=True)


def unused_part(view: View) -> Iterator[Finding]:
    """A part that holds, covers and serves nothing, and that no step names."""
    if not view.steps:
        return
    used = {name for step in view.steps for name in step.parts}
    used.update(name for part in view.device.isolators for name in part.isolates)
    for number, part in enumerate(view.device.parts):
        tied = part.held_by or part.under or part.serves or part.id in view.device.needed_by
        if not tied and part.id not in used:
            message = f"`{part.id}` is tied to no other part, and no step names it"
            remedy = "Say what it is held by or lies under, or delete it."
            yield Finding(("parts", number, "id"), None, message, remedy, in_map=True)


MAP_RULES = (
    Rule(
        "easily-swapped", WARNING, f"Like screws less than {ALIKE_MM:g} mm apart lie in different cells.",
        "Neither eye nor camera tells them apart, and a screw too long ruins a board or a display.",
        "`M1.6 x 3.0` and `M1.6 x 3.3` cross-head screws both in cell `B2`.", map=easily_swapped,
    ),
    Rule(
        "shared-cell", ADVICE, "Different screws lie in different cells.",
        "The cell is what tells where a screw belongs.",
        "`M1.6 x 3` and `M2 x 5` both in cell `B2`.", map=shared_cell,
    ),
    Rule(
        "too-long-elsewhere", WARNING, "A screw too long for another hole of its thread is told apart.",
        "It goes in easily and comes out on the other side.",
        "`M1.6 x 6` beside a hole for `M1.6 x 3`, 4 mm deep, and no text tells.", map=too_long_elsewhere,
    ),
    Rule(
        "cell-not-isolated", ADVICE, "Every cell is isolated by a connector.",
        "Isolation comes before anything else is opened.",
        "A cell, and no connector with `isolates: [main-cell]`.", map=cell_not_isolated,
    ),
    Rule(
        "unused-part", ADVICE, "Every part is tied to another part or named by a step.",
        "A part without ties is a part whose ties were forgotten.",
        "`foam-3` has no `held_by` and no `under`, and no step names it.", job=unused_part,
    ),
)  # fmt: skip
