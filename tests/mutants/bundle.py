"""What mutators work on: one procedure with its part map, and helpers to read them without the program's code."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from tests.mutants.sheet import Item, Row, Sheet
from tests.simulator import PUTS_BACK, TAKES_OFF, Fault, moves_of, play

MOVES = TAKES_OFF | PUTS_BACK


@dataclass(frozen=True)
class Mutant:
    """A broken procedure (or part map), and what a checker has to say of it."""

    kind: str
    name: str
    """The procedure that was broken."""
    told: str
    """What was done, for a person who looks at a miss."""
    job: str
    device: str
    rules: frozenset[str]
    """Any one of these is right."""
    in_map: bool
    line: int
    exact: frozenset[tuple[str, int]] | None = None
    """For broken orders: every rule and line of the simulator's faults."""


class Bundle:
    """A sound procedure and its part map, to be broken in copies."""

    def __init__(self, name: str, job: str, device: str) -> None:
        self.name = name
        self.job_text = job
        self.device_text = device
        self.job = Sheet.read(job, "steps")
        self.map = Sheet.read(device, "parts")

    def draft(self, kind: str, told: str = "") -> "Draft":
        return Draft(self, kind, told)

    @cached_property
    def parts(self) -> dict[str, dict[str, Any]]:
        """Raw parts by name."""
        return {item.raw["id"]: item.raw for item in self.map.items}

    def bars(self, name: str) -> list[str]:
        """What has to be off before a part."""
        part = self.parts[name]
        return list(dict.fromkeys([*part.get("held_by", ()), *part.get("under", ())]))

    @cached_property
    def moved(self) -> list[tuple[int, str, bool]]:
        """Step, part and True for a removal, of every move."""
        return [
            (number, name, action in TAKES_OFF)
            for number, (action, names) in enumerate(moves_of(self.job.values()))
            if action in MOVES
            for name in names
        ]

    def steps_of(self, name: str, off: bool) -> list[int]:
        """Steps that take a part off (or put it back)."""
        return [step for step, part, removal in self.moved if part == name and removal is off]

    def once(self, name: str, off: bool) -> int | None:
        """The step that takes a part off (or puts it back), when there is exactly one."""
        found = self.steps_of(name, off)
        return found[0] if len(found) == 1 else None

    @cached_property
    def mains(self) -> list[str]:
        """Connectors that cut off something that is no cell; all that cut off something when a part keeps a charge."""
        if any(part.get("stores") for part in self.parts.values()):
            return self.switches
        return [
            name
            for name, part in self.parts.items()
            if any(self.parts[source]["kind"] != "cell" for source in part.get("isolates", ()))
        ]

    @cached_property
    def switches(self) -> list[str]:
        return [name for name, part in self.parts.items() if part.get("isolates")]

    def behind(self, names: list[str]) -> set[str]:
        """These parts and all that has to be off to reach them."""
        found = set(names)
        while wider := {bar for name in found for bar in self.bars(name)} - found:
            found |= wider
        return found

    def cautions(self, step: dict[str, Any]) -> list[dict[str, str]]:
        """What a person is shown before a step."""
        found = list(step.get("cautions") or ())
        for name in step.get("parts") or ():
            found += self.parts[name].get("cautions") or ()
        return found

    def title(self, name: str) -> str:
        """A part's name as it stands inside a sentence."""
        full: str = self.parts[name]["name"]
        return full if full[:2].isupper() else full[0].lower() + full[1:]


#: the rule for each fault of the simulator
RULE = {
    "held": "held-or-covered",
    "gone": "already-out",
    "twice": "not-out",
    "never-off": "not-out",
    "left-off": "never-refitted",
    "shut": "refit-order",
    "live": "isolation-first",
    "early": "isolation-last",
    "mains": "mains-first",
    "mains-early": "mains-last",
}


class Draft:
    """A copy that is being broken."""

    def __init__(self, bundle: Bundle, kind: str, told: str) -> None:
        self.bundle = bundle
        self.kind = kind
        self.told = told
        self.job = bundle.job.copy()
        self.map = bundle.map.copy()

    def done(self, rules: str, row: Row, told: str = "", *, in_map: bool = False) -> Mutant:
        """Finish: any of `rules` must be told at this row."""
        return self._mutant(
            frozenset(rules.split()), in_map, (self.map if in_map else self.job).line(row), told, None
        )

    def _mutant(
        self,
        rules: frozenset[str],
        in_map: bool,
        line: int,
        told: str,
        exact: frozenset[tuple[str, int]] | None,
    ) -> Mutant:
        return Mutant(
            self.kind,
            self.bundle.name,
            told or self.told,
            self.job.text(),
            self.map.text() if self.map_changed else self.bundle.device_text,
            rules,
            in_map,
            line,
            exact,
        )

    @property
    def map_changed(self) -> bool:
        return [id(row) for row in self.map._rows()] != [id(row) for row in self.bundle.map._rows()]

    def faults(self) -> list[Fault]:
        """What the simulator says of the copy."""
        return play(self.map.values(), moves_of(self.job.values()))

    def judged(self, what: str, part: str | None = None, told: str = "") -> Mutant | None:
        """Finish with the simulator's verdict; None when it finds no such fault, so that nothing is broken."""
        self._free_waits()
        faults = self.faults()
        mine = [
            f for f in faults if f.what in what.split() and (part is None or part in (f.part, *f.because))
        ]
        if not mine:
            return None
        fault = mine[0]
        rows = {
            (RULE[f.what], self.job.line(self.part_row(f.step, f.part))) for f in faults if f.what in RULE
        }
        line = self.job.line(self.part_row(fault.step, fault.part))
        return self._mutant(frozenset({RULE[fault.what]}), False, line, told, frozenset(rows))

    def _free_waits(self) -> None:
        """A step that was moved before the countdown it waits for waits no longer: one fault at a time."""
        begun: set[str] = set()
        for item in self.job.items:
            if item.raw.get("after_wait", "") not in {"", *begun}:
                item.drop("after_wait")
            begun.add(item.raw["id"])

    def part_row(self, step: int, part: str) -> Row:
        return self.job.items[step].row("parts", part)

    def move(self, source: int, target: int) -> None:
        """Move a step so that it stands at `target`, counted before the move."""
        item = self.job.items.pop(source)
        self.job.items.insert(target if target < source else target - 1, item)

    def remove(self, *steps: int) -> None:
        for step in sorted(set(steps), reverse=True):
            del self.job.items[step]

    def insert(self, at: int, lines: str) -> Item:
        """A new step, written in block style."""
        sheet = Sheet.read("x: 1\nsteps:\n" + lines, "steps")
        self.job.items.insert(at, sheet.items[0])
        return sheet.items[0]


Mutator = Callable[[Bundle, random.Random], Mutant | None]


def removals(bundle: Bundle) -> Iterator[tuple[int, dict[str, Any]]]:
    """Steps that take parts off, each with its raw values."""
    for number, item in enumerate(bundle.job.items):
        if str(item.raw["action"]) in TAKES_OFF and item.raw.get("parts"):
            yield number, item.raw


def movers(bundle: Bundle) -> list[int]:
    """Steps that take off or put back."""
    return [number for number, item in enumerate(bundle.job.items) if str(item.raw["action"]) in MOVES]
