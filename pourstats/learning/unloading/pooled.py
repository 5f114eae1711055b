"""A linear model of loads within pours: effects held towards usual values, a shift that all loads
of a pour share, and each load's own scatter. Closed form given the two spreads, which are weighed
over a grid (Laird and Ware 1982; Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 14)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

POOL = 60.0
"""How many scatters of its own a record needs until they count as much as the usual shape."""


@dataclass(frozen=True)
class Pooled:
    """Draws of a fitted model: ``effects`` (column x draw), ``shift`` and ``scatter`` (draw)."""

    effects: Array
    shift: Array
    """Spread of what all loads of a pour share."""
    scatter: Array
    """Spread of a load's own."""
    shape: Array
    """Standardised scatters to draw a load's own from."""

    def outcomes(self, columns: Array, rng: np.random.Generator) -> Array:
        """Draws (draw x load) of the loads of one pour, whose columns are (load x column)."""
        count = self.effects.shape[1]
        middle = (columns @ self.effects).T
        together = self.shift * rng.standard_normal(count)
        own = rng.choice(self.shape, size=middle.shape)
        return np.asarray(middle + together[:, None] + self.scatter[:, None] * own)


def fit(
    columns: Array,
    y: Array,
    pour: NDArray[np.int64],
    usual: Array,
    doubt: Array,
    spreads: tuple[float, float],
    tail: Array,
    draws: int,
    rng: np.random.Generator,
) -> Pooled:
    """Fit ``y`` (load) on ``columns`` (load x column), loads of the same ``pour`` sharing a shift.

    ``usual`` and ``doubt`` are each effect's prior mean and spread; ``spreads`` the usual spread of
    the shift and of the scatter, each trusted to a factor of two; ``tail`` the usual shape of a
    scatter, standardised. Without rows the usual values come back, with all their doubt.
    """
    steps = np.exp(np.linspace(-1.4, 1.4, 9))
    shifts, scatters = spreads[0] * steps, spreads[1] * steps
    groups, counts = np.unique(pour, return_counts=True)
    place = np.searchsorted(groups, pour)
    left = y - columns @ usual
    means, left_means = _means(columns, place, counts), _means(left[:, None], place, counts)[:, 0]
    gram, pull, square = columns.T @ columns, columns.T @ left, float(left @ left)
    found: list[tuple[float, float, float, Array, Array]] = []
    for t in shifts:
        for s in scatters:
            # Each load less `keep` of its pour's mean has independent scatter; the sums that the
            # fit needs of such loads follow from those of the whole and of the pours.
            keep = 1.0 - s / np.sqrt(s**2 + counts * t**2)
            taken = counts * (2.0 * keep - keep**2)
            inner = (gram - (means.T * taken) @ means) / s**2
            toward = (pull - means.T @ (taken * left_means)) / s**2
            whole = float(square - taken @ left_means**2) / s**2
            precision = inner + np.diag(doubt**-2.0)
            covariance = np.linalg.inv(precision)
            moved = covariance @ toward
            rest = whole - 2.0 * float(moved @ toward) + float(moved @ inner @ moved)
            fits = -0.5 * (rest + np.sum((moved / doubt) ** 2))
            size = -0.5 * (np.linalg.slogdet(precision)[1] + 2 * np.sum(np.log(doubt)))
            within = -np.sum(counts - 1) * np.log(s) - 0.5 * np.sum(np.log(s**2 + counts * t**2))
            prior = -0.5 * (
                (np.log(t / spreads[0]) / 0.7) ** 2 + (np.log(s / spreads[1]) / 0.7) ** 2
            )
            score_here = float(fits + size + within + prior)
            found.append((score_here, t, s, usual + moved, covariance))
    score = np.array([f[0] for f in found])
    odds = np.exp(score - score.max())
    which = rng.choice(len(found), size=draws, p=odds / odds.sum())
    z = rng.standard_normal((usual.size, draws))
    effects = np.empty((usual.size, draws))
    for point in np.unique(which):
        own = which == point
        root = np.linalg.cholesky(found[point][4])
        effects[:, own] = found[point][3][:, None] + root @ z[:, own]
    best = found[int(np.argmax(score))]
    shape = tail
    if y.size:
        rest = y - columns @ best[3]
        pull = counts * best[1] ** 2 / (best[2] ** 2 + counts * best[1] ** 2)
        rest = rest - (pull * _means(rest[:, None], place, counts)[:, 0])[place]
        seen = np.clip(rest / best[2], -4.0, 6.0)
        # The usual shape keeps its weight until the record has scatters enough of its own.
        times = max(1, round(tail.size * seen.size / POOL / max(seen.size, 1)))
        shape = np.concatenate([tail, np.tile(seen, times)])
    shape = (shape - shape.mean()) / shape.std()
    return Pooled(effects, np.array([found[w][1] for w in which]),
                  np.array([found[w][2] for w in which]), shape)  # fmt: skip


def _means(values: Array, place: NDArray[np.int64], counts: NDArray[np.int64]) -> Array:
    sums = [np.bincount(place, column, counts.size) for column in values.T]
    return np.asarray(np.column_stack(sums) / counts[:, None])
