"""Values that never change, copied cheaply with some fields different. No fields and no meaning of their own.

`dataclasses.replace` sets every field of a frozen value one by one. The fold makes several copies for each
fact of a log of thousands, so it copies the dictionary of the value instead (tests/bench/bench_session.py).
"""

from typing import Any, Self


class Value:
    """Base of frozen dataclasses without slots."""

    def changed(self, **changes: Any) -> Self:
        """A copy with some fields changed; the names are not checked."""
        new = object.__new__(type(self))
        object.__setattr__(new, "__dict__", {**self.__dict__, **changes})
        return new

    def settle(self, changes: dict[str, Any]) -> Self:
        """Change some fields in place and give it back: only for a copy that nobody else has seen yet."""
        self.__dict__.update(changes)
        return self
