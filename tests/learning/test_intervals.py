"""Intervals against printed tables and an independent library."""

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from pourstats.learning.intervals import (
    exact_count_interval,
    exact_share_interval,
    score_interval,
)
from tests.published_week import NEWCOMBE_EXACT, NEWCOMBE_SCORE, POISSON_EXACT


@pytest.mark.parametrize(("case", "limits"), NEWCOMBE_SCORE.items())
def test_score_interval_is_newcombes(case, limits):
    # Printed to four decimals.
    assert score_interval(*case) == pytest.approx(limits, abs=5.1e-5)


@pytest.mark.parametrize(("case", "limits"), NEWCOMBE_EXACT.items())
def test_exact_share_interval_is_newcombes(case, limits):
    assert exact_share_interval(*case) == pytest.approx(limits, abs=5.1e-5)


@pytest.mark.parametrize(("count", "limits"), POISSON_EXACT.items())
def test_exact_count_interval_is_the_printed_one(count, limits):
    assert exact_count_interval(count) == pytest.approx(limits, abs=5.1e-5)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.99])
def test_intervals_agree_with_statsmodels(level):
    for trials in (1, 7, 40, 311):
        for count in sorted({0, 1, trials // 3, trials - 1, trials}):
            for ours, method in ((score_interval, "wilson"), (exact_share_interval, "beta")):
                theirs = proportion_confint(count, trials, alpha=1 - level, method=method)
                expected = np.clip(np.nan_to_num(theirs, nan=0.0), 0, 1)
                assert ours(count, trials, level) == pytest.approx(tuple(expected), abs=1e-9)


@pytest.mark.parametrize("case", [(3, 2), (-1, 5), (0, 0)])
def test_an_impossible_count_is_refused(case):
    with pytest.raises(ValueError, match="impossible count"):
        score_interval(*case)
    with pytest.raises(ValueError, match="level"):
        score_interval(1, 2, level=95)
