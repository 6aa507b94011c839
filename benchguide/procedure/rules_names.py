"""Finds parts and tools named in a text, for the rules that read texts. It is no rule and knows no grammar."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

_WORD = re.compile(r"[^\W_]+(?:[-'.][^\W_]+)*")
_MOST_WORDS = 8


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a text, in lower case, with its place."""

    text: str
    begin: int
    end: int


def words_of(text: str) -> list[Word]:
    """The words of a text without its punctuation."""
    return [Word(match[0].lower(), match.start(), match.end()) for match in _WORD.finditer(text)]


class Names:
    """Full names to look for in texts. A name that stands for two things is never found."""

    def __init__(self, names: Iterable[tuple[str, str]]) -> None:
        found: dict[tuple[str, ...], set[str]] = {}
        for ident, name in names:
            key = tuple(word.text for word in words_of(name))[:_MOST_WORDS]
            if key:
                found.setdefault(key, set()).add(ident)
        self._idents: Mapping[tuple[str, ...], str] = {
            k: i.copy().pop() for k, i in found.items() if len(i) == 1
        }
        self._counts: dict[str, tuple[int, ...]] = {}
        """For the first word of a name, how many words such names have, the longest first."""
        for key in found:
            known = self._counts.get(key[0], ())
            self._counts[key[0]] = tuple(sorted({*known, len(key)}, reverse=True))

    def at(self, words: list[Word], start: int) -> tuple[str, int] | None:
        """What is named by the words from `start` on, and how many words name it; the longest name goes first."""
        for count in self._counts.get(words[start].text, ()) if start < len(words) else ():
            here = words[start : start + count]
            ident = self._idents.get(tuple(word.text for word in here)) if len(here) == count else None
            if ident is not None:
                return ident, count
        return None

    def within(self, text: str) -> Iterator[str]:
        """Everything named in a text, a name inside a longer one left out."""
        words, start = words_of(text), 0
        while start < len(words):
            found = self.at(words, start)
            if found:
                yield found[0]
            start += found[1] if found else 1
