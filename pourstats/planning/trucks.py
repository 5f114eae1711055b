"""Loads of jobs ahead: how many, when to order them, how far apart, and the wait to expect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.faults import Refusal
from pourstats.learning import unloading
from pourstats.learning.draws import plain, quantiles
from pourstats.learning.hours import air_of
from pourstats.learning.unloading import Unloading
from pourstats.planning.bid_price import hour_cost
from pourstats.planning.truck_hours import PLANT_TRAVEL_MIN, outside_hours
from pourstats.planning.truck_line import Line, line
from pourstats.planning.truck_spacing import TOO_OLD, best_spacing, spacings, told_sooner
from pourstats.planning.truck_waits import past_waits
from pourstats.science.volume import plan_yd3

Array = NDArray[np.float64]

FRAMES = ("pours", "trucks", "truck_times", "pour_output", "crew", "bids")
"""What the store must read for trucks, by name."""

TRUCK_YD3 = 10.0
WAIT_USD_PER_MIN = 2.0
"""What a supplier bills a minute beyond the free ones: producers print 1.00 to 2.17 USD."""
FREE_MIN_PER_YD3 = 10.0
AGE_LIMIT_MIN = 90.0
ORDER_STEP_YD3 = 0.25
USUAL_COST_USD_H = 40.0
"""A person's hour, burden in it, where nobody's pay is known. Common practice, no source."""
USUAL_HANDS = 5.0
GAP_ALARM_MIN = ((90.0, 30.0), (80.0, 45.0), (60.0, 60.0))
"""Air degF and longest gap between loads before the edge should be tested. Planning alarms, common
practice, no source: no standard gives minutes; the edge must still take a vibrator (ACI 309R)."""


def trucks(
    jobs: pd.DataFrame,
    record: Mapping[str, pd.DataFrame] | None,
    house: Mapping[str, object] | None = None,
    forecast: pd.DataFrame | None = None,
    seed: int = 0,
    learned: Unloading | None = None,
) -> dict[str, Any]:
    """What `pourstats trucks --json` prints, and what page and sheet draw.

    ``jobs`` are rows of the log table `jobs` in house units, ``record`` the store's frames
    (:data:`FRAMES`), None without a store; ``forecast`` rows of `weather`, for the gap alarm;
    ``learned`` is what :func:`loads_before` found, where that is at hand.
    Beside the promised keys a job has `order` (each load's yards, due time and call), `curve` (cost
    by spacing), `age_min`, `age_limit_min`, `over_min`, `idle_usd`, `wait_usd`, `cautions`,
    `notes`; and the whole has `past`. Raises Refusal for no jobs.
    """
    if not len(jobs):
        raise Refusal("no jobs to order for; give a file of jobs, or pour ids of the jobs table", 1)
    rules = dict(house or {})
    frames = dict(record or {})
    jobs = jobs.reset_index(drop=True)
    learned = learned or loads_before(frames, jobs, seed)
    told = [
        _job(jobs.iloc[row], learned, frames, rules, forecast, seed) for row in range(len(jobs))
    ]
    return {
        "jobs": told,
        "rests_on": "loads" if learned.loads else _without_loads(learned),
        "loads_logged": learned.loads,
        "pours": learned.pours,
        "assumed": assumed(rules),
        "past": past_waits(frames, rules, rate_usd_min(rules)),
        "notes": _notes(learned, rules),
    }


def loads_before(
    frames: Mapping[str, pd.DataFrame], jobs: pd.DataFrame, seed: int = 0
) -> Unloading:
    """What the record says of loads, without the jobs themselves should they be poured already."""
    ahead = set(jobs["pour_id"])
    kept = {
        name: frame[~frame["pour_id"].isin(ahead)]
        if frame is not None and "pour_id" in frame
        else frame
        for name, frame in frames.items()
        if name in FRAMES
    }
    return unloading.fit(kept, seed)


def number(house: Mapping[str, object], name: str, usual: float) -> float:
    """A house rule as a number, or what is usual."""
    value = house.get(name)
    return float(value) if isinstance(value, int | float) and value == value else usual


def rate_usd_min(house: Mapping[str, object]) -> float:
    """What a truck's minute beyond the free ones costs, USD."""
    return number(house, "truck_wait_usd_per_min", WAIT_USD_PER_MIN)


