"""Which slabs of a day fit together, and the best ways to do these."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourstats.planning.day.built import Builder
from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.outcome import BREACH_USD
from pourstats.planning.day.search import BY_STARTS, Found, bettered, partly, search, thinned

MOST_BROKEN = 3
"""Ways that break more rules than this are not worth bettering."""
SETS = 3
"""Sets of slabs of the same number that are looked into."""
TRY_RUNS = 400


@dataclass(frozen=True)
class Fit:
    """Slabs of a day that fit (in rising order), the ways to do them, and those left out."""

    kept: list[int]
    found: list[Found]
    left: list[int]


def fitting(day: Day, places: list[int], runs: int) -> Fit:
    """As many of the slabs ``places`` as keep to the rules together; rather those agreed on."""
    if not places:
        return Fit([], [], [])
    if len(places) <= BY_STARTS:
        return _few(day, places, runs)
    own = day.only(places)
    made = partly(own)
    for size in range(len(places), 0, -1):
        sets = list(dict.fromkeys(part.kept for part in made if len(part.kept) == size))
        if size == len(places) and not sets:
            sets = [tuple(range(size))]
        for kept in sets[:SETS]:
            own_ways = [part for part in made if part.kept == kept]
            sub = own.only(kept)
            if size <= BY_STARTS:
                ways = search(sub, runs // 2)
            else:
                least = min((part.score for part in own_ways), default=np.inf)
                hard = least > MOST_BROKEN * BREACH_USD
                choices = [part.choice for part in own_ways]
                choices += Builder(thinned(sub)).all_starts(runs // 8)
                ways = bettered(sub, choices, runs // (8 if hard else 1))
                if not own_ways and ways and len(ways[0].outcome.breaches) <= MOST_BROKEN:
                    # Never put together slab by slab, and yet not far from it.
                    ways = bettered(sub, [*(way.choice for way in ways), *choices], runs)
            if ways and fits(sub, ways[0]):
                return _more(day, places, [places[i] for i in kept], ways, runs)
    # What is in the ground can't be left out, whatever it breaks.
    begun = [place for place in places if day.slabs[place].wet]
    ways = search(day.only(begun), runs) if begun else []
    return Fit(begun if ways else [], ways, [p for p in places if not ways or p not in begun])


def _more(day: Day, places: list[int], kept: list[int], ways: list[Found], runs: int) -> Fit:
    """One more slab at a time, for as long as one fits beside those that are in."""
    left = [place for place in places if place not in kept]
    again = bool(left)
    while again:
        again = False
        for slab in list(left):
            found = beside(day, kept, ways[0].choice, slab)
            wanted = sorted([*kept, slab])
            if found is not None and fits(day.only(wanted), found):
                kept, again = wanted, True
                ways = [found, *bettered(day.only(wanted), [found.choice], runs)]
                ways.sort(key=lambda way: way.outcome.score)
                left.remove(slab)
    return Fit(kept, ways, left)


def fits(day: Day, best: Found) -> bool:
    """Whether a plan keeps to the rules; one slab alone, or under way, may be late."""
    broken = best.outcome.breaches
    if not broken:
        return True
    under_way = any(one.wet for one in day.slabs)
    return len(day.slabs) == 1 and (under_way or all(b.startswith("late") for b in broken))


def _few(day: Day, places: list[int], runs: int) -> Fit:
    """One or two slabs: both, else the one that costs least to keep."""
    own = day.only(places)
    ways = search(own, runs)
    if ways and fits(own, ways[0]):
        return Fit(list(places), ways, [])
    if all(day.slabs[place].wet for place in places):
        # What is in the ground can't be left out, whatever it breaks.
        return Fit(list(places), ways, [])
    if len(places) == 1:
        return Fit([], ways, list(places))
    alone = []
    for place in places:
        other = next(p for p in places if p != place)
        sub = day.only([place])
        ways = search(sub, runs // 2)
        if ways and fits(sub, ways[0]):
            one = day.slabs[place]
            turn = (
                not one.wet, bool(ways[0].outcome.breaches), one.fixed is None,
                ways[0].outcome.score, place,
            )  # fmt: skip
            alone.append((turn, Fit([place], ways, [other])))
    if not alone:
        return Fit([], [], list(places))
    return min(alone, key=lambda way: way[0])[1]


def beside(day: Day, kept: list[int], choice: Choice | None, slab: int) -> Found | None:
    """The best way found to take one more slab into a plan of ``kept``, whatever it breaks."""
    begun = choice or Choice((), (), (), ())
    ways = Builder(thinned(day)).added(kept, begun, slab, 24)
    found = bettered(day.only(sorted([*kept, slab])), ways, TRY_RUNS)
    return found[0] if found else None
