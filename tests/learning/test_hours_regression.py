"""The regression and shrinkage that the hours model rests on, against published values."""

import numpy as np
import pytest
from scipy import stats

from pourstats.learning.hours.conjugate import regression
from pourstats.learning.hours.fit import pooled_spread
from tests import published_productivity as published


def flat(x, y):
    """A prior that says nothing leaves least squares."""
    x = np.asarray(x, dtype=float)
    return regression(x, y, np.zeros(x.shape[1]), np.zeros((x.shape[1], x.shape[1])), 0.0, 0.0)


def spread(found, rows, columns):
    return np.sqrt(2.0 * found.scale / (rows - columns))


def test_nist_norris():
    """NIST StRD Norris, certified to 15 digits; 1e-10 is what NIST calls a good score here."""
    data = np.array(published.NORRIS)
    x = np.column_stack([np.ones(len(data)), data[:, 1]])
    found = flat(x, data[:, 0])
    assert found.mean == pytest.approx(published.NORRIS_B, rel=1e-10)
    s = spread(found, *x.shape)
    assert s == pytest.approx(published.NORRIS_S, rel=1e-10)
    error = s * np.sqrt(np.diag(np.linalg.inv(found.precision)))
    assert error == pytest.approx(published.NORRIS_SE, rel=1e-9)


def test_nist_longley():
    """NIST StRD Longley: so collinear that normal equations keep few digits; QR keeps ten."""
    import statsmodels.api as sm

    data = sm.datasets.longley.load_pandas()
    x = np.column_stack([np.ones(16), data.exog.to_numpy(dtype=float)])
    found = flat(x, data.endog.to_numpy(dtype=float))
    assert found.mean == pytest.approx(published.LONGLEY_B, rel=1e-9)
    assert spread(found, *x.shape) == pytest.approx(published.LONGLEY_S, rel=1e-9)


@pytest.mark.parametrize("base", [1.0, 0.1])
def test_nist_wampler(base):
    """NIST StRD Wampler1 and 2: exact polynomials of degree 5; 1e-7 of 16 digits, as the powers
    of 20 cost nine."""
    x = np.vander(np.array(published.WAMPLER_X, dtype=float), 6, increasing=True)
    truth = base ** np.arange(6)
    found = flat(x, x @ truth)
    assert found.mean == pytest.approx(truth, rel=1e-7)


def test_conjugate_regression_closed_form():
    x = np.column_stack([np.ones(6), published.NIG_X])
    found = regression(x, published.NIG_Y, [0.0, 0.0], np.eye(2) / 10.0, 1.0, 1.0)
    assert found.mean == pytest.approx(published.NIG_MEAN, abs=5e-8)
    assert found.shape == published.NIG_SHAPE
    assert found.scale == pytest.approx(published.NIG_SCALE, abs=5e-8)
    centre, scale, freedom = found.predictive([1.0, 7.0])
    at = published.NIG_AT_7
    assert centre[0] == pytest.approx(at["centre"], abs=5e-7)
    assert scale[0] == pytest.approx(at["spread"], abs=5e-7)
    assert freedom == at["freedom"]
    ends = stats.t(freedom, centre[0], scale[0]).interval(0.95)
    assert ends == pytest.approx((at["low"], at["high"]), abs=5e-6)


def test_conjugate_regression_agrees_with_ridge():
    """scikit-learn's Ridge is the same posterior mean for a prior of one weight about zero."""
    from sklearn.linear_model import Ridge

    rng = np.random.default_rng(3)
    x, y = rng.normal(size=(30, 4)), rng.normal(size=30)
    found = regression(x, y, np.zeros(4), np.sqrt(2.5) * np.eye(4), 1.0, 1.0)
    reference = Ridge(alpha=2.5, fit_intercept=False, tol=1e-12).fit(x, y)
    assert found.mean == pytest.approx(reference.coef_, rel=1e-9)


def shrunk(x, worth):
    """Effects of one group about its mean, at the spread that the pool settles on."""
    z = x - x.mean()
    tau = 1.0
    for _ in range(500):
        keep = tau**2 / (1.0 + tau**2)
        tau = pooled_spread(keep * z, np.full(z.size, keep), 1.0, worth)
    return x.mean() + tau**2 / (1.0 + tau**2) * z


def test_pooling_on_the_batters_of_efron_and_morris():
    """Efron and Morris 1975: shrinking cuts the squared error from 17.56 to about 5 (their 5.01).

    Their factor is James and Stein's, ours settles on maximum likelihood when nothing holds it,
    which shrinks a little more; 15 % covers the difference. With the worth of prior that the model
    gives a pool it shrinks less and still halves the error.
    """
    x, theta = np.array(published.EFRON_MORRIS).T
    assert ((x - theta) ** 2).sum() == pytest.approx(published.EFRON_MORRIS_RAW_ERROR, abs=0.05)
    free = ((shrunk(x, 0.0) - theta) ** 2).sum()
    assert free == pytest.approx(published.EFRON_MORRIS_JS_ERROR, rel=0.15)
    held = ((shrunk(x, 4.0) - theta) ** 2).sum()
    assert free < held < published.EFRON_MORRIS_RAW_ERROR / 2.0
