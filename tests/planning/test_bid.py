"""The bid: contract's shape, price arithmetic, lines, what-ifs, and what it says of its doubt."""

import json

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.learning.draws import LEVELS
from pourstats.planning.bid import CALLBACK_FRAMES, bid, cost_draws
from pourstats.planning.bid_lines import overtime_h
from pourstats.planning.bid_price import (
    hour_cost,
    margin_of_markup,
    markup_of_margin,
    price_of,
)
from pourstats.reporting.bid import bid_text
from tests import published_productivity as published

HOUSE: dict[str, object] = {"burden": 0.35, "default_pay": 30.0}


def job(**columns):
    table = {
        "pour_id": "J1", "date": pd.Timestamp("2031-06-03"), "site": "Mill", "slab_type": "garage",
        "area": 600.0, "thickness": 4.0, "placement": "chute", "finish": "trowel", "hands": 4.0,
        "finish_hands": 2.0, "travel": 20.0,
    }  # fmt: skip
    return pd.DataFrame([{**table, **columns}])


def record(count=30, seed=0, **extra):
    """Frames as the store reads them: plain garages of one rule."""
    rng = np.random.default_rng(seed)
    area = rng.uniform(400, 1200, count)
    date = pd.Timestamp("2031-03-01") + pd.to_timedelta(np.arange(count) * 2, unit="D")
    hours = (5.0 + area / 60.0) * np.exp(rng.normal(0, 0.1, count))
    ids = [f"P{k}" for k in range(count)]
    pours = pd.DataFrame(
        {"pour_id": ids, "date": date, "site": "Mill", "slab_type": "garage", "area": area,
         "thickness": 4.0, "placement": "chute", "finish": "trowel", "hands": 4.0,
         "finish_hands": 2.0, "saw_start": pd.NaT, "saw_end": pd.NaT, "crew_out": pd.NaT}
    )  # fmt: skip
    output = pd.DataFrame(
        {"pour_id": ids, "date": date, "slab_type": "garage", "labor_h": hours,
         "crew_h": hours / 3.0, "travel_h": 2.0, "return_h": 0.0, "paid_h": hours + 2.0,
         "placed_yd3": area * 4 / 324, "hours_from": "crew_time", "labor_cost_usd": hours * 41.0,
         "cost_from": "crew"}
    )  # fmt: skip
    return {"pours": pours, "pour_output": output, **extra}


def bids(frames, factor=0.8, **columns):
    pours = frames["pour_output"]
    table = pd.DataFrame(
        {"pour_id": pours["pour_id"], "bid_date": pours["date"] - pd.Timedelta(days=10),
         "bid_hours": pours["labor_h"] * factor, "labor_rate": 60.0, "bid_price": np.nan,
         "scope": None, "won": "yes", "billed": 2000.0}
    )  # fmt: skip
    return table.assign(**columns)


# Price arithmetic.


def test_markup_and_margin():
    """A markup of 25 % is a margin of 20 % (published_productivity, CALC)."""
    for markup, margin in published.MARKUP_MARGIN:
        assert margin_of_markup(markup) == pytest.approx(margin)
        assert markup_of_margin(margin) == pytest.approx(markup)


@pytest.mark.parametrize("cv", sorted(published.LOGNORMAL))
def test_contingency_of_a_lognormal_cost(cv):
    """P80 and mean over P50 in closed form; 400,000 draws give them to three parts in a thousand."""
    sigma = np.sqrt(np.log(1 + cv**2))
    cost = 1000.0 * np.exp(sigma * np.random.default_rng(1).standard_normal(400_000))
    price = price_of(cost, 0.8, {"overhead": 0.0, "margin": 0.0})
    top, mean = published.LOGNORMAL[cv]
    assert (price.mean_cost + price.contingency) / 1000.0 == pytest.approx(top, rel=3e-3)
    assert price.mean_cost / 1000.0 == pytest.approx(mean, rel=3e-3)
    assert price.price == pytest.approx(price.mean_cost + price.contingency)


