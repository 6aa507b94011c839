"""How far apart phrases sound to the network: the edit distance of their phonemes, weighted by what it mixes up.

For choosing the wording of a command; takes no part in recognising. The shares of confusion were counted by
`python tests/bench/bench_voice.py --confusions` over word pairs of several synthetic voices in quiet and in noise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import import_module

from benchguide.speech.phrases import FOLDER, Group, Phrase, PhraseTable

#: A phoneme that is written in fewer cases than this in place of another counts as wholly different.
RARE = 0.005
#: Written for "left out".
NOTHING = "-"
#: No two commands of the bundled English table lie nearer to each other (a test holds it to that).
NEAREST = 0.35


@dataclass(frozen=True, slots=True)
class Nearness:
    """How far a phrase sounds from one phrase of the table: 0 the same, 1 nothing in common."""

    words: str
    group: Group
    distance: float

    @property
    def too_near(self) -> bool:
        """True when the two would be mixed up more often than any two commands of the bundled table."""
        return self.distance < NEAREST


@cache
def confusions() -> dict[tuple[str, str], float]:
    """Share of cases in which the network writes the second phoneme where the first was said."""
    lines = (FOLDER / "confusions.tsv").read_text(encoding="utf-8").splitlines()
    rows = (line.split("\t") for line in lines if line and not line.startswith("#"))
    return {(said, heard): float(share) for said, heard, share in rows}


def cost(said: str, heard: str) -> float:
    """From 0 (the same, or taken for it as often as not) to 1 (never mixed up)."""
    if said == heard:
        return 0.0
    ratio = max(_ratio(said, heard), _ratio(heard, said))
    return min(1.0, math.log(min(ratio, 1.0)) / math.log(RARE / 0.6))


def _ratio(said: str, heard: str) -> float:
    table = confusions()
    return max(table.get((said, heard), 0.0), RARE) / max(table.get((said, said), 0.0), 0.3)


def distance(one: Sequence[str], other: Sequence[str]) -> float:
    """Weighted edit distance of two phoneme sequences, a phoneme of the longer."""
    row = [0.0]
    for phone in other:
        row.append(row[-1] + cost(phone, NOTHING))
    for mine in one:
        corner, row[0] = row[0], row[0] + cost(mine, NOTHING)
        for j, phone in enumerate(other, 1):
            best = min(
                row[j] + cost(mine, NOTHING), row[j - 1] + cost(phone, NOTHING), corner + cost(mine, phone)
            )
            corner, row[j] = row[j], best
    return row[-1] / max(1, len(one), len(other))


def between(one: Phrase, other: Phrase) -> float:
    """The distance of the two nearest ways of saying them."""
    return min(distance(sum(a, ()), sum(b, ())) for a in one.ways for b in other.ways)


def rate(words: str, table: PhraseTable) -> list[Nearness]:
    """The phrases of the table by their nearness to `words`, nearest first; the same words are left out.

    Raises ValueError when a word's sound is not known, VoiceMissing when no package can tell it.
    """
    ways: list[tuple[tuple[str, ...], ...]] = [()]
    for word in words.lower().split():
        ways = [(*way, sound) for way in ways for sound in sounds_of(word, table)][:12]
    if ways == [()]:
        raise ValueError('Give the words of the phrase, as in --rate "turn around".')
    new = Phrase(words, words, Group.COMMAND, tuple(ways))
    others = [phrase for phrase in table.phrases if phrase.words.lower() != words.lower()]
    return sorted(
        (Nearness(p.words, p.group, round(between(new, p), 3)) for p in others), key=lambda n: n.distance
    )


def sounds_of(word: str, table: PhraseTable) -> tuple[tuple[str, ...], ...]:
    """How a word sounds: from the table, the CMU Pronouncing Dictionary (with pocketsphinx), or hama's guess."""
    if word in table.lexicon:
        return table.lexicon[word]
    found = _from_dictionary(word) or _guessed(word)
    if not found:
        raise ValueError(
            f"The sound of '{word}' is not known. Add it under [sounds] in a copy of the table, or install "
            "hama with: pip install 'benchguide[voice]'"
        )
    return found


def _from_dictionary(word: str) -> tuple[tuple[str, ...], ...]:
    from benchguide.speech.phonemes_sphinx import IPA

    try:
        root = import_module("pocketsphinx").get_model_path()
        with open(f"{root}/en-us/cmudict-en-us.dict", encoding="utf-8") as lines:  # noqa: PTH123
            rows = [line.split() for line in lines if line.startswith((f"{word} ", f"{word}("))]
    except (ImportError, OSError):
        return ()
    ways = [tuple(IPA[phone] for phone in row[1:] if phone in IPA) for row in rows]
    # without its stress marks the dictionary does not tell the vowel of "cut" from the first one of "about"
    weak = [tuple("ə" if phone == "ʌ" else phone for phone in way) for way in ways]
    return tuple(dict.fromkeys(ways + weak))


def _guessed(word: str) -> tuple[tuple[str, ...], ...]:
    """What hama's letter-to-sound model makes of the word, split into the phonemes of its network."""
    try:
        hama = import_module("hama")
        ipa = hama.G2PModel().predict(word).ipa
        symbols = sorted(hama.Vocabulary.load().decoder, key=len, reverse=True)
    except (ImportError, RuntimeError, OSError):
        return ()
    phones = []
    while ipa:
        symbol = next((s for s in symbols if ipa.startswith(s)), ipa[0])
        if symbol.strip():
            phones.append(symbol)
        ipa = ipa[len(symbol) :]
    return (tuple(phones),) if phones else ()
