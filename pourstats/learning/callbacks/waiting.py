"""How long floors take to come back, and how many are still to come.

Pours not yet called back are counted for as long as they have been watched and no longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pourstats.learning.intervals import exact_share_interval

Array = NDArray[np.float64]

DRAWS = 1000


@dataclass(frozen=True)
class Curve:
    """Kaplan and Meier's curve: ``share_left`` not yet called back just after each of ``days``.

    ``at_risk`` and ``events`` are the counts (or weights) at each of the days.
    """

    days: Array
    share_left: Array
    at_risk: Array
    events: Array

    def left(self, day: ArrayLike) -> Array:
        """The share not yet called back after ``day`` days (any shape); level after the last."""
        place = np.searchsorted(self.days, np.asarray(day, dtype=float), side="right")
        return np.asarray(np.concatenate([[1.0], self.share_left])[place])

    def interval(self, day: float, level: float = 0.90) -> tuple[float, float]:
        """Interval of the share left after ``day`` days (exponential Greenwood; Kalbfleisch and
        Prentice 1980). (0, 1) where no call, or nothing else, is seen by then."""
        share = float(self.left(day))
        if not 0.0 < share < 1.0:
            return 0.0, 1.0
        by = self.days <= day
        gone = self.events[by] / (self.at_risk[by] * (self.at_risk[by] - self.events[by]))
        reach = NormalDist().inv_cdf(0.5 + level / 2.0) * np.sqrt(gone.sum()) / np.log(share)
        middle = np.log(-np.log(share))
        ends = np.exp(-np.exp(np.array([middle - reach, middle + reach])))
        return float(ends.min()), float(ends.max())

    @property
    def median_days(self) -> float | None:
        """First day by which half are called back; None if that is not reached."""
        reached = np.flatnonzero(self.share_left <= 0.5)
        return float(self.days[reached[0]]) if reached.size else None


def kaplan_meier(days: ArrayLike, called: ArrayLike) -> Curve:
    """The product-limit curve (Kaplan and Meier 1958).

    ``days`` watched, 1-D, >= 0; ``called`` true where the watch ended with a call. A pour watched
    to the very day of another's call is still at risk on that day.
    """
    watched = np.asarray(days, dtype=float)
    event = np.asarray(called, dtype=bool)
    moments, counts = np.unique(watched[event], return_counts=True)
    ordered = np.sort(watched)
    at_risk = len(ordered) - np.searchsorted(ordered, moments, side="left")
    share: Array = np.cumprod(1.0 - counts / at_risk).astype(float)
    return Curve(moments, share, at_risk.astype(float), counts.astype(float))


@dataclass(frozen=True)
class Comparison:
    """Two groups watched for different times: calls of the first, and calls expected of it.

    ``ratio`` of the call rates with its 90 % interval and two-sided ``p_value``, both exact given
    the number of calls; ``chi2`` is the log-rank statistic.
    """

    calls: int
    expected: float
    other_calls: int
    ratio: float | None
    ratio_p05: float
    ratio_p95: float | None
    chi2: float
    p_value: float


def log_rank(
    days: ArrayLike, called: ArrayLike, first: ArrayLike, strata: ArrayLike | None = None
) -> Comparison | None:
    """Whether the first group comes back at another rate than the rest (Mantel 1966).

    1-D arrays of equal length, ``first`` true for the first group; ``strata`` are compared each
    within itself and added up. The expected calls and ``chi2`` are the log-rank test's. Interval
    and p-value take the calls of the first group as binomial given all calls, with odds of the
    expected calls: they hold for few calls, where chi-square doesn't, and lean to "can't tell"
    where a large share is called. None without a call, or without either group at risk at one.
    """
    watched = np.asarray(days, dtype=float)
    event = np.asarray(called, dtype=bool)
    one = np.asarray(first, dtype=bool)
    layer = np.zeros(len(watched)) if strata is None else np.asarray(strata)
    expected, variance, seen, total = 0.0, 0.0, 0, 0
    for name in np.unique(layer):
        own = layer == name
        for moment in np.unique(watched[own & event]):
            risk = own & (watched >= moment)
            now = own & event & (watched == moment)
            at_risk, calls = float(risk.sum()), float(now.sum())
            share = float((risk & one).sum()) / at_risk
            if not 0.0 < share < 1.0:
                continue  # nobody to compare with: it tells nothing
            expected += calls * share
            rest = (at_risk - calls) / (at_risk - 1.0)
            variance += calls * share * (1.0 - share) * rest
            seen += int((now & one).sum())
            total += int(calls)
    if total == 0:
        return None
    even = expected / total
    low, high = exact_share_interval(seen, total, 0.90)
    odds = even / (1.0 - even)
    return Comparison(
        calls=seen,
        expected=expected,
        other_calls=total - seen,
        ratio=None if seen == total else seen / (total - seen) / odds,
        ratio_p05=low / (1.0 - low) / odds,
        ratio_p95=None if seen == total else high / (1.0 - high) / odds,
        chi2=(seen - expected) ** 2 / variance if variance > 0 else 0.0,
        p_value=_binomial_p(seen, total, even),
    )


def _binomial_p(seen: int, total: int, share: float) -> float:
    """Twice the smaller tail, at most 1."""
    from scipy.special import bdtr, bdtrc

    below = float(bdtr(seen, total, share))
    above = 1.0 if seen == 0 else float(bdtrc(seen - 1, total, share))
    return min(1.0, 2.0 * min(below, above))


LEAST_CALLS = 5
"""With fewer calls the curve of a kind of floor isn't its own."""


