"""The season day by day: who goes where, and in what order the slabs are finished."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from season.chance import Chance
from season.crew import Day, Stretch, can_finish, can_saw, present
from season.finishing import finish_slab
from season.pouring import clean_and_leave, place_slab
from season.slabs import BAD_DAY, LAST_WEEK, Slab, describe
from season.valley import Valley, minute

LATE_SHARE = 0.10


@dataclass
class Season:
    """All that happened: slabs in order of placing, and everybody's time."""

    slabs: list[Slab]
    stretches: list[Stretch]
    people: dict[dt.date, list[str]]


def _trouble(chance: Chance, slab: Slab) -> None:
    """What goes wrong on the day, decided before it begins."""
    late = chance.yes(LATE_SHARE) or slab.day == LAST_WEEK[2][0]
    if late and slab.plan_yd3 > 11:
        slab.trouble.append("late_truck")
    if slab.placement == "pump" and chance.yes(0.08):
        slab.trouble.append("pump")
    if chance.yes(0.05):
        slab.trouble.append("wet_load")
        slab.slump_in += 1.6
    if slab.day == BAD_DAY:
        slab.trouble = ["machine", "rain"]
        slab.exposure, slab.finish, slab.placement = "sun", "hard_trowel", "chute"
        slab.area_ft2, slab.thickness_in, slab.admixtures = 2880.0, 5.0, ["water_reducer"]
        slab.scm_pct, slab.due = 0.0, minute(BAD_DAY, 7.5)


def _hands(slab: Slab, people: list[str]) -> list[str]:
    """Who places it, the finishers first."""
    wanted = 4 if slab.plan_yd3 < 11 else 5 if slab.plan_yd3 < 26 else 6
    order = sorted(people, key=lambda x: (not can_finish(x, slab.day), people.index(x)))
    taken = order[:wanted]
    return [x for x in people if x in taken]


def _alone(seed: int, valley: Valley, day: Day, slab: Slab, poured: int) -> None:
    """A day with one slab."""
    chance = Chance(seed, f"day {slab.pour_id}")
    people = _hands(slab, day.people)
    able = [x for x in people if can_finish(x, slab.day)]
    count = 3 if slab.area_ft2 >= 1600 and slab.finish != "broom" else 2
    if count == 2 and len(able) > 2 and chance.yes(0.4):
        able = able[1:]
    finishers = able[:count]
    if not any(can_saw(x, slab.day) for x in finishers):
        finishers[-1] = next(x for x in people if can_saw(x, slab.day))
    if len(people) < 4:
        slab.trouble.append("short_hand")
    slab.lead = "RB"
    place_slab(seed, valley, day, slab, people, finishers, poured)
    clean_and_leave(seed, day, slab, [x for x in people if x not in finishers])
    finish_slab(seed, valley, day, slab, finishers, poured)


def _two(seed: int, valley: Valley, day: Day, first: Slab, second: Slab, poured: int) -> None:
    """A day with two: each finished by its own people, or one of them waits for the other."""
    chance = Chance(seed, f"day {first.pour_id}")
    mode = chance.pick(("apart", "second waits", "first waits"), (4, 4, 3))
    if first.day == LAST_WEEK[1][0]:
        mode = "first waits"
    people = day.people
    able = [x for x in people if can_finish(x, first.day)]
    first.lead, second.lead = "RB", able[1] if len(able) > 1 else "RB"
    if mode == "apart" and len(able) > 2:
        first.lead, second.lead = able[1], "RB"
        finish_first = able[1:3]
        placers = [x for x in people if x not in finish_first]
        finish_second = [x for x in placers if can_finish(x, first.day)][:2]
        if len(finish_second) < 2:
            finish_second.append(next(x for x in placers if x not in finish_second))
        place_slab(seed, valley, day, first, people[:6], finish_first, poured)
        clean_and_leave(seed, day, first, placers)
        place_slab(seed, valley, day, second, placers, finish_second, poured + 1)
        clean_and_leave(seed, day, second, [x for x in placers if x not in finish_second])
        finish_slab(seed, valley, day, first, finish_first, poured)
        finish_slab(seed, valley, day, second, finish_second, poured + 1)
    elif mode == "first waits":
        finish_first, finish_second = able[:1] + able[2:3], able[1:2]
        others = [x for x in people if x not in finish_first + finish_second]
        finish_second = finish_second + others[:1]
        place_slab(seed, valley, day, first, people, finish_first, poured)
        clean_and_leave(seed, day, first, [x for x in people if x not in finish_first])
        place_slab(seed, valley, day, second, people, finish_second, poured + 1)
        leaving = [x for x in people if x not in finish_first + finish_second]
        clean_and_leave(seed, day, second, leaving)
        finish_slab(seed, valley, day, first, finish_first, poured)
        finish_slab(seed, valley, day, second, finish_second, poured + 1)
    else:
        finish_first = able[:2]
        placers = [x for x in people if x not in finish_first]
        floaters = placers[:1]
        place_slab(seed, valley, day, first, people, finish_first, poured)
        clean_and_leave(seed, day, first, placers)
        place_slab(seed, valley, day, second, placers, floaters, poured + 1)
        clean_and_leave(seed, day, second, placers)
        finish_slab(seed, valley, day, first, finish_first, poured)
        finish_slab(seed, valley, day, second, finish_first, poured + 1)
    for slab in (first, second):
        if any(x.get("held") == "other_slab" for x in slab.passes) and chance.yes(0.7):
            slab.notes = slab.notes or "got on late, hands were on the other one"


