"""Loads: waits, stays, free minutes and how long the crew stood without concrete."""


def load(ticket, **times):
    return {"pour_id": "A", "ticket": ticket, "volume": 9} | times


def test_three_loads_that_a_foreman_can_add_up(log):
    log.pour()
    log.add(
        "trucks",
        load("101", due="6:45", batched="6:10", arrived="6:50", pour_start="7:00", pour_end="7:36",
             left="7:50"),
        load("102", due="7:30", batched="6:55", arrived="7:25", pour_start="7:40", pour_end="8:25",
             left="9:25"),
        load("103", volume=4, called="balance", due="9:00", batched="8:30", arrived="9:10",
             pour_start="9:15", pour_end="9:30"),
    )  # fmt: skip
    rows = log.rows("truck_times", "ticket")
    first, second, third = rows["101"], rows["102"], rows["103"]
    assert (first["wait_min"], first["unload_min"], first["site_min"]) == (10, 36, 60)
    assert first["unload_min_per_yd3"] == 4
    assert first["age_min"] == 86
    assert (first["late_min"], first["first_late_min"]) == (5, 5)
    # 10 free minutes a yard until set (common practice, no source): 90 free, 60 stayed
    assert (first["free_min"], first["over_min"], first["over_from"]) == (90, 0, "left")
    assert first["starved_min"] == 0

    assert (second["late_min"], second["first_late_min"]) == (-5, None)
    assert (second["stay_min"], second["over_min"]) == (120, 30)
    assert second["starved_min"] == 0, "it stood there before the first was empty"

    assert third["site_min"] is None
    assert (third["stay_min"], third["over_min"], third["over_from"]) == (20, 0, "pour_end")
    assert third["starved_min"] == 45
    assert third["called"] == "balance", "so that totals can leave it out"
    assert [row["load_no"] for row in (first, second, third)] == [1, 2, 3]


def test_the_house_rule_for_free_minutes_holds(log):
    log.pour()
    log.add("trucks", load("1", arrived="7:00", pour_end="8:00"))
    assert log.one("truck_times")["free_from"] == "assumed"
    log.house(free_min_per_yd3=5)
    log.add("settings", {"name": "free_min_per_yd3", "value": "5"})
    row = log.one("truck_times")
    assert (row["free_min"], row["over_min"], row["free_from"]) == (45, 15, "house")


def test_where_the_clock_starts_when_it_was_due_an_early_truck_waits_free(log):
    log.pour()
    log.add("trucks", load("1", due="7:00", arrived="6:30", left="8:40"),
            load("2", due="8:00", arrived="8:20", left="10:00"))  # fmt: skip
    log.house(free_clock="due")
    rows = log.rows("truck_times", "ticket")
    assert (rows["1"]["site_min"], rows["1"]["stay_min"], rows["1"]["over_min"]) == (130, 100, 10)
    assert (rows["2"]["stay_min"], rows["2"]["over_min"]) == (100, 10)


def test_an_early_first_load_is_not_late(log):
    log.pour()
    log.add("trucks", load("1", due="7:00", arrived="6:40"))
    row = log.one("truck_times")
    assert (row["late_min"], row["first_late_min"]) == (-20, 0)


def test_a_late_left_over_midnight(log):
    log.pour()
    log.add("trucks", load("1", arrived="23:30", pour_start="23:40", pour_end="2031-06-04 0:10",
                           left="2031-06-04 1:30"))  # fmt: skip
    row = log.one("truck_times")
    assert (row["wait_min"], row["unload_min"], row["site_min"], row["over_min"]) == (
        10,
        30,
        120,
        30,
    )


def test_unloading_counts_the_yards_that_came_out(log):
    log.pour()
    log.add("trucks", load("1", returned=1, pour_start="7:00", pour_end="7:40"),
            load("2", returned=9, pour_start="8:00", pour_end="8:01"))  # fmt: skip
    rows = log.rows("truck_times", "ticket")
    assert rows["1"]["unload_min_per_yd3"] == 5
    assert rows["2"]["unload_min_per_yd3"] is None


def test_unknown_times_leave_blanks_not_zeros(log):
    log.pour()
    log.add("trucks", load("1", arrived="7:00", pour_start="7:05"), load("2", arrived="8:00"),
            load("3", pour_start="9:00", pour_end="9:30"), load("4"), load("5"))  # fmt: skip
    rows = log.rows("truck_times", "ticket")
    assert rows["1"]["starved_min"] == 0
    assert rows["2"]["starved_min"] is None, "when the first was empty isn't known"
    assert rows["3"]["starved_min"] is None, "when it came isn't known"
    assert rows["4"]["starved_min"] is None
    assert rows["5"]["load_no"] is None
    for name in (
        "unload_min",
        "site_min",
        "age_min",
        "late_min",
        "stay_min",
        "over_min",
        "over_from",
    ):
        assert rows["2"][name] is None
    assert rows["2"]["free_min"] == 90


def test_the_only_load_is_the_first_whatever_is_known_of_it(log):
    log.pour()
    log.add("trucks", load("1", due="7:00"))
    row = log.one("truck_times")
    assert (row["load_no"], row["starved_min"], row["first_late_min"]) == (1, 0, None)


def test_loads_follow_each_other_by_unloading_not_by_arrival(log):
    log.pour()
    # the second truck in was unloaded first
    log.add("trucks", load("1", arrived="7:00", pour_start="7:50", pour_end="8:10"),
            load("2", arrived="7:10", pour_start="7:15", pour_end="7:40"),
            load("3", arrived="8:30"))  # fmt: skip
    rows = log.rows("truck_times", "ticket")
    assert [rows[ticket]["load_no"] for ticket in "123"] == [2, 1, 3]
    assert [rows[ticket]["starved_min"] for ticket in "123"] == [0, 0, 20]


def test_equal_starts_go_by_arrival_then_ticket(log):
    log.pour()
    log.add("trucks", load("1", arrived="7:20", pour_start="7:30", pour_end="8:00"),
            load("2", arrived="7:10", pour_start="7:30", pour_end="7:50"),
            load("3", arrived="8:15", pour_start="8:20", pour_end="8:50"))  # fmt: skip
    rows = log.rows("truck_times", "ticket")
    assert [rows[ticket]["load_no"] for ticket in "123"] == [2, 1, 3]
    assert rows["3"]["starved_min"] == 15


def test_pours_keep_their_loads_apart(log):
    log.pour("A")
    log.pour("B")
    log.add("trucks", load("1", arrived="7:00", pour_end="7:30"),
            load("1", arrived="9:00", pour_end="9:30") | {"pour_id": "B"})  # fmt: skip
    rows = log.rows("truck_times", "pour_id", "ticket")
    assert rows["B", "1"]["starved_min"] == 0
