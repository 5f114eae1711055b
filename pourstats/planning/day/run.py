"""A day played through: a choice meets every draw of the morning at once.

Each person does his tasks in the order of their usual times, goes where the next one is in time to
be there early, and waits where he is until then. All times are hours of the day, arrays of draws.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pourstats.planning.day.choice import Choice, Day, Team
from pourstats.planning.day.crew import Crew, set_up_left
from pourstats.planning.day.machines import Machines
from pourstats.planning.day.mornings import level, mean, middle
from pourstats.planning.day.outcome import Outcome
from pourstats.planning.day.slabs import Moments

Array = NDArray[np.float64]

MORE_HANDS = 0.5
"""Placing time goes with hands to minus this. Common practice, no source."""
MORE_FINISHERS = 0.25
"""Passes mostly wait for the concrete: more people help little. Common practice, no source."""
TOMORROW = 30.0
"""Six o'clock next morning: what isn't cut by then has cracked where its window was over."""
LATE_HELP_H = 0.25
"""Who comes more than this after the first pass went on isn't counted as a finisher."""
TIGHT_H = 0.06
"""Who finishes gets so much less slack than who sets forms."""
FORMS_TIGHT_H = 0.095
"""A start of our own choosing has so much less slack: no truck is ordered before the forms are
set."""
EARLY = 0.1
"""Share of mornings on which a slab is ready before its finishers are there: one in ten."""


def run(day: Day, choice: Choice, keep: bool = False) -> Outcome:
    """Play a choice through. ``keep`` keeps who did what; without it only what it costs."""
    return _Run(day, choice, keep).play()