def share_shown(pours: pd.DataFrame) -> Array:
    """How much of a whole floor each pour tells: 1 once it counts or is called back.

    A younger one tells the share of the calls of a counting age that come by its own age, by the
    curve of its kind (outdoors, indoors), of all floors with few calls, or by its age alone.
    """
    call = pours["first_call_days"].to_numpy(float)
    called = ~np.isnan(call)
    age = pours["age_days"].to_numpy(float)
    horizon = pours["counts_at_days"].to_numpy(float)
    days = np.where(called, call, age)
    outdoors = pours["outdoors"].to_numpy(bool)
    shown = np.where(horizon > 0, age / np.maximum(horizon, 1.0), 1.0)
    for kind in (outdoors, ~outdoors):
        within = called & (call <= horizon)
        own = kind if (within & kind).sum() >= LEAST_CALLS else np.ones(len(pours), dtype=bool)
        if not kind.any() or (within & own).sum() < LEAST_CALLS:
            continue
        curve = kaplan_meier(days[own], called[own])
        by_now = 1.0 - curve.left(np.minimum(age[kind], horizon[kind]))
        by_then = 1.0 - curve.left(horizon[kind])
        shown[kind] = by_now / np.maximum(by_then, 1e-9)
    return np.where(called | (age >= horizon), 1.0, np.clip(shown, 0.0, 1.0))


def still_to_come(pours: pd.DataFrame, seed: int = 6) -> dict[str, Any]:
    """Floors already placed that are still to be called back, up to the age at which they count.

    ``pours`` as pours_record gives them. Slabs outdoors and indoors have curves of their own.
    Returns ``pours`` watched (young, not called back), ``expected`` with ``p05`` and ``p95`` (of
    the number to come, chance included), and ``share_seen``: the share seen so far of all calls on
    young pours. Half a call, at any time up to that age, is added to each curve, so that a record
    without calls doesn't promise none.
    """
    rng = np.random.default_rng(seed)
    total, mean, watched, seen = np.zeros(DRAWS), 0.0, 0, 0
    for outdoors in (True, False):
        own = pours[pours["outdoors"] == outdoors]
        young = own[~own["old_enough"]]
        seen += int(young["called_back"].sum())
        waiting = young[~young["called_back"]]
        watched += len(waiting)
        if not len(waiting):
            continue
        horizon = float(own["counts_at_days"].iloc[0])
        chance = _chance_to_come(own, waiting["age_days"].to_numpy(float), horizon, rng)
        total += rng.binomial(1, chance).sum(axis=1)
        mean += float(chance.mean(axis=0).sum())
    low, high = np.quantile(total, [0.05, 0.95])
    return {
        "pours": watched,
        "calls_so_far": seen,
        "expected": mean,
        "p05": float(low),
        "p95": float(high),
        "share_seen": seen / (seen + mean) if seen + mean > 0 else None,
    }


def _chance_to_come(
    own: pd.DataFrame, ages: Array, horizon: float, rng: np.random.Generator
) -> Array:
    """Draws x pours: chance to be called between now and the horizon, given no call so far."""
    call = own["first_call_days"].to_numpy(float)
    called = ~np.isnan(call)
    days = np.where(called, call, own["age_days"].to_numpy(float))
    weights = rng.standard_exponential((DRAWS, len(own)))
    early = rng.uniform(0.0, horizon, DRAWS)
    half = rng.gamma(0.5, size=DRAWS)
    moments = np.unique(np.concatenate([days[called & (days <= horizon)], [0.0]]))
    # Hazards of weighted pours: weight called over weight still watched, at each moment.
    order = np.argsort(days, kind="stable")
    cumulated = np.cumsum(weights[:, order], axis=1)
    whole = cumulated[:, -1:]
    before = np.searchsorted(days[order], moments, side="left")
    gone = np.where(before > 0, cumulated[:, np.maximum(before - 1, 0)], 0.0)
    at_risk = whole - gone
    event = np.zeros((DRAWS, len(moments)))
    for place, moment in enumerate(moments):
        event[:, place] = weights[:, called & (days == moment)].sum(axis=1)
    logs = np.cumsum(np.log1p(-np.minimum(event / np.maximum(at_risk, 1e-12), 1 - 1e-9)), axis=1)

    def log_left(day: Array) -> Array:
        place = np.searchsorted(moments, day, side="right") - 1
        spread = half / (half + whole[:, 0])
        drop = np.log1p(-spread[:, None] * (early[:, None] <= day[None, :]))
        return np.where(place >= 0, logs[:, np.maximum(place, 0)], 0.0) + drop

    ratio = log_left(np.full(len(ages), horizon)) - log_left(np.minimum(ages, horizon))
    return np.clip(-np.expm1(ratio), 0.0, 1.0)
