"""Steps a generated job has by itself: the look over the open device, the tests, the count at the end."""

import re
from collections.abc import Iterable

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.made import Made, Namer, Names, Source
from benchguide.procedure.procedure import Step
from benchguide.procedure.task import CheckLine
from benchguide.procedure.words import Action, Stage


def made_inspection(names: Namer, source: Source) -> Made:
    """The look over the open device before the tests."""
    step = Step(
        id=names("back-inspect"), stage=Stage.WAY_BACK, action=Action.CHECK,
        text="Look over the open device. Compare the mat with the list of what is out.",
        key_point="No loose screw, no tool, no scrap of tape or tie.",
        reason="What is forgotten inside shorts a board or is crushed.",
        as_left=True, time_s=(60, 180),
    )  # fmt: skip
    return Made(step, source)


def made_count(names: Namer, source: Source) -> Made:
    """The count once everything is back."""
    step = Step(
        id=names("out-count"), stage=Stage.CLOSE_OUT, action=Action.CHECK,
        text="Look at every cell of the parts mat. Count the tools.",
        key_point="Every cell is empty, and no tool is missing.",
        reason="What is left on the mat is missing in the device.",
        as_left=True, time_s=(30, 90),
    )  # fmt: skip
    return Made(step, source)


def made_tests(device: DeviceMap, order: Iterable[str], names: Namer, source: Source) -> list[Made]:
    """One test before closing with a line for each function of the parts that came off, or of the whole device
    when they serve none.

    None where something but a cell is isolated or energy is stored: how such a device is tested while it is open
    is for its own competent people to write.
    """
    if device.isolated_first:
        return []
    functions = dict.fromkeys(name for part in order for name in device.by_id[part].serves)
    functions = functions or dict.fromkeys(name for part in device.parts for name in part.serves)
    taken = Names()
    lines = tuple(
        CheckLine(id=taken(_slug(name)), text=f"Try it: {name}.", serves=name) for name in functions
    )
    if not lines:
        return []
    step = Step(
        id=names("test-functions"), stage=Stage.TEST, action=Action.CHECK, lines=lines, before_seal=True,
        text="Test every line before the device is closed.",
        key_point="What cannot be tested open is answered as not testable.",
        reason="After closing, each fault costs another opening.",
        time_s=(min(20 * len(lines), 3600), min(60 * len(lines), 7200)),
    )  # fmt: skip
    return [Made(step, source)]


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower())[:40].strip("-") or "function"
