"""Rules on what is written: times, tools, counts and lengths in texts, long sentences, second actions.

They do not follow the state of the device. Cautions are in rules_caution.py.
"""

import re
from collections.abc import Iterator

from benchguide.procedure.device import ScrewType
from benchguide.procedure.problems import Severity, did_you_mean
from benchguide.procedure.procedure import Step
from benchguide.procedure.rules import Finding, Keys, Rule, View, named
from benchguide.procedure.rules_caution import job_texts, map_texts
from benchguide.procedure.rules_names import Names, words_of
from benchguide.procedure.words import REFITS, REMOVALS, Action, Stage

ERROR, WARNING, ADVICE = Severity.ERROR, Severity.WARNING, Severity.ADVICE

#: ASD-STE100 (Simplified Technical English), procedural sentences: at most 20 words
MAX_WORDS = 20
_SENTENCE = re.compile(r"(?<=[.!?;:])\s+")
# "at one edge, then at the other" is still one action
_AND_THEN = re.compile(
    r"(?:[,;.:]|\band|\bor|\bbut)\s+(?:then|afterwards|after\s+that|next|subsequently|finally)\b"
    r"(?!,?\s+(?:at|from|to|on|in|the|along|across|by|with|left|right|back)\b)",
    re.IGNORECASE,
)
_UNITS = (
    "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen twenty"
)
_NUMBERS = {word: number for number, word in enumerate(_UNITS.split(), start=1)}
_NUMBERS |= {"both": 2, "thirty": 30, "forty": 40, "fifty": 50}
# a number, at most three words between, then "screws" or "heads"; the look-ahead finds both of "2 of the 4 screws"
_SCREWS = re.compile(
    rf"(?<![\w.,])(\d{{1,3}}|{'|'.join(_NUMBERS)})(?![\w.,])"
    r"(?=((?:\s+[\w-]+(?:\.[\w-]+)*){0,3}?)\s+(?:screws?|heads?)\b)",
    re.IGNORECASE,
)
# "Four tapping screws, coarse thread, 9.5 mm": a sentence that begins with a number of screws
_COUNTED = re.compile(
    rf"(?:\d{{1,3}}|{'|'.join(_NUMBERS)})\s+(?:[\w-]+\s+){{0,3}}?(?:screws?|heads?)\b[^.!?]*(?:\.\d[^.!?]*)*",
    re.IGNORECASE,
)
_WHERE = re.compile(r"\s+(?:at|of|on|in|to|from|under|over)\s+")
_MILLIMETRES = re.compile(r"(?<![\w.,])(\d+(?:\.\d+)?)\s?mm\b")


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


#: commands that take a part off or put one back, at the head of a sentence
_COMMANDS = _set(
    "lift take remove undo unscrew peel pull draw open unplug disconnect loosen fit put press push close plug connect "
    "tighten drive screw lay lower set slide pry prise refit insert"
)
_PASSED = _set("the a an both all each every new old out off up in on down back") | frozenset(_NUMBERS)
#: what may follow the name of a part when the name is over ("the display straight up", not "the display bracket")
_FOLLOWS = _set(
    "straight up out off level evenly by at from with on over into in to towards down and under through slowly gently "
    "again first last back aside onto as until so without"
)


def _long(texts: Iterator[tuple[Keys, str]], in_map: bool) -> Iterator[Finding]:
    for keys, text in texts:
        if not str(keys[-1]).endswith("text"):
            continue
        for sentence in _SENTENCE.split(text):
            words = sum(any(c.isalnum() for c in word) for word in sentence.split())
            if words > MAX_WORDS:
                message = f"the sentence has {words} words, more than {MAX_WORDS}"
                yield Finding(
                    keys, sentence, message, "Make two sentences of it, or leave words out.", in_map
                )


def long_sentence(view: View) -> Iterator[Finding]:
    """An instruction of a step has a sentence of more than 20 words."""
    yield from _long(job_texts(view), in_map=False)


def long_sentence_map(view: View) -> Iterator[Finding]:
    """An instruction of a part has a sentence of more than 20 words."""
    yield from _long(map_texts(view), in_map=True)


def and_then(view: View) -> Iterator[Finding]:
    """The text of a step that moves parts tells two actions."""
    for index, step in enumerate(view.steps):
        found = _AND_THEN.search(step.text) if step.action in REMOVALS | REFITS else None
        if found:
            message = "the text tells two actions, one after the other"
            yield Finding(("steps", index, "text"), found[0], message, "Make one step of each action.")


