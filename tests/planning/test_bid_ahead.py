"""Bids: what a forecast says of drying, a week of jobs together, what-ifs and blanks."""

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.planning.bid import CALLBACK_FRAMES, bid
from pourstats.planning.bid_air import early_evaporation_lb_ft2_h, with_air
from pourstats.planning.bid_week import week_overtime_h
from pourstats.reporting.bid import bid_text
from pourstats.reporting.score import score_text
from tests.planning.test_bid import HOUSE, job, record


def forecast(air=80.0, humidity=50.0, wind=10.0):
    hours = pd.date_range("2031-06-03 05:00", periods=8, freq="2h")
    return pd.DataFrame(
        {"site": "Mill", "time": hours, "air_temp": air, "humidity": humidity, "wind": wind}
    )


# Drying.


def test_drying_of_the_early_hours_by_hand():
    """Uno (1998), ACI Materials Journal 95(4): concrete and air 80 F, half moist, wind 10 mph at
    10 m, which a log profile with roughness 0.03 m brings to 4.84 mph at half a metre.

    (80^2.5 - 0.5 x 80^2.5)(1 + 0.4 x 4.84) x 1e-6 = 0.0840 lb/ft2/h.
    """
    weather = forecast()
    jobs, _ = with_air(
        pd.concat([job(concrete_temp=80.0), job(concrete_temp=80.0, exposure="indoors"),
                   job(concrete_temp=80.0, site="Elsewhere")], ignore_index=True),
        weather,
    )  # fmt: skip
    found = early_evaporation_lb_ft2_h(jobs, weather, None, HOUSE)
    assert found[0] == pytest.approx(0.0840, abs=0.0002)
    assert np.isnan(found[1:]).all()  # not told indoors, nor where nothing is forecast
    assert early_evaporation_lb_ft2_h(jobs, None, None, HOUSE) is None


def test_the_forecast_s_drying_reaches_the_callbacks_line(monkeypatch):
    seen = []

    def told(jobs, frames, house, evaporation=None):
        seen.append(evaporation)
        cost = {"mean": 10.0 if evaporation is None else 10.0 + 1000.0 * evaporation[0]}
        return [
            {"chance": 0.2, "p05": 0.1, "p95": 0.3, "cost_usd": cost,
             "each_usd": {"mean": 50.0, "p05": 20.0, "p95": 90.0},
             "based_on": {"pours": 30, "called_back": 6, "calls_priced": 5}}
        ]  # fmt: skip

    monkeypatch.setattr("pourstats.planning.bid.job_callbacks", told)
    frames = {**{name: pd.DataFrame() for name in CALLBACK_FRAMES}, **record()}
    calm = bid(job(concrete_temp=80.0), frames, HOUSE, forecast=forecast(wind=0.0))["jobs"][0]
    windy = bid(job(concrete_temp=80.0), frames, HOUSE, forecast=forecast())["jobs"][0]
    bid(job(), frames, HOUSE)
    usd = [
        next(line["usd"] for line in entry["lines"] if line["line"] == "callbacks")
        for entry in (calm, windy)
    ]
    assert seen[2] is None
    assert usd[1] == pytest.approx(10.0 + 84.0, abs=0.3)
    assert usd[0] < usd[1]


def test_a_what_if_of_the_start_asks_the_forecast_again():
    """Cold until ten, warm after: the later start meets other air."""
    weather = forecast()
    weather["air_temp"] = [25.0, 25.0, 25.0, 80.0, 80.0, 80.0, 80.0, 80.0]
    answer = bid(job(), None, HOUSE, forecast=weather, sets={"place_start": "2031-06-03 13:00"})
    assert answer["jobs"][0]["what_if"]["more_labor_h"]["p50"] < -0.1


# A week together.


def test_week_overtime_by_hand():
    """Four people, 200 person-hours, 16 of them overtime of their day: 184 / 4 = 46 h each, six
    beyond 40, 24 in all. An hour is overtime once (29 USC 207(e)(5), (h)(2)).
    """
    found = week_overtime_h(np.array([200.0, 150.0]), np.array([16.0, 0.0]), 4.0, 40.0)
    assert list(found) == [24.0, 0.0]


def week_of(days, **columns):
    start = pd.Timestamp("2031-06-02")  # a Monday
    table = [job(pour_id=f"W{k}", date=start + pd.Timedelta(days=k), **columns) for k in days]
    return pd.concat(table, ignore_index=True)


