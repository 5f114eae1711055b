"""The day's plan: its shape, what it never does, its odds, and the day under way."""

import json
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.planning.day import kept_numbers, plan
from pourstats.planning.day.daylight import daylight
from pourstats.planning.day.fitting import beside, fitting
from pourstats.planning.day.outcome import BREACH_USD
from pourstats.planning.day.search import lacking, search
from pourstats.planning.day.sheet import sheet
from pourstats.planning.day.unplanned import WORDS, reason_of
from tests.published_trucks import SUNRISE_H, SUNSET_H
from tests.simulators.trucks_day import brute_best, invented_day, small_day

DAY = pd.Timestamp("2031-07-08")
LEVELS = ["p05", "p10", "p25", "p50", "p75", "p90", "p95"]
TASKS = {"set_up", "place", "finish", "saw", "wait", "travel", "clean_up"}


def at(clock):
    return DAY + pd.Timedelta(clock + ":00")


def job(name, site, **changes):
    row = {
        "pour_id": name, "date": DAY, "site": site, "slab_type": "basement", "area": 900.0,
        "thickness": 4.0, "hands": 3.0, "finish_hands": 1.0, "exposure": "shade",
        "finish": "trowel", "base": "stone", "placement": "chute", "saw_type": "early_entry",
        "earliest_start": pd.NaT, "latest_end": pd.NaT, "place_start": pd.NaT, "travel": 15.0,
        "plant_travel": 20.0, "ordered_volume": np.nan, "saw_length": 120.0,
    }  # fmt: skip
    return row | changes


def jobs(*rows):
    return pd.DataFrame(list(rows))


def sky(*sites, start=DAY, days=3):
    times = pd.date_range(start - pd.Timedelta(days=1), periods=24 * days, freq="h")
    frame = pd.DataFrame(
        {
            "time": times, "humidity": 50.0, "wind": 5.0, "wind_height": np.nan, "sun": 300.0,
            "cloud": np.nan, "air_temp": 72 + 10 * np.sin((times.hour - 9) / 24 * 2 * np.pi),
        }
    )  # fmt: skip
    return pd.concat([frame.assign(site=site) for site in sites], ignore_index=True)


CREW = pd.DataFrame(
    {
        "worker": ["A", "B", "C", "D", "E"], "since": pd.NaT,
        "pay": [38.0, 33.0, 28.0, 25.0, 22.0],
        "skills": ["place;finish;saw", "place;finish", "place;finish", "place;saw", "place"],
    }
)  # fmt: skip
HOUSE = {"vehicles": 3.0}
TWO = jobs(job("M1", "Maple"), job("O1", "Oak", area=700.0, travel=20.0))


@pytest.fixture(scope="module")
def two():
    return plan(TWO, sky("Maple", "Oak"), {"crew": CREW}, HOUSE)


def minutes(one, other):
    return (datetime.fromisoformat(other) - datetime.fromisoformat(one)).total_seconds() / 60


