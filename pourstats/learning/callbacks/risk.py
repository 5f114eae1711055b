"""What goes with coming back: effects with intervals, corrected for the number of looks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.callbacks.features import (
    BESIDE,
    FEATURES,
    beside,
    features,
    ramp,
    ramped,
)
from pourstats.learning.callbacks.logistic import Fit, fit
from pourstats.learning.callbacks.looks import (
    DOUBLED,
    FALSE_SHARE,
    TRIPLED,
    pours_needed,
    stand_out,
)
from pourstats.learning.callbacks.rates import LEVEL
from pourstats.learning.callbacks.waiting import share_shown
from pourstats.learning.intervals import score_interval

Array = NDArray[np.float64]

PRIOR_M = 8.0
"""The belief about every odds ratio before the record speaks: log-F(8, 8), 1/4.4 to 4.4 with 95 %,
1 in the middle: worth four calls on either side. It is what sizes and chances are taken with. No
source; of simulated crews it gave better chances than 4 at every length of record."""
PRIOR_ODDS_RATIO_95 = 4.43
TEST_M = 2.0
"""The same for telling whether there is anything: log-F(2, 2), 1/39 to 39, worth one call on
either side. Without any, habits of few pours are told of too often; the strong one hides true ones.
"""
LEAST_CALLED = 5
"""Fewer floors called back (or not) than this and no model is fitted."""
LEAST_SIDE = 5
"""A feature is looked at with at least so many whole floors on either side of it."""


@dataclass(frozen=True)
class Effect:
    """What one feature does to the odds of coming back, all else alike.

    ``odds_ratio`` with ``p05`` and ``p95`` under the prior; ``alone_p05``, ``alone_p95`` without it
    (Firth's penalty); None where unbounded. Counts are of all pours so far, young ones too: ``so``
    where the feature is so (of drying: the drier half), ``not_so``, ``unknown``. ``told`` says
    whether it stands after the correction. ``more_pours`` would show doubled odds eight times in
    ten, ``more_pours_tripled`` tripled ones.
    """

    name: str
    so: int
    so_called: int
    not_so: int
    not_so_called: int
    unknown: int
    looked_at: bool = False
    odds_ratio: float | None = None
    p05: float | None = None
    p95: float | None = None
    alone_p05: float | None = None
    alone_p95: float | None = None
    p_value: float | None = None
    told: bool = False
    more_pours: int | None = None
    more_pours_tripled: int | None = None


@dataclass(frozen=True)
class Risk:
    """The fitted risk: effects in the order of their evidence, and what a chance needs.

    ``pours`` are whole floors: younger ones count in part. ``model`` is None with too few floors
    called back; ``names`` are its columns after the ones, ``means`` what they are centred on, and
    ``drying`` the ramp of the crew's own evaporation.
    """

    pours: float
    called: int
    looks: int
    effects: list[Effect]
    model: Fit | None = None
    names: tuple[str, ...] = ()
    means: dict[str, float] = field(default_factory=dict)
    drying: tuple[float, float, float] | None = None

    @property
    def usual(self) -> float:
        """The crew's own rate, half a call added on either side."""
        return (self.called + 0.5) / (self.pours + 1.0)

    def scaled(self, values: pd.DataFrame) -> pd.DataFrame:
        """The features with drying on the crew's own scale, 0 to 1."""
        return _scaled(values, self.drying)

    def design(self, values: pd.DataFrame, kinds: pd.DataFrame) -> Array:
        """The model's columns (ones first, centred) for pours; what isn't known counts as usual."""
        table = _joined(_scaled(values, self.drying), kinds)
        columns = [
            table[name].to_numpy(float) if name in table else np.full(len(table), np.nan)
            for name in self.names
        ]
        means = [self.means[name] for name in self.names]
        centred = [
            np.where(np.isnan(column), 0.0, column - mean)
            for column, mean in zip(columns, means, strict=True)
        ]
        return np.column_stack([np.ones(len(table)), *centred])

    def chances(self, values: pd.DataFrame, kinds: pd.DataFrame) -> pd.DataFrame:
        """Chance of coming back of each pour, with ``p05`` and ``p95`` of that chance.

        ``kinds`` as :func:`beside` gives them.

        Without a model the crew's own rate stands for every pour, with its interval; half a call is
        added on either side, so that it is never none.
        """
        if self.model is None:
            low, high = score_interval(self.called, self.pours, LEVEL) if self.pours else (0.0, 1.0)
            found = {"chance": self.usual, "p05": min(low, self.usual), "p95": high}
            return pd.DataFrame(found, index=values.index)
        rows = self.design(values, kinds)
        low_ends, high_ends = self.model.chance_interval(rows, LEVEL)
        return pd.DataFrame(
            {"chance": self.model.chance(rows), "p05": low_ends, "p95": high_ends},
            index=values.index,
        )


def risk(
    frames: Mapping[str, pd.DataFrame],
    pours: pd.DataFrame,
    age_limit_min: float,
    sizes: bool = True,
) -> tuple[Risk, pd.DataFrame]:
    """The risk fitted to ``pours`` (pours_record's), and the features of each."""
    values = features(frames, pours, age_limit_min)
    called = pours["called_back"].to_numpy(float)
    return fitted_risk(values, called, beside(pours), share_shown(pours), sizes), values


def fitted_risk(
    values: pd.DataFrame,
    called: Array,
    kinds: pd.DataFrame,
    weight: Array,
    sizes: bool = True,
) -> Risk:
    """The risk of pours, by what was so on their day.

    ``values`` as :func:`features` gives them, ``called`` 0 or 1, ``kinds`` as :func:`beside`,
    ``weight`` how much of a whole floor each tells (:func:`share_shown`). Every feature with five
    whole floors on either side is looked at; the kinds stand beside them and aren't told of. A look
    asks whether floors with the feature come back more, by the penalised
    likelihood ratio under the faint prior, one-sided: fewer calls are no habit to change. The looks
    are corrected for by Benjamini and Hochberg. Sizes and chances are taken with the strong prior.
    Without ``sizes`` intervals are left out, for simulations.
    """
    drying = ramp(values["dried_fast"].to_numpy(float))
    table = _scaled(values, drying)
    counted = {name: _counts(name, table, called) for name in FEATURES}
    events = int(called.sum())
    enough = min(events, len(called) - events) >= LEAST_CALLED
    looked = [
        name
        for name in FEATURES
        if enough and _lesser_side(table[name].to_numpy(float), weight) >= LEAST_SIDE
    ]
    names, means, x = _columns(looked, table, kinds)
    looked = [name for name in looked if name in names]
    whole = float(weight.sum())
    rate = (events + 0.5) / (whole + 1.0)
    if not looked:
        looks = max(1, sum(min(e.so, e.not_so) > 0 for e in counted.values()))
        effects = [
            _with_need(effect, table[name].to_numpy(float), rate, whole, looks, 0.0)
            for name, effect in counted.items()
        ]
        return Risk(whole, events, 0, _ordered(effects), drying=drying)
    model = fit(x, called, PRIOR_M, weight=weight)
    test = fit(x, called, TEST_M, weight=weight)
    alone = fit(x, called, firth=True, weight=weight) if sizes else None
    place = {name: 1 + names.index(name) for name in looked}
    p_values = [test.p_value_above(place[name]) for name in looked]
    told = stand_out(p_values)
    for name, p_value, stands in zip(looked, p_values, told, strict=True):
        effect = replace(counted[name], looked_at=True, p_value=p_value, told=bool(stands))
        counted[name] = _measured(effect, model, alone, place[name]) if alone else effect
    effects = [
        effect
        if effect.told
        else _with_need(
            effect,
            table[name].to_numpy(float),
            rate,
            whole,
            len(looked),
            _explained(x, place[name]) if name in place else 0.0,
        )
        for name, effect in counted.items()
    ]
    ordered = _ordered(effects)
    return Risk(whole, events, len(looked), ordered, model, tuple(names), means, drying)


def correction(looks: int) -> dict[str, Any]:
    """How several looks are corrected for, for the page and JSON."""
    return {"method": "Benjamini and Hochberg 1995", "false_share": FALSE_SHARE, "looks": looks}


def _scaled(values: pd.DataFrame, drying: tuple[float, float, float] | None) -> pd.DataFrame:
    raw = values["dried_fast"].to_numpy(float)
    scaled = ramped(raw, drying) if drying else np.full(len(values), np.nan)
    return values.assign(dried_fast=scaled)


def _joined(table: pd.DataFrame, kinds: pd.DataFrame) -> pd.DataFrame:
    return table.assign(**{name: kinds[name].to_numpy(float) for name in BESIDE})


def _counts(name: str, table: pd.DataFrame, called: Array) -> Effect:
    column = table[name].to_numpy(float)
    so, not_so = column >= 0.5, column < 0.5
    return Effect(
        name=name,
        so=int(so.sum()),
        so_called=int(called[so].sum()),
        not_so=int(not_so.sum()),
        not_so_called=int(called[not_so].sum()),
        unknown=int(np.isnan(column).sum()),
    )


def _lesser_side(column: Array, weight: Array) -> float:
    """Whole floors on the side of a feature that has fewer."""
    return float(min(weight[column >= 0.5].sum(), weight[column < 0.5].sum()))


def _columns(
    looked: list[str], table: pd.DataFrame, kinds: pd.DataFrame
) -> tuple[list[str], dict[str, float], Array]:
    """Names, means and the design: ones, the kinds that vary, then the features.

    Centred; unknown counts as the mean. A column that the ones before it make up is left out.
    """
    wide = _joined(table, kinds)
    names: list[str] = []
    means: dict[str, float] = {}
    x = np.ones((len(table), 1))
    for name in [*BESIDE, *looked]:
        column = wide[name].to_numpy(float)
        if np.isnan(column).all():
            continue
        mean = float(np.nanmean(column))
        ahead = np.column_stack([x, np.where(np.isnan(column), 0.0, column - mean)])
        if np.linalg.matrix_rank(ahead) == ahead.shape[1]:
            x = ahead
            names.append(name)
            means[name] = mean
    return names, means, x


def _measured(effect: Effect, model: Fit, alone: Fit, column: int) -> Effect:
    low, high = model.interval(column, LEVEL)
    alone_low, alone_high = alone.interval(column, LEVEL)
    return replace(
        effect,
        odds_ratio=float(np.exp(model.beta[column])),
        p05=float(np.exp(low)),
        p95=float(np.exp(high)),
        alone_p05=float(np.exp(alone_low)),
        alone_p95=float(np.exp(alone_high)),
    )


def _explained(x: Array, column: int) -> float:
    """R2 of one column on the others."""
    target = x[:, column] - x[:, column].mean()
    others = np.delete(x, column, axis=1)
    left = target - others @ np.linalg.lstsq(others, target, rcond=None)[0]
    whole = float(target @ target)
    return 1.0 - float(left @ left) / whole if whole > 0 else 0.0


def _with_need(
    effect: Effect, column: Array, rate: float, whole: float, looks: int, tied: float
) -> Effect:
    """With the pours still needed; None where the record has it on one side only."""
    known = column[~np.isnan(column)]
    if not min(effect.so, effect.not_so) or not known.size:
        return effect
    # What isn't logged on some pours tells nothing on such pours to come either.
    variance = float(known.var()) * known.size / column.size
    doubled, tripled = (
        pours_needed(rate, variance, looks, tied, odds_ratio) for odds_ratio in (DOUBLED, TRIPLED)
    )
    if np.isinf(doubled):
        return effect
    return replace(
        effect,
        more_pours=max(0, int(np.ceil(doubled - whole))),
        more_pours_tripled=max(0, int(np.ceil(tripled - whole))),
    )


def _ordered(effects: list[Effect]) -> list[Effect]:
    """Told ones first, by evidence; the others by how soon the record can tell."""
    return sorted(
        effects,
        key=lambda e: (
            not e.told,
            e.p_value if e.told and e.p_value is not None else 0.0,
            e.more_pours is None,
            e.more_pours or 0,
        ),
    )
