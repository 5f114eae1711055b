"""The page that an owner reads: evidence first, plain words, and honest when it is too early."""

import json
import re

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.learning.callbacks.features import FEATURES
from pourstats.learning.callbacks.rare import g_limits, t_limits
from pourstats.logs.defects import DEFECTS
from pourstats.logs.tables import DEFECTS as DEFECT_CHOICES
from pourstats.planning.callback_cost import job_callbacks
from pourstats.planning.callbacks import callback_picture, floor_outlook
from pourstats.planning.habits import HABITS
from pourstats.reporting.callbacks import (
    SHOWN_BY,
    callbacks_text,
    coming_sentence,
    cost_sentence,
    grouping,
    groups_text,
    run_sentence,
    year_sentence,
)
from pourstats.reporting.callbacks_sentences import gaps_sentence, outlook_sentences
from pourstats.settings import RULES
from tests.published_callbacks import G_MEAN, G_UPPER, T_UPPER
from tests.simulators.callbacks_crews import Truth, crew

HOUSE = {"default_pay": 30.0}


def picture(seed, pours, truth, **more):
    return callback_picture(crew(np.random.default_rng(seed), pours, truth, **more).frames, HOUSE)


@pytest.fixture(scope="module")
def clear():
    """A crew whose dry days triple the odds, four hundred floors."""
    return picture(1, 400, Truth(0.15, {"dried_fast": 4.0}))


@pytest.fixture(scope="module")
def early():
    """Forty floors, few calls."""
    return picture(2, 40, Truth(0.1))


def test_the_page_says_cost_year_and_habit_in_that_order(clear):
    text = " ".join(callbacks_text(clear).split())
    places = [text.index(words) for words in (
        "FLOORS THAT CAME BACK", "Coming back costs $", "This year", "Still to come",
        "THE HABIT TO CHANGE", "WHAT THE RECORD CAN'T TELL YET", "WHAT CAME BACK", "BY GROUP")]  # fmt: skip
    assert places == sorted(places)


def test_from_three_floors_no_chance_is_told_of_a_young_one():
    three = crew(np.random.default_rng(1), 3, Truth(0.001, {})).frames
    mine = floor_outlook(three, HOUSE, str(three["pours"]["pour_id"].iloc[-1]))
    assert mine is not None and mine["state"] == "waiting"
    text = " ".join(outlook_sentences(mine))
    assert "No chance of its coming back can be told from 3 floors, 0 called back so far." in text
    assert "%" not in text


def test_a_told_habit_comes_with_counts_interval_and_source(clear):
    told = [row for row in clear["advice"] if row["habit"]]
    assert [row["habit"] for row in told][:1] == ["dried_fast"]
    assert set(told[0]) >= {"do", "because", "source"}
    assert re.search(r"\d+ of \d+ came back", told[0]["because"])
    assert re.search(r"[\d.]+ times the odds \([\d.]+ to [\d.]+\)", told[0]["because"])
    assert "ACI 305R" in told[0]["source"]


def test_too_early_says_so_and_how_many_more(early):
    text = callbacks_text(early)
    assert "THE HABIT TO CHANGE\n  Too early to say: keep to published practice" in text
    assert re.search(r"[Aa]bout [\d,]+ more pours would show", text)
    assert all(row["habit"] is None for row in early["advice"])


def test_every_share_has_its_count_and_interval(clear):
    lines = callbacks_text(clear).split("BY GROUP")[1].splitlines()[1:]
    rows = [line for line in lines if line.startswith("    ") and "with `--by" not in line]
    assert len(rows) > 10
    for line in rows:
        assert re.search(r"\d+ of \d+ floors?, \d+ % \(\d+ to \d+ %\)", line), line


# The groupings that rates are asked for by.
GROUPINGS = ("slab_type", "finish", "base", "cure", "lead", "month", "evaporation_class",
             "first_pass_timing", "saw_delay", "mix", "water_added", "truck_age", "fault")  # fmt: skip


