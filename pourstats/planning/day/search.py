"""Finding a good day: ways built task by task over all starts, then bettered one change at a time.

The search sees some of the mornings drawn; the judgement sees all.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from pourstats.planning.day.choice import Choice, Day, Team
from pourstats.planning.day.run import Outcome, run

SEARCH_DRAWS = 64
KEPT = 6
"""Ways that are bettered, and then judged."""
RUNS = 2400
"""Ways that are tried at most for a day."""


@dataclass(frozen=True)
class Found:
    """A way and what it leads to, judged on all draws."""

    choice: Choice
    outcome: Outcome


def search(day: Day, runs: int = RUNS) -> list[Found]:
    """The best ways found, best first; empty where not even the people are there.

    ``runs`` bounds how many ways are tried, so that the same day always gives the same plan.
    """
    if any(lacking(day, slab) for slab in range(len(day.slabs))):
        return []
    runs = runs if len(day.slabs) < 3 else 2 * runs // len(day.slabs)
    thin = day.taken(min(SEARCH_DRAWS, day.count))
    scored: dict[Choice, float] = {}
    for choice in _built(thin, runs // 2):
        if choice not in scored:
            scored[choice] = run(thin, choice).score
    chosen = _different(sorted(scored, key=scored.__getitem__), KEPT)
    bettered = {}
    for place, choice in enumerate(chosen):
        # The first gets half of what is left, the next half of the rest, and so on.
        budget = runs // (4 * 2 ** min(place, 2))
        found = _bettered(thin, choice, scored, budget)
        bettered[found] = scored[found]
    ways = sorted(bettered, key=bettered.__getitem__)[:4]
    ways += _different([c for c in sorted(scored, key=scored.__getitem__) if c not in ways], 2)
    judged = [Found(choice, run(day, choice, keep=True)) for choice in dict.fromkeys(ways)]
    return sorted(judged, key=lambda found: found.outcome.score)


def lacking(day: Day, slab: int) -> str | None:
    """What keeps a slab from being done at all, whatever the rest of the day; None if nothing."""
    one = day.slabs[slab]
    finishers = len(day.able("finish"))
    if len(day.people) < max(one.hands, one.finish_hands):
        need = max(one.hands, one.finish_hands)
        return f"it takes {need} hands and {len(day.people)} are there; add a hand"
    if finishers == 0:
        return "nobody who is there can finish; add a finisher"
    if one.trowels and day.rules.trowels == 0:
        return "no trowel is owned (setting trowels_walk_behind)"
    return None


def _built(day: Day, most: int) -> Iterator[Choice]:
    """Ways over all combinations of starts (or a spread of them) and of a few habits."""
    combinations = _starts(day, max(most // 8, 1))
    for extra_place, extra_finish, stay in product((0, 1), (0, 1), (True, False)):
        for starts in combinations:
            choice = _built_one(day, starts, extra_place, extra_finish, stay)
            if choice is not None:
                yield choice


def _starts(day: Day, budget: int) -> list[tuple[float, ...]]:
    options = [slab.starts for slab in day.slabs]
    while np.prod([len(o) for o in options]) > budget and max(map(len, options)) > 2:
        longest = max(range(len(options)), key=lambda i: len(options[i]))
        kept = options[longest]
        options[longest] = tuple(dict.fromkeys([*kept[::2], kept[-1]]))
    return list(product(*options))


def _built_one(
    day: Day, starts: tuple[float, ...], extra_place: int, extra_finish: int, stay: bool
) -> Choice | None:
    """A way in which each task, in time order, takes those who are free soonest and fit best."""
    n = len(day.slabs)
    place: list[Team] = [()] * n
    finish: list[Team] = [()] * n
    saw: list[int | None] = [None] * n
    free = np.full(len(day.people), -np.inf)
    spot = [-1] * len(day.people)
    busy = np.zeros(len(day.people))
    events = []
    for slab, one in enumerate(day.slabs):
        at = one.at(starts[slab])
        end = starts[slab] + float(np.median(one.late_h + at.place_h))
        ready = end + max(float(np.quantile(at.ready_h, 0.1)), 0.0)
        last = end + max(float(np.median(at.ready_h)), 0.0) + float(np.median(at.span_h))
        set_up = float(np.median(one.set_up_h))
        events.append((starts[slab] - set_up, "place", slab, end))
        events.append((ready, "finish", slab, last))
        if one.saw is not None:
            since = last if one.saw == "early_entry" else end
            opens = max(since + float(np.median(at.opens_h)), last)
            if opens + one.saw_h <= one.latest:
                events.append((opens, "saw", slab, opens + one.saw_h))
    for begin, task, slab, end in sorted(events):
        one = day.slabs[slab]

        def rank(
            person: int, begin: float = begin, slab: int = slab, task: str = task
        ) -> tuple[float, ...]:
            who = day.people[person]
            travel = 0.0 if spot[person] == slab else day.slabs[slab].travel_h
            late = max(0.0, free[person] + travel - begin)
            here = spot[person] == slab
            return (
                round(late, 2), float(stay and not here),
                len(who.skills) if task == "place" else 0.0, busy[person], who.usd_h, person,
            )  # fmt: skip

        if task == "saw":
            able = list(day.able("saw"))
            if not able:
                continue
            team: Team = (min(able, key=rank),)
            saw[slab] = team[0]
        elif task == "place":
            size = min(one.hands + extra_place, len(day.people))
            ordered = sorted(range(len(day.people)), key=rank)
            team = tuple(sorted(ordered[:size]))
            if not any("finish" in day.people[p].skills for p in team):
                able = [p for p in ordered if "finish" in day.people[p].skills]
                team = tuple(sorted([*ordered[: size - 1], able[0]]))
            place[slab] = team
        else:
            able = sorted(day.able("finish"), key=rank)
            size = one.finish_hands + extra_finish
            others = sorted((p for p in range(len(day.people)) if p not in able), key=rank)
            team = tuple(sorted([*able, *others][: min(size, len(day.people))]))
            finish[slab] = team
        for person in team:
            free[person] = end + 0.3
            spot[person] = slab
            busy[person] += end - begin
    return Choice(starts, tuple(place), tuple(finish), tuple(saw))


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


def _bettered(day: Day, choice: Choice, scored: dict[Choice, float], budget: int) -> Choice:
    """Change one thing at a time for as long as it gets better, within so many new ways."""
    current = choice
    again = True
    while again and budget > 0:
        again = False
        for other in _neighbours(day, current):
            if other not in scored:
                if budget <= 0:
                    break
                budget -= 1
                scored[other] = run(day, other).score
            if scored[other] < scored[current] - 0.01:
                current, again = other, True
    return current


def _neighbours(day: Day, choice: Choice) -> Iterable[Choice]:
    everyone = range(len(day.people))
    for slab, one in enumerate(day.slabs):
        if one.fixed is None:
            for shift in (-0.5, 0.5, -1.0, 1.0, -0.25, 0.25):
                start = choice.starts[slab] + shift
                if one.starts[0] <= start <= one.starts[-1]:
                    yield choice.with_start(slab, start)
        for task, least in (("place", one.hands), ("finish", one.finish_hands)):
            team = (choice.place if task == "place" else choice.finish)[slab]
            outside = [p for p in everyone if p not in team]
            for person in team:
                if len(team) > least:
                    rest = tuple(p for p in team if p != person)
                    if task == "place" or _finishes(day, rest):
                        yield choice.with_team(task, slab, rest)
                for other in outside:
                    swapped = (*(p for p in team if p != person), other)
                    if task == "place" or _finishes(day, swapped):
                        yield choice.with_team(task, slab, swapped)
            for other in outside:
                yield choice.with_team(task, slab, (*team, other))
        if one.saw is not None:
            for sawyer in (None, *day.able("saw")):
                if sawyer != choice.saw[slab]:
                    yield choice.with_saw(slab, sawyer)


def _finishes(day: Day, team: Team) -> bool:
    return any("finish" in day.people[p].skills for p in team)