class _Run:
    """One play: the state of slabs and machines while the tasks go by."""

    def __init__(self, day: Day, choice: Choice, keep: bool) -> None:
        self.day, self.choice = day, choice
        n = len(day.slabs)
        self.n, self.k = n, day.count
        self.at: list[Moments] = [
            slab.at(start) for slab, start in zip(day.slabs, choice.starts, strict=True)
        ]
        blank = np.zeros(self.k)
        self.begin, self.end, self.set_end = [blank] * n, [blank] * n, [blank] * n
        self.ready, self.first, self.last = [blank] * n, [blank] * n, [blank] * n
        self.saw_done: list[Array | None] = [None] * n
        self.opens: list[Array | None] = [None] * n
        self.lost, self.missed = [blank] * n, [blank] * n
        self.trucks, self.risk = np.zeros(self.k), np.zeros(self.k)
        self.done = np.ones(self.k, bool)
        self.crew = Crew(day, keep)
        self.breaches: list[str] = []
        self.over_h = 0.0
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
        crew = self.crew
        paid, no_rest, on_foot = crew.home()
        labor, over_h = crew.wages(paid)
        risk = self.risk + crew.risk
        if on_foot:
            self._breach("vehicles", 0.5 * on_foot)
        return Outcome(
            labor + self.trucks + risk, labor, self.trucks, risk, self.begin, self.end,
            self.first, self.ready, self.last, self.saw_done, self.opens, self.lost, self.missed,
            self.done, crew.stretches, crew.moves, self.breaches, self.over_h, paid, over_h,
            self.set_end, no_rest, self.trowel_units, self.saw_units,
        )  # fmt: skip

    def _breach(self, what: str, by_h: float) -> None:
        self.breaches.append(what)
        self.over_h += by_h

    def _order(self) -> list[tuple[float, str, int]]:
        """Tasks by their usual times."""
        found = []
        for slab, one in enumerate(self.day.slabs):
            at, start = self.at[slab], self.choice.starts[slab]
            found.append((start, "place", slab))
            wait = middle(one.late_h + at.place_h + np.maximum(at.ready_h, 0.0))
            found.append((start + wait, "finish", slab))
            if one.saw is not None and self.choice.saw[slab] is not None:
                last = wait + middle(at.span_h)
                since = last if one.saw == "early_entry" else wait - middle(at.ready_h)
                found.append((start + max(last, since + middle(at.opens_h)) + 0.01, "saw", slab))
        return sorted(found)

    def _place(self, slab: int) -> None:
        one, at, start = self.day.slabs[slab], self.at[slab], self.choice.starts[slab]
        team = self.choice.place[slab]
        seen, now = one.happened, self.day.now or 0.0
        if seen.begin is not None and seen.end is not None:
            self.begin[slab] = self.set_end[slab] = np.full(self.k, seen.begin)
            self.end[slab] = np.full(self.k, seen.end)
            self.ready[slab] = np.maximum(
                self.end[slab] + at.ready_h, now if seen.first is None else 0
            )
            return
        left = set_up_left(self.day, slab)
        set_up = one.set_up_h * left
        opens = one.early if one.early is not None else 0.0
        allowed = one.set_up_allowed_h * left
        wanted = max(start - allowed, opens)
        # Where some of the team are held elsewhere, those who are free begin the forms sooner.
        free = [p for p in team if middle(self.crew.soonest(p, slab)) <= wanted + 0.02]
        slower = one.nominal_hands / len(free) if 0 < len(free) < len(team) else 1.0
        sooner = max(start - allowed * max(slower, 1.0), opens)
        there = [
            np.maximum(
                self.crew.come(person, slab, sooner if person in free else wanted, "others"), opens
            )
            for person in team
        ]
        set_end = _set(there, set_up, one.nominal_hands)
        together = np.maximum(set_end, np.maximum.reduce(there))
        late = middle(together) - max(start, wanted + allowed, now)
        # A start that is ours to choose leaves the forms their minutes; one agreed on may be tight.
        tight = 0.0 if one.fixed is not None else FORMS_TIGHT_H
        if late > self.day.slack_h - tight:
            self._breach(f"forms {slab}", late)
        truck = start + one.late_h
        if seen.begin is not None:
            truck = together = np.full(self.k, seen.begin)
        elif seen.truck is not None:
            truck = np.full(self.k, seen.truck)
        elif self.day.now is not None:
            truck = np.maximum(truck, now)
        begin = np.maximum(truck, together)
        # Every load that is on its way waits for the forms, not only the first; the balance load
        # is called when the one before it is half out.
        waiting = max(one.loads - 1, 1)
        self.trucks += one.over_usd + (
            60.0 * self.day.rules.truck_wait_usd_per_min * waiting
        ) * np.maximum(begin - truck - one.slack_h, 0.0)
        end = begin + at.place_h * (one.nominal_hands / len(team)) ** MORE_HANDS
        if seen.begin is not None:
            end = np.maximum(end, now)
        self.begin[slab], self.end[slab], self.set_end[slab] = begin, end, together
        self.ready[slab] = np.maximum(end + at.ready_h, begin + 0.2)
        for person, arrived in zip(team, there, strict=True):
            ready = np.maximum(set_end, arrived)
            self.crew.note(person, slab, "set_up", arrived, ready)
            self.crew.note(person, slab, "wait", ready, begin, "concrete")
            self.crew.note(person, slab, "place", begin, end)
            free = end
            if person not in self.choice.finish[slab]:
                free = end + one.clean_h
                self.crew.note(person, slab, "clean_up", end, free)
            self.crew.free_from(person, free)

    def _finish(self, slab: int) -> None:
        one, at, team = self.day.slabs[slab], self.at[slab], self.choice.finish[slab]
        ready, seen = self.ready[slab], one.happened
        if seen.first is not None:
            ready = self.ready[slab] = np.full(self.k, seen.first)
        if seen.first is not None and seen.last is not None:
            self.first[slab] = ready
            self.last[slab] = np.full(self.k, seen.last)
            return
        early = level(ready, EARLY)
        there = self._come_to_finish(slab, early)
        able = [p for p in team if "finish" in self.day.people[p].skills]
        first_there = np.minimum.reduce([there[p] for p in able])
        late = middle(first_there) - max(early, middle(self.end[slab]))
        if late > self.day.slack_h - TIGHT_H:
            self._breach(f"finisher {slab}", late)
        units, machine_at, short = self.machines.trowels_for(slab, there)
        self.trowel_units[slab] = units
        for what in short:
            self._breach(what, 1.0)
        if machine_at is not None:
            late = middle(machine_at) - early
            if late > self.day.slack_h - TIGHT_H:
                self._breach(f"trowel late {slab}", late)
            first_there = np.maximum(first_there, machine_at)
        # The least hands have to be there too before the machine goes on.
        if len(team) > 1:
            comes = np.sort(np.stack([there[p] for p in team]), axis=0)
            first_there = np.maximum(first_there, comes[min(one.finish_hands, len(team)) - 1])
        first = np.maximum(ready, first_there)
        held = np.maximum(first - np.maximum(ready, self.end[slab]), 0.0)
        # Who comes well after the machine went on doesn't speed it up.
        on = middle(first) + LATE_HELP_H
        helping = max(sum(middle(there[p]) <= on for p in team), min(one.finish_hands, len(team)))
        people = (one.finish_hands / helping) ** MORE_FINISHERS
        tools = (max(one.trowels, 1) / max(len(units), 1)) ** MORE_FINISHERS
        if seen.first is not None:
            late = middle(first_there) - (self.day.now or 0.0)
            if late > 0.1:
                self._breach(f"finisher {slab}", late)
            first, held = ready, np.zeros(self.k)
        last = first + at.span_h * (people * tools)
        if self.day.now is not None:
            last = np.maximum(last, self.day.now)
        self.first[slab], self.last[slab] = first, last
        self.machines.trowels_back(units, slab, last)
        grace = self.day.rules.finish_grace_min / 60.0
        self.lost[slab] = np.clip((held - 0.5 * grace) / max(grace, 1e-6), 0.0, 1.0)
        self.risk += self.day.rules.lost_finish_usd * self.lost[slab]
        if one.outdoors:
            self.risk += self.day.rules.dark_usd_per_h * np.maximum(last - one.sunset, 0.0)
        self._in_time(slab, last)
        for person in team:
            begins = np.maximum(first, there[person])
            ends = np.maximum(last, begins)
            cleaned = ends + one.clean_h
            self.crew.note(person, slab, "wait", there[person], begins, "set")
            self.crew.note(person, slab, "finish", begins, ends)
            self.crew.note(person, slab, "clean_up", ends, cleaned)
            self.crew.free_from(person, cleaned)

    def _come_to_finish(self, slab: int, early: float) -> dict[int, Array]:
        """The finishers come before the slab is early ready; when each is there."""
        there: dict[int, Array] = {}
        for person in self.choice.finish[slab]:
            away = self.crew.at(person) != slab
            was_here = person in self.choice.place[slab]
            there[person] = self.crew.come(person, slab, early, "set")
            if away and was_here:
                late = middle(there[person]) - early
                if late > self.day.slack_h - TIGHT_H:
                    self._breach(f"back {slab} {person}", late)
        return there

    def _in_time(self, slab: int, last: Array) -> None:
        one = self.day.slabs[slab]
        in_time = last <= one.latest
        self.done &= in_time
        if mean(in_time) < 0.5:
            self._breach(f"late {slab}", middle(last) - one.latest)
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
        there = self.crew.come(person, slab, level(opens, 0.25), "set")
        unit, machine_at, short = self.machines.saw_for(slab, person)
        self.saw_units[slab] = unit
        for what in short:
            self._breach(what, 1.0)
        start = np.maximum(opens, there)
        if machine_at is not None:
            start = np.maximum(start, machine_at)
        end = start + one.saw_h
        cut = end <= one.latest
        if mean(cut) < 0.5:
            self._breach(f"saw odds {slab}", middle(end) - one.latest)
        self.opens[slab] = opens
        self.saw_done[slab] = np.where(cut, end, np.nan)
        gone = np.where(cut, end, there)
        self.machines.saw_back(unit, slab, person, gone)
        self.crew.note(person, slab, "wait", there, np.where(cut, start, there), "set")
        if self.crew.keep:
            begins, ends = np.where(cut, start, np.nan), np.where(cut, end, np.nan)
            self.crew.note(person, slab, "saw", begins, ends)
        self.crew.free_from(person, gone)
        self.missed[slab] = (cut & (start > closes)).astype(float)
        self.risk += self.day.rules.missed_saw_usd * self.missed[slab]
        self.done &= cut
        self._saw_tomorrow(slab, ~cut)

    def _saw_tomorrow(self, slab: int, left: NDArray[np.bool_]) -> None:
        """A trip back next morning, and cracks where the window is over by then."""
        one, at = self.day.slabs[slab], self.at[slab]
        able: Team = self.day.able("saw") or tuple(range(len(self.day.people)))
        rate = min(self.day.people[p].usd_h for p in able)
        self.risk += left * (
            self.day.rules.trip_back_usd + rate * (2.0 * one.travel_h + one.saw_h + 0.25)
        )
        closed = left & (self.end[slab] + at.closes_h < TOMORROW)
        self.missed[slab] = np.maximum(self.missed[slab], closed)
        self.risk += self.day.rules.missed_saw_usd * closed
        self.done &= ~left


def _set(there: list[Array], set_up_h: Array, hands: float) -> Array:
    """When the forms are set: those who are there begin, unless waiting for more is quicker."""
    come = sorted(there, key=mean)
    best: Array | None = None
    for count in range(1, len(come) + 1):
        if count < len(come) and mean(come[count]) <= mean(come[count - 1]) + 0.02:
            continue
        slower = hands / count if count < hands else 1.0
        end = np.maximum.reduce(come[:count]) + set_up_h * slower
        best = end if best is None else np.minimum(best, end)
    assert best is not None
    return best