def nothing_silly(result, rows, crew=CREW):
    """What a foreman would laugh at: see each line."""
    skills = {r["worker"]: r["skills"] for r in crew.to_dict("records")}
    for day in result["days"]:
        planned = {pour["pour_id"]: pour for pour in day["pours"]}
        given = {row["pour_id"]: row for row in rows.to_dict("records")}
        by_worker = {}
        for task in day["tasks"]:
            assert task["task"] in TASKS
            assert task["start"] <= task["end"]
            by_worker.setdefault(task["worker"], []).append(task)
        for worker, tasks in by_worker.items():
            # Nobody in two places.
            for one, other in pairwise(tasks):
                assert one["end"] <= other["start"], (worker, one, other)
            # From one slab to another there is a drive; the day begins and ends at the shop.
            assert tasks[0]["task"] == tasks[-1]["task"] == "travel"
            drives = [m for m in day["moves"] if m["worker"] == worker]
            assert drives[0]["from"] == drives[-1]["to"] == "shop"
            for one, other in pairwise(drives):
                assert one["to"] == other["from"]
            place, road = "shop", iter(drives)
            for task in tasks:
                if task["task"] == "travel":
                    drive = next(road)
                    assert (drive["from"], drive["at"]) == (place, task["start"])
                    place = drive["to"]
                else:
                    assert place == task["pour_id"], (worker, task)
        for name, pour in planned.items():
            own = [t for t in day["tasks"] if t["pour_id"] == name]
            placing = {t["worker"] for t in own if t["task"] == "place"}
            finishing = [t for t in own if t["task"] == "finish"]
            assert len(placing) >= given[name]["hands"]
            assert len({t["worker"] for t in finishing}) >= given[name]["finish_hands"]
            # A finisher with the skill stays to the last pass.
            last = pour["last_pass_end"]["p50"]
            assert any(
                "finish" in skills[t["worker"]] and abs(minutes(t["end"], last)) <= 1
                for t in finishing
            )
            # No truck ordered before the forms are set.
            set_up = [t["end"] for t in own if t["task"] == "set_up"]
            # (one agreed on may be tight)
            assert minutes(pour["place_start"], max(set_up)) <= (10 if pour["agreed"] else 1)
            # The finisher is there one day in ten earlier than it is ready.
            first = min(
                t["start"] for t in own
                if t["task"] in ("finish", "wait", "saw")
                and t["worker"] in {f["worker"] for f in finishing}
            )  # fmt: skip
            placed = pour["place_end"]["p50"]
            # (to the three minutes that the plan allows itself)
            assert minutes(max(pour["ready"]["p10"], placed), first) <= 3
            opens = given[name].get("earliest_start")
            if opens is not None and not pd.isna(opens):
                assert (
                    min(t["start"] for t in own if t["task"] == "set_up")
                    >= f"{opens:%Y-%m-%dT%H:%M}"
                )
            for key in ("place_end", "first_pass", "last_pass_end"):
                values = list(pour[key].values())
                assert values == sorted(values)
            assert pour["place_start"] <= pour["place_end"]["p50"] <= pour["last_pass_end"]["p50"]
        # No trowel and no saw in two places.
        for unit in {row["machine"] for row in day["machines"]}:
            stays = sorted(
                (r["start"], r["end"], r["pour_id"])
                for r in day["machines"]
                if r["machine"] == unit
            )
            for one, other in pairwise(stays):
                assert one[1] <= other[0], (unit, one, other)
        # A saw runs while whoever has it saws.
        for row in day["machines"]:
            if row["machine"].startswith("saw"):
                sawing = [
                    (t["start"], t["end"]) for t in day["tasks"]
                    if (t["task"], t["pour_id"]) == ("saw", row["pour_id"])
                    and [t["worker"]] == row["worker"]
                ]  # fmt: skip
                assert sawing == [(row["start"], row["end"])]


def test_the_promised_keys_are_there_and_it_is_json(two):
    json.dumps(two, allow_nan=False)
    day = two["days"][0]
    promised = {
        "date", "pours", "tasks", "moves", "unplanned", "chance_done_in_day", "labor_cost_usd",
    }  # fmt: skip
    assert promised <= set(day)
    assert day["date"] == "2031-07-08"
    assert day["unplanned"] == []
    for pour in day["pours"]:
        assert {
            "pour_id",
            "place_start",
            "place_end",
            "first_pass",
            "last_pass_end",
            "saw_done",
        } <= set(pour)
        assert list(pour["place_end"]) == LEVELS
        datetime.strptime(pour["place_start"], "%Y-%m-%dT%H:%M")
    for task in day["tasks"]:
        assert {"worker", "pour_id", "task", "start", "end"} <= set(task)
    for move in day["moves"]:
        assert {"worker", "from", "to", "at"} <= set(move)
    assert 0 <= day["chance_done_in_day"] <= 1
    assert day["labor_cost_usd"]["mean"] > 0


def test_nothing_silly_in_a_two_pour_day(two):
    nothing_silly(two, TWO)


def test_the_same_call_gives_the_same_plan(two):
    assert plan(TWO, sky("Maple", "Oak"), {"crew": CREW}, HOUSE) == two


def test_the_wages_add_up(two):
    # Hours x pay x 1.35, half as much again over eight: the mean of draws lies near the medians'.
    day = two["days"][0]
    pay = dict(zip(CREW["worker"], CREW["pay"], strict=True))
    total = 0.0
    for worker, spread in day["paid_h"].items():
        tasks = [t for t in day["tasks"] if t["worker"] == worker]
        shift = minutes(tasks[0]["start"], tasks[-1]["end"]) / 60
        assert spread["p50"] <= shift + 0.1
        total += pay[worker] * 1.35 * (spread["p50"] + 0.5 * max(spread["p50"] - 8.0, 0.0))
    assert day["labor_cost_usd"]["mean"] == pytest.approx(total, rel=0.08)


