"""Why a part must come off, and why a wish cannot be met, each in one sentence. Nothing is planned here."""

import re
from collections.abc import Collection, Sequence
from difflib import get_close_matches

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.order import before_isolation, exposing, gated, loops, needs, reach
from benchguide.procedure.problems import shown
from benchguide.procedure.words import PartKind

_TOLD = 3


class CannotReach(Exception):
    """The target cannot be reached as asked. Its text is one sentence.

    `rule` is `held_by`, `under`, `isolation`, `stored` (energy that has to be measured), `target` (the target
    itself is to stay), `loop` or `unknown`; `part` is the part that stands against it, `other` the part it holds,
    covers or gives the reason.
    """

    def __init__(self, sentence: str, rule: str, part: str, other: str | None = None) -> None:
        super().__init__(sentence)
        self.rule, self.part, self.other = rule, part, other


def one_line(name: str) -> str:
    """A name without line breaks and other characters that would break a line of text."""
    return "".join(letter if letter.isprintable() else " " for letter in name).strip() or repr(name)


def called(part: Part) -> str:
    """The part's name inside a sentence: "the lower plate"; a name like "LED board" keeps its capitals."""
    name = one_line(part.name)
    first = name.split(" ")[0]
    if len(first) > 1 and first[0].isupper() and not any(letter.isupper() for letter in first[1:]):
        name = name[0].lower() + name[1:]
    return f"the {name}"


def listed(names: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c", "a, b, c and 4 more"."""
    # "and 1 more" would be no shorter than the name
    shown = list(names if len(names) == _TOLD + 1 else names[:_TOLD])
    if len(names) > len(shown):
        shown.append(f"{len(names) - _TOLD} more")
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]


#: what follows the noun that a name is about: "Screws under the rubber strip"
_AFTER_NOUN = re.compile(
    r"\s(?:above|at|behind|below|between|by|for|from|in|of|on|over|to|under|with)\s|[,(]"
)
#: nouns that end like several and are one
_ONE = re.compile(r"(?:ss|us|is|lens|axis|gas|bias)$", re.IGNORECASE)


def _many(part: Part) -> bool:
    """True when a sentence about the part takes the plural: several screws, or a name like "Storage capacitors"."""
    if part.screws is not None and part.screws.count > 1:
        return True
    noun = _AFTER_NOUN.split(one_line(part.name), maxsplit=1)[0].strip()
    return " and " in noun or (len(noun) > 2 and noun.endswith("s") and not _ONE.search(noun))


def _isolated(device: DeviceMap, part: Part) -> str:
    """What a connector isolates: the cells by name, or as they are written."""
    return listed([called(device.by_id[n]) if n in device.by_id else n for n in part.isolates])


class Reasons:
    """The reasons of one way in: `out` is all that comes off, `gated` says that isolation matters in it."""

    def __init__(
        self, device: DeviceMap, target: str, out: Collection[str], gated: bool, also: Collection[str] = ()
    ) -> None:
        self._device, self._target, self._out, self._gated = device, target, out, gated
        self._also = frozenset(also)
        self._held_by = {name: frozenset(device.by_id[name].held_by) for name in out}

    def why(self, part: Part) -> str:
        """One clause that begins with "because"."""
        if part.id == self._target:
            return f"because {'they are the parts' if _many(part) else 'it is the part'} to be reached"
        if part.isolates and (self._gated or part in self._device.cut_outside):
            verb = "they isolate" if _many(part) else "it isolates"
            return f"because {verb} {_isolated(self._device, part)} before {_others(self._device)}"
        many = _many(part)
        after = [name for name in self._device.needed_by.get(part.id, ()) if name in self._out]
        held = [called(self._device.by_id[n]) for n in after if part.id in self._held_by[n]]
        below = [called(self._device.by_id[n]) for n in after if part.id not in self._held_by[n]]
        clauses = []
        if held:
            if part.kind is PartKind.CONNECTOR:
                clauses.append(f"{'keep' if many else 'keeps'} {listed(held)} connected")
            else:
                clauses.append(f"{'hold' if many else 'holds'} {listed(held)} down")
        if below:
            clauses.append(f"{'lie' if many else 'lies'} over {listed(below)}")
        if not clauses and part.id in exposing(self._device):
            clauses.append(f"{'open' if many else 'opens'} the way to {_stores(self._device, part.id)}")
        if not clauses:
            # only what was asked for holds and covers nothing that comes off
            assert part.id in self._also
            return f"because {'they are' if many else 'it is'} to come off as well"
        return f"because {'they' if many else 'it'} {' and '.join(clauses)}"


def _stores(device: DeviceMap, name: str) -> str:
    """The energy that a part opens the way to, in words."""
    stores = [part for part in device.stores if part.stores and part.stores.exposed_by == name]
    return f"{listed([called(part) for part in stores])}, where stored energy is measured"


def _others(device: DeviceMap) -> str:
    return "anything else comes off" if device.isolated_first else "other connectors are opened"


def gated_parts(device: DeviceMap, coming: Collection[Part]) -> list[Part]:
    """Those of `coming` that may come off only after isolation: connectors, or all where energy is stored."""
    if not device.isolators:
        return []
    free = before_isolation(device)
    return [part for part in coming if gated(device, part, free)]


