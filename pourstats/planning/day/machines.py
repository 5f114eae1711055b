"""Trowels, saws and vehicles: counted, each in one place at a time, moved by somebody."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pourstats.planning.day.choice import Choice, Day

Array = NDArray[np.float64]

SAME_TRIP_H = 10.0 / 60.0
"""Those who leave a place for the same other one within this ride together."""


@dataclass(frozen=True)
class Move:
    """Somebody's drive; places are slabs, -1 the shop. Usual times, and the draws of leaving."""

    person: int
    origin: int
    target: int
    at: float
    there: float
    leave: Array


@dataclass
class _Unit:
    slab: int | None = None
    free: Array | None = None
    users: tuple[int, ...] = ()


class Machines:
    """Where each trowel and saw is while a day is played."""

    def __init__(self, day: Day, choice: Choice) -> None:
        self.day, self.choice = day, choice
        self.trowels = [_Unit() for _ in range(day.rules.trowels)]
        self.saws = [_Unit() for _ in range(day.rules.saws)]

    def trowels_for(
        self, slab: int, there: dict[int, Array]
    ) -> tuple[tuple[int, ...], Array | None, list[str]]:
        """The trowels of a slab, when they are there (None: with the crew), and rules broken.

        From the shop they come with whoever comes first. One that was on another slab comes with
        somebody who finished there and comes here.
        """
        need = min(self.day.slabs[slab].trowels, len(self.choice.finish[slab]))
        if need == 0:
            return (), None, []
        fresh = [i for i, unit in enumerate(self.trowels) if unit.slab is None]
        if fresh:
            # Leave one at the shop for each slab that still has none, where there are enough.
            waiting = sum(
                1
                for other, one in enumerate(self.day.slabs)
                if other != slab and one.trowels and not self._had(other)
            )
            take = fresh[: max(1, min(need, len(fresh) - waiting))]
            for i in take:
                self.trowels[i].slab = slab
            return tuple(take), None, []
        used = [
            i
            for i, unit in enumerate(self.trowels)
            if unit.free is not None and set(unit.users) & set(there)
        ]
        if not used:
            return (), None, [f"trowel {slab}"]
        best = min(used, key=lambda i: float(np.mean(self.trowels[i].free)))  # type: ignore[arg-type]
        carrier = [p for p in self.trowels[best].users if p in there]
        at = np.minimum.reduce([there[p] for p in carrier])
        self.trowels[best].slab, self.trowels[best].free = slab, None
        return (best,), at, []

    def _had(self, slab: int) -> bool:
        return any(unit.slab == slab for unit in self.trowels)

    def trowels_back(self, units: tuple[int, ...], slab: int, last: Array) -> None:
        """They are free again, with those who finished."""
        for i in units:
            self.trowels[i] = _Unit(slab, last, self.choice.finish[slab])

    def saw_for(self, slab: int, person: int) -> tuple[int | None, Array | None, list[str]]:
        """The saw of a slab, when it is free, and rules broken."""
        mine = [i for i, unit in enumerate(self.saws) if unit.users == (person,)]
        fresh = [i for i, unit in enumerate(self.saws) if unit.slab is None]
        if mine:
            return mine[0], None, []
        if fresh:
            return fresh[0], None, []
        place = self.day.place
        here = [
            i for i, unit in enumerate(self.saws)
            if unit.slab is not None and place(unit.slab) == place(slab)
        ]  # fmt: skip
        if here:
            return here[0], self.saws[here[0]].free, []
        return None, None, [f"saw {slab}"]

    def saw_back(self, unit: int | None, slab: int, person: int, free: Array) -> None:
        """It is free again, with whoever sawed."""
        if unit is not None:
            self.saws[unit] = _Unit(slab, free, (person,))


@dataclass
class Trip:
    """People who ride together."""

    origin: int
    target: int
    at: float
    there: float
    moves: list[Move]
    vehicles: int = 0

    @property
    def people(self) -> list[int]:
        """Who rides."""
        return [move.person for move in self.moves]


