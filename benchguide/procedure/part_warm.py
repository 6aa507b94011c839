"""The heat before a part comes off: its caution, its countdown, and the touch or temperature check after it; and
the caution at a bond that lies before the connector that isolates.
"""

from collections.abc import Sequence
from typing import Any

from benchguide.procedure.basis import Caution
from benchguide.procedure.device import DeviceMap, Heat, Part
from benchguide.procedure.made import MAX_TEXT, At, Made, Namer, given, in_map
from benchguide.procedure.planner_why import called, listed
from benchguide.procedure.procedure import Step
from benchguide.procedure.task import Reading, Wait
from benchguide.procedure.words import REMOVALS, Action, OwnWork, PartKind, SignalWord, Stage, WaitKind

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
#: why the warmth is judged before the part comes off
TOO_COLD = "Too cold it tears, too hot it burns and spoils what lies beside it."


def made_warm(device: DeviceMap, part: Part, at: At | None, names: Namer, stage: Stage) -> list[Made]:
    """The two steps of warming a part, or none when it needs no heat or the job has heat of its own."""
    if part.heat is None or (at and OwnWork.HEAT in at.special.without):
        return []
    return [_warm(device, part, part.heat, names, stage), _touch(device, part, part.heat, names, stage)]


def made_live(device: DeviceMap, part: Part, following: Sequence[str], made: list[Made]) -> list[Made]:
    """The steps of warming and opening a bond, with a caution at the first of them that energy is still connected.

    `following` is what comes off later, isolating connectors among it. The caution stands behind those of the part
    map, so that these keep their places.
    """
    plugs = [device.by_id[name] for name in following if device.by_id[name].isolates]
    sources = dict.fromkeys(name for plug in plugs for name in plug.isolates)
    names = listed([called(device.by_id[name]) if name in device.by_id else name for name in sources])
    lies = "lies" if len(plugs) == 1 else "lie"
    outside = any(plug in device.cut_outside for plug in plugs)
    harm = "An electric shock can kill." if outside else "A short circuit can cause burns and fire."
    text = (
        f"Still connected: {names}. {_start(listed([called(plug) for plug in plugs]))} {lies} behind this and can "
        f"only be opened later. Go in no deeper and no hotter than stated. {harm}"
    )
    caution = Caution(word=SignalWord.WARNING, text=text[:MAX_TEXT])
    for number, one in enumerate(made):
        if one.step.action is not Action.WAIT and one.step.action not in REMOVALS:
            continue
        step = one.step.model_copy(update={"cautions": (*one.step.cautions, caution)})
        return [*made[:number], Made(step, one.source, one.fields), *made[number + 1 :]]
    return made


def _start(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]


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
    if heat.at_c is not None:
        fields["wait.limit_c"] = in_map(device, part, "heat", "at_c")
    return Made(step, in_map(device, part, "heat"), fields)


def _touch(device: DeviceMap, part: Part, heat: Heat, names: Namer, stage: Stage) -> Made:
    name = names(f"in-{part.id}-touch")
    values: dict[str, Any] = {"parts": (part.id,), "stage": stage, "time_s": (10, 45)}
    texts = {"key_point": heat.measured_key_point, "reason": heat.measured_reason}
    own = {key: text for key, text in texts.items() if text}
    if heat.measured_c:
        low, high = heat.measured_c
        reading = Reading(quantity="temperature before it comes off", unit="°C", low=low, high=high)
        text = heat.measured_text or f"Take the heat away. Measure {called(part)}."
        tool = {"tool": heat.measured_with} if heat.measured_with else {}
        told = {"key_point": f"Between {low:g} and {high:g} °C along the whole length.", "reason": TOO_COLD}
        told |= own
        step = Step(id=name, action=Action.READ, text=text, reading=reading, **tool, **told, **values)
    else:
        text = heat.measured_text or f"Take the heat away. Touch {called(part)} briefly with one finger."
        told = {"key_point": "Warm all along, about 60 degrees at most.", "reason": TOO_COLD} | own
        step = Step(id=name, action=Action.CHECK, text=text, cautions=(BRIEFLY,), **told, **values)
    places = {key: f"measured_{key}" for key in ("text", "key_point", "reason")}
    places |= {"reading": "measured_c", "tool": "measured_with"}
    fields = {key: in_map(device, part, "heat", where) for key, where in places.items()}
    return Made(step, in_map(device, part, "heat"), fields)
