"""The way in to a part: what must come off, in which order, with which tools, why, and how long it takes.

Works on a part map alone. The search for the cheapest order is planner_search.py, the sentences are
planner_why.py, text and data for a reader are planner_text.py. The way back is not planned here.
"""

from collections.abc import Collection
from dataclasses import dataclass

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.order import (
    before_isolation,
    before_measuring,
    before_outside,
    closure_isolated,
    conducts,
    exposing,
    needs,
    reach,
)
from benchguide.procedure.planner_graph import FLIP, TOOL_CHANGE, Problem, Removal
from benchguide.procedure.planner_search import Order, best_order
from benchguide.procedure.planner_why import CannotReach, Reasons, check_sound, check_stays, gated_parts
from benchguide.procedure.words import Face

__all__ = ["FLIP", "TOOL_CHANGE", "CannotReach", "TakeOff", "WayIn", "plan_way_in"]


@dataclass(frozen=True, slots=True)
class TakeOff:
    """One removal of the way in."""

    part: Part
    tool_name: str | None
    """Name of its tool, or None for bare hands."""
    why: str
    """Why it must come off, as a clause that begins with "because"."""
    flips: bool
    """True when the device is turned over first."""
    changes_tool: bool
    """True when another tool is taken in hand first; the first tool is no change."""


@dataclass(frozen=True, slots=True)
class WayIn:
    """The smallest set of parts that must come off to take off the target, in the best order known.

    Cost is TOOL_CHANGE for each tool change and FLIP for each flip; the first tool and the first face are free,
    and bare hands keep the tool.
    """

    device: DeviceMap
    target: Part
    removals: tuple[TakeOff, ...]
    """In the order of work; without `also` the target is the last."""
    stays: tuple[Part, ...]
    """What may stay fitted, in the order of the part map."""
    keep: tuple[Part, ...]
    """What was told to stay."""
    tools: tuple[tuple[str, str], ...]
    """Short name and name of every tool, in the order of first use."""
    tool_changes: int
    flips: int
    cost: int
    bound: int
    """No possible order costs less than this."""
    tool_bound: int
    """No possible order has fewer tool changes than this."""
    time_s: tuple[int, int]
    """Shortest and longest usual seconds, summed over the removals that state a time."""
    untimed: tuple[Part, ...]
    """Removals without a stated time; they are not in `time_s`."""

    @property
    def exact(self) -> bool:
        """True when no possible order costs less."""
        return self.cost == self.bound

    @property
    def gap(self) -> float:
        """How far the cost may be above the cheapest, as a share of the bound; 0 when exact."""
        return 0.0 if self.exact else (self.cost - self.bound) / max(1, self.bound)


def plan_way_in(
    device: DeviceMap, target: str, keep: Collection[str] = (), also: Collection[str] = ()
) -> WayIn:
    """The way in to `target` and to the parts of `also`, with the parts of `keep` left fitted.

    Raises CannotReach for an unknown part, a loop in the part map, or a part of `keep` that has to come off.
    Time grows about linearly with the parts and their relations.
    """
    check_sound(device, target, keep, also)
    wanted = closure_isolated(device, target) | {target}
    for name in also:
        wanted |= closure_isolated(device, name) | {name}
    kept = set(keep)
    check_stays(device, target, [part.id for part in device.parts if part.id in kept], wanted, also)
    coming = [part for part in device.parts if part.id in wanted]
    order = best_order(_problem(device, coming))
    parts = [coming[number] for number in order.removals]
    low, high = (sum(part.off_s[i] for part in parts if part.off_s) for i in (0, 1))
    used = dict.fromkeys(part.tool for part in parts if part.tool)
    return WayIn(
        device=device,
        target=device.by_id[target],
        removals=_removals(device, target, parts, also),
        stays=tuple(part for part in device.parts if part.id not in wanted),
        keep=tuple(part for part in device.parts if part.id in kept),
        tools=tuple((tool, device.tool_names.get(tool, tool)) for tool in used),
        **_figures(order),
        time_s=(low, high),
        untimed=tuple(part for part in parts if part.off_s is None),
    )


def _figures(order: Order) -> dict[str, int]:
    names = ("tool_changes", "flips", "cost", "bound", "tool_bound")
    return {name: getattr(order, name) for name in names}


def _problem(device: DeviceMap, coming: list[Part]) -> Problem:
    """The removals as numbers; `coming` holds all that any of them needs."""
    number_of = {part.id: number for number, part in enumerate(coming)}
    tools: dict[str, int] = {}
    measured = tuple(name for name in exposing(device) if name in number_of)
    # what has to be off for isolation or for measuring cannot wait for the measurement
    unmeasured = before_measuring(device) | before_isolation(device) if measured else frozenset[str]()
    cut = tuple(part.id for part in device.cut_outside if part.id in number_of)
    outside = before_outside(device) if cut else frozenset[str]()

    def before(part: Part) -> tuple[str, ...]:
        reads = conducts(part) and part.id not in unmeasured
        return (*needs(part), *(measured if reads else ()), *(cut if part.id not in outside else ()))

    removals = [
        Removal(
            tool=None if part.tool is None else tools.setdefault(part.tool, len(tools)),
            face=0 if part.face is Face.BACK else 1,
            before=tuple(dict.fromkeys(number_of[name] for name in before(part))),
        )
        for part in coming
    ]
    isolators = [part.id for part in device.isolators if part.id in number_of]
    # isolation comes as early as it can: all that does not bar the way to it waits
    free = reach(isolators, lambda name: needs(device.by_id[name]))
    gated = [number for number, part in enumerate(coming) if part.id not in free] if isolators else []
    return Problem(removals, frozenset(number_of[name] for name in isolators), frozenset(gated))


def _removals(
    device: DeviceMap, target: str, parts: list[Part], also: Collection[str]
) -> tuple[TakeOff, ...]:
    coming = {part.id for part in parts}
    reasons = Reasons(device, target, coming, bool(gated_parts(device, parts)), also)
    found: list[TakeOff] = []
    tool: str | None = None
    face: Face | None = None
    for part in parts:
        changes = part.tool is not None and tool is not None and part.tool != tool
        flips = face is not None and part.face is not face
        name = None if part.tool is None else device.tool_names.get(part.tool, part.tool)
        found.append(TakeOff(part, name, reasons.why(part), flips, changes))
        tool, face = part.tool or tool, part.face
    return tuple(found)
