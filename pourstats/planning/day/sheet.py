"""A way to do the day as the plan's JSON: pours, tasks, moves, machines, odds, cautions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.draws import plain, quantiles
from pourstats.planning.day.choice import Day
from pourstats.planning.day.machines import Trip, rides, taken_home
from pourstats.planning.day.mornings import clock_text
from pourstats.planning.day.outcome import SHOP
from pourstats.planning.day.search import Found

Array = NDArray[np.float64]

SHORTEST_MIN = 3.0
"""Waits below this are not worth a line."""
HARDLY = 0.02
"""Below this chance nothing is said of when it is cut."""


def clock(date: pd.Timestamp, hour: float) -> str:
    """A clock time `YYYY-MM-DDTHH:MM` from an hour of the day."""
    return f"{date + pd.Timedelta(minutes=round(hour * 60.0)):%Y-%m-%dT%H:%M}"


def spread(date: pd.Timestamp, draws: Array) -> dict[str, str | None]:
    """Quantiles of draws of hours of the day, as clock times."""
    return {
        name: None if np.isnan(float(value)) else clock(date, float(value))
        for name, value in quantiles(draws).items()
    }


def sheet(day: Day, found: Found, date: pd.Timestamp) -> dict[str, Any]:
    """The promised keys of a day, and machines, hands at the shop and cautions beside."""
    out, choice = found.outcome, found.choice
    tasks, moves = _tasks(day, found, date)
    used = {task["worker"] for task in tasks}
    return {
        "date": f"{date:%Y-%m-%d}",
        "pours": [_pour(day, found, slab, date) for slab in range(len(day.slabs))],
        "tasks": tasks,
        "moves": moves,
        "unplanned": [],
        "chance_done_in_day": round(float(out.done.mean()), 3),
        "labor_cost_usd": {
            "mean": round(float(out.labor_usd.mean()), 2), **plain(quantiles(out.labor_usd), 2),
        },
        "truck_wait_usd": round(float(out.truck_usd.mean()), 2),
        "risk_usd": round(float(out.risk_usd.mean()), 2),
        "overtime_h": round(out.overtime_h, 2),
        "paid_h": {
            day.people[person].name: plain(quantiles(h), 2) for person, h in out.paid_h.items()
        },
        "machines": _machines(day, found, date, tasks),
        "not_needed": [one.name for one in day.people if one.name not in used],
        "cautions": _cautions(day, found, date),
        "choice": {
            day.slabs[slab].pour_id: {
                "place": [day.people[p].name for p in choice.place[slab]],
                "finish": [day.people[p].name for p in choice.finish[slab]],
                "saw": _name(day, choice.saw[slab]),
            }
            for slab in range(len(day.slabs))
        },
    }  # fmt: skip


def _pour(day: Day, found: Found, slab: int, date: pd.Timestamp) -> dict[str, Any]:
    out, choice, one = found.outcome, found.choice, day.slabs[slab]
    cut = out.saw_done[slab]
    share = 0.0 if cut is None else float(np.mean(~np.isnan(cut)))
    done = out.last[slab] <= one.latest
    if one.saw is not None:
        done = done & (np.zeros(day.count, bool) if cut is None else ~np.isnan(cut))
    opens = out.opens[slab]
    return {
        "pour_id": one.pour_id,
        "site": one.site,
        "place_start": clock(date, choice.starts[slab]),
        "place_end": spread(date, out.place_end[slab]),
        "first_pass": spread(date, out.first[slab]),
        "last_pass_end": spread(date, out.last[slab]),
        "saw_done": None if cut is None or share < HARDLY else spread(date, cut),
        "set_up": clock(date, _set_up(found, slab)),
        "first_concrete": spread(date, out.begin[slab]),
        "ready": spread(date, out.ready[slab]),
        "saw": one.saw,
        "saw_tool": one.saw_tool or one.saw,
        "saw_opens": None if opens is None else spread(date, opens),
        "chance_sawn_in_day": None if one.saw is None else round(share, 3),
        "chance_done": round(float(done.mean()), 3),
        "chance_finish_lost": round(float(out.lost[slab].mean()), 3),
        "chance_window_missed": round(float(out.missed[slab].mean()), 3),
        "done_by": clock(date, one.latest),
        "loads": one.loads,
        "balance": one.balance,
        "spacing_min": one.spacing_min if one.loads - one.balance > 1 else None,
        "trowels": len(out.trowel_units[slab]),
        "agreed": one.fixed is not None,
        "begun": one.wet,
    }


def _set_up(found: Found, slab: int) -> float:
    first = [
        float(np.median(s.start))
        for s in found.outcome.stretches
        if s.slab == slab and s.task == "set_up"
    ]
    return min([*first, found.choice.starts[slab]])


Rows = list[dict[str, Any]]


def _tasks(day: Day, found: Found, date: pd.Timestamp) -> tuple[Rows, Rows]:
    """Who does what, at the medians, and the drives; a break in the first wait that has room."""
    rows: Rows = []
    drives: Rows = []
    made = taken_home(day, rides(day, found.outcome.moves)[0])
    # In the order of leaving: a road may be driven twice in a day.
    riding: dict[tuple[int, int, int], list[Trip]] = {}
    for trip in made:
        for person in trip.people:
            riding.setdefault((person, trip.origin, trip.target), []).append(trip)
    for person, one in enumerate(day.people):
        own = [s for s in found.outcome.stretches if s.person == person]
        times = [(float(np.nanmedian(s.start)), float(np.nanmedian(s.end))) for s in own]
        begins = times[0][0] if own else 0.0
        rest = False
        long = own and times[-1][1] - begins > day.rules.break_after_h
        busy_until = -np.inf
        for stretch, (start, end) in zip(own, times, strict=True):
            # Medians of some mornings and of all needn't fit to the minute: nobody in two places.
            length = max(end - start, 0.0)
            together: Trip | None = None
            places = [day.place(end_) for end_ in stretch.road or ()]
            if stretch.road is not None and places[0] == places[1]:
                # Over to the other slab of the site.
                busy_until = max(start, busy_until)
                drives.append(_move(day, person, stretch.road, clock(date, busy_until), None))
                continue
            if stretch.road is not None:
                together = riding[(person, places[0], places[1])].pop(0)
                # Who rides together leaves together.
                start = max(start, *(float(np.median(move.leave)) for move in together.moves))
            start = max(start, busy_until)
            end = start + length if stretch.task in ("travel", "saw") else max(end, start)
            busy_until = end
            shortest = SHORTEST_MIN if stretch.task == "wait" else 0.5
            if (end - start) * 60.0 < shortest:
                continue
            row: dict[str, Any] = {
                "worker": one.name,
                "pour_id": day.slabs[stretch.slab].pour_id,
                "task": stretch.task,
                "start": clock(date, start),
                "end": clock(date, end),
            }
            if stretch.road is not None:
                drives.append(_move(day, person, stretch.road, row["start"], together))
            if stretch.task == "wait":
                row["wait_for"] = stretch.wait_for
                room = (end - start) * 60.0 >= day.rules.break_min
                if long and room and not rest and start - begins > 1.5:
                    rest = True
                    until = start + day.rules.break_min / 60.0
                    rows.append(row | {"end": clock(date, until), "wait_for": "break"})
                    row["start"] = clock(date, until)
                    if row["start"] == row["end"]:
                        continue
            rows.append(row)
    return rows, sorted(drives, key=lambda row: (row["at"], row["worker"]))


def _move(
    day: Day, person: int, road: tuple[int, int], at: str, trip: Trip | None
) -> dict[str, Any]:
    """A row of `moves`; without a trip somebody goes over to the other slab of a site."""
    along = [] if trip is None else [p for p in trip.people if p != person]
    return {
        "worker": day.people[person].name,
        "from": _place(day, road[0]),
        "to": _place(day, road[1]),
        "at": at,
        "rides_with": [day.people[p].name for p in along],
        "vehicles": 0 if trip is None else trip.vehicles,
    }


def _place(day: Day, slab: int) -> str:
    return "shop" if slab == SHOP else day.slabs[slab].pour_id


def _name(day: Day, person: int | None) -> str | None:
    return None if person is None else day.people[person].name


def _machines(day: Day, found: Found, date: pd.Timestamp, tasks: Rows) -> Rows:
    """A row a trowel or saw on a slab: from when, until when, and who has it."""
    out, rows = found.outcome, []
    # Who saws is told at times that fit his day, and the saw is in his hands.
    sawing = {(row["worker"], row["pour_id"]): row for row in tasks if row["task"] == "saw"}
    for slab, one in enumerate(day.slabs):
        for unit in out.trowel_units[slab]:
            kind = "walk-behind" if unit < day.rules.trowels_walk_behind else "ride-on"
            rows.append(
                {
                    "machine": f"trowel {unit + 1} ({kind})",
                    "pour_id": one.pour_id,
                    "start": clock(date, float(np.median(out.first[slab]))),
                    "end": clock(date, float(np.median(out.last[slab]))),
                    "worker": [day.people[p].name for p in found.choice.finish[slab]],
                }
            )
        cut, unit_ = out.saw_done[slab], out.saw_units[slab]
        if cut is not None and unit_ is not None and not np.isnan(cut).all():
            end = float(np.nanmedian(cut))
            who = _name(day, found.choice.saw[slab]) or ""
            own = sawing.get((who, one.pour_id), {})
            rows.append(
                {
                    "machine": f"saw {unit_ + 1}",
                    "pour_id": one.pour_id,
                    "start": own.get("start", clock(date, end - one.saw_h)),
                    "end": own.get("end", clock(date, end)),
                    "worker": [who],
                }
            )
    return sorted(rows, key=lambda row: (row["machine"], row["start"]))


def _uncut(day: Day, found: Found, slab: int) -> str:
    """Why a slab isn't sawn that day."""
    one, out = day.slabs[slab], found.outcome
    if not day.rules.saws:
        return "No saw is owned (setting saws)."
    if not day.able("saw"):
        return "Nobody who is there can saw."
    at = one.at(found.choice.starts[slab])
    since = out.last[slab] if one.saw == "early_entry" else out.place_end[slab]
    opens = np.maximum(since + at.opens_h, out.last[slab])
    if float(np.mean(opens + one.saw_h <= one.latest)) < 0.5:
        return "It is hardly ready to cut that day."
    likely = clock_text(float(np.median(opens)))
    return f"It is likely ready to cut at {likely}, but waiting for that costs more than the trip."