def test_agreed_starts_are_kept_and_site_times_too():
    rows = jobs(
        job("M1", "Maple", place_start=at("07:30")),
        job("O1", "Oak", earliest_start=at("09:00"), latest_end=at("20:00")),
    )
    result = plan(rows, sky("Maple", "Oak"), {"crew": CREW}, HOUSE)
    nothing_silly(result, rows)
    pours = {pour["pour_id"]: pour for pour in result["days"][0]["pours"]}
    assert pours["M1"]["place_start"] == "2031-07-08T07:30"
    assert pours["O1"]["set_up"] >= "2031-07-08T09:00"
    assert pours["O1"]["done_by"] == "2031-07-08T20:00"


def test_who_is_off_does_nothing_and_strangers_are_named():
    result = plan(jobs(job("M1", "Maple")), sky("Maple"), {"crew": CREW}, HOUSE, off=("A",))
    assert "A" not in {task["worker"] for task in result["days"][0]["tasks"]}
    with pytest.raises(Refusal, match=r"nobody of that name.*A, B, C, D, E"):
        plan(jobs(job("M1", "Maple")), sky("Maple"), {"crew": CREW}, HOUSE, off=("Z",))


def test_too_few_people_leave_a_slab_out_and_say_why():
    rows = jobs(job("M1", "Maple", hands=7.0))
    day = plan(rows, sky("Maple"), {"crew": CREW}, HOUSE)["days"][0]
    assert day["pours"] == []
    assert day["unplanned"][0]["pour_id"] == "M1"
    assert "7 hands and 5 are there" in day["unplanned"][0]["reason"]
    assert day["chance_done_in_day"] == 0


def test_one_finisher_for_two_slabs_at_once_is_seen():
    crew = CREW.assign(skills=["place;finish;saw", "place", "place", "place;saw", "place"])
    rows = jobs(
        job("M1", "Maple", place_start=at("07:00"), hands=2.0),
        job("O1", "Oak", place_start=at("07:00"), hands=2.0),
    )
    day = plan(rows, sky("Maple", "Oak"), {"crew": crew}, HOUSE)["days"][0]
    assert len(day["unplanned"]) == 1
    assert "finish" in day["unplanned"][0]["reason"]


def test_one_trowel_is_never_on_two_slabs():
    rows = jobs(
        job("M1", "Maple", place_start=at("07:00"), hands=2.0),
        job("O1", "Oak", place_start=at("07:00"), hands=2.0),
    )
    crew = CREW.assign(skills="place;finish;saw")
    house = HOUSE | {"trowels_walk_behind": 1.0, "saws": 2.0}
    day = plan(rows, sky("Maple", "Oak"), {"crew": crew}, house)["days"][0]
    assert len(day["unplanned"]) == 1
    assert "trowel" in day["unplanned"][0]["reason"]
    day = plan(rows, sky("Maple", "Oak"), {"crew": crew}, house | {"trowels_walk_behind": 2.0})
    assert day["days"][0]["unplanned"] == []


def test_a_week_is_a_day_after_the_other():
    later = DAY + pd.Timedelta(days=1)
    rows = jobs(job("M1", "Maple"), job("O1", "Oak", date=later))
    result = plan(rows, sky("Maple", "Oak", days=4), {"crew": CREW}, HOUSE)
    assert [day["date"] for day in result["days"]] == ["2031-07-08", "2031-07-09"]
    assert [day["pours"][0]["pour_id"] for day in result["days"]] == ["M1", "O1"]


def test_nothing_is_sawn_where_nothing_is_to_be():
    result = plan(jobs(job("M1", "Maple", saw_type="none")), sky("Maple"), {"crew": CREW}, HOUSE)
    pour = result["days"][0]["pours"][0]
    assert pour["saw_done"] is None
    assert "saw" not in {task["task"] for task in result["days"][0]["tasks"]}
    assert result["days"][0]["chance_done_in_day"] == pour["chance_done"]


def test_it_works_from_nothing_and_says_so():
    result = plan(jobs(job("M1", "Maple")), None, None, {})
    assert result["rests_on"] == "published values"
    assert any("No crew is known" in note for note in result["notes"])
    assert any("No forecast" in note for note in result["notes"])
    assert result["days"][0]["pours"]


def test_a_shorter_day_is_a_smaller_chance():
    def chance(until):
        rows = jobs(
            job("M1", "Maple", place_start=at("08:00"), latest_end=at(until), saw_type="none")
        )
        return plan(rows, sky("Maple"), {"crew": CREW}, HOUSE)["days"][0]["chance_done_in_day"]

    assert chance("13:30") <= chance("15:00") <= chance("20:00")
    assert chance("20:00") > 0.9


