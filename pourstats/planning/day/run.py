"""A day played through: a choice meets every draw of the morning at once.

Each person does his tasks in the order of their usual times, goes where the next one is in time to
be there early, and waits where he is until then. All times are hours of the day, arrays of draws.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.machines import Machines, Move, vehicles_short
from pourstats.planning.day.slabs import Moments

Array = NDArray[np.float64]

SHOP = -1
MORE_HANDS = 0.5
"""Placing time goes with hands to minus this. Common practice, no source."""
MORE_FINISHERS = 0.25
"""Passes mostly wait for the concrete: more people help little. Common practice, no source."""
TOMORROW = 30.0
"""Six o'clock next morning: what isn't cut by then has cracked where its window was over."""
BREACH_USD = 50_000.0
"""Weight of a rule broken: no such plan is taken while another keeps them."""
STRETCH_MIN_H = 1.0 / 60.0


@dataclass
class Stretch:
    """A person's stretch on a task (arrays of draws)."""

    person: int
    slab: int
    task: str
    start: Array
    end: Array
    wait_for: str = ""
    road: tuple[int, int] | None = None
    """Of a drive: from and to, -1 the shop."""


@dataclass
class Outcome:
    """What a choice leads to."""

    cost: Array
    labor_usd: Array
    truck_usd: Array
    risk_usd: Array
    """Finishes lost, windows missed, late, dark and split work, trips back."""
    begin: list[Array]
    place_end: list[Array]
    first: list[Array]
    ready: list[Array]
    last: list[Array]
    saw_done: list[Array | None]
    """NaN where it isn't cut that day."""
    opens: list[Array | None]
    lost: list[Array]
    missed: list[Array]
    done: Array
    """Whether every slab is placed, finished and cut in time (draw)."""
    stretches: list[Stretch]
    moves: list[Move]
    breaches: list[str]
    paid_h: dict[int, Array]
    trowel_units: list[tuple[int, ...]] = field(default_factory=list)
    saw_units: list[int | None] = field(default_factory=list)

    @property
    def score(self) -> float:
        """Expected dollars, broken rules far above."""
        return float(self.cost.mean()) + BREACH_USD * len(self.breaches)


@dataclass
class _Where:
    slab: int
    free: Array | float
    left_shop: Array | None = None
    unpaid_h: Array | float = 0.0


def run(day: Day, choice: Choice, keep: bool = False) -> Outcome:
    """Play a choice through. ``keep`` keeps who did what; without it only what it costs."""
    return _Run(day, choice, keep).play()


