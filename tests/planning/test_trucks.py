"""Trucks: the line against published queues and SimPy, spacing, order, ages, past waits."""

import json

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.learning.unloading import JobLoads
from pourstats.planning import trucks
from pourstats.planning.truck_line import line
from pourstats.planning.truck_spacing import best_spacing
from pourstats.reporting.trucks import trucks_text
from tests.published_trucks import (
    AGE_LIMIT_MIN,
    FREE_COMMON,
    FREE_MIN_PER_YD3,
    ONE_SERVER,
)
from tests.simulators.trucks_yard import DAY, Yard, times

simpy = pytest.importorskip("simpy", reason="SimPy is the oracle of the truck line")


def drawn(late, unload, change=0.0, wash=0.0, way=35.0):
    late, unload = np.atleast_2d(late).astype(float), np.atleast_2d(unload).astype(float)
    full = np.zeros_like(late)
    return JobLoads(unload, late, full + change, full + wash, full + way)


def jobs(**changes):
    row = {
        "pour_id": "J", "date": DAY, "site": "A", "slab_type": "garage", "area": 1600.0,
        "thickness": 5.0, "hands": 5, "placement": "chute", "slump": 5.0, "plant_travel": 25.0,
        "place_start": DAY + pd.Timedelta(hours=7), "ordered_volume": np.nan,
    }  # fmt: skip
    return pd.DataFrame([row | changes])