def test_price_by_hand():
    """Cost 100 certain, overhead 15 %, margin 20 %: (100 + 15) / 0.8 = 143.75."""
    price = price_of(np.full(10, 100.0), 0.7, {"overhead": 0.15, "margin": 0.20})
    assert price.price == pytest.approx(143.75)
    assert price.margin == pytest.approx(28.75)
    assert price.margin_share == pytest.approx(0.20)
    raised = price_of(
        np.full(10, 100.0), 0.7, {"overhead": 0.15, "margin": 0.20, "minimum_job": 230.0}
    )
    assert (raised.price, raised.raised_to_minimum) == (230.0, True)
    assert raised.margin_share == pytest.approx(0.5)


def test_unit_labor_cost_of_gillette_and_hill():
    """The book's own arithmetic (1908): 40 men, 10 h, 20 cents, 167 yards make 48 cents a yard."""
    for _, men, hours, yards, rate, cents in published.GILLETTE_HILL:
        cost = cost_draws(np.array([men * hours * 1.0]), rate, [])
        assert round(cost[0] / yards * 100.0) == cents


# What an hour costs.


def test_hour_cost_in_order():
    frames = record()
    assert hour_cost(frames, {**HOUSE, "labor_cost": 55.0}).source == "labor_cost"
    own = hour_cost(frames, HOUSE)
    assert (own.source, own.usd_h) == ("pours", pytest.approx(41.0))
    crew = pd.DataFrame(
        {"worker": ["A", "A", "B"], "since": [None, "2031-05-01", None], "pay": [20.0, 30.0, 40.0]}
    )
    before = hour_cost({"crew": crew}, HOUSE, pd.Timestamp("2031-04-01"))
    after = hour_cost({"crew": crew}, HOUSE, pd.Timestamp("2031-06-01"))
    assert before.usd_h == pytest.approx(30.0 * 1.35)
    assert after.usd_h == pytest.approx(35.0 * 1.35)
    assert hour_cost({}, HOUSE).usd_h == pytest.approx(40.5)
    assert hour_cost({}, {**HOUSE, "productive_share": 0.9}).usd_h == pytest.approx(45.0)
    assert hour_cost({"bids": bids(frames)}, {}).source == "bids"
    assert hour_cost({}, {}).usd_h is None


# The contract's shape.


def test_shape_and_identity():
    answer = bid(job(saw_type="early_entry", saw_length=100.0), record(), HOUSE)
    entry = answer["jobs"][0]
    for name in ("labor_h", "crew_h", "cost_usd"):
        values = list(entry[name].values())
        assert list(entry[name]) == list(LEVELS)
        assert values == sorted(values)
    lines = entry["price_lines"]
    steps = lines["mean_cost_usd"] + lines["contingency_usd"] + lines["overhead_usd"]
    assert entry["price_usd"] == pytest.approx(steps / (1 - 0.10), abs=0.03)
    beside = sum(line["usd"] for line in entry["lines"])
    assert lines["mean_cost_usd"] == pytest.approx(lines["labor_usd"] + beside, abs=0.05)
    assert entry["based_on"]["pours"] == 30
    assert len(entry["based_on"]["similar"]) == 5
    assert entry["labor_h"]["p50"] < entry["bid_hours"] < entry["labor_h"]["p75"]
    json.dumps(answer, allow_nan=False)


def test_bid_hours_are_the_quantile_of_the_confidence():
    for level, name in ((0.25, "p25"), (0.5, "p50"), (0.9, "p90")):
        entry = bid(job(), record(), HOUSE, level)["jobs"][0]
        assert entry["bid_hours"] == pytest.approx(entry["labor_h"][name], abs=1e-3)


def test_confidence_moves_the_price_by_the_step_in_cost():
    low, high = (bid(job(), record(), HOUSE, level)["jobs"][0] for level in (0.5, 0.9))
    step = high["cost_usd"]["p90"] - low["cost_usd"]["p50"]
    assert high["price_usd"] - low["price_usd"] == pytest.approx(step / 0.9, abs=0.1)


