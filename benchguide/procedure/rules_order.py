"""Rules on the order of moves: what is off, what goes back when, isolation.

They follow the state of the device. Heat, tests and sealing are in rules_care.py.
"""

from collections.abc import Iterator

from benchguide.procedure.order import before_energy, before_isolation, blockers, blocks_refit
from benchguide.procedure.problems import Severity
from benchguide.procedure.rules import Finding, Move, Rule, View, named
from benchguide.procedure.words import REFITS, REMOVALS, PartKind

ERROR, WARNING = Severity.ERROR, Severity.WARNING


def held_or_covered(view: View) -> Iterator[Finding]:
    """A part comes off while something holds or covers it."""
    for move in view.moves:
        if not move.removal or view.is_out(move.part.id, move.number):
            continue
        left = blockers(view.device, move.part.id, view.out(move.number))
        if left:
            message = f"`{move.part.id}` comes off while {named(left)} still hold or cover it"
            yield Finding(move.keys, None, message, f"Take off {named(left)} in an earlier step.")


def already_out(view: View) -> Iterator[Finding]:
    """A part comes off that is out already."""
    for move in view.moves:
        if move.removal and view.is_out(move.part.id, move.number):
            message = f"`{move.part.id}` is out already"
            yield Finding(move.keys, None, message, "Delete the name here, or put the part back in between.")


def not_out(view: View) -> Iterator[Finding]:
    """A part goes back that is not out, or goes back twice."""
    for move in view.moves:
        if move.removal or view.is_out(move.part.id, move.number):
            continue
        before = [m for m in view.of_part(move.part.id) if m.number < move.number]
        if before:
            message = f"`{move.part.id}` goes back twice, first in step `{view.steps[before[-1].step].id}`"
        else:
            message = f"`{move.part.id}` goes back but was never taken off"
        yield Finding(move.keys, None, message, "Delete the name here, or take the part off before.")


def never_refitted(view: View) -> Iterator[Finding]:
    """A part is still out at the end of the job."""
    end = len(view.moves)
    for name in dict.fromkeys(move.part.id for move in view.moves):
        if view.is_out(name, end):
            last = [m for m in view.of_part(name) if m.removal and not view.is_out(name, m.number)][-1]
            message = f"`{name}` is taken off and never goes back"
            yield Finding(last.keys, None, message, "Add a step on the way back that refits it.")


def refit_order(view: View) -> Iterator[Finding]:
    """A part goes back before something that it holds or lies over."""
    for move in view.moves:
        if move.removal or not view.is_out(move.part.id, move.number):
            continue
        off_again = view.next_move(move.part.id, move.number, removal=True)
        end = off_again.number if off_again else len(view.moves)
        left = [
            name
            for name in blocks_refit(view.device, move.part.id, view.out(move.number))
            if (later := view.next_move(name, move.number, removal=False)) and later.number < end
        ]
        if left:
            message = f"`{move.part.id}` goes back before {named(left)}, which it holds or covers"
            yield Finding(move.keys, None, message, f"Put {named(left)} back in an earlier step.")


def isolation_first(view: View) -> Iterator[Finding]:
    """A connector is opened before the energy sources are isolated."""
    free = before_isolation(view.device)
    for move in view.moves:
        if not move.removal or move.part.kind is not PartKind.CONNECTOR or move.part.id in free:
            continue
        if view.is_out(move.part.id, move.number):
            continue
        live = [p.id for p in view.device.isolators if not view.is_out(p.id, move.number)]
        if live:
            message = f"connector `{move.part.id}` is opened before {named(live)} isolates the energy source"
            yield Finding(move.keys, None, message, f"Open {named(live)} in an earlier step.")


def isolation_last(view: View) -> Iterator[Finding]:
    """An isolating connector is closed while something is still out that does not hold or cover it (what closes the
    device waits for the test, and parts without a plug on a mains device are told by mains-last)."""
    outside = {part.id for part in view.device.cut_outside}
    for move in view.moves:
        if move.removal or not move.part.isolates or not view.is_out(move.part.id, move.number):
            continue
        again = view.next_move(move.part.id, move.number, removal=True)
        end = again.number if again else len(view.moves)
        plugs_only = view.device.stores or move.part.id in outside
        late = before_energy(view.device, move.part.id, _refitted_after(view, move, end))
        late = frozenset(name for name in late if not plugs_only or _is_plug(view, name))
        if late:
            names = [part.id for part in view.device.parts if part.id in late]
            message = f"`{move.part.id}` is connected before {named(names)}"
            remedy = "Connect the energy source when only what holds or covers its connector is left."
            yield Finding(move.keys, None, message, remedy)