def trips(moves: list[Move]) -> list[Trip]:
    """Moves in order of leaving, those of the same road and time together."""
    found: list[Trip] = []
    for move in sorted(moves, key=lambda m: m.at):
        for trip in found:
            same = (trip.origin, trip.target) == (move.origin, move.target)
            if same and move.at - trip.at <= SAME_TRIP_H:
                trip.moves.append(move)
                trip.at, trip.there = max(trip.at, move.at), max(trip.there, move.there)
                break
        else:
            found.append(Trip(move.origin, move.target, move.at, move.there, [move]))
    return sorted(found, key=lambda trip: trip.at)


def between_places(day: Day, moves: list[Move]) -> list[Move]:
    """Moves from site to site; who goes from one slab to another of the same site takes none."""
    mapped = [
        replace(move, origin=day.place(move.origin), target=day.place(move.target))
        for move in moves
    ]
    return [move for move in mapped if move.origin != move.target]


def rides(day: Day, moves: list[Move]) -> tuple[list[Trip], list[Trip]]:
    """Trips with their vehicles, and those that have none.

    Where one lacks at a place, a trip that went there earlier takes one more along, if its origin
    had it to spare and somebody to drive it.
    """
    vehicles, seats = day.rules.vehicles, day.rules.vehicle_seats
    made = trips(between_places(day, moves))
    if day.now is not None and not day.where:
        # Nobody said who is where, so nobody knows where the vehicles are.
        for trip in made:
            trip.vehicles = -(-len(trip.moves) // seats)
        return made, []
    stands = _stands(day)
    more = [0] * len(made)
    for _ in range(vehicles * len(made) + 1):
        short, spare_at = _played(made, more, stands, seats)
        if short is None:
            return made, []
        donors = [
            i
            for i in range(short)
            if made[i].target == made[short].origin
            and made[i].there <= made[short].at + 1e-6
            and made[i].vehicles < len(made[i].moves)
            and spare_at[i] > 0
        ]
        if not donors:
            return made, [made[short]]
        more[donors[-1]] += 1
    return made, [made[-1]]


def taken_home(day: Day, made: list[Trip]) -> list[Trip]:
    """Trips of which the last from each slab takes along all vehicles that stand there, as far as
    somebody is there to drive each.
    """
    if day.now is not None and not day.where:
        return made
    stands = _stands(day)
    for slab in range(len(day.slabs)):
        leaving = [trip for trip in made if trip.origin == slab]
        if not leaving:
            continue
        came = stands.get(slab, 0) + sum(t.vehicles for t in made if t.target == slab)
        left = came - sum(trip.vehicles for trip in leaving)
        last = max(leaving, key=lambda trip: trip.at)
        last.vehicles = max(last.vehicles, min(last.vehicles + left, len(last.moves)))
    return made


def _stands(day: Day) -> dict[int, int]:
    """Where the vehicles are: at the shop, or under way one for every two people on a slab."""
    stands = {-1: day.rules.vehicles}
    places = [day.place(slab) for slab in day.where.values()]
    for place in sorted(set(places)):
        took = min(-(-places.count(place) // 2), stands[-1])
        stands[place], stands[-1] = took, stands[-1] - took
    return stands


def _played(
    made: list[Trip], more: list[int], begin: dict[int, int], seats: int
) -> tuple[int | None, list[int]]:
    """The first trip without a vehicle (None: all have), and what was to spare at each leaving."""
    stands = dict(begin)
    coming: list[tuple[float, int, int]] = []
    spare: list[int] = []
    for i, trip in enumerate(made):
        for moment, place, count in list(coming):
            if moment <= trip.at + 1e-6:
                stands[place] = stands.get(place, 0) + count
                coming.remove((moment, place, count))
        need = -(-len(trip.moves) // seats)
        have = stands.get(trip.origin, 0)
        if have < need:
            return i, spare
        trip.vehicles = min(need + more[i], have, max(len(trip.moves), need))
        # What stands at a site with nobody left there rides home with the last.
        stands[trip.origin] = have - trip.vehicles
        spare.append(stands[trip.origin])
        coming.append((trip.there, trip.target, trip.vehicles))
    return None, spare
