"""What the record teaches about loads: pace, lateness, overrun; and that doubt shrinks with loads."""

import numpy as np
import pandas as pd
import pytest

from pourstats.learning import unloading
from tests.published_trucks import OVERRUN
from tests.simulators.trucks_yard import DAY, Yard, times

YD3 = np.array([10.0, 10.0, 5.0])
HOURS = np.array([7.0, 7.75, 8.5])


def frames(pours, seed=1, **truth):
    yard = Yard(np.random.default_rng(seed), **truth)
    logged, loads = yard.log(pours)
    return yard, {"pours": logged, "trucks": loads, "truck_times": times(logged, loads)}


def job(**changes):
    row = {
        "pour_id": "J", "date": DAY, "site": "A", "slab_type": "garage", "area": 800.0,
        "thickness": 5.0, "hands": 5, "placement": "chute", "slump": 5.0, "plant_travel": 25.0,
    }  # fmt: skip
    return pd.Series(row | changes)


def test_without_a_record_the_pace_is_the_published_one_and_wide():
    found = unloading.fit({})
    drawn = found.loads_of(job(), YD3, HOURS)
    per_yd3 = drawn.unload_min[:, 0] / 10
    # A chute gives 10 yd3 in 10 to 20 minutes at best (common practice, no source): a crew that
    # strikes off behind it is no faster than a minute a yard.
    assert 1.0 < np.quantile(per_yd3, 0.05) < 2.5 < np.median(per_yd3) < 6.0
    assert (found.loads, found.pours, found.timed_late) == (0, 0, 0)
    assert OVERRUN[0] <= found.overrun[0] <= OVERRUN[1]


def test_a_slow_crew_is_learned_and_doubt_shrinks():
    _, few = frames(3, crew=1.6)
    yard, many = frames(60, crew=1.6)
    few_drawn = unloading.fit(few).loads_of(job(), YD3, HOURS).unload_min[:, 0]
    drawn = unloading.fit(many).loads_of(job(), YD3, HOURS).unload_min[:, 0]
    truth = yard.pace_min(dict(job()), YD3, 4000)[:, 0]
    assert np.median(drawn) == pytest.approx(np.median(truth), rel=0.08)
    spread = lambda x: np.quantile(np.log(x), 0.9) - np.quantile(np.log(x), 0.1)  # noqa: E731
    assert spread(drawn) < spread(few_drawn)
    assert spread(drawn) == pytest.approx(spread(truth), rel=0.35)


def test_methods_keep_their_order():
    _, many = frames(60)
    found = unloading.fit(many)
    middle = [
        np.median(found.loads_of(job(placement=how), YD3, HOURS).unload_min[:, 0])
        for how in ("pump", "chute", "buggy")
    ]
    assert middle == sorted(middle)  # the simulator's 3.1, 4.2 and 6.0 min/yd3


def test_lateness_is_learned_with_its_tail():
    yard, many = frames(80, stuck=0.25, stuck_min=30.0, usual_late=5.0)
    late = unloading.fit(many).loads_of(job(), YD3, HOURS).late_min[:, 1]
    truth = yard.late_min(3, 4000)[:, 1]
    assert np.mean(late) == pytest.approx(np.mean(truth), abs=4.0)
    assert np.quantile(late, 0.95) == pytest.approx(np.quantile(truth, 0.95), rel=0.4)


def test_loads_of_a_pour_share_its_morning():
    _, many = frames(60)
    drawn = unloading.fit(many).loads_of(job(), YD3, HOURS)
    pace = np.log(drawn.unload_min[:, :2])
    assert np.corrcoef(pace.T)[0, 1] > 0.2


def test_draws_repeat_and_hang_on_the_job():
    _, many = frames(20)
    found = unloading.fit(many)
    one, again = found.loads_of(job(), YD3, HOURS), found.loads_of(job(), YD3, HOURS)
    other = found.loads_of(job(pour_id="K"), YD3, HOURS)
    assert np.array_equal(one.unload_min, again.unload_min)
    assert not np.array_equal(one.unload_min, other.unload_min)


def test_slips_are_not_learned_from():
    _, many = frames(40)
    spoiled = {name: frame.copy() for name, frame in many.items()}
    rows = spoiled["truck_times"].index[:5]
    spoiled["truck_times"].loc[rows, "unload_min_per_yd3"] = 90.0
    spoiled["truck_times"].loc[rows, "late_min"] = -1400.0
    found = unloading.fit(spoiled)
    assert found.loads == len(many["truck_times"]) - 5
    assert found.timed_late == len(many["truck_times"]) - 5


def test_balance_loads_say_nothing_of_lateness():
    _, many = frames(20)
    called = many["truck_times"].copy()
    called["called"] = np.where(called["load_no"] == 2, "balance", called["called"])
    found = unloading.fit(many | {"truck_times": called})
    assert found.timed_late == (called["called"] != "balance").sum()


def test_the_allowance_follows_tickets_only():
    output = pd.DataFrame(
        {"pour_id": list("abcdef"), "placed_from": ["tickets"] * 4 + ["plan", "order"],
         "overrun_pct": [9.0, 10.0, 11.0, 10.0, 0.0, 50.0]}
    )  # fmt: skip
    found = unloading.fit({"pour_output": output, "pours": output})
    assert found.overrun_pours == 4
    # Eight pours' worth of the usual six percent and four of ten: (8 x 6 + 40) / 12.
    assert found.overrun[0] == pytest.approx(0.0733, abs=1e-4)


def test_a_crew_that_times_no_loads_is_known_by_its_length_of_placing():
    yard, logged = frames(40, crew=1.5)
    pours, loads = logged["pours"], logged["trucks"]
    ended = loads.groupby("pour_id")["pour_end"].max()
    started = loads.groupby("pour_id")["pour_start"].min()
    untimed = pours.assign(
        place_start=pours["pour_id"].map(started),
        place_end=pours["pour_id"].map(ended) + pd.Timedelta(minutes=8),
    )
    found = unloading.fit({"pours": untimed})
    assert (found.loads, found.placings) == (0, len(pours))
    drawn = found.loads_of(job(), YD3, HOURS).unload_min[:, 0]
    truth = np.median(yard.pace_min(dict(job()), YD3, 4000)[:, 0])
    blank = np.median(unloading.fit({}).loads_of(job(), YD3, HOURS).unload_min[:, 0])
    # Waits for late trucks are in it: somewhat slower than the crew is, never as far off as blank.
    assert truth * 0.9 < np.median(drawn) < truth * 1.35
    assert abs(np.log(np.median(drawn) / truth)) < abs(np.log(blank / truth))
    both = unloading.fit(logged | {"pours": untimed})
    assert both.placings == 0


def test_a_pour_without_its_times_or_its_area_teaches_no_pace():
    pours = pd.DataFrame(
        {"pour_id": ["A", "B"], "place_start": [pd.Timestamp(DAY), pd.NaT],
         "place_end": [pd.NaT, pd.Timestamp(DAY)], "area": [400.0, np.nan], "thickness": [4.0, 4.0]}
    )  # fmt: skip
    assert unloading.fit({"pours": pours}).placings == 0