def _cautions(day: Day, found: Found, date: pd.Timestamp) -> list[dict[str, str]]:
    out, rows = found.outcome, []
    for slab, one in enumerate(day.slabs):
        forms = float(np.median(out.set_end[slab]))
        due = found.choice.starts[slab]
        ahead = day.now is None or due > day.now
        if one.happened.begin is None and ahead and forms > due + 0.1:
            rows.append(
                {
                    "do": f"Ask the plant to move {one.pour_id}'s first load from"
                    f" {clock(date, due)[-5:]} to {clock(date, np.ceil(forms * 4) / 4)[-5:]}.",
                    "because": f"The forms are likely set at {clock(date, forms)[-5:]}; a truck"
                    " that comes before waits.",
                    "source": "the plan's own odds",
                }
            )
        if not one.wet and due < one.plant_first - 1e-6:
            rows.append(
                {
                    "do": f"Ask the plant whether it loads for {clock(date, due)[-5:]} at"
                    f" {one.pour_id}.",
                    "because": f"As it opens its first load is there at"
                    f" {clock(date, one.plant_first)[-5:]}.",
                    "source": "settings plant_open; the job's plant_travel",
                }
            )
        likely = float(np.median(out.last[slab]))
        if likely > one.latest:
            rows.append(
                {
                    "do": f"Agree on a later end at {one.pour_id}, an earlier start, or another"
                    " day.",
                    "because": f"Its last pass is likely off at {clock(date, likely)[-5:]}; the end"
                    f" is {clock(date, one.latest)[-5:]}.",
                    "source": "the plan's own odds",
                }
            )
        last = float(np.quantile(out.last[slab], 0.9))
        if one.outdoors and last > one.sunset:
            rows.append(
                {
                    "do": f"Take lights to {one.pour_id}.",
                    "because": f"Sunset is at {clock(date, one.sunset)[-5:]}; one day in ten the"
                    f" last pass is off after {clock(date, last)[-5:]}.",
                    "source": "NREL SPA (Reda and Andreas 2008); the plan's own odds",
                }
            )
        lost = float(out.lost[slab].mean())
        early = clock(date, float(np.quantile(out.ready[slab], 0.1)))[-5:]
        if lost > 0.05:
            rows.append(
                {
                    "do": f"Watch {one.pour_id} from {early} on.",
                    "because": f"On {100 * lost:.0f} days in a hundred the machine gets on it too"
                    " late.",
                    "source": "the plan's own odds",
                }
            )
        if one.saw is not None and out.saw_done[slab] is None:
            rows.append(
                {
                    "do": f"Plan a trip back to saw {one.pour_id} next morning.",
                    "because": _uncut(day, found, slab),
                    "source": "published windows and your own cuts (ACI 302.1R, ACI 224.4R)",
                }
            )
    if out.no_rest:
        names = ", ".join(day.people[p].name for p in out.no_rest)
        gets = "gets" if len(out.no_rest) == 1 else "get"
        rows.append(
            {
                "do": f"See that {names} {gets} a break of {day.rules.break_min:g} minutes.",
                "because": "No wait of that length is in the day as planned.",
                "source": "settings break_after_h and break_min; state law may differ",
            }
        )
    tired = [
        day.people[p].name for p, h in out.paid_h.items() if float(np.quantile(h, 0.75)) > 12.0
    ]
    if tired:
        rows.append(
            {
                "do": f"Swap {', '.join(tired)} or send them home early.",
                "because": "It is a day of over twelve hours: tired people get hurt by machines,"
                " saws and on the road.",
                "source": "common practice; state law may set limits",
            }
        )
    return rows
