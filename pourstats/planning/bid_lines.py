"""What a job costs beside the hours on its slab: the road, overtime, a trip back to saw, trucks
that wait, callbacks, and what is bought in. Each line says what it rests on, or is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.hours import HoursDraws
from pourstats.learning.hours.features import Array, Features, numbers, words
from pourstats.learning.hours.readings import moments
from pourstats.planning.bid_price import rule

TRIP_BACK_BEFORE = {"early_entry": 0.1, "conventional": 0.5, "handheld": 0.3, "tooled": 0.0}
"""Chance of a trip back to saw before any record: common practice, no source."""

TRIP_BACK_WORTH = 4.0
TRIP_BACK_HANDS = 1.5
"""People on a trip back to saw: one, with a helper half of the time. Common practice, no source."""

RECORD_NEEDED, CALLS_NEEDED = 10, 3
"""Pours from which truck waiting and callbacks become lines of their own, and callbacks priced."""


@dataclass(frozen=True)
class Line:
    """One line beside labor: hours, dollars (None where unknown), and what it rests on.

    ``draws`` are the dollars in every draw, where they hang on the hours.
    """

    name: str
    hours: float | None
    usd: float | None
    because: str
    pours: int = 0
    draws: Array | None = None


def lines_beside_labor(
    frames: Mapping[str, pd.DataFrame],
    jobs: pd.DataFrame,
    f: Features,
    drawn: HoursDraws,
    rates: list[float | None],
    called: Sequence[Mapping[str, Any]],
    house: Mapping[str, object],
) -> list[list[Line]]:
    """For each job the lines beside labor; ``rates`` is USD a labor-hour, one a job.

    ``called`` is what :func:`job_callbacks` says of each.
    """
    travel = numbers(jobs, "travel")
    past = _past_travel_h(frames)
    chance, sawn = _trip_back(frames)
    waiting = _truck_waiting(frames)
    found = []
    for row in range(len(jobs)):
        own: list[Line] = []
        rate = rates[row]
        road = float(travel[row]) / 60.0 if not np.isnan(travel[row]) else None
        own.append(_travel(road, float(f.hands[row]), past, rate))
        over = overtime_h(
            drawn.labor_h[row], drawn.crew_h[row], float(f.hands[row]), float(f.finish_hands[row]),
            2.0 * (road or 0.0), overtime_after_h(house),
        )  # fmt: skip
        if over.mean() >= LEAST_OVERTIME_H:
            own.append(_overtime(over, rate, house))
        if f.saw_ft[row] > 0 and str(f.saw_type[row]) != "tooled":
            own.append(_saw_trip(road, past, chance, sawn, str(f.saw_type[row]), rate))
        if waiting is not None:
            usd, pours = waiting
            own.append(Line("truck_waiting", None, usd * float(f.volume_yd3[row]),
                            "what suppliers billed for waits, by volume", pours))  # fmt: skip
        if called:
            own += _callbacks(called[row])
        own += _bought(jobs, row, f, house)
        found.append(own)
    return found


def _dollars(hours: float, rate: float | None) -> float | None:
    return None if rate is None else hours * rate


def _past_travel_h(frames: Mapping[str, pd.DataFrame]) -> tuple[float, int] | None:
    """Mean person-hours on the road a pour with crew time, and how many pours."""
    output = frames.get("pour_output")
    if output is None or "travel_h" not in output:
        return None
    logged = output["travel_h"].dropna()
    logged = logged[logged > 0]
    return (float(logged.mean()), len(logged)) if len(logged) >= 3 else None


def _travel(
    road: float | None, hands: float, past: tuple[float, int] | None, rate: float | None
) -> Line:
    if road is not None:
        hours = 2.0 * road * hands
        return Line("travel", hours, _dollars(hours, rate), "there and back, everyone who places")
    if past is not None:
        return Line("travel", past[0], _dollars(past[0], rate),
                    "as on past pours; the job has no travel time", past[1])  # fmt: skip
    return Line("travel", None, None, "unknown: give the job's travel in minutes")


def _trip_back(frames: Mapping[str, pd.DataFrame]) -> tuple[dict[str, float], int]:
    """Chance of a trip back by saw type, and the sawn pours with known times behind it.

    Back means that the first cut came after everybody had gone (`saw_start` after `crew_out`).
    """
    chance = dict(TRIP_BACK_BEFORE)
    pours = frames.get("pours")
    if pours is None or not len(pours):
        return chance, 0
    first, last = moments(pours, "saw_start"), moments(pours, "saw_end")
    cut, gone = np.where(np.isnan(first), last, first), moments(pours, "crew_out")
    known = ~np.isnan(cut) & ~np.isnan(gone)
    back = (cut > gone)[known]
    kinds = words(pours, "saw_type").astype(str)[known]
    for kind, before in TRIP_BACK_BEFORE.items():
        own = back[kinds == kind]
        chance[kind] = (before * TRIP_BACK_WORTH + float(own.sum())) / (TRIP_BACK_WORTH + own.size)
    return chance, int(known.sum())


def _saw_trip(
    road: float | None,
    past: tuple[float, int] | None,
    chance: dict[str, float],
    sawn: int,
    kind: str,
    rate: float | None,
) -> Line:
    odds = chance.get(kind, 0.3)
    if road is None and past is None:
        return Line("trip_back_to_saw", None, None,
                    f"about {odds:.0%} likely; its drive is unknown", sawn)  # fmt: skip
    drive = 2.0 * road if road is not None else (past[0] / 4.0 if past is not None else 0.0)
    hours = odds * drive * TRIP_BACK_HANDS
    return Line("trip_back_to_saw", hours, _dollars(hours, rate),
                f"{odds:.0%} of such slabs are sawn on a trip back; its drive", sawn)  # fmt: skip


def _truck_waiting(frames: Mapping[str, pd.DataFrame]) -> tuple[float, int] | None:
    """Waiting billed a yard over pours with loads logged, and how many pours."""
    trucks = frames.get("trucks")
    if trucks is None or not len(trucks) or "wait_charge" not in trucks:
        return None
    told = trucks.groupby("pour_id").agg(usd=("wait_charge", "sum"), yards=("volume", "sum"))
    if len(told) < RECORD_NEEDED or not told["usd"].sum() > 0:
        return None
    return float(told["usd"].sum() / told["yards"].sum()), len(told)


def _callbacks(expected: Mapping[str, Any]) -> list[Line]:
    """What coming back costs on such a job, on average; no line while too few calls are priced."""
    cost, behind = expected["cost_usd"], expected["based_on"]
    if cost is None or behind["pours"] < RECORD_NEEDED or behind["calls_priced"] < CALLS_NEEDED:
        return []
    each = expected["each_usd"]
    because = (
        f"{expected['chance']:.0%} likely ({expected['p05']:.0%} to {expected['p95']:.0%}), about"
        f" ${each['mean']:,.0f} when it happens (${each['p05']:,.0f} to ${each['p95']:,.0f}, on"
        f" {behind['calls_priced']} that came back)"
    )
    return [Line("callbacks", None, cost["mean"], because, behind["pours"])]


LONGEST_DAY_H = 16.0
"""What a person works in a day at most: hours beyond it fall on another day. Common practice."""

LEAST_OVERTIME_H = 0.05
"""Person-hours of overtime, on average, from which it is a line."""


def overtime_after_h(house: Mapping[str, object]) -> float:
    """The hours of a day after which overtime is paid."""
    after = house.get("overtime_after_h")
    return float(after) if isinstance(after, int | float) else 8.0


def overtime_h(
    labor_h: Array, crew_h: Array, hands: float, finish_hands: float, road_h: float, after_h: float
) -> Array:
    """Person-hours over ``after_h`` of a day in each draw; the road (both ways, hours) counts.

    Those who finish stay as long as the clock runs, though not more of them than were there on
    average; the others share what hours are left: the two add up to labor_h. Nobody works for more
    than 16 h in a day.
    """

    def beyond(slab_h: Array) -> Array:
        return np.maximum(np.minimum(slab_h + road_h, LONGEST_DAY_H) - after_h, 0.0)

    stay = np.minimum(max(finish_hands, 1.0), labor_h / crew_h)
    rest = np.maximum(hands - stay, 0.0)
    rest_h = np.minimum((labor_h - stay * crew_h) / np.maximum(rest, 1e-9), crew_h)
    return np.asarray(stay * beyond(crew_h) + rest * beyond(rest_h))


def _overtime(over: Array, rate: float | None, house: Mapping[str, object]) -> Line:
    premium = house.get("overtime_premium")
    share = float(premium) if isinstance(premium, int | float) else 0.5
    after = overtime_after_h(house)
    because = f"a person's hours beyond {after:g} that day, {share:.0%} on top of their cost"
    if rate is None:
        return Line("overtime", float(over.mean()), None, because)
    usd = over * rate * share
    return Line("overtime", float(over.mean()), float(usd.mean()), because, 0, usd)


BOUGHT = {"concrete_usd": "concrete", "pump_usd": "pump", "materials_usd": "materials"}


def _bought(jobs: pd.DataFrame, row: int, f: Features, house: Mapping[str, object]) -> list[Line]:
    """Concrete, pump and materials: only what was entered, for the job or as a house price."""
    own: list[Line] = []
    for column, name in BOUGHT.items():
        entered = float(numbers(jobs, column)[row])
        if not np.isnan(entered):
            own.append(Line(name, None, entered, "as entered"))
    named = {line.name for line in own}
    yard, pump = rule(house, "concrete_price"), rule(house, "pump_price")
    if yard is not None and "concrete" not in named:
        ordered = float(numbers(jobs, "ordered_volume")[row])
        volume = float(f.volume_yd3[row]) if np.isnan(ordered) else ordered
        what = "the plan's volume" if np.isnan(ordered) else "the volume ordered"
        own.append(Line("concrete", None, volume * yard, f"{what} at the house price"))
    if pump is not None and "pump" not in named and f.placement[row] == "pump":
        own.append(Line("pump", None, pump, "the house price of a pump"))
    return own


def as_json(line: Line) -> dict[str, Any]:
    """The line as `bid --json` prints it; hours to 0.01, dollars to the cent."""
    return {
        "line": line.name,
        "hours": None if line.hours is None else round(line.hours, 2),
        "usd": None if line.usd is None else round(line.usd, 2),
        "because": line.because,
        "pours": line.pours,
    }
