"""Three-point estimates against printed worked examples.

Sources: B. W. Taylor, Introduction to Management Science, chapter on project management (three-point data,
mean 24 and the probability 0.9633 as printed, from the table of the normal distribution; the variance 5 is
arithmetic). W. J. Stevenson, Operations Management, chapter 17, problem with four paths.
"""

from math import sqrt
from statistics import NormalDist

import pytest

from benchguide.session.forecast import NINE_IN_TEN, Estimate, added, three_point

TAYLOR = {
    1: (5, 8, 17),
    2: (7, 10, 13),
    3: (3, 5, 7),
    4: (1, 3, 5),
    5: (4, 6, 8),
    6: (3, 3, 3),
    7: (3, 4, 5),
}
STEVENSON = [
    ([(2, 4, 6), (6, 8, 10), (7, 9, 12), (2, 3, 5)], 24.33, 66 / 36, 1.354),
    ([(2, 4, 6), (3, 4, 8), (5, 7, 9)], 15.5, 57 / 36, 1.258),
    ([(2, 2, 3), (2, 3, 6), (3, 4, 5), (4, 5, 8)], 14.83, 37 / 36, 1.014),
    ([(5, 8, 12), (1, 1, 1), (6, 7, 11), (8, 9, 13)], 26.17, 99 / 36, 1.658),
]


@pytest.mark.parametrize(("activity", "mean"), list(zip(TAYLOR, (9, 10, 5, 3, 6, 3, 4), strict=True)))
def test_taylor_activities(activity: int, mean: float) -> None:
    assert three_point(*TAYLOR[activity]).mean_s == pytest.approx(mean)


def test_taylor_path() -> None:
    path = added(three_point(*TAYLOR[activity]) for activity in (1, 3, 5, 7))
    assert path.mean_s == pytest.approx(24)
    assert path.var_s2 == pytest.approx(5)
    in_time = NormalDist(path.mean_s, sqrt(path.var_s2)).cdf(28)
    assert in_time == pytest.approx(0.9633, abs=2e-4)  # the book rounds z to 1.79


@pytest.mark.parametrize(("path", "mean", "variance", "deviation"), STEVENSON)
def test_stevenson_paths(
    path: list[tuple[int, int, int]], mean: float, variance: float, deviation: float
) -> None:
    estimate = added(three_point(*activity) for activity in path)
    assert estimate.mean_s == pytest.approx(mean, abs=0.005)
    assert estimate.var_s2 == pytest.approx(variance)
    assert sqrt(estimate.var_s2) == pytest.approx(deviation, abs=0.0005)


def test_nine_in_ten_is_the_normal_quantile() -> None:
    """Against the standard library's inverse of the normal distribution."""
    assert pytest.approx(NormalDist().inv_cdf(0.95), abs=2e-4) == NINE_IN_TEN
    low, high = Estimate(100.0, 64.0).range_s
    normal = NormalDist(100.0, 8.0)
    assert normal.cdf(high) - normal.cdf(low) == pytest.approx(0.9, abs=2e-4)