def test_every_grouping_can_be_asked_for(clear):
    assert set(GROUPINGS) == set(clear["by"]) == set(SHOWN_BY)
    for name in GROUPINGS:
        rows = grouping(clear, name)
        assert rows
        text = groups_text(clear, name.replace("_", " ").upper())
        assert max(map(len, text.splitlines())) <= 100
        for row in rows:
            (line,) = [each for each in text.splitlines()
                       if each.startswith(str(row["group"]).replace("_", " ")[:21].ljust(22))]  # fmt: skip
            assert line[22:33].split() == [str(row["pours_called_back"]), str(row["pours"])]
            assert row["rate"] is None or re.search(r"\d+ % \(\d+ to \d+\)", line)
        if name not in ("fault", "lead"):
            assert sum(row["pours"] for row in rows) == clear["whole"]["pours"]
            assert sum(row["callbacks"] for row in rows) == clear["whole"]["callbacks"]
    with pytest.raises(Refusal, match="no grouping of callbacks; take one of slab_type"):
        grouping(clear, "colour")


def test_every_pour_is_at_risk_of_every_fault():
    frames = crew(np.random.default_rng(6), 60, Truth(0.3), young=False).frames
    calls = frames["callbacks"]
    calls["fault"] = np.where(np.arange(len(calls)) % 3 == 0, "mix", None)
    found = callback_picture(frames, HOUSE)
    mix, unknown = found["by"]["fault"]
    assert (mix["group"], unknown["group"]) == ("mix", "unknown")
    assert mix["pours"] == unknown["pours"] == 60
    assert mix["callbacks"] == (calls["fault"] == "mix").sum()
    assert mix["callbacks"] + unknown["callbacks"] == len(calls)
    assert mix["all_in_usd"] + unknown["all_in_usd"] == pytest.approx(found["whole"]["all_in_usd"])


def test_young_floors_come_back_with_their_defects_too():
    young = picture(3, 40, Truth(0.9), years=0.3)
    assert young["state"] == "too_young"
    assert young["defects"]
    assert "Usual causes: " in callbacks_text(young)


def test_people_are_not_ranked(clear):
    leads = [row["group"] for row in clear["by"]["lead"]]
    assert leads == sorted(leads)
    assert all("luck_high" not in row for row in clear["by"]["lead"])


def test_no_jargon_and_no_long_line(clear, early):
    for one in (clear, early):
        text = callbacks_text(one)
        assert not re.search(r"quantile|censor|p-value|logistic|Kaplan|prior|None|nan", text)
        assert max(map(len, text.splitlines())) <= 100
        assert len(text.splitlines()) <= 95


def test_the_picture_is_json_and_the_same_each_time(clear):
    again = picture(1, 400, Truth(0.15, {"dried_fast": 4.0}))
    assert json.dumps(clear, allow_nan=False) == json.dumps(again, allow_nan=False)


def test_looks_and_correction_are_stated(clear):
    risk = clear["risk"]
    looked = [row for row in risk["effects"] if row["looked_at"]]
    assert risk["correction"] == {
        "method": "Benjamini and Hochberg 1995", "false_share": 0.05, "looks": len(looked),
    }  # fmt: skip
    assert risk["prior"]["m"] > 0
    assert {row["name"] for row in risk["effects"]} == set(FEATURES) == set(HABITS)


def test_no_pours_and_only_young_pours():
    empty = crew(np.random.default_rng(0), 3, Truth(0.1)).frames
    empty = {name: frame.iloc[:0] for name, frame in empty.items()}
    assert callback_picture(empty, {}) == {"state": "no_pours"}
    assert "pourstats load" in callbacks_text({"state": "no_pours"})
    young = picture(3, 12, Truth(0.3), years=0.3)
    assert young["state"] == "too_young"
    text = callbacks_text(young)
    assert "180 days, 365 outdoors" in text
    assert "Still to come" in text or "before a first call" in " ".join(text.split())


def test_no_calls_at_all_promise_nothing():
    none = picture(4, 50, Truth(0.00001))
    text = callbacks_text(none)
    assert "0 of" in text
    assert "nothing to pay for yet" in text
    assert none["still_to_come"]["expected"] > 0
    assert none["whole"]["rate_p95"] > 0.03


def test_without_pay_the_cost_is_not_made_up():
    frames = crew(np.random.default_rng(5), 80, Truth(0.2), young=False).frames
    frames["crew"] = frames["crew"].iloc[:0]
    found = callback_picture(frames, {})
    assert found["whole"]["all_in_cost_per_yd3"] is None
    assert "default_pay" in callbacks_text(found)
    assert "$" not in callbacks_text(found).split("THE HABIT")[0].replace("`pourstats", "")


