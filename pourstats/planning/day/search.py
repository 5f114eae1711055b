"""Finding a good day: ways built up slab by slab, then bettered by small changes.

The search sees some of the mornings drawn; the judgement sees all. Two slabs go over every
combination of starts; more are put together a slab at a time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from pourstats.learning.draws import stream
from pourstats.planning.day.built import Builder, Part, parts
from pourstats.planning.day.changes import change, changes
from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.mornings import clock_text
from pourstats.planning.day.outcome import BREACH_USD, Outcome
from pourstats.planning.day.run import run

SEARCH_DRAWS = 100
THIN_H = 0.04
RUNS = 2400
"""Ways that are tried at most for a day of two slabs; of more, for each set of slabs."""
FEW_SHARES = (1 / 4, 1 / 8, 1 / 16, 1 / 16)
MANY_SHARES = (1.0, 1.0, 1 / 2, 1 / 2)
"""Of these, what goes to bettering the best way built, the next, and so on."""
HOURS, HOUR_RUNS = 12, 120
"""Hours of starts that a search of a few slabs sets out from, and ways tried from each."""
FEW_HOURS = 4
"""The same where a day is only tried with something changed."""
MEND_RUNS = 200
"""Ways tried on all mornings where what was found on some breaks a rule on all."""
STEP_RUNS = 80
"""Ways that are tried to better a part plan before the next slab comes in."""
BY_STARTS = 2
"""Up to so many slabs every combination of starts is gone through."""
HOT_USD, COLD_USD = 400.0, 10.0
"""A worse way is gone on with now and then, by so many dollars at first, and at last."""


PLANT_SLACK_H = 0.25
"""A plant closes at its hour give or take."""


@dataclass(frozen=True)
class Found:
    """A way and what it leads to, judged on all draws."""

    choice: Choice
    outcome: Outcome


class Tries:
    """Ways tried on a day, each played once."""

    def __init__(self, day: Day, ways: Iterable[Choice] = ()) -> None:
        self.day = day
        self.known: dict[Choice, tuple[float, float]] = {}
        for way in ways:
            self.score(way)

    def score(self, choice: Choice) -> float:
        """Expected dollars, broken rules far above."""
        return self._of(choice)[0]

    def soft(self, choice: Choice) -> float:
        """The same with broken rules less far above: a search gets through what breaks a little."""
        return self._of(choice)[1]

    def _of(self, choice: Choice) -> tuple[float, float]:
        found = self.known.get(choice)
        if found is None:
            out = run(self.day, choice)
            found = self.known[choice] = (out.score, out.soft)
        return found

    def best(self) -> list[Choice]:
        """All ways, the best first."""
        return sorted(self.known, key=self.score)


def search(day: Day, runs: int = RUNS) -> list[Found]:
    """The best ways found, best first; empty where not even the people are there.

    ``runs`` bounds how many ways are tried, so that the same day always gives the same plan.
    """
    if any(lacking(day, slab) for slab in range(len(day.slabs))):
        return []
    thin = thinned(day)
    size = len(day.slabs)
    if size <= BY_STARTS:
        ways = list(Builder(thin).all_starts(runs // 2))
    else:
        ways = [part.choice for part in partly(day) if len(part.kept) == size]
        ways += Builder(thin).all_starts(runs // 8)
    return bettered(day, ways, runs)


def thinned(day: Day) -> Day:
    """The day with the first of its draws, and less slack, so that what fits it fits them all."""
    if day.count <= SEARCH_DRAWS:
        return day
    return replace(day.taken(SEARCH_DRAWS), slack_h=day.slack_h - THIN_H)


def bettered(day: Day, ways: Iterable[Choice], runs: int) -> list[Found]:
    """Ways made better by small changes, judged on all draws; best first."""
    tries = Tries(thinned(day), ways)
    few = len(day.slabs) <= BY_STARTS
    shares = FEW_SHARES if few else MANY_SHARES
    ordered = tries.best()
    if few:
        # What breaks a rule may only want another sawyer: each hour gets a short climb first.
        hours = HOURS if runs >= RUNS // 4 else FEW_HOURS
        begun = _by_hour(sorted(tries.known, key=tries.soft))[:hours]
        short = [climbed(tries, choice, HOUR_RUNS) for choice in begun]
        ordered = sorted(dict.fromkeys([*short, *ordered]), key=tries.score)
        chosen = _different(ordered, len(shares))
    else:
        # The best of each order of slabs: the long climbs must not all set out from one.
        chosen = _by_turn(sorted(ordered, key=tries.soft))[: len(shares)]
    made = [
        climbed(tries, choice, int(share * runs))
        for choice, share in zip(chosen, shares, strict=False)
    ]
    kept = sorted(dict.fromkeys(made), key=tries.score)[:4]
    kept += _different([c for c in tries.best() if c not in kept], 2)
    judged = [Found(choice, run(day, choice, keep=True)) for choice in dict.fromkeys(kept)]
    judged.sort(key=lambda found: found.outcome.score)
    if judged and judged[0].outcome.breaches and tries.score(judged[0].choice) < BREACH_USD:
        whole = Tries(day, [found.choice for found in judged])
        mended = climbed(whole, judged[0].choice, MEND_RUNS)
        judged.insert(0, Found(mended, run(day, mended, keep=True)))
        judged.sort(key=lambda found: found.outcome.score)
    return judged


def partly(day: Day) -> list[Part]:
    """Plans of as many of a day's slabs as fit together, on the first draws; the best first."""

    def better(sub: Day, part: Part) -> Part:
        tries = Tries(sub, [part.choice])
        choice = climbed(tries, part.choice, STEP_RUNS)
        return Part(part.kept, choice, tries.score(choice))

    return parts(thinned(day), better)


