"""Rules on heat, cells, sealing and required photos: where work can hurt somebody or cannot be undone."""

import re
from collections.abc import Iterator
from math import hypot

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.problems import Severity
from benchguide.procedure.procedure import Step
from benchguide.procedure.rules import Finding, Move, Rule, View, named
from benchguide.procedure.words import Action, PartKind, SignalWord, Stage, WaitKind

ERROR, WARNING = Severity.ERROR, Severity.WARNING

#: heat put in at one place is taken to reach this far, in mm (a cautious choice of ours, no published figure)
NEAR_MM = 40.0


_HEAT = re.compile(
    r"\b(?:over)?heat\w*|\bhot\b|\bwarm\w*|\btemperature|\bdegrees?\b|°C|\bburn|\bfire\b|\bignite",
    re.IGNORECASE,
)
_ENGLISH = re.compile(r"\b(?:the|an?|of|and|not|can|it|is|to)\b", re.IGNORECASE)


def _heat_steps(view: View) -> Iterator[tuple[int, Step]]:
    for index, step in enumerate(view.steps):
        if step.wait and step.wait.kind is WaitKind.HEAT:
            yield index, step


def _points(part: Part, width: float, mirrored: bool) -> list[tuple[float, float, float, float]]:
    """Left, top, right, bottom of everything that is known of a part's position."""
    boxes = [(x, y, x, y) for x, y in (*part.places, *part.path)]
    if part.box:
        x, y, wide, high = part.box
        boxes.append((x, y, x + wide, y + high))
    if mirrored:
        boxes = [(width - right, top, width - left, bottom) for left, top, right, bottom in boxes]
    return boxes


def gap_mm(device: DeviceMap, a: Part, b: Part) -> float:
    """Distance of two parts in the plane, in mm; 0 when the position of one is not known."""
    first = _points(a, device.outline.width_mm, mirrored=False)
    second = _points(b, device.outline.width_mm, mirrored=a.face is not b.face)
    gaps = [
        hypot(max(p[0] - q[2], q[0] - p[2], 0.0), max(p[1] - q[3], q[1] - p[3], 0.0))
        for p in first
        for q in second
    ]
    return min(gaps, default=0.0)


def near(view: View, index: int, step: Step) -> list[Part]:
    """Parts that are in the device and within reach of the heat of this step, the heated ones included."""
    heated = [view.device.by_id[name] for name in step.parts if name in view.device.by_id]
    number = view.first_move[index]
    return [
        part
        for part in view.device.parts
        if (part.kind is PartKind.CELL or part.limit_c is not None)
        and not view.is_out(part.id, number)
        and (not heated or min(gap_mm(view.device, part, hot) for hot in heated) <= NEAR_MM)
    ]


def heat_caution(view: View) -> Iterator[Finding]:
    """Heat near a cell, and no caution says so."""
    for index, step in _heat_steps(view):
        cells = [part.id for part in near(view, index, step) if part.kind is PartKind.CELL]
        if cells and not view.warns_of_injury(step):
            message = f"the step heats near {named(cells)} and has no caution"
            remedy = "Add a WARNING that names the limit and what to do when the cell swells or smells."
            yield Finding(("steps", index), step.id, message, remedy)


def heat_caution_vague(view: View) -> Iterator[Finding]:
    """Heat near a cell, with cautions that speak of something else."""
    for index, step in _heat_steps(view):
        cells = [part for part in near(view, index, step) if part.kind is PartKind.CELL]
        texts = [c.text for c in view.cautions(step) if c.word is not SignalWord.NOTICE]
        # texts in another language cannot be judged
        if not cells or not texts or not all(_ENGLISH.search(text) for text in texts):
            continue
        names = [re.escape(part.name) for part in cells]
        cell = re.compile(rf"\b(?:cells?|batter(?:y|ies)|{'|'.join(names)})\b", re.IGNORECASE)
        if not any(cell.search(text) and _HEAT.search(text) for text in texts):
            message = (
                f"the step heats near {named([p.id for p in cells])}, and no caution speaks of heat and cell"
            )
            remedy = "Add a WARNING that names the limit and what to do when the cell swells or smells."
            yield Finding(("steps", index), step.id, message, remedy)


