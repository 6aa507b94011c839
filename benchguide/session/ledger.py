"""The ledger: what is out of the device, in the order it came out, and where it lies. Pure values.

It counts single pieces. Items that belong to no part so far (extras) lie in it beside them.
"""

from dataclasses import dataclass, replace

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.words import PartKind


@dataclass(frozen=True, slots=True)
class OutItem:
    """Pieces of one part that came out together; `turn` is the number of the fact that says so."""

    part: str
    pieces: int
    cell: str
    step: str
    turn: int = 0


@dataclass(frozen=True, slots=True)
class Extra:
    """One item that was found and belongs to no part so far."""

    id: str
    what: str
    cell: str
    step: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """Everything that is out; the last item came out last and goes back first."""

    out: tuple[OutItem, ...] = ()
    extras: tuple[Extra, ...] = ()

    def pieces_of(self, part: str) -> int:
        """How many pieces of this part are out."""
        return sum(item.pieces for item in self.out if item.part == part)

    def is_out(self, part: str) -> bool:
        """True when at least one piece of it is out."""
        return any(item.part == part for item in self.out)

    def items_of(self, part: str) -> tuple[OutItem, ...]:
        """The entries of this part, oldest first."""
        return tuple(item for item in self.out if item.part == part)

    def last_of(self, part: str) -> OutItem | None:
        """The entry of this part that came out last, or None."""
        return next((item for item in reversed(self.out) if item.part == part), None)

    @property
    def pieces(self) -> int:
        """All pieces of parts that are out."""
        return sum(item.pieces for item in self.out)

    @property
    def on_mat(self) -> int:
        """What a person counts on the mat: the pieces that are out and the extras."""
        return self.pieces + len(self.extras)

    def names(self) -> frozenset[str]:
        """The parts with at least one piece out."""
        return frozenset(item.part for item in self.out)


def take_off(ledger: Ledger, part: str, pieces: int, cell: str, step: str, turn: int = 0) -> Ledger:
    """The ledger after `pieces` (at least 1) of `part` came out."""
    return Ledger((*ledger.out, OutItem(part, pieces, cell, step, turn)), ledger.extras)


def put_back(ledger: Ledger, part: str, pieces: int) -> Ledger:
    """The ledger after `pieces` of `part` went back; the newest entries are used up first.

    Raises ValueError when fewer are out.
    """
    return _split(ledger, part, pieces)[0]


def used_up(ledger: Ledger, part: str, pieces: int) -> tuple[OutItem, ...]:
    """The entries `put_back` takes these pieces from, newest first, each with what is taken from it."""
    return _split(ledger, part, pieces)[1]


def _split(ledger: Ledger, part: str, pieces: int) -> tuple[Ledger, tuple[OutItem, ...]]:
    if pieces > ledger.pieces_of(part):
        raise ValueError(f"{pieces} of {part} cannot go back, {ledger.pieces_of(part)} are out")
    kept: list[OutItem] = []
    used: list[OutItem] = []
    for item in reversed(ledger.out):
        take = min(pieces, item.pieces) if item.part == part else 0
        pieces -= take
        if take:
            used.append(replace(item, pieces=take))
        if item.pieces > take:
            kept.append(replace(item, pieces=item.pieces - take) if take else item)
    return Ledger(tuple(reversed(kept)), ledger.extras), tuple(used)


def lay_aside(ledger: Ledger, extra: Extra) -> Ledger:
    """The ledger with one more item that belongs to no part so far."""
    return replace(ledger, extras=(*ledger.extras, extra))


def settle_extra(ledger: Ledger, name: str) -> Ledger:
    """The ledger without this item."""
    return replace(ledger, extras=tuple(extra for extra in ledger.extras if extra.id != name))


def connectors_out(ledger: Ledger, device: DeviceMap) -> tuple[str, ...]:
    """Connectors that are open now, oldest first."""
    names = (item.part for item in ledger.out)
    return tuple(n for n in names if n in device.by_id and device.by_id[n].kind is PartKind.CONNECTOR)


def isolated(ledger: Ledger, device: DeviceMap) -> bool:
    """True when every connector that isolates an energy source is open (or there is none)."""
    return all(ledger.is_out(part.id) for part in device.isolators)
