"""What is wrong with a file, said for a person. Not where it is found: that is loader.py and check.py."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

#: a file with more errors than this gets one closing line instead of the rest
MAX_PROBLEMS = 500
_SHOWN = 60


class Severity(StrEnum):
    """How much a problem matters: an error must be mended, a warning be looked at, advice may be left."""

    ERROR = "error"
    WARNING = "warning"
    ADVICE = "advice"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong at one place of a file; lines and columns count from 1."""

    file: str
    line: int
    column: int
    severity: Severity
    rule: str
    value: str
    """The offending value as it may be shown, or an empty string."""
    message: str
    """What is wrong, as a sentence without its full stop."""
    remedy: str
    """What to do about it, as a whole sentence."""

    def __str__(self) -> str:
        value = f" (value {self.value})" if self.value else ""
        text = f"{self.file}:{self.line}:{self.column}: {self.message}{value}. {self.remedy}"
        return " ".join(text.split())


class BadFile(Exception):
    """A file could not be used. Carries every problem found; its text is one sentence."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(self.problems)

    def __str__(self) -> str:
        if not self.problems:
            return "The file could not be used."
        first = self.problems[0]
        where = f"{first.file} cannot be used: line {first.line}, column {first.column}: {first.message}"
        if len(self.problems) == 1:
            return f"{where}."
        more = len(self.problems) - 1
        return f"{where} (and {more} more {'problem' if more == 1 else 'problems'})."


def shown(value: object) -> str:
    """A value as it may stand in a message: short, on one line, without control characters."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return f"a group of {len(value)} keys"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    # cut before repr: a value may be megabytes long
    text = value[: _SHOWN + 1] if isinstance(value, str) else str(value)[: _SHOWN + 1]
    text = "".join(c if c.isprintable() else " " for c in text)
    if len(text) > _SHOWN:
        text = text[: _SHOWN - 1] + "…"
    return f"`{text}`"


def did_you_mean(word: str, known: Iterable[str], otherwise: str) -> str:
    """Remedy for a word that is not known: the nearest known word, or `otherwise`."""
    import difflib

    candidates = list(known)
    # difflib is slow on long words and on long lists; nobody mistypes by that much
    if len(word) > 64:
        return otherwise
    if len(candidates) > 200:
        near_length = [c for c in candidates if abs(len(c) - len(word)) <= 2 and c[:2] == word[:2]]
        candidates = near_length[:100]
    near = difflib.get_close_matches(word.lower(), candidates, n=1, cutoff=0.6)
    return f"Did you mean `{near[0]}`?" if near else otherwise