@pytest.mark.parametrize(("model", "arrivals", "served", "cv", "in_line", "wait_h"), ONE_SERVER)
def test_waits_are_those_of_pollaczek_and_khinchine(model, arrivals, served, cv, in_line, wait_h):
    # Poisson arrivals are loads due at once, late by a running sum of exponential gaps.
    rng = np.random.default_rng(3)
    n, runs = 4000, 24
    late = np.cumsum(rng.exponential(60 / arrivals, (runs, n)), axis=1)
    mean = 60 / served
    unload = np.full((runs, n), mean) if cv == 0 else rng.gamma(cv**-2, mean * cv**2, (runs, n))
    found = line(0.0, np.full(n, 10.0), drawn(late, unload), False, 1e9, False)
    wait = (found.start_min - found.arrived_min)[:, n // 10 :].mean() / 60
    assert wait == pytest.approx(wait_h, rel=0.06)
    assert wait * arrivals == pytest.approx(in_line, rel=0.06)  # Little's law


def test_the_line_is_simpys():
    rng = np.random.default_rng(4)
    n, runs = 8, 40
    late, unload = rng.normal(5, 15, (runs, n)), rng.gamma(9, 4, (runs, n))
    found = line(35.0, np.full(n, 10.0), drawn(late, unload), False, 1e9, False)
    for row in range(runs):
        seen = {}
        world = simpy.Environment()
        chute = simpy.Resource(world, 1)

        def truck(number, come, need, seen=seen, world=world, chute=chute):
            yield world.timeout(come)
            with chute.request() as turn:
                yield turn
                seen[number] = world.now
                yield world.timeout(need)

        shift = 100.0
        for number in range(n):
            world.process(
                truck(number, shift + 35.0 * number + late[row, number], unload[row, number])
            )
        world.run()
        assert found.start_min[row] == pytest.approx([seen[i] - shift for i in range(n)], abs=1e-6)


def test_three_loads_that_a_foreman_can_add_up():
    # Due 0, 30, 60; come 5, 40, 60; unload 20, 40, 30 minutes; 8 to wash out.
    found = line(30.0, np.array([10.0, 10.0, 10.0]), drawn([5, 10, 0], [20, 40, 30], wash=8.0),
                 False, 3.0, False)  # fmt: skip
    assert found.start_min.tolist() == [[5, 40, 80]]
    assert found.wait_min.tolist() == [20.0]
    assert found.starved_min.tolist() == [15.0]  # 25 to 40
    assert found.gap_min.tolist() == [[15.0, 0.0]]
    assert found.over_min.tolist() == [18.0 + 28.0]  # stays 28, 48, 58; 30 free each
    assert found.age_min.tolist() == [[55.0, 75.0, 85.0]]
    assert found.end_min.tolist() == [110.0]


def test_the_suppliers_clock_may_start_when_the_truck_was_due():
    early = drawn([-20], [40], wash=10.0)
    from_arrival = line(0.0, np.array([10.0]), early, False, 6.0, False)
    from_due = line(0.0, np.array([10.0]), early, False, 6.0, True)
    # At -20, empty at 20 (unloaded at once), gone at 30: 50 minutes from arrival, 30 from due.
    assert (from_arrival.over_min[0], from_due.over_min[0]) == (0.0, 0.0)
    tight = line(0.0, np.array([10.0]), early, False, 4.0, False)
    assert tight.over_min[0] == 10.0
    assert line(0.0, np.array([10.0]), early, False, 4.0, True).over_min[0] == 0.0


def test_the_balance_load_comes_no_sooner_than_it_can_be_driven():
    # Called when half of the load before is out, at 20 + 20/2 = 30... and 35 minutes away.
    found = line(
        20.0, np.array([10.0, 10.0, 2.0]), drawn([0, 0, 0], [20, 20, 5]), True, 10.0, False
    )
    assert found.arrived_min[0].tolist() == [0.0, 20.0, 65.0]
    assert found.starved_min[0] == 0.0
    assert found.idle_min[0] == 25.0


def test_free_time_as_suppliers_print_it():
    # Ten minutes a yard: seven and a half yards have an hour and a quarter (common practice).
    stay = drawn([0], [70], wash=5.0)
    assert line(0.0, np.array([7.5]), stay, False, FREE_COMMON, False).over_min[0] == 0.0
    assert line(
        0.0, np.array([7.5]), drawn([0], [71], wash=5.0), False, FREE_COMMON, False
    ).over_min[0] == pytest.approx(1.0)
    over = [
        line(0.0, np.array([10.0]), stay, False, f, False).over_min[0] for f in FREE_MIN_PER_YD3
    ]
    assert over == [15.0, 5.0]  # 75 minutes' stay; 60 and 70 free


def test_loads_are_full_trucks_and_a_balance():
    assert trucks.loads(31.5)[0].tolist() == [10, 10, 10, 1.5]
    assert trucks.loads(31.5)[1]
    assert trucks.loads(30.0)[0].tolist() == [10, 10, 10]
    assert not trucks.loads(30.0)[1]
    assert trucks.loads(7.25)[0].tolist() == [7.25]


def test_the_promised_keys_are_there_and_it_is_json():
    result = trucks.trucks(jobs(), None, {})
    json.dumps(result, allow_nan=False)
    job = result["jobs"][0]
    promised = {
        "pour_id",
        "loads",
        "load_yd3",
        "spacing_min",
        "wait_min",
        "starved_min",
        "cost_usd",
    }
    assert promised <= set(job)
    assert list(job["wait_min"]) == ["p05", "p10", "p25", "p50", "p75", "p90", "p95"]
    assert job["cost_usd"]["mean"] == pytest.approx(job["idle_usd"] + job["wait_usd"], abs=0.02)
    # 1600 ft2 of 5 in is 24.69 yd3; with 4 to 10 percent (CIP 8), or what eight in ten need.
    assert 25.5 <= job["order_yd3"] <= 27.75
    assert job["loads"] == 3
    assert result["rests_on"] == "published values"
    assert trucks_text(result)


def test_the_spacing_costs_least_on_its_own_curve():
    job = trucks.trucks(jobs(area=3000.0), None, {"free_min_per_yd3": 5.0})["jobs"][0]
    least = min(step["cost_usd"] for step in job["curve"])
    own = next(s for s in job["curve"] if s["spacing_min"] == job["spacing_min"])
    assert own["cost_usd"] <= 1.02 * least
    idle = [step["idle_min"] for step in job["curve"]]
    waits = [step["wait_min"] for step in job["curve"]]
    assert idle == sorted(idle)
    assert waits == sorted(waits, reverse=True)


def test_dear_trucks_come_further_apart_and_dear_people_closer():
    def spacing(**rules):
        return trucks.trucks(jobs(area=3000.0), None, {"free_min_per_yd3": 5.0} | rules)["jobs"][0][
            "spacing_min"
        ]

    assert spacing(truck_wait_usd_per_min=6.0) > spacing(truck_wait_usd_per_min=0.5)
    assert spacing(labor_cost=90.0) < spacing(labor_cost=20.0)


def test_old_concrete_is_spoken_of():
    far = trucks.trucks(jobs(plant_travel=75.0), None, {})["jobs"][0]
    assert far["age_limit_min"] == AGE_LIMIT_MIN
    assert far["chance_too_old"] > 0.9
    assert any("C94" in caution["source"] for caution in far["cautions"])
    near = trucks.trucks(jobs(plant_travel=5.0, area=600.0), None, {"age_limit_min": 150.0})
    assert not near["jobs"][0]["cautions"]


def test_long_gaps_in_heat_ask_for_a_look_at_the_edge():
    hot = pd.DataFrame(
        {"site": "A", "time": pd.date_range(DAY, periods=24, freq="h"), "air_temp": 97.0,
         "humidity": 30.0, "wind": 5.0}
    )  # fmt: skip
    job = trucks.trucks(jobs(area=3000.0), None, {"truck_wait_usd_per_min": 30.0}, hot)["jobs"][0]
    assert any("edge" in caution["do"] for caution in job["cautions"])


def test_what_is_ordered_stands_and_the_difference_is_said():
    result = trucks.trucks(jobs(ordered_volume=24.0), None, {})
    job = result["jobs"][0]
    assert job["order_yd3"] == 24.0
    assert any("allowance" in note for note in job["notes"])


def test_past_waits_balance():
    logged, loads = Yard(np.random.default_rng(2)).log(30)
    counted = times(logged, loads)
    counted["wait_charge_usd"] = np.where(counted["over_min"] > 0, 50.0, np.nan)
    frames = {"pours": logged, "trucks": loads, "truck_times": counted}
    past = trucks.trucks(jobs(), frames, {"default_pay": 30.0})["past"]
    assert past["loads"] == len(counted)
    assert past["over_min"] == pytest.approx(counted["over_min"].sum(), abs=0.1)
    assert past["billed_usd"] == 50.0 * (counted["over_min"] > 0).sum()
    assert past["logged_usd"] == pytest.approx(2.0 * counted["over_min"].sum(), abs=0.1)
    assert sum(row["loads"] for row in past["by_weekday"]) == len(counted)
    hands = counted.merge(logged[["pour_id", "hands"]], on="pour_id")
    worth = (hands["starved_min"] * hands["hands"]).sum() / 60 * 30.0 * 1.35
    assert past["idle_usd"] == pytest.approx(worth, abs=0.1)


def test_a_job_already_poured_teaches_nothing_of_itself():
    logged, loads = Yard(np.random.default_rng(2)).log(30)
    frames = {"pours": logged, "trucks": loads, "truck_times": times(logged, loads)}
    own = logged.iloc[[29]].assign(plant_travel=25.0)
    own_loads = (frames["truck_times"]["pour_id"] == own["pour_id"].iloc[0]).sum()
    assert trucks.trucks(own, frames, {})["loads_logged"] == len(loads) - own_loads


def test_no_jobs_is_refused_with_the_remedy():
    with pytest.raises(Refusal, match="give a file of jobs"):
        trucks.trucks(jobs().iloc[:0], None, {})


@pytest.mark.parametrize(
    ("dues", "house", "told"),
    [
        (["07:00", "08:00"], {}, None),
        # Loaded 10 min, 20 min on the road: half an hour before it is due.
        (["16:30", "17:30"], {}, None),
        (["16:45", "17:31"], {}, "closes at 17:00 (setting plant_close): load 2 would"),
        (["06:15"], {}, "first load is there at 06:30 at the soonest"),
        (["06:15"], {"plant_open": "05:30"}, None),
        (["07:00", "12:00", "13:00"], {"plant_close": "11:00"}, "loads 2 to 3 would"),
    ],
)
def test_loads_outside_the_plants_hours_are_said(dues, house, told):
    from pourstats.planning.truck_hours import outside_hours

    order = [{"load_no": place + 1, "due": f"2031-06-03T{due}"} for place, due in enumerate(dues)]
    found = outside_hours(order, 20.0, house)
    assert (found is None) if told is None else (told in (found or ""))


@pytest.mark.parametrize(
    ("cost", "spacing"),
    [
        # Three dollars in a hundred buy concrete within its age nine times in ten ...
        ([100.0, 100.5, 102.5, 104.0], 20.0),
        # ... ten don't: it is said beside, and left to the owner.
        ([100.0, 100.5, 110.0, 115.0], 15.0),
    ],
)
def test_a_spacing_that_keeps_the_age_is_taken_where_it_costs_hardly_more(cost, spacing):
    tried, old = np.array([12.0, 15.0, 20.0, 26.0]), np.array([0.4, 0.3, 0.08, 0.02])
    assert best_spacing(tried, np.array(cost), old) == spacing
    assert best_spacing(tried, np.array(cost)) == 15.0
