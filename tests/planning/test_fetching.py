"""Few vehicles on a day: that nobody is fetched is said, and what a vehicle more is worth."""

from dataclasses import replace

import numpy as np
import pytest

from pourstats.planning.day import plan, unplanned
from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.fetching import few_vehicles, nobody_fetched
from pourstats.planning.day.people import Person
from pourstats.planning.day.rules import Rules, rules_of
from pourstats.planning.day.run import run
from pourstats.planning.day.search import Found
from pourstats.reporting.day import plan_text
from pourstats.settings import RULES
from tests.planning.test_day import CREW, at, job, jobs, nothing_silly, sky
from tests.planning.test_day_too_much import sure
from tests.simulators.trucks_day import ALL


def two_sites(vehicles, starts=(8.0, 8.0)):
    """Two slabs, one of A's and one of B's; half an hour from the shop each."""
    people = (Person("A", ALL, 30.0), Person("B", ALL, 30.0))
    slabs = tuple(sure(name, starts=(start,)) for name, start in zip("MN", starts, strict=True))
    day = Day(slabs, people, Rules(vehicles=vehicles))
    choice = Choice(starts, ((0,), (1,)), ((0,), (1,)), (None, None))
    return day, Found(choice, run(day, choice, keep=True))


def test_a_day_with_a_vehicle_a_slab_says_nothing():
    day, best = two_sites(vehicles=2)
    assert best.outcome.breaches == []
    assert nobody_fetched(day, best) == []


def test_two_people_at_two_sites_at_once_need_two_vehicles():
    # 6:30 to 15:00 both (reckoned in test_day_rules), with one vehicle between them.
    day, best = two_sites(vehicles=1)
    assert best.outcome.breaches == ["vehicles"]
    assert "nobody is fetched" in unplanned.reason_of(day, best)
    assert next(iter(unplanned.tries(day, 1)))[0] == "add a vehicle"
    told = " ".join(nobody_fetched(day, best))
    assert told.startswith("With one vehicle people ride together and wait for each other")
    assert "One vehicle more (setting vehicles) mends it." in told


def test_one_slab_or_one_person_needs_no_word_of_it():
    day, _ = two_sites(vehicles=1)
    assert few_vehicles(day)
    assert not few_vehicles(day.only([0]))
    assert not few_vehicles(replace(day, people=day.people[:1]))


def test_the_setting_says_what_is_taken_until_it_is_set():
    words = RULES["vehicles"].meaning
    assert "one for every two people, two at least" in words
    assert [rules_of({}, people).vehicles for people in (1, 2, 4, 5, 6)] == [2, 2, 2, 3, 3]


@pytest.fixture(scope="module")
def one_vehicle():
    rows = jobs(
        job("M1", "Maple"), job("O1", "Oak", area=700.0, travel=20.0, latest_end=at("16:00"))
    )
    return rows, plan(rows, sky("Maple", "Oak"), {"crew": CREW[:4]}, {"vehicles": 1.0})


def test_a_long_day_with_one_vehicle_names_a_second(one_vehicle):
    rows, result = one_vehicle
    nothing_silly(result, rows, CREW[:4])
    text = " ".join(plan_text(result).split())
    assert "One vehicle more (setting vehicles) would save" in text
    assert "With one more vehicle nobody works over" in text
    assert "nobody is dropped off and fetched in this plan" in text


def test_no_more_ride_at_once_than_the_one_vehicle_takes(one_vehicle):
    _, result = one_vehicle
    (day,) = result["days"]
    # Who leaves a place for another within ten minutes rides together: never two roads at once.
    for move in day["moves"]:
        for other in day["moves"]:
            if abs(np.datetime64(move["at"]) - np.datetime64(other["at"])) <= np.timedelta64(
                5, "m"
            ):
                assert (move["from"], move["to"]) == (other["from"], other["to"])


def test_parts_of_what_doesnt_help_arent_tried(monkeypatch):
    # One finisher, five finishes at once: two hands more, a trowel and a vehicle don't mend it.
    slabs = tuple(sure(f"S{place}", starts=(8.0,)) for place in range(5))
    day = Day(slabs, (Person("A", ALL, 30.0),), Rules(vehicles=1))
    tried = []
    real = unplanned.beside

    def counted(other, kept, choice, slab):
        tried.append((len(other.people), other.rules))
        return real(other, kept, choice, slab)

    monkeypatch.setattr(unplanned, "beside", counted)
    kept = day.only([0, 1, 2, 3])
    choice = Choice((8.0,) * 4, ((0,),) * 4, ((0,),) * 4, (None,) * 4)
    assert run(kept, choice).breaches
    assert "another day" in unplanned.remedy(day, [0, 1, 2, 3], choice, 4)
    assert sum(people == 2 for people, _ in tried) == 0


def test_a_slab_left_out_for_want_of_a_vehicle_says_that_nobody_is_fetched():
    rows = jobs(
        job("M1", "Maple", place_start=at("08:00"), hands=2.0),
        job("O1", "Oak", place_start=at("08:00"), hands=2.0),
    )
    result = plan(rows, sky("Maple", "Oak"), {"crew": CREW}, {"vehicles": 1.0})
    (out,) = result["days"][0]["unplanned"]
    assert out["reason"].count("fetched in a plan") == 1
    # Whose rule breaks is named once.
    assert "M1: M1" not in out["reason"] and "O1: O1" not in out["reason"]
    assert "add a vehicle, and it fits" in out["reason"]
    alone = plan(rows, sky("Maple", "Oak"), {"crew": CREW}, {"vehicles": 3.0})
    assert alone["days"][0]["unplanned"] == []
