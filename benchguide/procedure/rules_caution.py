"""Rules on where cautions stand: before the action they belong to, never in its text and never after it."""

import re
from collections.abc import Iterator

from benchguide.procedure.basis import Plain
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.problems import Severity
from benchguide.procedure.procedure import Step
from benchguide.procedure.rules import Finding, Keys, Rule, View
from benchguide.procedure.rules_names import Names

WARNING = Severity.WARNING

#: a signal word in capitals, or at the head of a remark; and the usual ways of writing a caution without one
_SIGNAL = re.compile(
    r"\b(?:DANGER|WARNING|CAUTION|NOTICE)\b"
    r"|\b(?:Danger|Warning|Caution|Notice)\s*(?:[:!,;]|\s[-\u2013\u2014]\s)"
    r"|(?<![\w-])(?:Be careful|Beware)\b"
)

#: texts of a part that a person reads as instruction, key point or reason, wherever they are nested
_TEXTS = frozenset(
    [
        "off_text",
        "on_text",
        "key_point",
        "reason",
        "on_key_point",
        "on_reason",
        "text",
        "again_text",
        "measured_text",
        "measured_key_point",
        "measured_reason",
    ]
)
_NESTED = frozenset({"heat", "stores"})
_WORKS = frozenset(["before_off", "after_off", "before_on", "after_on", "before", "release", "after"])


def job_texts(view: View) -> Iterator[tuple[Keys, str]]:
    """Every text of a step that is no caution, with its place."""
    for index, step in enumerate(view.steps):
        for key in ("text", "key_point", "reason"):
            text = getattr(step, key)
            if text:
                yield ("steps", index, key), text


def map_texts(view: View) -> Iterator[tuple[Keys, str]]:
    """Every text of a part that is no caution, with its place: its own, and those of heat, stored energy and work."""
    for number, part in enumerate(view.device.parts):
        yield from _texts(part, ("parts", number))


def _texts(model: Plain, place: Keys) -> Iterator[tuple[Keys, str]]:
    """The texts at a part, and in what is nested in it; `given` keys alone, so that unused ones cost nothing."""
    for key in model.model_fields_set:
        value = getattr(model, key)
        if key in _TEXTS:
            if value:
                yield (*place, key), value
        elif key in _NESTED and value is not None:
            yield from _texts(value, (*place, key))
        elif key in _WORKS:
            for number, work in enumerate(value):
                yield from _texts(work, (*place, key, number))


def _inside(texts: Iterator[tuple[Keys, str]], in_map: bool) -> Iterator[Finding]:
    for keys, text in texts:
        word = _SIGNAL.search(text)
        if word:
            message = "a caution stands inside the text, where it is read with the action or after it"
            yield Finding(keys, word[0], message, "Move it to `cautions`, which are shown first.", in_map)


def caution_in_text(view: View) -> Iterator[Finding]:
    """A caution of a step stands in its text."""
    yield from _inside(job_texts(view), in_map=False)


def caution_in_text_map(view: View) -> Iterator[Finding]:
    """A caution of a part stands in its text."""
    yield from _inside(map_texts(view), in_map=True)


class _Subjects:
    """When each part moves and each tool is used, and which of them a caution has named by then."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.names = Names(_named(view.device))
        self.acted: dict[str, list[int]] = {}
        """For each part and tool the steps that move or use it, in order."""
        for move in view.moves:
            self.acted.setdefault(f"part {move.part.id}", []).append(move.step)
        for index, step in enumerate(view.steps):
            if step.tool:
                self.acted.setdefault(f"tool {step.tool}", []).append(index)
        self.warned: set[str] = set()
        for caution in (*view.device.cautions, *(view.job.cautions if view.job else ())):
            self.warned.update(self.names.within(caution.text))

    def concern(self, index: int, step: Step) -> set[str]:
        """Parts and tools a step moves, uses, lists or names in its instruction."""
        mine = {f"part {name}" for name in step.parts} | set(self.names.within(step.text))
        return mine | ({f"tool {step.tool}"} if step.tool else set())

    def done_before(self, subject: str, index: int) -> int | None:
        """The step that did what a caution at `index` is about, or None when it still lies ahead.

        A part goes off and comes back: on its way in it is done with until the stage of its refit.
        """
        steps = self.acted.get(subject, [])
        before = [number for number in steps if number < index]
        after = [number for number in steps if number >= index]
        if not before or (after and subject.startswith("tool ")):
            return None
        return before[-1]


def _named(device: DeviceMap) -> Iterator[tuple[str, str]]:
    for part in device.parts:
        yield f"part {part.id}", part.name
    for tool in device.tools:
        # "Warming strip with thermostat" is called "warming strip" in a sentence
        yield f"tool {tool.id}", re.split(r"\s+with\s+|,", tool.name, maxsplit=1)[0]


def caution_late(view: View) -> Iterator[Finding]:
    """A caution names a part or a tool for the first time after the step that moved or used it without one."""
    if not view.steps:
        return
    subjects = _Subjects(view)
    for index, step in enumerate(view.steps):
        concern = subjects.concern(index, step) if step.cautions else set()
        for number, caution in enumerate(step.cautions):
            for subject in dict.fromkeys(subjects.names.within(caution.text)):
                done = None if subject in concern else subjects.done_before(subject, index)
                if done is None or subject in subjects.warned or any(view.cautions(view.steps[done])):
                    continue
                what = subject.partition(" ")[2]
                message = f"this caution speaks of `{what}`, which step `{view.steps[done].id}` was about, before it"
                remedy = f"Move it to step `{view.steps[done].id}`, so that it is read before the action."
                yield Finding(("steps", index, "cautions", number), caution.word.value, message, remedy)
                break
        for caution in view.cautions(step):
            subjects.warned.update(subjects.names.within(caution.text))


CAUTION_RULES = (
    Rule(
        "caution-in-text", WARNING, "Cautions stand under `cautions`, before the action.",
        "A caution that is read after the action comes too late.",
        "`text: Lift the cell. CAUTION: do not bend it.`", job=caution_in_text, map=caution_in_text_map,
    ),
    Rule(
        "caution-late", WARNING, "A caution stands no later than the step it is about.",
        "Whoever reads it one step later has already done what it warns of.",
        "The caution about `display-bond` stands at the step after the one that cuts it.", job=caution_late,
    ),
)  # fmt: skip
