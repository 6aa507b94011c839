"""Which letter or number marks a part on the drawing and in the instruction, and in which words. No drawing.

Screws that differ in thread, length or head get different letters, shortest first, the same on every page of
one device; the other parts of a step are numbered. No colour codes.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import PartKind


@dataclass(frozen=True, slots=True)
class PartMark:
    """The mark of one part in one step."""

    part: Part
    sign: str
    """A letter for screws, a number for anything else."""

    @property
    def legend(self) -> str:
        """What the sign stands for, with size and tool where it is screws."""
        return f"{self.sign} = {described(self.part)}"


def _letter(index: int) -> str:
    # I and O are read as 1 and 0
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    return letters[index % len(letters)] * (index // len(letters) + 1)


def screw_letters(device: DeviceMap) -> dict[str, str]:
    """The letter of every screw group; like screws share one, different lengths never do."""
    kinds = {(p.screws.length_mm, p.screws.thread, p.screws.head) for p in device.parts if p.screws}
    letters = {kind: _letter(i) for i, kind in enumerate(sorted(kinds))}
    return {
        p.id: letters[(p.screws.length_mm, p.screws.thread, p.screws.head)] for p in device.parts if p.screws
    }


def screw_size(part: Part) -> str:
    """For example `4 × M1.6 × 3`; empty for parts that are not screws."""
    if part.screws is None:
        return ""
    return f"{part.screws.count} × {part.screws.thread} × {part.screws.length_mm:g}"


def described(part: Part) -> str:
    """One line for a part: screws by number, size, head and drive, others by name."""
    if part.screws is None:
        return part.name
    return f"{screw_size(part)} {part.screws.head} head, {part.screws.drive}"


def marks_of(device: DeviceMap, step: Step | None) -> tuple[PartMark, ...]:
    """The marks of the parts of one step, in the order the step names them."""
    return tuple(_marks(device, step)) if step else ()


def _marks(device: DeviceMap, step: Step) -> Iterator[PartMark]:
    letters, number = screw_letters(device), 0
    for name in step.parts:
        part = device.by_id.get(name)
        if part is None:
            continue
        if part.kind is PartKind.SCREWS:
            yield PartMark(part, letters[name])
        else:
            number += 1
            yield PartMark(part, str(number))