def heat_limit(view: View) -> Iterator[Finding]:
    """Heat above what a part near it may see."""
    for index, step in _heat_steps(view):
        if step.wait is None or step.wait.limit_c is None:
            continue
        for part in near(view, index, step):
            if part.limit_c is not None and step.wait.limit_c > part.limit_c:
                message = f"the heat is above the {part.limit_c:g} °C that `{part.id}` may see"
                remedy = f"Set at most {part.limit_c:g} °C, or take `{part.id}` out first."
                yield Finding(("steps", index, "wait", "limit_c"), f"{step.wait.limit_c:g}", message, remedy)


def heat_unstated(view: View) -> Iterator[Finding]:
    """Heat without a set temperature, near a part that has a limit."""
    for index, step in _heat_steps(view):
        if step.wait is None or step.wait.limit_c is not None:
            continue
        limited = [part.id for part in near(view, index, step) if part.limit_c is not None]
        if limited:
            message = f"the step does not say how hot, and {named(limited)} may not get too hot"
            yield Finding(("steps", index, "wait"), None, message, "Add `limit_c` with the set temperature.")


def heat_check(view: View) -> Iterator[Finding]:
    """A bond comes off after heat without a look at the temperature in between."""
    for index, step in _heat_steps(view):
        move = _first_removal_after(view, index, step)
        if move is None:
            continue
        between = view.steps[index + 1 : move.step]
        if not any(s.action in (Action.CHECK, Action.READ) for s in between):
            message = f"`{move.part.id}` comes off after this heat without a touch or temperature check"
            remedy = "Put a `check` or `read` step between the heat and the removal."
            yield Finding(("steps", index), step.id, message, remedy)


def _first_removal_after(view: View, index: int, step: Step) -> Move | None:
    """The first removal of a heated part or of any bond after the heat."""
    for move in view.moves[view.first_move[index] :]:
        if (
            move.step > index
            and move.removal
            and (move.part.kind is PartKind.BOND or move.part.id in step.parts)
        ):
            return move
    return None


def cell_caution(view: View) -> Iterator[Finding]:
    """A cell is lifted without a caution."""
    for move in view.moves:
        if (
            move.removal
            and move.part.kind is PartKind.CELL
            and not view.warns_of_injury(view.steps[move.step])
        ):
            message = f"the cell `{move.part.id}` is taken out without a caution"
            remedy = (
                "Add a WARNING to the step or to the part: do not bend or pierce; what to do if it swells."
            )
            yield Finding(move.keys, None, message, remedy)


def seal_before_test(view: View) -> Iterator[Finding]:
    """The device is closed for good before the test is done."""
    seals = [index for index, step in enumerate(view.steps) if step.seals]
    if not seals:
        return
    tests = [index for index, step in enumerate(view.steps) if step.before_seal]
    late = [view.steps[index].id for index in tests if index > seals[0]]
    if tests and not late:
        return
    message = (
        f"the device is sealed before the test {named(late)}"
        if late
        else "the device is sealed without a test"
    )
    remedy = (
        "Put the test before this step."
        if late
        else "Add a `check` step with `before_seal: true` before this step."
    )
    yield Finding(("steps", seals[0], "seals"), view.steps[seals[0]].id, message, remedy)


