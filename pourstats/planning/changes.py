"""What to change next week, from what stood out this week: ``do``, why, and its source."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

MOST = 3
"""A crew changes few things at once."""

DO: dict[str, str] = {
    "late_truck": "Order the first load earlier and confirm the spacing with the plant the day"
    " before",
    "waiting_on_concrete": "Order trucks closer together; `pourstats trucks` shows the spacing"
    " that waits least",
    "short_load": "Measure the grade before the balance load is called",
    "wet_load": "Check the slump at the truck and send back what is too wet",
    "pump": "Have the pump on site and primed before the first load is due",
    "machine": "Run every machine the day before, and know where a spare stands",
    "held_up_machine": "Run every machine the day before, and know where a spare stands",
    "short_hand": "Line up one more hand, or move a pour",
    "held_up_people": "Keep a finisher on each slab to the last pass, or move a pour",
    "held_up_other_slab": "Start the two pours further apart; `pourstats plan` shows how far",
    "two_pours_that_day": "Start the two pours further apart; `pourstats plan` shows how far",
    "rain": "Set a go or no-go hour for rain the day before, and keep covers on the truck",
    "held_up_rain": "Set a go or no-go hour for rain the day before, and keep covers on the truck",
    "waiting_on_weather": "Set a go or no-go hour the day before",
    "grade": "Check the grade with a string line before ordering",
    "more_concrete": "Check the grade with a string line before ordering",
    "others_on_site": "Agree with the other trades who has the floor, and when",
    "waiting_on_others": "Agree with the other trades who has the floor, and when",
    "cold_set": "In the cold start early or ask the plant about the mix; `pourstats finishing`"
    " shows when it will take a machine",
    "slow_set": "Ask the plant about the mix; `pourstats finishing` shows when it will take a"
    " machine",
    "heat": "Pour earlier in the day, with water, shade and rest for the crew",
    "dried_fast": "Have fog, covers or an evaporation retarder ready when the air dries the slab",
    "old_load": "Call the loads so that none waits past its age limit",
}
"""What to do about a reason; those without one ask for nothing that a crew can change."""

OF_THE_WEEK = {
    "starved_min_per_pour": "waiting_on_concrete",
    "late_min_per_load": "late_truck",
}
"""Figures of the whole week that ask for a change when they stand out."""
OF_A_FLOOR = {"evaporation_max_lb_ft2_h": "dried_fast", "oldest_min": "old_load"}
"""Facts of a floor that do, whatever the log gives as the reason."""

PROOF: dict[str, str] = {
    "late_truck": "late_min",
    "short_load": "starved_min", "waiting_on_concrete": "starved_min", "pump": "starved_min",
    "grade": "overrun_pct", "more_concrete": "overrun_pct",
    "dried_fast": "evaporation_max_lb_ft2_h", "old_load": "oldest_min",
    **dict.fromkeys(
        ("held_up_other_slab", "held_up_people", "held_up_machine", "held_up_rain", "machine",
         "two_pours_that_day", "cold_set", "slow_set"),
        "on_late_min",
    ),
}  # fmt: skip
"""The fact that tells what a reason cost."""


def changes(stands_out: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """At most three things to change, the worst first, from the week's ``stands_out``.

    Each: ``do``; ``why`` with ``reason`` (a word of :data:`DO`), ``pour_id`` and ``site`` (None of
    the week as a whole), and ``measure`` and ``value`` in house units of what it cost (None where
    nothing tells); ``source``: log, where the crew wrote the reason, else figures.
    """
    found: list[dict[str, Any]] = []
    for item in stands_out:
        if not item["news"] or item["kind"] == "went_well":
            continue
        for why in _whys(item):
            do = DO[why["reason"]]
            if do not in [each["do"] for each in found]:
                logged = (
                    item["reason"]["source"] == "log" and why["reason"] in (item["reason"]["words"])
                )
                source = "log" if logged else "figures"
                found.append({"do": do, "why": why, "source": source})
    return found[:MOST]


def _whys(item: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Every reason of one thing that stood out which asks for a change."""
    facts = {fact["measure"]: fact for fact in item["evidence"]}
    for measure, reason in OF_A_FLOOR.items():
        if measure in facts:
            yield _why(reason, item, measure, facts[measure]["value"])
    for word in item["reason"]["words"]:
        if word not in DO:
            continue
        measure = PROOF.get(word, "")
        if measure in facts:
            yield _why(word, item, measure, facts[measure]["value"])
        else:
            yield _why(word, item, "over_h" if item.get("over_h") else None, item.get("over_h"))
    for measure, reason in OF_THE_WEEK.items():
        if measure in facts:
            yield _why(reason, item, measure, facts[measure]["total"])


def _why(
    reason: str, item: Mapping[str, Any], measure: str | None, value: float | None
) -> dict[str, Any]:
    return {
        "reason": reason, "pour_id": item.get("pour_id"), "site": item.get("site"),
        "measure": measure, "value": value,
    }  # fmt: skip
