"""What a plan makes of orders that say little, or say two things at once."""

import numpy as np
import pandas as pd

from pourstats.planning.day import plan
from pourstats.planning.day.people import hands_lately
from tests.planning.test_day import CREW, DAY, HOUSE, at, job, jobs, sky

LOGGED = pd.DataFrame(
    {
        "pour_id": ["A", "B", "C"], "date": DAY - pd.to_timedelta([30, 20, 10], "D"),
        "place_start": DAY - pd.to_timedelta([30, 20, 10], "D") + pd.Timedelta(hours=7),
        "area": [500.0, 600.0, 400.0], "thickness": 4.0, "hands": [2.0, 2.0, 1.0],
        "site": "Maple", "slab_type": "garage",
    }
)  # fmt: skip


def day(*rows, record=None, runs=40):
    frames = {"crew": CREW} if record is None else record
    told = plan(jobs(*rows), sky("Maple"), frames, HOUSE, runs=runs)
    return told, told["days"][0]


def test_a_start_before_the_site_opens_is_told_and_not_planned():
    rows = job("M1", "Maple", earliest_start=at("12:00"), place_start=at("09:00"))
    told = day(rows)[1]
    reason = "its place_start is before its earliest_start; mend one of them"
    assert told["unplanned"] == [{"pour_id": "M1", "reason": reason}]


def test_a_start_on_another_day_than_the_jobs_is_told():
    rows = job("M1", "Maple", place_start=at("09:00") + pd.Timedelta(days=1))
    told = day(rows)[1]
    reason = "its place_start isn't on its date; mend one of them"
    assert told["unplanned"] == [{"pour_id": "M1", "reason": reason}]


def test_a_load_that_comes_as_the_site_opens_is_said_to_wait_for_the_forms():
    tight = day(job("M1", "Maple", earliest_start=at("07:00"), place_start=at("07:00")))[1]
    assert any("M1: the site opens at 7:00, so the forms are set at" in n for n in tight["notes"])
    roomy = day(job("M1", "Maple", earliest_start=at("06:00"), place_start=at("09:00")))[1]
    assert not any("the site opens" in note for note in roomy["notes"])


def test_a_crew_of_two_is_planned_with_two():
    assert hands_lately(LOGGED, 5) == 2
    assert hands_lately(LOGGED.assign(hands=np.nan), 5) == 5
    assert hands_lately(None, 5) == 5
    told, first = day(job("M1", "Maple", hands=np.nan), record={"pours": LOGGED})
    assert "No crew is known: 2 hands who can place, finish and saw are assumed." in told["notes"]
    assert first["unplanned"] == []
    assert {task["worker"] for task in first["tasks"]} <= {"hand 1", "hand 2"}


def test_a_job_that_does_not_say_takes_no_more_hands_than_there_are():
    pair = {"crew": CREW[CREW["worker"].isin(["A", "B"])]}
    assert day(job("M1", "Maple", hands=np.nan), record=pair)[1]["unplanned"] == []


def test_one_crew_is_assumed_for_all_days():
    later = DAY + pd.Timedelta(days=1)
    told, _ = day(job("M1", "Maple", hands=6.0), job("M2", "Maple", date=later), record={}, runs=5)
    said = [note for note in told["notes"] if note.startswith("No crew is known")]
    assert said == ["No crew is known: 6 hands who can place, finish and saw are assumed."]


def test_what_the_forecast_lacks_is_said():
    far, past = DAY + pd.DateOffset(years=20), DAY - pd.DateOffset(years=20)
    told, _ = day(
        job("M1", "Oak"), job("M2", "Maple", date=far), job("M3", "Maple", date=past), runs=5
    )
    assert "The forecast has no rows for site Oak: that of Maple stands in." in told["notes"]
    for words in ("Jul 8, 2051, the day of M2", "Jul 8, 2011, the day of M3"):
        assert any(words in note and "a mild day" in note for note in told["notes"])
    assert not any("held on" in note for note in told["notes"])


def test_a_saw_nobody_named_is_said_to_be_assumed():
    told, _ = day(job("M1", "Maple", saw_type=None), job("M2", "Maple"), runs=5)
    assert any(
        note.startswith("M1: the order doesn't say how it is sawn") for note in told["notes"]
    )


def test_two_slabs_of_one_site_lie_side_by_side():
    # One vehicle carries five people to a site: from one slab of it to the other nobody drives.
    house = {"vehicles": 1.0}
    rows = [job("M1", "Maple", travel=40.0), job("M2", "Maple", travel=40.0, area=600.0)]
    told = plan(jobs(*rows), sky("Maple", "Oak"), {"crew": CREW}, house, runs=300)["days"][0]
    apart = [job("M1", "Maple", travel=40.0), job("M2", "Oak", travel=40.0, area=600.0)]
    other = plan(jobs(*apart), sky("Maple", "Oak"), {"crew": CREW}, house, runs=300)["days"][0]
    assert told["unplanned"] == []
    over = [move for move in told["moves"] if {move["from"], move["to"]} == {"M1", "M2"}]
    assert over and all(move["vehicles"] == 0 for move in over)
    for worker in {move["worker"] for move in told["moves"]}:
        own = [move for move in told["moves"] if move["worker"] == worker]
        assert [move["from"] for move in own] == ["shop", *[move["to"] for move in own[:-1]]]
        assert own[-1]["to"] == "shop"
    drives = [task for task in told["tasks"] if task["task"] == "travel"]
    assert len(drives) == sum(1 for move in told["moves"] if "shop" in (move["from"], move["to"]))
    assert told["labor_cost_usd"]["mean"] < other["labor_cost_usd"]["mean"] or other["unplanned"]