def test_overtime_by_hand():
    """Four hands, two of whom finish: 10 h on the clock, 32 h of labor, 20 min of road each way.

    By hand: the two who stay 10 h on the slab and 40 min on the road, 2 h 40 min over eight each;
    the others share 32 - 20 = 12 h, 6 h 40 min with the road: none over. 5.333 h in all.
    """
    labor, crew = np.array([32.0, 16.0, 40.0]), np.array([10.0, 5.0, 10.0])
    over = overtime_h(labor, crew, 4.0, 2.0, 2 / 3, 8.0)
    assert over == pytest.approx([16 / 3, 0.0, 4 * 8 / 3])
    # Two of two finish, 12 h of labor on a clock of 9: 1.33 people there on average, an hour over.
    one = overtime_h(np.array([12.0]), np.array([9.0]), 2.0, 2.0, 0.0, 8.0)
    assert one == pytest.approx(4 / 3)


def test_a_long_day_is_priced():
    """10,000 ft2 of hard trowel with four hands runs past any eight hours, at half as much again."""
    answer = bid(job(area=10000.0, finish="hard_trowel"), None, HOUSE)
    entry = answer["jobs"][0]
    assert entry["long_day"]["chance"] > 0.9
    line = next(line for line in entry["lines"] if line["line"] == "overtime")
    assert line["usd"] == pytest.approx(line["hours"] * 40.5 * 0.5, rel=1e-3)
    assert "overtime" in bid_text(answer)
    none = bid(job(area=10000.0, finish="hard_trowel"), None, {**HOUSE, "overtime_premium": 0.0})
    assert none["jobs"][0]["price_usd"] < entry["price_usd"]
    short = bid(job(), None, {**HOUSE, "overtime_after_h": 24.0})["jobs"][0]
    assert short["long_day"] == {"after_h": 24.0, "chance": pytest.approx(0.0, abs=0.05)}
    assert "overtime" not in {line["line"] for line in short["lines"]}


def test_travel_by_hand():
    """20 minutes in and 20 back for four hands: 2.67 h, outside labor_h."""
    near = bid(job(travel=0.0), record(), HOUSE)["jobs"][0]
    far = bid(job(travel=20.0), record(), HOUSE)["jobs"][0]
    line = next(line for line in far["lines"] if line["line"] == "travel")
    assert line["hours"] == pytest.approx(2 * 20 / 60 * 4, abs=0.01)
    assert line["usd"] == pytest.approx(line["hours"] * 41.0, abs=0.3)
    assert far["labor_h"] == near["labor_h"]
    assert far["price_usd"] > near["price_usd"]


def test_trip_back_is_learned():
    """Of 30 conventional cuts 27 came after everybody was gone: (0.5 x 4 + 27) / 34 = 85 %."""
    frames = record()
    pours = frames["pours"]
    out = pours["date"] + pd.Timedelta(hours=16)
    cut = out + pd.to_timedelta(np.where(np.arange(30) < 27, 4, -2), unit="h")
    frames["pours"] = pours.assign(crew_out=out, saw_start=cut, saw_type="conventional")
    entry = bid(job(saw_type="conventional", saw_length=80.0), frames, HOUSE)["jobs"][0]
    line = next(line for line in entry["lines"] if line["line"] == "trip_back_to_saw")
    assert line["because"].startswith("85%")
    assert line["hours"] == pytest.approx(29 / 34 * 2 * 20 / 60 * 1.5, abs=0.01)
    unsawn = bid(job(saw_type="none"), frames, HOUSE)["jobs"][0]
    assert all(line["line"] != "trip_back_to_saw" for line in unsawn["lines"])


def test_truck_waiting_only_once_the_record_supports_it():
    """25 USD billed on loads of 8 yards, on 600 ft2 at 4 in."""
    frames = record()
    trucks = pd.DataFrame(
        {"pour_id": [f"P{k}" for k in range(30)], "volume": 8.0, "wait_charge": 25.0}
    )
    entry = bid(job(), {**frames, "trucks": trucks}, HOUSE)["jobs"][0]
    usd = {line["line"]: line["usd"] for line in entry["lines"]}
    assert usd["truck_waiting"] == pytest.approx(25 / 8 * 600 * 4 / 324, abs=0.01)
    few = bid(job(), {**frames, "trucks": trucks.head(5)}, HOUSE)["jobs"][0]
    assert all(line["line"] != "truck_waiting" for line in few["lines"])


