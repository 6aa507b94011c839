"""Broken part maps and names: screws that are swapped, too long for another hole, parts unknown or unused."""

import json
import random
import re
from typing import Any

from tests.mutants.bundle import Bundle, Draft, Mutant
from tests.mutants.sheet import Item, Row

Screws = dict[str, Any]


def _write(item: Item, screws: Screws) -> Row:
    """Set the screws of a group, in one row."""
    pairs = ", ".join(f"{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in screws.items())
    return item.put_rows("screws", f"    screws: {{{pairs}}}", screws)[0]


def swapped(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Two groups of the same drive and thread and of almost the same length lie in one cell of the mat."""
    draft = bundle.draft("easily swapped screws in one cell")
    groups = [item for item in draft.map.items if item.raw.get("screws") and item.raw.get("cell")]
    if len(groups) < 2:
        return None
    first, second = sorted(dice.sample(range(len(groups)), 2))
    a, b = groups[first], groups[second]
    change = dice.choice((-0.4, -0.3, -0.2, -0.1, 0.1, 0.2, 0.3, 0.4))
    screws = dict(a.raw["screws"])
    screws["count"] = b.raw["screws"]["count"]
    screws["length_mm"] = round(screws["length_mm"] + change, 2)
    _write(b, screws)
    row = b.put("cell", a.raw["cell"])
    return draft.done("easily-swapped", row, f"{a.raw['id']} and {b.raw['id']}, {change:+g} mm", in_map=True)


def _untold(draft: Draft, item: Item) -> None:
    """Take every length out of a group's texts."""
    for key in ("off_text", "on_text", "key_point", "reason"):
        if re.search(r"\d\s?mm\b", item.raw.get(key) or ""):
            item.put(key, "Hold the driver upright.")
    if any(re.search(r"\d\s?mm\b", caution["text"]) for caution in item.raw.get("cautions") or ()):
        item.drop("cautions")


def too_long(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A screw is longer than another hole of its thread is deep, and no text of either tells."""
    draft = bundle.draft("screw too long for another hole of its thread")
    groups = [item for item in draft.map.items if (item.raw.get("screws") or {}).get("depth_mm")]
    if len(groups) < 2:
        return None
    screw, hole = dice.sample(groups, 2)
    theirs = dict(hole.raw["screws"])
    deepest = max(theirs["depth_mm"], theirs["length_mm"])
    longer = round(deepest + dice.choice((0.2, 0.5, 1, 2, 4)), 2)
    mine = {**screw.raw["screws"], "thread": theirs["thread"], "length_mm": longer, "depth_mm": longer + 0.5}
    _untold(draft, screw)
    _untold(draft, hole)
    row = _write(screw, mine)
    told = f"{screw.raw['id']} {longer:g} mm in {hole.raw['id']}, {deepest:g} mm deep"
    return draft.done("too-long-elsewhere", row, told, in_map=True)


def unknown_part(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A name that is no part: in a step, as target, under `keep`, or in the part map's ties."""
    draft = bundle.draft("unknown part")
    way = dice.randrange(4)
    if way == 0 and bundle.job.raw.get("target"):
        row = draft.job.swap_head(
            draft.job.head_row("target"), f"target: {_misspelt(bundle.job.raw['target'], dice)}"
        )
        return draft.done("unknown-part", row, "target")
    if way == 1 and bundle.job.raw.get("keep"):
        name = dice.choice(bundle.job.raw["keep"])
        row = draft.job.head_row("keep", name)
        text = re.sub(rf"(?<![\w-]){re.escape(name)}(?![\w-])", _misspelt(name, dice), row.text, count=1)
        return draft.done("unknown-part", draft.job.swap_head(row, text), f"keep {name}")
    if way == 2:
        ties = [(i, k) for i in draft.map.items for k in ("held_by", "under", "isolates") if i.raw.get(k)]
        item, key = dice.choice(ties)
        names = list(item.raw[key])
        names[dice.randrange(len(names))] = _misspelt(dice.choice(names), dice)
        return draft.done("unknown-part", item.put(key, names), f"{item.raw['id']} {key}", in_map=True)
    item = dice.choice([item for item in draft.job.items if item.raw.get("parts")])
    names = list(item.raw["parts"])
    place = dice.randrange(len(names))
    names[place] = _misspelt(names[place], dice)
    return draft.done("unknown-part", item.put("parts", names), f"step {item.raw['id']}")


def _misspelt(name: str, dice: random.Random) -> str:
    place = dice.randrange(len(name))
    return name[:place] + "x" + name[place:]


def unused_part(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A part that is tied to nothing and that no step names."""
    draft = bundle.draft("unused part")
    kind = dice.choice(("loose", "cover", "module", "bond", "connector"))
    text = f"  - id: left-over\n    kind: {kind}\n    name: Left over\n"
    item = Item(
        [Row(line) for line in text.splitlines()], {"id": "left-over", "kind": kind, "name": "Left over"}
    )
    draft.map.items.insert(dice.randint(0, len(draft.map.items)), item)
    return draft.done("unused-part", item.rows[0], kind, in_map=True)


MAP_KINDS = (swapped, too_long, unknown_part, unused_part)
