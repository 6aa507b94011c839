"""Broken orders: what is held, live, left off, twice or shut in. The simulator says which fault was made, and where."""

import random

from tests.mutants.bundle import Bundle, Mutant
from tests.simulator import PUTS_BACK, TAKES_OFF


def held(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A part comes off before what holds or covers it: moved up, the other moved down, or the other left out."""
    pairs = [
        (name, bar)
        for _, name, off in bundle.moved
        if off
        for bar in bundle.bars(name)
        if bundle.once(name, off=True) is not None and bundle.once(bar, off=True) is not None
    ]
    name, bar = dice.choice(pairs)
    mine, theirs = bundle.steps_of(name, off=True)[0], bundle.steps_of(bar, off=True)[0]
    draft = bundle.draft("held or covered")
    way = dice.randrange(3)
    if way == 0:
        draft.move(mine, theirs)
    elif way == 1:
        draft.move(theirs, mine + 1)
    else:
        back = bundle.once(bar, off=False)
        draft.remove(theirs, *([] if back is None else [back]))
    return draft.judged("held", name, f"{name} before {bar} ({way})")


def live(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A connector is opened before isolation."""
    exempt = bundle.behind(bundle.switches)
    plugs = [
        (step, name)
        for step, name, off in bundle.moved
        if off and bundle.parts[name]["kind"] == "connector" and name not in exempt
    ]
    switches = [n for n in bundle.switches if bundle.once(n, off=True) is not None]
    if not plugs or not switches:
        return None
    (step, name), switch = dice.choice(plugs), dice.choice(switches)
    isolated = bundle.steps_of(switch, off=True)[0]
    draft = bundle.draft("connector before isolation")
    way = dice.randrange(3)
    if way == 0:
        draft.move(step, dice.randint(max(0, isolated - 6), isolated))
    elif way == 1:
        draft.move(isolated, dice.randint(step + 1, min(step + 4, len(bundle.job.items))))
    else:
        draft.remove(isolated, *bundle.steps_of(switch, off=False))
    return draft.judged("live", name, f"{name} before {switch} ({way})")


def early(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The energy source is not the last connector on the way back."""
    exempt = bundle.behind(bundle.switches)
    plugs = [
        (step, name)
        for step, name, off in bundle.moved
        if not off and bundle.parts[name]["kind"] == "connector" and name not in exempt
    ]
    switches = [n for n in bundle.switches if bundle.once(n, off=False) is not None]
    if not plugs or not switches:
        return None
    (step, name), switch = dice.choice(plugs), dice.choice(switches)
    closed = bundle.steps_of(switch, off=False)[0]
    draft = bundle.draft("battery not last")
    if dice.random() < 0.5:
        draft.move(closed, step)
    else:
        draft.move(step, dice.randint(closed + 1, min(closed + 5, len(bundle.job.items))))
    return draft.judged("early", switch, f"{switch} closed before {name}")


def mains_first(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Something comes off a device that is still plugged in."""
    plug = next((n for n in bundle.mains if bundle.once(n, off=True) is not None), None)
    if plug is None:
        return None
    exempt = bundle.behind(bundle.mains)
    others = [
        (step, name)
        for step, name, off in bundle.moved
        if off and name not in exempt and bundle.parts[name]["kind"] != "connector"
    ]
    step, name = dice.choice(others)
    pulled = bundle.steps_of(plug, off=True)[0]
    draft = bundle.draft("mains not unplugged first")
    if dice.random() < 0.5:
        draft.move(step, pulled)
    else:
        draft.move(pulled, step + 1)
    return draft.judged("mains", name, f"{name} before {plug}")


def mains_last(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The mains is connected while something is still out."""
    plug = next((n for n in bundle.mains if bundle.once(n, off=False) is not None), None)
    if plug is None:
        return None
    exempt = bundle.behind(bundle.mains)
    others = [
        (step, name)
        for step, name, off in bundle.moved
        if not off and name not in exempt and bundle.parts[name]["kind"] != "connector"
    ]
    step, name = dice.choice(others)
    draft = bundle.draft("mains connected too early")
    draft.move(bundle.steps_of(plug, off=False)[0], step)
    return draft.judged("mains-early", plug, f"{plug} before {name}")


def left_off(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Something is never put back: its step is missing, or its name in a step of several."""
    step, name, _ = dice.choice([move for move in bundle.moved if not move[2]])
    draft = bundle.draft("never refitted")
    item = draft.job.items[step]
    if len(item.raw["parts"]) > 1:
        item.put("parts", [other for other in item.raw["parts"] if other != name])
    else:
        draft.remove(step)
    return draft.judged("left-off", name, f"{name} stays out")


def twice(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Something is put back twice: the step stands twice, or another step names the part too."""
    step, name, _ = dice.choice([move for move in bundle.moved if not move[2]])
    draft = bundle.draft("refitted twice")
    item = draft.job.items[step]
    alike = [
        number
        for number, other in enumerate(draft.job.items)
        if number != step
        and other.raw["action"] == item.raw["action"]
        and str(other.raw["action"]) in PUTS_BACK
    ]
    if alike and dice.random() < 0.4:
        other = draft.job.items[dice.choice(alike)]
        other.put("parts", [*other.raw["parts"], name])
    else:
        copy = item.twin()
        copy.put("id", f"{item.raw['id']}-again")
        copy.drop("after_wait")
        draft.job.items.insert(dice.randint(0, len(draft.job.items)), copy)
    return draft.judged("twice never-off", name, f"{name} twice")


def shut(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Something is put back before what lies under it: moved up, or the other moved down."""
    pairs = [
        (name, bar)
        for _, name, off in bundle.moved
        if not off
        for bar in bundle.bars(name)
        if bundle.once(name, off=False) is not None and bundle.once(bar, off=False) is not None
    ]
    name, bar = dice.choice(pairs)
    mine, theirs = bundle.steps_of(name, off=False)[0], bundle.steps_of(bar, off=False)[0]
    draft = bundle.draft("refitted before what lies under it")
    if dice.random() < 0.5:
        draft.move(theirs, mine)
    else:
        draft.move(mine, theirs + 1)
    return draft.judged("shut", bar, f"{bar} before {name}")


def merged(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """One step moves parts of two kinds: the parts of a neighbour are added to it."""
    pairs = []
    for number in range(len(bundle.job.items) - 1):
        first, second = (bundle.job.items[n].raw for n in (number, number + 1))
        for moves in (TAKES_OFF, PUTS_BACK):
            if all(str(raw["action"]) in moves and raw.get("parts") for raw in (first, second)):
                kinds = [bundle.parts[raw["parts"][0]]["kind"] for raw in (first, second)]
                pairs += [number] if kinds[0] != kinds[1] else []
    number = dice.choice(pairs)
    draft = bundle.draft("two actions: parts of two kinds")
    first, second = draft.job.items[number], draft.job.items[number + 1]
    same = str(first.raw["action"]) == str(second.raw["action"])
    row = first.put("parts", [*first.raw["parts"], *second.raw["parts"]])
    row = row if same else first.row("action")
    draft.remove(number + 1)
    told = f"{first.raw['id']} takes over {second.raw['parts']}"
    # lifting screws or unplugging a cover is no action at all; the loader knows that
    return draft.done("mixed-kinds" if same else "wrong-action", row, told)


ORDER_KINDS = (held, live, early, mains_first, mains_last, left_off, twice, shut, merged)