def numbers_of_screws(text: str) -> list[int]:
    """The numbers of screws a text speaks of: [4] for "Undo the four short screws"."""
    found = []
    for match in _SCREWS.finditer(text):
        if not re.match(r"\s*mm\b", match[2]):
            found.append(_NUMBERS.get(match[1].lower()) or int(match[1]))
    return found


def _agrees(numbers: list[int], groups: list[int]) -> bool:
    total = sum(groups)
    return not numbers or total in (*numbers, sum(numbers)) or all(n in groups for n in numbers)


def count_in_text(view: View) -> Iterator[Finding]:
    """A step tells another number of screws than the part map."""
    for index, _, groups in _screw_steps(view):
        pieces = [group.count for group in groups]
        for key in ("text", "key_point"):
            numbers = numbers_of_screws(getattr(view.steps[index], key) or "")
            if not _agrees(numbers, pieces):
                message = f"the text tells another number of screws than the part map, {sum(pieces)}"
                value = ", ".join(map(str, numbers))
                remedy = "Count them and correct the one or the other."
                yield Finding(("steps", index, key), value, message, remedy)


def count_in_text_map(view: View) -> Iterator[Finding]:
    """An instruction of a screw group tells another number than its count."""
    for number, part in enumerate(view.device.parts):
        for key in ("off_text", "on_text", "key_point", "on_key_point"):
            numbers = numbers_of_screws(getattr(part, key) or "") if part.screws else []
            if not _agrees(numbers, [part.pieces]):
                message = f"the text tells another number of screws than `count`, which is {part.pieces}"
                value = ", ".join(map(str, numbers))
                remedy = "Count them and correct the one or the other."
                yield Finding(("parts", number, key), value, message, remedy, in_map=True)


def _screw_steps(view: View) -> Iterator[tuple[int, Step, list[ScrewType]]]:
    """Steps that move nothing but screws, with their screw groups."""
    for index, step in enumerate(view.steps):
        parts = [view.device.by_id[name] for name in step.parts if name in view.device.by_id]
        groups = [part.screws for part in parts if part.screws]
        if step.action in (Action.OFF, Action.ON) and groups and len(groups) == len(parts):
            yield index, step, groups


def lengths_of_screws(text: str) -> list[float]:
    """The lengths in mm told with a number of screws: [6.0] for "Two cheese heads, 6 mm"."""
    return [
        float(length)
        for sentence in _SENTENCE.split(text)
        if (counted := _COUNTED.match(sentence.strip()))
        for length in _MILLIMETRES.findall(counted[0])
    ]


def _wrong_length(text: str | None, groups: list[ScrewType]) -> list[float]:
    """Lengths a text tells when none of them is a length of these screws."""
    told = lengths_of_screws(text or "")
    real = [group.length_mm for group in groups]
    return [] if any(abs(length - one) < 0.01 for length in told for one in real) else told


def length_in_text(view: View) -> Iterator[Finding]:
    """A step tells another length of its screws than the part map."""
    for index, step, groups in _screw_steps(view):
        for key in ("text", "key_point"):
            wrong = _wrong_length(getattr(step, key), groups)
            if wrong:
                real = ", ".join(f"{group.length_mm:g}" for group in groups)
                message = f"the text tells another length than the part map, which says {real} mm"
                value = ", ".join(f"{length:g} mm" for length in wrong)
                remedy = "Measure a screw and correct the one or the other."
                yield Finding(("steps", index, key), value, message, remedy)


def length_in_text_map(view: View) -> Iterator[Finding]:
    """A text of a screw group tells another length than its screws have."""
    for number, part in enumerate(view.device.parts):
        for key in ("off_text", "on_text", "key_point", "on_key_point") if part.screws else ():
            wrong = _wrong_length(getattr(part, key), [part.screws] if part.screws else [])
            if wrong and part.screws:
                message = (
                    f"the text tells another length than `length_mm`, which is {part.screws.length_mm:g}"
                )
                value = ", ".join(f"{length:g} mm" for length in wrong)
                remedy = "Measure a screw and correct the one or the other."
                yield Finding(("parts", number, key), value, message, remedy, in_map=True)


def second_action(view: View) -> Iterator[Finding]:
    """The text of a step that moves parts commands another part, which the step does not list."""
    names = Names((part.id, part.name) for part in view.device.parts)
    for index, step in enumerate(view.steps):
        if step.action not in REMOVALS | REFITS:
            continue
        # what is off already may be drawn aside, what is fitted already may be pressed down
        movable = step.action in REFITS
        # "Draw the hinge cable out" may stand at "Hinge cable at the main board"
        own = {
            _WHERE.split(view.device.by_id[name].name.lower(), maxsplit=1)[0]
            for name in step.parts
            if name in view.device.by_id
        }
        others = [
            name
            for name in _commanded(step.text, names)
            if name not in step.parts
            and view.is_out(name, view.first_move[index]) is movable
            and view.device.by_id[name].name.lower() not in own
        ]
        if others:
            message = f"the text also tells to move {named(others)}, which is another action"
            yield Finding(("steps", index, "text"), None, message, "Make one step of each action.")


