"""Which steps require a photograph. The author of a procedure cannot switch these off, only a person with a waiver can.

As-found: before a connector is opened or a cover, module or cell is lifted. As-left: after the matching refit.
"""

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Action, PartKind

PICTURED = frozenset({PartKind.CONNECTOR, PartKind.COVER, PartKind.MODULE, PartKind.CELL})


def _moves_pictured_part(device: DeviceMap, step: Step) -> bool:
    return any(device.by_id[name].kind in PICTURED for name in step.parts if name in device.by_id)


def needs_as_found(device: DeviceMap, step: Step) -> bool:
    """True when the step may only be done after an as-found photo."""
    required = step.action in (Action.OPEN, Action.LIFT, Action.OFF) and _moves_pictured_part(device, step)
    return required or bool(step.as_found)


def needs_as_left(device: DeviceMap, step: Step) -> bool:
    """True when the step is only done once an as-left photo is kept."""
    required = step.action in (Action.CLOSE, Action.FIT, Action.ON) and _moves_pictured_part(device, step)
    return required or bool(step.as_left)
