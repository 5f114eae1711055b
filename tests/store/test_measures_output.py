"""What a pour and a day got done, in floors that a foreman can add up by hand."""

import pytest

# Square feet that a cubic yard covers, by thickness in inches: 324 / thickness (27 ft3, 12 in/ft).
# Divisors 162, 108, 81, 64.8, 54 and "41" for 8 in as ready-mix producers print them.
COVERAGE_FT2 = {2: 162, 3: 108, 4: 81, 5: 65, 6: 54, 8: 41, 9: 36, 12: 27}


@pytest.mark.parametrize(("thickness", "covered_ft2"), COVERAGE_FT2.items())
def test_a_yard_covers_what_the_printed_table_says(log, thickness, covered_ft2):
    log.pour(area=covered_ft2, thickness=thickness)
    # printed in whole feet: half a foot either way
    a_yard_ft2 = covered_ft2 / log.one("pour_output")["plan_yd3"]
    assert a_yard_ft2 == pytest.approx(covered_ft2, abs=0.5)


def test_placed_is_the_tickets_less_what_was_returned(log):
    log.pour(area=810, thickness=4, ordered_volume=11)
    log.add("trucks", {"pour_id": "A", "ticket": "1", "volume": 9},
            {"pour_id": "A", "ticket": "2", "volume": 3, "returned": 1.5})  # fmt: skip
    row = log.one("pour_output")
    assert (row["placed_yd3"], row["placed_from"], row["loads"]) == (10.5, "tickets", 2)
    assert row["plan_yd3"] == pytest.approx(10)
    assert row["overrun_pct"] == pytest.approx(5)


def test_without_loads_the_order_counts_and_without_that_the_plan(log):
    log.pour("A", area=810, ordered_volume=11)
    log.pour("B", area=810)
    rows = log.rows("pour_output", "pour_id")
    assert (rows["A"]["placed_yd3"], rows["A"]["placed_from"]) == (11, "order")
    assert rows["A"]["overrun_pct"] == pytest.approx(10)
    assert (rows["B"]["placed_yd3"], rows["B"]["placed_from"]) == (10, "plan")
    assert rows["B"]["overrun_pct"] is None
    assert rows["B"]["loads"] == 0


def test_a_morning_by_tasks(log):
    log.pour(area=900, thickness=4, ordered_volume=12, place_start="7:00", place_end="9:00")
    log.crew_time(
        ("A", "al", "travel", "5:30", "6:00"),
        ("A", "al", "set_up", "6:00", "7:00"),
        ("A", "al", "place", "7:00", "9:00"),
        ("A", "al", "wait", "9:00", "10:30", "set"),
        ("A", "al", "finish", "10:30", "13:00"),
        ("A", "bo", "place", "7:00", "9:00"),
        ("A", "bo", "wait", "9:00", "9:30", "others"),
        ("A", "bo", "clean_up", "9:30", "10:00"),
        ("A", "al", "saw", "2031-06-04 7:00", "2031-06-04 8:00"),
        ("A", "al", "travel", "2031-06-04 6:30", "2031-06-04 7:00"),
        ("A", "bo", "return_visit", "2031-07-01 8:00", "2031-07-01 10:00"),
    )
    row = log.one("pour_output")
    assert row["hours_from"] == "crew_time"
    assert row["place_labor_h"] == 4
    assert row["finish_labor_h"] == 2.5
    assert row["saw_labor_h"] == 1, "a trip back to saw is work on the pour"
    assert row["wait_labor_h"] == 2
    assert row["other_labor_h"] == 1.5
    assert row["labor_h"] == 11
    assert row["travel_h"] == 1
    assert row["return_h"] == 2
    assert row["paid_h"] == 14
    assert row["finish_stay_h"] == 4, "finishing and the wait for set, not the wait for others"
    # 6:00 to 13:00 and the saw's hour; travel and the return visit apart
    assert row["crew_h"] == 8
    assert row["mean_hands"] == pytest.approx(11 / 8)
    assert row["yd3_per_crew_h"] == pytest.approx(12 / 8)
    assert row["yd3_per_labor_h"] == pytest.approx(12 / 11)
    assert row["ft2_per_labor_h"] == pytest.approx(900 / 11)
    assert row["finish_ft2_per_labor_h"] == pytest.approx(900 / 2.5)
    assert row["finish_stay_ft2_per_labor_h"] == pytest.approx(900 / 4)
    assert row["labor_h_per_100ft2"] == pytest.approx(11 / 9)
    assert row["place_yd3_per_h"] == pytest.approx(6)
    assert row["workers"] == 2


def test_an_unpaid_break_is_a_gap(log):
    log.pour()
    log.crew_time(("A", "al", "place", "7:00", "9:00"), ("A", "al", "finish", "9:30", "11:00"))
    row = log.one("pour_output")
    assert (row["labor_h"], row["crew_h"]) == (3.5, 3.5)