def _saw_trips(seed: int, season: Season, busy: set[dt.date]) -> None:
    """What was not cut the same day is cut early next morning, before other work."""
    for slab in season.slabs:
        minutes = slab.times.pop("saw_trip", None)
        if minutes is None:
            continue
        chance = Chance(seed, f"saw trip {slab.pour_id}")
        morning = slab.day + dt.timedelta(days=1)
        begin = minute(morning, 6.25 if morning not in busy else 4.75)
        begin += 5 * round(chance.between(0, 5))
        sawyer = next(x for x in ("LO", "MK", "RB") if x in season.people[slab.day])
        trip = Day([sawyer], begin)
        arrived = trip.go(slab, sawyer, begin)
        slab.times["saw_start"] = arrived + round(chance.between(8, 14))
        slab.times["saw_end"] = slab.times["saw_start"] + minutes
        trip.work(slab, sawyer, "saw", slab.times["saw_start"], slab.times["saw_end"])
        trip.home({slab.pour_id: slab}, sawyer)
        season.stretches += trip.stretches


def live(
    seed: int, valley: Valley, plan: list[tuple[dt.date, tuple[str, ...]]],
    ids: dict[tuple[dt.date, int], str], sites: dict[tuple[dt.date, int], str],
) -> Season:  # fmt: skip
    """The whole season."""
    season = Season([], [], {})
    for date, kinds in plan:
        people = present(seed, date)
        season.people[date] = people
        day = Day(people, minute(date, 3.0))
        slabs = [
            describe(seed, valley, ids[date, nth], date, kind, nth, sites[date, nth])
            for nth, kind in enumerate(kinds)
        ]
        for slab in slabs:
            _trouble(Chance(seed, f"trouble {slab.pour_id}"), slab)
        poured = len(season.slabs)
        if len(slabs) == 1:
            _alone(seed, valley, day, slabs[0], poured)
        else:
            _two(seed, valley, day, slabs[0], slabs[1], poured)
        by_id = {slab.pour_id: slab for slab in slabs}
        for person in people:
            day.home(by_id, person)
        for slab in slabs:
            _close(seed, day, slab)
        season.slabs += slabs
        season.stretches += day.stretches
    _saw_trips(seed, season, {date for date, _ in plan})
    return season


def _close(seed: int, day: Day, slab: Slab) -> None:
    """Last off, and the cure."""
    chance = Chance(seed, f"cure {slab.pour_id}")
    on_slab = [x for x in day.stretches if x.pour_id == slab.pour_id and x.task != "travel"]
    slab.times["crew_out"] = max(x.end for x in on_slab)
    slab.times["crew_in"] = min(x.start for x in on_slab)
    if slab.cure != "none":
        after = slab.times["passes_done"] + round(chance.between(3, 12))
        slab.times["cure_start"] = min(after, slab.times["crew_out"])
