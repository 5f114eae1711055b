"""Penalised logistic regression against published estimates and independent libraries."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import f as f_distribution

from pourstats.learning.callbacks.logistic import fit
from pourstats.learning.callbacks.risk import PRIOR_M, PRIOR_ODDS_RATIO_95
from tests.published_callbacks import (
    LOG_F_LIMITS,
    SEX2,
    SEX2_DIA_PROFILE,
    SEX2_FIRTH,
    SEX2_FIRTH_LOGLIK,
    SEX2_LOG_F_1,
    TWO_BY_TWO,
    TWO_BY_TWO_FIRTH,
    TWO_BY_TWO_LOG_F,
)


def sex2():
    rows, y = [], []
    for pattern, (cases, controls) in SEX2.items():
        rows += [[1.0, *map(float, pattern)]] * (cases + controls)
        y += [1.0] * cases + [0.0] * controls
    return np.array(rows), np.array(y)


def two_by_two():
    (none, first), (some, second) = TWO_BY_TWO
    x = np.column_stack([np.ones(first + second), np.repeat([0.0, 1.0], [first, second])])
    y = np.concatenate([np.arange(first) < none, np.arange(second) < some]).astype(float)
    return x, y


def record(seed, pours=300, columns=6):
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(pours), rng.random((pours, columns)) < 0.3]).astype(float)
    y = (rng.random(pours) < 1 / (1 + np.exp(2.2 - x[:, 1] + 0.5 * x[:, 2]))).astype(float)
    return x, y


def test_the_data_are_the_published_ones():
    _, y = sex2()
    assert (len(y), y.sum()) == (239, 130)


def test_firths_estimates_are_the_published_ones():
    found = fit(*sex2(), firth=True)
    assert found.beta == pytest.approx(SEX2_FIRTH, abs=5e-6)  # dia is printed to five decimals
    assert found.loglik == pytest.approx(SEX2_FIRTH_LOGLIK, abs=5.1e-5)


def test_firths_profile_interval_is_the_published_one():
    assert fit(*sex2(), firth=True).interval(6, 0.95) == pytest.approx(SEX2_DIA_PROFILE, abs=1e-4)


def test_a_two_by_two_table_gains_half_a_call_in_each_cell():
    slope = fit(*two_by_two(), firth=True).beta[1]
    assert slope == pytest.approx(TWO_BY_TWO_FIRTH, abs=5.1e-7)
    assert slope == pytest.approx(np.log((4.5 / 16.5) / (0.5 / 20.5)), abs=1e-5)


@pytest.mark.parametrize(("m", "slope"), TWO_BY_TWO_LOG_F.items())
def test_log_f_slopes_of_a_two_by_two_table(m, slope):
    assert fit(*two_by_two(), prior_m=m).beta[1] == pytest.approx(slope, abs=5.1e-7)


def test_log_f_estimates_of_the_published_data():
    assert fit(*sex2(), prior_m=1.0).beta == pytest.approx(SEX2_LOG_F_1, abs=1e-6)


@pytest.mark.parametrize(("m", "limit"), LOG_F_LIMITS.items())
def test_what_a_log_f_prior_believes(m, limit):
    # The odds ratio's prior is F(m, m) (Greenland and Mansournia 2015).
    assert f_distribution.ppf(0.975, m, m) == pytest.approx(limit, rel=0.005)


def test_the_stated_prior_is_the_one_in_use():
    assert f_distribution.ppf(0.975, PRIOR_M, PRIOR_M) == pytest.approx(
        PRIOR_ODDS_RATIO_95, abs=0.005
    )


@pytest.mark.parametrize("m", [1, 2, 5])
def test_a_log_f_prior_is_so_many_made_up_records(m):
    # m/2 calls and m/2 floors without one, at feature 1 and no intercept (the same paper), fitted
    # by statsmodels.
    x, y = record(m)
    extra = np.repeat(np.eye(x.shape[1])[1:], 2, axis=0)
    theirs = sm.GLM(
        np.concatenate([y, np.tile([1.0, 0.0], x.shape[1] - 1)]),
        np.vstack([x, extra]),
        family=sm.families.Binomial(),
        freq_weights=np.concatenate([np.ones(len(y)), np.full(len(extra), m / 2)]),
    ).fit()
    ours = fit(x, y, prior_m=m)
    assert ours.beta == pytest.approx(theirs.params, abs=1e-6)
    assert np.linalg.inv(ours.information) == pytest.approx(theirs.cov_params(), abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_firth_agrees_with_firthmodels(seed):
    models = pytest.importorskip("firthmodels", reason="firthmodels is not installed")
    x, y = record(seed)
    ours = fit(x, y, firth=True)
    theirs = models.FirthLogisticRegression().fit(x[:, 1:], y)
    assert ours.beta[1:] == pytest.approx(theirs.coef_, abs=1e-5)
    assert ours.loglik == pytest.approx(theirs.loglik_, abs=1e-8)
    intervals = theirs.conf_int(alpha=0.1, method="pl")
    for column in (1, 4):
        assert ours.interval(column) == pytest.approx(tuple(intervals[column - 1]), abs=1e-3)
    theirs.lrt()
    assert [ours.p_value(k) for k in range(1, 7)] == pytest.approx(
        list(theirs.lrt_pvalues_[:6]), abs=1e-5
    )


def test_without_penalty_it_is_statsmodels_logit_weights_too():
    x, y = record(9)
    weight = np.random.default_rng(1).uniform(0.2, 1.0, len(y))
    theirs = sm.GLM(y, x, family=sm.families.Binomial(), freq_weights=weight).fit()
    ours = fit(x, y, weight=weight)
    assert ours.beta == pytest.approx(theirs.params, abs=1e-7)
    assert ours.p_value(1) == pytest.approx(likelihood_p(x, y, weight, 1), abs=1e-6)


def likelihood_p(x, y, weight, column):
    from scipy.stats import chi2

    full, less = (
        sm.GLM(y, design, family=sm.families.Binomial(), freq_weights=weight).fit().llf
        for design in (x, np.delete(x, column, axis=1))
    )
    return chi2.sf(2 * (full - less), 1)


def test_a_feature_that_was_always_called_back_stays_finite():
    x = np.column_stack([np.ones(30), np.arange(30) < 5]).astype(float)
    y = x[:, 1].copy()
    y[10] = 1.0
    low, high = fit(x, y).interval(1)
    assert low > 0
    assert high == np.inf
    low, high = fit(x, y, prior_m=8.0).interval(1)
    assert 0 < low < high < 10


def test_the_one_sided_p_value_asks_for_more_calls():
    x, y = record(3)
    found = fit(x, y, prior_m=2.0)
    for column in range(1, 7):
        sided, both = found.p_value_above(column), found.p_value(column)
        assert sided == pytest.approx(both / 2 if found.beta[column] > 0 else 1 - both / 2)


@pytest.mark.parametrize(("x", "y"), [(np.ones((3, 1)), np.ones(4)), (np.ones((5, 2)), np.ones(5))])
def test_what_cannot_be_fitted_is_refused(x, y):
    with pytest.raises(ValueError, match=r"x is|depend on each other"):
        fit(x, y)
