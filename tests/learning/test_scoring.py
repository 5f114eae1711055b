"""Scores against printed values and against another program."""

import numpy as np
import properscoring
import pytest

from pourstats.learning import draws, scoring


def test_pinball_of_a_hand_worked_case():
    # y 10, q 8, tau 0.9: 0.9 x 2 (definition, Koenker and Bassett 1978)
    assert scoring.pinball(10, 8, 0.9) == pytest.approx(1.8)
    assert scoring.pinball(8, 10, 0.9) == pytest.approx(0.2)


def test_crps_of_a_small_ensemble():
    # ensemble 1..5 at 3.5: mean error 1.3, half the mean spread 0.8; by hand 0.5
    assert scoring.crps_ensemble(3.5, [1, 2, 3, 4, 5]) == pytest.approx(0.5)


def test_crps_agrees_with_properscoring():
    rng = np.random.default_rng(3)
    y, ensemble = rng.normal(size=40), rng.normal(size=(40, 31))
    assert scoring.crps_ensemble(y, ensemble) == pytest.approx(
        properscoring.crps_ensemble(y, ensemble), abs=1e-12
    )


def test_crps_of_many_normal_draws_nears_the_closed_form():
    # CRPS of N(0, 1) at 0 is 0.2336949773 and at 1 is 0.6024413576 (closed form, Gneiting 2007)
    z = np.random.default_rng(1).normal(size=400_000)
    assert scoring.crps_ensemble(0.0, z) == pytest.approx(0.2336949773, abs=3e-3)
    assert scoring.crps_ensemble(1.0, z) == pytest.approx(0.6024413576, abs=3e-3)


def test_coverage_without_clusters_is_wilsons_interval():
    # 81 of 263: 0.2553 to 0.3662 (Newcombe 1998, Stat Med 17:857, Table I, Wilson; from memory)
    y = np.concatenate([np.zeros(81), np.ones(182)])
    found = scoring.coverage(y, -0.5, 0.5)
    assert (found.low, found.high) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    # 0 of 20: upper 0.1611 (same table)
    assert scoring.coverage(np.ones(20), -0.5, 0.5).high == pytest.approx(0.1611, abs=5e-5)


def test_outcomes_of_one_season_are_not_independent():
    """Ten seasons of fifty equal pours say no more than ten pours."""
    season = np.repeat(np.arange(10), 50)
    value = np.repeat(np.arange(10.0), 50)
    once = scoring.mean_interval(np.arange(10.0))
    many = scoring.mean_interval(value, season)
    assert (many.low, many.high) == pytest.approx((once.low, once.high))
    alone = scoring.mean_interval(value)
    assert alone.high - alone.low < 0.5 * (many.high - many.low)
    assert many.clusters == 10
    assert many.count == 500


def test_quantiles_agree_with_numpy_and_leave_out_missing_draws():
    values = np.random.default_rng(0).normal(size=(3, 101))
    found = draws.quantiles(values)
    for name, level in draws.LEVELS.items():
        assert found[name] == pytest.approx(np.quantile(values, level, axis=1))
    values[1, 50:] = np.nan
    values[2] = np.nan
    found = draws.quantiles(values)
    assert found["p90"][1] == pytest.approx(np.quantile(values[1, :50], 0.9))
    assert np.isnan(found["p50"][2])


def test_a_stream_repeats_and_differs_by_name():
    one = draws.stream(7, "weather", "A", "2031-06-03").normal(size=4)
    assert one == pytest.approx(draws.stream(7, "weather", "A", "2031-06-03").normal(size=4))
    assert not np.allclose(one, draws.stream(7, "weather", "B", "2031-06-03").normal(size=4))
