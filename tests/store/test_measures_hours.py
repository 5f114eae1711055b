"""Crew time logged twice: split by hand, and against a count minute by minute."""

from collections import defaultdict
from datetime import date, datetime, timedelta

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pourstats.store import measures


def shares(log):
    """(worker, pour, task) → hours."""
    pieces = log.frame("crew_shares").groupby(["worker", "pour_id", "task"])["minutes"].sum()
    return {key: pytest.approx(minutes / 60) for key, minutes in pieces.items()}


def test_overlapping_stretches_of_one_task_count_once(log):
    log.pour()
    log.crew_time(("A", "al", "place", "7:00", "9:00"), ("A", "al", "place", "8:00", "10:00"),
                  ("A", "al", "place", "8:15", "8:30"), ("A", "al", "place", "10:00", "10:30"))  # fmt: skip
    assert shares(log) == {("al", "A", "place"): 3.5}


def test_a_wait_gives_way_to_work_on_any_pour(log):
    log.pour("A")
    log.pour("B")
    log.crew_time(
        ("A", "al", "wait", "9:00", "12:00", "set"), ("B", "al", "place", "10:00", "11:30")
    )
    assert shares(log) == {("al", "A", "wait"): 1.5, ("al", "B", "place"): 1.5}
    assert log.frame("crew_time_clashes").empty, (
        "waiting on one floor while placing another is no clash"
    )


def test_a_wait_gives_way_to_travel_too(log):
    log.pour()
    log.crew_time(("A", "al", "wait", "9:00", "10:00"), ("A", "al", "travel", "9:30", "10:00"))
    assert shares(log) == {("al", "A", "wait"): 0.5, ("al", "A", "travel"): 0.5}


def test_minutes_are_split_over_pours_first_then_over_tasks(log):
    log.pour("A")
    log.pour("B")
    log.crew_time(("A", "al", "place", "8:00", "9:00"), ("A", "al", "finish", "8:00", "9:00"),
                  ("B", "al", "saw", "8:00", "9:00"))  # fmt: skip
    assert shares(log) == {
        ("al", "A", "place"): 0.25,
        ("al", "A", "finish"): 0.25,
        ("al", "B", "saw"): 0.5,
    }


def test_travel_and_return_visits_take_their_share(log):
    log.pour("A")
    log.pour("B")
    log.crew_time(("A", "al", "return_visit", "8:00", "9:00"), ("B", "al", "place", "8:00", "9:00"))
    row = log.rows("pour_output", "pour_id")
    assert (row["A"]["return_h"], row["B"]["labor_h"]) == (0.5, 0.5)


def test_waits_on_two_pours_are_shared(log):
    log.pour("A")
    log.pour("B")
    log.crew_time(("A", "al", "wait", "8:00", "10:00", "set"), ("B", "al", "wait", "9:00", "10:00"))
    assert shares(log) == {("al", "A", "wait"): 1.5, ("al", "B", "wait"): 0.5}


def test_waits_for_two_things_on_one_pour_are_halved(log):
    log.pour()
    log.crew_time(("A", "al", "wait", "8:00", "10:00", "set"),
                  ("A", "al", "wait", "9:00", "10:00", "others"))  # fmt: skip
    row = log.one("pour_output")
    assert (row["wait_labor_h"], row["finish_stay_h"]) == (2, 1.5)


def test_people_do_not_get_into_each_others_way(log):
    log.pour()
    log.crew_time(("A", "al", "place", "8:00", "9:00"), ("A", "bo", "place", "8:00", "9:00"))
    row = log.one("pour_output")
    assert (row["labor_h"], row["crew_h"], row["mean_hands"]) == (2, 1, 2)


def test_equal_starts(log):
    log.pour()
    log.crew_time(("A", "al", "place", "8:00", "10:00"), ("A", "al", "finish", "8:00", "9:00"))
    assert shares(log) == {("al", "A", "place"): 1.5, ("al", "A", "finish"): 0.5}


def test_one_after_the_other_is_no_overlap(log):
    log.pour("A")
    log.pour("B")
    log.crew_time(("A", "al", "place", "8:00", "9:00"), ("B", "al", "place", "9:00", "10:00"))
    assert shares(log) == {("al", "A", "place"): 1, ("al", "B", "place"): 1}
    assert log.frame("crew_time_clashes").empty


def test_clashes_are_named_with_their_minutes(log):
    for pour_id in "ABC":
        log.pour(pour_id)
    log.crew_time(
        ("B", "al", "place", "8:00", "9:00"),
        ("A", "al", "finish", "8:40", "9:30"),
        ("A", "al", "saw", "8:50", "9:10"),
        ("A", "bo", "wait", "8:00", "10:00"),
        ("B", "bo", "wait", "9:00", "11:00"),
        ("C", "bo", "place", "9:15", "9:30"),
    )
    assert log.rows("crew_time_clashes", "worker") == {
        "al": {"worker": "al", "pour_a": "A", "pour_b": "B", "minutes": 20},
        "bo": {"worker": "bo", "pour_a": "A", "pour_b": "B", "minutes": 45},
    }


# --- against a count minute by minute ---------------------------------------------------------

