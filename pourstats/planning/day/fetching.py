"""What a vehicle more is worth on a day with few: in a plan nobody is dropped off or fetched.

People ride where a vehicle goes and wait for the next that leaves. A driver who goes back and forth
between two sites isn't planned, since he neither places nor finishes on the road; a vehicle more is
what can be tried.
"""

from __future__ import annotations

from dataclasses import replace

from pourstats.planning.day.built import Builder
from pourstats.planning.day.choice import Day
from pourstats.planning.day.mornings import mean
from pourstats.planning.day.search import RUNS, Found, bettered, thinned

WORTH_USD = 25.0
"""What saves less than this may be the search's luck."""


def few_vehicles(day: Day) -> bool:
    """Whether a day has more slabs than vehicles, and people who might go to different ones."""
    return day.rules.vehicles < min(len(day.slabs), len(day.people))


def nobody_fetched(day: Day, best: Found) -> list[str]:
    """What is to be known where vehicles are few, and what one more would save; else nothing."""
    if not few_vehicles(day):
        return []
    more = replace(day, rules=replace(day.rules, vehicles=day.rules.vehicles + 1))
    begun = [best.choice, *Builder(thinned(more)).all_starts(RUNS // 8)]
    other = bettered(more, begun, RUNS // 8)[0].outcome
    if other.breaches:
        return []
    count = "one vehicle" if day.rules.vehicles == 1 else f"{day.rules.vehicles} vehicles"
    told = (
        f"With {count} people ride together and wait for each other: nobody is dropped off and"
        " fetched in this plan."
    )
    saved = mean(best.outcome.cost - other.cost)
    if best.outcome.breaches:
        told += " One vehicle more (setting vehicles) mends it."
    elif saved >= WORTH_USD:
        told += f" One vehicle more (setting vehicles) would save {saved:.0f} dollars that day."
    return [told]
