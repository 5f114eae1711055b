"""Par by the baseline method, and the hours that floors usually take."""

import importlib

import numpy as np
import pandas as pd
import pytest

from pourstats.learning.par import (
    baseline,
    baseline_size,
    published_hours,
    size_class,
    usual_hours,
)
from tests.published_week import (
    BASELINE_CUMULATIVE,
    BASELINE_DAYS,
    BASELINE_DISRUPTED_DAYS,
    BASELINE_DISRUPTION_INDEX,
    BASELINE_EXPECTED,
    BASELINE_HOURS,
    BASELINE_HOURS_PER_FT2,
    BASELINE_PERFORMANCE_RATIO,
    BASELINE_SQFT,
    BASELINE_WASTE_INDEX,
)


def test_the_baseline_of_thirty_days():
    par = baseline(BASELINE_SQFT, BASELINE_HOURS)
    assert tuple(place + 1 for place in par.members) == BASELINE_DAYS
    assert par.hours_per_unit == pytest.approx(BASELINE_HOURS_PER_FT2, abs=5e-8)
    assert tuple(np.flatnonzero(par.disrupted) + 1) == BASELINE_DISRUPTED_DAYS
    assert par.disruption_index == pytest.approx(BASELINE_DISRUPTION_INDEX, abs=5e-6)
    assert par.waste_index(BASELINE_EXPECTED) == pytest.approx(BASELINE_WASTE_INDEX, abs=5e-6)
    assert par.performance_ratio(BASELINE_EXPECTED) == pytest.approx(
        BASELINE_PERFORMANCE_RATIO, abs=5e-6
    )
    # A ratio of sums, not the mean of the days' ratios (0.0816273).
    assert par.cumulative == pytest.approx(BASELINE_CUMULATIVE, abs=5e-8)
    # Day 7 lies just under twice par and is not called disrupted.
    assert BASELINE_HOURS[6] / BASELINE_SQFT[6] == pytest.approx(2 * par.hours_per_unit, rel=0.005)


@pytest.mark.parametrize(
    ("count", "size"), [(5, 5), (30, 5), (50, 5), (51, 7), (70, 7), (71, 9), (100, 11)]
)
def test_a_tenth_up_to_an_odd_number_at_least_five(count, size):
    # Thomas and Zavrski 1999, step 2; worked by hand.
    assert baseline_size(count) == size


def test_unknown_days_are_left_out_of_the_baseline_and_keep_their_place():
    output = [np.nan, 0.0, *BASELINE_SQFT]
    hours = [40.0, 40.0, *BASELINE_HOURS]
    par = baseline(output, hours)
    assert tuple(place - 1 for place in par.members) == BASELINE_DAYS
    assert len(par.disrupted) == 32
    assert par.count == 30
    assert baseline([100.0] * 4, [5.0] * 4) is None


def test_size_classes_meet_without_a_gap():
    assert size_class(1) == (0.0, 750.0)
    assert size_class(749.9)[1] == size_class(750.0)[0] == 750.0
    assert size_class(1e6) == (7500.0, None)


def test_published_hours_of_a_floor_worked_by_hand():
    # 1,620 ft2, 4 in, hard trowel, chute: 20 yd3 x 0.32 = 6.4; 1,620 x 0.01 = 16.2;
    # 1,620 x 0.0037 = 5.994; fixed 10.
    hours = published_hours([1620.0], [4.0], ["hard_trowel"], ["chute"])
    assert hours[0] == pytest.approx(38.594)
    unknown = published_hours([1620.0], [4.0], [None], [np.nan])
    assert hours[0] > unknown[0] > published_hours([1620.0], [4.0], ["broom"], ["chute"])[0]


