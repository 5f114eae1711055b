"""What to change next week: each reason once, worst first, with what it cost and its source."""

from pourstats.logs.tables import TROUBLES
from pourstats.planning.changes import DO, OF_A_FLOOR, OF_THE_WEEK, PROOF, changes


def floor(*words, source="log", news=True, over_h=None, **facts):
    return {
        "kind": "floor", "news": news, "pour_id": "B1", "site": "Mill", "over_h": over_h,
        "evidence": [{"measure": name, "value": value} for name, value in facts.items()],
        "reason": {"source": source, "words": list(words)},
    }  # fmt: skip


def test_a_reason_comes_with_what_it_cost():
    (found,) = changes([floor("late_truck", late_min=57.0)])
    assert found["do"].startswith("Order the first load earlier")
    assert found["why"] == {
        "reason": "late_truck", "pour_id": "B1", "site": "Mill", "measure": "late_min",
        "value": 57.0,
    }  # fmt: skip
    assert found["source"] == "log"


def test_what_the_crew_wrote_is_told_from_what_the_figures_show():
    found = changes([floor("machine", oldest_min=130.0), floor("cold_set", source="likely")])
    assert [(each["why"]["reason"], each["source"]) for each in found] == [
        ("old_load", "figures"), ("machine", "log"), ("cold_set", "figures"),
    ]  # fmt: skip


def test_one_thing_is_asked_for_once_and_three_at_most():
    week = {
        "kind": "figure", "news": True, "pour_id": None, "site": None,
        "evidence": [{"measure": "starved_min_per_pour", "value": 15.0, "total": 60.0}],
        "reason": {"source": None, "words": []},
    }  # fmt: skip
    found = changes([floor("rain"), floor("held_up_rain"), week, floor("pump"), floor("grade")])
    assert [each["why"]["reason"] for each in found] == ["rain", "waiting_on_concrete", "pump"]
    assert (found[1]["why"]["measure"], found[1]["why"]["value"]) == ("starved_min_per_pour", 60.0)


def test_what_went_well_or_is_ordinary_asks_for_nothing():
    well = {**floor("rain"), "kind": "went_well"}
    assert changes([well, floor("rain", news=False), floor("more_passes")]) == []


def test_every_trouble_of_the_log_has_its_advice():
    assert set(TROUBLES) <= set(DO)
    assert set(PROOF) | set(OF_THE_WEEK.values()) | set(OF_A_FLOOR.values()) <= set(DO)
