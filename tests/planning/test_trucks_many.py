"""Many loads at one slab, and how few or many are told."""

import numpy as np
import pandas as pd

from pourstats.planning.day.advice import differences
from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.people import SKILLS, Person
from pourstats.planning.day.rules import Rules
from pourstats.planning.trucks import trucks
from pourstats.reporting.bid import _long_day
from pourstats.reporting.callbacks_sentences import gaps_sentence
from pourstats.reporting.trucks import _tens, trucks_text
from tests.simulators.trucks_day import slab


def order(area):
    row = {
        "pour_id": "W", "date": pd.Timestamp("2031-06-04"), "site": "Elm", "slab_type": "warehouse",
        "area": area, "thickness": 6.0, "hands": 6.0, "plant_travel": 20.0, "placement": "chute",
        "place_start": pd.Timestamp("2031-06-04 07:00"),
    }  # fmt: skip
    return trucks(pd.DataFrame([row]), None, {})


def test_of_many_loads_the_first_may_come_closer_together():
    # A load of ten yards takes some forty minutes (4 a yard, common practice): forty-five apart is
    # a foreman's order for the first ones, whatever the doubt does to twenty-five of them.
    job = order(12000.0)["jobs"][0]
    said = [note for note in job["notes"] if "the first six" in note]
    assert job["loads"] == 25 and len(said) == 1
    apart = float(said[0].split("the first six ")[1].split(" ")[0])
    assert 35.0 <= apart <= 60.0 < job["spacing_min"]


def test_of_few_loads_nothing_more_is_said():
    assert not any("the first six" in note for note in order(2000.0)["jobs"][0]["notes"])


def test_a_wait_for_the_balance_load_is_said_to_be_left_out():
    told = order(900.0)
    assert told["jobs"][0]["balance_yd3"] is not None
    assert "the wait for the balance load apart" in trucks_text(told)
    whole = order(400.0)
    assert whole["jobs"][0]["balance_yd3"] is None
    assert "balance load" not in trucks_text(whole)


def test_one_time_is_no_times():
    told = [_tens(chance) for chance in (0.01, 0.1, 0.3, 0.99)]
    assert told == ["hardly ever", "one time in ten", "3 times in ten", "nearly always"]
    entry = {"crew_h": {"p50": 6.0}, "long_day": {"chance": 0.1, "after_h": 8.0}}
    assert _long_day(entry) == " One such job in ten runs past 8 h on the clock."
    entry["long_day"]["chance"] = 0.3
    assert _long_day(entry) == " Three such jobs in ten run past 8 h on the clock."


def test_one_day_is_no_days():
    gaps = {"mean": 1.2, "gaps": [1.0], "upper": 8.0, "in_part": 0}
    assert "Between calls lie 1 day, lately 1" in gaps_sentence({"g": gaps, "t": gaps})


def test_who_is_left_out_is_named_and_nobody_comes_instead():
    one = slab("K", np.random.default_rng(0), 4)
    people = tuple(Person(name, SKILLS, 30.0) for name in ("BB", "CC", "DD"))
    day = Day((one,), people, Rules())
    best = Choice((8.0,), ((0, 1),), ((0, 1, 2),), (0,))
    assert differences(day, best, Choice((8.0,), ((0, 1),), ((0, 1),), (0,))) == [
        "DD no longer finishes K"
    ]
    assert differences(day, best, Choice((8.0,), ((0, 1),), ((0,),), (0,))) == [
        "CC and DD no longer finish K"
    ]
