"""Passes in their order, their gaps and lengths, in rows that a foreman can add up."""

import pandas as pd


def one_pass(number, start, end=None, **more):
    return {"pour_id": "A", "pass_no": number, "start": start, "end": end} | more


def test_three_passes_that_a_foreman_can_add_up(log):
    log.pour(place_start="7:00", place_end="9:00", bull_float_end="9:20")
    log.add("passes", one_pass(1, "11:20", "11:50"), one_pass(2, "12:20", "12:45"),
            one_pass(3, "12:40"))  # fmt: skip
    rows = log.rows("pass_intervals", "pass_no")
    assert [rows[n]["since_placed_min"] for n in (1, 2, 3)] == [140, 200, 220]
    assert [rows[n]["since_start_min"] for n in (1, 2, 3)] == [260, 320, 340]
    assert [rows[n]["gap_min"] for n in (1, 2, 3)] == [120, 30, -5]
    assert [rows[n]["pass_min"] for n in (1, 2, 3)] == [30, 25, None]
    assert [rows[n]["first_pass"] for n in (1, 2, 3)] == [True, False, False]


def test_without_a_bull_float_time_the_gap_counts_from_strike_off(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "10:30"))
    row = log.one("pass_intervals")
    assert (row["gap_min"], row["since_start_min"]) == (90, None)


def test_a_machine_that_chases_the_placing_is_kept_negative(log):
    log.pour(place_start="7:00", place_end="11:00", bull_float_end="11:10")
    log.add("passes", one_pass(1, "10:00", "12:00", part="first_end"))
    row = log.one("pass_intervals")
    assert (row["since_placed_min"], row["gap_min"], row["since_start_min"]) == (-60, -70, 180)


def test_edges_are_no_first_pass(log):
    log.pour(place_start="7:00", place_end="9:00", machine_on="10:00")
    log.add(
        "passes", one_pass(1, "10:00", "10:20", part="edges"), one_pass(2, "10:50", part="whole")
    )
    rows = log.rows("pass_intervals", "pass_no")
    assert (rows[1]["first_pass"], rows[2]["first_pass"]) == (False, True)
    assert (rows[1]["gap_min"], rows[2]["gap_min"]) == (60, 30)
    weather = log.one("pour_weather")
    assert weather["to_time"] == pd.Timestamp("2031-06-03 10:50")


def test_edges_alone_are_no_first_pass(log):
    log.pour(place_start="7:00", place_end="9:00", machine_on="10:00")
    log.add("passes", one_pass(1, "10:00", "10:20", part="edges"))
    assert log.one("pass_intervals")["first_pass"] is False
    assert log.one("pour_weather")["to_time"] == pd.Timestamp("2031-06-03 11:00")


def test_passes_follow_each_other_by_the_clock_whatever_their_number(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "11:00", "11:30"), one_pass(2, "10:00", "10:20"))
    rows = log.rows("pass_intervals", "pass_no")
    assert (rows[1]["gap_min"], rows[2]["gap_min"]) == (40, 60)


def test_a_first_pass_without_a_part_is_one(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "10:00", part="edges"), one_pass(2, "10:10"),
            one_pass(3, "10:05", part="last_end"))  # fmt: skip
    rows = log.rows("pass_intervals", "pass_no")
    assert [rows[n]["first_pass"] for n in (1, 2, 3)] == [False, False, True], (
        "the earliest, by the clock"
    )


def test_machine_on_stands_in_where_no_pass_is_logged(log):
    log.pour("A", place_start="7:00", place_end="9:00", bull_float_end="9:10", machine_on="11:00",
             passes_done="13:00", pass_count=3)  # fmt: skip
    log.pour("B", place_end="9:00", machine_on="11:00")
    log.pour("C", place_end="9:00")
    log.add("passes", one_pass(1, "11:30") | {"pour_id": "B"})
    rows = log.rows("pass_intervals", "pour_id")
    assert set(rows) == {"A", "B"}
    assert (rows["A"]["pass_no"], rows["A"]["since_placed_min"], rows["A"]["gap_min"]) == (
        1,
        120,
        110,
    )
    assert (rows["A"]["pass_min"], rows["A"]["first_pass"]) == (None, True)
    assert (rows["A"]["pass_from"], rows["B"]["pass_from"]) == ("machine_on", "passes")
    assert rows["B"]["since_placed_min"] == 150


def test_passes_over_midnight(log):
    log.pour(place_start="19:00", place_end="21:00")
    log.add("passes", one_pass(1, "23:30", "2031-06-04 0:15"), one_pass(2, "2031-06-04 1:00"))
    rows = log.rows("pass_intervals", "pass_no")
    assert (rows[1]["pass_min"], rows[2]["gap_min"], rows[2]["since_placed_min"]) == (45, 45, 240)


def test_the_gap_after_a_pass_without_end_is_blank(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "10:00"), one_pass(2, "11:00"))
    assert log.rows("pass_intervals", "pass_no")[2]["gap_min"] is None


def test_equal_starts_go_by_number(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(2, "10:00", "10:30", part="last_end"),
            one_pass(1, "10:00", "10:20", part="first_end"))  # fmt: skip
    rows = log.rows("pass_intervals", "pass_no")
    assert (rows[1]["first_pass"], rows[2]["first_pass"]) == (True, False)
    assert (rows[1]["gap_min"], rows[2]["gap_min"]) == (60, -20)
