"""Hours as an estimator's rate book would have them: tasks by quantity, each with gamma luck.

Tasks vary independently, passes are counted out, a bad day multiplies one task; winter and heat
cost extra; learning is Wright's curve up to a floor. Looked at
while the noise was chosen, so only partly unseen.
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

TASKS = ("other", "place", "finish", "wait", "saw")


def season(seed: int, pours: int, ahead: int = 10, truth: int = 3000) -> Season:
    rng = np.random.default_rng([3, seed, pours])
    jobs = described(rng, pours + ahead)
    n = len(jobs)
    area = jobs["area"].to_numpy(float)
    volume = area * jobs["thickness"].to_numpy() / 324
    yard = rng.uniform(0.35, 1.0)
    method = {
        "chute": 1.0,
        "pump": rng.uniform(0.8, 1.3),
        "wheelbarrow": rng.uniform(1.4, 2.4),
        "buggy": rng.uniform(1.1, 1.7),
    }
    hundred = {
        "broom": rng.uniform(0.3, 0.8),
        "float": rng.uniform(0.5, 1.0),
        "trowel": rng.uniform(0.7, 1.4),
    }
    hundred["hard_trowel"] = hundred["trowel"] * rng.uniform(1.1, 1.8)
    kind = {name: np.exp(rng.normal(0, 0.1)) for name in TYPES}
    lead = {name: np.exp(rng.normal(0, 0.06)) for name in "ABC"}
    fixed, each_hand = rng.uniform(1, 5), rng.uniform(0.3, 1.0)
    stand_by = rng.uniform(0.3, 1.5)
    foot = rng.uniform(0.8, 2.0) / 100
    start = rng.integers(0, 60)
    ratio = rng.uniform(0.88, 1.0)
    learned = np.maximum(
        (np.arange(n) + 1.0 + start) ** np.log2(ratio) / (1.0 + start) ** np.log2(ratio), 0.75
    )
    tide = rng.normal(0, 0.06) * np.sin(np.arange(n) / rng.uniform(15, 60))
    expect = {
        "other": fixed + each_hand * jobs["hands"].to_numpy() + 0.1 * area / 100,
        "place": yard * volume * jobs["placement"].map(method) * np.where(jobs["reinforcement"] == "rebar", 1.12, 1.0),
        "finish": area / 100 * jobs["finish"].map(hundred),
        "wait": stand_by * jobs["finish_hands"].to_numpy(),
        "saw": jobs["saw_length"].to_numpy() * foot,
    }  # fmt: skip
    whole = (
        np.exp(tide)
        * learned
        * jobs["slab_type"].map(kind).to_numpy()
        * jobs["lead"].map(lead).to_numpy()
    )
    shape = {
        "other": 12,
        "place": rng.uniform(10, 40),
        "finish": rng.uniform(12, 50),
        "wait": 3,
        "saw": 15,
    }
    wreck, together = rng.uniform(0, 0.1), rng.uniform(0.03, 0.1)
    middle = season_temp_f(jobs["date"])

    def tasks(rows, temp):
        """Tasks x rows x versions."""
        found, n_versions = {}, temp.shape
        hurt = rng.random(n_versions) < wreck
        which = rng.integers(0, 3, n_versions)
        shared = np.exp(rng.normal(0, together, n_versions))
        weather = 1 + 0.006 * np.maximum(45 - temp, 0) + 0.006 * np.maximum(temp - 85, 0)
        for c, task in enumerate(TASKS):
            mean = np.asarray(expect[task])[rows][:, None] * whole[rows][:, None] * shared * weather
            if task == "wait":
                mean = mean * np.exp(-0.02 * (temp - 65))
            hours = mean * rng.gamma(shape[task], 1 / shape[task], n_versions)
            if task == "finish":
                hours = hours * (1 + 0.12 * (rng.poisson(1.0, n_versions) - 1))
            found[task] = np.where(
                hurt & (which == c), hours * rng.uniform(1.8, 3.5, n_versions), hours
            )
        return found

    temps = middle + rng.normal(0, 8, n)
    done = {name: value[:, 0] for name, value in tasks(np.arange(n), temps[:, None]).items()}
    hours = sum(done.values())
    timed = rng.random(n) < rng.choice([0.0, 0.4, 1.0], p=[0.15, 0.35, 0.5])
    high = np.exp(rng.normal(0.08, 0.05) + rng.normal(0, 0.09, n))
    frame = blanked(rng, jobs, 0.25)
    logged = pd.DataFrame(
        {
            "labor_h": hours * np.where(timed, 1.0, high),
            "crew_h": hours / jobs["hands"] / rng.uniform(0.6, 0.95, n),
            "hours_from": np.where(timed, "crew_time", "headcount"),
            "trouble": np.where(rng.random(n) < 0.08, rng.choice(TROUBLES, n), None),
            **{f"{task}_labor_h": np.where(timed, done[task], np.nan) for task in TASKS},
        }
    )  # fmt: skip
    if rng.random() < 0.6:
        logged["air_temp_f"] = temps
    rows = np.arange(pours, n)
    many = sum(tasks(rows, middle[rows][:, None] + rng.normal(0, 8, (ahead, truth))).values())
    record = pd.concat([frame, logged], axis=1).iloc[:pours]
    return Season(record, frame.iloc[pours:].reset_index(drop=True), hours[pours:], quantiles(many))
