"""How often the intervals of few calls hold the truth, against the printed coverage; rare-event
limits against scipy's distributions."""

import numpy as np
import pytest
from scipy import stats

from pourstats.learning.callbacks.rare import g_limits, run_chance, t_limits
from pourstats.learning.intervals import exact_count_interval, exact_share_interval, score_interval
from tests.published_callbacks import (
    BROWN_CAI_DASGUPTA_SCORE_WORST,
    BROWN_CAI_DASGUPTA_WALD,
    G_CHARTS,
    T_LOWER,
    T_UPPER,
)


def coverage(interval, trials, share):
    """The binomial chance of the counts whose interval holds the share."""
    counts = np.arange(trials + 1)
    ends = np.array([interval(int(count), trials) for count in counts])
    held = (ends[:, 0] <= share) & (share <= ends[:, 1])
    return float(stats.binom.pmf(counts, trials, share)[held].sum())


def textbook(count, trials):
    """Share and 1.96 standard errors: the interval that the paper warns of."""
    share = count / trials
    reach = stats.norm.ppf(0.975) * np.sqrt(share * (1.0 - share) / trials)
    return share - reach, share + reach


@pytest.mark.parametrize(("case", "printed"), BROWN_CAI_DASGUPTA_WALD.items())
def test_coverage_is_counted_as_the_paper_counts_it(case, printed):
    assert coverage(textbook, *case) == pytest.approx(printed, abs=5.1e-4)


@pytest.mark.parametrize("case", BROWN_CAI_DASGUPTA_WALD)
def test_ours_hold_where_the_textbook_one_fails(case):
    # The paper recommends the score interval, whose coverage lies near 95 %; the exact one is
    # never below it.
    assert coverage(score_interval, *case) == pytest.approx(0.95, abs=0.02)
    assert coverage(exact_share_interval, *case) >= 0.95


def test_the_score_interval_is_worst_where_the_paper_says():
    mean, printed = BROWN_CAI_DASGUPTA_SCORE_WORST
    # Many trials, so that the limit for rare events is near.
    below = coverage(score_interval, 4000, 0.999 * mean / 4000)
    above = coverage(score_interval, 4000, 1.002 * mean / 4000)
    assert below == pytest.approx(printed, abs=2e-3)
    assert above > 0.98


def test_the_exact_limits_of_a_count_are_never_short():
    for mean in np.linspace(0.05, 12.0, 60):
        counts = np.arange(80)
        ends = np.array([exact_count_interval(int(count), 0.9) for count in counts])
        held = (ends[:, 0] <= mean) & (mean <= ends[:, 1])
        assert stats.poisson.pmf(counts, mean)[held].sum() >= 0.9 - 1e-9


@pytest.mark.parametrize(("mean", "upper"), G_CHARTS.items())
def test_g_chart_limits_are_the_worked_out_ones(mean, upper):
    assert g_limits([mean - 1.0, mean + 1.0])["upper"] == pytest.approx(upper, abs=5.1e-3)


def test_g_chart_limits_are_three_spreads_of_the_geometric_distribution():
    for mean in (1.5, 8.0, 20.0):
        # scipy counts the pour called back too: its mean is one more, its spread the same.
        spread = stats.geom.std(1.0 / (mean + 1.0))
        assert g_limits([mean])["upper"] == pytest.approx(mean + 3.0 * spread)


def test_t_chart_limits_are_the_printed_quantiles():
    # Three-sigma tails, 0.135 % on either side; the factors are printed to five digits.
    assert stats.expon.ppf(1 - 0.00135) == pytest.approx(T_UPPER, abs=5.1e-5)
    assert stats.expon.ppf(0.00135) == pytest.approx(T_LOWER, abs=5.1e-6)
    found = t_limits([12.0, 18.0])
    assert (found["lower"], found["upper"]) == pytest.approx((15 * T_LOWER, 15 * T_UPPER))
    assert found["median"] == pytest.approx(stats.expon.median(scale=15.0), rel=5e-4)


def test_a_run_is_judged_by_the_ratio_of_exponential_means():
    # The sum of five exponential gaps over the sum of twenty is a ratio of gammas.
    rng = np.random.default_rng(12)
    latest, earlier = rng.gamma(5.0, 1.0, 200_000), rng.gamma(20.0, 1.0, 200_000)
    chance = run_chance(2.0, 5, 20.0, 20)
    seen = np.mean(latest / earlier <= 0.1)
    assert chance == pytest.approx(seen, abs=4.0 * np.sqrt(seen / 200_000))
