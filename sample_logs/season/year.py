"""The season day by day: who goes where, and in what order the slabs are finished."""

from __future__ import annotations

import copy
import datetime as dt
from dataclasses import dataclass

from season.chance import Chance
from season.crew import Day, Stretch, can_finish, can_saw, present
from season.finishing import LAST_LIGHT_H, finish_slab
from season.pouring import clean_and_leave, place_slab
from season.slabs import BAD_DAY, LAST_WEEK, Slab, describe
from season.valley import Valley, minute

PUMP_DAY_SHARE, LATE_SHARE, WET_SHARE, MACHINE_SHARE = 0.14, 0.13, 0.05, 0.04
OTHERS_SHARE = 0.05
WAIT_ENOUGH_MIN = 70
"""No owner lets a slab stand ready for longer, if somebody can be pulled from the other."""


@dataclass
class Season:
    """All that happened: slabs in order of placing, and everybody's time."""

    slabs: list[Slab]
    stretches: list[Stretch]
    people: dict[dt.date, list[str]]


def _trouble(valley: Valley, slab: Slab) -> None:
    """What goes wrong on the day, decided before it begins."""
    chance = Chance(valley.seed, f"trouble {slab.pour_id}")
    late = chance.yes(LATE_SHARE) or slab.day == LAST_WEEK[2][0]
    if late and slab.plan_yd3 > 10:
        slab.trouble.append("late_truck")
    if chance.yes(PUMP_DAY_SHARE) and slab.placement == "pump":
        slab.trouble.append("pump")
    if chance.yes(WET_SHARE):
        slab.trouble.append("wet_load")
        slab.slump_in += 1.6
    if chance.yes(MACHINE_SHARE) and slab.finish in ("trowel", "hard_trowel"):
        slab.trouble.append("machine")
    if chance.yes(OTHERS_SHARE) and not slab.outdoors:
        slab.trouble.append("others_on_site")
    if slab.day == BAD_DAY:
        slab.trouble = ["machine", "rain"]
        slab.exposure, slab.finish, slab.placement = "sun", "hard_trowel", "chute"
        slab.area_ft2, slab.thickness_in, slab.admixtures = 2880.0, 5.0, ["water_reducer"]
        slab.scm_pct, slab.mix, slab.due = 0.0, "40N", minute(BAD_DAY, 7.5)


def _hands(slab: Slab, people: list[str]) -> list[str]:
    """Who places it, the finishers first."""
    wanted = 4 if slab.plan_yd3 < 11 else 5 if slab.plan_yd3 < 26 else 6
    order = sorted(people, key=lambda x: (not can_finish(x, slab.day), people.index(x)))
    taken = order[:wanted]
    return [x for x in people if x in taken]


def _alone(valley: Valley, day: Day, slab: Slab) -> None:
    """A day with one slab."""
    chance = Chance(valley.seed, f"day {slab.pour_id}")
    people = _hands(slab, day.people)
    able = [x for x in people if can_finish(x, slab.day)]
    count = 3 if slab.area_ft2 >= 1600 and slab.finish != "broom" else 2
    if count == 2 and len(able) > 2 and chance.yes(0.4):
        able = able[1:]
    finishers = able[:count]
    if slab.day == BAD_DAY:
        finishers = people[:4]  # nobody goes home while a slab gets away
    if not any(can_saw(x, slab.day) for x in finishers):
        finishers[-1] = next(x for x in people if can_saw(x, slab.day))
    if len(people) < 4 or (len(people) < 5 and slab.plan_yd3 > 26):
        slab.trouble.append("short_hand")
    slab.lead = "RB"
    place_slab(valley, day, slab, people, finishers)
    clean_and_leave(valley, day, slab, [x for x in people if x not in finishers])
    finish_slab(valley, day, slab, finishers)


def _apart(valley: Valley, day: Day, first: Slab, second: Slab) -> None:
    """Two stay with the first slab; the others place and finish the second."""
    people = day.people
    able = [x for x in people if can_finish(x, first.day)]
    first.lead, second.lead = able[1], "RB"
    finish_first = able[1:3]
    placers = [x for x in people if x not in finish_first]
    helper = next(x for x in [*able[3:], *placers] if x != "RB" and x in placers)
    place_slab(valley, day, first, people, finish_first)
    clean_and_leave(valley, day, first, placers)
    place_slab(valley, day, second, placers, ["RB", helper])
    clean_and_leave(valley, day, second, [x for x in placers if x not in ("RB", helper)])
    finish_slab(valley, day, first, finish_first)
    finish_slab(valley, day, second, ["RB", helper])


def _first_waits(valley: Valley, day: Day, first: Slab, second: Slab) -> None:
    """Everybody places the second; two come back to the first when that is done."""
    people = day.people
    able = [x for x in people if can_finish(x, first.day)]
    first.lead, second.lead = "RB", able[1]
    rest = [x for x in people if x not in able[:3]]
    finish_first = [able[0], able[2] if len(able) > 2 else rest[-1]]
    finish_second = [able[1], rest[0]]
    place_slab(valley, day, first, people, finish_first)
    clean_and_leave(valley, day, first, [x for x in people if x not in finish_first])
    place_slab(valley, day, second, people, finish_second)
    leaving = [x for x in people if x not in finish_first + finish_second]
    clean_and_leave(valley, day, second, leaving)
    finish_slab(valley, day, first, finish_first)
    finish_slab(valley, day, second, finish_second)