def seal_unmarked(view: View) -> Iterator[Finding]:
    """A bond is put on in the sealing stage, or a test waits for the sealing, and no step says that it seals."""
    if any(step.seals for step in view.steps):
        return
    for move in view.moves:
        step = view.steps[move.step]
        if not move.removal and move.part.kind is PartKind.BOND and step.stage is Stage.SEAL:
            message = f"`{move.part.id}` closes the device, but the step is not marked as sealing"
            yield Finding(("steps", move.step), step.id, message, "Add `seals: true` to the step.")
            return
    for index, step in enumerate(view.steps):
        if step.before_seal:
            message = "no step is marked as sealing, so this test holds nothing back"
            remedy = "Add `seals: true` to the step that closes the device."
            yield Finding(("steps", index, "before_seal"), step.id, message, remedy)
            return


def test_empty(view: View) -> Iterator[Finding]:
    """The test before sealing has nothing to answer."""
    for index, step in enumerate(view.steps):
        if step.before_seal and not step.lines and step.reading is None:
            message = "the test before sealing has no lines and no reading"
            yield Finding(
                ("steps", index), step.id, message, "Add `lines`, one for each function to be tried."
            )


def photo_suppressed(view: View) -> Iterator[Finding]:
    """A required photo is switched off."""
    for index, step in enumerate(view.steps):
        for key, needed in (("as_found", needs_as_found), ("as_left", needs_as_left)):
            if getattr(step, key) is False and needed(view.device, step):
                message = f"this step needs an {key.replace('_', '-')} photo, which cannot be switched off"
                remedy = "Delete the key; at the bench a person may pass it with a waiver."
                yield Finding(("steps", index, key), False, message, remedy)


CARE_RULES = (
    Rule(
        "heat-caution", ERROR, "Heat near a cell has a caution before it.",
        "A cell that gets too hot can vent, burn and injure.",
        "A heat wait on `display-bond` 12 mm from `main-cell`, without `cautions`.", job=heat_caution,
    ),
    Rule(
        "heat-caution-vague", WARNING, "The caution of heat near a cell speaks of heat and of the cell.",
        "A caution about something else is read, and the cell is not thought of.",
        "A heat wait beside `main-cell` with `WARNING: Mind the sharp rim. It can cut.`", job=heat_caution_vague,
    ),
    Rule(
        "heat-limit", ERROR, "Heat stays at or below the limit of every part near it.",
        "Above its limit a cell can vent and a display can delaminate.",
        "`limit_c: 90` beside a cell with `limit_c: 60`.", job=heat_limit,
    ),
    Rule(
        "heat-unstated", WARNING, "A heat step near a part with a limit says how hot.",
        "Without a figure nobody can tell whether the limit is kept.",
        "`wait: {kind: heat, for_s: 300}` beside a cell with `limit_c: 60`.", job=heat_unstated,
    ),
    Rule(
        "heat-check", ERROR, "Between heat and the removal of a bond stands a touch or temperature check.",
        "Too cold tears the part, too hot damages it and burns the hand.",
        "`warm-edge` (heat) is followed at once by `off` of `display-bond`.", job=heat_check,
    ),
    Rule(
        "cell-caution", ERROR, "Taking out a cell has a caution.",
        "A bent or pierced cell can ignite.",
        "`lift-cell` without `cautions`, and none at the part.", job=cell_caution,
    ),
    Rule(
        "seal-before-test", ERROR, "Every test before sealing is done before the device is sealed.",
        "A fault found after sealing costs the seal and the work.",
        "`press-seal` (seals: true) stands before `test-all` (before_seal: true).", job=seal_before_test,
    ),
    Rule(
        "seal-unmarked", WARNING, "The step that closes the device is marked `seals: true`.",
        "Only then the program holds it back until the test is answered.",
        "Stage `seal` puts on `back-bond` without `seals`.", job=seal_unmarked,
    ),
    Rule(
        "test-empty", WARNING, "The test before sealing has lines or a reading.",
        "An empty test passes always.",
        "`before_seal: true` without `lines`.", job=test_empty,
    ),
    Rule(
        "photo-suppressed", ERROR, "A required photo is not switched off.",
        "On the way back it is the only proof of how a cable was routed.",
        "`as_found: false` on a step that opens a connector.", job=photo_suppressed,
    ),
)  # fmt: skip
