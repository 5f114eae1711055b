"""Taps into the store: once, undone, and the pour they make."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.store import openpours, reading
from pourstats.store.database import Store
from pourstats.store.history import undo
from pourstats.store.tapping import Tap, standing, take_back, tap

SIX = dt.datetime(2031, 6, 3, 6, 0)
ABOUT = "date=2031-06-03;site=Oak;slab_type=garage;area=600;thickness=4"
EIGHT = (
    ("hands", "4", 0), ("first_concrete", "", 60), ("strike_off_done", "", 130),
    ("bull_float_done", "", 140), ("machine_on", "", 270), ("last_pass_off", "", 400),
    ("saw_done", "", 480), ("gone", "", 490),
)  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "s.duckdb")


def after(minutes: float) -> dt.datetime:
    return SIX + dt.timedelta(minutes=minutes)


def pour_by_taps(store: Store, pour_id: str = "P1") -> list[str]:
    ids = tap(store, pour_id, Tap("describe", ABOUT, SIX))
    for event, subject, minutes in EIGHT:
        ids += tap(store, pour_id, Tap(event, subject, after(minutes)))
    return ids


def pours(store: Store):
    with store.read() as connection:
        return reading.frame(connection, "pours").set_index("pour_id")


def test_eight_taps_make_a_pour(store: Store) -> None:
    pour_by_taps(store)
    row = pours(store).loc["P1"]
    assert row["hands"] == 4
    for column, minutes in (("crew_in", 0), ("place_start", 60), ("place_end", 130),
                            ("bull_float_end", 140), ("machine_on", 270), ("passes_done", 400),
                            ("saw_end", 480), ("crew_out", 490)):  # fmt: skip
        assert row[column] == after(minutes), column


def test_until_the_crew_is_gone_the_pour_stays_open(store: Store) -> None:
    tap(store, "P1", Tap("describe", ABOUT, SIX), Tap("first_concrete", "", after(60)))
    with store.read() as connection:
        found = openpours.unfinished(connection)
    assert [(each["pour_id"], each["missing"]) for each in found] == [("P1", ["gone"])]
    assert pours(store).empty


def test_a_second_identical_tap_within_three_seconds_counts_once(store: Store) -> None:
    first = tap(store, "P1", Tap("machine_on", "", SIX))
    assert tap(store, "P1", Tap("machine_on", "", SIX + dt.timedelta(seconds=3))) == first
    later = tap(store, "P1", Tap("machine_on", "", SIX + dt.timedelta(seconds=4)))
    assert later != first
    assert tap(store, "P1", Tap("last_pass_off", "", SIX)) != first
    assert tap(store, "P2", Tap("machine_on", "", SIX)) != first


def test_the_same_stamp_sent_twice_is_one(store: Store) -> None:
    for _ in range(2):
        assert tap(store, "P1", Tap("gone", "", SIX, "phone-1")) == ["phone-1"]
    with store.read() as connection:
        assert len(reading.frame(connection, "stamps")) == 1
        assert len(reading.frame(connection, "changes")) == 1


def test_an_undone_tap_is_gone_and_can_be_tapped_again(store: Store) -> None:
    (first,) = tap(store, "P1", Tap("machine_on", "", SIX))
    assert take_back(store, first) is True
    assert take_back(store, first) is False
    with store.read() as connection:
        assert standing(connection, "P1") == []
    again = tap(store, "P1", Tap("machine_on", "", SIX + dt.timedelta(seconds=2)))
    assert again != [first]


def test_undoing_gone_opens_the_pour_again(store: Store) -> None:
    ids = pour_by_taps(store)
    take_back(store, ids[-1])
    assert pours(store).empty
    tap(store, "P1", Tap("gone", "", after(520)))
    assert pours(store).loc["P1", "crew_out"] == after(520)


def test_undoing_another_tap_of_a_whole_pour_leaves_its_column_blank(store: Store) -> None:
    ids = pour_by_taps(store)
    take_back(store, ids[5])
    row = pours(store).loc["P1"]
    assert row["machine_on"] != row["machine_on"]  # not a time
    assert row["passes_done"] == after(400)


def test_the_undo_command_takes_back_the_undo_of_a_tap(store: Store) -> None:
    ids = pour_by_taps(store)
    take_back(store, ids[-1])
    undo(store)
    assert pours(store).loc["P1", "crew_out"] == after(490)
    with store.read() as connection:
        assert len(standing(connection, "P1")) == 9


def test_loads_and_passes_become_rows(store: Store) -> None:
    pour_by_taps(store)
    tap(store, "P1", Tap("load_in", "load-1;volume=9;ticket=77", after(55)))
    tap(store, "P1", Tap("load_empty", "load-1", after(90)))
    tap(store, "P1", Tap("pass_on", "1;tool=pan", after(270)), Tap("was_ready", "1", after(250)))
    with store.read() as connection:
        loads, passes = (reading.frame(connection, name) for name in ("trucks", "passes"))
    assert loads[["ticket", "volume"]].to_numpy().tolist() == [["77", 9.0]]
    assert loads["pour_end"][0] == after(90)
    assert (passes["ready"][0], passes["tool"][0]) == (after(250), "pan")


def test_a_tap_that_is_none_is_refused_and_nothing_kept(store: Store) -> None:
    with pytest.raises(Refusal, match="event"):
        tap(store, "P1", Tap("dance", "", SIX))
    with store.read() as connection:
        assert reading.frame(connection, "stamps").empty
    with pytest.raises(Refusal, match="no tap"):
        take_back(store, "nothing")


def test_five_phones_at_once_lose_no_tap(store: Store) -> None:
    from concurrent.futures import ThreadPoolExecutor

    def phone(number: int) -> None:
        for minute in range(8):
            tap(store, f"P{number}", Tap("load_in", f"load-{minute}", after(minute)))

    with ThreadPoolExecutor(5) as pool:
        list(pool.map(phone, range(5)))
    with store.read() as connection:
        assert len(reading.frame(connection, "stamps")) == 40
