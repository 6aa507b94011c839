"""The table of phrases: which words stand for which command, and how the words sound. One TOML file a language.

Knows nothing of sound, and not what a command does: a command is a plain name that the window looks up. A shop may
change the wording in a copy of the file; phrases_distance.py says how far apart the phrases sound.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice, product
from pathlib import Path

VERSION = "phrases/1"
MAX_BYTES = 200_000
MAX_PHRASES = 200
MAX_WAYS = 12  # ways of saying one phrase
FOLDER = Path(__file__).with_name("phrases_data")


class Group(StrEnum):
    """When a phrase is listened for."""

    COMMAND = "command"  # always
    FURTHER = "further"  # as well, but must fit better, and never stands in the way of a command
    NUMBER = "number"  # only while a count is asked for
    ANSWER = "answer"  # only while a question is open


class BadPhrases(ValueError):
    """A table of phrases cannot be used; one sentence a fault, with the remedy."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Phrase:
    """One phrase. `ways` holds its ways of being said: for each, the phonemes (IPA) of each word."""

    command: str
    words: str
    group: Group
    ways: tuple[tuple[tuple[str, ...], ...], ...]
    number: int | None = None
    risky: bool = False


@dataclass(frozen=True, slots=True)
class PhraseTable:
    """All phrases of one language, and the sound of their words: word -> pronunciations, phonemes apart."""

    language: str
    phrases: tuple[Phrase, ...]
    lexicon: dict[str, tuple[tuple[str, ...], ...]]

    def of(self, *groups: Group) -> tuple[Phrase, ...]:
        """The phrases of these groups, in the order of the file."""
        return tuple(phrase for phrase in self.phrases if phrase.group in groups)


def bundled(language: str = "en") -> PhraseTable:
    """The table that comes with the program. Raises ValueError for a language there is none for."""
    path = FOLDER / f"{language}.toml"
    if not language.isalpha() or not path.is_file():
        there = ", ".join(sorted(each.stem for each in FOLDER.glob("*.toml")))
        raise ValueError(f"There are no spoken phrases for the language '{language}'. There are: {there}.")
    return read_phrases(path)


def read_phrases(path: Path) -> PhraseTable:
    """The table of a file. Raises BadPhrases with all faults of the file, and OSError."""
    if path.stat().st_size > MAX_BYTES:
        raise BadPhrases([f"{path}: larger than {MAX_BYTES // 1000} kB; that is no table of phrases."])
    try:
        text = path.read_bytes().decode("utf-8")
        tree = tomllib.loads(text)
    except UnicodeDecodeError:
        raise BadPhrases([f"{path}: not a text file in UTF-8."]) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadPhrases([f"{path}: not valid TOML: {error}."]) from None
    return _Reader(path, text, tree).table()


class _Reader:
    """Collects faults, so that a person mends the file once and not once a fault."""

    def __init__(self, path: Path, text: str, tree: dict[str, object]) -> None:
        self._path, self._lines, self._tree = path, text.splitlines(), tree
        self._faults: list[str] = []

    def table(self) -> PhraseTable:
        if self._tree.get("benchguide") != VERSION:
            raise BadPhrases([f'{self._path}: line 1: the file must begin with benchguide = "{VERSION}".'])
        for key in self._tree.keys() - {"benchguide", "language", "sounds", "phrase"}:
            self._fault(key, f"'{key}' is not a key of this file. Use language, sounds and phrase.")
        language = self._tree.get("language")
        if not isinstance(language, str) or not language:
            self._fault("language", 'give the language, as in language = "en".')
        lexicon = self._lexicon()
        phrases = tuple(self._phrases(lexicon))
        if not phrases and not self._faults:
            self._fault("phrase", "the file holds no phrase. Add a [[phrase]] with command and words.")
        self._check_unlike(phrases)
        if self._faults:
            raise BadPhrases(self._faults)
        return PhraseTable(str(language), phrases, lexicon)

    def _fault(self, near: str, sentence: str) -> None:
        lines = (i for i, line in enumerate(self._lines, 1) if near and near in line)
        line = next(lines, None)
        place = f"line {line}: " if line else ""
        if len(self._faults) < 20:
            self._faults.append(f"{self._path}: {place}{sentence}")

    def _lexicon(self) -> dict[str, tuple[tuple[str, ...], ...]]:
        sounds = self._tree.get("sounds", {})
        if not isinstance(sounds, dict):
            self._fault("sounds", '[sounds] must be a table: word = ["its phonemes"].')
            return {}
        lexicon = {}
        for word, ways in sounds.items():
            said = [ways] if isinstance(ways, str) else ways
            if (
                not isinstance(said, list)
                or not said
                or not all(isinstance(w, str) and w.split() for w in said)
            ):
                self._fault(
                    word, f"the sound of '{word}' must be phonemes apart by spaces, as in \"n ɛ k s t\"."
                )
                continue
            lexicon[word.lower()] = tuple(tuple(way.split()) for way in said)
        return lexicon

    def _phrases(self, lexicon: dict[str, tuple[tuple[str, ...], ...]]) -> Iterator[Phrase]:
        rows = self._tree.get("phrase", [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self._fault("phrase", "write each phrase under its own [[phrase]].")
            return
        if len(rows) > MAX_PHRASES:
            self._fault("", f"{len(rows)} phrases are more than the {MAX_PHRASES} that can be told apart.")
            return
        for row in rows:
            phrase = self._phrase(row, lexicon)
            if phrase:
                yield phrase

    def _phrase(
        self, row: dict[str, object], lexicon: dict[str, tuple[tuple[str, ...], ...]]
    ) -> Phrase | None:
        words, command = row.get("words"), row.get("command")
        if not isinstance(words, str) or not words.split() or not isinstance(command, str) or not command:
            self._fault(
                str(words or command or "phrase"), "every phrase needs a command and its words, both text."
            )
            return None
        before = len(self._faults)
        for key in row.keys() - {"words", "command", "group", "number", "risky"}:
            self._fault(key, f"phrase '{words}': '{key}' is not a key of a phrase.")
        group, number, risky = row.get("group", "command"), row.get("number"), row.get("risky", False)
        if group not in list(Group):
            self._fault(
                words, f"phrase '{words}': the group is command, further, number or answer, not '{group}'."
            )
        if (group == Group.NUMBER) != (type(number) is int):
            self._fault(
                words, f"phrase '{words}': a phrase of the group number, and only that, has a whole number."
            )
        if not isinstance(risky, bool):
            self._fault(words, f"phrase '{words}': risky is true or false.")
        for word in words.lower().split():
            if word not in lexicon:
                self._fault(words, f"phrase '{words}': the sound of '{word}' is missing under [sounds].")
        if len(self._faults) > before:
            return None
        ways = product(*(lexicon[word] for word in words.lower().split()))
        return Phrase(
            command,
            " ".join(words.split()),
            Group(str(group)),
            tuple(islice(ways, MAX_WAYS)),
            number if type(number) is int else None,
            bool(risky),
        )

    def _check_unlike(self, phrases: tuple[Phrase, ...]) -> None:
        seen: dict[tuple[str, ...], Phrase] = {}
        for phrase in phrases:
            for way in phrase.ways:
                sound = tuple(phone for word in way for phone in word)
                other = seen.setdefault(sound, phrase)
                if other.command != phrase.command:
                    self._fault(
                        phrase.words, f"'{phrase.words}' and '{other.words}' sound the same. Reword one."
                    )
                    return