def _is_plug(view: View, name: str) -> bool:
    return view.device.by_id[name].kind is PartKind.CONNECTOR


def _refitted_after(view: View, move: Move, end: int) -> set[str]:
    """Parts that are out at `move` and go back after it, before move `end`."""
    later = (m for m in view.moves[move.number + 1 : end] if not m.removal)
    return {m.part.id for m in later if view.is_out(m.part.id, move.number)}


def no_part(view: View) -> Iterator[Finding]:
    """A step takes off or refits, but names no part."""
    for index, step in enumerate(view.steps):
        if step.action in REMOVALS | REFITS and not step.parts:
            message = "the step moves parts but names none"
            remedy = "List the parts under `parts`, or use the action `work`."
            yield Finding(("steps", index, "action"), step.action.value, message, remedy)


def mixed_kinds(view: View) -> Iterator[Finding]:
    """A step moves parts of different kinds, which is more than one action."""
    for index, step in enumerate(view.steps):
        if step.action not in REMOVALS | REFITS:
            continue
        kinds = list(dict.fromkeys(view.device.by_id[n].kind for n in step.parts if n in view.device.by_id))
        if len(kinds) > 1:
            message = f"the step moves parts of {len(kinds)} kinds: {', '.join(kinds)}"
            yield Finding(("steps", index, "parts"), None, message, "Make one step of each action.")


def keep_moved(view: View) -> Iterator[Finding]:
    """A part that must stay fitted is taken off."""
    keep = set(view.job.keep) if view.job else set()
    for move in view.moves:
        if move.removal and move.part.id in keep:
            message = f"`{move.part.id}` is taken off although `keep` says that it stays"
            yield Finding(move.keys, None, message, "Delete it from `keep`, or leave it fitted.")


def target_not_moved(view: View) -> Iterator[Finding]:
    """A written-out procedure never takes off the part it is about."""
    target = view.job.target if view.job else None
    if view.steps and target and not any(m.removal for m in view.of_part(target)):
        message = "no step takes off the target part"
        yield Finding(("target",), target, message, "Add the step, or correct the name of the target.")


ORDER_RULES = (
    Rule(
        "held-or-covered", ERROR, "A part comes off only when nothing holds or covers it any more.",
        "Pulling at a part that is still held bends it or tears what holds it.",
        "Step `lift-plate` lifts `plate` while `plate-screws` are in.", job=held_or_covered,
    ),
    Rule(
        "already-out", ERROR, "A part comes off once before it goes back.",
        "A step that cannot be done makes a person doubt the ones before it.",
        "Two steps take off `plate-screws`.", job=already_out,
    ),
    Rule(
        "not-out", ERROR, "Only what is out goes back, and only once.",
        "The count before closing would not agree.",
        "Step `fit-plate` stands twice on the way back.", job=not_out,
    ),
    Rule(
        "never-refitted", ERROR, "Whatever comes off goes back.",
        "Most errors of the trade are made on the way back: something is left off.",
        "`shield` is lifted on the way in; no step fits it.", job=never_refitted,
    ),
    Rule(
        "refit-order", ERROR, "A part goes back after everything that it holds or covers.",
        "What lies under it can then be reached only by taking it off again.",
        "`cover` is fitted before `display-cable` under it is closed.", job=refit_order,
    ),
    Rule(
        "isolation-first", ERROR, "Energy sources are isolated before any other connector is opened.",
        "Opening a live connector can short-circuit it and injure or destroy.",
        "`display-cable` is opened while `cell-plug` is still in.", job=isolation_first,
    ),
    Rule(
        "isolation-last", ERROR, "The energy source is connected when only what lies over its connector is left.",
        "Closing a connector or driving a screw on a live board is as dangerous as the other way round.",
        "`cell-plug` is closed before `display-cable`, or before `board-screws`.", job=isolation_last,
    ),
    Rule(
        "no-part", ERROR, "A step that moves something says what.",
        "Without it the ledger of what is out would be wrong.",
        "`action: lift` without `parts`.", job=no_part,
    ),
    Rule(
        "mixed-kinds", WARNING, "One step is one action on parts of one kind.",
        "The second action of a step is the one that is forgotten.",
        "One step takes off `plate-screws` and `seal-tape`.", job=mixed_kinds,
    ),
    Rule(
        "keep-moved", ERROR, "A part under `keep` stays fitted.",
        "The two statements contradict each other, and one of them is a mistake.",
        "`keep: [hinge]`, and a step lifts `hinge`.", job=keep_moved,
    ),
    Rule(
        "target-not-moved", WARNING, "The target part comes off in some step.",
        "Either a step is missing or the target has the wrong name.",
        "`target: fan`, and no step lifts `fan`.", job=target_not_moved,
    ),
)  # fmt: skip
