"""What stands first on a day's plan: too much for its people, and wet concrete that can't wait."""

import sys
from dataclasses import replace

import numpy as np
import pytest

from pourstats.planning.day.choice import Day
from pourstats.planning.day.fitting import Fit, beside, fitting
from pourstats.planning.day.people import Person
from pourstats.planning.day.rules import Rules
from pourstats.planning.day.search import lacking
from pourstats.planning.day.slabs import Happened
from pourstats.planning.day.too_much import too_much
from pourstats.planning.day.unplanned import remedy
from tests.simulators.trucks_day import ALL, slab

RUNS = 200
DRAWS = 8


def sure(name, hours=(1.0, 2.0, 3.0), **given):
    """A slab without chance: hours of placing, until it is ready, and of passes."""
    hours = (*hours, 0.0, 99.0)
    values = {
        "saw": None, "travel_h": 0.5, "hands": 1, "nominal_hands": 1.0,
        "set_up_h": np.full(DRAWS, 1.0), "clean_h": np.full(DRAWS, 0.5),
        "late_h": np.zeros(DRAWS),
    }  # fmt: skip
    one = slab(name, np.random.default_rng(0), DRAWS, **(values | given))
    grid = one.grid.size
    return replace(one, tables=tuple(np.full((grid, DRAWS), value) for value in hours))


def crew(count=1):
    return tuple(Person(name, ALL, 30.0) for name in "ABCDEF"[:count])


def planned(*slabs, people=1, **day):
    whole = Day(tuple(slabs), crew(people), Rules(vehicles=max(people, 1)), **day)
    fit = fitting(whole, list(range(len(slabs))), RUNS)
    return whole, fit


def test_an_ordinary_day_is_not_called_too_much():
    # 6:30 to 15:00, as reckoned in test_day_rules.
    assert too_much(*planned(sure("M", starts=(8.0,)))) == []


def test_sixteen_hours_of_one_man_are_too_much_and_a_second_finisher_is_named():
    # Placed at 9:00, ready at 11:00, off at 21:00, home at 22:00: 15.5 hours of A alone.
    day, fit = planned(sure("M", (1.0, 2.0, 10.0), starts=(8.0,)))
    lines = too_much(day, fit)
    assert lines[0] == "Too much for one day: A works over 15 hours, between 6:30 and 22:00."
    # The second one takes over after the placing: 10:30 to 22:00.
    assert lines[1] == "With one more hand who can finish nobody works over 12 h."


def test_the_slab_to_put_off_is_named():
    # One man, one slab after the other: out at 5:30, the second off at 21:00, home at 22:00.
    first, second = sure("M", starts=(7.0,)), sure("O", starts=(15.0, 15.5))
    day, fit = planned(first, second)
    assert fit.kept == [0, 1]
    lines = too_much(day, fit)
    assert lines[0].startswith("Too much for one day: A works over 16 hours")
    assert any(line.startswith("With M on another day nobody") for line in lines) or any(
        line.startswith("With O on another day nobody") for line in lines
    )


def test_a_slab_that_ends_after_its_site_does_is_said_first():
    day, fit = planned(sure("M", starts=(8.0,), latest=13.0))
    assert "M is likely finished at 14:00, its end is 13:00" in too_much(day, fit)[0]


WET = Happened(begin=8.0, end=9.0)


@pytest.mark.parametrize("slabs", [2, 3])
def test_wet_concrete_is_never_left_out_of_a_day_under_way(slabs):
    # All ready at eleven, one finisher, who can be at one of them.
    ones = [sure(f"S{i}", starts=(8.0,), fixed=8.0, happened=WET) for i in range(slabs)]
    day, fit = planned(*ones, now=10.5)
    assert fit.kept == list(range(slabs))
    assert fit.left == []
    lines = too_much(day, fit)
    assert lines[0].startswith("Too much for one day")
    assert "no finisher can be there" in lines[0] or "can't be back" in lines[0]


def test_a_truck_at_the_gate_counts_as_wet():
    assert sure("M", happened=Happened(truck=8.0)).wet
    assert not sure("M").wet


def test_a_placed_slab_asks_for_no_placing_hands():
    day = Day((sure("M", hands=4, happened=WET),), crew(1), Rules(vehicles=1), now=10.0)
    assert lacking(day, 0) is None
    assert "add 3 hands" in (lacking(replace(day, slabs=(sure("M", hands=4),)), 0) or "")
    assert "add a hand" in (lacking(replace(day, slabs=(sure("M", hands=2),)), 0) or "")


def test_of_a_slab_that_is_too_late_no_retarder_is_asked_for():
    # It can't begin before 14:00 and its site ends at 16:00: no hand mends that.
    late = sure("O", starts=(14.0,), early=13.0, latest=16.0)
    day, fit = planned(sure("M", starts=(8.0,)), late, people=3)
    choice = fit.found[0].choice
    assert (fit.kept, fit.left) == ([0], [1])
    told = remedy(replace(day, rules=replace(day.rules, day_end=16.0)), [0], choice, 1)
    assert "retarder" not in told
    assert "later end" in told
    # With the day's own end at 22:00 a later end at the site is enough.
    assert remedy(day, [0], choice, 1) == "agree on a later end than 16:00 at O, and it fits"


def test_what_breaks_for_lack_of_a_vehicle_asks_for_a_vehicle():
    # Two slabs at once, two men, one vehicle.
    ones = [sure(name, starts=(8.0,), fixed=8.0) for name in "MO"]
    day = replace(Day(tuple(ones), crew(3), Rules(vehicles=1)))
    fit = fitting(day, [0, 1], RUNS)
    assert fit.left
    found = beside(day, fit.kept, fit.found[0].choice, fit.left[0])
    assert found is not None and "vehicles" in found.outcome.breaches
    told = remedy(day, fit.kept, fit.found[0].choice, fit.left[0])
    assert told == "add a vehicle, and it fits"


def test_nothing_planned_has_nothing_to_say():
    day = Day((sure("M"),), crew(1), Rules(vehicles=1))
    assert too_much(day, Fit([], [], [0])) == []


def test_a_day_far_too_full_is_looked_at_only_briefly(monkeypatch):
    module = sys.modules["pourstats.planning.day.fitting"]
    real, spent = module.bettered, []

    def counted(day, ways, runs):
        spent.append((len(day.slabs), runs))
        return real(day, ways, runs)

    monkeypatch.setattr(module, "bettered", counted)
    # Five at once for one man: no more than one of them fits.
    _, fit = planned(*[sure(name, starts=(8.0,)) for name in "KLMNO"])
    assert len(fit.kept) == 1
    assert {runs for slabs, runs in spent if slabs == 5} == {RUNS // 8}
