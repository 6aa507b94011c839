"""How well a stretch of sound fits each phrase: best path through the phrase's phonemes against the free path.

Connectionist temporal classification (Graves et al., ICML 2006, "Connectionist Temporal Classification: Labelling
Unsegmented Sequence Data with Recurrent Neural Networks"): a phrase is its phonemes with the blank symbol allowed
before, between and after them, and needed between two equal ones. The score of a phrase is the log likelihood of
its best path less that of the best path of any symbols at all, a phoneme of the phrase: 0 at best.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

IMPOSSIBLE = np.float32(-1e9)

#: One way to say a phrase: the phonemes of each of its words.
Spoken = Sequence[Sequence[str]]


class PathScorer:
    """Scores several ways of speaking at once. Raises ValueError for a phoneme the network does not know.

    `alike` is a matrix (symbols, symbols): row p holds how likely the network writes each symbol where p was said.
    """

    def __init__(
        self,
        symbols: Sequence[str],
        blank: int,
        boundary: int | None,
        spoken: Sequence[Spoken],
        alike: np.ndarray | None = None,
    ) -> None:
        self._alike = None if alike is None else np.ascontiguousarray(alike.T, np.float32)
        self._gap = (blank,) if boundary is None else (blank, boundary)
        columns = {symbol: i for i, symbol in enumerate(symbols)}
        self.lengths = np.array([sum(map(len, words)) for words in spoken], np.float32)
        width = 2 * int(self.lengths.max(initial=0)) + 1
        size = (len(spoken), width)
        self._state = np.full(size, blank, np.intp)  # column of each state of the path
        self._at_edge = np.zeros(size, bool)  # blanks where a word ends: there the boundary will do as well
        self._may_skip = np.zeros(size, bool)  # the blank before this state may be left out
        self._open = np.zeros(size, bool)
        for row, words in enumerate(spoken):
            self._lay_out(row, words, columns)
        self._rows = np.arange(len(spoken))
        self._final = (2 * self.lengths).astype(np.intp)

    def _lay_out(self, row: int, words: Spoken, columns: dict[str, int]) -> None:
        at = 0
        for word in words:
            self._at_edge[row, 2 * at] = True
            for phone in word:
                if phone not in columns:
                    raise ValueError(f"The phoneme '{phone}' is not one this network knows.")
                self._state[row, 2 * at + 1] = columns[phone]
                self._may_skip[row, 2 * at + 1] = (
                    at > 0 and self._state[row, 2 * at - 1] != self._state[row, 2 * at + 1]
                )
                at += 1
        self._at_edge[row, 2 * at] = True
        self._open[row, : 2 * at + 1] = True

    def scores(self, log_probs: np.ndarray) -> np.ndarray:
        """Score of each way of speaking, a phoneme, shape (ways,); minus a thousand million where it cannot fit.

        `log_probs` has shape (frames, symbols), natural log.
        """
        if not len(log_probs) or not len(self._rows):
            return np.full(len(self._rows), IMPOSSIBLE)
        frames = self._smoothed(log_probs)
        gap = frames[:, self._gap].max(axis=1)
        free = frames.max(axis=1).sum()
        best = np.full(self._state.shape, IMPOSSIBLE)
        best[:, :2] = 0.0
        first = True
        for t in range(len(frames)):
            step = frames[t][self._state]
            step[self._at_edge] = gap[t]
            if not first:
                before = np.concatenate([np.full((len(best), 1), IMPOSSIBLE), best[:, :-1]], axis=1)
                skip = np.concatenate([np.full((len(best), 2), IMPOSSIBLE), best[:, :-2]], axis=1)
                best = np.maximum(np.maximum(best, before), np.where(self._may_skip, skip, IMPOSSIBLE))
            best = np.where(self._open, best + step, IMPOSSIBLE)
            first = False
        ends = np.maximum(best[self._rows, self._final], best[self._rows, self._final - 1])
        return np.asarray(np.maximum((ends - free) / self.lengths, IMPOSSIBLE), np.float32)

    def _smoothed(self, log_probs: np.ndarray) -> np.ndarray:
        frames = np.asarray(log_probs, np.float32)
        if self._alike is None:
            return frames
        return np.asarray(np.log(np.exp(frames) @ self._alike + 1e-9), np.float32)


def written(log_probs: np.ndarray, blank: int, boundary: int | None) -> list[int]:
    """The symbols the network writes by itself: best of each frame, repeats joined, blanks and gaps left out."""
    best = log_probs.argmax(axis=1) if len(log_probs) else np.empty(0, np.intp)
    joined = [int(b) for i, b in enumerate(best) if i == 0 or b != best[i - 1]]
    return [b for b in joined if b != blank and b != boundary]


def edit_distance(heard: Sequence[object], wanted: Sequence[object]) -> float:
    """Insertions, deletions and substitutions (Levenshtein 1966) from one to the other, a phoneme of `wanted`."""
    row = list(range(len(wanted) + 1))
    for i, one in enumerate(heard, 1):
        corner, row[0] = row[0], i
        for j, other in enumerate(wanted, 1):
            corner, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, corner + (one != other))
    return row[-1] / max(1, len(wanted))