def _second_waits(valley: Valley, day: Day, first: Slab, second: Slab) -> None:
    """The two who finish the first go over to the second when they are done."""
    people = day.people
    able = [x for x in people if can_finish(x, first.day)]
    first.lead, second.lead = "RB", able[2] if len(able) > 2 else "RB"
    finishers = able[:2]
    placers = [x for x in people if x not in finishers]
    place_slab(valley, day, first, people, finishers)
    clean_and_leave(valley, day, first, placers)
    place_slab(valley, day, second, placers, placers[:1])
    clean_and_leave(valley, day, second, placers)
    finish_slab(valley, day, first, finishers)
    finish_slab(valley, day, second, finishers)


def _two(valley: Valley, day: Day, slabs: list[Slab]) -> tuple[Day, list[Slab]]:
    """A day with two slabs, run in the way in which neither stands ready for long."""
    chance = Chance(valley.seed, f"day {slabs[0].pour_id}")
    ways = chance.shuffled((_apart, _second_waits, _first_waits))
    if slabs[0].day == LAST_WEEK[1][0]:
        ways = [_first_waits]
    best: tuple[int, Day, list[Slab]] | None = None
    for way in ways:
        able = [x for x in day.people if can_finish(x, slabs[0].day)]
        if (len(day.people) < 5 and way is _second_waits) or (len(able) < 3 and way is _apart):
            continue
        tried, pair = copy.deepcopy(day), copy.deepcopy(slabs)
        way(valley, tried, pair[0], pair[1])
        worst = max(slab.first_late_min for slab in pair)
        if best is None or worst < best[0]:
            best = worst, tried, pair
        if worst <= WAIT_ENOUGH_MIN:
            best = worst, tried, pair
            break
    if best is None:
        raise ValueError(f"nobody to run two slabs on {slabs[0].day}")
    for slab in best[2]:
        if any(x.get("held") == "other_slab" for x in slab.passes) and chance.yes(0.7):
            slab.notes = slab.notes or "got on late, hands were on the other one"
    if len(day.people) < 5:
        best[2][1].trouble.append("short_hand")
    return best[1], best[2]


def _saw_trips(valley: Valley, season: Season, busy: set[dt.date]) -> None:
    """Trips back to saw: the same afternoon while it is light, else early next morning."""
    for slab in season.slabs:
        if slab.saw_trip is None:
            continue
        chance = Chance(valley.seed, f"saw trip {slab.pour_id}")
        (ready, minutes), slab.saw_trip = slab.saw_trip, None
        able = [x for x in ("LO", "MK", "RB") if x in season.people[slab.day]]
        ends = {x: max((s.end for s in season.stretches if s.worker == x), default=0) for x in able}
        sawyer = min(able, key=lambda x: (max(ends[x], ready), x))
        begin = max(ready - 10, ends[sawyer] + 10)
        evening = begin % 1440 + minutes > (LAST_LIGHT_H + 0.4) * 60
        if evening or begin // 1440 > minute(slab.day) // 1440:
            morning = slab.day + dt.timedelta(days=1)
            begin = minute(morning, 6.25 if morning not in busy else 4.75)
            begin += 5 * round(chance.between(0, 5))
        trip = Day([sawyer], begin - 60)
        leave = begin - trip.distance(sawyer, slab)
        arrived = trip.go(slab, sawyer, max(leave, ends[sawyer] + 5 if not evening else leave))
        slab.times["saw_start"] = arrived + round(chance.between(5, 12))
        slab.times["saw_end"] = slab.times["saw_start"] + minutes
        trip.work(slab, sawyer, "saw", slab.times["saw_start"], slab.times["saw_end"])
        trip.home({slab.pour_id: slab}, sawyer)
        season.stretches += trip.stretches


def live(
    valley: Valley,
    plan: list[tuple[dt.date, tuple[str, ...]]],
    ids: dict[tuple[dt.date, int], str],
    sites: dict[tuple[dt.date, int], str],
) -> Season:
    """The whole season."""
    season = Season([], [], {})
    for date, kinds in plan:
        people = present(valley.seed, date, len(kinds) > 1)
        season.people[date] = people
        day = Day(people, minute(date, 3.0))
        for stretch in season.stretches:
            if stretch.worker in day.free:  # an early trip to saw may run into the day's work
                day.free[stretch.worker] = max(day.free[stretch.worker], stretch.end + 5)
        slabs = [
            describe(valley, ids[date, nth], day=date, kind=kind, site=sites[date, nth], nth=nth,
                     poured=len(season.slabs) + nth)
            for nth, kind in enumerate(kinds)
        ]  # fmt: skip
        for slab in slabs:
            _trouble(valley, slab)
        if len(slabs) == 1:
            _alone(valley, day, slabs[0])
        else:
            day, slabs = _two(valley, day, slabs)
        by_id = {slab.pour_id: slab for slab in slabs}
        for person in people:
            day.home(by_id, person)
        for slab in slabs:
            _close(valley, day, slab)
        season.slabs += slabs
        season.stretches += day.stretches
        _saw_trips(valley, season, {date for date, _ in plan})
    return season


def _close(valley: Valley, day: Day, slab: Slab) -> None:
    """First on, last off, and the cure."""
    chance = Chance(valley.seed, f"cure {slab.pour_id}")
    on_slab = [x for x in day.stretches if x.pour_id == slab.pour_id and x.task != "travel"]
    slab.times["crew_out"] = max(x.end for x in on_slab)
    slab.times["crew_in"] = min(x.start for x in on_slab)
    if slab.cure != "none":
        after = slab.times["passes_done"] + round(chance.between(3, 12))
        slab.times["cure_start"] = min(after, slab.times["crew_out"])
