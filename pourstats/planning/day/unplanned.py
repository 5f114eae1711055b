"""Why a slab doesn't fit into a day, and what would make it fit."""

from __future__ import annotations

from dataclasses import replace

from pourstats.planning.day.choice import Day
from pourstats.planning.day.people import SKILLS, Person
from pourstats.planning.day.search import Found, search

TRY_RUNS = 250
WORDS = {
    "finisher": "no finisher can be there when it is ready",
    "forms": "the forms can't be set by the time the first load is due",
    "back": "those who place elsewhere can't be back before it is ready",
    "trowel": "there is no trowel for it",
    "trowel late": "the trowel comes from the other slab too late",
    "saw": "there is no saw for it",
    "late": "it is hardly finished by the end of the day",
    "saw odds": "it is hardly cut that day",
    "vehicles": "there are too few vehicles for who goes where",
}


def reason_of(day: Day, found: Found) -> str:
    """The rules that even the best plan of the whole day breaks, in words."""
    broken = []
    for breach in found.outcome.breaches:
        words = [word for word in breach.split() if not word.isdigit()]
        numbers = [int(word) for word in breach.split() if word.isdigit()]
        text = WORDS.get(" ".join(words), breach)
        if numbers:
            text = f"{day.slabs[numbers[0]].pour_id}: {text}"
        if text not in broken:
            broken.append(text)
    return "; ".join(broken[:3]) or "no plan keeps to its times"


def remedy(day: Day, slab: int) -> str:
    """What lets the whole day through: a hand, a machine, another start, another day."""
    rules = day.rules
    cost = max((one.usd_h for one in day.people), default=40.0)
    trowels = replace(rules, trowels_walk_behind=rules.trowels_walk_behind + 1)
    tries = (
        ("add a hand who can finish",
         replace(day, people=(*day.people, Person("one more", SKILLS, cost)))),
        ("add a trowel", replace(day, rules=trowels)),
        ("add a vehicle", replace(day, rules=replace(rules, vehicles=rules.vehicles + 1))),
        ("add a saw", replace(day, rules=replace(rules, saws=rules.saws + 1))),
    )  # fmt: skip
    for words, other in tries:
        ways = search(other, TRY_RUNS)
        if ways and not ways[0].outcome.breaches:
            return f"{words}, and it fits"
    agreed = [one.pour_id for one in day.slabs if one.fixed is not None]
    if agreed:
        return (
            f"move the agreed start of {' or '.join(agreed)}, put {day.slabs[slab].pour_id} on"
            " another day, or ask the plant about a retarder"
        )
    return f"put {day.slabs[slab].pour_id} on another day, or ask the plant about a retarder"
