"""Broken words: two actions in a text, wrong counts and lengths, tools and times that are missing or contradict."""

import random
import re
from typing import Any

from tests.mutants.bundle import Bundle, Mutant, movers
from tests.mutants.sheet import Sheet
from tests.simulator import PUTS_BACK, TAKES_OFF

NUMBERS = re.split(
    " ",
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen twenty",
)

JOINTS = (
    ", then {}",
    " and then {}",
    ". Then {}",
    ", and afterwards {}",
    ". After that, {}",
    "; then {}",
    ". Next, {}",
    ", then you {}",
    ". Finally, {}",
)
SECONDS = (
    "lift the cover",
    "pull the plug",
    "turn the device over",
    "wipe the rim",
    "undo the two screws",
    "press the latch",
)


def second_in_text(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The text of a step tells another action after its own, whatever it moves."""
    draft = bundle.draft("two actions: one after the other in the text")
    item = draft.job.items[dice.choice(movers(bundle))]
    text = item.raw["text"].rstrip(".")
    joint = dice.choice(JOINTS).format(dice.choice(SECONDS))
    return draft.done("and-then", item.put("text", f"{text}{joint}."), joint)


OFF_COMMANDS = (
    "Lift the {} off.",
    "Take out the {}.",
    "Pull the {} straight up.",
    "Undo the {}.",
    "Remove the {}.",
)
ON_COMMANDS = (
    "Fit the {}.",
    "Put in the {}.",
    "Press the {} down.",
    "Lower the {} into its seat.",
    "Put the {} back.",
)


def second_part(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The text of a step also tells to move a part that only a later step moves."""
    step, _, off = dice.choice(bundle.moved)
    later = [name for other, name, removal in bundle.moved if step < other < step + 12 and removal is off]
    draft = bundle.draft("two actions: another part in the text")
    item = draft.job.items[step]
    mine = {bundle.title(name) for name in item.raw["parts"]}
    names = [bundle.title(name) for name in later if name not in item.raw["parts"]]
    # "the coax snap" may be meant by "Coax snap of the front microphone"
    names = [name for name in names if not any(name in own or own in name for own in mine)]
    if not names:
        return None
    command = dice.choice(OFF_COMMANDS if off else ON_COMMANDS).format(dice.choice(names))
    parts = (item.raw["text"], command) if dice.random() < 0.7 else (command, item.raw["text"])
    return draft.done("second-action", item.put("text", " ".join(parts)), command)


# -------------------------------------------------------------------------------------- counts and lengths

_COUNTED = re.compile(
    rf"(?<![\w.,])(\d{{1,2}}|both|{'|'.join(NUMBERS[1:])})(?= (?:[\w-]+ ){{0,3}}(?:screws?|heads?)\b)",
    re.IGNORECASE,
)


def _number(word: str) -> int:
    return 2 if word.lower() == "both" else int(word) if word.isdigit() else NUMBERS.index(word.lower())


def _written(number: int, like: str, dice: random.Random) -> str:
    word = str(number) if dice.random() < 0.3 else NUMBERS[number]
    return word.capitalize() if like[0].isupper() else word


def _screw_steps(bundle: Bundle) -> list[tuple[int, str]]:
    return [
        (step, name)
        for step, name, _ in bundle.moved
        if bundle.parts[name]["kind"] == "screws" and len(bundle.job.items[step].raw["parts"]) == 1
    ]


def _miscounted(text: str, count: int, dice: random.Random) -> str | None:
    """The text with its one number of screws wrong, or None when it tells none, or another number already."""
    found = [m for m in _COUNTED.finditer(text) if not text[m.end() :].startswith(" mm")]
    if len(found) != 1 or _number(found[0][1]) != count:
        return None
    wrong = dice.choice([n for n in range(1, 21) if n != count])
    return text[: found[0].start()] + _written(wrong, found[0][1], dice) + text[found[0].end() :]


def count_in_step(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A step tells another number of screws than the part map."""
    step, name = dice.choice(_screw_steps(bundle))
    draft = bundle.draft("counts: a step against the part map")
    item, key = draft.job.items[step], dice.choice(("text", "key_point"))
    text = _miscounted(item.raw.get(key) or "", bundle.parts[name]["screws"]["count"], dice)
    return None if text is None else draft.done("count-in-text", item.put(key, text), text)


def count_in_map(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A text of the part map tells another number of screws than its count."""
    draft = bundle.draft("counts: a text of the part map against its count")
    item = dice.choice([item for item in draft.map.items if item.raw["kind"] == "screws"])
    key = dice.choice(("off_text", "on_text", "key_point"))
    text = _miscounted(item.raw.get(key) or "", item.raw["screws"]["count"], dice)
    return None if text is None else draft.done("count-in-text", item.put(key, text), text, in_map=True)


def count_and_places(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The count of a screw group is not the number of its places."""
    draft = bundle.draft("counts: places against the count")
    item = dice.choice([i for i in draft.map.items if i.raw["kind"] == "screws" and i.raw.get("places")])
    places = list(item.raw["places"])
    if dice.random() < 0.5 and len(places) > 1:
        places.pop(dice.randrange(len(places)))
    else:
        places.append(dice.choice(places))
    return draft.done("contradiction", item.put("places", places), f"{len(places)} places", in_map=True)


def length_in_text(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A text tells another length of screws than the part map."""
    draft = bundle.draft("counts: a length in a text against the part map")
    in_map = dice.random() < 0.5
    if in_map:
        item = dice.choice([item for item in draft.map.items if item.raw["kind"] == "screws"])
        screws = item.raw["screws"]
    else:
        step, name = dice.choice(_screw_steps(bundle))
        item, screws = draft.job.items[step], bundle.parts[name]["screws"]
    told = f"{screws['length_mm']:g} mm"
    text = item.raw.get("key_point") or ""
    if not re.match(rf"\w+ (?:[\w-]+ )*(?:screws?|heads?), (?:[\w ]+, )?{re.escape(told)}\b", text):
        return None
    wrong = f"{screws['length_mm'] + dice.choice((-1, 1, 2, 3)):g} mm"
    return draft.done(
        "length-in-text", item.put("key_point", text.replace(told, wrong, 1)), wrong, in_map=in_map
    )


# ---------------------------------------------------------------------------------------------- tools


def _tool_rows(bundle: Bundle, sheet: Sheet, tool: str) -> Any:
    """The row that uses a tool first: a step's own, or a part that comes off with it."""
    for item in sheet.items:
        if item.raw.get("tool"):
            if item.raw["tool"] == tool:
                return item.row("tool")
            continue
        if str(item.raw["action"]) in TAKES_OFF:
            for name in item.raw.get("parts") or ():
                if bundle.parts[name].get("tool") == tool:
                    return item.row("parts", name)
    return None


def tool_dropped(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A tool is missing in the list at the top."""
    draft = bundle.draft("tool missing in the list")
    tools = list(bundle.job.raw["tools"])
    tool = dice.choice(tools)
    used = _tool_rows(bundle, draft.job, tool)
    if used is None:
        return None
    tools.remove(tool)
    draft.job.swap_head(draft.job.head_row("tools"), f"tools: [{', '.join(tools)}]")
    return draft.done("tool-not-listed", used, f"{tool} dropped")


def tool_changed(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A step names a tool of the device that the list at the top has not, or one that no list has."""
    draft = bundle.draft("tool missing in the list")
    others = [t["id"] for t in bundle.map.raw["tools"] if t["id"] not in bundle.job.raw["tools"]]
    item = dice.choice([item for item in draft.job.items if item.raw.get("tool")])
    if others and dice.random() < 0.5:
        return draft.done("tool-not-listed", item.put("tool", dice.choice(others)), "a tool of the device")
    return draft.done("unknown-tool", item.put("tool", f"{item.raw['tool']}x"), "an unknown tool")


# ---------------------------------------------------------------------------------------------- times


def _map_time(bundle: Bundle, raw: dict[str, Any]) -> tuple[int, int] | None:
    """What the part map expects for the moves of a step, if it says so for all of them."""
    key = "off_s" if str(raw["action"]) in TAKES_OFF else "on_s"
    if str(raw["action"]) not in TAKES_OFF | PUTS_BACK or not raw.get("parts"):
        return None
    times = [bundle.parts[name].get(key) for name in raw["parts"]]
    return None if None in times else (sum(t[0] for t in times), sum(t[1] for t in times))


def time_missing(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A step has no expected time, or one of nothing."""
    draft = bundle.draft("time missing")
    item = dice.choice([item for item in draft.job.items if "time_s" in item.raw])
    if dice.random() < 0.3 and item.raw["action"] != "wait":
        return draft.done("time-missing", item.put("time_s", [0, 0]), f"{item.raw['id']}: none at all")
    expected = _map_time(bundle, item.raw)
    if expected and expected[0] >= 20 and expected[1] <= 60:
        return None  # what the program assumes, 20 to 60 s, fits what the part map says
    item.drop("time_s")
    return draft.done("time-missing", item.rows[0], f"{item.raw['id']}: no time")


def time_contradicts(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """A step's time and the part map's exclude each other."""
    draft = bundle.draft("times contradict")
    item = draft.job.items[dice.choice(movers(bundle))]
    expected = _map_time(bundle, item.raw)
    if expected is None or expected[0] < 3:
        return None
    longer = dice.random() < 0.5
    time = [expected[1] + dice.randint(1, 90), 0] if longer else [1, expected[0] - 1]
    time[1] = time[0] + dice.randint(0, 200) if longer else max(1, time[1] - dice.randint(0, 3))
    return draft.done("time-contradiction", item.put("time_s", sorted(time)), f"{time}, not {expected}")


def time_reversed(bundle: Bundle, dice: random.Random) -> Mutant | None:
    """The longer time stands first, in a step or in the part map."""
    draft = bundle.draft("times contradict")
    if dice.random() < 0.5:
        item = dice.choice([item for item in draft.job.items if "time_s" in item.raw])
        time = sorted(item.raw["time_s"])
        return draft.done("contradiction", item.put("time_s", [time[1] + 1, time[0]]), "reversed in a step")
    key = dice.choice(("off_s", "on_s"))
    items = [item for item in draft.map.items if key in item.raw]
    if not items:
        return None
    item = dice.choice(items)
    time = sorted(item.raw[key])
    return draft.done(
        "time-order", item.put(key, [time[1] + 1, time[0]]), "reversed in the part map", in_map=True
    )


WORDS_KINDS = (
    second_in_text,
    second_part,
    count_in_step,
    count_in_map,
    count_and_places,
    length_in_text,
    tool_dropped,
    tool_changed,
    time_missing,
    time_contradicts,
    time_reversed,
)