def expected(chance=0.2, mean=60.0, pours=30, priced=5):
    return {
        "chance": chance, "p05": 0.1, "p95": 0.35, "cost_usd": mean and {"mean": mean},
        "each_usd": mean and {"mean": mean / chance, "p05": 150.0, "p95": 1200.0},
        "based_on": {"pours": pours, "called_back": 6, "calls_priced": priced},
    }  # fmt: skip


def test_callbacks_only_once_the_record_supports_them(monkeypatch):
    """One in five comes back at 300 USD a time: 60 USD to set aside, and the price holds them."""
    frames = {**{name: pd.DataFrame() for name in CALLBACK_FRAMES}, **record()}
    prices = []
    for told in (expected(), expected(priced=2), expected(pours=9), expected(mean=None)):
        monkeypatch.setattr("pourstats.planning.bid.job_callbacks", lambda *_, told=told: [told])
        entry = bid(job(), frames, HOUSE)["jobs"][0]
        own = [line for line in entry["lines"] if line["line"] == "callbacks"]
        prices.append((entry["price_usd"], own))
    line = prices[0][1][0]
    assert (line["usd"], line["pours"]) == (60.0, 30)
    assert line["because"] == (
        "20% likely (10% to 35%), about $300 when it happens ($150 to $1,200, on 5 that came back)"
    )
    assert prices[0][0] - prices[1][0] == pytest.approx(60 * 1.15 / 0.9, abs=0.02)
    assert [own for _, own in prices[1:]] == [[], [], []]


def test_concrete_only_if_entered():
    plain = bid(job(), record(), HOUSE)["jobs"][0]
    priced = bid(job(), record(), {**HOUSE, "concrete_price": 150.0})["jobs"][0]
    usd = {line["line"]: line["usd"] for line in priced["lines"]}
    assert usd["concrete"] == pytest.approx(150.0 * 600 * 4 / 324, abs=0.01)
    assert all(line["line"] != "concrete" for line in plain["lines"])
    assert priced["labor_h"] == plain["labor_h"]


# Without a record, without pay.


def test_without_a_record_it_says_so():
    answer = bid(job(), None, HOUSE)
    entry = answer["jobs"][0]
    assert answer["rests_on"] == "published rates"
    assert "published labor rates" in answer["notes"][0]
    assert entry["based_on"] == {"pours": 0, "similar": []}
    assert entry["price_usd"] == pytest.approx(
        (entry["price_lines"]["mean_cost_usd"] * 1.15 + entry["price_lines"]["contingency_usd"])
        / 0.9,
        abs=0.05,
    )
    assert entry["labor_h"]["p95"] / entry["labor_h"]["p05"] > 3.0
    assert "published labor rates" in bid_text(answer)


def test_without_pay_there_is_no_price():
    answer = bid(job(), None, {})
    assert answer["jobs"][0]["price_usd"] is None
    assert any("default_pay" in note for note in answer["notes"])
    assert "ask" not in bid_text(answer)


# What-ifs, forecast, several jobs.


def test_what_if_stands_beside():
    answer = bid(job(), record(), HOUSE, sets={"placement": "pump", "thickness": "6"})
    entry = answer["jobs"][0]
    other = entry["what_if"]
    assert entry["bid_hours"] == bid(job(), record(), HOUSE)["jobs"][0]["bid_hours"]
    straight = bid(job(placement="pump", thickness=6.0), record(), HOUSE)["jobs"][0]
    assert other["bid_hours"] == straight["bid_hours"]
    assert other["more_labor_h"]["p50"] > 0
    assert other["more_usd"] == pytest.approx(other["price_usd"] - entry["price_usd"], abs=0.02)
    assert "What if placement pump, thickness 6" in bid_text(answer)


def test_what_if_takes_units_as_a_file_does():
    answer = bid(job(), record(), HOUSE, sets={"thickness": "150 mm"})
    straight = bid(job(thickness=150 / 25.4), record(), HOUSE)["jobs"][0]
    assert answer["jobs"][0]["what_if"]["bid_hours"] == pytest.approx(straight["bid_hours"])


