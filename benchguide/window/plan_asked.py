"""What a person asks of the plan screen: a device, a part to reach, parts that must stay. Values only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded
from benchguide.procedure.procedure import Procedure
from benchguide.procedure.words import REMOVALS


class StartLike(Protocol):
    """A procedure from which a job can be started, as procedure.shelf gives it."""

    @property
    def loaded(self) -> Loaded[Procedure] | None: ...
    @property
    def title(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Asked:
    """One wish; empty names where nothing was chosen yet."""

    device: str = ""
    target: str = ""
    keep: tuple[str, ...] = ()

    def reaching(self, part: str) -> Asked:
        """The same with another part to reach."""
        return replace(self, target=part)

    def with_stay_toggled(self, part: str) -> Asked:
        """The same with this part told to stay, or no longer told so."""
        kept = tuple(name for name in self.keep if name != part)
        return replace(self, keep=kept if part in self.keep else (*self.keep, part))

    def on(self, device: DeviceMap) -> Asked:
        """The same, without parts that this device does not have."""
        known = device.by_id
        keep = tuple(name for name in self.keep if name in known)
        return Asked(device.id, self.target if self.target in known else "", keep)

    def starts(self, entries: Sequence[StartLike]) -> list[StartLike]:
        """The procedures of this device with this target that take off none of the parts that must stay."""
        return [entry for entry in entries if entry.loaded and self._fits(entry.loaded.model)]

    def _fits(self, procedure: Procedure) -> bool:
        if procedure.device != self.device or procedure.target != self.target:
            return False
        moved = {part for step in procedure.steps if step.action in REMOVALS for part in step.parts}
        return not moved.intersection(self.keep)
