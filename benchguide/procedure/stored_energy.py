"""Steps for energy that stays in a part after isolation: the time it needs, and the measurement that counts.

Waiting is never the proof. The value is read with limits, not ticked, between two checks of the meter. It defers to
the data of the maker and to competent persons; it never says that something is safe.
"""

from typing import Any

from benchguide.procedure.basis import Caution
from benchguide.procedure.device import DeviceMap, Part, StoredEnergy
from benchguide.procedure.made import Made, Namer, Source, given, in_map, made_work
from benchguide.procedure.planner_why import called
from benchguide.procedure.procedure import Step
from benchguide.procedure.task import CheckLine, PartWork, Reading, Wait
from benchguide.procedure.words import Action, SignalWord, Stage, WaitKind

_NOT_PROOF = Caution(
    word=SignalWord.WARNING,
    text=(
        "Waiting alone proves nothing. The charge can stay when a part has failed, and can kill. It counts as "
        "charged until you have measured it."
    ),
)
_AS_CHARGED = Caution(
    word=SignalWord.WARNING,
    text="Touch nothing but the insulated probes. The charge can kill. Follow local codes and the maker's data.",
)
_WITHIN = Caution(
    word=SignalWord.WARNING,
    text="Go on only with a measured value within the limits. What is left of the charge can kill.",
)
#: how far above `full` a reading may lie before it is taken for a mistake
_MARGIN = 1.1


def made_bleed(device: DeviceMap, part: Part, names: Namer, stage: Stage) -> list[Made]:
    """The countdown after isolation, if the part map states one."""
    stores = part.stores
    if stores is None or stores.bleed_s is None:
        return []
    step = Step(
        id=names(f"in-{part.id}-bleed"), stage=stage, action=Action.WAIT, parts=(part.id,),
        text="Leave the device isolated and closed. Start the countdown.",
        key_point="Only the measured value counts, not the time.",
        reason="The charge needs time to go, and what drains it can have failed.",
        cautions=(_NOT_PROOF,), wait=Wait(kind=WaitKind.DISCHARGE, for_s=stores.bleed_s), time_s=(10, 30),
    )  # fmt: skip
    place = in_map(device, part, "stores", "bleed_s")
    return [Made(step, place, {"wait": place})]


def made_proof(device: DeviceMap, part: Part, names: Namer, stage: Stage) -> list[Made]:
    """What proves the meter before the way to the part is opened."""
    return _works(device, part, "before", names, stage)


def made_measured(device: DeviceMap, part: Part, names: Namer, stage: Stage) -> list[Made]:
    """Value as found, discharge, value that counts, meter proved again; just the value that counts where the part
    map states no way to discharge."""
    release = _works(device, part, "release", names, stage)
    found = [_found(device, part, names, stage)] if release else []
    gone = _gone(device, part, names, stage)
    return [*found, *release, gone, *_works(device, part, "after", names, stage)]


def _works(device: DeviceMap, part: Part, key: str, names: Namer, stage: Stage) -> list[Made]:
    """The part map's work under `key`, or the check of the meter that is always due."""
    place = in_map(device, part, "stores")
    own = getattr(part.stores, key)
    pairs = [(work, Source(True, (*place.keys, key, number))) for number, work in enumerate(own)]
    if not own and key != "release":
        pairs = [(_proof(key), place)]
    return [made_work(device, part, work, source, names, stage, "in") for work, source in pairs]


def _proof(which: str) -> PartWork:
    again = which == "after"
    text = "Measure the known source once more." if again else "Measure a known source with the same meter."
    line = CheckLine(
        id=f"source-{which}", text=f"Meter {'still ' if again else ''}shows the known source correctly"
    )
    reason = "Only a meter that works before and after has measured a true zero."
    caution = "Do not go on with a meter that fails on the known source. A wrong zero can kill."
    return PartWork(
        action=Action.CHECK, text=text, reason=reason, lines=(line,), time_s=(20, 90),
        cautions=(Caution(word=SignalWord.WARNING, text=caution),),
    )  # fmt: skip


def _found(device: DeviceMap, part: Part, names: Namer, stage: Stage) -> Made:
    stores = _stored(part)
    reading = Reading(
        quantity=_cut(f"{stores.quantity} as found"), unit=stores.unit,
        low=-stores.gone_at, high=round(stores.full * _MARGIN, 3),
    )  # fmt: skip
    values, fields = _measuring(device, part, stores)
    values.setdefault("cautions", (_AS_CHARGED,))
    step = Step(
        id=names(f"in-{part.id}-found"), stage=stage, action=Action.READ, parts=(part.id,), reading=reading,
        time_s=stores.time_s, **values,
    )  # fmt: skip
    return Made(step, in_map(device, part, "stores"), fields)


def _gone(device: DeviceMap, part: Part, names: Namer, stage: Stage) -> Made:
    stores = _stored(part)
    values, fields = _measuring(device, part, stores)
    if stores.release:
        if stores.again_text:
            values["text"] = stores.again_text
            fields["text"] = in_map(device, part, "stores", "again_text")
        values["cautions"] = (_WITHIN,)
        values["key_point"] = (
            f"{stores.gone_at:g} {stores.unit} or less. Otherwise discharge and measure again."
        )
        values["reason"] = "A charge can come back after it was let go."
    else:
        values["cautions"] = (*values.get("cautions", (_AS_CHARGED,)), _WITHIN)
    reading = Reading(
        quantity=_cut(f"{stores.quantity} after discharge"), unit=stores.unit,
        low=-stores.gone_at, high=stores.gone_at,
    )  # fmt: skip
    step = Step(
        id=names(f"in-{part.id}-gone"), stage=stage, action=Action.READ, parts=(part.id,), reading=reading,
        time_s=stores.time_s, **values,
    )  # fmt: skip
    fields["reading"] = in_map(device, part, "stores", "gone_at")
    return Made(step, in_map(device, part, "stores"), fields)


def _stored(part: Part) -> StoredEnergy:
    assert part.stores is not None
    return part.stores


def _measuring(
    device: DeviceMap, part: Part, stores: StoredEnergy
) -> tuple[dict[str, Any], dict[str, Source]]:
    told = given(stores)
    keys = [key for key in ("text", "key_point", "reason", "tool", "cautions") if told.get(key)]
    values: dict[str, Any] = {"text": f"Measure {called(part)} with insulated probes."}
    values |= {key: told[key] for key in keys}
    return values, {key: in_map(device, part, "stores", key) for key in keys}


def _cut(label: str) -> str:
    return label if len(label) <= 80 else label[:79] + "…"


def exposed_after(device: DeviceMap, order: list[str]) -> dict[int, list[Part]]:
    """For places in an order of removals: the parts whose stored energy is measured right after that removal.

    That is once the part that exposes it and everything that isolates are off.
    """
    place = {name: number for number, name in enumerate(order)}
    isolated = last_isolator(device, order)
    found: dict[int, list[Part]] = {}
    for part in device.stores:
        assert part.stores is not None
        if part.stores.exposed_by in place:
            found.setdefault(max(place[part.stores.exposed_by], isolated), []).append(part)
    return found


def last_isolator(device: DeviceMap, order: list[str]) -> int:
    """Place of the last isolating connector in an order of removals, -1 when there is none."""
    isolators = {part.id for part in device.isolators}
    return max((number for number, name in enumerate(order) if name in isolators), default=-1)
