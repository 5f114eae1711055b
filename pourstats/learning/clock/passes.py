"""The passes after the first: how many, how long until the last is off, where each begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.clock import features
from pourstats.learning.clock.conditions import Conditions, number, words
from pourstats.learning.clock.physics import Ready
from pourstats.learning.clock.record import Record
from pourstats.learning.clock.regression import Group, Posterior
from pourstats.learning.clock.regression import fit as regression
from pourstats.learning.draws import stream

Array = NDArray[np.float64]

MOST = 10
USUAL_COUNT: dict[str, dict[int, float]] = {
    "broom": {1: 0.55, 2: 0.35, 3: 0.10},
    "float": {1: 0.25, 2: 0.50, 3: 0.25},
    "trowel": {3: 0.15, 4: 0.25, 5: 0.35, 6: 0.20, 7: 0.05},
    "hard_trowel": {4: 0.10, 5: 0.25, 6: 0.35, 7: 0.20, 8: 0.10},
}
"""Passes by finish before the record says: about five on a basement floor, common practice without
a source; more for hard and repeated troweling (ACI 302.1R classes 5 and 6)."""
INDOOR_KINDS = ("basement", "garage", "shop", "warehouse")
COUNT_STRENGTH = 3.0
"""How many pours the usual counts, and a finish's own over its slab types, are worth."""
TOTAL_NOISE = 0.22
USUAL_PASSES = 4.0
USUAL_WAIT_SHARE = 0.6
"""Where the columns of the passes' number, and of the share of waiting, are zero."""


@dataclass(frozen=True)
class Passes:
    """What the record says of the passes after the first."""

    posterior: Posterior
    levels: features.Levels
    by_finish: dict[str, Array]
    by_kind: dict[tuple[str, str], Array]
    bend: float
    scatter: float
    rows: int


@dataclass(frozen=True)
class Later:
    """Draws of the later passes."""

    count: NDArray[np.int64]
    total_min: Array
    share: Array
    """(job x draw x pass): share of the way at which a pass begins, NaN beyond the count."""


def passes_of(
    kept: Record, found: Conditions, science: Ready, surprise: Array, seed: int
) -> Passes:
    """Learn number, length and spacing of the passes from a record."""
    finish, kind = _finishes(found), words(found.frame, "slab_type")
    counted = np.round(kept.count)
    by_finish: dict[str, Array] = {}
    by_kind: dict[tuple[str, str], Array] = {}
    for i in np.flatnonzero(counted >= 1):
        place = int(min(counted[i], MOST)) - 1
        by_finish.setdefault(finish[i], np.zeros(MOST))[place] += 1
        by_kind.setdefault((finish[i], kind[i]), np.zeros(MOST))[place] += 1

    levels = features.Levels.of(found)
    total = (kept.last_h - kept.start_h) * 60.0
    usable = ~np.isnan(total) & (total >= 3.0) & (total < 2000.0) & ~kept.held
    pairs = list(zip(finish, kind, strict=True))
    usual = {pair: _mean_count(by_finish, by_kind, *pair) for pair in set(pairs)}
    expected = np.array([usual[pair] for pair in pairs])
    number_of = np.where(counted >= 1, counted, expected) if found.count else counted
    columns, groups, offset = _columns(found, science, levels, number_of, surprise)
    usable &= ~np.isnan(columns).any(axis=1)
    y = np.log(np.maximum(total, 3.0)) - offset
    posterior = regression(
        columns[usable],
        y[usable],
        groups,
        noise=TOTAL_NOISE,
        noise_factor=_slack(offset)[usable],
        seed=seed,
        name="later passes",
    )
    bend, scatter = _spacing(kept)
    return Passes(posterior, levels, by_finish, by_kind, bend, scatter, int(usable.sum()))


def pass_draws(
    model: Passes, found: Conditions, science: Ready, surprise: Array, k: int, seed: int
) -> Later:
    """Number, length and spacing of the passes (job x draw), given how late the first one is."""
    n = found.count
    finish, kind = _finishes(found), words(found.frame, "slab_type")
    rng = stream(seed, "passes")
    count = np.empty((n, k), dtype=np.int64)
    for i in range(n):
        odds = _count_odds(model.by_finish, model.by_kind, finish[i], kind[i])
        count[i] = 1 + np.searchsorted(np.cumsum(odds)[:-1], rng.random(k))
    fixed = features.table(found, science, model.levels, doubts=False).columns
    effects = model.posterior.effects[:, :k]
    of_balance, of_count, of_surprise = effects[fixed.shape[1] :]
    offset = _offset(found, science, count)
    log_total = (
        offset
        + fixed @ effects[: fixed.shape[1]]
        + of_balance * (_wait_share(found, science, count) - USUAL_WAIT_SHARE)
        + of_count * np.log(count / USUAL_PASSES)
        + of_surprise * surprise
    )
    shock = rng.standard_t(model.posterior.tail, size=(n, k))
    log_total = log_total + _slack(offset) * model.posterior.noise[:k] * shock
    total = np.exp(np.clip(log_total, np.log(3.0), np.log(2000.0)))
    order = np.arange(MOST)
    share = (order / count[:, :, None]) ** model.bend
    share = np.clip(share + model.scatter * rng.normal(size=share.shape) * (order > 0), 0.0, 0.97)
    share = np.sort(np.where(order < count[:, :, None], share, np.inf), axis=2)
    share = np.where(np.isinf(share), np.nan, share)
    if n:
        share[:, :, 0] = 0.0
    return Later(count, total, share)


