"""The heat before a part comes off: its caution, its countdown, and the touch or temperature check after it."""

from typing import Any

from benchguide.procedure.basis import Caution
from benchguide.procedure.device import DeviceMap, Heat, Part
from benchguide.procedure.made import At, Made, Namer, given, in_map
from benchguide.procedure.planner_why import called
from benchguide.procedure.procedure import Step
from benchguide.procedure.task import Reading, Wait
from benchguide.procedure.words import Action, OwnWork, PartKind, SignalWord, Stage, WaitKind

#: cautions that stand before a heat step when the part map has none of its own
NEAR_CELL = Caution(
    word=SignalWord.WARNING,
    text=(
        "Stay beside the heat. An overheated cell can ignite. Use no more heat than the maker of the cell allows. "
        "Follow your fire plan if it swells, smells or hisses."
    ),
)
BURNS = Caution(word=SignalWord.CAUTION, text="Keep your hands off what is being warmed. It can burn skin.")
# 60 degrees C on metal is above the one-minute burn threshold of EN 563, so nothing here says "safe to hold"
BRIEFLY = Caution(
    word=SignalWord.CAUTION,
    text="Touch it only briefly. At about 60 degrees it can burn skin within seconds.",
)


def made_warm(device: DeviceMap, part: Part, at: At | None, names: Namer, stage: Stage) -> list[Made]:
    """The two steps of warming a part, or none when it needs no heat or the job has heat of its own."""
    if part.heat is None or (at and OwnWork.HEAT in at.special.without):
        return []
    return [_warm(device, part, part.heat, names, stage), _touch(device, part, part.heat, names, stage)]


def set_temperature(device: DeviceMap, heat: Heat) -> float | None:
    """Stated temperature in degrees Celsius, else the lowest limit of any part of the device, else None."""
    limits = [part.limit_c for part in device.parts if part.limit_c is not None]
    return heat.at_c if heat.at_c is not None else min(limits, default=None)


def _warm(device: DeviceMap, part: Part, heat: Heat, names: Namer, stage: Stage) -> Made:
    cells = any(other.kind is PartKind.CELL for other in device.parts)
    values: dict[str, Any] = {
        "text": f"Warm {called(part)}. Start the countdown.",
        "cautions": (NEAR_CELL if cells else BURNS,),
    }
    told = given(heat)
    values |= {key: told[key] for key in ("text", "key_point", "reason", "tool", "cautions") if key in told}
    wait = Wait(kind=WaitKind.HEAT, for_s=heat.for_s, limit_c=set_temperature(device, heat))
    step = Step(
        id=names(f"in-{part.id}-heat"), stage=stage, action=Action.WAIT, parts=(part.id,), wait=wait,
        time_s=heat.time_s, **values,
    )  # fmt: skip
    fields = {key: in_map(device, part, "heat", key) for key in told}
    fields["wait"] = in_map(device, part, "heat")
    return Made(step, in_map(device, part, "heat"), fields)


def _touch(device: DeviceMap, part: Part, heat: Heat, names: Namer, stage: Stage) -> Made:
    name = names(f"in-{part.id}-touch")
    values: dict[str, Any] = {"parts": (part.id,), "stage": stage, "time_s": (10, 45)}
    if heat.measured_c:
        low, high = heat.measured_c
        reading = Reading(quantity="temperature before it comes off", unit="°C", low=low, high=high)
        text = heat.measured_text or f"Take the heat away. Measure {called(part)}."
        tool = {"tool": heat.measured_with} if heat.measured_with else {}
        step = Step(id=name, action=Action.READ, text=text, reading=reading, **tool, **values)
    else:
        text = heat.measured_text or f"Take the heat away. Touch {called(part)} briefly with one finger."
        step = Step(
            id=name, action=Action.CHECK, text=text, cautions=(BRIEFLY,),
            key_point="Warm all along, about 60 degrees at most.",
            reason="Too cold it tears, too hot it burns and spoils what lies beside it.", **values,
        )  # fmt: skip
    places = {"text": "measured_text", "reading": "measured_c", "tool": "measured_with"}
    fields = {key: in_map(device, part, "heat", where) for key, where in places.items()}
    return Made(step, in_map(device, part, "heat"), fields)
