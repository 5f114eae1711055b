"""Whether the latest year's floors come back more than luck explains, and when floors do."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.callbacks.rates import funnel_limits
from pourstats.learning.callbacks.waiting import kaplan_meier, log_rank

YEAR_DAYS = 365
SURE = 0.02
"""A year is told apart where luck alone makes one as far off this often, or less. It is one look of
many on the page, so it is held to more than one in twenty."""
LEAST_CALLS = 5
"""Fewer calls in all than this and two years can't be told apart. Common practice, no source."""


def watched(pours: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Days each pour was watched, to its first call or the latest day, and if it was called."""
    call = pours["first_call_days"].to_numpy(float)
    called = ~np.isnan(call)
    return np.where(called, call, pours["age_days"].to_numpy(float)), called


def this_year(pours: pd.DataFrame, south: bool = False) -> dict[str, Any] | None:
    """Pours of the latest 365 days against all earlier ones, each watched as long as it was.

    Outdoors and indoors are told apart first and then added up, so that a year of more patios isn't
    taken for a worse one. Floors outdoors whose first winter isn't over are left out, as frost has
    had no turn at them (``before_winter`` of the year's; ``south`` of the equator). Returns counts,
    ``expected`` calls had they come back at the earlier ones' pace, ``ratio`` of the rates with
    90 % interval (exact given the calls), ``p_value``, and ``verdict``: worse, better,
    no_difference or too_early (fewer than five calls in all). None without earlier pours or without
    any of the year.
    """
    waiting = winter_ahead(pours, south)
    before_winter = int((waiting & (pours["age_days"] < YEAR_DAYS)).sum())
    pours = pours[~waiting]
    new = (pours["age_days"] < YEAR_DAYS).to_numpy()
    if not new.any() or new.all():
        return None
    days, called = watched(pours)
    outdoors = pours["outdoors"].to_numpy(bool)
    found = log_rank(days, called, new, strata=outdoors)
    counts = {
        "pours": int(new.sum()),
        "pours_called_back": int(called[new].sum()),
        "earlier_pours": int((~new).sum()),
        "earlier_called_back": int(called[~new].sum()),
        "before_winter": before_winter,
    }
    if found is None or found.calls + found.other_calls < LEAST_CALLS:
        return {**counts, "verdict": "too_early", "expected": None, "ratio": None,
                "ratio_p05": None, "ratio_p95": None, "p_value": None}  # fmt: skip
    sure = found.p_value <= SURE
    more = found.calls > found.expected
    # The log-rank test's own expectation pools both; the pace is that of the earlier floors alone.
    even = found.expected / (found.calls + found.other_calls)
    at_their_pace = found.other_calls * even / (1.0 - even)
    return {
        **counts,
        "verdict": ("worse" if more else "better") if sure else "no_difference",
        "expected": at_their_pace,
        "ratio": found.ratio,
        "ratio_p05": found.ratio_p05,
        "ratio_p95": found.ratio_p95,
        "p_value": found.p_value,
    }


def time_to_call(pours: pd.DataFrame) -> dict[str, Any]:
    """Share called back by 30, 90, 180, 365 and 730 days with 90 % intervals, outdoors and indoors.

    A row is given only as long as at least five pours were watched that long.
    """
    days, called = watched(pours)
    found: dict[str, Any] = {}
    for name, own in (
        ("all", np.ones(len(pours), dtype=bool)),
        ("outdoors", pours["outdoors"].to_numpy(bool)),
        ("indoors", ~pours["outdoors"].to_numpy(bool)),
    ):
        curve = kaplan_meier(days[own], called[own])
        rows = []
        for day in (30, 90, 180, 365, 730):
            watching = int((days[own] >= day).sum())
            if watching < 5:
                break
            low, high = curve.interval(day)
            any_call = bool((curve.days <= day).any())
            rows.append(
                {
                    "days": day,
                    "share": 1.0 - float(curve.left(day)),
                    "p05": 1.0 - high if any_call else 0.0,
                    "p95": 1.0 - low if any_call else None,
                    "watched": watching,
                }
            )
        calls = days[own][called[own]]
        found[name] = {
            "pours": int(own.sum()),
            "calls": int(called[own].sum()),
            "median_days_to_call": float(np.median(calls)) if calls.size else None,
            "by_days": rows,
        }
    return found


def before_first_winter(pours: pd.DataFrame, south: bool = False) -> int:
    """Floors outdoors, not called back, whose first winter isn't over on the log's latest day.

    A winter is over on the first of March (``south`` of the equator of September) that lies at
    least sixty days after the pour. Common practice, no source.
    """
    return int((winter_ahead(pours, south) & ~pours["called_back"]).sum())


def winter_ahead(pours: pd.DataFrame, south: bool = False) -> pd.Series:
    """Whether each floor stands outdoors and its first winter isn't over on the latest day."""
    dates = pd.to_datetime(pours["date"])
    latest = dates + pd.to_timedelta(pours["age_days"], unit="D")
    least = dates + pd.Timedelta(days=60)
    month = 9 if south else 3
    year = least.dt.year + (least.dt.month >= month)
    over = pd.to_datetime(pd.DataFrame({"year": year, "month": month, "day": 1}))
    return pours["outdoors"].astype(bool) & (over > latest)


def luck_limits(rows: list[dict[str, Any]], share: float | None) -> None:
    """Adds to each group's row the limits within which luck alone keeps it (99.8 %).

    luck_low and luck_high, exact binomial around the crew's own ``share``: the funnel of a chart.
    No group is called out by them: with many groups one in twenty records would be, by luck.
    """
    for row in rows:
        row["luck_low"], row["luck_high"] = None, None
        if share is not None and 0.0 < share < 1.0 and row["pours"]:
            row["luck_low"], row["luck_high"] = funnel_limits(share, int(row["pours"]), 0.998)