def lacking(day: Day, slab: int) -> str | None:
    """What keeps a slab from being done at all, whatever the rest of the day; None if nothing."""
    one = day.slabs[slab]
    finishers = len(day.able("finish"))
    placed = one.happened.end is not None
    if placed and one.happened.last is not None:
        return None
    need = one.finish_hands if placed else max(one.hands, one.finish_hands)
    if len(day.people) < need:
        short = need - len(day.people)
        more = "a hand" if short == 1 else f"{short} hands"
        return f"it takes {need} hands and {len(day.people)} are there; add {more}"
    if finishers == 0:
        return "nobody who is there can finish; add a finisher"
    if one.trowels and day.rules.trowels == 0:
        return "no trowel is owned (setting trowels_walk_behind)"
    if not one.wet and one.fixed is not None:
        if not 0.0 <= one.fixed < 24.0:
            return "its place_start isn't on its date; mend one of them"
        if one.early is not None and one.fixed < one.early:
            return "its place_start is before its earliest_start; mend one of them"
    if not one.wet and min(one.starts) > one.plant_last + PLANT_SLACK_H:
        soonest = clock_text(min(one.starts))
        if one.loads > 1:
            return (
                f"with the first load at {soonest} the last of {one.loads} comes after the plant"
                f" closes; start by {clock_text(one.plant_last)}, ask the plant to stay open"
                " (setting plant_close), or pour it in two parts"
            )
        return (
            f"the plant loads no truck for {soonest} (settings plant_open and plant_close); order"
            f" it by {clock_text(one.plant_last)}, or ask the plant to stay open"
        )
    if one.early is not None and one.latest <= one.early:
        return "its latest_end is before its earliest_start; mend one of them"
    return None


def _by_hour(ordered: list[Choice]) -> list[Choice]:
    """The first of a list of each hour of starts."""
    found: dict[tuple[int, ...], Choice] = {}
    for choice in ordered:
        found.setdefault(tuple(int(start) for start in choice.starts), choice)
    return list(found.values())


def _by_turn(ordered: list[Choice]) -> list[Choice]:
    """The first of a list of each order of slabs."""
    found: dict[tuple[int, ...], Choice] = {}
    for choice in ordered:
        turn = sorted(range(len(choice.starts)), key=choice.starts.__getitem__)
        found.setdefault(tuple(turn), choice)
    return list(found.values())


def _different(ordered: list[Choice], count: int) -> list[Choice]:
    """The first of a list that differ in who does what, or in a start by an hour or more."""
    kept: list[Choice] = []
    for choice in ordered:
        if all(_apart(choice, other) for other in kept):
            kept.append(choice)
        if len(kept) == count:
            break
    return kept


def _apart(one: Choice, other: Choice) -> bool:
    teams = (one.place, one.finish, one.saw) != (other.place, other.finish, other.saw)
    moved = any(abs(a - b) >= 1.0 for a, b in zip(one.starts, other.starts, strict=True))
    return teams or moved


def climbed(tries: Tries, choice: Choice, budget: int) -> Choice:
    """The best way within so many new ones: changes at random that cool down, then downhill only.

    Simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) for two thirds of the budget; the rest
    goes through all single changes for as long as one is better.
    """
    rng = stream(0, "search", budget, *choice.starts)
    begun = len(tries.known)
    cooling = 2 * budget // 3
    best = current = choice
    for _ in range(4 * cooling):
        spent = len(tries.known) - begun
        if spent >= cooling:
            break
        warm = HOT_USD * (COLD_USD / HOT_USD) ** (spent / cooling)
        other = change(tries.day, current, rng)
        worse = tries.soft(other) - tries.soft(current)
        if worse <= 0 or rng.random() < np.exp(-worse / warm):
            current = other
        if tries.score(current) < tries.score(best):
            best = current
    return _downhill(tries, best, begun + budget, rng)


def _downhill(tries: Tries, choice: Choice, until: int, rng: np.random.Generator) -> Choice:
    """Single changes for as long as one is better and ``until`` ways aren't tried."""
    while True:
        ways = list(changes(tries.day, choice))
        for place in rng.permutation(len(ways)):
            other = ways[int(place)]
            if other not in tries.known and len(tries.known) >= until:
                return choice
            if tries.score(other) < tries.score(choice) - 0.01:
                choice = other
                break
        else:
            return choice
