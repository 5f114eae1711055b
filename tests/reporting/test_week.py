"""The weekly review: what it says with no, few and many pours, and what it finds."""

import json
from datetime import date

import numpy as np
import pandas as pd
import pytest

from pourstats.reporting.week import PRIVATE_KEYS, week_review, week_text, without_private

HOUSE = {"free_min_per_yd3": 10.0, "burden": 0.35, "age_limit_min": 90.0}
MONDAY = pd.Timestamp("2031-06-02")


def log(count, seed=1, week_of=MONDAY, days_between=2):
    """Frames of a made-up crew: ``count`` pours, the last of them in the week of ``week_of``.

    Hours are 14 + 0.02 an ft2 + 0.5 a yard, with 12 percent of day-to-day noise.
    """
    random = np.random.default_rng(seed)
    last = week_of + pd.Timedelta(days=3)
    dates = [last - pd.Timedelta(days=days_between * k) for k in range(count)][::-1]
    area = np.exp(random.uniform(np.log(400), np.log(6000), count)).round()
    yards = area * 4.0 / 324.0
    hours = true_hours(area) * np.exp(random.normal(0, 0.12, count))
    ids = [f"p{k:03d}" for k in range(count)]
    start = [day + pd.Timedelta(hours=7) for day in dates]
    pours = pd.DataFrame(
        {
            "pour_id": ids, "date": dates, "site": "Hill Road", "area": area, "thickness": 4.0,
            "slab_type": np.where(area < 1000, "garage", "shop"), "finish": "trowel",
            "placement": "chute", "hands": 4.0, "finish_hands": 2.0, "place_start": start,
            "trouble": None, "notes": None,
        }
    )  # fmt: skip
    shares = {"place": 0.4, "finish": 0.3, "saw": 0.05, "wait": 0.05, "other": 0.2}
    output = pd.DataFrame(
        {
            "pour_id": ids, "placed_yd3": yards, "placed_from": "tickets", "overrun_pct": 2.0,
            "labor_h": hours, "hours_from": "crew_time", "paid_h": hours + 2.0,
            "crew_h": hours / 4.0, "labor_cost_usd": hours * 40.0, "cost_from": "crew",
            **{f"{task}_labor_h": hours * share for task, share in shares.items()},
        }
    )  # fmt: skip
    days = pd.DataFrame(
        {"date": dates, "placed_yd3": yards, "clock_h": hours / 4.0 + 1.0, "paid_h": hours + 2.0}
    )
    loads = pd.DataFrame(
        {
            "pour_id": ids, "ticket": "1", "called": "ordered", "over_min": 5.0, "late_min": 4.0,
            "starved_min": random.uniform(0, 10, count), "age_min": 60.0,
        }
    )  # fmt: skip
    passes = pd.DataFrame(
        {"pour_id": ids, "pass_no": 1, "since_placed_min": random.uniform(100, 160, count)}
    )
    return {
        "pours": pours, "pour_output": output, "day_output": days, "truck_times": loads,
        "pass_intervals": passes,
        "bids": pd.DataFrame({"pour_id": ids, "bid_date": dates[0], "bid_hours": hours.round()}),
        "callbacks": pd.DataFrame(columns=["callback_id", "pour_id", "reported", "defect"]),
    }  # fmt: skip


def true_hours(area):
    return 14.0 + 0.02 * area + 0.5 * area * 4.0 / 324.0


def set_pour(frames, pour_id, **values):
    """The frames with some values of one pour changed, in whichever table has the column."""
    for name in ("pours", "pour_output", "truck_times", "pass_intervals"):
        frame = frames[name].copy()
        for column, value in values.items():
            if column in frame.columns:
                if isinstance(value, str):
                    frame[column] = frame[column].astype(object)
                frame.loc[frame["pour_id"] == pour_id, column] = value
        frames[name] = frame
    return frames


