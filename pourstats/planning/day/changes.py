"""Small changes of a way to do a day: a start, one of a team, who saws, two people's parts."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pourstats.planning.day.choice import Choice, Day, Team

SHIFTS = (-0.5, 0.5, -1.0, 1.0, -0.25, 0.25)


def changes(day: Day, choice: Choice) -> Iterator[Choice]:
    """Ways that differ in one thing."""
    everyone = range(len(day.people))
    for slab, one in enumerate(day.slabs):
        if one.fixed is None:
            for shift in SHIFTS:
                start = choice.starts[slab] + shift
                if _within(day, slab, start):
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
    if len(day.slabs) > 1:
        yield from _wide(day, choice)


def _wide(day: Day, choice: Choice) -> Iterator[Choice]:
    """Two slabs change their turns; all later ones move together; two people change parts."""
    free = [slab for slab, one in enumerate(day.slabs) if one.fixed is None]
    for place, one in enumerate(free):
        for other in free[place + 1 :]:
            starts = choice.starts
            if _within(day, one, starts[other]) and _within(day, other, starts[one]):
                yield choice.with_start(one, starts[other]).with_start(other, starts[one])
    for slab in free:
        for shift in (-0.5, 0.5):
            moved = _all_later(day, choice, slab, shift)
            if moved != choice:
                yield moved
    for one in range(len(day.people)):
        for other in range(one + 1, len(day.people)):
            changed = _parts_changed(day, choice, one, other)
            if changed is not None and changed != choice:
                yield changed


def change(day: Day, choice: Choice, rng: np.random.Generator) -> Choice:
    """One change at random; the same way again where that one can't be."""
    slab = int(rng.integers(len(day.slabs)))
    one, kind = day.slabs[slab], rng.random()
    people = len(day.people)
    if kind < 0.35 and one.fixed is None:
        start = choice.starts[slab] + float(rng.choice(SHIFTS))
        return choice.with_start(slab, start) if _within(day, slab, start) else choice
    if kind < 0.45 and one.fixed is None:
        return _all_later(day, choice, slab, float(rng.choice((-0.5, 0.5, -0.25, 0.25))))
    if kind < 0.85:
        task = "place" if kind < 0.65 else "finish"
        team = (choice.place if task == "place" else choice.finish)[slab]
        least = one.hands if task == "place" else one.finish_hands
        person = int(rng.integers(people))
        if person in team:
            rest = tuple(p for p in team if p != person)
            if len(team) == least:
                outside = [p for p in range(people) if p not in team]
                if not outside:
                    return choice
                rest = (*rest, int(rng.choice(outside)))
            return choice.with_team(task, slab, rest) if _may(day, task, rest) else choice
        if rng.random() < 0.3:
            return choice.with_team(task, slab, (*team, person))
        gone = team[int(rng.integers(len(team)))]
        rest = (*(p for p in team if p != gone), person)
        return choice.with_team(task, slab, rest) if _may(day, task, rest) else choice
    if kind < 0.93 and one.saw is not None:
        able = (*day.able("saw"), None)
        return choice.with_saw(slab, able[int(rng.integers(len(able)))])
    first, other = int(rng.integers(people)), int(rng.integers(people))
    return _parts_changed(day, choice, first, other) or choice


def _may(day: Day, task: str, team: Team) -> bool:
    return task == "place" or _finishes(day, team)


def _all_later(day: Day, choice: Choice, slab: int, shift: float) -> Choice:
    moved = choice
    for other, one in enumerate(day.slabs):
        start = choice.starts[other] + shift
        later = choice.starts[other] >= choice.starts[slab]
        if one.fixed is None and later and _within(day, other, start):
            moved = moved.with_start(other, start)
    return moved


def _within(day: Day, slab: int, start: float) -> bool:
    return day.slabs[slab].starts[0] <= start <= day.slabs[slab].starts[-1]


def _parts_changed(day: Day, choice: Choice, one: int, other: int) -> Choice | None:
    """Two people do each other's day; None where a skill is lacking then."""
    turned = {one: other, other: one}
    finish = tuple(tuple(sorted(turned.get(p, p) for p in team)) for team in choice.finish)
    saw = tuple(None if p is None else turned.get(p, p) for p in choice.saw)
    if not all(_finishes(day, team) for team in finish):
        return None
    if any(p is not None and "saw" not in day.people[p].skills for p in saw):
        return None
    place = tuple(tuple(sorted(turned.get(p, p) for p in team)) for team in choice.place)
    return Choice(choice.starts, place, finish, saw)


def _finishes(day: Day, team: Team) -> bool:
    return any("finish" in day.people[p].skills for p in team)
