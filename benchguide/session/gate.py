"""What a hold point is. Which there are and when they are open: gates.py and gates_part.py."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Gate:
    """One open hold point. `id` names it in a waiver: kind, colon, then a step, `finish` or `part/` and a part."""

    id: str
    sentence: str
    remedy: str

    @property
    def kind(self) -> str:
        """The part of the id before the colon."""
        return self.id.split(":", 1)[0]

    @property
    def told(self) -> str:
        """Sentence and remedy in one line."""
        return f"{self.sentence} {self.remedy}"