def review_of(frames, **more):
    review = week_review(frames, HOUSE, **more)
    json.dumps(review, allow_nan=False)  # no NaN, nothing that JSON doesn't know
    for system in ("us", "metric"):
        assert max(map(len, week_text(review, units=system).splitlines())) <= 100
    return review


# --- how much record there is


def test_with_nothing_it_says_what_is_missing_and_how_to_supply_it():
    review = review_of({})
    assert review["state"] == "no_pours"
    assert {gap["what"] for gap in review["missing"]} >= {"pours", "crew_time", "trucks"}
    text = week_text(review)
    assert "No pours in the log yet" in text
    assert "pourstats load" in text
    assert "pourstats template" in text


@pytest.mark.parametrize("count", [1, 3, 5])
def test_with_few_pours_it_says_what_it_cant_tell(count):
    review = review_of(log(count))
    head = review["headline"]
    assert review["state"] == "early"
    assert head["verdict"] is None
    assert head["usual_h"] is None
    assert head["spent_h"] > 0
    assert all(pour["verdict"] is None for pour in review["pours"])
    assert all(figure["usual_low"] is None for figure in review["figures"].values())
    assert review["control"] is None
    assert {gap["what"] for gap in review["cannot_tell"]} == {"usual_hours", "usual_ranges"}
    assert "can't be told yet" in head["sentence"]
    assert "Too early to tell" in week_text(review)


def test_with_eight_it_judges_and_calls_itself_rough():
    review = review_of(log(8, days_between=3))
    assert review["state"] == "rough"
    assert review["headline"]["verdict"] is not None
    assert "Rough: only" in review["headline"]["sentence"]


def test_with_sixty_every_figure_has_its_usual_range():
    review = review_of(log(60))
    assert review["state"] == "full"
    assert review["cannot_tell"] == []
    for name in ("placed_yd3", "ft2_per_labor_h", "place_share_pct", "yd3_per_clock_h",
                 "over_min_per_load", "first_pass_min", "spent_to_bid_pct"):  # fmt: skip
        figure = review["figures"][name]
        assert figure["usual_low"] <= figure["usual_middle"] <= figure["usual_high"]
        assert (figure["usual_of"], figure["usual_count"] >= 8) == ("weeks", True)
    assert 1 <= len(review["stands_out"]) <= 5


def test_a_week_without_pours_says_so_and_names_the_latest():
    review = review_of(log(20), ending=date(2031, 7, 9))
    assert review["state"] == "quiet_week"
    assert (review["week"]["start"], review["week"]["end"]) == ("2031-07-07", "2031-07-13")
    assert "No pours from Mon Jul 7 to Sun Jul 13, 2031" in week_text(review)
    assert "Jun 5, 2031" in week_text(review)


def test_pours_without_hours_are_counted_and_named():
    frames = set_pour(log(30), "p029", labor_h=np.nan, paid_h=np.nan, crew_h=np.nan)
    review = review_of(frames)
    head = review["headline"]
    assert (head["pours"], head["pours_with_hours"]) == (2, 1)
    assert "hours are known for 1 of 2 pours" in head["sentence"]
    assert {"what": "hours", "pours": ["p029"]} in review["missing"]


def test_a_log_of_bare_pours_does_no_harm():
    bare = log(15)["pours"][["pour_id", "date", "site", "slab_type", "area", "thickness"]]
    review = review_of({"pours": bare})
    assert review["headline"]["spent_h"] is None
    assert "no hours" in review["headline"]["sentence"]


@pytest.mark.parametrize("seed", range(12))
def test_a_log_full_of_holes_still_makes_a_page(seed):
    """Columns and tables gone at random, a third of the cells that may be blank blanked."""
    random = np.random.default_rng(seed)
    kept = {"pour_id", "date", "site", "slab_type", "area", "thickness", "ticket", "pass_no",
            "bid_date"}  # fmt: skip
    holed = {}
    for name, frame in log(25, seed).items():
        if name != "pours" and random.uniform() < 0.2:
            continue
        loose = [column for column in frame.columns if column not in kept]
        gone = [column for column in loose if random.uniform() < 0.15]
        frame = frame.drop(columns=gone)
        for column in set(loose) - set(gone):
            frame[column] = frame[column].where(random.uniform(size=len(frame)) > 0.33)
        holed[name] = frame
    review = review_of(holed)
    assert review["headline"]["pours"] == 2
    assert "nan" not in week_text(review).lower()


