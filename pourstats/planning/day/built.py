"""Ways to do a day, built up: a slab at a time, each task to those who are free and fit best.

Times are the usual ones here; whether a way holds on the mornings drawn is for the play to say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TypeVar

import numpy as np

from pourstats.planning.day.choice import Choice, Day, Team
from pourstats.planning.day.mornings import level, middle
from pourstats.planning.day.outcome import BREACH_USD
from pourstats.planning.day.run import EARLY, run

T = TypeVar("T")

WIDE = 6
"""Part plans that are built on at each step."""
ALIKE = 2
"""Of these, with the same slabs."""
TRIED = 14
"""Ways in which a slab is added to each of them."""
LEFT_OUT_USD = 0.9 * BREACH_USD
"""A slab left out weighs less than a broken rule, and more than any cost."""


@dataclass(frozen=True)
class Usual:
    """The usual hours of one slab at a start."""

    set_up: float
    placed: float
    ready: float
    """One day in ten earlier."""
    last: float
    opens: float | None
    """None where it isn't sawn that day."""


class Builder:
    """Builds ways for a day; keeps the usual hours that it has worked out."""

    def __init__(self, day: Day) -> None:
        self.day = day
        self.known: dict[tuple[int, float], Usual] = {}

    def usual(self, slab: int, start: float) -> Usual:
        """The usual hours of a slab at a start."""
        found = self.known.get((slab, start))
        if found is None:
            one = self.day.slabs[slab]
            at = one.at(start)
            placed = start + middle(one.late_h + at.place_h)
            likely = placed + max(middle(at.ready_h), 0.0)
            last = likely + middle(at.span_h)
            opens = None
            if one.saw is not None:
                since = last if one.saw == "early_entry" else placed
                opens = max(since + middle(at.opens_h), last)
                opens = opens if opens + one.saw_h <= one.latest else None
            found = Usual(
                start - one.set_up_allowed_h, placed,
                placed + max(level(at.ready_h, EARLY), 0.0), last + middle(one.clean_h), opens,
            )  # fmt: skip
            self.known[slab, start] = found
        return found

    def all_starts(self, most: int) -> Iterator[Choice]:
        """Ways over all combinations of starts (or a spread of them) and of a few habits."""
        combinations = self._starts(max(most // 8, 1))
        for extra_place, extra_finish, stay in product((0, 1), (0, 1), (True, False)):
            for starts in combinations:
                yield self.at_starts(starts, extra_place, extra_finish, stay)

    def _starts(self, budget: int) -> list[tuple[float, ...]]:
        options = [slab.starts for slab in self.day.slabs]
        while np.prod([len(o) for o in options]) > budget and max(map(len, options)) > 2:
            longest = max(range(len(options)), key=lambda i: len(options[i]))
            kept = options[longest]
            options[longest] = tuple(dict.fromkeys([*kept[::2], kept[-1]]))
        return list(product(*options))

    def at_starts(
        self, starts: Sequence[float], extra_place: int, extra_finish: int, stay: bool
    ) -> Choice:
        """A way in which each task, in time order, takes those who are free soonest."""
        busy = Busy(self.day)
        order = []
        for slab, start in enumerate(starts):
            usual = self.usual(slab, start)
            order += [(usual.set_up, "place", slab), (usual.ready, "finish", slab)]
            if usual.opens is not None:
                order.append((usual.opens, "saw", slab))
        n = len(starts)
        place: list[Team] = [()] * n
        finish: list[Team] = [()] * n
        saw: list[int | None] = [None] * n
        for _, task, slab in sorted(order):
            usual = self.usual(slab, starts[slab])
            if task == "place":
                place[slab], _ = busy.placers(slab, usual, extra_place, stay)
            elif task == "finish":
                finish[slab], _ = busy.finishers(slab, usual, extra_finish, stay)
            else:
                saw[slab], _ = busy.sawyer(slab, usual)
        return Choice(tuple(starts), tuple(place), tuple(finish), tuple(saw))

    def added(self, kept: Sequence[int], choice: Choice, slab: int, most: int) -> list[Choice]:
        """Ways to take one more slab into a part plan, those with the least clashes first.

        ``choice`` is for ``kept``, in rising order; so are the ways, the slab among them.
        """
        wanted = sorted([*kept, slab])
        place = wanted.index(slab)
        found: list[tuple[float, float, int, Choice]] = []
        for start in self.day.slabs[slab].starts:
            usual = self.usual(slab, start)
            for more, extra in enumerate(((0, 0), (1, 0), (0, 1))):
                busy = Busy(self.day)
                for i, own in enumerate(kept):
                    busy.book(own, self.usual(own, choice.starts[i]), choice, i)
                placers, one = busy.placers(slab, usual, extra[0], True)
                finishers, two = busy.finishers(slab, usual, extra[1], True)
                sawyer, three = busy.sawyer(slab, usual)
                way = Choice(
                    _put_in(choice.starts, place, start), _put_in(choice.place, place, placers),
                    _put_in(choice.finish, place, finishers), _put_in(choice.saw, place, sawyer),
                )  # fmt: skip
                clash = round(one + two + three + busy.without_trowel(slab, usual), 1)
                found.append((clash + 0.3 * more, usual.last, len(found), way))
        found.sort(key=lambda way: way[:3])
        # The soonest of those without a clash, and a spread of the rest over the day.
        clear = [way for way in found if way[0] <= found[0][0] + 0.35]
        step = max(1, len(clear) // most)
        return [way[-1] for way in [*clear[: most // 2], *clear[most // 2 :: step]][:most]]


class Busy:
    """Who is where when, by usual hours."""

    def __init__(self, day: Day) -> None:
        self.day = day
        self.spans: list[list[tuple[float, float, int]]] = [[] for _ in day.people]
        self.finishing: list[tuple[float, float]] = []

    def book(self, slab: int, usual: Usual, choice: Choice, place: int) -> None:
        """Put down one slab of a choice."""
        self._take(choice.place[place], slab, usual.set_up, usual.placed)
        self._take(choice.finish[place], slab, usual.ready, usual.last)
        if self.day.slabs[slab].trowels:
            self.finishing.append((usual.ready, usual.last))
        sawyer = choice.saw[place]
        if sawyer is not None and usual.opens is not None:
            end = usual.opens + self.day.slabs[slab].saw_h
            self._take((sawyer,), slab, usual.opens, end)

    def _take(self, team: Team, slab: int, begin: float, end: float) -> None:
        for person in team:
            self.spans[person].append((begin, end, slab))

    def without_trowel(self, slab: int, usual: Usual) -> float:
        """Hours in which all trowels are on other slabs."""
        if not self.day.slabs[slab].trowels or len(self.finishing) < self.day.rules.trowels:
            return 0.0
        shared = [min(end, usual.last) - max(begin, usual.ready) for begin, end in self.finishing]
        return max(0.0, sorted(shared)[-max(self.day.rules.trowels, 1)])

    def clash(self, person: int, slab: int, begin: float, end: float) -> float:
        """Hours that somebody would be in two places, drives included."""
        hours = 0.0
        for start, stop, other in self.spans[person]:
            drive, back = self.day.drive_h(other, slab), self.day.drive_h(slab, other)
            if start < begin or (start == begin and other < slab):
                hours += max(0.0, stop + drive - begin)
            else:
                hours += max(0.0, end + back - start)
        return hours

    def _rank(
        self, person: int, slab: int, begin: float, end: float, task: str, stay: bool
    ) -> tuple[float, ...]:
        who = self.day.people[person]
        here = any(other == slab for _, _, other in self.spans[person])
        worked = sum(stop - start for start, stop, _ in self.spans[person])
        return (
            round(self.clash(person, slab, begin, end), 1), float(stay and not here),
            len(who.skills) if task == "place" else 0.0, worked, who.usd_h, person,
        )  # fmt: skip

    def placers(self, slab: int, usual: Usual, more: int, stay: bool) -> tuple[Team, float]:
        """Who places, one of them able to finish; and the hours of clashes."""
        one, people = self.day.slabs[slab], range(len(self.day.people))
        size = min(one.hands + more, len(people))
        begin, end = usual.set_up, usual.placed
        order = sorted(people, key=lambda p: self._rank(p, slab, begin, end, "place", stay))
        team = order[:size]
        if not any("finish" in self.day.people[p].skills for p in team):
            able = [p for p in order if "finish" in self.day.people[p].skills]
            team = [*order[: size - 1], *able[:1]] if able else team
        return self._booked(team, slab, begin, end)

    def finishers(self, slab: int, usual: Usual, more: int, stay: bool) -> tuple[Team, float]:
        """Who finishes: those with the skill first."""
        one = self.day.slabs[slab]
        begin, end = usual.ready, usual.last
        able = self.day.able("finish")
        order = sorted(able, key=lambda p: self._rank(p, slab, begin, end, "finish", stay))
        others = [p for p in range(len(self.day.people)) if p not in able]
        others.sort(key=lambda p: self._rank(p, slab, begin, end, "finish", stay))
        clear = [p for p in order[1:] if self.clash(p, slab, begin, end) < 0.1]
        # A helper who is free goes before a second finisher who is wanted elsewhere.
        rest = [*clear, *others, *[p for p in order[1:] if p not in clear]]
        return self._booked([*order[:1], *rest][: one.finish_hands + more], slab, begin, end)

    def sawyer(self, slab: int, usual: Usual) -> tuple[int | None, float]:
        """Who saws, if it can be sawn that day."""
        able = self.day.able("saw")
        if usual.opens is None or not able:
            return None, 0.0
        begin, end = usual.opens, usual.opens + self.day.slabs[slab].saw_h
        best = min(able, key=lambda p: self._rank(p, slab, begin, end, "saw", True))
        _, hours = self._booked([best], slab, begin, end)
        return best, hours

    def _booked(self, team: list[int], slab: int, begin: float, end: float) -> tuple[Team, float]:
        hours = sum(self.clash(person, slab, begin, end) for person in team)
        found = tuple(sorted(team))
        self._take(found, slab, begin, end)
        return found, hours


def _put_in(values: tuple[T, ...], place: int, value: T) -> tuple[T, ...]:
    return (*values[:place], value, *values[place:])


@dataclass(frozen=True)
class Part:
    """A plan of some of a day's slabs, in rising order."""

    kept: tuple[int, ...]
    choice: Choice
    score: float


def parts(
    day: Day, better: Callable[[Day, Part], Part], wide: int = WIDE, tried: int = TRIED
) -> list[Part]:
    """Plans of as many of the day's slabs as fit together, the best first.

    Slabs are taken in some sensible orders; at each step a few part plans, made ``better``, go on,
    with the slab in each of several ways, or without it.
    """
    builder = Builder(day)
    found: dict[tuple[tuple[int, ...], Choice], Part] = {}
    for order in _orders(day):
        held = [Part((), Choice((), (), (), ()), 0.0)]
        for turn, slab in enumerate(order):
            longer: dict[tuple[tuple[int, ...], Choice], Part] = {}
            for part in held:
                kept = tuple(sorted([*part.kept, slab]))
                sub = day.only(kept)
                for way in builder.added(part.kept, part.choice, slab, tried):
                    if (kept, way) not in longer:
                        longer[kept, way] = Part(kept, way, run(sub, way).score)
            if not day.slabs[slab].wet:
                for part in held:
                    longer.setdefault((part.kept, part.choice), part)

            def worth(part: Part, seen: int = turn + 1) -> float:
                return part.score + LEFT_OUT_USD * (seen - len(part.kept))

            held = []
            for part in sorted(longer.values(), key=worth):
                # A few of each set of slabs, so that no set crowds the others out.
                if sum(other.kept == part.kept for other in held) < ALIKE:
                    held.append(part)
                if len(held) == wide:
                    break
            held = [better(day.only(part.kept), part) if part.kept else part for part in held]
        for part in held:
            found[part.kept, part.choice] = part
    return sorted(
        found.values(), key=lambda p: p.score + LEFT_OUT_USD * (len(day.slabs) - len(p.kept))
    )


def _orders(day: Day) -> list[list[int]]:
    """Under way and agreed first; then early sites first, or much work first, or as they stand."""
    everyone = range(len(day.slabs))

    def tied(slab: int) -> tuple[bool, bool, float]:
        one = day.slabs[slab]
        return (
            not one.wet, one.fixed is None, one.fixed if one.fixed else 0.0,
        )  # fmt: skip

    def length(slab: int) -> float:
        one = day.slabs[slab]
        at = one.at(one.starts[0])
        return middle(at.place_h) * one.hands + middle(at.span_h)

    ways = (
        sorted(everyone, key=lambda s: (*tied(s), -length(s), s)),
        sorted(everyone, key=lambda s: (*tied(s), day.slabs[s].latest, length(s), s)),
        sorted(everyone, key=lambda s: (*tied(s), day.slabs[s].starts[0], s)),
    )
    return [list(way) for way in dict.fromkeys(map(tuple, ways))]