def assumed(house: Mapping[str, object]) -> dict[str, Any]:
    """The rules that a spacing rests on, as in force."""
    return {
        "free_min_per_yd3": number(house, "free_min_per_yd3", FREE_MIN_PER_YD3),
        "free_clock": str(house.get("free_clock") or "arrived"),
        "truck_wait_usd_per_min": rate_usd_min(house),
        "truck_yd3": number(house, "truck_yd3", TRUCK_YD3),
        "age_limit_min": number(house, "age_limit_min", AGE_LIMIT_MIN),
    }


def order_yd3(
    job: pd.Series, learned: Unloading, house: Mapping[str, object], seed: int
) -> tuple[float, dict[str, Any]]:
    """Yards to order and where they come from: what the job says, else the plan and an allowance.

    The allowance is what eight of ten of the crew's pours stayed within, 3 to 12 percent.
    """
    plan = float(plan_yd3(_value(job, "area", 1000.0), _value(job, "thickness", 4.0)))
    beyond = learned.overrun_draws(seed, str(job["pour_id"]))
    own = house.get("order_overrun")
    share = (
        float(own)
        if isinstance(own, int | float) and own == own
        else float(np.clip(np.quantile(beyond, 0.8), 0.03, 0.12))
    )
    wanted = _up(plan * (1.0 + share), ORDER_STEP_YD3)
    given = _value(job, "ordered_volume", np.nan)
    order = given if np.isfinite(given) and given > 0 else wanted
    return order, {
        "order_yd3": round(order, 2),
        "plan_yd3": round(plan, 2),
        "allowance_pct": round(100.0 * share, 1),
        "advised_yd3": round(wanted, 2),
        "ordered_already": bool(np.isfinite(given)),
        "chance_short": round(float(np.mean(plan * (1.0 + beyond) > order)), 3),
        "overrun_pours": learned.overrun_pours,
    }


def loads(yd3: float, truck_yd3: float = TRUCK_YD3) -> tuple[Array, bool]:
    """Yards of each load, and whether the last is a balance load: full trucks and what is left."""
    full = int(np.floor(yd3 / truck_yd3 + 1e-9))
    rest = round(yd3 - full * truck_yd3, 2)
    if full == 0:
        return np.array([yd3]), False
    if rest < 0.01:
        return np.full(full, truck_yd3), False
    return np.array([*[truck_yd3] * full, rest]), True


def first_due(job: pd.Series) -> pd.Timestamp:
    """When the first load is ordered for: the agreed start, the site's opening, or seven."""
    for name in ("place_start", "earliest_start"):
        if name in job and not pd.isna(job[name]):
            return pd.Timestamp(job[name])
    return pd.Timestamp(job["date"]).normalize() + pd.Timedelta(hours=7)


def idle_usd_min(
    job: pd.Series, learned: Unloading, frames: Mapping[str, pd.DataFrame], house: Mapping[str, Any]
) -> tuple[float, str]:
    """What a minute without concrete costs with everybody standing there, USD; and its source."""
    cost = hour_cost(frames, house, job["date"])
    hands = _value(job, "hands", 0.0)
    if hands < 1.0:
        # Nobody places a slab with no hands: as good as unknown.
        hands = learned.usual_hands or USUAL_HANDS
    if cost.usd_h is None:
        return hands * USUAL_COST_USD_H / 60.0, "assumed"
    return hands * cost.usd_h / 60.0, cost.source


