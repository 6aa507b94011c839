"""What cuts a device off from a supply that is not inside it. Reads the part map alone."""

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.order import needs, reach
from benchguide.procedure.words import PartKind


def mains_isolators(device: DeviceMap) -> tuple[Part, ...]:
    """Isolators of a source that is no cell of the device: mains, or another supply from outside."""
    return tuple(p for p in device.isolators if any(not _is_cell(device, s) for s in p.isolates))


def _is_cell(device: DeviceMap, source: str) -> bool:
    return source in device.by_id and device.by_id[source].kind is PartKind.CELL


def before_mains(device: DeviceMap) -> frozenset[str]:
    """Parts that have to be off to reach what isolates the mains, with these isolators: they alone may move
    while it is connected."""
    start = [part.id for part in mains_isolators(device)]
    return reach(start, lambda name: needs(device.by_id[name]))
