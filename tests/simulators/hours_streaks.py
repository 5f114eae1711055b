"""Hours by the foot with streaks: a rate a type, economies of size, luck that carries over.

Good and bad weeks follow each other (first-order autoregression), luck is skewed (a shifted gamma),
customers differ, the crew improves along an S and slips after a lay-off, and a share of days loses a
fixed number of hours whatever the size. Written after the model was settled; never tuned on.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from tests.simulators.hours_jobs import (
    TROUBLES,
    TYPES,
    Season,
    blanked,
    described,
    quantiles,
    season_temp_f,
)

CARRY = 0.35


def season(seed: int, pours: int, ahead: int = 10, truth: int = 3000) -> Season:
    rng = np.random.default_rng([4, seed, pours])
    jobs = described(rng, pours + ahead)
    n = len(jobs)
    area = jobs["area"].to_numpy(float)
    rate = {kind: np.exp(rng.normal(np.log(2.6), 0.15)) for kind in TYPES}
    economy = rng.uniform(0.15, 0.35)
    finish = {"broom": 0.75, "float": 0.9, "trowel": 1.0, "hard_trowel": rng.uniform(1.1, 1.4)}
    place = {
        "chute": 0.0,
        "pump": rng.uniform(-1.0, 3.0),
        "wheelbarrow": rng.uniform(0, 6),
        "buggy": rng.uniform(0, 3),
    }
    a_head = rng.uniform(0.0, 1.0)
    customer = dict(
        zip(sorted(set(jobs["site"])), rng.normal(0, 0.06, jobs["site"].nunique()), strict=True)
    )
    gain = rng.uniform(0.0, 0.25)
    place_in_run = np.arange(n) / max(n - 1, 1)
    skill = 1.0 - gain / (1.0 + np.exp(-8 * (place_in_run - rng.uniform(0.2, 0.8))))
    gap = np.diff(
        pd.to_datetime(jobs["date"]).to_numpy().astype("datetime64[D]").astype(int), prepend=0
    )
    skill = skill * np.where((np.arange(n) > 0) & (gap > 10), 1.08, 1.0)
    extra = jobs["placement"].map(place).to_numpy() + a_head * jobs["hands"].to_numpy()
    mean = (
        area / 100 * (area / 800) ** -economy * jobs["slab_type"].map(rate).to_numpy()
        * jobs["finish"].map(finish).to_numpy() * (jobs["thickness"].to_numpy() / 4.5) ** rng.uniform(0.1, 0.5)
        + extra
    ) * skill * np.exp(jobs["site"].map(customer).to_numpy())  # fmt: skip
    shape, scale = rng.uniform(8, 30), rng.uniform(0.05, 0.11)
    bad, lost_h = rng.uniform(0.02, 0.1), rng.uniform(4, 14)
    middle = season_temp_f(jobs["date"])
    temps = middle + rng.normal(0, 8, n)

    def luck(streak: np.ndarray, temp: np.ndarray) -> np.ndarray:
        skewed = rng.gamma(shape, 1 / shape, streak.shape) / (1 - 0.5 / shape)
        cold = 1 + 0.08 * (temp < 38) + 0.06 * (temp > 90)
        return np.exp(scale * streak) * skewed * cold

    streak = np.zeros(n)
    streak[0] = rng.standard_normal()
    for k in range(1, n):
        streak[k] = CARRY * streak[k - 1] + np.sqrt(1 - CARRY**2) * rng.standard_normal()
    day_lost = np.where(rng.random(n) < bad, lost_h * rng.exponential(1.0, n), 0.0)
    hours = mean * luck(streak, temps) + day_lost
    timed = rng.random(n) < rng.choice([0.0, 0.5, 1.0], p=[0.2, 0.4, 0.4])
    frame = blanked(rng, jobs, 0.25)
    split = rng.dirichlet([4, 6, 9, 4], n)
    logged = pd.DataFrame(
        {
            "labor_h": hours * np.where(timed, 1.0, np.exp(rng.normal(0.04, 0.04) + rng.normal(0, 0.12, n))),
            "crew_h": hours / jobs["hands"] / rng.uniform(0.6, 0.9, n),
            "hours_from": np.where(timed, "crew_time", "headcount"),
            "trouble": np.where((day_lost > 0) & (rng.random(n) < 0.6), rng.choice(TROUBLES, n), None),
            **{f"{task}_labor_h": np.where(timed, hours * split[:, c], np.nan)
               for c, task in enumerate(("other", "place", "finish", "wait"))},
            "saw_labor_h": np.where(timed, 0.0, np.nan),
            "air_temp_f": temps,
        }
    )  # fmt: skip
    # What is known ahead is the streak at the record's end, not the days to come.
    path = np.full((truth,), streak[pours - 1])
    many = np.empty((ahead, truth))
    for k in range(ahead):
        path = CARRY * path + np.sqrt(1 - CARRY**2) * rng.standard_normal(truth)
        row = pours + k
        lost = np.where(rng.random(truth) < bad, lost_h * rng.exponential(1.0, truth), 0.0)
        many[k] = mean[row] * luck(path, middle[row] + rng.normal(0, 8, truth)) + lost
    record = pd.concat([frame, logged], axis=1).iloc[:pours]
    return Season(record, frame.iloc[pours:].reset_index(drop=True), hours[pours:], quantiles(many))