MORNING = datetime(2031, 6, 3, 20, 0)
TASKS = ("place", "finish", "saw", "wait", "travel", "clean_up", "return_visit", "set_up")
POURS = {"A": date(2031, 6, 3), "B": date(2031, 6, 3), "C": date(2031, 6, 4)}

stretch = st.tuples(
    st.sampled_from(list(POURS)),
    st.sampled_from(("al", "bo")),
    st.sampled_from(TASKS),
    st.sampled_from((None, "set", "concrete")),
    st.integers(0, 60),
    st.integers(0, 40),
)
logs = st.lists(stretch, max_size=14)


def unique(rows):
    """The log's key: pour, worker, task, start."""
    return list({(row[0], row[1], row[2], row[4]): row for row in rows}.values())


def minutes(rows):
    """(worker, minute) → the stretches logged there."""
    logged = defaultdict(set)
    for pour_id, worker, task, wait_for, start, length in rows:
        for minute in range(start, start + length):
            logged[worker, minute].add((pour_id, task, wait_for if task == "wait" else None))
    return logged


def counted_minutes(rows):
    shared = defaultdict(float)
    for (worker, _), there in minutes(rows).items():
        work = {one for one in there if one[1] != "wait"} or there
        on_pours = {pour_id for pour_id, _, _ in work}
        for pour_id in on_pours:
            on_tasks = [one for one in work if one[0] == pour_id]
            for _, task, wait_for in on_tasks:
                shared[worker, pour_id, task, wait_for or ""] += 1 / len(on_pours) / len(on_tasks)
    return dict(shared)


def counted_clashes(rows):
    clashes = defaultdict(int)
    for (worker, _), there in minutes(rows).items():
        work = {one for one in there if one[1] != "wait"} or there
        on_pours = sorted({pour_id for pour_id, _, _ in work})
        for place, pour_a in enumerate(on_pours):
            for pour_b in on_pours[place + 1 :]:
                clashes[worker, pour_a, pour_b] += 1
    return dict(clashes)


@pytest.fixture(scope="module")
def shared_log(new_log):
    made = new_log()
    for pour_id, day in POURS.items():
        made.pour(pour_id, date=day)
    yield made
    made.connection.close()


def written(log, rows, *names):
    log.connection.execute("delete from crew_time")
    frame = pd.DataFrame(
        [
            (pour_id, worker, task, wait_for, MORNING + timedelta(minutes=start),
             MORNING + timedelta(minutes=start + length))
            for pour_id, worker, task, wait_for, start, length in rows
        ],
        columns=["pour_id", "worker", "task", "wait_for", "start", "end"],
    ).astype({"start": "datetime64[us]", "end": "datetime64[us]", "wait_for": object})  # fmt: skip
    log.connection.register("rows", frame)
    log.connection.execute("insert into crew_time by name select * from rows")
    log.connection.unregister("rows")
    measures.define(log.connection, *names)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rows=logs.map(unique))
def test_hours_agree_with_a_count_minute_by_minute(shared_log, rows):
    written(shared_log, rows, "crew_shares", "crew_time_clashes")
    pieces = measures.frame(shared_log.connection, "crew_shares")
    keys = ["worker", "pour_id", "task", "wait_for"]
    measured = pieces[pieces["minutes"] > 0].groupby(keys)["minutes"].sum().to_dict()
    assert not pieces.duplicated([*keys, "began"]).any()
    assert measured == pytest.approx(counted_minutes(rows))

    clashes = {
        tuple(row[:3]): row[3]
        for row in measures.frame(shared_log.connection, "crew_time_clashes").itertuples(
            index=False
        )
    }
    assert clashes == pytest.approx(counted_clashes(rows))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rows=logs.map(unique))
def test_a_persons_hours_are_the_clocks_and_tasks_add_up(shared_log, rows):
    written(shared_log, rows, "day_output")
    connection = shared_log.connection
    by_worker = measures.frame(connection, "crew_shares").groupby("worker")["minutes"].sum() / 60
    clock = defaultdict(float)
    for worker, _ in minutes(rows):
        clock[worker] += 1 / 60
    assert by_worker[by_worker > 0].to_dict() == pytest.approx(dict(clock))

    pours = measures.frame(connection, "pour_output").set_index("pour_id")
    logged = pours[pours["hours_from"] == "crew_time"]
    tasks = logged[
        ["place_labor_h", "finish_labor_h", "saw_labor_h", "wait_labor_h", "other_labor_h"]
    ]
    assert tasks.sum(axis=1).to_list() == pytest.approx(logged["labor_h"].to_list())
    assert pours["paid_h"].sum() <= sum(clock.values()) + 1e-9
    on_slab = defaultdict(set)
    on_clock = defaultdict(set)
    for (_, minute), there in minutes(rows).items():
        for pour_id, task, _ in there:
            on_clock[pd.Timestamp(POURS[pour_id])].add(minute)
            if task not in ("travel", "return_visit"):
                on_slab[pour_id].add(minute)
    assert logged["crew_h"].to_dict() == pytest.approx(
        {pour_id: len(there) / 60 for pour_id, there in on_slab.items()}
    )
    days = measures.frame(connection, "day_output").set_index("date")["clock_h"].dropna()
    assert days.to_dict() == pytest.approx(
        {day: len(there) / 60 for day, there in on_clock.items()}
    )