def _commanded(text: str, names: Names) -> Iterator[str]:
    """Parts that a sentence tells to move: `Lift the plug plate straight up` gives the plug plate."""
    for sentence in _SENTENCE.split(text):
        if sentence.partition(" ")[0].rstrip(",").lower() not in _COMMANDS:
            continue
        words = words_of(sentence)
        start, found = 1, names.at(words, 1)
        # "back" may be passed over in "put back the lid", and is a part of the name in "fit the back cover"
        while not found and start < len(words) and words[start].text in _PASSED:
            start += 1
            found = names.at(words, start)
        if not found:
            continue
        end = start + found[1]
        ends_here = end == len(words) or sentence[words[end - 1].end : words[end].begin].strip() != ""
        if ends_here or words[end].text in _FOLLOWS:
            yield found[0]


def time_order_map(view: View) -> Iterator[Finding]:
    """The longer time of a part stands first."""
    for number, part in enumerate(view.device.parts):
        for key in ("off_s", "on_s"):
            time = getattr(part, key)
            if time and time[0] > time[1]:
                message = f"`{key}` gives the longer time first"
                value = f"{time[0]}, {time[1]}"
                yield Finding(
                    ("parts", number, key), value, message, "Write the shorter time first.", in_map=True
                )


def _map_time(view: View, step: Step) -> tuple[int, int] | None:
    """Time of the step by its parts, when all of them have one."""
    key = "off_s" if step.action in REMOVALS else "on_s"
    parts = [view.device.by_id[name] for name in step.parts if name in view.device.by_id]
    times = [getattr(part, key) for part in parts]
    if not times or None in times:
        return None
    return sum(time[0] for time in times), sum(time[1] for time in times)


def time_contradiction(view: View) -> Iterator[Finding]:
    """The time of a step and the times of its parts exclude each other."""
    for index, step in enumerate(view.steps):
        if step.action not in REMOVALS | REFITS or "time_s" not in step.model_fields_set:
            continue
        of_map = _map_time(view, step)
        if of_map and (step.time_s[1] < of_map[0] or of_map[1] < step.time_s[0]):
            message = f"the part map expects {of_map[0]} to {of_map[1]} s for this"
            value = f"{step.time_s[0]}, {step.time_s[1]}"
            yield Finding(("steps", index, "time_s"), value, message, "Correct the one or the other.")


def _within(time: tuple[int, int] | None, wider: tuple[int, int]) -> bool:
    return time is not None and wider[0] <= time[0] and time[1] <= wider[1]


def time_missing(view: View) -> Iterator[Finding]:
    """A step has no expected time, or none at all."""
    for index, step in enumerate(view.steps):
        of_map = _map_time(view, step) if step.action in REMOVALS | REFITS else None
        if "time_s" not in step.model_fields_set and not _within(of_map, step.time_s):
            message = f"the step has no expected time; {step.time_s[0]} to {step.time_s[1]} s are assumed"
            if of_map:
                message += f", where the part map expects {of_map[0]} to {of_map[1]} s"
            yield Finding(
                ("steps", index),
                step.id,
                message,
                "Add `time_s` with the shortest and longest usual seconds.",
            )
        elif step.time_s[1] == 0 and step.action is not Action.WAIT:
            message = "the step is expected to take no time"
            yield Finding(("steps", index, "time_s"), "0, 0", message, "Write the usual seconds.")


def _tools_used(view: View) -> dict[str, Keys]:
    """Each tool the steps use, with the place that uses it first."""
    used: dict[str, Keys] = {}
    for index, step in enumerate(view.steps):
        if step.tool:
            used.setdefault(step.tool, ("steps", index, "tool"))
            continue
        for item, name in enumerate(step.parts if step.action in REMOVALS else ()):
            part = view.device.by_id.get(name)
            if part is not None and part.tool:
                used.setdefault(part.tool, ("steps", index, "parts", item))
    return used


def tool_not_listed(view: View) -> Iterator[Finding]:
    """A step uses a tool that the list at the top does not name."""
    listed = set(view.job.tools) if view.job else set()
    for tool, keys in _tools_used(view).items():
        if tool not in listed:
            message = "the step uses a tool that `tools` does not list"
            yield Finding(keys, tool, message, f"Add `{tool}` to `tools` at the top of the procedure.")


