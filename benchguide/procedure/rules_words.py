"""Rules on what is written: times, tools, counts in texts, long sentences, misplaced cautions.

They do not follow the state of the device.
"""

import re
from collections.abc import Iterator

from benchguide.procedure.problems import Severity, did_you_mean
from benchguide.procedure.procedure import Step
from benchguide.procedure.rules import Finding, Keys, Rule, View
from benchguide.procedure.words import REFITS, REMOVALS, Action, PartKind, Stage

ERROR, WARNING, ADVICE = Severity.ERROR, Severity.WARNING, Severity.ADVICE

#: ASD-STE100 (Simplified Technical English), procedural sentences: at most 20 words
MAX_WORDS = 20
_SENTENCE = re.compile(r"(?<=[.!?;:])\s+")
_SIGNAL = re.compile(r"\b(?:DANGER|WARNING|CAUTION|NOTICE)\b|\b(?:Danger|Warning|Caution|Notice)\s*[:!]")
# "at one edge, then at the other" is still one action
_AND_THEN = re.compile(
    r"(?:,|;|\band)\s+then\b(?!,?\s+(?:at|from|to|on|in|the|along|across|by|with|left|right|back)\b)",
    re.IGNORECASE,
)
_NUMBERS = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9}
_NUMBERS |= {
    "ten": 10,
    "eleven": 11,
    "twelve": 12,
    "fourteen": 14,
    "fifteen": 15,
    "sixteen": 16,
    "twenty": 20,
}
# a number, at most three words between, then "screws"; the look-ahead finds both of "2 of the 4 screws"
_SCREWS = re.compile(
    rf"(?<![\w.,])(\d{{1,3}}|{'|'.join(_NUMBERS)})(?![\w.,])(?=((?:\s+[\w-]+(?:\.[\w-]+)*){{0,3}}?)\s+screws?\b)",
    re.IGNORECASE,
)


def _map_texts(view: View) -> Iterator[tuple[Keys, str]]:
    for number, part in enumerate(view.device.parts):
        for key in ("off_text", "on_text", "key_point", "reason"):
            text = getattr(part, key)
            if text:
                yield ("parts", number, key), text


def _job_texts(view: View) -> Iterator[tuple[Keys, str]]:
    for index, step in enumerate(view.steps):
        for key in ("text", "key_point", "reason"):
            text = getattr(step, key)
            if text:
                yield ("steps", index, key), text


def _long(texts: Iterator[tuple[Keys, str]], in_map: bool) -> Iterator[Finding]:
    for keys, text in texts:
        if keys[-1] not in ("text", "off_text", "on_text"):
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
    yield from _long(_job_texts(view), in_map=False)


def long_sentence_map(view: View) -> Iterator[Finding]:
    """An instruction of a part has a sentence of more than 20 words."""
    yield from _long(_map_texts(view), in_map=True)


def _inside(texts: Iterator[tuple[Keys, str]], in_map: bool) -> Iterator[Finding]:
    for keys, text in texts:
        word = _SIGNAL.search(text)
        if word:
            message = "a caution stands inside the text, where it is read with the action or after it"
            yield Finding(keys, word[0], message, "Move it to `cautions`, which are shown first.", in_map)


def caution_in_text(view: View) -> Iterator[Finding]:
    """A caution of a step stands in its text."""
    yield from _inside(_job_texts(view), in_map=False)


def caution_in_text_map(view: View) -> Iterator[Finding]:
    """A caution of a part stands in its text."""
    yield from _inside(_map_texts(view), in_map=True)


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
    for index, step in enumerate(view.steps):
        if step.action not in (Action.OFF, Action.ON) or not step.parts:
            continue
        parts = [view.device.by_id[name] for name in step.parts if name in view.device.by_id]
        if any(part.kind is not PartKind.SCREWS for part in parts):
            continue
        numbers = numbers_of_screws(step.text)
        if not _agrees(numbers, [part.pieces for part in parts]):
            message = (
                f"the text tells another number of screws than the part map, {sum(p.pieces for p in parts)}"
            )
            value = ", ".join(map(str, numbers))
            yield Finding(
                ("steps", index, "text"), value, message, "Count them and correct the one or the other."
            )


def count_in_text_map(view: View) -> Iterator[Finding]:
    """An instruction of a screw group tells another number than its count."""
    for number, part in enumerate(view.device.parts):
        for key in ("off_text", "on_text"):
            numbers = numbers_of_screws(getattr(part, key) or "") if part.screws else []
            if not _agrees(numbers, [part.pieces]):
                message = f"the text tells another number of screws than `count`, which is {part.pieces}"
                value = ", ".join(map(str, numbers))
                remedy = "Count them and correct the one or the other."
                yield Finding(("parts", number, key), value, message, remedy, in_map=True)


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


def time_missing(view: View) -> Iterator[Finding]:
    """A step has no expected time, or none at all."""
    for index, step in enumerate(view.steps):
        if "time_s" not in step.model_fields_set and _map_time(view, step) is None:
            message = "the step has no expected time; 20 to 60 s are assumed"
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
        "caution-in-text", WARNING, "Cautions stand under `cautions`, before the action.",
        "A caution that is read after the action comes too late.",
        "`text: Lift the cell. CAUTION: do not bend it.`", job=caution_in_text, map=caution_in_text_map,
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
        "A step without `time_s` whose part has no `off_s`.", job=time_missing,
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
