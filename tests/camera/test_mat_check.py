"""Judging lengths and cells: never kinder than the measurement."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchguide.camera.mat_check import (
    Expected,
    Verdict,
    judge_cell,
    judge_length,
    overall_mm,
    scale_by_length,
    scale_by_ruler,
)


@pytest.mark.parametrize(
    ("measured", "sigma", "expected", "most", "verdict"),
    [
        (5.0, 0.05, 5.0, None, Verdict.MATCHES),
        (5.0, 0.05, (4.6, 5.3), None, Verdict.MATCHES),
        (7.0, 0.1, (4.6, 5.3), None, Verdict.LONGER),
        (3.0, 0.1, (4.6, 5.3), None, Verdict.DIFFERS),
        (5.25, 0.1, (4.6, 5.3), None, Verdict.CANNOT_TELL),  # may be longer than what came out
        (5.6, 0.05, (4.6, 5.3), 6.0, Verdict.DIFFERS),  # longer than belongs here, yet the hole takes it
        (6.5, 0.05, (4.6, 5.3), 6.0, Verdict.LONGER),
        (5.0, 0.6, (4.8, 5.2), 9.0, Verdict.CANNOT_TELL),  # would fit anything
        (None, None, 5.0, None, Verdict.CANNOT_TELL),
    ],
)
def test_one_screw_against_its_hole(measured, sigma, expected, most, verdict):
    assert judge_length(measured, sigma, expected, most).verdict is verdict


@given(
    st.floats(1, 12), st.floats(0.02, 0.5), st.floats(1, 12), st.floats(0.1, 1.0), st.floats(0.0, 2.0)
)  # fmt: skip
def test_longer_is_said_only_beyond_the_interval_and_match_only_within_the_limit(mm, sigma, low, wide, spare):
    top = low + wide + spare
    judged = judge_length(mm, sigma, (low, low + wide), top)
    if judged.verdict is Verdict.LONGER:
        assert mm - 1.96 * sigma > top
    if judged.verdict is Verdict.MATCHES:
        assert mm + 1.96 * sigma <= top
    if mm - 1.96 * sigma > top:
        assert judged.verdict is Verdict.LONGER


@pytest.mark.parametrize("bad", [(0, 0.1), (math.nan, 0.1), (5, -1), (5, math.inf)])
def test_values_that_are_no_lengths_are_refused(bad):
    with pytest.raises(ValueError, match="positive"):
        judge_length(*bad, 5.0)


def test_nominal_length_counts_from_under_the_head():
    low, high = overall_mm(4.0, "pan", "M1.6")
    # ISO 1580 pan M1.6: head 1.0 high
    assert low < 5.0 < high
    # ISO 2009 flat: over all
    low, high = overall_mm(4.0, "flat", "M1.6")
    assert low == pytest.approx(3.9)
    assert high == pytest.approx(4.1)


def test_a_cell_against_the_ledger():
    five, eight = (4.6, 5.4), (7.6, 8.4)
    screws = Expected(2, (five, eight))
    assert judge_cell(2, 2, [(5.0, 0.05), (8.0, 0.05)], screws).verdict is Verdict.MATCHES
    assert judge_cell(2, 2, [(5.0, 0.05), (5.1, 0.05)], screws).verdict is Verdict.DIFFERS
    assert judge_cell(1, 1, [(5.0, 0.05)], screws).verdict is Verdict.DIFFERS
    assert judge_cell(None, 2, [], screws).verdict is Verdict.CANNOT_TELL
    assert judge_cell(None, 3, [], screws).verdict is Verdict.DIFFERS
    assert judge_cell(2, 2, [(None, None), (None, None)], screws).verdict is Verdict.CANNOT_TELL
    assert judge_cell(0, 0, [], Expected(0)).verdict is Verdict.MATCHES
    assert judge_cell(1, 1, [], Expected(0)).verdict is Verdict.DIFFERS


def test_what_a_ruler_says():
    assert scale_by_ruler(100.2).state == "right"
    wrong = scale_by_ruler(94.0)
    assert wrong.wrong
    assert wrong.factor == pytest.approx(0.94)
    with pytest.raises(ValueError, match="ruler"):
        scale_by_ruler(math.nan)
    # an ID-1 card that reads 91 mm: the print is at 94 %
    assert scale_by_length(91.06).factor == pytest.approx(0.94, abs=0.001)