def season(count, seed, fixed=14.0, by_area=0.02, by_yard=0.5, noise=0.15, bad=0.05):
    """A crew whose hours are fixed + by area + by volume, with now and then a bad day."""
    random = np.random.default_rng(seed)
    area = np.exp(random.uniform(np.log(350), np.log(9000), count)).round()
    thickness = random.choice([4.0, 5.0, 6.0], count)
    finish = random.choice(["broom", "trowel", "hard_trowel"], count)
    slower = np.select([finish == "broom", finish == "trowel"], [0.8, 1.0], 1.25)
    true = (fixed + by_area * area) * slower + by_yard * area * thickness / 324.0
    hours = true * np.exp(random.normal(0, noise, count))
    hours *= np.where(random.uniform(size=count) < bad, 1.8, 1.0)
    return pd.DataFrame(
        {
            "date": pd.date_range("2031-04-01", periods=count, freq="2D"),
            "area": area, "thickness": thickness, "finish": finish,
            "placement": random.choice(["chute", "pump"], count),
            "slab_type": np.where(area < 1000, "garage", "shop"),
            "hours_from": "crew_time", "labor_h": hours, "true_h": true,
        }
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
def test_neither_a_small_garage_nor_a_big_shop_is_misjudged_for_its_size(seed):
    """Sixty pours teach the crew's own hours within what sixty noisy days can (15 percent)."""
    model = usual_hours(season(60, seed))
    fresh = season(400, seed + 100)
    ratio = fresh["true_h"] / model.hours(fresh)
    for floors in (fresh["area"] < 600, fresh["area"].between(1500, 3000), fresh["area"] > 6000):
        assert ratio[floors].median() == pytest.approx(1.0, abs=0.15)
    # Hours per square foot, which a plain rate would judge by, differ far more than that.
    rate = fresh["true_h"] / fresh["area"]
    assert rate[fresh["area"] < 600].median() > 1.8 * rate[fresh["area"] > 6000].median()


def test_most_new_floors_fall_in_the_range_that_is_told():
    """Ten seasons of 60, then 40 more: the 10 to 90 percent range holds about 8 in 10."""
    inside = []
    for seed in range(10):
        log = season(100, seed + 20, bad=0.0)
        model = usual_hours(log.iloc[:60])
        low, high = np.quantile(model.draws(log.iloc[60:], 1000), [0.1, 0.9], axis=1)
        spent = log["labor_h"].iloc[60:].to_numpy()
        inside += list((spent >= low) & (spent <= high))
    assert 0.72 < np.mean(inside) < 0.9


@pytest.mark.parametrize("world", ["stages", "ratebook", "powerlaw"])
def test_crews_whose_hours_come_about_otherwise_are_judged_fairly_too(world):
    """Eight seasons of each hours simulator, none of which has the shape assumed here.

    Of the 80 floors ahead about 8 in 10 lie in the range told (standard error 4.5 points, more as
    floors of a season share its crew), and no size class's usual is a quarter off the truth.
    """
    simulator = importlib.import_module(f"tests.simulators.hours_{world}")
    inside, off, area = [], [], []
    for seed in range(8):
        season_ahead = simulator.season(seed + 40, 60, ahead=10, truth=300)
        model = usual_hours(season_ahead.record)
        jobs = season_ahead.jobs.assign(hours_from="crew_time")
        low, high = np.quantile(model.draws(jobs, 500), [0.1, 0.9], axis=1)
        inside += list((season_ahead.labor_h >= low) & (season_ahead.labor_h <= high))
        off += list(season_ahead.oracle[:, 3] / model.hours(jobs))
        area += list(jobs["area"])
    assert 0.66 < np.mean(inside) < 0.95
    off, area = np.array(off), np.array(area)
    for floors in (area < 500, (area >= 500) & (area < 1500), area >= 1500):
        assert 0.8 < np.median(off[floors]) < 1.25


def test_a_bad_day_bends_nothing():
    log = season(40, 7, bad=0.0)
    ruined = log.copy()
    ruined.loc[20, "labor_h"] *= 4.0
    plain, bent = usual_hours(log).hours(log), usual_hours(ruined).hours(log)
    assert np.abs(np.delete(bent / plain, 20) - 1.0).max() < 0.06


def test_few_pours_stay_near_the_published_shape_and_say_less():
    log = season(60, 3)
    none = usual_hours(log.iloc[:0])
    published = published_hours(log["area"], log["thickness"], log["finish"], log["placement"])
    assert none.hours(log) == pytest.approx(published)
    assert none.count == 0

    def width(model):
        low, high = np.quantile(model.draws(log, 800), [0.1, 0.9], axis=1)
        return float(np.median(high / low))

    assert width(none) > width(usual_hours(log.iloc[:3])) > width(usual_hours(log))


def test_left_out_ratios_are_those_of_a_refit_without_the_pour():
    """The short formula against the long way: leave each pour out and learn anew."""
    log = season(30, 11)
    quick = usual_hours(log).left_out_ratios
    slow = [
        log["labor_h"].iloc[i] / usual_hours(log.drop(index=i)).hours(log.iloc[[i]])[0]
        for i in range(len(log))
    ]
    assert quick == pytest.approx(np.array(slow), rel=0.05)


def test_rows_without_size_or_hours_teach_nothing():
    log = season(20, 2)
    gaps = pd.concat([log, log.iloc[:2].assign(area=np.nan), log.iloc[:1].assign(labor_h=np.nan)])
    model = usual_hours(gaps)
    assert model.count == 20
    assert np.isnan(model.left_out_ratios[20:]).all()
    assert np.isnan(model.hours(gaps)[20])
    assert model.hours(log) == pytest.approx(usual_hours(log).hours(log))


def test_missing_columns_do_no_harm():
    log = season(20, 2)[["area", "thickness", "labor_h"]]
    assert usual_hours(log).count == 20
