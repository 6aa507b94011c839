"""Plays steps on a part map, piece by piece, and tells what could not be done that way. Only for tests.

It shares no code with the program: it reads part maps and procedures as plain data (parsed YAML, JSON, or a model
turned into that) and has an understanding of its own of what `held_by`, `under`, `isolates` and `count` mean.
It knows the past only: a fault is told when a hand would meet it, together with the earlier step that made it so.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

TAKES_OFF = {"off", "open", "lift"}
PUTS_BACK = {"on", "close", "fit"}


@dataclass(frozen=True)
class Fault:
    """One thing that could not be done as the steps say."""

    what: str
    """held, gone, shut, twice, never-off, left-off, live, early, mains, mains-early, or unknown."""
    step: int
    """The step to blame, counted from 0."""
    part: str
    """The part to blame, as that step names it."""
    because: tuple[str, ...] = ()
    """The other parts concerned."""
    met: int = -1
    """The step in which a hand meets it; the step to blame itself, or a later one."""


@dataclass
class Thing:
    """A part as the simulator sees it."""

    kind: str
    pieces: int
    bars: tuple[str, ...]
    """What has to be away before this one can be moved."""
    cuts: tuple[str, ...]
    """The energy sources this connector cuts off."""
    stores: bool = False
    """True when it keeps a charge after isolation."""
    closes: bool = False
    """True when it closes the device, which waits for the test."""
    inside: int = 0
    last_off: int = -1
    last_on: int = -1
    times_off: int = 0


@dataclass
class Bench:
    """A device on the bench, fully assembled at first."""

    things: dict[str, Thing]
    faults: list[Fault] = field(default_factory=list)

    def __post_init__(self) -> None:
        for thing in self.things.values():
            thing.inside = thing.pieces
        self.switches = [name for name, thing in self.things.items() if thing.cuts]
        charged = any(thing.stores for thing in self.things.values())
        self.mains = [name for name in self.switches if charged or self._from_outside(name)]
        self.outside = [name for name in self.switches if self._from_outside(name)]
        self.way_to_outside = self._way_to(self.outside)
        self.way_to_switch = self._way_to(self.switches)
        self.way_to_mains = self._way_to(self.mains)
        # the test before closing needs the cell, but nothing is tested open on a mains device in this way
        self.closing = set() if self.mains else self._way_to(n for n, t in self.things.items() if t.closes)

    def _from_outside(self, name: str) -> bool:
        """True for a connector that cuts off something that is not a cell."""
        cuts = self.things[name].cuts
        return any(source in self.things and self.things[source].kind != "cell" for source in cuts)

    def _way_to(self, names: Iterable[str]) -> set[str]:
        """These parts and all that has to be away before they can be reached, found by repeating until still."""
        found = set(names)
        while True:
            wider = found | {bar for name in found if name in self.things for bar in self.things[name].bars}
            if wider == found:
                return found
            found = wider

    def _in(self, names: Iterable[str]) -> tuple[str, ...]:
        return tuple(name for name in names if name in self.things and self.things[name].inside > 0)

    def take_off(self, step: int, name: str, pieces: int | None = None) -> None:
        """Take a part off, or some of its pieces."""
        thing = self.things.get(name)
        if thing is None:
            self.faults.append(Fault("unknown", step, name, (), step))
            return
        if thing.inside == 0:
            self.faults.append(Fault("gone", step, name, (), step))
            return
        holding = self._in(thing.bars)
        if holding:
            self.faults.append(Fault("held", step, name, holding, step))
        self._energy_off(step, name, thing)
        thing.inside -= thing.inside if pieces is None else min(pieces, thing.inside)
        thing.last_off = step
        thing.times_off += 1

    def _energy_off(self, step: int, name: str, thing: Thing) -> None:
        live = self._in(self.switches)
        if thing.kind == "connector" and live and name not in self.way_to_switch:
            self.faults.append(Fault("live", step, name, live, step))
        mains = self._in(self.mains)
        if thing.kind != "connector" and mains and name not in self.way_to_mains:
            self.faults.append(Fault("mains", step, name, mains, step))

    def put_back(self, step: int, name: str, pieces: int | None = None) -> None:
        """Put a part back, or some of its pieces."""
        thing = self.things.get(name)
        if thing is None:
            self.faults.append(Fault("unknown", step, name, (), step))
            return
        if thing.inside == thing.pieces:
            what = "twice" if thing.times_off else "never-off"
            self.faults.append(Fault(what, step, name, (), step))
            return
        for bar in self._in(thing.bars):
            # in the way because it went back too early; if it never came off, that was told at the removal
            if self.things[bar].last_on > thing.last_off >= 0:
                self.faults.append(Fault("shut", self.things[bar].last_on, bar, (name,), step))
        self._energy_on(step, name, thing)
        missing = thing.pieces - thing.inside
        thing.inside += missing if pieces is None else min(pieces, missing)
        thing.last_on = step

    def _energy_on(self, step: int, name: str, thing: Thing) -> None:
        if name not in self.way_to_switch:
            if thing.kind == "connector":
                self._blame("early", step, name, thing, self._in(self.switches))
            elif name not in self.closing:
                cells = [switch for switch in self.switches if switch not in self.mains]
                self._blame("early", step, name, thing, self._in(cells))
        elif thing.kind == "connector" and name not in self.way_to_outside:
            self._blame("early", step, name, thing, self._in(self.outside))
        if thing.kind != "connector" and name not in self.way_to_mains:
            self._blame("mains-early", step, name, thing, self._in(self.mains))

    def _blame(self, what: str, step: int, name: str, thing: Thing, switches: Iterable[str]) -> None:
        """A part goes back under power: the fault of the switch, if that was closed while the part was off."""
        for switch in switches:
            closed = self.things[switch].last_on
            if closed >= 0 and closed >= thing.last_off:
                self.faults.append(Fault(what, closed, switch, (name,), step))

    def leave(self, step: int) -> None:
        """The job is over: what is still off has been left off."""
        for name, thing in self.things.items():
            if thing.inside < thing.pieces:
                self.faults.append(Fault("left-off", thing.last_off, name, (), step))


def things_of(device: Any) -> dict[str, Thing]:
    """The parts of a part map: parsed YAML or JSON, or a model that can turn itself into that."""
    raw = device.model_dump(mode="json") if hasattr(device, "model_dump") else device
    return {
        part["id"]: Thing(
            kind=part["kind"],
            pieces=part["screws"]["count"] if part.get("screws") else 1,
            bars=tuple(dict.fromkeys([*part.get("held_by", ()), *part.get("under", ())])),
            cuts=tuple(part.get("isolates", ())),
            stores=bool(part.get("stores")),
            closes=bool(part.get("closes")),
        )
        for part in raw["parts"]
    }


def moves_of(procedure: Any) -> list[tuple[str, tuple[str, ...]]]:
    """Action and parts of each step of a procedure: parsed YAML or JSON, or a model."""
    raw = procedure.model_dump(mode="json") if hasattr(procedure, "model_dump") else procedure
    return [(_word(step.get("action")), tuple(step.get("parts") or ())) for step in raw.get("steps") or ()]


def _word(action: Any) -> str:
    """YAML 1.1 reads the bare words on and off as true and false."""
    return {True: "on", False: "off"}.get(action, str(action)) if isinstance(action, bool) else str(action)


def play(device: Any, steps: Iterable[tuple[str, Sequence[str]]]) -> list[Fault]:
    """All faults of a whole job, in the order in which a hand meets them. The device is left as it must be found:
    what is still off at the end is a fault."""
    bench, step = Bench(things_of(device)), -1
    for step, (action, parts) in enumerate(steps):
        for name in parts:
            if action in TAKES_OFF:
                bench.take_off(step, name)
            elif action in PUTS_BACK:
                bench.put_back(step, name)
    bench.leave(step + 1)
    return bench.faults


def first_fault(device: Any, steps: Iterable[tuple[str, Sequence[str]]]) -> Fault | None:
    """The first fault a hand meets, or None when the job can be done as written."""
    return next(iter(play(device, steps)), None)


def there_and_back(names: Sequence[str]) -> list[tuple[str, tuple[str, ...]]]:
    """One step for each part off, then one for each part on, the last one first."""
    return [("off", (name,)) for name in names] + [("on", (name,)) for name in reversed(names)]
