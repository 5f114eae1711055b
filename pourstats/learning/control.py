"""What is usual for this crew: the individuals chart, and the range of most weeks or pours."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

D2_OF_TWO = 1.128
"""Mean range of two normal values in standard deviations (NIST/SEMATECH e-Handbook 6.3.2.2)."""
D4_OF_TWO = 3.267
"""Upper limit of a range of two, in mean ranges (the same page's chart constants)."""


@dataclass(frozen=True)
class IndividualsChart:
    """An individuals chart (XmR): centre and natural limits of single values in time order.

    ``lower`` and ``upper`` are centre -/+ 3 mean moving ranges / 1.128; ``range_upper`` is the
    limit of a moving range. All in the unit of the values. ``count`` values stand behind it.
    """

    centre: float
    lower: float
    upper: float
    mean_range: float
    range_upper: float
    count: int

    def outside(self, values: ArrayLike) -> NDArray[np.bool_]:
        """Which values lie beyond the natural limits; one on a limit is inside, NaN is not out."""
        points = np.asarray(values, dtype=float)
        with np.errstate(invalid="ignore"):
            beyond: NDArray[np.bool_] = (points < self.lower) | (points > self.upper)
        return beyond


def individuals_chart(values: ArrayLike) -> IndividualsChart | None:
    """The individuals chart of values in time order (NIST/SEMATECH e-Handbook 6.3.2.2).

    ``values`` any 1-D array; unknown ones (NaN) are left out. None with fewer than two values,
    which have no moving range.
    """
    points = np.asarray(values, dtype=float)
    points = points[np.isfinite(points)]
    if points.size < 2:
        return None
    centre = float(points.mean())
    mean_range = float(np.abs(np.diff(points)).mean())
    reach = 3.0 * mean_range / D2_OF_TWO
    return IndividualsChart(
        centre, centre - reach, centre + reach, mean_range, D4_OF_TWO * mean_range, points.size
    )


def ratio_chart(ratios: ArrayLike) -> IndividualsChart | None:
    """The individuals chart of ratios (spent to usual), drawn on their logarithms.

    Twice the usual and half of it are then equally far out, and no limit falls below zero. The
    returned centre and limits are ratios again; ``mean_range`` and ``range_upper`` are factors.
    Ratios that are unknown or not above zero are left out.
    """
    points = np.asarray(ratios, dtype=float)
    points = points[np.isfinite(points) & (points > 0.0)]
    chart = individuals_chart(np.log(points))
    if chart is None:
        return None
    return IndividualsChart(
        centre=float(np.exp(chart.centre)),
        lower=float(np.exp(chart.lower)),
        upper=float(np.exp(chart.upper)),
        mean_range=float(np.exp(chart.mean_range)),
        range_upper=float(np.exp(chart.range_upper)),
        count=chart.count,
    )


LEAST_FOR_RANGE = 8
"""Fewer earlier values than this and no usual range is told: it would be a guess."""


@dataclass(frozen=True)
class UsualRange:
    """Where eight in ten of the earlier values lie; ``low``, ``middle``, ``high``, ``count``."""

    low: float
    middle: float
    high: float
    count: int

    def place(self, value: float | None) -> str | None:
        """``below``, ``usual`` or ``above``; None for an unknown value."""
        if value is None or not np.isfinite(value):
            return None
        if value < self.low:
            return "below"
        return "above" if value > self.high else "usual"


def usual_range(values: Iterable[float] | ArrayLike) -> UsualRange | None:
    """The 10 to 90 percent range of earlier values, or None with fewer than eight.

    Quantiles at p (n + 1), so that the next value falls inside eight times in ten (Weibull's
    plotting positions; Hyndman and Fan 1996, type 6).
    """
    points = np.asarray(list(values) if isinstance(values, Iterable) else values, dtype=float)
    points = points[np.isfinite(points)]
    if points.size < LEAST_FOR_RANGE:
        return None
    low, middle, high = np.quantile(points, [0.1, 0.5, 0.9], method="weibull")
    return UsualRange(float(low), float(middle), float(high), int(points.size))
