"""What a rule is, and the view of a job that rules look at. The rules themselves are in rules_*.py.

A rule is one function that takes a View and yields Findings. It keeps no state: the View answers at any move
what is out of the device.
"""

from bisect import bisect_left
from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass
from functools import cached_property

from benchguide.procedure.device import Caution, DeviceMap, Part
from benchguide.procedure.problems import Severity
from benchguide.procedure.procedure import Procedure, Step
from benchguide.procedure.words import REFITS, REMOVALS, SignalWord

Keys = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """One place where a rule is broken."""

    keys: Keys
    """Path to the value in the file, for `Loaded.where`."""
    value: object
    """Offending value to show, or None."""
    message: str
    remedy: str
    in_map: bool = False
    """True when the place is in the part map, not in the procedure."""


@dataclass(frozen=True, slots=True)
class Move:
    """One part taken off or put back by one step."""

    number: int
    """Counts all moves of the job from 0."""
    step: int
    item: int
    part: Part
    removal: bool

    @property
    def keys(self) -> Keys:
        """Where the part is named in the procedure."""
        return ("steps", self.step, "parts", self.item)


class View:
    """A job as rules see it: its device, its steps, and what is out at each move. Never changes."""

    def __init__(self, device: DeviceMap, job: Procedure | None) -> None:
        self.device = device
        self.job = job
        self.steps: tuple[Step, ...] = job.steps if job else ()
        self.moves: list[Move] = []
        self.first_move: list[int] = []
        """For each step the number of the first move at or after it."""
        for index, step in enumerate(self.steps):
            self.first_move.append(len(self.moves))
            if step.action in REMOVALS or step.action in REFITS:
                self._add_moves(index, step)
        self._of_part: dict[str, list[int]] = {}
        for move in self.moves:
            self._of_part.setdefault(move.part.id, []).append(move.number)

    def _add_moves(self, index: int, step: Step) -> None:
        for item, name in enumerate(step.parts):
            part = self.device.by_id.get(name)
            if part is not None:
                self.moves.append(Move(len(self.moves), index, item, part, step.action in REMOVALS))

    @cached_property
    def part_number(self) -> dict[str, int]:
        """The number of each part in the part map."""
        return {part.id: number for number, part in enumerate(self.device.parts)}

    def of_part(self, name: str) -> list[Move]:
        """All moves of one part, in order."""
        return [self.moves[number] for number in self._of_part.get(name, ())]

    def is_out(self, name: str, number: int) -> bool:
        """Whether the part is out just before move `number`."""
        mine = self._of_part.get(name, [])
        before = bisect_left(mine, number)
        return before > 0 and self.moves[mine[before - 1]].removal

    def next_move(self, name: str, number: int, removal: bool) -> Move | None:
        """The first removal (or refit) of a part at or after move `number`."""
        mine = self._of_part.get(name, [])
        for later in mine[bisect_left(mine, number) :]:
            if self.moves[later].removal is removal:
                return self.moves[later]
        return None

    def out(self, number: int) -> Container[str]:
        """What is out just before move `number`, to ask with `in`."""
        return _Out(self, number)

    def cautions(self, step: Step) -> Iterator[Caution]:
        """The cautions shown before a step: its own and those of its parts."""
        yield from step.cautions
        for name in step.parts:
            part = self.device.by_id.get(name)
            if part is not None:
                yield from part.cautions

    def warns_of_injury(self, step: Step) -> bool:
        """True when a caution before the step speaks of injury (NOTICE never does, ANSI Z535.6)."""
        return any(caution.word is not SignalWord.NOTICE for caution in self.cautions(step))


@dataclass(frozen=True, slots=True)
class _Out:
    view: View
    number: int

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and self.view.is_out(name, self.number)


Look = Callable[[View], Iterator[Finding]]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the checker, as `benchguide check --rules` prints it."""

    id: str
    severity: Severity
    sentence: str
    """What must hold."""
    reason: str
    example: str
    """A case that breaks the rule."""
    job: Look | None = None
    """Looks at a procedure on its part map."""
    map: Look | None = None
    """Looks at the part map alone."""


def named(names: list[str] | tuple[str, ...], most: int = 5) -> str:
    """`a, b and c`, cut after `most` names."""
    quoted = [f"`{name}`" for name in names[:most]]
    if len(names) > most:
        return ", ".join(quoted) + f" and {len(names) - most} more"
    return " and ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else "".join(quoted)
