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


def test_a_road_driven_twice_is_told_with_who_rode_each_time():
    from pourstats.planning.day.search import Found
    from pourstats.planning.day.sheet import sheet

    # A and B place at M, then both go on to N; A comes back to finish M and to saw N after that.
    day = sure_day()
    one = replace(day.slabs[0], hands=2, nominal_hands=2.0, clean_h=np.full(day.count, 0.1))
    other = replace(one, pour_id="N", site="N", saw="early_entry", saw_h=0.5, starts=(10.5,))
    people = (Person("A", ALL, 30.0), Person("B", ALL, 20.0))
    two = replace(day, slabs=(one, other), people=people, rules=replace(day.rules, vehicles=2))
    choice = Choice((8.0, 10.5), ((0, 1), (0, 1)), ((0,), (1,)), (None, 0))
    told = sheet(two, Found(choice, run(two, choice, keep=True)), pd.Timestamp("2031-07-08"))
    drives = [m for m in told["moves"] if (m["from"], m["to"]) == ("M", "N")]
    by = {(m["worker"], m["at"][11:]): m["rides_with"] for m in drives}
    assert len(drives) == 3
    first = min(m["at"] for m in drives)[11:]
    assert by[("A", first)] == ["B"]
    # B cleans up six minutes; the two leave together.
    assert by[("B", first)] == ["A"]
    last = max(m["at"] for m in drives)[11:]
    assert by[("A", last)] == []


def test_no_load_is_ordered_for_when_the_plant_is_shut():
    day = sure_day()
    one = replace(day.slabs[0], plant_last=7.5)
    told = lacking(replace(day, slabs=(one,)), 0) or ""
    assert "plant" in told and "7:30" in told
    many = replace(one, loads=7)
    assert "the last of 7 comes after the plant closes" in (
        lacking(replace(day, slabs=(many,)), 0) or ""
    )
    assert lacking(replace(day, slabs=(replace(one, plant_last=8.0),)), 0) is None


@pytest.mark.parametrize(
    ("saws", "skills", "opens", "told"),
    [
        (0, ALL, 0.0, "No saw is owned"),
        (1, frozenset({"place", "finish"}), 0.0, "Nobody who is there can saw"),
        (1, ALL, 9.0, "hardly ready"),
        (1, ALL, 0.5, "likely ready to cut at 14:30"),
    ],
)
def test_why_a_slab_waits_for_its_cuts_until_morning(saws, skills, opens, told):
    from pourstats.planning.day.search import Found
    from pourstats.planning.day.sheet import sheet

    day = sure_day()
    place, ready, span, _, closes = day.slabs[0].tables
    tables = (place, ready, span, np.full_like(place, opens), closes)
    one = replace(day.slabs[0], saw="early_entry", saw_h=0.5, tables=tables)
    rules = replace(day.rules, saws=saws)
    whole = replace(day, slabs=(one,), rules=rules, people=(Person("A", skills, 30.0),))
    made = sheet(whole, Found(ALONE, run(whole, ALONE, keep=True)), pd.Timestamp("2031-07-08"))
    because = [c["because"] for c in made["cautions"] if "trip back" in c["do"]]
    assert len(because) == 1
    assert told in because[0]


def test_a_handheld_saw_is_slower_than_a_wet_saw_on_wheels():
    from pourstats.planning.day.slabs import _saw_h

    # 180 ft at 220, 150 and 90 ft an hour (common practice, no source).
    job = pd.Series({"saw_length": 180.0, "area": 900.0, "thickness": 4.0})
    hours = [_saw_h(job, tool) for tool in ("early_entry", "conventional", "handheld")]
    assert hours == pytest.approx([180 / 220, 1.2, 2.0])


def test_no_vehicle_stays_at_a_site_where_there_is_somebody_to_drive_it():
    from pourstats.planning.day.machines import Move, Trip, taken_home

    def trip(origin, target, at, people, vehicles):
        moves = [Move(p, origin, target, at, at + 0.5, np.full(4, at)) for p in people]
        return Trip(origin, target, at, at + 0.5, moves, vehicles)

    day = replace(sure_day(), rules=Rules(vehicles=3))
    # Two come in one vehicle, one in his own; all three ride home in one, by the seats.
    made = [trip(-1, 0, 6.0, (0, 1), 1), trip(-1, 0, 9.0, (2,), 1), trip(0, -1, 15.0, (0, 1, 2), 1)]
    assert [one.vehicles for one in taken_home(day, made)] == [1, 1, 2]
    # Where one goes home alone he can drive but one of them.
    made = [trip(-1, 0, 6.0, (0, 1), 2), trip(0, -1, 9.0, (1,), 1), trip(0, -1, 15.0, (0,), 1)]
    assert [one.vehicles for one in taken_home(day, made)] == [2, 1, 1]


@pytest.mark.parametrize(("due", "begin"), [("08:00", 9.25 + 0.2), ("11:00", 11.0 + 0.2)])
def test_a_load_that_is_ordered_and_not_there_keeps_its_start(due, begin):
    # At 9:15, twelve minutes late on every morning: overdue from now on, or still to come.
    from pourstats.planning.day.sofar import conditioned, read

    jobs = pd.DataFrame({"pour_id": ["M"], "date": [pd.Timestamp("2031-07-08")]})
    loads = pd.DataFrame({"pour_id": ["M"], "due": [pd.Timestamp(f"2031-07-08 {due}")]})
    known = read(jobs, {"trucks": loads}, pd.Timestamp("2031-07-08 09:15"))
    day = sure_day()
    one = replace(day.slabs[0], starts=(8.0, 12.0), late_h=np.full(day.count, 0.2))
    later = conditioned(replace(day, slabs=(one,)), known)
    hour = int(due[:2]) + int(due[3:]) / 60
    assert later.slabs[0].starts == (hour,)
    choice = replace(ALONE, starts=(hour,))
    # Where there is time left the forms are set before.
    assert float(run(later, choice).begin[0].mean()) == pytest.approx(begin)
