"""The steps of a procedure that names its target: the way in planned, the way back its reverse, the rest as written.

It puts together what single parts give (part_steps.py), stored energy (stored_energy.py), and the tasks of the
file. Every step keeps the place it came from. Reading files is loader.py; judging the result is check.py.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.generate_tests import made_count, made_inspection, made_tests
from benchguide.procedure.made import At, Keys, Made, Names, Source, given, led, made_works
from benchguide.procedure.part_steps import bond_work, made_off, made_on
from benchguide.procedure.part_warm import made_live
from benchguide.procedure.planner import plan_way_in
from benchguide.procedure.procedure import SECTIONS, Procedure, Step, Supply
from benchguide.procedure.stored_energy import (
    exposed_after,
    last_isolator,
    made_bleed,
    made_measured,
    made_proof,
)
from benchguide.procedure.task import PlacedTask
from benchguide.procedure.way_back import closing_parts, way_back_order
from benchguide.procedure.words import Face, PartKind, Stage

MAX_STEPS = 20_000


class CannotGenerate(Exception):
    """The steps cannot be made. Each problem: the keys of the value in the procedure, message, remedy."""

    def __init__(self, problems: list[tuple[Keys, str, str]]) -> None:
        super().__init__("; ".join(message for _, message, _ in problems))
        self.problems = problems


@dataclass(frozen=True)
class Generated:
    """A procedure with its steps made, and where each of them came from."""

    written: Procedure
    """As it stands in the file, without steps."""
    procedure: Procedure
    """The same written out: with steps, tools and consumables, and without the keys they were made from."""
    made: tuple[Made, ...]
    """One for each step."""

    def source(self, keys: Keys) -> Source:
        """The place in one of the two files of the value that `keys` lead to in the written-out procedure."""
        if len(keys) > 1 and keys[0] == "steps" and isinstance(keys[1], int):
            return self.made[keys[1]].where(keys[2:])
        if len(keys) > 1 and keys[0] == "tools" and isinstance(keys[1], int):
            tool = self.procedure.tools[keys[1]]
            if tool not in self.written.tools:
                return self._tool_source(tool)
            return Source(False, ("tools", self.written.tools.index(tool)))
        return Source(False, keys)

    def _tool_source(self, tool: str) -> Source:
        first = next(made for made in self.made if made.step.tool == tool)
        return first.where(("tool",))


def generate(device: DeviceMap, procedure: Procedure) -> Generated:
    """Make the steps of a procedure without steps.

    Raises CannotReach when the target cannot be reached as asked, and CannotGenerate for what is said of parts
    that do not come off. Time grows about linearly with the parts and their relations.
    """
    assert procedure.target is not None
    way_in = plan_way_in(device, procedure.target, procedure.keep, procedure.also)
    order = [removal.part.id for removal in way_in.removals]
    _check_special(device, procedure, set(order))
    made = tuple(_Job(device, procedure, order).steps())
    if len(made) > MAX_STEPS:
        message = f"the job has {len(made):,} steps, more than {MAX_STEPS:,}"
        raise CannotGenerate([(("target",), message, "Divide the part map, or keep more parts fitted.")])
    values = {key: value for key, value in given(procedure).items() if key not in ("also", "at", *SECTIONS)}
    values["steps"] = tuple(m.step for m in made)
    values["tools"] = _tools(procedure, made)
    values["consumables"] = _consumables(device, procedure, order)
    return Generated(procedure, Procedure(**values), made)


def _check_special(device: DeviceMap, procedure: Procedure, coming: set[str]) -> None:
    problems: list[tuple[Keys, str, str]] = []
    for number, special in enumerate(procedure.at):
        if special.part not in coming:
            target = device.by_id[procedure.target or ""].id
            message = (
                f"`{special.part}` stays fitted on the way to `{target}`, so nothing can be special there"
            )
            remedy = "Delete this entry, or name the part under `also` if it is to come off."
            problems.append((("at", number, "part"), message, remedy))
    if problems:
        raise CannotGenerate(problems)


def _tools(procedure: Procedure, made: Iterable[Made]) -> tuple[str, ...]:
    """Tools in the order of first use, then those that only the file names."""
    used = [m.step.tool for m in made if m.step.tool]
    return tuple(dict.fromkeys([*used, *procedure.tools]))


def _consumables(device: DeviceMap, procedure: Procedure, order: list[str]) -> tuple[Supply, ...]:
    """Those of the file, then a new one of each part that is used once, unless the file has one of its name."""
    known = {supply.name.lower() for supply in (*procedure.consumables, *procedure.supplies)}
    found = list(procedure.consumables)
    for name in order:
        part = device.by_id[name]
        new = part.new_name or part.name
        if part.once and part.id != procedure.target and new.lower() not in known:
            known.add(new.lower())
            found.append(Supply(name=new, count=min(part.pieces, 1000)))
    return tuple(found)


class _Job:
    """One job while its steps are made."""

    def __init__(self, device: DeviceMap, procedure: Procedure, order: list[str]) -> None:
        self.device = device
        self.procedure = procedure
        self.order = order
        self.names = Names(task.id for key in SECTIONS for task in getattr(procedure, key))
        self.at = {special.part: At(n, special) for n, special in enumerate(procedure.at)}
        self.up = Face.BACK
        self.first = True

    def steps(self) -> Iterator[Made]:
        """Every step of the job, in order."""
        closing = closing_parts(self.device, self.order)
        early, late = self._refits
        if late:
            late, outside = self._outside(late)
        else:
            early, outside = self._outside(early)
        yield from self._tasks("preparation")
        yield from self._way_in()
        yield from self._tasks("swap")
        yield from self._way_back(early, Stage.WAY_BACK)
        if closing:
            yield made_inspection(self.names, Source(False, ("target",)))
        yield from self._tests(bool(closing))
        yield from self._tasks("sealing")
        yield from self._seal(late, closing)
        yield made_count(self.names, Source(False, ("target",)))
        yield from self._way_back(outside, Stage.CLOSE_OUT)
        yield from self._tasks("close_out")

    def _outside(self, refits: list[str]) -> tuple[list[str], list[str]]:
        """Connectors at the end that isolate anything but a cell, which are joined after the count."""
        cut = {part.id for part in self.device.cut_outside}
        number = len(refits)
        while number and refits[number - 1] in cut:
            number -= 1
        return refits[:number], refits[number:]

    def _tasks(self, key: str) -> Iterator[Made]:
        for number, task in enumerate(getattr(self.procedure, key)):
            yield self._task(key, number, task)

    def _task(self, key: str, number: int, task: PlacedTask, **more: bool) -> Made:
        step = Step(stage=SECTIONS[key], **{**given(task), **more})
        place: Keys = (key, number)
        return Made(
            step, Source(False, place), {k: Source(False, (*place, k)) for k in task.model_fields_set}
        )

    def _tests(self, closing: bool) -> Iterator[Made]:
        """The tests of the file, which bar sealing; else lines for what the removed parts serve."""
        tests = self.procedure.tests
        if not tests and closing:
            yield from made_tests(self.device, self.order, self.names, Source(False, ("target",)))
        for number, task in enumerate(tests):
            answered = bool(task.lines or task.reading)
            bars = closing and answered and "before_seal" not in task.model_fields_set
            yield self._task("tests", number, task, **({"before_seal": True} if bars else {}))

    def _way_in(self) -> Iterator[Made]:
        stage = Stage.WAY_IN
        exposed = exposed_after(self.device, self.order)
        live = last_isolator(self.device, self.order)
        isolated = max(live, 0) if exposed else -1
        for number, name in enumerate(self.order):
            part = self.device.by_id[name]
            if exposed and number == 0 and not self.device.isolators:
                yield from self._bleed(exposed)
            for store in exposed.get(number, ()):
                yield from made_proof(self.device, store, self.names, stage)
            made = made_off(self.device, part, self.at.get(name), self.names, stage)
            if number < live and (part.heat or part.kind is PartKind.BOND):
                made = made_live(self.device, part, self.order[number + 1 :], made)
            yield from led(made, self._turn(part))
            if number == isolated and self.device.isolators:
                yield from self._bleed(exposed)
            for store in exposed.get(number, ()):
                yield from made_measured(self.device, store, self.names, stage)

    def _bleed(self, exposed: dict[int, list[Part]]) -> Iterator[Made]:
        for store in (part for parts in exposed.values() for part in parts):
            yield from made_bleed(self.device, store, self.names, Stage.WAY_IN)

    def _way_back(self, refits: list[str], stage: Stage) -> Iterator[Made]:
        for name in refits:
            for bond in self._bond_work.get(name, ()):
                glued = self.device.by_id[bond]
                at = self.at.get(bond)
                work = made_works(self.device, glued, "before_on", at, self.names, stage, "back")
                yield from led(work, self._turn(glued))
            part = self.device.by_id[name]
            made = made_on(self.device, part, self.at.get(name), self.names, stage)
            yield from led(made, self._turn(part))

    @cached_property
    def _refits(self) -> tuple[list[str], list[str]]:
        held = {at.special.part for at in self.at.values() if at.special.on and at.special.on.after_wait}
        return way_back_order(self.device, self.order, held)

    @cached_property
    def _bond_work(self) -> dict[str, list[str]]:
        """For parts that go back: the bonds whose work comes just before them."""
        early, late = self._refits
        refits = [*early, *late]
        return {refits[number]: bonds for number, bonds in bond_work(self.device, refits).items()}

    def _seal(self, late: list[str], closing: tuple[str, ...]) -> Iterator[Made]:
        """The refits that close the device; the first part that closes it is the step that seals."""
        marked = any(task.seals for key in SECTIONS for task in getattr(self.procedure, key))
        for made in self._way_back(late, Stage.SEAL):
            step = made.step
            if not marked and step.stage is Stage.SEAL and _refits(step, closing):
                marked = True
                made = Made(step.model_copy(update={"seals": True}), made.source, made.fields)
            yield made

    def _turn(self, part: Part) -> str:
        """A sentence when the other side of the device must be up for this part."""
        before, self.up = self.up, part.face
        first, self.first = self.first, False
        if before is part.face:
            return ""
        how = "Lay the device down" if first else "Turn the device over"
        return f"{how}, {part.face} side up."


def _refits(step: Step, closing: tuple[str, ...]) -> bool:
    moves = step.action.value in ("on", "close", "fit")
    return moves and any(name in closing for name in step.parts)