def test_hours_run_on_over_midnight(log):
    log.pour(place_start="20:00", place_end="22:00")
    log.crew_time(("A", "al", "place", "20:00", "22:00"),
                  ("A", "al", "finish", "23:30", "2031-06-04 3:00"))  # fmt: skip
    row = log.one("pour_output")
    assert (row["labor_h"], row["crew_h"], row["finish_labor_h"]) == (5.5, 5.5, 3.5)
    assert log.one("day_output")["clock_h"] == 5.5
    assert list(log.frame("day_output")["pours"]) == [1], "all of it on the pour's own day"


def test_headcount_hours(log):
    log.pour(hands=4, finish_hands=2, crew_in="6:30", place_start="7:00", place_end="9:00",
             crew_out="13:00")  # fmt: skip
    row = log.one("pour_output")
    assert row["labor_h"] == 4 * 2.5 + 2 * 4
    assert row["hours_from"] == "headcount"
    assert row["crew_h"] == 6.5
    assert row["mean_hands"] == pytest.approx(18 / 6.5)
    assert row["paid_h"] == 18
    for name in ("place_labor_h", "finish_labor_h", "saw_labor_h", "wait_labor_h", "other_labor_h",
                 "finish_stay_h", "travel_h", "return_h", "finish_ft2_per_labor_h"):  # fmt: skip
        assert row[name] is None


@pytest.mark.parametrize(
    ("missing", "hours"),
    [
        ({"crew_in": None}, 4 * 2 + 2 * 4),
        ({"finish_hands": None}, 4 * 2.5 + 4 * 4),
        ({"crew_out": None, "passes_done": "12:00", "saw_end": "12:30"}, 4 * 2.5 + 2 * 3.5),
        ({"crew_out": None, "passes_done": "12:00"}, 4 * 2.5 + 2 * 3),
    ],
)
def test_where_something_stood_in_the_hours_say_so(log, missing, hours):
    whole = {"hands": 4, "finish_hands": 2, "crew_in": "6:30", "place_start": "7:00",
             "place_end": "9:00", "crew_out": "13:00"}  # fmt: skip
    log.pour(**(whole | missing))
    row = log.one("pour_output")
    assert row["labor_h"] == hours
    assert row["hours_from"] == "headcount_part"


def test_the_last_pass_stands_in_for_gone(log):
    log.pour(hands=3, crew_in="7:00", place_start="7:00", place_end="9:00", passes_done="11:00")
    log.add("passes", {"pour_id": "A", "pass_no": 1, "start": "10:00", "end": "10:30"},
            {"pour_id": "A", "pass_no": 2, "start": "11:00", "end": "11:40"})  # fmt: skip
    row = log.one("pour_output")
    assert row["labor_h"] == pytest.approx(3 * 2 + 3 * (2 + 40 / 60))
    assert row["pass_h"] == pytest.approx(70 / 60)


@pytest.mark.parametrize("missing", ["hands", "place_end", "crew_out"])
def test_without_what_it_takes_hours_are_blank_not_zero(log, missing):
    whole = {"hands": 4, "finish_hands": 2, "crew_in": "6:30", "place_end": "9:00",
             "crew_out": "13:00"}  # fmt: skip
    log.pour(**(whole | {missing: None}))
    row = log.one("pour_output")
    assert row["labor_h"] is None
    assert row["paid_h"] is None
    assert row["hours_from"] is None
    assert row["labor_cost_usd"] is None
    assert row["ft2_per_labor_h"] is None


def test_a_return_visit_alone_leaves_the_hours_to_the_headcount(log):
    log.pour("A", hands=4, crew_in="7:00", place_end="9:00", crew_out="11:00")
    log.pour("B")
    for pour_id, worker in (("A", "al"), ("B", "bo")):
        log.crew_time((pour_id, worker, "travel", "2031-07-01 7:30", "2031-07-01 8:00"),
                      (pour_id, worker, "return_visit", "2031-07-01 8:00", "2031-07-01 9:00"))  # fmt: skip
    rows = log.rows("pour_output", "pour_id")
    assert rows["A"]["labor_h"] == 16
    assert rows["A"]["hours_from"] == "headcount_part"
    assert (rows["A"]["travel_h"], rows["A"]["return_h"], rows["A"]["paid_h"]) == (0.5, 1, 17.5)
    assert rows["A"]["saw_labor_h"] is None
    assert rows["B"]["labor_h"] is None
    assert (rows["B"]["travel_h"], rows["B"]["return_h"], rows["B"]["paid_h"]) == (0.5, 1, None)