# --- the week and its sums


def test_the_week_runs_from_monday_to_sunday():
    frames = log(12, days_between=1)
    frames["pours"]["date"] = pd.date_range("2031-05-25", periods=12)  # a Sunday
    inside = review_of(frames, ending=date(2031, 6, 1))
    assert [pour["date"] for pour in inside["pours"]] == [
        f"2031-05-{day}" for day in range(26, 32)
    ] + ["2031-06-01"]
    assert review_of(frames)["week"]["start"] == "2031-06-02"  # the latest pour's week
    assert review_of(frames, ending=date(2031, 5, 26))["week"] == inside["week"]


def test_group_rates_are_ratios_of_sums_worked_by_hand():
    frames = set_pour(log(30), "p028", labor_h=20.0, placed_yd3=10.0, crew_h=5.0)
    frames = set_pour(frames, "p029", labor_h=60.0, placed_yd3=50.0, crew_h=10.0)
    figures = review_of(frames)["figures"]
    # Two pours: 60 yards in 80 labor-hours and 15 crew-hours; the mean of the pours' own rates
    # would be 0.667 and 3.5.
    assert figures["yd3_per_labor_h"]["value"] == pytest.approx(60 / 80)
    assert figures["yd3_per_crew_h"]["value"] == pytest.approx(60 / 15)
    assert figures["mean_hands"]["value"] == pytest.approx(80 / 15)
    assert (figures["pours"]["value"], figures["placed_yd3"]["value"]) == (2, 60)
    shares = [
        figures[f"{task}_share_pct"]["value"]
        for task in ("place", "finish", "saw", "wait", "other")
    ]
    assert sum(shares) == pytest.approx(100.0)


def test_a_balance_load_starves_nobody():
    frames = log(30)
    frames["truck_times"] = pd.DataFrame(
        {
            "pour_id": ["p028", "p028", "p029"], "ticket": ["1", "2", "1"],
            "called": ["ordered", "balance", "ordered"], "starved_min": [10.0, 40.0, 20.0],
            "over_min": [1.0, 2.0, 3.0], "late_min": [-5.0, 0.0, 9.0],
        }
    )  # fmt: skip
    figures = review_of(frames)["figures"]
    assert figures["starved_min_per_pour"]["total"] == 30.0
    assert figures["over_min_per_load"]["total"] == 6.0
    assert figures["loads"]["value"] == 3
    assert figures["late_min_per_load"]["total"] == 9.0  # early doesn't make up for late


def test_the_usual_range_is_that_of_the_other_weeks():
    frames = log(20, days_between=7)
    yards = np.arange(1.0, 21.0)
    frames["pour_output"]["placed_yd3"] = yards
    placed = review_of(frames)["figures"]["placed_yd3"]
    # Nineteen earlier weeks of 1 to 19 yards: 10 and 90 percent at p (n + 1) are 2 and 18.
    assert placed["value"] == 20.0
    assert (placed["usual_low"], placed["usual_high"]) == pytest.approx((2.0, 18.0))
    assert placed["verdict"] == "above"