def _job(
    job: pd.Series,
    learned: Unloading,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any],
    forecast: pd.DataFrame | None,
    seed: int,
) -> dict[str, Any]:
    total, ordered = order_yd3(job, learned, house, seed)
    yd3, balance = loads(total, number(house, "truck_yd3", TRUCK_YD3))
    begin = first_due(job)
    count = unloading.model.DRAWS if yd3.size <= 40 else 300
    # Lateness by the hour is read at a usual spacing: it moves little within one.
    hour = begin.hour + begin.minute / 60.0 + np.arange(yd3.size) * 0.75
    drawn = learned.loads_of(job, yd3, np.asarray(hour, dtype=np.float64), seed, count)
    idle_usd, source = idle_usd_min(job, learned, frames, house)
    rules = assumed(house)
    due_clock = rules["free_clock"] == "due"

    def at(spacing: float) -> Line:
        return line(spacing, yd3, drawn, balance, rules["free_min_per_yd3"], due_clock)

    def cost_usd(one: Line) -> float:
        waiting_usd = float(rules["truck_wait_usd_per_min"]) * float(one.over_min.mean())
        return idle_usd * float(one.idle_min.mean()) + waiting_usd

    tried = spacings(yd3, drawn) if yd3.size > 1 else np.array([0.0])
    lines = [at(float(spacing)) for spacing in tried]
    cost = np.array([cost_usd(one) for one in lines])
    aged = np.array([np.mean(one.age_min.max(axis=1) > rules["age_limit_min"]) for one in lines])
    spacing = best_spacing(tried, cost, aged) if yd3.size > 1 else 0.0
    place = int(np.argmin(np.abs(tried - spacing)))
    chosen = lines[place]
    costs = idle_usd * chosen.idle_min + rules["truck_wait_usd_per_min"] * chosen.over_min
    old = float(np.mean(chosen.age_min.max(axis=1) > rules["age_limit_min"]))
    air = np.nan if forecast is None else air_of(forecast, job.get("site"), begin, 5.0)
    order = _orders(yd3, balance, begin, spacing, chosen)
    travel = _value(job, "plant_travel", PLANT_TRAVEL_MIN)

    def first_usd(apart: float, some: Array, of: unloading.JobLoads) -> float:
        return cost_usd(line(apart, some, of, False, rules["free_min_per_yd3"], due_clock))

    sooner = told_sooner(yd3, drawn, spacing, first_usd)
    shut = outside_hours(order, travel, house)
    return {
        "pour_id": str(job["pour_id"]),
        "site": None if pd.isna(job.get("site")) else str(job["site"]),
        "loads": int(yd3.size),
        "load_yd3": round(float(yd3[0]), 2),
        "spacing_min": spacing,
        "wait_min": plain(quantiles(chosen.wait_min), 1),
        "starved_min": plain(quantiles(chosen.starved_min), 1),
        "cost_usd": {"mean": round(float(costs.mean()), 2), **plain(quantiles(costs), 2)},
        "idle_usd": round(idle_usd * float(chosen.idle_min.mean()), 2),
        "wait_usd": round(rules["truck_wait_usd_per_min"] * float(chosen.over_min.mean()), 2),
        "idle_usd_per_min": round(idle_usd, 2),
        "pay_from": source,
        "balance_yd3": round(float(yd3[-1]), 2) if balance else None,
        **ordered,
        "order": order,
        "curve": _curve(tried, lines, cost, spacing, rules["age_limit_min"]),
        "flat_from_min": float(tried[cost <= cost.min() * 1.05 + 0.5].min()),
        "flat_to_min": float(tried[cost <= cost.min() * 1.05 + 0.5].max()),
        "age_min": plain(quantiles(chosen.age_min.max(axis=1)), 0),
        "age_limit_min": rules["age_limit_min"],
        "chance_too_old": round(old, 3),
        "over_min": plain(quantiles(chosen.over_min), 1),
        "first_late_min": plain(quantiles(np.maximum(drawn.late_min[:, 0], 0.0)), 1),
        "last_load_empty": {
            name: _clock(begin, float(value))
            for name, value in quantiles(chosen.end_min).items()
        },
        "cautions": _cautions(chosen, old, rules["age_limit_min"], float(air), tried, lines, cost),
        "notes": _job_notes(job, ordered, yd3, balance) + [n for n in (sooner, shut) if n],
    }  # fmt: skip


def _orders(
    yd3: Array, balance: bool, begin: pd.Timestamp, spacing: float, chosen: Line
) -> list[dict[str, Any]]:
    """Each load: yards, when it is due (a balance load: likely there), when it likely runs, how old
    it is at its end."""
    found = []
    for place, yards in enumerate(yd3):
        last = balance and place == yd3.size - 1
        due, call = spacing * place, None
        if last:
            # Half of the load before is out: what the forms still take can be seen. It comes when
            # it has been loaded and driven.
            half = (chosen.start_min[:, -2] + chosen.empty_min[:, -2]) / 2.0
            call = _clock(begin, float(np.median(half)))
            due = float(np.median(chosen.arrived_min[:, -1]))
        found.append(
            {
                "load_no": place + 1,
                "yd3": round(float(yards), 2),
                "called": "balance" if last else "ordered",
                "due": _clock(begin, due),
                "call_after": call,
                "starts": _clock(begin, float(np.median(chosen.start_min[:, place]))),
                "age_min": plain(quantiles(chosen.age_min[:, place]), 0),
            }
        )
    return found