def _columns(
    found: Conditions, science: Ready, levels: features.Levels, count: Array, surprise: Array
) -> tuple[Array, tuple[Group, ...], Array]:
    table = features.table(found, science, levels, doubts=False)
    groups = list(table.groups)
    groups[0] = Group("habit", groups[0].start, groups[0].stop, 0.35)
    wide = {"weather": 1.3, "place": 1.6, "size": 2.0}
    groups = [
        Group(g.name, g.start, g.stop, g.scale * wide.get(g.name, 1.0), g.doubt, g.weights)
        for g in groups
    ]
    p = table.columns.shape[1]
    balance = _wait_share(found, science, count)
    known = np.where(np.isnan(surprise), 0.0, surprise)
    many = np.log(np.maximum(count, 1.0) / USUAL_PASSES)
    more = np.stack([balance - USUAL_WAIT_SHARE, many, known], axis=1)
    groups.append(Group("balance", p, p + 1, 0.3))
    groups.append(Group("count", p + 1, p + 2, 0.25))
    groups.append(Group("surprise", p + 2, p + 3, 0.4))
    return (
        np.concatenate([table.columns, more], axis=1),
        tuple(groups),
        _offset(found, science, count),
    )


def _parts(
    found: Conditions, science: Ready, count: Array | NDArray[np.int64]
) -> tuple[Array, Array]:
    """Minutes of waiting for the concrete, and of running the machine, over all passes.

    ``count`` is (slab) or (slab x draw); so are the minutes.
    """
    shape = (found.count,) + (1,) * (count.ndim - 1)
    slow = np.exp(science.later_log_h).reshape(shape)
    wait = 0.9 * slow * 60.0 * np.maximum(count - 0.6, 0.2) / 4.4
    machines = np.maximum(number(found.frame, "finish_hands", 2.0) / 2.5, 1.0)
    # A walk-behind covers some 4,000 ft2 an hour, plus the edges; larger slabs get larger machines
    # (common practice, no source).
    run = 4.0 + 14.0 * (number(found.frame, "area", 1000.0) / 1000.0) ** 0.6 / machines
    return np.asarray(wait), np.asarray(run.reshape(shape) * count)


def _offset(found: Conditions, science: Ready, count: Array | NDArray[np.int64]) -> Array:
    wait, run = _parts(found, science, count)
    return np.asarray(0.5 * np.log(wait**2 + run**2))


def _wait_share(found: Conditions, science: Ready, count: Array | NDArray[np.int64]) -> Array:
    wait, run = _parts(found, science, count)
    return np.asarray(wait / (wait + run))


def _slack(log_total: Array) -> Array:
    return np.asarray(np.sqrt(1.0 + (6.0 / TOTAL_NOISE / np.exp(log_total)) ** 2))


def _finishes(found: Conditions) -> list[str]:
    finish, kind = words(found.frame, "finish"), words(found.frame, "slab_type")
    usual = ["trowel" if k in INDOOR_KINDS else "broom" for k in kind]
    return [f if f in USUAL_COUNT else u for f, u in zip(finish, usual, strict=True)]


def _count_odds(
    by_finish: dict[str, Array], by_kind: dict[tuple[str, str], Array], finish: str, kind: str
) -> Array:
    """Chance of 1, 2, … passes: the usual ones, then the finish's own, then the slab type's."""
    usual = np.zeros(MOST)
    for passes, chance in USUAL_COUNT[finish].items():
        usual[passes - 1] = chance
    usual = (usual + 0.002) / (1.0 + 0.002 * MOST)
    own = by_finish.get(finish, np.zeros(MOST))
    odds = (COUNT_STRENGTH * usual + own) / (COUNT_STRENGTH + own.sum())
    narrow = by_kind.get((finish, kind), np.zeros(MOST))
    return np.asarray((COUNT_STRENGTH * odds + narrow) / (COUNT_STRENGTH + narrow.sum()))


def _mean_count(
    by_finish: dict[str, Array], by_kind: dict[tuple[str, str], Array], finish: str, kind: str
) -> float:
    return float(_count_odds(by_finish, by_kind, finish, kind) @ np.arange(1, MOST + 1))


def _spacing(kept: Record) -> tuple[float, float]:
    """How the starts spread over the time: the bend of (pass - 1) / passes, and the scatter."""
    rows = [(j, n, s) for j, n, s in kept.fractions if 0.02 < s < 0.98]
    usual, strength = 0.9, 8.0
    if not rows:
        return usual, 0.05
    even = np.array([j - 1 for j, _, _ in rows]) / np.array([n for _, n, _ in rows])
    seen = np.array([s for _, _, s in rows])
    bends = np.clip(np.log(seen) / np.log(even), 0.3, 3.0)
    bend = float((strength * usual + bends.sum()) / (strength + bends.size))
    scatter = float(np.sqrt((8 * 0.05**2 + np.sum((seen - even**bend) ** 2)) / (8 + seen.size)))
    return bend, min(scatter, 0.15)