def test_bids_count_the_last_one_before_the_pour_and_only_the_same_scope():
    frames = log(40)
    frames = set_pour(frames, "p038", labor_h=50.0, saw_labor_h=5.0)
    frames = set_pour(frames, "p039", labor_h=40.0)
    frames["bids"] = pd.DataFrame(
        [
            ("p038", "2031-03-01", 99.0, None),
            ("p038", "2031-04-01", 44.0, "place;finish"),
            ("p038", "2031-12-01", 11.0, None),  # after the pour
            ("p039", "2031-04-01", 30.0, "place;finish;saw;cure"),
        ],
        columns=["pour_id", "bid_date", "bid_hours", "scope"],
    )
    bids = review_of(frames)["bids"]
    assert (bids["compared"], bids["bid_h"]) == (1, 44.0)
    assert bids["spent_h"] == pytest.approx(45.0)  # without the sawing that wasn't bid
    assert [entry["pour_id"] for entry in bids["not_compared"]] == ["p039"]
    assert "cure" in bids["not_compared"][0]["why"]


def test_par_is_the_baseline_of_the_class_and_only_from_ten_pours_on():
    frames = log(31)
    frames["pours"][["slab_type", "area"]] = ["garage", 600.0]
    frames["pours"].loc[:28, "area"] = 600.0 - np.arange(29)
    par = review_of(frames)["par"]
    # Twenty-nine earlier pours: the five of highest output are the first five; par is their middle
    # rate (Thomas and Zavrski 1999).
    hours = frames["pour_output"]["labor_h"].to_numpy()
    area = frames["pours"]["area"].to_numpy()
    assert [(entry["pours"], entry["to_ft2"]) for entry in par] == [(29, 750.0)]
    assert par[0]["hours_per_ft2"] == pytest.approx(np.median(hours[:5] / area[:5]))
    assert par[0]["par_h"] == pytest.approx(1200.0 * par[0]["hours_per_ft2"])
    few = {name: frame.tail(11) for name, frame in frames.items()}
    assert review_of(few)["par"][0]["hours_per_ft2"] is None


def test_natural_limits_are_those_of_the_charted_ratios():
    control = review_of(log(50))["control"]
    past = np.log([point["ratio"] for point in control["points"] if not point["in_week"]])
    # NIST/SEMATECH e-Handbook 6.3.2.2 on the logarithms: centre +/- 3 mean moving ranges / 1.128.
    reach = 3.0 * np.abs(np.diff(past)).mean() / 1.128
    assert control["upper"] == pytest.approx(np.exp(past.mean() + reach))
    assert control["lower"] == pytest.approx(np.exp(past.mean() - reach))


# --- the judgement


def test_a_week_does_not_judge_itself():
    plain = review_of(log(40))
    tripled = log(40)
    late = tripled["pours"]["date"] >= MONDAY
    tripled["pour_output"].loc[late, "labor_h"] *= 3.0
    slow = review_of(tripled)
    assert slow["headline"]["usual_h"] == pytest.approx(plain["headline"]["usual_h"])
    assert slow["headline"]["spent_h"] == pytest.approx(3 * plain["headline"]["spent_h"])
    assert slow["headline"]["verdict"] == "above"
    assert "slow week" in slow["headline"]["sentence"]


def in_one_week(seed, areas, factors):
    """Fifty earlier pours, then a week of floors of these sizes at these multiples of their hours."""
    frames = log(50 + len(areas), seed, days_between=2)
    random = np.random.default_rng(seed + 500)
    for k, (area, factor) in enumerate(zip(areas, factors, strict=True)):
        place = 50 + k
        hours = float(true_hours(area)) * factor * np.exp(random.normal(0, 0.12))
        frames["pours"].loc[place, "date"] = MONDAY + pd.Timedelta(days=k)
        frames["pours"].loc[place, "area"] = area
        frames["pours"].loc[place, "slab_type"] = "garage" if area < 1000 else "shop"
        frames["pour_output"].loc[place, ["labor_h", "placed_yd3"]] = [hours, area * 4 / 324]
        frames["bids"].loc[place, "bid_hours"] = round(float(true_hours(area)))
    return frames


def test_a_small_garage_is_not_called_slow_for_being_small():
    """Forty crews pour an ordinary 400 ft2 garage: no more are called slow than one floor in ten
    is by the range's own making (4 expected; 10 lies beyond 3 standard errors)."""
    slow = 0
    for seed in range(40):
        review = week_review(in_one_week(seed, [400.0], [1.0]), HOUSE)
        slow += review["pours"][-1]["verdict"] in ("slow", "far_slow")
    assert slow <= 10