class _Run:
    """One play: the state of people and machines while the tasks go by."""

    def __init__(self, day: Day, choice: Choice, keep: bool) -> None:
        self.day, self.choice, self.keep = day, choice, keep
        n = len(day.slabs)
        self.n, self.k = n, day.count
        self.at: list[Moments] = [
            slab.at(start) for slab, start in zip(day.slabs, choice.starts, strict=True)
        ]
        blank = np.zeros(self.k)
        self.begin, self.end = [blank] * n, [blank] * n
        self.ready, self.first, self.last = [blank] * n, [blank] * n, [blank] * n
        self.saw_done: list[Array | None] = [None] * n
        self.opens: list[Array | None] = [None] * n
        self.lost, self.missed = [blank] * n, [blank] * n
        self.trucks, self.risk = np.zeros(self.k), np.zeros(self.k)
        self.done = np.ones(self.k, bool)
        self.where = [_Where(SHOP, 0.0) for _ in day.people]
        for person, slab in day.where.items():
            now = day.now or 0.0
            self.where[person] = _Where(slab, np.full(self.k, now), np.full(self.k, now))
        self.stretches: list[Stretch] = []
        self.moves: list[Move] = []
        self.breaches: list[str] = []
        self.machines = Machines(day, choice)
        self.trowel_units: list[tuple[int, ...]] = [()] * n
        self.saw_units: list[int | None] = [None] * n

    def play(self) -> Outcome:
        for _, task, slab in self._order():
            if task == "place":
                self._place(slab)
            elif task == "finish":
                self._finish(slab)
            else:
                self._saw(slab)
        for slab in range(self.n):
            one = self.day.slabs[slab]
            cut = one.happened.sawn is not None
            if one.saw is not None and self.choice.saw[slab] is None and not cut:
                self._saw_tomorrow(slab, np.ones(self.k, bool))
        paid = self._home()
        labor = np.zeros(self.k)
        rules = self.day.rules
        for person, hours in paid.items():
            over = np.maximum(hours - rules.overtime_after_h, 0.0)
            labor += self.day.people[person].usd_h * (hours + rules.overtime_premium * over)
        if vehicles_short(self.day, self.moves):
            self.breaches.append("vehicles")
        return Outcome(
            labor + self.trucks + self.risk, labor, self.trucks, self.risk, self.begin, self.end,
            self.first, self.ready, self.last, self.saw_done, self.opens, self.lost, self.missed,
            self.done, self.stretches, self.moves, self.breaches, paid, self.trowel_units,
            self.saw_units,
        )  # fmt: skip

    def _order(self) -> list[tuple[float, str, int]]:
        """Tasks by their usual times."""
        found = []
        for slab, one in enumerate(self.day.slabs):
            at, start = self.at[slab], self.choice.starts[slab]
            found.append((start, "place", slab))
            wait = float(np.median(one.late_h + at.place_h + np.maximum(at.ready_h, 0.0)))
            found.append((start + wait, "finish", slab))
            if one.saw is not None and self.choice.saw[slab] is not None:
                last = wait + float(np.median(at.span_h))
                opens = float(np.median(at.opens_h))
                since = last if one.saw == "early_entry" else wait - float(np.median(at.ready_h))
                found.append((start + max(last, since + opens) + 0.01, "saw", slab))
        return sorted(found)

    def _come(self, person: int, slab: int, wanted: float | Array, wait_for: str) -> Array:
        """Somebody comes to a slab by ``wanted`` if he can; when he is there."""
        state = self.where[person]
        if state.left_shop is None and self._under_way(slab):
            # Not known to be elsewhere: whoever works on a slab under way is there.
            now = self.day.now or 0.0
            state.slab, state.free = slab, np.full(self.k, now)
            state.left_shop = np.full(self.k, now)
        if state.slab == slab:
            return np.asarray(state.free, dtype=float) + np.zeros(self.k)
        travel = self.day.slabs[slab].travel_h
        if state.left_shop is None:
            leave = np.zeros(self.k) + np.maximum(
                np.asarray(wanted) - travel, self.day.rules.day_start
            )
            state.left_shop = leave
        else:
            leave = np.maximum(state.free, np.asarray(wanted) - travel)
            back = self.day.slabs[state.slab].travel_h
            home = np.asarray(state.free, dtype=float) + back
            if float((leave - home).mean()) >= self.day.rules.shop_wait_paid_h:
                # Long enough to go home in between, unpaid.
                self._drive(person, state.slab, SHOP, np.asarray(state.free, dtype=float), back)
                leave = np.maximum(leave, home)
                state.unpaid_h = state.unpaid_h + (leave - home)
                self.risk += self.day.rules.split_usd
                state.slab = SHOP
            else:
                self._note(person, state.slab, "wait", state.free, leave, wait_for)
        there = leave + travel
        self._drive(person, state.slab, slab, leave, travel)
        state.slab, state.free = slab, there
        return np.asarray(there)

    def _under_way(self, slab: int) -> bool:
        one, now = self.day.slabs[slab], self.day.now
        if now is None or self.day.where:
            return False
        return one.happened.begin is not None or self._set_up_left(slab) < 1.0

    def _set_up_left(self, slab: int) -> float:
        """Share of the set-up still to do, where the day is under way and a start is fixed."""
        one, now = self.day.slabs[slab], self.day.now
        if one.happened.begin is not None:
            return 0.0
        there = not self.day.where or slab in self.day.where.values()
        if now is None or one.fixed is None or not there:
            return 1.0
        return float(np.clip((one.fixed - now) / float(np.median(one.set_up_h)), 0.0, 1.0))

    def _drive(self, person: int, origin: int, target: int, leave: Array, travel: float) -> None:
        self.moves.append(
            Move(person, origin, target, float(leave.mean()), float(leave.mean()) + travel, leave)
        )
        slab = target if target != SHOP else origin
        self._note(person, slab, "travel", leave, leave + travel, road=(origin, target))

    def _note(
        self,
        person: int,
        slab: int,
        task: str,
        start: Array | float,
        end: Array | float,
        why: str = "",
        road: tuple[int, int] | None = None,
    ) -> None:
        if self.keep:
            begin = np.asarray(start, dtype=float) + np.zeros(self.k)
            done = np.asarray(end, dtype=float) + np.zeros(self.k)
            self.stretches.append(Stretch(person, slab, task, begin, done, why, road))

    def _place(self, slab: int) -> None:
        one, at, start = self.day.slabs[slab], self.at[slab], self.choice.starts[slab]
        team = self.choice.place[slab]
        seen, now = one.happened, self.day.now or 0.0
        if seen.begin is not None and seen.end is not None:
            self.begin[slab] = np.full(self.k, seen.begin)
            self.end[slab] = np.full(self.k, seen.end)
            self.ready[slab] = np.maximum(
                self.end[slab] + at.ready_h, now if seen.first is None else 0
            )
            return
        set_up = one.set_up_h * self._set_up_left(slab)
        usual = float(np.median(set_up))
        opens = one.early if one.early is not None else 0.0
        wanted = max(start - usual, opens)
        there = [self._come(person, slab, wanted, "others") for person in team]
        there = [np.maximum(t, opens) for t in there]
        fresh = [t for t in there if float(t.mean()) <= wanted + 0.02] or there
        slower = one.nominal_hands / len(fresh) if len(fresh) < one.nominal_hands else 1.0
        set_end = np.maximum.reduce(fresh) + set_up * slower
        together = np.maximum(set_end, np.maximum.reduce(there))
        if float(np.median(together)) > max(start, wanted + usual, now) + 0.1:
            self.breaches.append(f"forms {slab}")
        truck = start + one.late_h
        if seen.begin is not None:
            truck = together = np.full(self.k, seen.begin)
        elif seen.truck is not None:
            truck = np.full(self.k, seen.truck)
        elif self.day.now is not None:
            truck = np.maximum(truck, now)
        begin = np.maximum(truck, together)
        self.trucks += one.over_usd + 60.0 * self.day.rules.truck_wait_usd_per_min * np.maximum(
            begin - truck - one.slack_h, 0.0
        )
        end = begin + at.place_h * (one.nominal_hands / len(team)) ** MORE_HANDS
        if seen.begin is not None:
            end = np.maximum(end, now)
        self.begin[slab], self.end[slab] = begin, end
        self.ready[slab] = np.maximum(end + at.ready_h, begin + 0.2)
        for person, arrived in zip(team, there, strict=True):
            ready = np.maximum(set_end, arrived)
            self._note(person, slab, "set_up", arrived, ready)
            self._note(person, slab, "wait", ready, begin, "concrete")
            self._note(person, slab, "place", begin, end)
            state = self.where[person]
            state.free = end
            if person not in self.choice.finish[slab]:
                state.free = end + one.clean_h
                self._note(person, slab, "clean_up", end, state.free)

    def _finish(self, slab: int) -> None:
        one, at, team = self.day.slabs[slab], self.at[slab], self.choice.finish[slab]
        ready, seen = self.ready[slab], one.happened
        if seen.first is not None:
            ready = self.ready[slab] = np.full(self.k, seen.first)
        if seen.first is not None and seen.last is not None:
            self.first[slab] = ready
            self.last[slab] = np.full(self.k, seen.last)
            return
        early = float(np.quantile(ready, 0.1))
        there: dict[int, Array] = {}
        able = [p for p in team if "finish" in self.day.people[p].skills]
        for person in team:
            away = self.where[person].slab != slab
            was_here = person in self.choice.place[slab]
            there[person] = self._come(person, slab, early, "set")
            if away and was_here and float(np.median(there[person])) > early + 0.01:
                self.breaches.append(f"back {slab} {person}")
        first_there = np.minimum.reduce([there[p] for p in able])
        if float(np.median(first_there)) > max(early, float(np.median(self.end[slab]))) + 0.02:
            self.breaches.append(f"finisher {slab}")
        units, machine_at, short = self.machines.trowels_for(slab, there)
        self.trowel_units[slab] = units
        self.breaches += short
        if machine_at is not None:
            if float(np.median(machine_at)) > early + 0.02:
                self.breaches.append(f"trowel late {slab}")
            first_there = np.maximum(first_there, machine_at)
        # The least hands have to be there too before the machine goes on.
        comes = np.sort(np.stack([there[p] for p in team]), axis=0)
        first_there = np.maximum(first_there, comes[min(one.finish_hands, len(team)) - 1])
        first = np.maximum(ready, first_there)
        held = np.maximum(first - np.maximum(ready, self.end[slab]), 0.0)
        people = (one.finish_hands / len(team)) ** MORE_FINISHERS
        tools = (max(one.trowels, 1) / max(len(units), 1)) ** MORE_FINISHERS
        if seen.first is not None:
            if float(np.median(first_there)) > (self.day.now or 0.0) + 0.1:
                self.breaches.append(f"finisher {slab}")
            first, held = ready, np.zeros(self.k)
        last = first + at.span_h * people * tools
        if self.day.now is not None:
            last = np.maximum(last, self.day.now)
        self.first[slab], self.last[slab] = first, last
        self.machines.trowels_back(units, slab, last)
        grace = self.day.rules.finish_grace_min / 60.0
        self.lost[slab] = np.clip((held - 0.5 * grace) / grace, 0.0, 1.0)
        self.risk += self.day.rules.lost_finish_usd * self.lost[slab]
        if one.outdoors:
            self.risk += self.day.rules.dark_usd_per_h * np.maximum(last - one.sunset, 0.0)
        self._late(slab, last <= one.latest)
        for person in team:
            begins = np.maximum(first, there[person])
            self._note(person, slab, "wait", there[person], begins, "set")
            self._note(person, slab, "finish", begins, np.maximum(last, begins))
            cleaned = np.maximum(last, begins) + one.clean_h
            self._note(person, slab, "clean_up", np.maximum(last, begins), cleaned)
            self.where[person].free = cleaned

    def _late(self, slab: int, in_time: NDArray[np.bool_]) -> None:
        self.done &= in_time
        if float(in_time.mean()) < 0.5:
            self.breaches.append(f"late {slab}")
        self.risk += self.day.rules.late_usd * ~in_time

    def _saw(self, slab: int) -> None:
        one, at, person = self.day.slabs[slab], self.at[slab], self.choice.saw[slab]
        assert person is not None
        since = self.last[slab] if one.saw == "early_entry" else self.end[slab]
        if one.happened.sawn is not None:
            self.saw_done[slab] = self.opens[slab] = np.full(self.k, one.happened.sawn)
            return
        opens = np.maximum(since + at.opens_h, self.last[slab])
        closes = self.end[slab] + at.closes_h
        wanted = float(np.quantile(opens, 0.25))
        there = self._come(person, slab, wanted, "set")
        unit, machine_at, short = self.machines.saw_for(slab, person)
        self.saw_units[slab] = unit
        self.breaches += short
        start = np.maximum(opens, there)
        if machine_at is not None:
            start = np.maximum(start, machine_at)
        end = start + one.saw_h
        cut = end <= one.latest
        if float(cut.mean()) < 0.5:
            self.breaches.append(f"saw odds {slab}")
        self.opens[slab] = opens
        self.saw_done[slab] = np.where(cut, end, np.nan)
        gone = np.where(cut, end, there)
        self.machines.saw_back(unit, slab, person, gone)
        self._note(person, slab, "wait", there, np.where(cut, start, there), "set")
        self._note(person, slab, "saw", np.where(cut, start, np.nan), np.where(cut, end, np.nan))
        self.where[person].free = gone
        self.missed[slab] = (cut & (start > closes)).astype(float)
        self.risk += self.day.rules.missed_saw_usd * self.missed[slab]
        self.done &= cut
        self._saw_tomorrow(slab, ~cut)

    def _saw_tomorrow(self, slab: int, left: NDArray[np.bool_]) -> None:
        """A trip back next morning, and cracks where the window is over by then."""
        one, at = self.day.slabs[slab], self.at[slab]
        rate = min(
            (self.day.people[p].usd_h for p in self.day.able("saw")),
            default=min(p.usd_h for p in self.day.people),
        )
        self.risk += left * (
            self.day.rules.trip_back_usd + rate * (2.0 * one.travel_h + one.saw_h + 0.25)
        )
        closed = left & (self.end[slab] + at.closes_h < TOMORROW)
        self.missed[slab] = np.maximum(self.missed[slab], closed)
        self.risk += self.day.rules.missed_saw_usd * closed
        self.done &= ~left

    def _home(self) -> dict[int, Array]:
        paid = {}
        for person, state in enumerate(self.where):
            if state.left_shop is None:
                continue
            travel = self.day.slabs[state.slab].travel_h
            free = np.asarray(state.free, dtype=float)
            self._drive(person, state.slab, SHOP, free, travel)
            paid[person] = free + travel - state.left_shop - state.unpaid_h
            rules = self.day.rules
            self.risk += rules.evening_usd_per_h * np.maximum(free + travel - rules.evening, 0.0)
        return paid
