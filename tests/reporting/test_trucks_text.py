"""Loads as they are told: how many, how far apart, and which one is called late."""

from pourstats.reporting.charts_ahead import truck_spacing
from pourstats.reporting.day import loads_apart
from pourstats.reporting.trucks import loads_told


def job(*called: str) -> dict:
    return {
        "pour_id": "A1", "loads": len(called), "order": [{"called": each} for each in called],
        "spacing_min": 25.0, "flat_from_min": 20.0, "flat_to_min": 30.0,
        "cost_usd": {"mean": 40.0},
        "curve": [{"spacing_min": m, "cost_usd": 40.0 + abs(m - 25.0)} for m in (20.0, 25.0, 30.0)],
    }  # fmt: skip


def test_minutes_apart_are_said_of_loads_ordered_for_a_time_only() -> None:
    assert loads_told(job("ordered")) == "one load"
    assert loads_told(job("ordered", "balance")) == "2 loads, the last as a balance load"
    assert loads_told(job("ordered", "ordered", "balance")) == (
        "3 loads, 25 minutes apart, the last as a balance load"
    )
    pour = {"spacing_min": None, "balance": True}
    assert loads_apart(pour) == ", the last as balance"
    assert loads_apart({"spacing_min": 25.0, "balance": False}) == ", 25 min apart"


def test_a_curve_of_spacing_is_drawn_where_spacing_moves_a_load() -> None:
    assert truck_spacing(job("ordered", "balance")) is None
    drawn = truck_spacing(job("ordered", "ordered"))
    assert drawn is not None and drawn.title.startswith("A1: 2 loads, 25 minutes apart; anything")