def tool_not_used(view: View) -> Iterator[Finding]:
    """A listed tool is used by no step."""
    if not view.steps or not view.job:
        return
    used = _tools_used(view)
    for number, tool in enumerate(view.job.tools):
        if tool not in used:
            message = "no step names this tool"
            yield Finding(
                ("tools", number), tool, message, "Name it at the step that needs it, or delete it here."
            )


def line_serves(view: View) -> Iterator[Finding]:
    """A test line names a function that no part serves."""
    known = {function: None for part in view.device.parts for function in part.serves}
    for index, step in enumerate(view.steps):
        for number, line in enumerate(step.lines):
            if line.serves and line.serves not in known:
                message = "no part of the part map serves this function, so a failed test leads nowhere"
                remedy = did_you_mean(line.serves, known, "Add it to `serves` of the parts concerned.")
                yield Finding(("steps", index, "lines", number, "serves"), line.serves, message, remedy)


def stage_order(view: View) -> Iterator[Finding]:
    """A step belongs to an earlier stage than the step before it."""
    order = list(Stage)
    for index in range(1, len(view.steps)):
        before, stage = view.steps[index - 1].stage, view.steps[index].stage
        if order.index(stage) < order.index(before):
            message = f"stage `{stage}` comes after stage `{before}`"
            yield Finding(
                ("steps", index, "stage"),
                None,
                message,
                f"The stages follow in this order: {', '.join(order)}.",
            )


WORDS_RULES = (
    Rule(
        "long-sentence", ADVICE, f"An instruction has at most {MAX_WORDS} words a sentence (ASD-STE100).",
        "Long sentences are misread from two metres away with busy hands.",
        "A step text of one sentence with 27 words.", job=long_sentence, map=long_sentence_map,
    ),
    Rule(
        "and-then", ADVICE, "The text of a step tells one action.",
        "The second action of a step is the one that is forgotten.",
        "`text: Undo the screws and then lift the plate.`", job=and_then,
    ),
    Rule(
        "count-in-text", WARNING, "Numbers of screws in texts agree with the part map.",
        "A person who counts four and reads five stops, or looks for a screw that never was.",
        "`text: Undo the four screws.` on a group with `count: 5`.", job=count_in_text, map=count_in_text_map,
    ),
    Rule(
        "length-in-text", WARNING, "Lengths of screws in texts agree with the part map.",
        "The length is what tells one screw from another on the mat.",
        "`key_point: Two screws, 6 mm.` on a group with `length_mm: 8`.",
        job=length_in_text, map=length_in_text_map,
    ),
    Rule(
        "second-action", WARNING, "A step tells to move only the parts it lists.",
        "What the text moves and the step does not list is missing in the count of what is out.",
        "`parts: [plate-screws]`, `text: Take out the screws. Lift the plate.`", job=second_action,
    ),
    Rule(
        "time-order", ERROR, "The shorter time stands first.",
        "The forecast would be wrong.",
        "`off_s: [60, 20]`.", map=time_order_map,
    ),
    Rule(
        "time-contradiction", WARNING, "The time of a step and of its parts overlap.",
        "One of the two is a mistake, and the forecast uses one of them.",
        "`time_s: [5, 10]` for a part with `off_s: [60, 120]`.", job=time_contradiction,
    ),
    Rule(
        "time-missing", ADVICE, "Every step has an expected time.",
        "The forecast of the finish is built from these times.",
        "A step without `time_s`, on a part with `off_s: [90, 300]`.", job=time_missing,
    ),
    Rule(
        "tool-not-listed", WARNING, "Every tool a step uses is listed under `tools`.",
        "A tool that is missed in the middle of the job means a walk with an open device.",
        "A step with `tool: spudger`, and `tools: [driver-ph00]`.", job=tool_not_listed,
    ),
    Rule(
        "tool-not-used", ADVICE, "Every listed tool is used by a step.",
        "Either a step forgets its tool or the list is too long.",
        "`tools: [heat-pad]`, and no step has `tool: heat-pad`.", job=tool_not_used,
    ),
    Rule(
        "line-serves-nothing", WARNING, "The function of a test line is served by some part.",
        "A failed line leads back to the connectors and parts that serve the function.",
        "`serves: sond`, while the parts serve `sound`.", job=line_serves,
    ),
    Rule(
        "stage-order", ADVICE, "The stages of a job follow each other.",
        "The rail and the forecast group steps by stage.",
        "A `way-in` step after a `way-back` step.", job=stage_order,
    ),
)  # fmt: skip
