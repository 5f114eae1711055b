"""Callback rates of any grouping: counts, shares with intervals, cost a yard."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.intervals import exact_count_interval, score_interval

LEVEL = 0.90
"""Two-sided level of every interval here."""


def group_rates(pours: pd.DataFrame, by: pd.Series) -> list[dict[str, Any]]:
    """One row a group of :func:`pours_record`'s rows, largest first; groups unknown come last.

    ``by`` is aligned with ``pours``; blank means unknown. Columns as the measure callback_rates,
    with callbacks_per_1000yd3_p05 and _p95 (exact Poisson interval). Pours not old enough stand
    apart as young_pours and young_callbacks. Rates of a group are ratios of sums.
    """
    names = by.astype("object").where(by.notna(), "unknown").astype(str)
    names = names.where(names.str.strip() != "", "unknown")
    rows = [{"group": name, **rates(pours[names == name])} for name in sorted(names.unique())]
    rows.sort(key=lambda row: (row["group"] == "unknown", -row["pours"], row["group"]))
    return rows


def rates(pours: pd.DataFrame) -> dict[str, Any]:
    """The counts, shares and cost of some of :func:`pours_record`'s rows; unknown is None.

    ``rate`` with its 90 % score interval (Wilson 1927), None with no pour old enough.
    """
    old = pours[pours["old_enough"]]
    young = pours[~pours["old_enough"]]
    count, called = len(old), int(old["called_back"].sum())
    calls = int(old["callbacks"].sum())
    yards = float(old["placed_yd3"].sum()) if old["placed_yd3"].notna().any() else 0.0
    low, high = score_interval(called, count, LEVEL) if count else (None, None)
    call_low, call_high = exact_count_interval(calls, LEVEL)
    without_hours = int(old["without_hours"].sum())
    without_cost = int(old["without_cost"].sum())
    hours_known = calls == 0 or without_hours < calls
    cost_known = calls == 0 or without_cost < calls
    priced = hours_known and cost_known and int(old["unpriced"].sum()) == 0
    hours, cost = float(old["hours"].sum()), float(old["cost_usd"].sum())
    all_in = cost + float(old["labor_usd"].sum())
    return {
        "pours": count,
        "pours_called_back": called,
        "callbacks": calls,
        "rate": called / count if count else None,
        "rate_p05": low,
        "rate_p95": high,
        "placed_yd3": yards,
        "callbacks_per_1000yd3": _per(1000.0 * calls, yards),
        "callbacks_per_1000yd3_p05": _per(1000.0 * call_low, yards),
        "callbacks_per_1000yd3_p95": _per(1000.0 * call_high, yards),
        "callbacks_without_hours": without_hours,
        "callbacks_without_cost": without_cost,
        "callbacks_part_blank": int(old["without_either"].sum()),
        "hours_per_yd3": _per(hours, yards) if hours_known else None,
        "cost_per_yd3": _per(cost, yards) if cost_known else None,
        "all_in_cost_per_yd3": _per(all_in, yards) if priced else None,
        "all_in_usd": all_in if priced else None,
        "young_pours": len(young),
        "young_callbacks": int(young["callbacks"].sum()),
    }


FLOORS_BEFORE = 3
SPREAD_BEFORE = 1.0
"""What is taken for granted of the costs of floors that come back before any is seen, with the
weight of three floors: their spread is as large as their mean. Common practice, no source."""
UNSEEN_TIMES = 2.0
"""The upper end allows for one floor of twice the mean cost that hasn't come up yet."""


def mean_cost_spread(costs: np.ndarray) -> tuple[float, int]:
    """Relative standard error of the mean of a few floors' costs (> 0 in all), and its freedom.

    The costs' own spread tells little where they are two or three: it is pooled with
    :data:`SPREAD_BEFORE` as variances are, by degrees of freedom.
    """
    count, mean = len(costs), float(costs.mean())
    freedom = FLOORS_BEFORE + count - 1
    own = float(((costs / mean - 1.0) ** 2).sum())
    return float(np.sqrt((FLOORS_BEFORE * SPREAD_BEFORE**2 + own) / freedom / count)), freedom


def cost_interval(pours: pd.DataFrame) -> dict[str, float] | None:
    """All-in cost a yard of the old pours with its 90 % interval.

    A few floors come back, each at a cost of its own: a compound Poisson sum. The exact ends of the
    count (Garwood 1936) and those of the mean cost (t on the log scale, :func:`mean_cost_spread`)
    are put together by the recovery of variances (Zou and Donner 2008, Stat. Med. 27, on logs),
    and :data:`UNSEEN_TIMES` is allowed for above. None where no yard, price or cost is known.
    """
    from scipy.special import stdtrit

    old = pours[pours["old_enough"] & pours["placed_yd3"].notna()]
    found = rates(pours)["all_in_cost_per_yd3"]
    back = old[old["called_back"]]
    spent = (back["cost_usd"].fillna(0.0) + back["labor_usd"].fillna(0.0)).to_numpy(float)
    if found is None or not spent.sum() > 0.0:
        return None
    count = len(spent)
    error, freedom = mean_cost_spread(spent)
    reach = error * float(stdtrit(freedom, 0.5 + LEVEL / 2.0))
    low, high = exact_count_interval(count, LEVEL)
    down, up = np.hypot(np.log(count / low), reach), np.hypot(np.log(high / count), reach)
    return {
        "mean": float(found),
        "p05": float(found * np.exp(-down)),
        "p95": float(found * (1.0 + UNSEEN_TIMES / count) * np.exp(up)),
    }


def funnel_limits(share: float, trials: int, level: float) -> tuple[float, float]:
    """Limits within which luck alone keeps a group of ``trials`` pours, as shares 0 to 1.

    Exact binomial, interpolated between whole counts (Spiegelhalter 2005, Stat. Med. 24, app. A.1);
    ``level`` two-sided, as 0.95 or 0.998. Raises ValueError outside 0 < share < 1, trials >= 1.
    """
    from scipy.special import bdtr

    if not 0.0 < share < 1.0 or trials < 1 or not 0.0 < level < 1.0:
        raise ValueError(f"no limits for {share!r} of {trials!r} at {level!r}")
    ends = []
    below = bdtr(np.arange(trials + 1), trials, share)
    for tail in ((1.0 - level) / 2.0, (1.0 + level) / 2.0):
        count = int(np.argmax(below > tail))
        less = below[count - 1] if count else 0.0
        ends.append((count - (below[count] - tail) / (below[count] - less)) / trials)
    return max(0.0, float(ends[0])), min(1.0, float(ends[1]))


def _per(amount: float, yards: float) -> float | None:
    return amount / yards if yards > 0 else None