def test_a_big_shop_does_not_hide_a_bad_day():
    """A garage that took twice its hours beside a big shop that went as usual is found, and first.

    The shop's hours alone would drown it: the week is then only some ten percent over.
    """
    first = 0
    for seed in range(20):
        review = week_review(in_one_week(seed, [6000.0, 450.0], [1.0, 2.0]), HOUSE)
        first += review["stands_out"][0]["pour_id"] == "p051"
    assert first >= 18


# --- what stood out, and why


def bad_day(**more):
    frames = log(60)
    hours = float(frames["pour_output"]["labor_h"].iloc[-1]) * 2.2
    return set_pour(frames, "p059", labor_h=hours, **more)


def test_the_log_own_word_is_the_reason_before_any_inference():
    item = review_of(bad_day(trouble="late_truck;rain", starved_min=90.0))["stands_out"][0]
    assert item["pour_id"] == "p059"
    assert item["reason"]["source"] == "log"
    assert item["because"] == "The log says: late truck, rain."
    assert {fact["measure"] for fact in item["evidence"]} >= {"labor_h", "starved_min"}


def test_without_a_word_the_reason_is_inferred_and_called_likely():
    item = review_of(bad_day(starved_min=240.0))["stands_out"][0]
    assert item["reason"]["source"] == "likely"
    assert item["because"].startswith("Likely: waiting on concrete")
    # 240 minutes of four people are 16 hours.
    assert item["reason"]["hours"] == pytest.approx(min(16.0, item["over_h"]))


def test_without_word_or_sign_no_reason_is_made_up():
    item = review_of(bad_day())["stands_out"][0]
    assert item["reason"] == {"source": None, "words": [], "hours": None, "value": None}
    assert item["because"] == "The log gives no reason."


def test_a_late_machine_is_held_up_by_what_the_log_says():
    frames = log(60)
    start = pd.Timestamp("2031-06-05 12:00")
    frames["passes"] = pd.DataFrame(
        {"pour_id": ["p059"], "pass_no": [1], "start": [start],
         "ready": [start - pd.Timedelta(minutes=50)], "held_up": ["machine"]}
    )  # fmt: skip
    item = next(i for i in review_of(frames)["stands_out"] if i["pour_id"] == "p059")
    assert "got on it 50 min after it was ready" in item["sentence"]
    assert item["because"] == "The log says: held up by a machine."


def test_worse_stands_first():
    frames = bad_day()
    frames["callbacks"] = pd.DataFrame(
        {"callback_id": ["c1", "c2"], "pour_id": ["p010", "p011"], "hours": [3.0, 200.0],
         "reported": pd.to_datetime(["2031-06-03", "2031-06-04"]), "defect": ["crazing", "scaling"]}
    )  # fmt: skip
    review = review_of(frames)
    told = [(item["kind"], item["pour_id"]) for item in review["stands_out"]]
    assert told[:2] == [("callback", "p011"), ("floor", "p059")]
    assert ("callback", "p010") in told[2:]
    weights = [item["weight_h"] for item in review["stands_out"]]
    assert weights == sorted(weights, reverse=True)
    assert review["figures"]["callbacks_opened"]["value"] == 2
    assert [call["defect"] for call in review["callbacks"]] == ["crazing", "scaling"]
    # NRMCA's sheets: CIP 2 is on scaling, CIP 3 on crazing.
    assert "CIP 2]" in review["stands_out"][0]["help"]
    said = " ".join(week_text(review).split())
    assert "Usual causes: " in said
    assert "[NRMCA CIP 3]" in said


