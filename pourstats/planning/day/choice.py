"""One way to do a day: starts, who places, who finishes, who saws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypeVar

from pourstats.planning.day.people import Person
from pourstats.planning.day.rules import Rules
from pourstats.planning.day.slabs import Slab

Team = tuple[int, ...]
T = TypeVar("T")


@dataclass(frozen=True)
class Day:
    """What is given: slabs, people and rules. Slabs and people go by their place in these."""

    slabs: tuple[Slab, ...]
    people: tuple[Person, ...]
    rules: Rules
    now: float | None = None
    """The hour it is, where the day is under way."""
    where: Mapping[int, int] = field(default_factory=dict)
    """Slab at which each person known to be out is now."""
    slack_h: float = 0.1
    """By how much a usual time may be missed before a rule counts as broken."""
    week_h: tuple[float, ...] = ()
    """Hours at straight time that each person has already had in the week; empty: none."""

    @property
    def count(self) -> int:
        """Draws."""
        return int(self.slabs[0].late_h.size)

    def taken(self, count: int) -> Day:
        """The same day with fewer draws."""
        return replace(self, slabs=tuple(slab.taken(slice(count)) for slab in self.slabs))

    def only(self, kept: Sequence[int]) -> Day:
        """The same day with some of its slabs."""
        where = {p: kept.index(s) for p, s in self.where.items() if s in kept}
        return replace(self, slabs=tuple(self.slabs[i] for i in kept), where=where)

    def place(self, slab: int) -> int:
        """Where a slab lies: the first slab of its site; what is negative is the shop."""
        return self._places[slab] if slab >= 0 else slab

    @cached_property
    def _places(self) -> tuple[int, ...]:
        sites = [one.site for one in self.slabs]
        return tuple(sites.index(site) if site else slab for slab, site in enumerate(sites))

    def drive_h(self, origin: int, target: int) -> float:
        """Hours from a slab to another slab: none between two of the same site."""
        same = self.place(origin) == self.place(target)
        return 0.0 if same else self.slabs[target].travel_h

    def able(self, skill: str) -> Team:
        """People with a skill."""
        return tuple(i for i, one in enumerate(self.people) if skill in one.skills)


@dataclass(frozen=True)
class Choice:
    """One slab an entry: first load's time (hour of the day), teams, and who saws (None: nobody
    that day).
    """

    starts: tuple[float, ...]
    place: tuple[Team, ...]
    finish: tuple[Team, ...]
    saw: tuple[int | None, ...]

    def with_start(self, slab: int, start: float) -> Choice:
        """Another start of one slab."""
        return replace(self, starts=_put(self.starts, slab, start))

    def with_team(self, task: str, slab: int, team: Team) -> Choice:
        """Another team of one slab for `place` or `finish`."""
        team = tuple(sorted(team))
        if task == "place":
            return replace(self, place=_put(self.place, slab, team))
        return replace(self, finish=_put(self.finish, slab, team))

    def with_saw(self, slab: int, person: int | None) -> Choice:
        """Somebody else to saw a slab."""
        return replace(self, saw=_put(self.saw, slab, person))


def _put(values: tuple[T, ...], place: int, value: T) -> tuple[T, ...]:
    return (*values[:place], value, *values[place + 1 :])
