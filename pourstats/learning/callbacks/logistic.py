"""Logistic regression that stays sane with few events: log-F priors, or Firth's penalty.

Own code for its speed from cold (Newton steps on a handful of columns, numpy alone); the tests hold
it against firthmodels, statsmodels and published estimates.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

STEPS = 60
FAR = 15.0
"""Log odds ratio beyond which an end of an interval is called unbounded."""


@dataclass(frozen=True)
class Fit:
    """A fitted model: ``beta`` (log odds, the column of ones first), its penalised log likelihood
    ``loglik``, the ``information`` (with the prior's) at it, and whether it ``converged``.
    """

    x: Array
    y: Array
    weight: Array
    prior_m: Array
    firth: bool
    beta: Array
    loglik: float
    information: Array
    converged: bool

    def chance(self, x: ArrayLike) -> Array:
        """Chance of an event for rows of columns as fitted (with the ones), 0 to 1."""
        return _chance(np.asarray(x, dtype=float) @ self.beta)

    def chance_interval(self, x: ArrayLike, level: float = 0.90) -> tuple[Array, Array]:
        """Ends of the chance's interval, from the normal approximation of its log odds."""
        rows = np.asarray(x, dtype=float)
        middle = rows @ self.beta
        cov = np.linalg.pinv(self.information)
        spread = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, cov, rows), 0.0))
        reach = NormalDist().inv_cdf(0.5 + level / 2.0) * spread
        return _chance(middle - reach), _chance(middle + reach)

    def p_value(self, column: int) -> float:
        """Two-sided p-value of a slope by the penalised likelihood ratio, one degree of freedom.

        The null keeps the penalty of the whole design (Heinze and Schemper 2002).
        """
        root = self.root(column)
        return 2.0 * NormalDist().cdf(-abs(root))

    def p_value_above(self, column: int) -> float:
        """One-sided p-value of a slope above zero, from the signed root of the same ratio."""
        return NormalDist().cdf(-self.root(column))

    def root(self, column: int) -> float:
        """Signed root of the likelihood ratio of a slope against zero; about standard normal."""
        root = float(np.sqrt(max(0.0, self.ratio(column, 0.0))))
        return root if self.beta[column] > 0 else -root

    def ratio(self, column: int, value: float) -> float:
        """Twice the drop of the log likelihood when one slope is held at ``value``."""
        held = _newton(self, column, value, self.beta)
        return 2.0 * (self.loglik - held[1])

    def interval(self, column: int, level: float = 0.90) -> tuple[float, float]:
        """Profile likelihood interval of a slope, log odds; an unbounded end is infinite."""
        reach = NormalDist().inv_cdf(0.5 + level / 2.0)
        return _end(self, column, -reach), _end(self, column, reach)


def fit(
    x: ArrayLike,
    y: ArrayLike,
    prior_m: ArrayLike = 0.0,
    firth: bool = False,
    weight: ArrayLike = 1.0,
) -> Fit:
    """Fit chances of ``y`` (n, 0 or 1) on ``x`` (n x p, its first column ones).

    ``weight`` (one, or one a row, >= 0) is what a row counts for.

    ``prior_m`` (one, or one a slope): the slope has a log-F(m, m) prior, worth m/2 events on either
    side (Greenland and Mansournia 2015): its odds ratio lies within 1/648 to 648 (m = 1), 1/39 to
    39 (2), 1/4.4 to 4.4 (8) with 95 %; 0 is none. The first column is never penalised. ``firth``
    takes Jeffreys' penalty (Firth 1993) instead, which centres small records without a belief.
    Raises ValueError for shapes that don't match or columns that depend on each other.
    """
    rows = np.asarray(x, dtype=float)
    event = np.asarray(y, dtype=float)
    if rows.ndim != 2 or event.shape != (rows.shape[0],):
        raise ValueError(f"x is {rows.shape}, y is {event.shape}")
    if np.linalg.matrix_rank(rows) < rows.shape[1]:
        raise ValueError("columns of x depend on each other")
    counts = np.broadcast_to(np.asarray(weight, dtype=float), event.shape)
    prior = np.zeros(rows.shape[1])
    prior[1:] = np.asarray(prior_m, dtype=float)
    start = np.zeros(rows.shape[1])
    share = (event @ counts + 0.5) / (counts.sum() + 1.0)
    start[0] = np.log(share / (1.0 - share))
    empty = Fit(rows, event, counts, prior, firth, start, 0.0, np.eye(len(start)), False)
    beta, loglik, _, converged = _newton(empty, None, 0.0, start)
    inside = _information(empty, beta)
    return Fit(rows, event, counts, prior, firth, beta, loglik, inside, converged)