@pytest.mark.parametrize(
    ("sets", "words"),
    [
        ({"placment": "pump"}, "no such column"), ({"placement": "pmup"}, "did you mean pump"),
        ({"thickness": "900"}, "60"), ({"hands": "0"}, "1 or more"), ({"hands": "0.5"}, "1 or more"), ({"pour_id": "X"}, "no such column"),
    ],
)  # fmt: skip
def test_what_if_that_cannot_be_read(sets, words):
    with pytest.raises(Refusal, match=words):
        bid(job(), None, HOUSE, sets=sets)


@pytest.mark.parametrize("level", [0.0, 1.0, 70.0])
def test_confidence_out_of_range(level):
    with pytest.raises(Refusal, match="seven in ten"):
        bid(job(), None, HOUSE, level)


def test_no_jobs():
    with pytest.raises(Refusal, match="no jobs") as caught:
        bid(job().head(0), None, HOUSE)
    assert caught.value.status == 1


def test_forecast_counts_and_a_missing_site_is_said():
    hours = pd.date_range("2031-06-03 05:00", periods=5, freq="3h")
    weather = pd.DataFrame({"site": "Mill", "time": hours, "air_temp": 34.0})
    cold = bid(job(), None, HOUSE, forecast=weather)["jobs"][0]
    warm = bid(job(), None, HOUSE, forecast=weather.assign(air_temp=70.0))["jobs"][0]
    assert cold["bid_hours"] > warm["bid_hours"]
    assert any(d["column"] == "air_temp_f" and d["hours"] > 0 for d in cold["drivers"])
    missing = bid(job(site="Elsewhere"), None, HOUSE, forecast=weather)
    assert "J1" in missing["notes"][0]
    late = bid(job(), None, HOUSE, forecast=weather.assign(time=hours + pd.Timedelta(days=3)))
    assert late["notes"][0].startswith("the forecast has nothing for J1")


def test_quantiles_of_several_jobs_are_not_added():
    table = pd.concat([job(pour_id=f"J{k}") for k in range(8)], ignore_index=True)
    answer = bid(table, record(), HOUSE)
    together, entries = answer["together"], answer["jobs"]
    added = {name: sum(e["labor_h"][name] for e in entries) for name in LEVELS}
    assert added["p05"] < together["labor_h"]["p05"]
    assert together["labor_h"]["p95"] < added["p95"]
    assert together["mean_labor_h"] == pytest.approx(
        sum(e["mean_labor_h"] for e in entries), abs=0.01
    )
    # Without a record the crew's level is the common cause: far wider than eight strangers would be.
    unlearned = bid(table, None, HOUSE)["together"]["labor_h"]
    lonely = bid(job(), None, HOUSE)["jobs"][0]["labor_h"]
    strangers = np.sqrt(8) * (lonely["p95"] - lonely["p05"])
    assert unlearned["p95"] - unlearned["p05"] > 1.5 * strangers


def test_a_job_already_poured_does_not_learn_from_itself():
    frames = record()
    again = job(pour_id="P7", area=float(frames["pours"]["area"][7]))
    assert bid(again, frames, HOUSE)["jobs"][0]["based_on"]["pours"] == 29


def test_outside_is_said():
    answer = bid(job(area=9000.0, placement="buggy"), record(), HOUSE)
    text = " ".join(bid_text(answer).split())
    assert "Outside what you have done: 9,000 ft2 is more than any pour logged" in text
    metric = " ".join(bid_text(answer, "metric").split())
    assert "836 m2 is more than any pour logged" in metric  # 9,000 x 0.09290304
    assert " ft2" not in metric
    assert "placement buggy, never logged" in text


def test_text_has_the_five_floors_and_the_price():
    answer = bid(job(finish="hard_trowel"), record(), HOUSE)
    text = bid_text(answer)
    entry = answer["jobs"][0]
    for pour in entry["based_on"]["similar"]:
        assert pour in text
    assert f"${entry['price_usd']:,.0f}" in text
    assert "hard trowel +" in text
    assert "Seven such jobs in ten" in text
    assert max(len(line) for line in text.splitlines()) <= 100
