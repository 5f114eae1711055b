"""Rules of a planned day, each on a day that can be reckoned by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pourstats.planning.day.care import merged
from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.people import Person, logged_week
from pourstats.planning.day.rules import Rules, rules_of
from pourstats.planning.day.run import run
from pourstats.planning.day.search import lacking
from tests.simulators.trucks_day import ALL, slab


def sure_day(**rules):
    """One slab without chance: 1 h to place, ready 2 h after, 3 h of passes, half an hour away."""
    draws = 4
    one = slab(
        "M", np.random.default_rng(0), draws, starts=(8.0,), saw=None, travel_h=0.5, hands=1,
        nominal_hands=1.0, set_up_h=np.full(draws, 1.0), clean_h=np.full(draws, 0.5),
        late_h=np.zeros(draws), tables=tuple(np.full((1, draws), v) for v in (1.0, 2.0, 3.0, 0.0, 99.0)),
    )  # fmt: skip
    return Day((one,), (Person("A", ALL, 30.0),), Rules(vehicles=1, **rules))


ALONE = Choice((8.0,), ((0,),), ((0,),), (None,))


def paid(day):
    out = run(day, ALONE, keep=True)
    return float(out.paid_h[0].mean()), float(out.labor_usd.mean()), out


def test_a_day_that_can_be_added_up():
    # Leaves 6:30, there 7:00, forms 8:00, placed 9:00, ready 11:00, off 14:00, cleaned 14:30, home 15:00.
    hours, dollars, out = paid(sure_day())
    assert hours == pytest.approx(8.5)
    assert dollars == pytest.approx(30 * (8 + 0.5 * 1.5))
    assert out.overtime_h == pytest.approx(0.5)
    assert float(out.last[0].mean()) == pytest.approx(14.0)
    assert out.breaches == []


def test_an_unpaid_break_is_not_paid():
    hours, dollars, out = paid(sure_day(break_paid=False))
    assert hours == pytest.approx(8.0)
    assert dollars == pytest.approx(240.0)
    assert out.overtime_h == 0.0


def test_overtime_of_the_week_comes_on_top_of_the_days():
    # 36 hours so far: 4 of the day's 8 straight hours are over 40, and half an hour is over 8.
    day = replace(sure_day(), week_h=(36.0,))
    hours, dollars, out = paid(day)
    assert hours == pytest.approx(8.5)
    assert out.overtime_h == pytest.approx(4.5)
    assert dollars == pytest.approx(30 * (8.5 + 0.5 * 4.5))


def test_the_weeks_hours_are_the_logs_from_monday():
    # Tuesday 8 July 2031: Monday's ten hours count as eight straight, Sunday's and today's don't.
    day = pd.Timestamp("2031-07-08")
    starts = pd.to_datetime(["2031-07-06 07:00", "2031-07-07 06:00", "2031-07-08 06:00"])
    log = pd.DataFrame(
        {"worker": "A", "start": starts, "end": starts + pd.to_timedelta([5, 10, 3], unit="h")}
    )
    assert logged_week(log, day, 8.0) == {"A": 8.0}
    assert logged_week(None, day, 8.0) == {}


def test_house_rules_of_the_day_are_read_as_declared():
    rules = rules_of({"break_paid": "no", "evening": "18:30", "overtime_week_after_h": 36.0})
    assert (rules.break_paid, rules.evening, rules.overtime_week_after_h) == (False, 18.5, 36.0)


def test_a_site_that_ends_before_it_opens_is_named():
    day = sure_day()
    one = replace(day.slabs[0], early=12.0, latest=11.0)
    assert "latest_end is before its earliest_start" in (
        lacking(replace(day, slabs=(one,)), 0) or ""
    )


def test_cautions_of_several_pours_are_said_once():
    wet = {"do": "Cure it.", "because": "It dries.", "source": "x"}
    hot = {"do": "Rest.", "because": "It is hot.", "source": "y"}
    found = merged([("A", [wet, hot]), ("B", [wet])])
    assert [one["do"] for one in found] == ["Cure it.", "A: Rest."]


def test_nobody_without_a_vehicle_walks_home():
    # Two people, one vehicle: the helper is done at 9:30, the finisher at 14:30; the helper waits.
    day = sure_day()
    one = replace(day.slabs[0], hands=2, nominal_hands=2.0)
    people = (Person("A", ALL, 30.0), Person("B", frozenset({"place"}), 20.0))
    two = replace(day, slabs=(one,), people=people)
    choice = Choice((8.0,), ((0, 1),), ((0,),), (None,))
    out = run(two, choice, keep=True)
    assert out.breaches == []
    homeward = [m for m in out.moves if m.target == -1]
    assert {round(m.at, 2) for m in homeward} == {14.5}
    with_two = run(replace(two, rules=replace(two.rules, vehicles=2)), choice)
    assert float(with_two.paid_h[1].mean()) == pytest.approx(3.5)  # 6:30 to 10:00


def test_an_overdue_truck_is_late_again_from_now_on():
    # Due at 8:00, 12 minutes late on every morning: at 9:15 it is overdue, and 9:27 is looked for.
    from pourstats.planning.day.sofar import Known, conditioned

    day = sure_day()
    one = replace(day.slabs[0], fixed=8.0, late_h=np.full(day.count, 0.2))
    later = conditioned(replace(day, slabs=(one,)), Known(9.25))
    out = run(later, ALONE)
    assert float(out.begin[0].mean()) == pytest.approx(9.25 + 0.2)