def test_floors_are_marked_by_the_record_only_for_what_it_tells(clear, early):
    told = {row["habit"] for row in clear["advice"]}
    marked = [row for row in clear["floors"] if row["look_at"] == "record"]
    assert marked
    for row in marked:
        assert row["chance"] >= 1.5 * row["usual"]
        assert {each["habit"] for each in row["reasons"] if each["by"] == "record"} <= told
    assert not [row for row in early["floors"] if row["look_at"] == "record"]


def test_a_job_ahead_has_a_chance_and_a_cost(clear):
    frames = crew(np.random.default_rng(1), 400, Truth(0.15, {"dried_fast": 4.0})).frames
    jobs = pd.DataFrame(
        {"pour_id": ["J1", "J2"], "date": pd.Timestamp("2031-06-03"), "slab_type": "shop",
         "thickness": 5.0, "finish": "hard_trowel"}
    )  # fmt: skip
    mild, dry = job_callbacks(jobs, frames, HOUSE, [0.02, 0.30])
    assert mild["chance"] < dry["chance"]
    for row in (mild, dry):
        assert row["p05"] < row["chance"] < row["p95"]
        for usd in (row["cost_usd"], row["each_usd"]):
            assert usd["p05"] < usd["mean"] < usd["p95"]
        assert row["cost_usd"]["mean"] == pytest.approx(row["chance"] * row["each_usd"]["mean"])
        # Calls are drawn with 8 h and 225 USD on average; an hour is 30 USD and burden.
        paid = 30.0 * (1.0 + float(RULES["burden"].default or 0.0))
        assert row["each_usd"]["p05"] < 8.0 * paid + 225.0 < row["each_usd"]["p95"]
    assert [each["habit"] for each in dry["reasons"]] == ["dried_fast"]
    unknown, _ = job_callbacks(jobs, frames, HOUSE)
    assert mild["chance"] < unknown["chance"] < dry["chance"]


def test_a_job_without_any_record_is_unknown():
    frames = {name: frame.iloc[:0] for name, frame in
              crew(np.random.default_rng(0), 3, Truth(0.1)).frames.items()}  # fmt: skip
    (row,) = job_callbacks(pd.DataFrame({"pour_id": ["J"]}), frames, {})
    assert row["chance"] is None
    assert row["cost_usd"] is row["each_usd"] is None


def test_a_log_of_pours_and_calls_alone_has_its_page(tmp_path):
    from pourstats.learning.callbacks.record import FRAMES
    from pourstats.store.database import Store
    from pourstats.store.loading import load
    from pourstats.store.reading import frames

    days = pd.date_range("2030-04-01", periods=60, freq="6D").strftime("%Y-%m-%d")
    ids = [f"p{k}" for k in range(60)]
    pd.DataFrame(
        {"pour_id": ids, "date": days, "site": "Oak", "slab_type": ["shop", "patio"] * 30,
         "area": 600, "thickness": 4, "ordered_volume": 8, "cure": ["none", "wet", ""] * 20}
    ).to_csv(tmp_path / "pours.csv", index=False)  # fmt: skip
    pd.DataFrame(
        {"callback_id": range(9), "pour_id": ids[:36:4], "reported": "2031-05-01",
         "defect": "dusting", "hours": 3, "cost": 50}
    ).to_csv(tmp_path / "callbacks.csv", index=False)  # fmt: skip
    store = Store(tmp_path / "store.duckdb")
    load(store, [tmp_path])
    with store.read() as connection:
        found = callback_picture(frames(connection, *FRAMES), {"default_pay": 20.0})
    json.dumps(found, allow_nan=False)
    assert found["whole"]["pours_called_back"] == 9
    # 9 calls of 3 h at 20 USD and 0.35 burden and 50 USD each, over the old floors' 8 yd3 each
    spent = 9 * (3 * 20 * 1.35 + 50)
    assert found["whole"]["all_in_cost_per_yd3"] == pytest.approx(
        spent / (8 * found["whole"]["pours"])
    )
    states = {row["name"]: row["state"] for row in found["risk"]["effects"]}
    assert states["no_cure"] in ("cant_tell", "no_sign", "told")
    assert states["water_added"] == states["dried_fast"] == "not_logged"
    assert "log " in found["advice"][0]["do"] or found["advice"][0]["habit"]
    assert callbacks_text(found).count("came back") >= 1


