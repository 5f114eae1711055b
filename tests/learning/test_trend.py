"""The trend of hours over usual against Welch's interval of an independent library."""

import numpy as np
import pytest
from scipy import stats

from pourstats.learning.trend import trend


def test_trend_is_welchs_interval_on_logarithms():
    # The reference is scipy.stats.ttest_ind with unequal variances.
    ratios = np.exp(np.random.default_rng(5).normal(0.0, 0.2, 50))
    ratios[-12:] *= 0.9
    logs = np.log(ratios)
    for latest in (10, 12):
        found = trend(ratios, latest)
        test = stats.ttest_ind(logs[-latest:], logs[:-latest], equal_var=False)
        near, far = test.confidence_interval(0.8), test.confidence_interval(0.95)
        assert (found.latest, found.before) == (latest, 50 - latest)
        assert (found.low, found.high) == pytest.approx(np.exp((near.low, near.high)))
        assert (found.sure_low, found.sure_high) == pytest.approx(np.exp((far.low, far.high)))
        # The change is the ratio of the two groups' geometric means.
        means = stats.gmean(ratios[-latest:]), stats.gmean(ratios[:-latest])
        assert found.change == pytest.approx(means[0] / means[1])


def test_ten_and_ten_are_needed():
    assert trend(np.ones(19)) is None
    assert trend(np.full(20, 1.1), 11) is None
    assert trend(np.exp(np.linspace(-0.1, 0.1, 20))) is not None


def test_a_week_of_few_floors_takes_the_ten_latest():
    found = trend(np.exp(np.linspace(-0.1, 0.1, 30)), 3)
    assert (found.latest, found.before) == (10, 20)


def test_floors_that_never_differ_are_no_proof():
    found = trend(np.repeat([1.0, 0.8], 10))
    assert found.sure_high == 1.0
    assert found.change == pytest.approx(0.8)
