"""Where each person is while a day is played: who comes when, who drives, what is paid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourstats.planning.day.choice import Day
from pourstats.planning.day.machines import Move, rides
from pourstats.planning.day.mornings import mean, middle
from pourstats.planning.day.outcome import SHOP, Stretch

Array = NDArray[np.float64]


@dataclass
class _Where:
    slab: int
    free: Array
    left_shop: Array | None = None
    unpaid_h: Array | float = 0.0
    longest_wait_h: float = 0.0
    finishes: bool = False


def set_up_left(day: Day, slab: int) -> float:
    """Share of a slab's set-up still to do, where the day is under way and a start is fixed."""
    one, now = day.slabs[slab], day.now
    if one.happened.begin is not None:
        return 0.0
    there = not day.where or slab in day.where.values()
    if now is None or one.fixed is None or not there:
        return 1.0
    return float(np.clip((one.fixed - now) / middle(one.set_up_h), 0.0, 1.0))


class Crew:
    """The people of a day. ``keep`` keeps who did what."""

    def __init__(self, day: Day, keep: bool) -> None:
        self.day, self.keep, self.k = day, keep, day.count
        self.zero = np.zeros(self.k)
        self.where = [_Where(SHOP, self.zero) for _ in day.people]
        for person, slab in day.where.items():
            now = np.full(self.k, day.now or 0.0)
            self.where[person] = _Where(slab, now, now)
        self.stretches: list[Stretch] = []
        self.moves: list[Move] = []
        self.risk = np.zeros(self.k)

    def at(self, person: int) -> int:
        """The slab at which somebody is, -1 the shop."""
        return self.where[person].slab

    def free_from(self, person: int, free: Array) -> None:
        """Somebody has done with his task."""
        self.where[person].free = free

    def soonest(self, person: int, slab: int) -> Array:
        """When somebody could be at a slab at the soonest."""
        state, travel = self.where[person], self.day.slabs[slab].travel_h
        if state.left_shop is None and not self._under_way(slab):
            return self.zero + self.day.rules.day_start + travel
        if state.slab == SHOP:
            return state.free + travel
        return state.free + self.day.drive_h(state.slab, slab)

    def come(self, person: int, slab: int, wanted: float, wait_for: str) -> Array:
        """Somebody comes to a slab by ``wanted`` if he can; when he is there."""
        state, day = self.where[person], self.day
        if state.left_shop is None and self._under_way(slab):
            # Not known to be elsewhere: whoever works on a slab under way is there.
            now = np.full(self.k, day.now or 0.0)
            state.slab, state.free, state.left_shop = slab, now, now
        if state.slab == slab:
            return state.free
        travel = day.slabs[slab].travel_h
        if state.left_shop is None:
            leave = self.zero + max(wanted - travel, day.rules.day_start)
            state.left_shop = leave
        else:
            back = day.slabs[state.slab].travel_h
            home = state.free + back
            hop = day.drive_h(state.slab, slab)
            leave = np.maximum(state.free, wanted - travel)
            if mean(leave - home) >= day.rules.shop_wait_paid_h:
                # Long enough to go home in between, unpaid.
                self._drive(person, state.slab, SHOP, state.free, back)
                leave = np.maximum(leave, home)
                hop = travel
                gap = leave - home
                state.unpaid_h = state.unpaid_h + gap
                state.longest_wait_h = max(state.longest_wait_h, mean(gap))
                self.risk += day.rules.split_usd
                state.slab = SHOP
            else:
                leave = np.maximum(state.free, wanted - hop)
                self.note(person, state.slab, "wait", state.free, leave, wait_for)
            travel = hop
        there = leave + travel
        self._drive(person, state.slab, slab, leave, travel)
        state.slab, state.free = slab, there
        return there

    def _under_way(self, slab: int) -> bool:
        one, now = self.day.slabs[slab], self.day.now
        if now is None or self.day.where:
            return False
        return one.happened.begin is not None or set_up_left(self.day, slab) < 1.0

    def _drive(self, person: int, origin: int, target: int, leave: Array, travel: float) -> None:
        at = mean(leave)
        self.moves.append(Move(person, origin, target, at, at + travel, leave))
        slab = target if target != SHOP else origin
        self.note(person, slab, "travel", leave, leave + travel, road=(origin, target))

    def note(
        self,
        person: int,
        slab: int,
        task: str,
        start: Array,
        end: Array,
        why: str = "",
        road: tuple[int, int] | None = None,
    ) -> None:
        """Somebody does something."""
        if task == "wait":
            state = self.where[person]
            state.longest_wait_h = max(state.longest_wait_h, mean(end - start))
        elif task == "finish":
            self.where[person].finishes = True
        if self.keep:
            self.stretches.append(Stretch(person, slab, task, start, end, why, road))

    def home(self) -> tuple[dict[int, Array], list[int], int]:
        """Everybody drives home; paid hours of those who were out, who found no rest, and trips
        left without a vehicle.

        Who has none to go home with waits for the next from the same slab.
        """
        rules = self.day.rules
        out = [p for p, state in enumerate(self.where) if state.left_shop is not None]
        done = {person: self.where[person].free for person in out}
        leave = dict(done)
        for _ in range(len(out) + 1):
            homeward = [self._homeward(person, leave[person]) for person in out]
            made, short = rides(self.day, [*self.moves, *homeward])
            if not short:
                break
            trip = short[0]
            here = [p for p in out if self.day.place(self.where[p].slab) == trip.origin]
            afoot = [p for p in trip.people if p in here]
            later = [p for p in here if mean(leave[p]) > trip.at + 1e-6]
            sooner = [p for p in here if mean(leave[p]) < trip.at - 1e-6]
            if trip.target != SHOP or not afoot or not (later or sooner):
                break
            if later:
                ride = leave[min(later, key=lambda p: mean(leave[p]))]
            else:
                # Whoever would drive off before them waits for them.
                ride = np.maximum.reduce([leave[p] for p in afoot])
                afoot = [max(sooner, key=lambda p: mean(leave[p]))]
            for person in afoot:
                leave[person] = np.maximum(leave[person], ride)
        left = len(made) - next(i for i, t in enumerate(made) if t is short[0]) if short else 0
        paid, tired = {}, []
        for person in out:
            state = self.where[person]
            assert state.left_shop is not None
            self.note(person, state.slab, "wait", done[person], leave[person], "others")
            travel = self.day.slabs[state.slab].travel_h
            self._drive(person, state.slab, SHOP, leave[person], travel)
            there = leave[person] + travel
            hours = there - state.left_shop - state.unpaid_h
            long = hours > rules.break_after_h
            if not rules.break_paid:
                hours = hours - long * (rules.break_min / 60.0)
            paid[person] = hours
            # Who finishes eats between two passes.
            short_rest = state.longest_wait_h * 60.0 < rules.break_min and not state.finishes
            if short_rest and mean(long) > 0.5:
                tired.append(person)
            self.risk += rules.evening_usd_per_h * np.maximum(there - rules.evening, 0.0)
        return paid, tired, left

    def _homeward(self, person: int, leave: Array) -> Move:
        slab, at = self.where[person].slab, mean(leave)
        return Move(person, slab, SHOP, at, at + self.day.slabs[slab].travel_h, leave)

    def wages(self, paid: dict[int, Array]) -> tuple[Array, float]:
        """Dollars of the hours, with overtime of the day and of the week; and overtime hours."""
        rules, total, over_h = self.day.rules, np.zeros(self.k), 0.0
        for person, hours in paid.items():
            straight = np.minimum(hours, rules.overtime_after_h)
            before = self.day.week_h[person] if self.day.week_h else 0.0
            over = hours - straight
            left = max(rules.overtime_week_after_h - before, 0.0)
            over = over + np.maximum(straight - left, 0.0)
            total += self.day.people[person].usd_h * (hours + rules.overtime_premium * over)
            over_h += mean(over)
        return total, over_h
