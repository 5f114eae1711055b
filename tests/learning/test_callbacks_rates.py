"""Rates by group: the counts of the measure, limits of luck, and what a yard costs."""

import numpy as np
import pandas as pd
import pytest

from pourstats.learning.callbacks.ahead import call_cost
from pourstats.learning.callbacks.groups import groupings, thirds
from pourstats.learning.callbacks.rare import (
    ALARM,
    g_limits,
    latest_run,
    run_chance,
    t_limits,
    watch,
)
from pourstats.learning.callbacks.rates import cost_interval, funnel_limits, group_rates, rates
from pourstats.learning.callbacks.record import FRAMES, latest_day, pours_record
from pourstats.store.reading import frames
from tests.published_callbacks import FUNNEL_5_PERCENT, G_MEAN, G_UPPER, T_LOWER, T_UPPER
from tests.simulators.callbacks_crews import Truth, crew

POURS = [
    {"pour_id": "A", "date": "2031-06-03", "site": "Oak", "slab_type": "shop", "area": "600",
     "thickness": "4", "ordered_volume": "10", "finish": "trowel", "lead": "al", "cure": "none"},
    {"pour_id": "B", "date": "2031-06-04", "site": "Oak", "slab_type": "shop", "area": "600",
     "thickness": "4", "ordered_volume": "30", "finish": "trowel", "lead": "bo", "cure": "wet"},
    {"pour_id": "C", "date": "2031-07-01", "site": "Oak", "slab_type": "patio", "area": "600",
     "thickness": "4", "ordered_volume": "10", "finish": "broom", "lead": "bo", "cure": ""},
    {"pour_id": "D", "date": "2032-05-01", "site": "Oak", "slab_type": "patio", "area": "600",
     "thickness": "4", "ordered_volume": "10", "finish": "broom", "lead": "al", "cure": "none"},
]  # fmt: skip
CALLS = [
    {"callback_id": "1", "pour_id": "A", "reported": "2031-08-01", "defect": "dusting",
     "fault": "ours", "hours": "4", "cost": "100"},
    {"callback_id": "2", "pour_id": "A", "reported": "2031-09-01", "defect": "crazing",
     "fault": "mix", "hours": "2", "cost": "60"},
    {"callback_id": "3", "pour_id": "D", "reported": "2032-06-05", "defect": "dusting",
     "fault": "ours", "hours": "1", "cost": ""},
]  # fmt: skip
CREW = [{"worker": "al", "since": "", "pay": "20"}, {"worker": "bo", "since": "", "pay": "30"}]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Four pours by hand, through the store."""
    from pourstats.store.database import Store
    from pourstats.store.loading import load

    folder = tmp_path_factory.mktemp("log")
    for name, rows in (("pours", POURS), ("callbacks", CALLS), ("crew", CREW)):
        pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    store = Store(folder / "store.duckdb")
    load(store, [folder])
    with store.read() as connection:
        return frames(connection, *FRAMES)


def test_the_record_of_four_pours(small):
    pours = pours_record(small, {}).set_index("pour_id")
    assert latest_day(small) == pd.Timestamp("2032-06-05")
    assert pours["old_enough"].to_dict() == {"A": True, "B": True, "C": False, "D": False}
    assert pours["callbacks"].to_dict() == {"A": 2, "B": 0, "C": 0, "D": 1}
    assert pours.loc["A", "first_call_days"] == 59  # 3 June to 1 August
    # mean pay 25, burden 0.35 until set
    assert pours.loc["A", "labor_usd"] == pytest.approx(6 * 25 * 1.35)
    assert pours.loc["D", "without_cost"] == 1


def test_rates_of_four_pours(small):
    pours = pours_record(small, {"default_pay": 20.0})
    whole = rates(pours)
    assert (whole["pours"], whole["pours_called_back"], whole["callbacks"]) == (2, 1, 2)
    assert whole["all_in_cost_per_yd3"] == pytest.approx((160 + 6 * 20 * 1.35) / 40)
    assert whole["callbacks_per_1000yd3"] == pytest.approx(50)
    # exact Poisson limits of 2 at 90 % are 0.3554 and 6.2958 (chi-square tables)
    assert whole["callbacks_per_1000yd3_p05"] == pytest.approx(0.3554 * 25, abs=2e-3)
    assert whole["callbacks_per_1000yd3_p95"] == pytest.approx(6.2958 * 25, abs=2e-3)
    assert (whole["young_pours"], whole["young_callbacks"]) == (2, 1)


SHARED = ("pours", "pours_called_back", "callbacks", "rate", "rate_p05", "rate_p95", "placed_yd3",
          "callbacks_per_1000yd3", "callbacks_without_hours", "callbacks_without_cost",
          "hours_per_yd3", "cost_per_yd3", "all_in_cost_per_yd3", "young_pours",
          "young_callbacks")  # fmt: skip


def test_rates_are_those_of_the_measure(small):
    counted = small["callback_rates"].set_index(["by", "group"])
    pours = pours_record(small, {})
    made = groupings(small, pours, 90.0)
    seen = 0
    for by in counted.index.unique("by"):
        for row in group_rates(pours, made[by]):
            for name in SHARED:
                theirs = counted.loc[(by, row["group"]), name]
                if pd.isna(theirs):
                    assert row[name] in (None, 0.0)
                else:
                    assert row[name] == pytest.approx(float(theirs), rel=1e-9)
                seen += 1
    assert seen == len(counted) * len(SHARED)


def test_the_sums_of_every_grouping_balance():
    one = crew(np.random.default_rng(7), 200, Truth(0.15), logged=0.7)
    pours = pours_record(one.frames, {})
    whole = rates(pours)
    for groups in groupings(one.frames, pours, 90.0).values():
        rows = group_rates(pours, groups)
        for name in ("pours", "pours_called_back", "callbacks", "young_pours", "young_callbacks"):
            assert sum(row[name] for row in rows) == whole[name]


def test_thirds_are_of_what_is_known():
    found = thirds(np.array([1.0, 2, 3, 4, 5, 6, np.nan]))
    assert list(found[:6]) == ["early third"] * 2 + ["middle third"] * 2 + ["late third"] * 2
    assert pd.isna(found[6])


@pytest.mark.parametrize(("case", "limits"), FUNNEL_5_PERCENT.items())
def test_limits_of_luck_are_the_worked_out_ones(case, limits):
    assert funnel_limits(0.05, *case) == pytest.approx(limits, abs=5.1e-6)


def test_impossible_limits_are_refused():
    with pytest.raises(ValueError, match="no limits"):
        funnel_limits(0.0, 10, 0.95)


def test_the_cost_of_a_yard_is_held_by_its_interval():
    # Costs and calls as the simulator makes them: 15 % of floors, 300 of them.
    rng = np.random.default_rng(8)
    house = {"default_pay": 30.0}
    true = cost_of_a_yard(rng, house)
    held = 0
    for _ in range(60):
        found = cost_interval(pours_record(crew(rng, 300, Truth(0.15), young=False).frames, house))
        held += found["p05"] <= true <= found["p95"]
    assert 46 <= held <= 60  # 90 % of 60, three spreads either way


COSTS = {  # mean 1 each; as even as can be, as spread as their mean, and with a long tail
    "all alike": lambda rng, count: np.ones(count),
    "gamma, shape a half": lambda rng, count: rng.gamma(0.5, 2.0, count),
    "lognormal, sigma 1": lambda rng, count: rng.lognormal(-0.5, 1.0, count),
}


@pytest.mark.parametrize("made", COSTS.values(), ids=list(COSTS))
@pytest.mark.parametrize("calls", [2, 3, 5, 10])
def test_the_cost_of_a_yard_is_held_with_few_calls(calls, made):
    # A compound Poisson sum has the mean rate times mean cost (Wald's identity), here `calls`.
    rng = np.random.default_rng(16)
    held, tried = 0, 300
    for _ in range(tried):
        count = 0
        while not count:  # a log without a call has no interval
            count = rng.poisson(calls)
        found = cost_interval(called_back(made(rng, count), yards=1.0))
        held += found["p05"] <= calls <= found["p95"]
    # 90 % less three spreads of 300 tries; the hardest case runs at about 90 %
    assert held / tried >= 0.848


def test_the_cost_of_a_yard_is_never_surer_than_the_count_of_calls():
    # Exact Poisson limits of 2 at 90 %: 0.3554 and 6.2958 (chi-square tables).
    for costs in ([400.0, 400.0], [100.0, 900.0]):
        found = cost_interval(called_back(np.array(costs), yards=100.0))
        assert found["p05"] < found["mean"] * 0.3554 / 2
        assert found["p95"] > found["mean"] * 6.2958 / 2
    assert cost_interval(called_back(np.zeros(2), yards=100.0)) is None


def test_what_a_call_costs_on_a_job_ahead_is_as_unsure_as_few_calls_leave_it():
    two = call_cost(called_back(np.array([300.0, 500.0]), yards=100.0))
    low, high = np.quantile(two.draws, [0.05, 0.95])
    assert (two.mean, two.floors) == (400.0, 2)
    # t of two costs of equal spread alone, 6.31 at 90 % (Student's tables), would say 400 +- 631.
    assert low < 150.0 and high > 1031.0
    many = call_cost(called_back(np.full(200, 400.0), yards=100.0))
    assert np.quantile(many.draws, 0.95) < 1.05 * 400.0
    none = call_cost(called_back(np.zeros(3), yards=100.0))
    assert none.mean == 0.0 and not none.draws.any()


def called_back(costs, yards):
    """Floors old enough, each called back at one of ``costs``."""
    count = len(costs)
    return pd.DataFrame(
        {"old_enough": True, "called_back": True, "callbacks": 1, "placed_yd3": yards / count,
         "hours": 0.0, "labor_usd": 0.0, "cost_usd": costs, "without_hours": 0, "without_cost": 0,
         "without_either": 0, "unpriced": 0}, index=range(count))  # fmt: skip


def cost_of_a_yard(rng, house):
    many = pours_record(crew(rng, 40_000, Truth(0.15), young=False).frames, house)
    return rates(many)["all_in_cost_per_yd3"]


def test_g_chart_limit_is_the_printed_one():
    found = g_limits([G_MEAN, G_MEAN])
    assert found["upper"] == pytest.approx(G_UPPER, abs=5.1e-3)
    assert found["median"] == pytest.approx(0.693 * G_MEAN)


def test_t_chart_limits_are_the_printed_ones():
    found = t_limits([10.0, 20.0, 30.0])
    assert found["upper"] == pytest.approx(20 * T_UPPER)
    assert found["lower"] == pytest.approx(20 * T_LOWER)
    # They leave 0.135 % on either side of an exponential time.
    assert np.exp(-found["upper"] / 20) == pytest.approx(0.00135, abs=1e-6)
    assert 1 - np.exp(-found["lower"] / 20) == pytest.approx(0.00135, abs=1e-6)


def test_a_run_and_its_usual_are_counted_alike():
    # Every twentieth floor comes back: five of them are a hundred floors, now as before.
    pours = steady(np.random.default_rng(0), 400, 0.0)
    back = np.arange(len(pours)) % 20 == 19
    pours["called_back"] = back
    pours["first_call_days"] = np.where(back, 30.0, np.nan)
    run = watch(pours)["bad_run"]
    assert (run["floors"], run["usual_floors"], run["told"]) == (100, 100.0, False)


def test_a_steady_crew_is_seldom_told_of_a_bad_run():
    rng = np.random.default_rng(9)
    chances = []
    for _ in range(600):
        pours = steady(rng, 300, 0.10)
        # Looked at the day a call comes in: good floors since then only make a run less likely.
        charts = watch(pours.iloc[: np.flatnonzero(pours["called_back"])[-1] + 1])
        if charts and charts["bad_run"]:
            chances.append(charts["bad_run"]["chance"])
    told = np.mean(np.array(chances) <= ALARM)
    assert len(chances) > 500
    assert told <= 0.02  # one look at runs of all lengths, each held to 0.1 %
    # Fair at the rest, too: near enough uniform.
    assert np.mean(np.array(chances) <= 0.25) == pytest.approx(0.25, abs=0.06)


def test_a_crew_gone_bad_is_told_soon():
    rng = np.random.default_rng(10)
    told = 0
    for _ in range(100):
        good, bad = steady(rng, 300, 0.06), steady(rng, 12, 0.7)
        told += bool(watch(pd.concat([good, bad], ignore_index=True))["bad_run"]["told"])
    assert told >= 75


def test_a_run_on_young_floors_is_told_before_they_are_old():
    rng = np.random.default_rng(11)
    seen = 0
    for _ in range(40):
        good, bad = steady(rng, 300, 0.06), steady(rng, 20, 0.0)
        pours = pd.concat([good, bad], ignore_index=True)
        late = np.arange(len(pours)) >= 300
        pours["date"] = pours["date"].iloc[0] + pd.to_timedelta(np.arange(len(pours)), unit="D")
        # Calls come on day 30; of the last twenty, 90 to 40 days old, half have come.
        pours.loc[late, "age_days"] = np.linspace(90, 40, 20)
        pours["old_enough"] = ~late
        back = late & (np.arange(len(pours)) % 2 == 0)
        pours.loc[back, ["called_back", "first_call_days"]] = [True, 30.0]
        charts = watch(pours)
        seen += charts["bad_run"]["told"] and charts["g"]["in_part"] == 10
    assert seen >= 30


def test_a_young_floor_counts_in_part_between_two_calls():
    # Six calls on day 100 or 200 of 365: at 150 days about half of a floor's calls have come.
    pours = steady(np.random.default_rng(0), 13, 0.0)
    back = np.arange(13) % 2 == 0
    pours["called_back"] = back
    pours["first_call_days"] = np.where(
        back, np.where(np.arange(13) % 4 == 0, 100.0, 200.0), np.nan
    )
    old = watch(pours)
    assert old["g"]["gaps"] == [1.0] * 6
    assert (old["g"]["in_part"], old["g"]["since"]) == (0, 0.0)
    pours.loc[11, ["age_days", "old_enough"]] = [150.0, False]
    young = watch(pours)
    assert young["g"]["gaps"][:5] == [1.0] * 5
    assert young["g"]["gaps"][5] == pytest.approx(4 / 7, abs=0.08)
    assert young["g"]["in_part"] == 1


def test_good_floors_since_make_a_run_less_likely():
    gaps = [20.0] * 12 + [2.0] * 6
    assert latest_run(gaps)["told"]
    chances = [latest_run(gaps, since)["chance"] for since in (0.0, 10.0, 30.0)]
    assert chances == sorted(chances)
    assert not latest_run(gaps, 200.0)["told"]
    assert latest_run(gaps[:9]) is None


def test_a_run_is_told_exactly_under_its_limit():
    gaps = [20.0] * 12
    limit = latest_run([*gaps, *[2.0] * 5])["told_under"]
    for apart, told in ((limit - 0.01, True), (limit + 0.01, False)):
        chance = run_chance(5 * (apart + 0.5), 5, 12 * 20.5, 12)
        assert (chance <= ALARM) is told


def steady(rng, pours, rate):
    date = pd.Timestamp("2030-01-01") + pd.to_timedelta(np.arange(pours), unit="D")
    back = rng.random(pours) < rate
    return pd.DataFrame(
        {"pour_id": [f"p{k}" for k in range(pours)], "date": date, "old_enough": True,
         "called_back": back, "first_call_days": np.where(back, 30.0, np.nan),
         "age_days": 1000.0, "counts_at_days": 365.0, "outdoors": True}
    )  # fmt: skip


def test_few_earlier_gaps_alarm_slowly():
    assert run_chance(10.0, 5, 100.0, 5) > run_chance(10.0, 5, 1000.0, 50)