def test_daylight_is_that_of_the_published_example():
    rise, fall = daylight(pd.Timestamp("2003-10-17"), 39.742476, -105.1786, "Etc/GMT+7")
    assert fall == pytest.approx(SUNSET_H, abs=0.02)
    assert rise == pytest.approx(SUNRISE_H, abs=0.02)


def test_outdoors_no_start_before_sunrise_and_lights_after_sunset():
    sites = pd.DataFrame(
        {"site": ["Maple"], "latitude": [44.0], "longitude": [-93.0], "zone": ["America/Chicago"]}
    )
    winter = pd.Timestamp("2031-12-02")
    rows = jobs(
        job("M1", "Maple", date=winter, exposure="sun", slab_type="driveway", finish="broom")
    )
    cold = sky("Maple", start=winter).assign(air_temp=40.0)
    result = plan(rows, cold, {"crew": CREW, "sites": sites}, HOUSE)
    pour = result["days"][0]["pours"][0]
    # Sunrise in Minnesota early in December is after half past seven (almanacs).
    assert pour["place_start"] >= "2031-12-02T07:30"
    late = rows.assign(place_start=winter + pd.Timedelta(hours=13))
    result = plan(late, cold, {"crew": CREW, "sites": sites}, HOUSE)
    assert any("lights" in caution["do"] for caution in result["days"][0]["cautions"])


def test_the_day_under_way_keeps_what_has_happened():
    pours = pd.DataFrame(
        {"pour_id": ["M1"], "place_start": [at("07:30")], "place_end": [at("08:20")]}
    )
    crew_time = pd.DataFrame(
        {"pour_id": "M1", "worker": list("ABE"), "task": "place", "start": at("07:30"),
         "end": at("08:20")}
    )  # fmt: skip
    rows = jobs(job("M1", "Maple", place_start=at("07:30")), job("O1", "Oak"))
    result = plan(
        rows, sky("Maple", "Oak"), {"crew": CREW}, HOUSE, now=at("09:15"),
        so_far={"pours": pours, "crew_time": crew_time},
    )  # fmt: skip
    day = result["days"][0]
    told = {pour["pour_id"]: pour for pour in day["pours"]}
    assert set(told["M1"]["place_end"].values()) == {"2031-07-08T08:20"}
    assert told["M1"]["first_pass"]["p05"] >= "2031-07-08T09:15"
    assert (told["M1"]["begun"], told["O1"]["begun"]) == (True, False)
    assert not any("M1 starts at" in line for line in day["why"])
    assert told["O1"]["place_start"] > "2031-07-08T09:15"
    assert min(task["start"] for task in day["tasks"]) >= "2031-07-08T09:15"
    assert any("M1: placed by 8:20" in note for note in day["notes"])


def test_wet_concrete_that_nobody_can_finish_asks_for_help_at_once():
    pours = pd.DataFrame(
        {"pour_id": ["M1"], "place_start": [at("07:30")], "place_end": [at("08:20")]}
    )
    result = plan(
        jobs(job("M1", "Maple")), sky("Maple"), {"crew": CREW}, HOUSE, off=["A", "B", "C"],
        now=at("09:15"), so_far={"pours": pours},
    )  # fmt: skip
    (left,) = result["days"][0]["unplanned"]
    assert "get help at once" in left["reason"]
    assert "another day" not in left["reason"]


def test_a_slab_that_is_not_ready_yet_is_ready_later():
    pours = pd.DataFrame(
        {"pour_id": ["M1"], "place_start": [at("07:30")], "place_end": [at("08:20")]}
    )
    rows = jobs(job("M1", "Maple", place_start=at("07:30"), hands=3.0))

    def ready(now):
        result = plan(
            rows, sky("Maple"), {"crew": CREW}, HOUSE, now=at(now), so_far={"pours": pours}
        )
        return result["days"][0]["pours"][0]["ready"]["p50"]

    assert ready("08:30") < ready("11:30")
    assert ready("11:30") >= "2031-07-08T11:30"


