"""Path scores against counting every path by hand, on posteriors made up for the purpose."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchguide.speech.phrases_score import IMPOSSIBLE, PathScorer, edit_distance, written

SYMBOLS = ("a", "b", "c", "|", "-")  # "|" the gap between words, "-" the blank


def _collapsed(path: tuple[int, ...]) -> str:
    joined = [p for i, p in enumerate(path) if i == 0 or p != path[i - 1]]
    return "".join(SYMBOLS[p] for p in joined if SYMBOLS[p] != "-")


def _by_hand(log_probs: np.ndarray, word: str) -> float:
    """Best log likelihood over all symbol sequences that collapse to the word: the definition, no cleverness."""
    fits = [
        sum(log_probs[t, p] for t, p in enumerate(path))
        for path in itertools.product((0, 1, 2, 4), repeat=len(log_probs))
        if _collapsed(path) == word
    ]
    free = log_probs.max(axis=1).sum()
    return (max(fits) - free) / len(word) if fits else float(IMPOSSIBLE)


def _frames(seed: int, count: int) -> np.ndarray:
    logits = np.random.default_rng(seed).normal(0, 2, (count, len(SYMBOLS)))
    logits[:, 3] = -20  # the gap never wins here: the count by hand does not know it
    return np.asarray(logits - np.log(np.exp(logits).sum(axis=1, keepdims=True)), np.float32)


@settings(deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 6), st.text("abc", min_size=1, max_size=4))
def test_the_best_path_is_the_one_found_by_trying_all(seed: int, count: int, word: str) -> None:
    frames = _frames(seed, count)
    scorer = PathScorer(SYMBOLS, 4, 3, [[tuple(word)], [("a",)]])
    wanted = _by_hand(frames, word)
    found = float(scorer.scores(frames)[0])
    assert found < -1e6 if wanted < -1e6 else found == pytest.approx(wanted, abs=1e-3)


def test_two_equal_sounds_need_a_gap_between_them() -> None:
    frames = np.log(np.array([[0.96, 0.01, 0.01, 0.01, 0.01]] * 2, np.float32))
    scorer = PathScorer(SYMBOLS, 4, 3, [[("a",)], [("a", "a")]])
    once, twice = scorer.scores(frames)
    assert once == pytest.approx(0, abs=1e-5)
    assert twice < -1e6  # two frames cannot hold a, blank, a


def test_the_word_gap_is_free_between_words_only() -> None:
    sure = 0.96
    rows = [[sure if i == j else 0.01 for i in range(5)] for j in (0, 3, 1)]
    frames = np.log(np.array(rows, np.float32))
    scorer = PathScorer(SYMBOLS, 4, 3, [[("a",), ("b",)], [("a", "b")]])
    apart, together = scorer.scores(frames)
    assert apart == pytest.approx(0, abs=1e-5)
    assert together < -1


def test_sounds_that_are_alike_cost_less() -> None:
    frames = np.log(np.array([[0.01, 0.96, 0.01, 0.01, 0.01]], np.float32))
    alike = np.eye(5) * 0.6 + np.array([[0, 0.4, 0, 0, 0]] + [[0] * 5] * 4)
    strict = PathScorer(SYMBOLS, 4, 3, [[("a",)]]).scores(frames)[0]
    lenient = PathScorer(SYMBOLS, 4, 3, [[("a",)]], alike).scores(frames)[0]
    assert strict < lenient < 0


def test_no_frames_and_no_phrases() -> None:
    scorer = PathScorer(SYMBOLS, 4, 3, [[("a",)]])
    assert scorer.scores(np.empty((0, 5), np.float32))[0] == IMPOSSIBLE
    assert len(PathScorer(SYMBOLS, 4, 3, []).scores(_frames(1, 3))) == 0
    with pytest.raises(ValueError, match="'x' is not one"):
        PathScorer(SYMBOLS, 4, 3, [[("x",)]])


def test_what_the_network_writes_by_itself() -> None:
    frames = np.log(np.eye(5, dtype=np.float32)[[4, 0, 0, 4, 0, 3, 1]] + 1e-6)
    assert written(frames, 4, 3) == [0, 0, 1]
    assert written(np.empty((0, 5)), 4, 3) == []


def test_the_edit_distance_of_the_textbook() -> None:
    # kitten, sitting: three edits. The usual example for Levenshtein's distance; from memory.
    assert edit_distance("kitten", "sitting") == pytest.approx(3 / 7)
    assert edit_distance("", "abc") == 1
    assert edit_distance("abc", "abc") == 0