def _curve(
    tried: Array, lines: list[Line], cost: Array, spacing: float, limit: float
) -> list[dict[str, float]]:
    keep = (np.abs(tried % 5) < 1e-9) | (tried == spacing)
    return [
        {
            "spacing_min": float(tried[place]),
            "cost_usd": round(float(cost[place]), 2),
            "idle_min": round(float(lines[place].idle_min.mean()), 1),
            "wait_min": round(float(lines[place].wait_min.mean()), 1),
            "over_min": round(float(lines[place].over_min.mean()), 1),
            "chance_too_old": round(float(np.mean(lines[place].age_min.max(axis=1) > limit)), 3),
        }
        for place in np.flatnonzero(keep)
    ]


def _cautions(
    chosen: Line,
    old: float,
    limit: float,
    air_f: float,
    tried: Array,
    lines: list[Line],
    cost: Array,
) -> list[dict[str, str]]:
    found = []
    if old > TOO_OLD:
        fresh = [np.mean(one.age_min.max(axis=1) > limit) <= TOO_OLD for one in lines]
        more = ""
        if any(fresh):
            place = int(np.flatnonzero(fresh)[np.argmin(cost[fresh])])
            more = (
                f" At {tried[place]:.0f} minutes apart it holds nine times in ten, for"
                f" {_dollars(cost[place] - cost.min())} more."
            )
        found.append(
            {
                "do": f"Ask the plant about the age of the concrete on the ticket.{more}",
                "because": f"A load is over {limit:.0f} minutes old when empty on"
                f" {'nearly every such day' if old > 0.95 else f'{old * 10:.0f} days in ten'}.",
                "source": "ASTM C94: 90 minutes until 2021, since then what the ticket states",
            }
        )
    if chosen.gap_min.shape[1]:
        gap = float(np.quantile(chosen.gap_min.max(axis=1), 0.9))
        alarm = next((most for warm, most in GAP_ALARM_MIN if air_f >= warm), 60.0)
        if gap > alarm:
            heat = f" at {air_f:.0f} °F" if np.isfinite(air_f) else ""
            found.append(
                {
                    "do": "Test the edge before the next load goes on; keep it covered and damp.",
                    "because": f"One day in ten the longest gap between loads is over {gap:.0f}"
                    f" minutes{heat}.",
                    "source": "planning alarm, common practice; no standard gives minutes"
                    " (ACI 309R: the edge must still take a vibrator)",
                }
            )
    return found


def _job_notes(job: pd.Series, ordered: Mapping[str, Any], yd3: Array, balance: bool) -> list[str]:
    notes = []
    if pd.isna(job.get("place_start")):
        notes.append(f"No start is agreed: the first load at {first_due(job):%H:%M} is assumed.")
    if ordered["ordered_already"] and ordered["advised_yd3"] > ordered["order_yd3"] + 0.2:
        notes.append(
            f"Ordered {ordered['order_yd3']:g} yd3; plan and allowance come to"
            f" {ordered['advised_yd3']:g} yd3."
        )
    if balance and yd3[-1] < 1.0:
        notes.append(
            f"The balance load is {yd3[-1]:g} yd3: ask the plant about its short-load charge."
        )
    return notes


def _without_loads(learned: Unloading) -> str:
    return "length of placing" if learned.placings else "published values"


def _notes(learned: Unloading, house: Mapping[str, object]) -> list[str]:
    notes = []
    if learned.loads == 0 and learned.placings:
        notes.append(
            "No loads are logged yet: how fast they empty is taken from how long"
            f" {learned.placings} pours took to place, waits included; the rest is common practice."
        )
    elif learned.loads == 0:
        notes.append("No loads are logged yet: this rests on published values and common practice.")
    elif learned.loads < 20:
        notes.append(f"Only {learned.loads} loads are logged: published values still weigh in.")
    if "free_min_per_yd3" not in house or number(house, "free_min_per_yd3", 10.0) == 10.0:
        notes.append("Free time: 10 min/yd³ is taken; check your supplier's terms.")
    return notes


def _clock(begin: pd.Timestamp, minutes: float) -> str:
    return f"{begin + pd.Timedelta(minutes=round(minutes)):%Y-%m-%dT%H:%M}"


def _dollars(value: float) -> str:
    return "one dollar" if round(value) == 1 else f"{value:.0f} dollars"


def _up(value: float, step: float) -> float:
    return float(np.ceil(value / step - 1e-6) * step)


def _value(job: pd.Series, name: str, usual: float) -> float:
    value = pd.to_numeric(job.get(name, np.nan), errors="coerce")
    return float(usual) if pd.isna(value) else float(value)
