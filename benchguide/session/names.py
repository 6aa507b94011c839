"""Names for steps that are done once more or were never written: readable, unique, and told apart from the
first ones. No steps are made here."""

import re
from collections.abc import Container

_AGAIN = re.compile(r"-again(-\d+)?$")

#: names of files have at most 64 characters; a root leaves room for what is added
ROOT = 48


def root(step: str) -> str:
    """The name of the step that this one repeats; its own when it repeats none."""
    return _AGAIN.sub("", step)[:ROOT]


def same_step(one: str, other: str) -> bool:
    """True when one of the two repeats the other, or both the same third."""
    return root(one) == root(other)


def again(step: str, taken: Container[str]) -> str:
    """A new name for doing this step once more."""
    return free(f"{root(step)}-again", taken)


def free(wanted: str, taken: Container[str]) -> str:
    """The wanted name, or with the first number that makes it a new one."""
    wanted, number = wanted[: ROOT + 8], 2
    name = wanted
    while name in taken:
        name, number = f"{wanted}-{number}", number + 1
    return name