# NRMCA's Concrete in Practice sheets by number; 3, 23 and 40 from memory.
SHEETS = {"dusting": 1, "scaling": 2, "crazing": 3, "random_crack": 4, "plastic_crack": 5,
          "joint_spall": 6, "joint_ravel": 6, "blister": 13, "curling": 19, "delamination": 20,
          "discoloration": 23, "popout": 40}  # fmt: skip


def test_every_defect_of_the_log_is_explained():
    assert set(DEFECTS) == set(DEFECT_CHOICES)
    assert {name: each.cip for name, each in DEFECTS.items() if each.cip} == SHEETS
    for defect in DEFECTS.values():
        assert defect.looks and defect.causes and defect.reference


def test_a_blank_cost_is_named_call_by_call():
    frames = crew(np.random.default_rng(5), 80, Truth(0.2), young=False).frames
    calls = frames["callbacks"].copy()
    ids, floors = calls["callback_id"].astype(str), calls["pour_id"]
    calls.loc[0, "hours"], calls.loc[1:6, "cost"] = np.nan, np.nan
    said = cost_sentence(callback_picture({**frames, "callbacks": calls}, HOUSE))
    count = len(calls)
    assert "Coming back costs at least $" in said
    assert f"the hours of 1 of {count} calls: {ids[0]} ({floors[0]});" in said
    named = ", ".join(f"{ids[row]} ({floors[row]})" for row in range(1, 5))
    assert f"the dollars beside labor of 6 of {count} calls: {named} and 2 more;" in said
    assert "default_pay" not in said
    calls["cost"] = np.nan
    said = cost_sentence(callback_picture({**frames, "callbacks": calls}, HOUSE))
    assert "can't be told yet" in said
    assert f"the dollars beside labor of {count} of {count} calls: {ids[0]}" in said
    whole = callback_picture(frames, HOUSE)
    assert whole["blank_calls"] == []
    assert "Blank" not in cost_sentence(whole)


@pytest.mark.parametrize(
    ("pours", "expected", "p05", "p95", "words"),
    [
        (1, 0.12, 0, 1, "the one floor too young to count comes back with a chance of 12 %"),
        (1, 0.02, 0, 0, "the one floor too young to count comes back with a chance of 2 %"),
        (7, 0.04, 0, 0, "nine times in ten or more, none of the 7 floors too young to count"),
        (7, 0.40, 0, 2, "less than one of the 7 floors too young to count (nine times in ten 0 to"),
        (68, 5.7, 1, 12, "about 6 of the 68 floors too young to count (nine times in ten 1 to 12)"),
    ],
)
def test_few_still_to_come_read_plainly(clear, pours, expected, p05, p95, words):
    coming = {**clear["still_to_come"], "pours": pours, "expected": expected, "p05": p05,
              "p95": p95}  # fmt: skip
    said = coming_sentence({**clear, "still_to_come": coming})
    assert words in said
    assert "0 to 0" not in said
    assert "about 0" not in said


def test_the_latest_calls_are_set_against_the_usual_pace():
    # Ten calls, each after nineteen good floors: five come in a hundred floors, as before.
    run = {"calls": 5, "floors": 100, "usual_floors": 100.0, "chance": 0.5, "told": False}
    steady = run_sentence({"bad_run": run})
    assert steady.startswith("The latest 5 that came back are among 100 floors in a row, before as")
    assert "can be luck" in steady
    bad = run_sentence({"bad_run": {**run, "floors": 9, "chance": 0.0004, "told": True}})
    assert bad.startswith("A bad run: the latest 5 that came back are among 9 floors in a row")
    assert run_sentence(None) == run_sentence({"bad_run": None}) == ""


