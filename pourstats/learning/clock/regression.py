"""Bayesian regression with groups of effects, each with its own learned spread.

Closed form for the effects, Laplace approximation for the spreads and the noise, Student-t noise by
reweighting, "it was ready by then" by imputation. Effects that no row supports keep their prior, so
a mix never seen adds its whole doubt. Milliseconds for a season; the cost hardly grows with rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.draws import stream

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Group:
    """Columns whose effects share a spread: ``scale`` is its prior median, ``doubt`` its log sd.

    With doubt 0 the spread is known. ``weights`` multiply the spread column by column.
    """

    name: str
    start: int
    stop: int
    scale: float
    doubt: float = 0.0
    weights: tuple[float, ...] | None = None


@dataclass(frozen=True)
class Posterior:
    """Draws of the effects (column x draw), of the noise's scale (draw), and the tails' degrees."""

    effects: Array
    noise: Array
    tail: float
    rows: int
    log_evidence: float
    peak: Array
    """Log spreads at the peak, a start for a like problem."""
    fitted: Array
    """Mean of each row that was fitted."""
    spreads: dict[str, float]

    def mean_draws(self, columns: Array) -> Array:
        """Expected value (row x draw) of new rows (row x column)."""
        return np.asarray(columns @ self.effects)

    def outcome_draws(self, columns: Array, noise_factor: Array, rng: np.random.Generator) -> Array:
        """What new rows may come to (row x draw); ``noise_factor`` (row) multiplies the noise."""
        mean = self.mean_draws(columns)
        shock = rng.standard_t(self.tail, size=mean.shape)
        return np.asarray(mean + noise_factor[:, None] * self.noise * shock)


TAILS = (4.0, 8.0, 30.0)


def fit(
    columns: Array,
    y: Array,
    groups: Sequence[Group],
    *,
    noise: float,
    noise_doubt: float = 0.35,
    noise_factor: Array | None = None,
    at_most: NDArray[np.bool_] | None = None,
    draws: int = 1000,
    seed: int = 0,
    name: str = "regression",
    start: Array | None = None,
) -> Posterior:
    """Posterior of y = columns x effects + noise.

    ``noise`` is the prior median of its scale with log sd ``noise_doubt``; ``noise_factor`` (row)
    multiplies it; ``at_most`` (row, bool) marks values that only bound y from above. No rows give
    draws of the prior; no draws, only the evidence and the fit. ``start`` is a like problem's peak.
    """
    rng = stream(seed, "effects", name)
    n, p = columns.shape
    factor = np.ones(n) if noise_factor is None else noise_factor
    bounded = np.zeros(n, bool) if at_most is None else at_most
    learned = [g for g in groups if g.doubt > 0]
    centre = np.log([g.scale for g in learned] + [noise])
    width = np.array([g.doubt for g in learned] + [noise_doubt])
    base = np.empty(p)
    index = np.full(p, -1)
    for g in groups:
        base[g.start : g.stop] = 1.0 if g.doubt > 0 else g.scale
        if g.weights is not None:
            base[g.start : g.stop] *= g.weights
        if g.doubt > 0:
            index[g.start : g.stop] = learned.index(g)

    log_scales = centre.copy() if start is None else start.copy()
    value = y.copy()
    weight = 1.0 / factor**2
    tail = 8.0
    # Columns that no row has keep their prior exactly: they need no algebra.
    active = np.any(columns != 0.0, axis=0) if n else np.zeros(p, bool)
    whole, columns = columns, columns[:, active]
    problem = _Problem(base[active], index[active], centre, width)
    if n:
        for round_no in range(4):
            problem.load(columns, value, weight)
            log_scales = problem.peak(log_scales, quick=round_no < 3)
            mean, root, _ = problem.effects(log_scales)
            sigma = float(np.exp(log_scales[-1]))
            fitted = columns @ mean
            spread = np.sum((columns @ root) ** 2, axis=1)
            if bounded.any():
                value = _imputed(y, fitted, sigma * factor, spread, bounded)
            square = ((value - fitted) ** 2 + spread) / (factor * sigma) ** 2
            if round_no == 1 and n >= 8:
                tail = _best_tail((value - fitted) / factor / sigma, spread, sigma, factor)
            weight = (tail + 1.0) / (tail + square) / factor**2
            # A bounded row that lies above its guess says little.
            weight = np.where(bounded & (value < y), 0.35 * weight, weight)
        problem.load(columns, value, weight)
        log_scales = problem.peak(log_scales, quick=False)
    samples = problem.spread_samples(log_scales, rng, 40 if n else 200) if draws else [log_scales]
    effects = np.empty((p, draws))
    sigmas = np.empty(draws)
    chosen = np.sort(rng.integers(0, len(samples), draws))
    for k in np.unique(chosen):
        picked = np.flatnonzero(chosen == k)
        mean, root, _ = problem.effects(samples[k])
        shock = rng.normal(size=(p, picked.size))
        prior = base * np.where(index >= 0, np.exp(samples[k])[index], 1.0)
        effects[:, picked] = prior[:, None] * shock
        effects[np.ix_(active, picked)] = mean[:, None] + root @ shock[active]
        sigmas[picked] = np.exp(samples[k][-1])
    # The order of the draws must not follow the spreads' order.
    order = rng.permutation(draws)
    mean, _, evidence = problem.effects(log_scales)
    return Posterior(
        effects=effects[:, order],
        noise=sigmas[order],
        tail=tail,
        rows=n,
        log_evidence=evidence,
        peak=log_scales,
        fitted=whole[:, active] @ mean,
        spreads={g.name: float(np.exp(s)) for g, s in zip(learned, log_scales, strict=False)}
        | {"noise": float(np.exp(log_scales[-1]))},
    )


class _Problem:
    """One weighted regression as a function of the log spreads (groups, then noise)."""

    def __init__(self, base: Array, index: NDArray[np.int64], centre: Array, width: Array) -> None:
        self.base, self.index, self.centre, self.width = base, index, centre, width
        p = base.size
        self.cross = np.zeros((p, p))
        self.right = np.zeros(p)
        self.square = 0.0
        self.rows = 0
        self.log_weight = 0.0

    def load(self, columns: Array, value: Array, weight: Array) -> None:
        weighted = columns * weight[:, None]
        self.cross = columns.T @ weighted
        self.right = weighted.T @ value
        self.square = float(np.sum(weight * value**2))
        self.rows = value.size
        self.log_weight = float(np.sum(np.log(weight)))

    def _solve(self, log_scales: Array) -> tuple[Array, Array, Array, float]:
        scales = np.exp(log_scales)
        prior = self.base * np.where(self.index >= 0, scales[self.index], 1.0)
        noise2 = scales[-1] ** 2
        # In units of each effect's prior spread the matrix is I + S X'WX S / noise2: well behaved.
        inner = self.cross * np.outer(prior, prior) / noise2
        inner[np.diag_indices_from(inner)] += 1.0
        lower = np.linalg.cholesky(inner)
        half = _below(lower, prior * self.right / noise2)
        log_det = 2.0 * float(np.sum(np.log(np.diag(lower))))
        fit = self.square / noise2 - float(half @ half)
        evidence = -0.5 * (self.rows * np.log(2 * np.pi * noise2) - self.log_weight + log_det + fit)
        return lower, half, prior, float(evidence)

    def effects(self, log_scales: Array) -> tuple[Array, Array, float]:
        """Mean, a root of the covariance, and the log evidence."""
        lower, half, prior, evidence = self._solve(log_scales)
        inverse = _below(lower, np.eye(lower.shape[0])).T
        return prior * (inverse @ half), prior[:, None] * inverse, evidence

    def cost(self, log_scales: Array) -> float:
        """Minus the log posterior of the log spreads."""
        if np.any(np.abs(log_scales - self.centre) > 6 * self.width):
            return 1e9 + float(np.sum((log_scales - self.centre) ** 2))
        strain = (log_scales - self.centre) / self.width
        return 0.5 * float(strain @ strain) - self._solve(log_scales)[3]

    def slope(self, log_scales: Array) -> tuple[float, Array]:
        """Cost and its gradient (closed form: traces of the posterior over each group)."""
        lower, half, prior, evidence = self._solve(log_scales)
        noise2 = float(np.exp(2 * log_scales[-1]))
        inverse = _below(lower, np.eye(lower.shape[0]))
        unit_mean = inverse.T @ half
        unit_var = np.sum(inverse**2, axis=0)
        strain = (log_scales - self.centre) / self.width
        gradient = strain / self.width
        # d evidence / d log s = sum over the group of (mean^2 + var) / prior^2 - 1
        pull = unit_mean**2 + unit_var - 1.0
        for k in range(log_scales.size - 1):
            gradient[k] -= float(np.sum(pull[self.index == k]))
        mean = prior * unit_mean
        left = self.square - 2.0 * float(mean @ self.right) + float(mean @ self.cross @ mean)
        # trace(X'WX V) / noise2 = p - sum of unit variances
        trace = prior.size - float(np.sum(unit_var))
        gradient[-1] -= left / noise2 + trace - self.rows
        return 0.5 * float(strain @ strain) - evidence, gradient

    def peak(self, start: Array, *, quick: bool) -> Array:
        from scipy.optimize import minimize

        bounds = [(c - 5 * w, c + 5 * w) for c, w in zip(self.centre, self.width, strict=True)]
        found = minimize(
            self.slope,
            start,
            jac=True,
            method="L-BFGS-B",
            bounds=bounds,
            options={"maxiter": 8 if quick else 60},
        )
        return np.asarray(found.x)

    def spread_samples(self, peak: Array, rng: np.random.Generator, count: int) -> list[Array]:
        """Samples of the log spreads: Laplace at the peak, reweighted to the posterior."""
        d = peak.size
        if self.rows == 0:
            return [self.centre + self.width * rng.normal(size=d) for _ in range(count)]
        curve = np.empty((d, d))
        for k in range(d):
            step = np.zeros(d)
            step[k] = 0.05 * self.width[k]
            up, down = self.slope(peak + step)[1], self.slope(peak - step)[1]
            curve[k] = (up - down) / (2 * step[k])
        curve = 0.5 * (curve + curve.T)
        values, vectors = np.linalg.eigh(curve * np.outer(self.width, self.width))
        # No direction is known worse than its prior, none is taken for certain.
        root = vectors / np.sqrt(np.clip(values, 1.0, None))
        tries = 3 * count
        shock = rng.normal(size=(tries, d))
        shock *= np.sqrt(6.0 / rng.chisquare(6.0, size=tries))[:, None]
        points = peak + self.width * (shock @ root.T)
        log_density = np.array([-self.cost(point) for point in points])
        log_proposal = -0.5 * (6.0 + d) * np.log1p(np.sum(shock**2, axis=1) / 6.0)
        odds = log_density - log_proposal
        odds = np.exp(odds - odds.max())
        place = (np.arange(count) + rng.random()) / count
        chosen = np.searchsorted(np.cumsum(odds) / odds.sum(), place)
        return [points[k] for k in np.minimum(chosen, tries - 1)]


def _below(lower: Array, right: Array) -> Array:
    """Solve a lower triangular system."""
    from scipy.linalg import solve_triangular

    return np.asarray(solve_triangular(lower, right, lower=True, check_finite=False))


def _imputed(
    y: Array, fitted: Array, noise: Array, spread: Array, bounded: NDArray[np.bool_]
) -> Array:
    """Bounded values replaced by what they are expected to be, given that they lie below."""
    from scipy.special import log_ndtr

    scale = np.sqrt(noise**2 + spread)
    z = (y - fitted) / scale
    hazard = np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(z))
    return np.where(bounded, np.minimum(fitted - scale * hazard, y), y)


def _best_tail(unit: Array, spread: Array, sigma: float, factor: Array) -> float:
    """Degrees of freedom under which the residuals are likeliest, from a few, with a prior."""
    from scipy.special import gammaln

    scale = np.sqrt(1.0 + spread / (factor * sigma) ** 2)
    z = unit / np.maximum(np.sqrt(np.clip(2.0 - scale**2, 0.3, 1.0)), 0.3)
    best, chosen = -np.inf, 8.0
    for tail, prior in zip(TAILS, (-0.8, 0.0, -0.4), strict=True):
        # Compare shapes at one spread: each t is given the scale that fits it best.
        for scale_try in (0.7, 0.8, 0.9, 1.0, 1.1):
            like = np.sum(
                gammaln((tail + 1) / 2)
                - gammaln(tail / 2)
                - 0.5 * np.log(tail * np.pi)
                - np.log(scale_try)
                - (tail + 1) / 2 * np.log1p((z / scale_try) ** 2 / tail)
            )
            if like + prior > best:
                best, chosen = float(like + prior), tail
    return chosen