@pytest.mark.parametrize("seed", range(20))
def test_a_sceptical_foreman_finds_nothing_silly(seed):
    # One to four slabs, three to seven people, one to three trowels, two to four vehicles.
    slabs = (2, 1, 3, 2, 4)[seed % 5]
    day = invented_day(seed, slabs=slabs, people=3 + (seed * 3) % 5, draws=100)
    rules = replace(day.rules, trowels_walk_behind=1 + seed % 3, vehicles=2 + seed % 3)
    day = replace(day, rules=rules)
    doable = [place for place in range(slabs) if lacking(day, place) is None]
    fit = fitting(day, doable, 200)
    assert sorted(fit.kept + fit.left) == doable
    for left in fit.left:
        # What doesn't fit breaks a rule that the plan can name.
        best = beside(day, fit.kept, fit.found[0].choice if fit.kept else None, left)
        reason = reason_of(day.only(sorted([*fit.kept, left])), best)
        assert any(words in reason for words in WORDS.values())
    if not fit.kept:
        return
    kept = day.only(fit.kept)
    told = sheet(kept, fit.found[0], DAY)
    rows = pd.DataFrame(
        [
            {"pour_id": one.pour_id, "hands": one.hands, "finish_hands": one.finish_hands}
            for one in kept.slabs
        ]
    )
    crew = pd.DataFrame(
        [{"worker": one.name, "skills": ";".join(one.skills)} for one in day.people]
    )
    nothing_silly({"days": [told]}, rows, crew)
    vehicles_and_people_add_up(told, rules)


def vehicles_and_people_add_up(told, rules):
    """Reckoned from the printed day alone: who is where, and that no more machines are out."""
    moments = sorted({t[end] for t in told["tasks"] for end in ("start", "end")})
    for moment in moments:
        at = {}
        for task in told["tasks"]:
            if task["start"] <= moment < task["end"]:
                assert task["worker"] not in at, (task["worker"], moment)
                at[task["worker"]] = task
        trowels = [
            row["machine"]
            for row in told["machines"]
            if row["start"] <= moment < row["end"] and row["machine"].startswith("trowel")
        ]
        assert len(trowels) == len(set(trowels)) <= rules.trowels
        for pour in told["pours"]:
            if pour["first_pass"]["p50"] <= moment < pour["last_pass_end"]["p50"]:
                # Nobody of a finish is on the road while it is on.
                finishers = {
                    t["worker"] for t in told["tasks"]
                    if t["task"] == "finish" and t["pour_id"] == pour["pour_id"]
                    and t["start"] <= moment < t["end"]
                }  # fmt: skip
                assert finishers
                assert all(at[name]["task"] == "finish" for name in finishers)
    for drive in told["moves"]:
        assert drive["vehicles"] >= 0
        assert len(drive["rides_with"]) + 1 <= max(drive["vehicles"], 1) * rules.vehicle_seats


@pytest.mark.parametrize(("slabs", "trowels"), [(3, 2), (4, 3)])
def test_three_and_four_slabs_are_planned_with_five_people(slabs, trowels):
    rows = jobs(
        *[job(f"J{i}", f"S{i}", area=700.0 + 150 * (i % 3), travel=15.0 + 5 * (i % 2))
          for i in range(slabs)]
    )  # fmt: skip
    sites = [f"S{i}" for i in range(slabs)]
    house = {"vehicles": 4.0, "trowels_walk_behind": float(trowels)}
    result = plan(rows, sky(*sites), {"crew": CREW}, house)
    day = result["days"][0]
    assert len(day["pours"]) >= 3
    nothing_silly(result, rows)
    # No two of them are placed at once: three hands each, and five are there.
    spans = sorted((p["place_start"], p["place_end"]["p50"]) for p in day["pours"])
    for one, other in pairwise(spans):
        assert one[1] <= other[0]


def test_a_small_day_is_planned_as_brute_force_would():
    day = small_day(1)
    slabs = tuple(replace(one, hands=3, starts=one.starts[::2]) for one in day.slabs)
    day = replace(day, slabs=slabs)
    least, tried = brute_best(day)
    assert tried == (6 * 3) ** 2 * 4
    # A day on which every way breaks a rule would compare little else than the broken rule.
    assert least < BREACH_USD
    assert search(day)[0].outcome.score <= 1.02 * least


def test_what_is_kept_can_be_scored(two):
    rows = kept_numbers(two)
    targets = {target for _, target, _, _ in rows}
    assert {"plan_place_start_min", "plan_first_pass_min", "plan_last_pass_end_min"} <= targets
    own = [r for r in rows if r[0] == "M1" and r[1] == "plan_place_end_min"]
    assert [level for _, _, level, _ in own] == [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95]
    values = [value for *_, value in own]
    assert values == sorted(values)


def test_no_jobs_is_refused_with_the_remedy():
    with pytest.raises(Refusal, match="give a file of jobs"):
        plan(TWO.iloc[:0], None, None, {})
