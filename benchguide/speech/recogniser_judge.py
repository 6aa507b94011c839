"""Which phrase a stretch of speech is, or that it is none: threshold, margin and edit distance.

Takes samples, gives a verdict. Cutting the stream is voice_activity.py, the path scores are phrases_score.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchguide.speech.phonemes import RATE, PhonemeNet
from benchguide.speech.phrases import BadPhrases, Group, Phrase, PhraseTable
from benchguide.speech.phrases_score import PathScorer, edit_distance, written


@dataclass(frozen=True, slots=True)
class Limits:
    """What a stretch must reach to count as a command. Measured, see tests/bench/bench_voice.py."""

    score: float = -2.3  # log likelihood against the free path, a phoneme
    short: int = 8  # a phrase of fewer phonemes is more easily found in talk:
    short_score: float = 0.1  # each phoneme it lacks raises its limit by this much
    margin: float = 0.4  # better than the next best command by this much
    number_margin: float = 0.3  # counts differ by little and matter much
    further_score: float = -1.8  # phrases of the group "further" are rare and some are risky
    further_margin: float = 0.5
    phoneme_s: float = 0.045  # no phrase is said faster than this a phoneme (measured: 0.055 to 0.16)
    most: float = 1.4  # as many phonemes may be written in the speech for one of the phrase: or more was said
    unclear: float = (
        0.5  # without the end of its silence a phrase scores less or more by half of this at most
    )
    edits: float = 0.95  # edit distance between what the network writes and the phrase, a phoneme

    def score_for(self, phonemes: int, group: Group = Group.COMMAND) -> float:
        """The limit of the score for a phrase of so many phonemes."""
        score = self.further_score if group is Group.FURTHER else self.score
        return score + self.short_score * max(0, self.short - phonemes)

    def margin_for(self, group: Group) -> float:
        """The limit of the margin for a phrase of this group."""
        return {Group.NUMBER: self.number_margin, Group.FURTHER: self.further_margin}.get(group, self.margin)


#: For a room in which people talk near the bench: fewer commands heard, fewer taken from talk.
STRICT = Limits(score=-2.0, margin=0.5)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a stretch. `phrase` is None when it was rejected; `nearest` is then the phrase it came nearest.

    `confidence` is 0 for what was rejected, 0.5 for what was just accepted and 1 for a perfect fit.
    """

    phrase: Phrase | None
    nearest: Phrase | None
    score: float
    margin: float
    edits: float
    confidence: float
    reason: str
    clear: bool = True  # a little more or less sound would not turn it


class PhraseJudge:
    """Holds the laid-out phrases. Raises BadPhrases for a phoneme the network does not know."""

    def __init__(self, table: PhraseTable, net: PhonemeNet, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self._net = net
        self._phrases = table.phrases
        _check_known(table, net)
        known = set(net.symbols)
        self._ways = [
            (i, way)
            for i, phrase in enumerate(table.phrases)
            for way in phrase.ways
            if all(known.issuperset(word) for word in way)
        ]
        self._owner = np.array([i for i, _ in self._ways], np.intp)
        self._scorers: dict[tuple[Group, ...], tuple[PathScorer, np.ndarray]] = {}

    def judge(
        self,
        samples: np.ndarray,
        groups: tuple[Group, ...],
        too_long: bool = False,
        spoken: tuple[float, float] | None = None,
    ) -> Verdict:
        """The verdict on `samples` (float32, 16 kHz, mono), with only the phrases of `groups` to choose from.

        `spoken` is where in it the speech begins and ends (s); without it the length of the speech is not judged.
        """
        scorer, rows = self._scorer(groups)
        if too_long or not len(rows):
            return Verdict(
                None, None, 0.0, 0.0, 0.0, 0.0, "too long for a command" if too_long else "no phrases"
            )
        log_probs = self._net.phonemes(samples)
        ways = scorer.scores(log_probs)
        best = int(ways.argmax())
        score = float(ways[best])
        phrase = self._phrases[self._owner[rows[best]]]
        margin = self._margin(ways, rows, phrase)
        wanted = [phone for word in self._ways[rows[best]][1] for phone in word]
        symbols = self._net.symbols
        heard = [symbols[i] for i in written(log_probs, self._net.blank, self._net.boundary)]
        edits = edit_distance(heard, wanted)
        limit = self.limits.score_for(len(wanted), phrase.group)
        reason = self._why_not(phrase, score - limit, margin, edits)
        if not reason and spoken:
            reason = self._misfit(log_probs, len(samples) / RATE, spoken, len(wanted))
        above = score - limit
        if reason:
            hopeless = above < -self.limits.unclear or margin < self.limits.unclear / 2
            return Verdict(None, phrase, score, margin, edits, 0.0, reason, hopeless)
        clear = above > self.limits.unclear / 2
        return Verdict(phrase, phrase, score, margin, edits, _confidence(score / limit, margin), "", clear)

    def _scorer(self, groups: tuple[Group, ...]) -> tuple[PathScorer, np.ndarray]:
        if groups not in self._scorers:
            rows = np.array(
                [r for r, (i, _) in enumerate(self._ways) if self._phrases[i].group in groups], np.intp
            )
            net = self._net
            spoken = [self._ways[r][1] for r in rows]
            self._scorers[groups] = (PathScorer(net.symbols, net.blank, net.boundary, spoken), rows)
        return self._scorers[groups]

    def _margin(self, ways: np.ndarray, rows: np.ndarray, phrase: Phrase) -> float:
        """Over the next best other command; a phrase of the group further stands in the way of its like only."""
        others = [
            score
            for score, row in zip(ways, rows, strict=True)
            if (other := self._phrases[self._owner[row]]).command != phrase.command
            and (phrase.group is Group.FURTHER or other.group is not Group.FURTHER)
        ]
        return float(ways.max() - max(others)) if others else float("inf")

    def _why_not(self, phrase: Phrase, above: float, margin: float, edits: float) -> str:
        if above <= 0:
            return "unlike any phrase"
        if margin <= self.limits.margin_for(phrase.group):
            return "could be one of two phrases"
        if edits >= self.limits.edits:
            return "too many sounds differ"
        return ""

    def _misfit(
        self, log_probs: np.ndarray, length_s: float, spoken: tuple[float, float], phonemes: int
    ) -> str:
        """Less or more was said than a phrase of so many phonemes."""
        begin, end = spoken
        if end - begin < self.limits.phoneme_s * phonemes:
            return "too short for the phrase"
        rows = len(log_probs) / length_s
        inner = log_probs[round(begin * rows) : round(end * rows)]
        said = len(written(inner, self._net.blank, self._net.boundary))
        return "more was said than the phrase" if said >= self.limits.most * phonemes else ""


def _confidence(used: float, margin: float) -> float:
    """`used` is the part of the limit that was used up, from 0 to 1."""
    return 0.5 + 0.5 * max(0.0, min(1.0, 1.0 - used, margin))


def _check_known(table: PhraseTable, net: PhonemeNet) -> None:
    """Each word needs one way that is written in the network's symbols; ways of another network are passed over."""
    known = set(net.symbols)
    faults = [
        f"The phoneme '{min({p for way in ways for p in way} - known)}' of the word '{word}' "
        f"is not one that {net.name} knows."
        for word, ways in table.lexicon.items()
        if not any(known.issuperset(way) for way in ways)
    ]
    if faults:
        raise BadPhrases(faults)
