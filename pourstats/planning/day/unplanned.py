"""Why a slab doesn't fit into a day, and what would make it fit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import replace

import numpy as np

from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.fetching import few_vehicles
from pourstats.planning.day.fitting import beside, fits
from pourstats.planning.day.mornings import clock_text, level, mean, middle
from pourstats.planning.day.people import SKILLS, Person
from pourstats.planning.day.search import Found
from pourstats.planning.day.slabs import Slab

WORDS = {
    "finisher": "no finisher can be there when it is ready",
    "forms": "the forms can't be set by the time the first load is due",
    "back": "those who place elsewhere can't be back before it is ready",
    "trowel": "there is no trowel for it",
    "trowel late": "the trowel comes from the other slab too late",
    "saw": "there is no saw for it",
    "late": "it is hardly finished by its end",
    "saw odds": "it is hardly cut that day",
    "vehicles": "there are too few vehicles for who goes where, and nobody is fetched in a plan",
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
            text += _times(day, found, " ".join(words), numbers[0])
        if text not in broken:
            broken.append(text)
    return "; ".join(broken[:3]) or "no plan keeps to its times"


def _times(day: Day, found: Found, kind: str, slab: int) -> str:
    """The hours that don't meet, in brackets."""
    out, one = found.outcome, day.slabs[slab]
    if kind == "forms":
        set_at = clock_text(middle(out.set_end[slab]))
        return f" (set at {set_at} at best, the load is due at {clock_text(_due(found, slab))})"
    if kind == "late":
        last = clock_text(middle(out.last[slab]))
        return f" (last pass off at {last}, the end is {clock_text(one.latest)})"
    if kind in ("finisher", "back", "trowel late"):
        return f" ({clock_text(level(out.ready[slab], 0.1))} one day in ten)"
    return ""


def _due(found: Found, slab: int) -> float:
    return found.choice.starts[slab]


def remedy(day: Day, kept: Sequence[int], choice: Choice | None, slab: int) -> str:
    """What lets the slab in beside ``kept``: a hand, a machine, another start, another day."""
    first = beside(day, list(kept), choice, slab)
    broken = {one.split(" ")[0] for one in first.outcome.breaches} if first else set()
    ways = tries(day, slab, broken)
    # Where all that could be had more of doesn't do it, no part of it will.
    most = next(way for way in ways if way[0] == MOST)
    best = beside(most[1], list(kept), choice, slab)
    wanted = sorted([*kept, slab])
    if best is None or not fits(most[1].only(wanted), best):
        ways = [way for way in ways if way[0] not in PARTS]
    for words, other in ways:
        found = beside(other, list(kept), choice, slab)
        if found is not None and fits(other.only(sorted([*kept, slab])), found):
            place = sorted([*kept, slab]).index(slab)
            start = found.choice.starts[place]
            share = mean(found.outcome.last[place] <= other.slabs[slab].latest)
            odds = "" if share > 0.85 else f", finished in time {10 * share:.0f} days in ten"
            return words.format(start=clock_text(start)) + f", and it fits{odds}"
    return last_resort(day, kept, slab, broken)


def last_resort(day: Day, kept: Sequence[int], slab: int, broken: Set[str]) -> str:
    """What to do where neither a hand, a machine nor an hour lets a slab in."""
    name = day.slabs[slab].pour_id
    if broken and broken <= {"late", "saw"}:
        # A retarder would only make it later.
        return f"put {name} on a day on which it can start earlier, or agree on a later end"
    if not kept:
        return f"put {name} on a day with more people or time"
    clash = broken & {"finisher", "back", "trowel"}
    return f"put {name} on another day" + (
        ", or ask the plant about a retarder" if clash and not day.slabs[slab].wet else ""
    )


MOST = "add two hands who can finish, a trowel and a vehicle"
PARTS = ("add a hand who can finish", "add a trowel", "add a vehicle", MOST)
"""Of these each is less than the last."""

MEANT_FOR = {"vehicles": PARTS[2], "trowel": PARTS[1], "saw": "add a saw"}
"""What a broken rule asks for first."""


def tries(day: Day, slab: int, broken: Set[str] = frozenset()) -> list[tuple[str, Day]]:
    """Days with a hand, a machine, an hour more, in words; first what the broken rules ask for."""
    meant = {MEANT_FOR[kind] for kind in broken if kind in MEANT_FOR}
    if few_vehicles(day):
        # Nobody is fetched: what breaks elsewhere may well come from that.
        meant.add(MEANT_FOR["vehicles"])
    return sorted(_tries(day, slab), key=lambda way: way[0] not in meant)


def _tries(day: Day, slab: int) -> Iterator[tuple[str, Day]]:
    rules, one = day.rules, day.slabs[slab]
    cost = max((who.usd_h for who in day.people), default=40.0)
    week = (*day.week_h, 0.0) if day.week_h else ()
    if one.fixed is not None and one.happened.begin is None:
        low = one.set_up_allowed_h + one.travel_h + rules.day_start
        low = max(low, one.early + one.set_up_allowed_h if one.early is not None else 0.0)
        low = max(low, day.now + 0.75 if day.now is not None else 0.0)
        high = max(min(one.plant_last, rules.plant_close - 0.5, one.latest - 3.0), low)
        starts = tuple(float(t) for t in np.arange(np.ceil(low * 2) / 2, high + 0.01, 0.5))
        if starts:
            free = replace(one, fixed=None, starts=starts, seen={})
            yield f"agree on {{start}} for {one.pour_id}", _with(day, slab, free)
    if one.latest < rules.day_end:
        later = replace(one, latest=rules.day_end, starts=_longer(one.starts, one), seen={})
        words = f"agree on a later end than {clock_text(one.latest)} at {one.pour_id}"
        yield words, _with(day, slab, later)
    more = replace(day, people=(*day.people, Person("one more", SKILLS, cost)), week_h=week)
    yield PARTS[0], more
    trowels = replace(rules, trowels_walk_behind=rules.trowels_walk_behind + 1)
    yield PARTS[1], replace(day, rules=trowels)
    yield PARTS[2], replace(day, rules=replace(rules, vehicles=rules.vehicles + 1))
    yield "add a saw", replace(day, rules=replace(rules, saws=rules.saws + 1))
    if one.fixed is None and day.now is None and one.early is None:
        early = replace(
            one, starts=(one.starts[0] - 1.0, one.starts[0] - 0.5, *one.starts), seen={}
        )
        sooner = replace(rules, day_start=max(rules.day_start - 1.0, 0.0))
        words = f"start {one.pour_id} at {{start}} (ask the plant to open earlier)"
        yield words, replace(_with(day, slab, early), rules=sooner)
    two = replace(
        more, people=(*more.people, Person("another", SKILLS, cost)),
        week_h=(*week, 0.0) if week else (), rules=replace(trowels, vehicles=rules.vehicles + 1),
    )  # fmt: skip
    yield MOST, two


def _longer(starts: tuple[float, ...], one: Slab) -> tuple[float, ...]:
    """Starts that a later end leaves open too."""
    if one.fixed is not None:
        return starts
    return (*starts, *(starts[-1] + 0.5 * step for step in range(1, 7)))


def _with(day: Day, slab: int, other: object) -> Day:
    slabs = list(day.slabs)
    slabs[slab] = other  # type: ignore[call-overload]
    return replace(day, slabs=tuple(slabs))
