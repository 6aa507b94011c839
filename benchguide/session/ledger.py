"""The ledger: what is out of the device, in the order it came out, and where it lies. Pure values."""

from dataclasses import dataclass, replace

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.words import PartKind


@dataclass(frozen=True, slots=True)
class OutItem:
    """Pieces of one part that are out."""

    part: str
    pieces: int
    cell: str
    step: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """Everything that is out; the last item came out last and goes back first."""

    out: tuple[OutItem, ...] = ()

    def pieces_of(self, part: str) -> int:
        """How many pieces of this part are out."""
        return sum(item.pieces for item in self.out if item.part == part)

    def is_out(self, part: str) -> bool:
        """True when at least one piece of it is out."""
        return any(item.part == part for item in self.out)

    def last_of(self, part: str) -> OutItem | None:
        """The entry of this part that came out last, or None."""
        return next((item for item in reversed(self.out) if item.part == part), None)

    @property
    def pieces(self) -> int:
        """All pieces that are out."""
        return sum(item.pieces for item in self.out)

    def names(self) -> frozenset[str]:
        """The parts with at least one piece out."""
        return frozenset(item.part for item in self.out)


def take_off(ledger: Ledger, part: str, pieces: int, cell: str, step: str) -> Ledger:
    """The ledger after `pieces` (at least 1) of `part` came out."""
    return Ledger((*ledger.out, OutItem(part, pieces, cell, step)))


def put_back(ledger: Ledger, part: str, pieces: int) -> Ledger:
    """The ledger after `pieces` of `part` went back; the newest entries are used up first.

    Raises ValueError when fewer are out.
    """
    if pieces > ledger.pieces_of(part):
        raise ValueError(f"{pieces} of {part} cannot go back, {ledger.pieces_of(part)} are out")
    kept: list[OutItem] = []
    for item in reversed(ledger.out):
        if item.part == part and pieces:
            used = min(pieces, item.pieces)
            pieces -= used
            if item.pieces > used:
                kept.append(replace(item, pieces=item.pieces - used))
        else:
            kept.append(item)
    return Ledger(tuple(reversed(kept)))


def connectors_out(ledger: Ledger, device: DeviceMap) -> tuple[str, ...]:
    """Connectors that are open now, oldest first."""
    names = (item.part for item in ledger.out)
    return tuple(n for n in names if n in device.by_id and device.by_id[n].kind is PartKind.CONNECTOR)


def isolated(ledger: Ledger, device: DeviceMap) -> bool:
    """True when every connector that isolates an energy source is open (or there is none)."""
    return all(ledger.is_out(part.id) for part in device.isolators)
