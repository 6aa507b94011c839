"""Broken care: cautions too late, heat near cells, sealing before the test, photos switched off, discharge ticked."""

import json
import math
import random
import re
from typing import Any

from tests.mutants.bundle import MOVES, Bundle, Draft, Mutant, movers, removals
from tests.mutants.sheet import Item, Row
from tests.simulator import PUTS_BACK, TAKES_OFF

SIGNALS = (
    "CAUTION: sharp edge.",
    "WARNING: it can spring up.",
    "Warning: hot.",
    "DANGER, live part.",
    "NOTICE: do not bend it.",
    "Caution - sharp edge.",
    "Notice: handle with care.",
    "Be careful, it can spring up.",
    "Beware of the sharp edge.",
)


def caution_in_text(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A caution is read behind the action, in its own text."""
    draft = bundle.draft("caution after its action: in the text")
    in_map = dice.random() < 0.3
    item = dice.choice((draft.map if in_map else draft.job).items)
    keys = ("off_text", "on_text", "key_point", "reason") if in_map else ("text", "key_point", "reason")
    key = dice.choice([key for key in keys if key in item.raw] or ["-"])
    if key == "-":
        return None
    remark = dice.choice(SIGNALS)
    row = item.put(key, f"{item.raw[key].rstrip('.')}. {remark}")
    return draft.done("caution-in-text", row, f"{item.raw['id']} {key}: {remark}", in_map=in_map)


LATE = (
    "Do not bend the {}. It can spring into your eye.",
    "Keep your fingers clear of the {}. Its edge can cut.",
    "Hold the {} firmly. It can fall on your hand.",
    "Move the {} slowly. A jerk can make it fly up and injure you.",
)


def says(text: str, name: str) -> bool:
    """Whether a text names something, as whole words."""
    return re.search(rf"(?<!\w){re.escape(name.lower())}(?!\w)", text.lower()) is not None


def _said_before(bundle: Bundle, name: str, until: int) -> bool:
    """Whether a caution of the job, the device or a step before `until` names it."""
    said = [*(bundle.job.raw.get("cautions") or ()), *(bundle.map.raw.get("cautions") or ())]
    for item in bundle.job.items[:until]:
        said += bundle.cautions(item.raw)
    return any(says(caution["text"], name) for caution in said)


def caution_late(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A caution about a part stands some steps after the one that moved it, which had none."""
    step, part, off = dice.choice(bundle.moved)
    name = bundle.title(part)
    again = [other for other, _, _ in (m for m in bundle.moved if m[1] == part) if other > step]
    last = min([*again, len(bundle.job.items)])
    places = [
        n
        for n in range(step + 1, min(last, step + 8))
        if part not in (bundle.job.items[n].raw.get("parts") or ())
        and not says(bundle.job.items[n].raw["text"], name)
    ]
    alone = (
        sum(raw["name"].lower() == bundle.parts[part]["name"].lower() for raw in bundle.parts.values()) == 1
    )
    if (
        not places
        or not alone
        or bundle.cautions(bundle.job.items[step].raw)
        or _said_before(bundle, name, last)
    ):
        return None
    draft = bundle.draft("caution after its action: in a later step")
    place = dice.choice(places)
    item = draft.job.items[place]
    row = _add_caution(item, dice.choice(("WARNING", "CAUTION", "NOTICE")), dice.choice(LATE).format(name))
    return draft.done("caution-late", row, f"{part} moved in step {step} ({off}), caution in step {place}")


def _add_caution(item: Item, word: str, text: str) -> Row:
    """Put a caution before the others of a step; its first row."""
    old = item.raw.get("cautions") or []
    lines = [
        "    cautions:",
        f"      - word: {word}",
        f"        text: {json.dumps(text, ensure_ascii=False)}",
    ]
    for caution in old:
        lines += [
            f"      - word: {caution['word']}",
            f"        text: {json.dumps(caution['text'], ensure_ascii=False)}",
        ]
    return item.put_rows("cautions", "\n".join(lines), [{"word": word, "text": text}, *old])[1]


def caution_moved(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A caution of a step, or of its part, is moved to one of the next steps; the step itself has none any more."""
    choices = []
    for step, item in enumerate(bundle.job.items):
        if str(item.raw["action"]) not in MOVES | {"wait", "work"}:
            continue
        shown = bundle.cautions(item.raw)
        names = [bundle.title(name) for name in item.raw.get("parts") or ()]
        tool = next((t["name"] for t in bundle.map.raw["tools"] if t["id"] == item.raw.get("tool")), None)
        names += [re.split(r" with |,", tool)[0].lower()] if tool else []
        choices += [
            (step, name, caution) for name in names for caution in shown if says(caution["text"], name)
        ]
    if not choices:
        return None
    step, name, caution = dice.choice(choices)
    draft = bundle.draft("caution after its action: moved down")
    source = draft.job.items[step]
    # heat near a cell needs its caution at its own step; any other caution may be meant for the step it stands at
    heat = (source.raw.get("wait") or {}).get("kind") == "heat" and bool(_near_cells(draft, step))
    later = list(range(step + 1, min(step + 5, len(draft.job.items))))
    if not heat:
        later = [
            n
            for n in later
            if not says(draft.job.items[n].raw["text"], name)
            and not set(draft.job.items[n].raw.get("parts") or ()) & set(source.raw.get("parts") or ())
            and draft.job.items[n].raw.get("tool") != source.raw.get("tool")
        ]
    if not later or (not heat and _said_before(bundle, name, step)):
        return None
    source.drop("cautions")
    for part in source.raw.get("parts") or ():
        draft.map.by_id(part).drop("cautions")
    row = _add_caution(draft.job.items[dice.choice(later)], caution["word"], caution["text"])
    uses = [n for n, item in enumerate(bundle.job.items) if item.raw.get("tool") == source.raw.get("tool")]
    lifts = any(bundle.parts[p]["kind"] == "cell" for p in source.raw.get("parts") or ())
    if heat:
        return draft.done("heat-caution", source.rows[0], f"caution of heat step {step} moved down")
    if lifts and str(source.raw["action"]) == "lift":
        return draft.done(
            "cell-caution", draft.part_row(step, source.raw["parts"][0]), f"caution of cell step {step}"
        )
    is_tool = not any(bundle.title(p) == name for p in source.raw.get("parts") or ())
    if is_tool and any(use > step for use in uses):
        return None  # the tool is used again, so the caution is in time for that
    return draft.done("caution-late", row, f"caution of step {step} about {name} moved down")


# ------------------------------------------------------------------------------------------------ heat


def _spots(part: dict[str, Any], width: float, front: bool) -> list[tuple[float, float]]:
    """Points of a part, seen from the back; boxes by a grid of points."""
    found = [tuple(point) for point in (*(part.get("places") or ()), *(part.get("path") or ()))]
    if part.get("box"):
        x, y, wide, high = part["box"]
        found += [(x + wide * i / 8, y + high * j / 8) for i in range(9) for j in range(9)]
    return [(width - x, y) for x, y in found] if front else found


def distance(bundle: Bundle, a: str, b: str) -> float | None:
    """About how far two parts are apart in mm, or None when it is not known."""
    width = bundle.map.raw["outline"]["width_mm"]
    first, second = (_spots(bundle.parts[n], width, bundle.parts[n].get("face") == "front") for n in (a, b))
    return min((math.dist(p, q) for p in first for q in second), default=None)


def _inside(draft: Draft, until: int) -> set[str]:
    """Parts that are in the device before a step."""
    away: set[str] = set()
    for item in draft.job.items[:until]:
        action = str(item.raw["action"])
        if action in TAKES_OFF:
            away |= set(item.raw.get("parts") or ())
        elif action in PUTS_BACK:
            away -= set(item.raw.get("parts") or ())
    return set(draft.bundle.parts) - away


def _near(draft: Draft, step: int, most: float) -> list[str]:
    """Cells and parts with a limit that are in the device and surely near the heat of a step."""
    heated = draft.job.items[step].raw.get("parts") or ()
    found = []
    for name in _inside(draft, step):
        part = draft.bundle.parts[name]
        if part["kind"] != "cell" and part.get("limit_c") is None:
            continue
        gaps = [distance(draft.bundle, name, hot) for hot in heated]
        if not heated or any(gap is None or gap <= most for gap in gaps):
            found.append(name)
    return found


def _near_cells(draft: Draft, step: int) -> list[str]:
    return [name for name in _near(draft, step, 15) if draft.bundle.parts[name]["kind"] == "cell"]


HEAT = """\
  - id: extra-heat
    stage: way-in
    action: wait
    parts: [{part}]
    cautions:
      - word: WARNING
        text: Stay beside the heat. An overheated cell can ignite. Follow your fire plan.
    text: Lay the warming pad on the place. Start the countdown.
    wait: {{kind: heat, for_s: 120, limit_c: {limit:g}}}
    time_s: [20, 60]
"""
TOUCH = """\
  - id: extra-touch
    stage: way-in
    action: check
    text: Touch the place briefly.
    time_s: [5, 20]
"""


def with_heat(bundle: Bundle, dice: random.Random) -> tuple[Draft, int, int] | None:
    """A sound heat step and its touch check put before a removal near a cell; or one that is there already."""
    draft = bundle.draft("heat")
    old = [n for n, i in enumerate(draft.job.items) if (i.raw.get("wait") or {}).get("kind") == "heat"]
    if old and dice.random() < 0.3:
        step = dice.choice(old)
    else:
        step, raw = dice.choice(list(removals(bundle)))
        draft.insert(step, TOUCH)
        draft.insert(step, HEAT.format(part=raw["parts"][0], limit=45))
    near = _near(draft, step, 15)
    limits = [draft.bundle.parts[name]["limit_c"] for name in near if draft.bundle.parts[name].get("limit_c")]
    if not _near_cells(draft, step) or not limits:
        return None
    return draft, step, int(min(limits))


def _bare(draft: Draft, step: int) -> None:
    """Take every caution from a step and its parts."""
    item = draft.job.items[step]
    if item.raw.get("cautions"):
        item.drop("cautions")
    for part in item.raw.get("parts") or ():
        draft.map.by_id(part).drop("cautions")


def heat_caution(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Heat near a cell without its caution: none, one of damage only, or one about something else."""
    made = with_heat(bundle, dice)
    if made is None:
        return None
    draft, step, _ = made
    draft.kind = "heat near a cell without its caution"
    _bare(draft, step)
    item = draft.job.items[step]
    way = dice.randrange(3)
    if way == 1:
        _add_caution(item, "NOTICE", "Heat the rim evenly. Uneven heat can warp the cover over the cell.")
    elif way == 2:
        _add_caution(item, "CAUTION", "Mind the sharp edge of the cover. It can cut your hand.")
    return draft.done(
        "heat-caution-vague" if way == 2 else "heat-caution", item.rows[0], f"step {step} ({way})"
    )


def heat_limit(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Heat above what a cell near it may see."""
    made = with_heat(bundle, dice)
    if made is None:
        return None
    draft, step, limit = made
    draft.kind = "heat above the cell's limit"
    item = draft.job.items[step]
    hot = limit + dice.choice((1, 5, 20, 60))
    row = item.put_rows("wait", f"    wait: {{kind: heat, for_s: 120, limit_c: {hot}}}", {"kind": "heat"})[0]
    return draft.done("heat-limit", row, f"{hot} degrees in step {step}")


def heat_unstated(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Heat near a part with a limit, and no word of how hot."""
    made = with_heat(bundle, dice)
    if made is None:
        return None
    draft, step, _ = made
    draft.kind = "heat without a stated temperature"
    item = draft.job.items[step]
    row = item.put_rows("wait", "    wait: {kind: heat, for_s: 120}", {"kind": "heat"})[0]
    return draft.done("heat-unstated", row, f"step {step}")


def heat_check(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The touch or temperature check between heat and removal is missing, comes too late, or is no check."""
    draft = bundle.draft("heat without a touch or temperature check")
    old = [n for n, i in enumerate(draft.job.items) if (i.raw.get("wait") or {}).get("kind") == "heat"]
    if old and dice.random() < 0.3:
        step = dice.choice(old)
    else:
        step, raw = dice.choice(list(removals(bundle)))
        draft.insert(step, TOUCH)
        draft.insert(step, HEAT.format(part=raw["parts"][0], limit=45))
    heated = set(draft.job.items[step].raw.get("parts") or ())
    taken = next(
        (
            n
            for n in range(step + 1, len(draft.job.items))
            if str((raw := draft.job.items[n].raw)["action"]) in TAKES_OFF
            and any(p in heated or bundle.parts[p]["kind"] == "bond" for p in raw.get("parts") or ())
        ),
        None,
    )
    if taken is None:
        return None
    looks = [n for n in range(step + 1, taken) if draft.job.items[n].raw["action"] in ("check", "read")]
    way = dice.randrange(2)
    for n in reversed(looks):
        if way == 0 or draft.job.items[n].raw["action"] == "read":
            draft.remove(n)
        else:
            draft.job.items[n].put("action", "work")
    return draft.done("heat-check", draft.job.items[step].rows[0], f"step {step} ({way})")


# ------------------------------------------------------------------------------------- test, seal, photo


def seal_before_test(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """Sealing comes before the test: moved up, the test moved down, left out, or no longer marked."""
    draft = bundle.draft("sealing before the test")
    seals = [n for n, item in enumerate(draft.job.items) if item.raw.get("seals")]
    tests = [n for n, item in enumerate(draft.job.items) if item.raw.get("before_seal")]
    if not seals or not tests:
        return None
    seal = draft.job.items[seals[0]]
    way = dice.randrange(4)
    if way == 0:
        draft.move(seals[0], dice.randint(0, tests[-1]))
    elif way == 1:
        draft.move(dice.choice(tests), dice.randint(seals[0] + 1, len(draft.job.items)))
    elif way == 2:
        draft.remove(*tests)
    else:
        for test in tests:
            draft.job.items[test].drop("before_seal")
    return draft.done("seal-before-test", seal.row("seals"), f"way {way}")


def seal_unmarked(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """No step says that it seals, so that the test holds nothing back."""
    draft = bundle.draft("sealing not marked")
    seals = [item for item in draft.job.items if item.raw.get("seals")]
    tests = [item for item in draft.job.items if item.raw.get("before_seal")]
    if not seals or not tests:
        return None
    for item in seals:
        item.drop("seals")
    bonds = [
        item
        for item in draft.job.items
        if item.raw["stage"] == "seal"
        and str(item.raw["action"]) == "on"
        and any(bundle.parts[p]["kind"] == "bond" for p in item.raw.get("parts") or ())
    ]
    return draft.done(
        "seal-unmarked", bonds[0].rows[0] if bonds else tests[0].row("before_seal"), "seals dropped"
    )


PICTURED = {"connector", "cover", "module", "cell"}


def photo(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A required photo is switched off."""
    draft = bundle.draft("required photo suppressed")
    steps = [
        n
        for n in movers(bundle)
        if any(bundle.parts[p]["kind"] in PICTURED for p in draft.job.items[n].raw.get("parts") or ())
    ]
    item = draft.job.items[dice.choice(steps)]
    key = "as_found" if str(item.raw["action"]) in TAKES_OFF else "as_left"
    return draft.done("photo-suppressed", item.put(key, False), f"{key} at {item.raw['id']}")


def discharge(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A discharge is not measured: the readings are left out, ticked, without a limit, or with one that is too high."""
    plug = next((n for n in bundle.mains if bundle.once(n, off=True) is not None), None)
    if plug is None:
        return None
    draft = bundle.draft("discharge ticked, not measured")
    start = bundle.steps_of(plug, off=True)[0]
    way = dice.choice(("out", "ticked", "high", "open", "unit"))
    target = None
    for item in draft.job.items[start + 1 :]:
        kinds = {bundle.parts[p]["kind"] for p in item.raw.get("parts") or ()}
        if str(item.raw["action"]) in TAKES_OFF and kinds & {"connector", "module", "cell"}:
            target = item
            break
        if item.raw["action"] == "read":
            _spoil(draft, item, way)
    if target is None:
        return None
    part = next(p for p in target.raw["parts"] if bundle.parts[p]["kind"] in ("connector", "module", "cell"))
    return draft.done("discharge-measured", target.row("parts", part), f"readings {way}")


def _spoil(draft: Draft, item: Item, way: str) -> None:
    if way == "out":
        draft.job.items.remove(item)
    elif way == "ticked":
        item.put("action", "check")
        item.drop("reading")
    elif way == "high":
        item.put("reading", {"quantity": "bank voltage", "unit": "V", "low": -5, "high": 240})
    elif way == "open":
        item.put("reading", {"quantity": "bank voltage", "unit": "V"})
    else:
        item.put("reading", {"quantity": "bank temperature", "unit": "°C", "high": 40})


CARE_KINDS = (
    caution_in_text,
    caution_late,
    caution_moved,
    heat_caution,
    heat_limit,
    heat_unstated,
    heat_check,
    seal_before_test,
    seal_unmarked,
    photo,
    discharge,
)
