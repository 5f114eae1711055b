"""Plans beside what the log says: the last plan before the pour counts, and sums that add up."""

import pandas as pd
import pytest

from pourstats.planning import scored
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
    assert "First concrete, one floor: 10 min late on average" in text
    assert "$900 of labor planned, $600 logged (overtime not in it)" in text


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


def two_floors(moved_to=DAY, second=True):
    """A plan of two floors, 14 paid hours in all; the second perhaps placed on another day, or
    never."""
    result = planned()
    (day,) = result["days"]
    day["pours"].append(day["pours"][0] | {"pour_id": "M2"})
    day["overtime_h"] = 2.4
    given = frames(kept(result, at("05:00")))
    if second:
        row = given["pours"].iloc[0].to_dict() | {"pour_id": "M2", "date": moved_to}
        row |= {name: row[name] + (moved_to - DAY) for name in ("place_start", "place_end")}
        given["pours"] = pd.concat([given["pours"], pd.DataFrame([row])], ignore_index=True)
        more = given["pour_output"].assign(pour_id="M2", paid_h=3.0)
        given["pour_output"] = pd.concat([given["pour_output"], more], ignore_index=True)
    return given


def test_the_hours_of_a_day_are_those_of_all_its_floors():
    found = afterwards.plans_and_log(two_floors())
    (day,) = found["days"]
    assert day["paid_h"] == {"planned": 14.0, "happened": 15.0}
    assert day["missing"] == []
    text = " ".join(after_lines(found))
    assert "$900 of labor planned with 2 h of overtime" in text
    # Both ten minutes late by the clock.
    assert "First concrete, 2 floors: 10 min late on average." in text


def test_a_floor_placed_on_another_day_is_compared_with_nothing():
    found = afterwards.plans_and_log(two_floors(DAY + pd.Timedelta(days=1)))
    assert [pour["pour_id"] for pour in found["pours"]] == ["M1"]
    assert found["moved"] == [{"pour_id": "M2", "planned": "2031-07-08", "date": "2031-07-09"}]
    # Nor are the hours of the two-floor day held against those of the one floor.
    (day,) = found["days"]
    assert (day["pours"], day["missing"]) == (["M1"], ["M2"])
    assert day["paid_h"]["happened"] is None
    text = " ".join(after_lines(found))
    assert "M2: planned for 2031-07-08, placed on 2031-07-09" in text
    assert "paid hours planned" not in text


def test_a_planned_floor_that_was_never_placed_stops_the_days_sum():
    (day,) = afterwards.plans_and_log(two_floors(second=False))["days"]
    assert (day["missing"], day["paid_h"]["happened"]) == (["M2"], None)


def test_a_day_is_held_against_the_plan_made_before_it_began():
    again = planned()
    again["days"][0]["pours"][0]["pour_id"] = "M2"
    given = two_floors()
    given["pours"].loc[given["pours"]["pour_id"] == "M2", "place_start"] = at("11:00")
    again["days"][0]["paid_h"] = {"A": {"p50": 4.0}}
    given["forecasts"] = pd.concat([given["forecasts"], kept(again, at("09:15"))])
    (day,) = afterwards.plans_and_log(given)["days"]
    assert day["paid_h"]["planned"] == 14.0


def test_first_concrete_is_held_against_when_it_was_to_be_out_not_against_the_order():
    result = planned("07:00")
    result["days"][0]["pours"][0]["first_concrete"] = spread("06:58", "07:08", "07:25")
    (pour,) = afterwards.plans_and_log(frames(kept(result, at("05:00"))))["pours"]
    # Ordered for 7:00, likely out at 7:08, out at 7:10.
    first = pour["moments"]["place_start"]
    assert (first["planned"], first["off_min"], first["within"]) == ("07:08", 2, True)


def test_what_a_plan_told_for_another_day_isnt_scored():
    given = two_floors(DAY + pd.Timedelta(days=1))
    told = [("M1", 600.0), ("M2", 600.0)]
    more = pd.DataFrame(
        [
            (name, "first_pass_min", level, value)
            for name, value in told
            for level in (0.1, 0.5, 0.9)
        ],
        columns=["pour_id", "target", "quantile", "value"],
    ).assign(issued_at=at("05:00"), command="plan")
    start = pd.to_datetime(given["pours"]["place_start"])
    passes = pd.DataFrame({
        "pour_id": given["pours"]["pour_id"], "first_pass": True,
        "start": start + pd.Timedelta(hours=3), "since_placed_min": 100.0,
    })  # fmt: skip
    given |= {"forecasts": pd.concat([given["forecasts"], more]), "pass_intervals": passes}
    given["pour_output"] = given["pour_output"].assign(crew_h=5.0)
    rows = scored.scored(given)["targets"]["first_pass_min"]["rows"]
    assert [row["pour_id"] for row in rows] == ["M1"]