def check_sound(device: DeviceMap, target: str, keep: Collection[str], also: Collection[str] = ()) -> None:
    """Raises CannotReach for names the part map does not have, and for loops on the way to the target."""
    for name in (target, *keep, *also):
        if name not in device.by_id:
            near = get_close_matches(name[:64], device.by_id, n=1)
            hint = f"; perhaps `{near[0]}` is meant." if near else "; its names are in the part map."
            raise CannotReach(f"The part map has no part {shown(name)}{hint}", "unknown", name)
    known = device.by_id
    free = [part.id for part in device.isolators]
    there = reach([target, *also, *free], lambda name: needs(known[name]) if name in known else ())
    for name in sorted(there - known.keys()):
        users = [p for p in device.parts if p.id in there and name in needs(p)]
        sentence = (
            f"The part map says that `{name}` holds or covers {called(users[0])}, but has no such part."
        )
        raise CannotReach(sentence, "unknown", name, users[0].id)
    knots = loops({part.id: needs(part) for part in device.parts if part.id in there})
    if knots:
        loop = knots[0]
        names = " needs ".join(f"`{n}`" for n in (*loop, loop[0])) + " off first"
        sentence = f"`{target}` cannot be reached: the part map holds a loop in which {names}."
        raise CannotReach(sentence, "loop", loop[0], loop[-1])


def check_stays(
    device: DeviceMap, target: str, keep: Sequence[str], wanted: Collection[str], also: Collection[str] = ()
) -> None:
    """Raises CannotReach when a part that is told to stay has to come off, naming the rule that forbids it."""
    against = [name for name in keep if name in wanted]
    if not against:
        return
    if target in against:
        sentence = f"{_start(device.by_id[target])} must stay, but it is the part to be reached."
        raise CannotReach(sentence, "target", target)
    for name in also:
        if name in against:
            sentence = f"{_start(device.by_id[name])} must stay, but it is to come off as well."
            raise CannotReach(sentence, "target", name)
    for goal in (target, *also):
        nearest = _nearest(device, goal, set(against))
        if nearest is not None:
            raise _forbidden(device, goal, *nearest)
    for goal in exposing(device):
        if goal in against or (goal in wanted and _nearest(device, goal, set(against))):
            raise _forbidden_by_measuring(device, target, goal, set(against))
    raise _forbidden_by_isolation(device, target, against, wanted)


def _start(part: Part) -> str:
    name = called(part)
    return name[0].upper() + name[1:]


def _nearest(device: DeviceMap, target: str, against: set[str]) -> tuple[str, str] | None:
    """The part told to stay that is the fewest steps from the target, and what it holds or covers there."""
    ring, seen = [target], {target}
    while ring:
        following: list[str] = []
        for name in ring:
            for other in needs(device.by_id[name]):
                if other in against:
                    return other, name
                if other not in seen:
                    seen.add(other)
                    following.append(other)
        ring = following
    return None


def _relation(device: DeviceMap, kept: str, other: str) -> tuple[str, str]:
    """Rule and clause of "<kept> holds or covers <other>"."""
    held = kept in device.by_id[other].held_by
    many = _many(device.by_id[kept])
    verb = ("hold" if held else "lie over") if many else ("holds" if held else "lies over")
    clause = f"{'they' if many else 'it'} {verb} {called(device.by_id[other])}"
    return ("held_by" if held else "under"), clause


def _forbidden(device: DeviceMap, target: str, kept: str, other: str) -> CannotReach:
    rule, clause = _relation(device, kept, other)
    on_the_way = "" if other == target else f", which must come off to reach {called(device.by_id[target])}"
    return CannotReach(
        f"{_start(device.by_id[kept])} must stay, but {clause}{on_the_way}.", rule, kept, other
    )


def _forbidden_by_measuring(device: DeviceMap, target: str, goal: str, against: set[str]) -> CannotReach:
    opens = f"it opens the way to {_stores(device, goal)} before {called(device.by_id[target])} is reached"
    if goal in against:
        return CannotReach(f"{_start(device.by_id[goal])} must stay, but {opens}.", "stored", goal, target)
    nearest = _nearest(device, goal, against)
    assert nearest is not None
    _, clause = _relation(device, *nearest)
    sentence = f"{_start(device.by_id[nearest[0]])} must stay, but {clause}; of {called(device.by_id[goal])}: {opens}."
    return CannotReach(sentence, "stored", nearest[0], goal)


def _forbidden_by_isolation(
    device: DeviceMap, target: str, against: Sequence[str], wanted: Collection[str]
) -> CannotReach:
    opened = next(
        iter(gated_parts(device, [p for p in device.parts if p.id in wanted])), device.by_id[target]
    )
    reason = f"before {_others(device)} to reach {called(device.by_id[target])}"
    for isolator in device.isolators:
        if isolator.id in against:
            clause = f"it isolates {_isolated(device, isolator)} {reason}"
            sentence = f"{_start(isolator)} must stay, but {clause}."
            return CannotReach(sentence, "isolation", isolator.id, opened.id)
    for isolator in device.isolators:
        nearest = _nearest(device, isolator.id, set(against))
        if nearest is not None:
            _, clause = _relation(device, *nearest)
            way = "" if nearest[1] == isolator.id else f", and {called(isolator)} lies behind that"
            energy = f"{called(isolator)} isolates {_isolated(device, isolator)} {reason}"
            sentence = f"{_start(device.by_id[nearest[0]])} must stay, but {clause}{way}, and {energy}."
            return CannotReach(sentence, "isolation", nearest[0], isolator.id)
    raise AssertionError("a part comes off for the target or for isolation")
