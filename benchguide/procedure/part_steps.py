"""Steps for one part, and for a way back in any order, from the part map alone.

For whoever knows what came off (a session) and wants the steps that answer it. What a procedure file says of
single parts, stages and tests is generate.py; the order of a way in is planner.py.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.made import At, Made, Namer, Names, made_move, made_works
from benchguide.procedure.part_warm import made_warm
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import PartKind, Stage


@dataclass(frozen=True, slots=True)
class Refit:
    """One part that goes back: how many pieces of it, and where they lie."""

    part: str
    pieces: int | None = None
    """None for all of them."""
    cell: str | None = None
    """Cell of the mat where they lie, told only when it is not the part map's."""


def removal_step(
    device: DeviceMap,
    part: str,
    pieces: int | None = None,
    *,
    stage: Stage = Stage.WAY_IN,
    taken: Collection[str] = (),
) -> Step:
    """The one step that takes a part off, named `in-PART`, with the part map's text, tool, time and key point.

    `pieces` fewer than the part has give words and time for some of them. `taken` are step names not to be used.
    The part's own cautions are not repeated: they are shown for every step that names it. Raises KeyError.
    """
    _sound(device, part, pieces)
    names = Names(taken)
    return made_move(device, device.by_id[part], None, names, stage, removal=True, pieces=pieces).step


def removal_steps(
    device: DeviceMap,
    part: str,
    pieces: int | None = None,
    *,
    stage: Stage = Stage.WAY_IN,
    taken: Collection[str] = (),
) -> tuple[Step, ...]:
    """Like removal_step, with the work round it: `before_off`, heat with its check, `after_off`."""
    _sound(device, part, pieces)
    made = made_off(device, device.by_id[part], None, Names(taken), stage, pieces)
    return tuple(m.step for m in made)


def refit_step(
    device: DeviceMap,
    part: str,
    pieces: int | None = None,
    cell: str | None = None,
    *,
    stage: Stage = Stage.WAY_BACK,
    taken: Collection[str] = (),
) -> Step:
    """The one step that puts a part back, named `back-PART`. Raises KeyError for an unknown part, ValueError for
    pieces below 1 or above those of the part."""
    _sound(device, part, pieces)
    names = Names(taken)
    return made_move(
        device, device.by_id[part], None, names, stage, removal=False, pieces=pieces, cell=cell
    ).step


@dataclass(frozen=True, slots=True)
class RefitSteps:
    """What has to be done to put a part back: work before, the refit itself, work after."""

    before: tuple[Step, ...]
    refit: Step
    after: tuple[Step, ...]


def refit_steps(device: DeviceMap, name: str, stage: Stage, namer: Namer) -> RefitSteps:
    """Like refit_step for all pieces, with the return-only work round it: `before_on`, `after_on`.

    `namer` is given the wished name of each step and answers with the one to use. Work before a bond belongs before
    the parts that the bond holds. Raises KeyError for an unknown part.
    """
    part = device.by_id[name]

    def works(key: str) -> tuple[Step, ...]:
        return tuple(m.step for m in made_works(device, part, key, None, namer, stage, "back"))

    before = works("before_on")
    refit = made_move(device, part, None, namer, stage, removal=False).step
    return RefitSteps(before, refit, works("after_on"))


def way_back_steps(
    device: DeviceMap,
    refits: Sequence[Refit],
    *,
    stage: Stage = Stage.WAY_BACK,
    taken: Collection[str] = (),
) -> tuple[Step, ...]:
    """Every step of putting these parts back in this order, return-only work in its place.

    Work before a bond (clean, new adhesive) comes before the first part that the bond holds, because it cannot
    be done once that part is in. The order itself is not judged. Raises KeyError, ValueError.
    """
    names = Names(taken)
    for refit in refits:
        _sound(device, refit.part, refit.pieces)
    early = bond_work(device, [refit.part for refit in refits])
    found: list[Made] = []
    for number, refit in enumerate(refits):
        for name in early.get(number, ()):
            found += made_works(device, device.by_id[name], "before_on", None, names, stage, "back")
        part = device.by_id[refit.part]
        found += made_on(device, part, None, names, stage, refit.pieces, refit.cell)
    return tuple(m.step for m in found)


def _sound(device: DeviceMap, part: str, pieces: int | None) -> None:
    most = device.by_id[part].pieces
    if pieces is not None and not 1 <= pieces <= most:
        raise ValueError(f"{pieces} pieces of {part} cannot be moved, it has {most}")


def made_off(
    device: DeviceMap, part: Part, at: At | None, names: Namer, stage: Stage, pieces: int | None = None
) -> list[Made]:
    """A removal with all work round it."""
    return [
        *made_works(device, part, "before_off", at, names, stage, "in"),
        *made_warm(device, part, at, names, stage),
        made_move(device, part, at, names, stage, removal=True, pieces=pieces),
        *made_works(device, part, "after_off", at, names, stage, "in"),
    ]


def made_on(
    device: DeviceMap,
    part: Part,
    at: At | None,
    names: Namer,
    stage: Stage,
    pieces: int | None = None,
    cell: str | None = None,
) -> list[Made]:
    """A refit with all work round it; the work before a bond has been placed by bond_work already."""
    before = (
        [] if part.kind is PartKind.BOND else made_works(device, part, "before_on", at, names, stage, "back")
    )
    return [
        *before,
        made_move(device, part, at, names, stage, removal=False, pieces=pieces, cell=cell),
        *made_works(device, part, "after_on", at, names, stage, "back"),
    ]


def bond_work(device: DeviceMap, refits: Iterable[str]) -> dict[int, list[str]]:
    """For places in an order of refits: the bonds whose `before_on` work comes just before that place."""
    place: dict[str, int] = {}
    for number, name in enumerate(refits):
        place.setdefault(name, number)
    found: dict[int, list[str]] = {}
    for name, own in place.items():
        if device.by_id[name].kind is not PartKind.BOND:
            continue
        held = [
            place[other]
            for other in device.needed_by.get(name, ())
            if other in place and name in device.by_id[other].held_by
        ]
        found.setdefault(min([*held, own]), []).append(name)
    return found