def _chance(log_odds: Array) -> Array:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * log_odds)))


def _newton(
    model: Fit, column: int | None, value: float, start: Array
) -> tuple[Array, float, Array, bool]:
    """Beta, penalised log likelihood and score at the maximum, one slope held if given."""
    beta = start.copy()
    free = np.ones(len(beta), dtype=bool)
    if column is not None:
        free[column], beta[column] = False, value
    loglik = _loglik(model, beta)
    for _ in range(STEPS):
        score = _score(model, beta)
        inside = _information(model, beta)[np.ix_(free, free)]
        step = np.zeros(len(beta))
        step[free] = np.linalg.lstsq(inside, score[free], rcond=None)[0]
        step *= min(1.0, 5.0 / max(1e-12, float(np.abs(step).max())))
        size = 1.0
        after = _loglik(model, beta + step)
        # What a sum over many rows can't tell from rounding is no loss, and no gain either.
        told = 1e-12 * max(1.0, abs(loglik))
        while after < loglik - told and size > 1e-4:
            size /= 2.0
            after = _loglik(model, beta + size * step)
        beta = beta + size * step
        gain, loglik = after - loglik, after
        if gain < max(1e-10, told) and float(score @ step) < 1e-13 * max(1.0, len(model.y)):
            return beta, loglik, _score(model, beta), True
    return beta, loglik, _score(model, beta), False


def _loglik(model: Fit, beta: Array) -> float:
    log_odds = model.x @ beta
    total = float(model.weight @ (model.y * log_odds - np.logaddexp(0.0, log_odds)))
    total += float(model.prior_m @ (beta / 2.0 - np.logaddexp(0.0, beta)))
    if model.firth:
        total += 0.5 * float(np.linalg.slogdet(_data_information(model, log_odds))[1])
    return total


def _data_information(model: Fit, log_odds: Array) -> Array:
    chance = _chance(log_odds)
    return np.asarray((model.x.T * (model.weight * chance * (1.0 - chance))) @ model.x)


def _information(model: Fit, beta: Array) -> Array:
    prior = _chance(beta)
    data = _data_information(model, model.x @ beta)
    return np.asarray(data + np.diag(model.prior_m * prior * (1.0 - prior)))


def _score(model: Fit, beta: Array) -> Array:
    log_odds = model.x @ beta
    chance = _chance(log_odds)
    left = model.weight * (model.y - chance)
    if model.firth:
        root = model.x * np.sqrt(model.weight * chance * (1.0 - chance))[:, None]
        hat = np.einsum("ij,ij->i", root, root @ np.linalg.pinv(root.T @ root))
        left = left + hat * (0.5 - chance)
    return np.asarray(model.x.T @ left + model.prior_m * (0.5 - _chance(beta)))


def _end(model: Fit, column: int, reach: float) -> float:
    """Where the signed root of the likelihood ratio is ``reach``: Newton steps, kept bracketed."""
    top = float(model.beta[column])
    spread = float(np.sqrt(np.linalg.pinv(model.information)[column, column]))
    side = np.sign(reach)
    at, inner, outer = top + reach * spread, top, top + side * 2.0 * FAR
    beta = model.beta
    for _ in range(40):
        beta, loglik, score, _ = _newton(model, column, at, beta)
        root = side * np.sqrt(max(0.0, 2.0 * (model.loglik - loglik)))
        if abs(root - reach) < 1e-4:
            return float(at)
        if abs(root) < abs(reach):
            inner = at
        else:
            outer = at
        slope = -float(score[column]) / root if root != 0.0 else 0.0
        ahead = at + (reach - root) / slope if slope > 1e-9 else (inner + outer) / 2.0
        within = min(inner, outer) < ahead < max(inner, outer)
        at = ahead if within else (inner + outer) / 2.0
        if abs(inner) > FAR and abs(inner - top) > FAR:
            break
    return float(side * np.inf)