def test_pay_is_the_one_that_held_on_the_day(log):
    for pour_id, date in (("A", "2031-06-03"), ("B", "2031-06-05"), ("C", "2031-05-01")):
        log.pour(pour_id, date=date)
        log.crew_time((pour_id, "al", "place", f"{date} 7:00", f"{date} 9:00"))
    log.add("crew", {"worker": "al", "pay": 20}, {"worker": "al", "since": "2031-06-01", "pay": 24},
            {"worker": "al", "since": "2031-06-05", "pay": 30})  # fmt: skip
    rows = log.rows("pour_output", "pour_id")
    # burden 0.35 until set (common practice, no source)
    assert rows["A"]["labor_cost_usd"] == pytest.approx(2 * 24 * 1.35)
    assert rows["B"]["labor_cost_usd"] == pytest.approx(2 * 30 * 1.35)
    assert rows["C"]["labor_cost_usd"] == pytest.approx(2 * 20 * 1.35)
    assert {row["cost_from"] for row in rows.values()} == {"crew"}


def test_unknown_pay_takes_the_houses_or_leaves_the_cost_blank(log):
    log.pour()
    log.crew_time(("A", "al", "place", "7:00", "9:00"), ("A", "bo", "place", "7:00", "10:00"),
                  ("A", "cy", "travel", "6:00", "7:00"))  # fmt: skip
    log.add("crew", {"worker": "al", "pay": 20}, {"worker": "bo", "since": "2031-06-04", "pay": 99})
    row = log.one("pour_output")
    assert (row["labor_cost_usd"], row["cost_from"]) == (None, None)
    log.house(default_pay=30, burden=0.5)
    row = log.one("pour_output")
    assert row["labor_cost_usd"] == pytest.approx((2 * 20 + 3 * 30) * 1.5)
    assert row["cost_from"] == "crew_and_default"
    log.connection.execute("delete from crew")
    row = log.one("pour_output")
    assert row["labor_cost_usd"] == pytest.approx(5 * 30 * 1.5)
    assert row["cost_from"] == "default"


def test_headcount_hours_cost_the_default_pay(log):
    log.pour(hands=2, crew_in="7:00", place_end="9:00", crew_out="11:00")
    assert log.one("pour_output")["labor_cost_usd"] is None
    log.house(default_pay=20)
    row = log.one("pour_output")
    assert (row["labor_cost_usd"], row["cost_from"]) == (pytest.approx(8 * 20 * 1.35), "default")


def test_a_slab_struck_off_in_no_time_has_no_rate(log):
    log.pour(place_start="7:00", place_end="7:00")
    assert log.one("pour_output")["place_yd3_per_h"] is None


def test_a_day_of_two_pours(log):
    log.pour("A", ordered_volume=10)
    log.pour("B", ordered_volume=14)
    log.pour("C", ordered_volume=5, date="2031-06-04")
    log.crew_time(
        ("A", "al", "travel", "6:00", "6:30"),
        ("A", "al", "place", "6:30", "9:00"),
        ("A", "bo", "place", "7:00", "9:00"),
        ("B", "bo", "travel", "9:00", "9:30"),
        ("B", "bo", "place", "9:30", "11:00"),
        ("A", "al", "finish", "10:00", "12:00"),
        ("A", "al", "return_visit", "2031-06-20 8:00", "2031-06-20 9:00"),
    )
    rows = log.rows("day_output", "date")
    day, other = (row for _, row in sorted(rows.items()))
    assert (day["pours"], day["placed_yd3"]) == (2, 24)
    assert day["labor_h"] == 2.5 + 2 + 1.5 + 2
    assert day["paid_h"] == 8 + 0.5 + 0.5 + 1
    # 6:00 to 12:00 without a gap, and the return visit's hour
    assert day["clock_h"] == 7
    assert day["yd3_per_clock_h"] == pytest.approx(24 / 7)
    assert day["yd3_per_paid_h"] == pytest.approx(24 / 10)
    assert (other["pours"], other["labor_h"], other["clock_h"]) == (1, None, None)
    assert other["yd3_per_paid_h"] is None


def test_a_pour_without_hours_is_not_in_the_days_rates(log):
    log.pour("A", ordered_volume=10, hands=4, crew_in="7:00", place_end="9:00", crew_out="12:00")
    log.pour("B", ordered_volume=90)
    row = log.one("day_output")
    assert (row["pours"], row["pours_with_hours"], row["placed_yd3"]) == (2, 1, 100)
    assert (row["labor_h"], row["clock_h"]) == (20, 5)
    assert row["yd3_per_paid_h"] == pytest.approx(10 / 20)
    assert row["yd3_per_clock_h"] == pytest.approx(10 / 5)


def test_days_add_up_to_pours(log):
    for number in range(8):
        pour_id = str(number)
        log.pour(pour_id, date=f"2031-06-{3 + number // 3:02d}", ordered_volume=10 + number, hands=3,
                 crew_in="7:00", place_end="9:00", crew_out=f"{11 + number % 4}:00")  # fmt: skip
        if number % 2:
            log.crew_time((pour_id, f"w{number}", "place", "7:00", f"9:{number:02d}"))
    log.house(default_pay=20)
    pours, days = log.frame("pour_output"), log.frame("day_output")
    for name in ("placed_yd3", "labor_h", "paid_h", "area_ft2", "labor_cost_usd"):
        assert days[name].sum() == pytest.approx(pours[name].sum())
    assert days["pours"].sum() == 8