def test_an_ordinary_week_is_called_so():
    frames = log(60)
    base = review_of(frames)
    for pour in base["pours"]:
        frames = set_pour(frames, pour["pour_id"], labor_h=pour["usual_h"], starved_min=0.0,
                          since_placed_min=120.0)  # fmt: skip
    frames["bids"] = frames["bids"].iloc[:0]
    review = review_of(frames)
    assert "an ordinary week" in review["headline"]["sentence"]
    assert not any(item["unusual"] for item in review["stands_out"])
    assert "Nothing out of the ordinary" in week_text(review)


# --- what is not counted, what is private, how it reads


def test_unfinished_pours_and_rows_set_aside_are_named():
    review = review_of(
        log(20),
        open_pours=[{"pour_id": "p777", "site": "Mill", "last_tap": pd.Timestamp("2031-06-05 14:20"),
                     "missing": ["gone"]}],
        set_aside=pd.DataFrame(
            {"file": ["trucks.csv"] * 3, "sheet": None, "line": [4, 4, 9], "column": "volume",
             "reason": ["'x' is not a number", "another", "mended since"],
             "state": ["open", "open", "mended"]}
        ),
        lately=["Bids of the last month ran 6 percent low."],
    )  # fmt: skip
    text = week_text(review)
    assert "p777 at Mill is unfinished; last tap Thu Jun 5 14:20; still missing gone." in text
    assert review["unfinished"][0]["last_tap"] == "2031-06-05T14:20"
    assert review["set_aside"]["rows"] == 1  # two entries on one line are one row
    assert "trucks.csv, line 4, volume: 'x' is not a number" in text
    assert "mended since" not in text
    assert "Bids of the last month ran 6 percent low." in text


def test_private_figures_can_be_dropped():
    review = review_of(log(30))
    assert "labor cost" in week_text(review)
    assert "labor_cost_usd" in json.dumps(review)
    bare = without_private(review)
    told = json.dumps(bare)
    assert not any(f'"{key}"' in told for key in PRIVATE_KEYS)
    assert "$" not in week_text(bare)
    assert week_text(bare).count("\n") > 30


def test_metric_figures_are_the_same_ones():
    review = review_of(log(30))
    text = week_text(review, units="metric")
    placed = review["figures"]["placed_yd3"]["value"]
    # 1 yd3 = 0.764 554 9 m3 and 1 ft2 = 0.092 903 04 m2 (NIST SP 811, Appendix B.8).
    assert f"concrete placed, m3{'':16}{placed * 0.7645549:.0f}" in text
    area = review["pours"][0]["area_ft2"] * 0.09290304
    assert f"{area:,.0f} m2" in text
    assert "ft2" not in text
    assert "yd3" not in text.replace("free_min_per_yd3", "")


def test_free_minutes_are_called_assumed_until_set():
    frames = log(30)
    assert "assumed, check your supplier" in week_text(review_of(frames))
    frames["settings"] = pd.DataFrame(
        {"name": ["free_min_per_yd3", "burden"], "value": ["8", "0.3"]}
    )
    assert "assumed" not in week_text(review_of(frames))


def test_it_is_told_in_owners_words():
    text = week_text(review_of(bad_day(trouble="late_truck"))).lower()
    for jargon in ("quantile", "percentile", "median", "sigma", "deviation", "regression",
                   "confidence", "outlier", "nan", "none,", "_labor_h"):  # fmt: skip
        assert jargon not in text
    assert "eight times in ten" in text
    assert "eight weeks in ten" in text


def test_where_floors_are_few_a_figure_of_the_week_fills_in():
    frames = log(60, days_between=4)
    frames["truck_times"]["over_min"] = 5.0 + np.arange(60) % 7  # usual: 5 to 11 min a load
    frames = set_pour(frames, "p059", over_min=19.0)  # too little to be news of one floor
    review = review_of(frames)
    item = next(item for item in review["stands_out"] if item["kind"] == "figure")
    assert item["evidence"][0]["measure"] == "over_min_per_load"
    assert "trucks ran over their free time by" in item["sentence"]
    assert item["because"] is None
