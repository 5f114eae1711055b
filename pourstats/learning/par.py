"""What floors usually take: the hours to expect of one, and par by the baseline method.

The usual hours come from a published shape (a fixed part, a part by area, a part by volume) that
the crew's own log bends: robustly, so that one bad day doesn't, and with shrinkage, so that three
pours don't either.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pourstats.learning.draws import stream
from pourstats.logs.tables import FINISHES, PLACEMENTS, SLAB_TYPES

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

# ---------------------------------------------------------------------------------------------
# Par: the baseline method.


@dataclass(frozen=True)
class Baseline:
    """Baseline productivity (Thomas and Zavrski 1999), hours per unit of output: small is good.

    ``members`` are the positions of the baseline subset, ``disrupted`` marks the entries that took
    more than twice the baseline, ``disruption_index`` is their share, ``variation_pct`` the
    coefficient of productivity variation, ``cumulative`` the ratio of sums.
    """

    hours_per_unit: float
    members: tuple[int, ...]
    disrupted: NDArray[np.bool_]
    disruption_index: float
    variation_pct: float
    cumulative: float
    count: int

    def waste_index(self, expected: float) -> float:
        """Project waste index: (cumulative - baseline) / expected baseline."""
        return (self.cumulative - self.hours_per_unit) / expected

    def performance_ratio(self, expected: float) -> float:
        """Cumulative hours per unit over the expected baseline; above 1 is slower."""
        return self.cumulative / expected


def baseline_size(count: int) -> int:
    """How many of ``count`` entries make the baseline: a tenth, up to an odd number, at least 5."""
    tenth = -(-count // 10)
    return max(5, tenth + 1 - tenth % 2)


def baseline(output: ArrayLike, hours: ArrayLike) -> Baseline | None:
    """Par from a crew's own record (Thomas and Zavrski 1999, JCEM 125(5):295-303).

    ``output`` and ``hours`` are 1-D arrays of one length, an entry a workday or pour, output in any
    unit. The baseline subset is the entries of highest output (not of best rate); par is the median
    of their hours per unit. Of equal outputs the earlier counts first. Entries with an unknown or
    non-positive output or hours are left out. None with fewer than five entries.
    """
    amount = np.asarray(output, dtype=float)
    spent = np.asarray(hours, dtype=float)
    known = np.isfinite(amount) & np.isfinite(spent) & (amount > 0.0) & (spent > 0.0)
    places = np.flatnonzero(known)
    if places.size < 5:
        return None
    amount, spent = amount[known], spent[known]
    rate = spent / amount
    top = np.argsort(-amount, kind="stable")[: baseline_size(places.size)]
    par = float(np.median(rate[top]))
    slow = np.zeros(known.shape, dtype=bool)
    slow[places] = rate > 2.0 * par
    return Baseline(
        hours_per_unit=par,
        members=tuple(int(place) for place in np.sort(places[top])),
        disrupted=slow,
        disruption_index=float(slow.sum() / places.size),
        variation_pct=float(100.0 * np.sqrt(np.mean((rate - par) ** 2)) / par),
        cumulative=float(spent.sum() / amount.sum()),
        count=int(places.size),
    )


LEAST_FOR_PAR = 10
"""A slab type and size class needs this many pours before a par is told."""

SIZE_EDGES_FT2 = (750.0, 2500.0, 7500.0)
"""Where one size class ends and the next begins (own choice: a bay, a house, a shop, a hall)."""


def size_class(area_ft2: float) -> tuple[float, float | None]:
    """The size class of a floor: (from, to) in ft2; to is None for the largest class."""
    edges = (0.0, *SIZE_EDGES_FT2)
    place = int(np.searchsorted(np.asarray(edges), area_ft2, side="right")) - 1
    place = max(0, place)
    return edges[place], edges[place + 1] if place + 1 < len(edges) else None


# ---------------------------------------------------------------------------------------------
# The hours that such floors usually take.

FINISH_H_PER_FT2 = {"broom": 0.004, "float": 0.006, "trowel": 0.008, "hard_trowel": 0.010}
"""Finishing, labor-hours per ft2. Hard trowel: 1 labor-hour per 100 ft2 machine trowelled
(Peterson and Dagostino, Estimating in Building Construction, Fig. 10.30); the others scaled down
from it (common practice, no source)."""
FINISH_UNKNOWN_H_PER_FT2 = 0.008

PLACE_H_PER_YD3 = 0.32
"""Placing a slab by chute, labor-hours per yd3 (the same book, Fig. 10.17)."""
PLACE_FACTOR = {"chute": 1.0, "pump": 1.0, "conveyor": 1.0, "buggy": 1.6, "wheelbarrow": 2.2}
"""How much longer a yard takes by other ways (common practice, no source)."""
STRIKE_OFF_H_PER_FT2 = 0.0037
"""Striking off and floating: 1,620 ft2 an hour, six hands (slab pace, Concrete Construction)."""
FIXED_H = 10.0
"""Set-up, clean-up and the wait for set, labor-hours a pour (common practice, no source)."""

# Prior spreads of the crew's departures from the shape above, on the log scale: own choices, wide
# against what crews differ by (handbooks differ threefold for one item), tight where a few pours
# could otherwise bend the curve at sizes never poured.
LEVEL_SPREAD = 0.5
AREA_SPREAD = 0.2
CURVE_SPREAD = 0.08
THICKNESS_SPREAD = 0.2
FINISH_SPREAD = 0.2
PLACEMENT_SPREAD = 0.2
TYPE_SPREAD = 0.15
HEADCOUNT_SPREAD = 0.15

NOISE_GUESS = 0.2
NOISE_GUESS_WEIGHT = 5.0
"""Day-to-day spread on the log scale before any pour is known, and how many pours it weighs."""
TAIL_DF = 4.0
"""Degrees of freedom of the Student-t noise: bad days are rare but far out."""
HEADCOUNT_WEIGHT = 0.6
"""Hours read from a headcount are a rougher reading than logged ones and count for less."""
HALF_LIFE_DAYS = 180.0
"""A pour of half a year ago counts half: crews learn, and change."""


def published_hours(
    area_ft2: ArrayLike, thickness_in: ArrayLike, finish: ArrayLike, placement: ArrayLike
) -> FloatArray:
    """Labor-hours of floors by published rates alone: fixed + by area + by volume.

    Arrays of one length; area in ft2, thickness in inches, finish and placement the log's words
    (anything else counts as unknown). Rates for the same item differ threefold between books, so
    this is a shape to start from, not a par.
    """
    area = np.asarray(area_ft2, dtype=float)
    volume_yd3 = area * np.asarray(thickness_in, dtype=float) / 324.0
    finish_rate = _looked_up(finish, FINISH_H_PER_FT2, FINISH_UNKNOWN_H_PER_FT2)
    factor = _looked_up(placement, PLACE_FACTOR, 1.0)
    return np.asarray(
        FIXED_H
        + area * (STRIKE_OFF_H_PER_FT2 + finish_rate)
        + volume_yd3 * PLACE_H_PER_YD3 * factor,
        dtype=float,
    )


def _looked_up(words: ArrayLike, table: dict[str, float], otherwise: float) -> FloatArray:
    return np.array(
        [table.get(w, otherwise) if isinstance(w, str) else otherwise for w in _words(words)]
    )


def _words(words: ArrayLike) -> list[object]:
    return list(np.atleast_1d(np.asarray(words, dtype=object)))


@dataclass(frozen=True)
class UsualHours:
    """The labor-hours that such floors usually take for this crew.

    ``effects`` and ``covariance`` are the departures from :func:`published_hours` on the log scale,
    ``noise`` the day-to-day scale (Student t). ``count`` pours were learned from; with none it is
    the published shape with its wide margins. ``left_out_ratios`` gives, for each pour learned
    from (frame order, NaN where unusable), its hours over what the others make usual for it.
    """

    effects: FloatArray
    covariance: FloatArray
    noise: float
    count: int
    left_out_ratios: FloatArray

    def hours(self, pours: pd.DataFrame) -> FloatArray:
        """Usual labor-hours of each pour (the middle: half take less), NaN where size is unknown.

        ``pours`` as in :func:`usual_hours`; labor_h is not looked at.
        """
        design, base = _design(pours)
        return np.asarray(np.exp(base + design @ self.effects), dtype=float)

    def draws(self, pours: pd.DataFrame, count: int = 2000, seed: int = 1) -> FloatArray:
        """Labor-hours that such pours could take, shape (pour, draw), repeatable by seed.

        Effects are shared by all pours of a draw, day-to-day noise is each pour's own.
        """
        design, base = _design(pours)
        random = stream(seed, "usual hours")
        effects = random.multivariate_normal(
            self.effects, self.covariance, size=count, method="cholesky"
        )
        noise = self.noise * random.standard_t(TAIL_DF, size=(design.shape[0], count))
        return np.asarray(np.exp(base[:, None] + design @ effects.T + noise), dtype=float)


def usual_hours(pours: pd.DataFrame) -> UsualHours:
    """Learns what floors usually take from logged pours.

    ``pours`` one row a pour: ``area`` (ft2), ``thickness`` (in), ``labor_h``; if there, ``finish``,
    ``placement``, ``slab_type``, ``hours_from``, ``date``. Leave out the pours to be judged: no
    pour may judge itself. Rows without size or hours teach nothing. Never fails for too few rows:
    it then says what the published shape says, with wide margins.
    """
    design, base = _design(pours)
    hours = _column(pours, "labor_h")
    with np.errstate(divide="ignore", invalid="ignore"):
        target = np.log(hours) - base
    usable = np.isfinite(target)
    x, y = design[usable], target[usable]
    reading = np.where(_headcount(pours)[usable], HEADCOUNT_WEIGHT, 1.0) * _recency(pours)[usable]
    precision = np.diag(1.0 / _prior_spread() ** 2)
    effects, noise = np.zeros(x.shape[1]), NOISE_GUESS
    covariance, leverage = np.linalg.inv(precision), np.zeros(len(y))
    weight = reading.copy()
    for _ in range(60 if len(y) else 0):
        scaled = x * (weight / noise**2)[:, None]
        covariance = np.linalg.inv(precision + scaled.T @ x)
        fresh = covariance @ (scaled.T @ y)
        leverage = ((x @ covariance) * x).sum(axis=1) * weight / noise**2
        residual = y - x @ fresh
        free = max(1.0, float(reading.sum()) - float(leverage.sum()))
        variance = (float((weight * residual**2).sum()) + NOISE_GUESS_WEIGHT * NOISE_GUESS**2) / (
            free + NOISE_GUESS_WEIGHT
        )
        moved = float(np.abs(fresh - effects).max()) + abs(variance**0.5 - noise)
        effects, noise = fresh, variance**0.5
        weight = reading * (TAIL_DF + 1.0) / (TAIL_DF + residual**2 / noise**2)
        if moved < 1e-7:
            break
    ratios = np.full(len(usable), np.nan)
    if len(y):
        ratios[usable] = np.exp((y - x @ effects) / np.maximum(1.0 - leverage, 1e-3))
    return UsualHours(effects, (covariance + covariance.T) / 2.0, noise, len(y), ratios)


def _prior_spread() -> FloatArray:
    return np.array(
        [LEVEL_SPREAD, AREA_SPREAD, CURVE_SPREAD, THICKNESS_SPREAD, HEADCOUNT_SPREAD]
        + [FINISH_SPREAD] * len(FINISHES)
        + [PLACEMENT_SPREAD] * len(PLACEMENTS)
        + [TYPE_SPREAD] * len(SLAB_TYPES)
    )


def _column(pours: pd.DataFrame, name: str) -> FloatArray:
    if name not in pours.columns:
        return np.full(len(pours), np.nan)
    return np.asarray(pours[name].to_numpy(dtype=float, na_value=np.nan), dtype=float)


def _text(pours: pd.DataFrame, name: str) -> NDArray[np.object_]:
    if name not in pours.columns:
        return np.full(len(pours), None, dtype=object)
    return np.asarray(pours[name].to_numpy(dtype=object), dtype=object)


def _headcount(pours: pd.DataFrame) -> NDArray[np.bool_]:
    words = _text(pours, "hours_from")
    return np.array([isinstance(w, str) and w.startswith("headcount") for w in words], dtype=bool)


def _recency(pours: pd.DataFrame) -> FloatArray:
    if "date" not in pours.columns or len(pours) == 0:
        return np.ones(len(pours))
    days = np.asarray(pours["date"].to_numpy(dtype="datetime64[D]"), dtype="datetime64[D]")
    known = days[~np.isnat(days)]
    if known.size == 0:
        return np.ones(len(pours))
    age = (known.max() - days) / np.timedelta64(1, "D")
    return np.asarray(0.5 ** (np.nan_to_num(age) / HALF_LIFE_DAYS), dtype=float)


def _design(pours: pd.DataFrame) -> tuple[FloatArray, FloatArray]:
    """What a pour's hours hang on (pour, effect), and the log of its published hours."""
    area, thickness = _column(pours, "area"), _column(pours, "thickness")
    finish, placement = _text(pours, "finish"), _text(pours, "placement")
    with np.errstate(divide="ignore", invalid="ignore"):
        base = np.log(published_hours(area, thickness, finish, placement))
        size = np.log(area / 1500.0)
        depth = np.log(thickness / 5.0)
    columns = [np.ones(len(area)), size, size**2, depth, _headcount(pours).astype(float)]
    for words, levels in (
        (finish, FINISHES),
        (placement, PLACEMENTS),
        (_text(pours, "slab_type"), SLAB_TYPES),
    ):
        columns += [np.asarray(words == level, dtype=float) for level in levels]
    return np.column_stack(columns), base
