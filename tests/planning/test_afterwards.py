"""Plans beside what the log says: the last plan before the pour counts, and sums that add up."""

import pandas as pd
import pytest

from pourstats.planning.day import afterwards
from pourstats.reporting.planned_after import after_lines

DAY = pd.Timestamp("2031-07-08")


def at(clock, day=DAY):
    return day + pd.Timedelta(clock + ":00")


def spread(low, middle, high):
    return {"p10": f"2031-07-08T{low}", "p50": f"2031-07-08T{middle}", "p90": f"2031-07-08T{high}"}


def planned(start="07:00", chance=0.9):
    """One day with one floor, in the shape that the plan prints."""
    pour = {
        "pour_id": "M1", "place_start": f"2031-07-08T{start}",
        "place_end": spread("07:50", "08:00", "08:30"),
        "first_pass": spread("09:30", "10:00", "11:00"),
        "last_pass_end": spread("11:30", "12:00", "13:00"),
        "saw_done": spread("13:00", "13:30", "14:30"), "chance_done": chance, "saw": "early_entry",
        "done_by": "2031-07-08T14:00",
    }  # fmt: skip
    day = {"date": "2031-07-08", "pours": [pour], "chance_done_in_day": chance,
           "labor_cost_usd": {"mean": 900.0}, "paid_h": {"A": {"p50": 8.0}, "B": {"p50": 6.0}}}  # fmt: skip
    return {"days": [day]}


def kept(result, issued):
    rows = afterwards.kept_numbers(result)
    frame = pd.DataFrame(rows, columns=["pour_id", "target", "quantile", "value"])
    return frame.assign(issued_at=issued, command="plan")


def frames(told, **pour):
    row = {
        "pour_id": "M1", "date": DAY, "place_start": at("07:10"), "place_end": at("08:20"),
        "machine_on": at("09:20"), "passes_done": at("12:30"), "saw_end": at("13:40"),
    }  # fmt: skip
    return {
        "forecasts": told,
        "pours": pd.DataFrame([row | pour]),
        "passes": pd.DataFrame(
            {"pour_id": ["M1", "M1"], "part": ["edges", "whole"],
             "start": [at("09:25"), at("10:15")], "end": [at("09:40"), at("12:20")]}
        ),
        "pour_output": pd.DataFrame(
            {"pour_id": ["M1"], "labor_h": [10.0], "paid_h": [12.0], "labor_cost_usd": [500.0]}
        ),
        "day_output": pd.DataFrame({"date": [DAY], "paid_h": [12.0]}),
    }  # fmt: skip


def test_each_moment_stands_beside_what_happened():
    found = afterwards.plans_and_log(frames(kept(planned(), at("05:00"))))
    (pour,) = found["pours"]
    off = {name: one["off_min"] for name, one in pour["moments"].items()}
    # By the clock: 7:10 for 7:00, 8:20 for 8:00, the first pass over the whole 10:15 for 10:00 (the
    # edges before it don't count), 12:20 for 12:00, 13:40 for 13:30.
    assert off == {
        "place_start": 10, "place_end": 20, "first_pass": 15, "last_pass_end": 20, "saw_done": 10,
    }  # fmt: skip
    assert all(one["within"] for name, one in pour["moments"].items() if name != "place_start")
    assert pour["done"] is True
    (day,) = found["days"]
    assert day["paid_h"] == {"planned": 14.0, "happened": 12.0}
    # 500 dollars for ten hours is fifty an hour; twelve were paid.
    assert day["labor_usd"] == {"planned": 900.0, "happened": 600.0}
    text = " ".join(after_lines(found))
    assert "last pass off 12:00 planned, 12:20" in text
    assert "$900 of labor planned, $600 logged" in text


def test_the_last_plan_before_the_pour_counts():
    told = pd.concat(
        [
            kept(planned("06:30"), at("16:00", DAY - pd.Timedelta(days=1))),
            kept(planned("07:00"), at("05:30")),
            kept(planned("09:00"), at("08:00")),  # the floor was under way by then
        ]
    )
    (pour,) = afterwards.plans_and_log(frames(told))["pours"]
    assert pour["moments"]["place_start"]["planned"] == "07:00"


def test_done_is_what_the_log_says_or_nothing():
    told = kept(planned(), at("05:00"))
    late = afterwards.plans_and_log(frames(told, saw_end=at("14:10")))
    assert late["pours"][0]["done"] is False
    unknown = afterwards.plans_and_log(frames(told, saw_end=pd.NaT))
    assert unknown["pours"][0]["done"] is None
    assert unknown["pours"][0]["moments"]["saw_done"]["happened"] is None


@pytest.mark.parametrize("name", ["forecasts", "pours"])
def test_nothing_planned_or_logged_is_nothing_told(name):
    given = frames(kept(planned(), at("05:00")))
    given[name] = given[name].iloc[:0]
    found = afterwards.plans_and_log(given)
    assert found["pours"] == []
    assert after_lines(found) == []
