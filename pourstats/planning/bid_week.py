"""What a week's jobs together add to overtime: hours past the week's 40 that no one bid knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.hours import HoursDraws
from pourstats.learning.hours.features import Array, Features, numbers
from pourstats.planning.bid_lines import LEAST_OVERTIME_H, overtime_after_h, overtime_h
from pourstats.planning.bid_price import rule


def week_overtime_h(worked_h: Array, daily_over_h: Array, people: float, after_h: float) -> Array:
    """Person-hours over ``after_h`` of a week in each draw, shared evenly by ``people``.

    ``worked_h`` and ``daily_over_h`` are the week's person-hours, road in them, and those of them
    that were overtime of their day. An hour is overtime once: what the day paid for isn't counted
    toward the week (US Fair Labor Standards Act, 29 USC 207(e)(5) and (h)(2); state law may
    differ).
    """
    straight = (worked_h - daily_over_h) / people
    return np.asarray(people * np.maximum(straight - after_h, 0.0))


def weeks_added(
    jobs: pd.DataFrame,
    f: Features,
    drawn: HoursDraws,
    rates: Sequence[float | None],
    house: Mapping[str, object],
) -> list[dict[str, Any]]:
    """Of each week (Monday to Sunday) with several jobs: the overtime that it adds to theirs.

    ``people`` are as many as its busiest day needs; more people, or other work that week, change
    it. ``usd`` is the mean cost and ``price_usd`` that with overhead and margin, None without a
    rate. Weeks that add nothing are left out.
    """
    after, day_after = _week_after_h(house), overtime_after_h(house)
    given = house.get("overtime_premium")
    premium = float(given) if isinstance(given, int | float) else 0.5
    day = pd.to_datetime(pd.Series(jobs["date"].to_numpy())).dt.normalize()
    monday = day - pd.to_timedelta(day.dt.day_of_week, unit="D")
    road = np.nan_to_num(numbers(jobs, "travel")) / 30.0
    found = []
    for start in sorted(monday.unique()):
        rows = np.flatnonzero((monday == start).to_numpy())
        if rows.size < 2:
            continue
        hands = pd.Series(f.hands[rows]).groupby(day.iloc[rows].to_numpy()).sum()
        people = max(1.0, float(round(hands.max())))
        over = [
            overtime_h(
                drawn.labor_h[row], drawn.crew_h[row], float(f.hands[row]),
                float(f.finish_hands[row]), float(road[row]), day_after,
            )
            for row in rows
        ]  # fmt: skip
        worked = drawn.labor_h[rows].sum(axis=0) + float((road * f.hands)[rows].sum())
        added = week_overtime_h(worked, np.sum(over, axis=0), people, after)
        if added.mean() < LEAST_OVERTIME_H:
            continue
        known = [rates[int(row)] for row in rows]
        usd = price = None
        if None not in known:
            mean_rate = float(np.mean([rate for rate in known if rate is not None]))
            usd = float(added.mean()) * mean_rate * premium
            overhead, margin = rule(house, "overhead") or 0.0, rule(house, "margin") or 0.0
            price = usd * (1.0 + overhead) / (1.0 - margin)
        found.append(
            {
                "week": pd.Timestamp(start).date().isoformat(), "jobs": int(rows.size),
                "people": int(people), "after_h": after,
                "overtime_h": round(float(added.mean()), 2),
                "usd": None if usd is None else round(usd, 2),
                "price_usd": None if price is None else round(price, 2),
            }
        )  # fmt: skip
    return found


def _week_after_h(house: Mapping[str, object]) -> float:
    """The hours of a week after which overtime is paid."""
    after = house.get("overtime_week_after_h")
    return float(after) if isinstance(after, int | float) else 40.0