def test_a_week_of_jobs_tells_what_it_adds_to_overtime():
    big = {"area": 1150.0, "hands": 3.0, "travel": 30.0}
    answer = bid(week_of(range(6), **big), record(), HOUSE)
    (week,) = answer["together"]["weeks"]
    assert (week["week"], week["jobs"], week["people"]) == ("2031-06-02", 6, 3)
    hours = sum(e["mean_labor_h"] for e in answer["jobs"]) + 6 * 3.0  # an hour of road each
    daily = sum(
        line["hours"] for e in answer["jobs"] for line in e["lines"] if line["line"] == "overtime"
    )
    # Hardly a draw stays under 40 h a person, so the mean of the excess is the excess of the mean.
    assert week["overtime_h"] == pytest.approx(hours - daily - 3 * 40.0, rel=0.05)
    usd = week["overtime_h"] * answer["jobs"][0]["labor_cost_usd_h"] * 0.5
    assert week["usd"] == pytest.approx(usd, rel=0.01)
    assert week["price_usd"] == pytest.approx(week["usd"] * 1.15 / 0.9, abs=0.02)
    assert "go past 40 h a person" in " ".join(bid_text(answer).split())
    # The same jobs a week apart add nothing to one another.
    apart = bid(week_of(range(0, 42, 7), **big), record(), HOUSE)
    assert apart["together"]["weeks"] == []


def test_one_job_says_that_the_week_may_add_overtime():
    text = " ".join(bid_text(bid(job(area=1150.0, hands=3.0), record(), HOUSE)).split())
    assert "bid a week's jobs together" in text


# What-ifs and blanks.


def test_a_wrong_choice_lists_the_choices():
    with pytest.raises(Refusal, match="It takes chute, wheelbarrow, buggy, pump, conveyor"):
        bid(job(), None, HOUSE, sets={"placement": "crane"})


@pytest.mark.parametrize("usd", ["nan", "inf", "-5", "many"])
def test_dollars_that_are_none(usd):
    with pytest.raises(Refusal, match="not a number of dollars"):
        bid(job(), None, HOUSE, sets={"concrete_usd": usd})


def test_what_is_set_twice_or_out_of_place_is_refused(run, tmp_path):
    (tmp_path / "jobs.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness\nJ1,2031-06-03,Oak,garage,600,4\n"
    )
    twice = run("bid", "jobs.csv", "--set", "hands=4", "--set", "Hands=6")
    assert (twice.status, "--set hands is given twice" in twice.err) == (2, True)
    assert "What if slab type patio" in run("bid", "jobs.csv", "--set", "Slab-Type=patio").out
    out = run("bid", "jobs.csv", "--out", "card.csv")
    assert (out.status, "add --rates" in out.err) == (2, True)
    both = run("bid", "jobs.csv", "--rates")
    assert (both.status, "leave jobs and the rest out" in both.err) == (2, True)


def test_a_what_if_outside_the_record_says_so():
    answer = bid(job(), record(), HOUSE, sets={"placement": "conveyor", "finish": ""})
    text = " ".join(bid_text(answer).split())
    assert "What if placement conveyor, finish left blank" in text
    assert "Outside what you have done: placement conveyor, never logged." in text


def test_nobody_is_not_a_number_of_hands():
    """A zero in a jobs file is not known yet, as a blank is."""
    none, blank = (
        bid(job(hands=hands, finish_hands=hands), record(), HOUSE)["jobs"][0]
        for hands in (0.0, np.nan)
    )
    assert none == blank
    assert none["outside"] == []


def test_the_parts_add_up_to_the_mean():
    entry = bid(job(saw_type="early_entry", saw_length=90.0), record(), HOUSE)["jobs"][0]
    assert sum(entry["parts_h"].values()) == pytest.approx(entry["mean_labor_h"], abs=0.03)


def test_a_contingency_below_the_average_says_so():
    text = bid_text(bid(job(), record(), HOUSE, 0.3))
    assert "from the average down to three such jobs in ten" in text
    assert "from the average up to seven" in bid_text(bid(job(), record(), HOUSE))


def test_pours_still_awaited_are_counted():
    told = {"targets": {}, "waiting": [f"J{k}" for k in range(11)]}
    plans = {"pours": [], "days": [], "moved": [], "summary": {}}
    found = {"forecasts": told, "plans": plans, "hours": None, "hours_missing": "none"}
    assert "J7 and 3 more." in score_text(found)


def test_long_kinds_keep_their_distance():
    frames = record()
    frames["pours"] = frames["pours"].assign(finish="hard_trowel", placement="wheelbarrow")
    text = bid_text(bid(job(), frames, HOUSE))
    assert "hard trowel wheelbarrow " in text
    assert "1 hand is fewer than on any pour (4)" in " ".join(
        bid_text(bid(job(hands=1.0), frames, HOUSE)).split()
    )