def test_a_pour_says_if_it_is_to_be_looked_at_and_why(clear):
    frames = crew(np.random.default_rng(1), 400, Truth(0.15, {"dried_fast": 4.0})).frames
    marked = next(row for row in clear["floors"] if row["look_at"] == "record")
    mine = floor_outlook(frames, HOUSE, marked["pour_id"])
    assert mine is not None and mine["state"] == "waiting"
    for name in ("chance", "p05", "p95", "usual"):
        assert mine[name] == pytest.approx(marked[name])
    assert (mine["look_at"], mine["reasons"]) == ("record", marked["reasons"])
    text = " ".join(outlook_sentences(mine))
    assert "your own record marks it" in text
    assert f"was {100 * mine['chance']:.0f} %" in text
    assert marked["reasons"][0]["words"] in text
    json.dumps(mine, allow_nan=False)
    unmarked = next(row for row in clear["floors"] if not row["look_at"])
    (plain, *_) = outlook_sentences(floor_outlook(frames, HOUSE, unmarked["pour_id"]))
    assert plain == "Not marked to be looked at."
    back = str(frames["callbacks"]["pour_id"].iloc[0])
    known = floor_outlook(frames, HOUSE, back)
    assert (known["state"], known["chance"], known["look_at"]) == ("called_back", None, None)
    assert floor_outlook(frames, HOUSE, "nobody's") is None


def test_a_cost_that_rests_on_few_calls_or_one_says_so(clear):
    frames = crew(np.random.default_rng(5), 80, Truth(0.2), young=False).frames
    calls = frames["callbacks"].copy()
    calls["cost"], calls["hours"] = 100.0, 0.0
    calls.loc[3, "cost"] = 100.0 * len(calls)
    found = callback_picture({**frames, "callbacks": calls}, HOUSE)
    count = len(calls)
    share = round(100 * count / (2 * count - 1))
    call, floor = calls.loc[3, ["callback_id", "pour_id"]]
    said = cost_sentence(found)
    assert f"{share} % of it is one call, {call} ({floor})." in said
    assert "too few calls" not in said
    assert "is one call" not in cost_sentence(clear)
    two = callback_picture({**frames, "callbacks": calls.iloc[:2]}, HOUSE)
    assert "too few calls to say closer" in cost_sentence(two)


def test_three_floors_do_not_tell_how_many_come_back(clear):
    # Where the last floor that is watched is called, the product-limit curve falls to none left.
    few = {**clear, "whole": {**clear["whole"], "pours": 0, "young_pours": 3},
           "still_to_come": {**clear["still_to_come"], "pours": 2}}  # fmt: skip
    said = coming_sentence(few)
    assert said.startswith("How many of the 2 floors too young to count will come back can't be")
    assert "told from 3 floors." in said and "Still to come" not in said


def test_one_floor_of_the_year_is_told_in_words(clear):
    year = {**clear["this_year"], "pours": 1, "pours_called_back": 0, "verdict": "too_early"}
    assert year_sentence(year).startswith(
        "The one floor of the last twelve months hasn't come back"
    )
    none = {**clear, "still_to_come": {**clear["still_to_come"], "pours": 1},
            "time_to_call": {"all": {"calls": 0}}}  # fmt: skip
    assert coming_sentence(none).startswith("Whether the one floor too young to count")


def test_huge_figures_stay_in_their_columns(clear):
    row = {**clear["by"]["cure"][0], "hours_per_yd3": 450.0, "all_in_cost_per_yd3": 4518224.8}
    blank = {**clear["by"]["cure"][1], "all_in_cost_per_yd3": None}
    text = groups_text({**clear, "by": {**clear["by"], "cure": [row, blank]}}, "cure")
    assert "450.00 4,518,224.80" in text
    assert "-: hours, dollars or a wage are blank for these calls." in text
    assert "-: hours" not in groups_text(clear, "cure")


def test_the_charts_of_rare_events_read_with_their_printed_limits(clear):
    def charts(floors, days):
        return {
            "g": {**g_limits(floors), "gaps": floors, "in_part": 0},
            "t": {**t_limits(days), "gaps": days},
        }

    said = gaps_sentence(charts([G_MEAN + 5, G_MEAN - 5], [40.0, 20.0]))
    assert f"lie {G_MEAN:.0f} good ones on average, lately 15" in said
    assert f"over {G_UPPER:.0f}. Between calls lie 30 days, lately 20" in said
    assert f"over {30 * T_UPPER:.0f}." in said
    assert gaps_sentence(None) == ""
    assert gaps_sentence(clear["watch"]) in " ".join(callbacks_text(clear).split())
