"""The rate card and past waits as charts and tables: what the commands print, in both units."""

from __future__ import annotations

from pourstats.reporting.charts_rates import (
    past_waits_rows,
    past_waits_sentence,
    rate_card_chart,
    rate_rows,
    waits_by,
)

RATE = {
    "slab_type": "garage", "finish": "hard_trowel", "placement": None, "pours": 17,
    "area_ft2": 600.0, "hours_per_100ft2": {"0.5": 3.0, "0.7": 3.5, "0.9": 4.0},
    "usd_per_ft2": {"0.5": 1.8, "0.7": 2.0, "0.9": 2.2}, "change_hours_per_100ft2": 0.1,
    "bid": {"pours": 12, "hours_per_100ft2": 2.5},
}  # fmt: skip
CARD = {"as_of": "2031-06-30", "since": "2031-05-30", "pours": 20, "rates": [RATE]}


def test_the_rate_card_in_both_units() -> None:
    drawn = rate_card_chart(CARD)
    assert drawn is not None
    assert (
        drawn.title == "Garage, hard trowel: 3.5 h per 100 ft2, ask $2.00 a square foot (17 pours)"
    )
    (row,) = rate_rows(CARD)
    assert (row["pours"], row["7 in 10"], row["bid before"]) == ("17", "3.50", "2.50 h (12)")
    (metric,) = rate_rows(CARD, "metric")
    # 100 ft2 are 9.290304 m2 (NIST SP 811, appendix B): 3.5 h there are 3.767 h on 10 m2.
    assert metric["7 in 10"] == "3.77"
    assert metric["middling"] == "56 m2"
    assert metric["ask"] == "$21.53 a square meter"


def test_without_pay_or_rates_the_card_says_so() -> None:
    bare = RATE | {"usd_per_ft2": {"0.5": None, "0.7": None, "0.9": None}, "bid": None}
    (row,) = rate_rows(CARD | {"rates": [bare]})
    assert (row["ask"], row["bid before"]) == ("no pay known", "")
    assert rate_card_chart(CARD | {"rates": []}) is None


def waits(first: tuple[float, float, float], second: tuple[float, float, float]) -> dict:
    groups = [
        {"plant": name, "wait_min": {"mean": mean, "low": low, "high": high, "count": 30}}
        for name, (low, mean, high) in (("north", first), ("river", second))
    ]
    return {
        "wait_min": {"mean": 9.0, "low": 8.0, "high": 10.0, "count": 60}, "billed_usd": 120.0,
        "billed_loads": 3, "over_min": 45.0, "logged_usd": 90.0, "starved_total_min": 90.0,
        "idle_usd": None, "by_plant": groups,
    }  # fmt: skip


def test_waits_are_told_apart_only_where_their_intervals_part() -> None:
    apart = waits_by(waits((4.0, 5.0, 6.0), (9.0, 12.0, 15.0)), "plant")
    assert apart is not None and apart.title == "Longest by plant: river, 12 min (30 loads)"
    close = waits_by(waits((4.0, 7.0, 10.0), (6.0, 8.0, 10.0)), "plant")
    assert close is not None and "can't be told apart" in close.title
    one = waits((4.0, 5.0, 6.0), (9.0, 12.0, 15.0))
    assert waits_by(one | {"by_plant": one["by_plant"][:1]}, "plant") is None


def test_past_waits_in_a_sentence_and_line_by_line() -> None:
    past = waits((4.0, 5.0, 6.0), (9.0, 12.0, 15.0))
    assert past_waits_sentence(past) == (
        "A truck has waited 9 min (8 to 10) on average, 60 loads; $120 was billed on 3"
    )
    assert past_waits_sentence(None) == ""
    told = {row["what"]: row["so far"] for row in past_waits_rows(past)}
    assert told["crew without concrete, in all"] == "1.5 h"
    assert "pay for that time" not in told
