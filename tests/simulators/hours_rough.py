"""Hours of rougher crews: nobody logs tasks, and each season breaks one rule of the usual ones.

By the seed in turn: luck that adds hours whatever the size (Student's t, 5 degrees of freedom); one
lasting shift of the crew's level somewhere in the record; weeks that are alike (0.7 from pour to
pour); one day in ten to one in four wrecked. Written after the model was settled; never tuned on.
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
)

KINDS = ("added", "shift", "alike", "wrecked")
CARRY, STREAK = 0.7, 0.12


def season(seed: int, pours: int, ahead: int = 10, truth: int = 3000) -> Season:
    kind = KINDS[seed % len(KINDS)]
    rng = np.random.default_rng([5, seed, pours])
    jobs = described(rng, pours + ahead)
    n = len(jobs)
    yards = jobs["area"].to_numpy(float) * jobs["thickness"].to_numpy(float) / 324.0
    place = {"chute": 0.45, "pump": 0.4, "wheelbarrow": 0.9, "buggy": 0.7}
    finish = {"broom": 0.5, "float": 0.7, "trowel": 1.1, "hard_trowel": 1.6}
    of_type = {word: np.exp(rng.normal(0, 0.15)) for word in TYPES}
    mean = (
        rng.uniform(1, 5)
        + yards * jobs["placement"].map(place).to_numpy() * np.exp(rng.normal(0, 0.25))
        + jobs["area"].to_numpy(float) / 100.0 * jobs["finish"].map(finish).to_numpy()
        * np.exp(rng.normal(0, 0.25))
        + jobs["hands"].to_numpy(float) * rng.uniform(0.2, 1.0)
    ) * jobs["slab_type"].map(of_type).to_numpy()  # fmt: skip
    if kind == "shift":
        mean[int(rng.integers(2, pours)) :] *= np.exp(rng.choice([-1, 1]) * rng.uniform(0.1, 0.3))
    scatter = 0.08 if kind == "alike" else 0.12
    added_h, bad = rng.uniform(1.5, 3.5), rng.uniform(0.1, 0.25) if kind == "wrecked" else 0.03

    def told(expected: np.ndarray, streak: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Hours, and which days were wrecked, of jobs by draws."""
        size = streak.shape
        hours = np.broadcast_to(expected, size) * np.exp(STREAK * streak)
        if kind == "added":
            hours = np.maximum(hours + added_h * rng.standard_t(5, size), 0.3 * hours)
        else:
            hours = hours * np.exp(scatter * rng.standard_normal(size))
        wrecked = rng.random(size) < bad
        return hours * np.where(wrecked, np.exp(rng.uniform(0.1, 0.8, size)), 1.0), wrecked

    streak = np.zeros((n, 1))
    if kind == "alike":
        streak[0] = rng.standard_normal()
        for k in range(1, n):
            streak[k] = CARRY * streak[k - 1] + np.sqrt(1 - CARRY**2) * rng.standard_normal()
    hours, wrecked = (found[:, 0] for found in told(mean[:, None], streak))
    timed = rng.random(n) < rng.choice([0.0, 0.5, 1.0], p=[0.2, 0.4, 0.4])
    frame = blanked(rng, jobs, 0.25)
    reading = np.exp(rng.normal(0.04, 0.04) + rng.normal(0, 0.1, n))
    logged = pd.DataFrame(
        {
            "labor_h": hours * np.where(timed, 1.0, reading),
            "crew_h": hours / jobs["hands"] / rng.uniform(0.6, 0.9, n),
            "hours_from": np.where(timed, "crew_time", "headcount"),
            "trouble": np.where(wrecked & (rng.random(n) < 0.5), rng.choice(TROUBLES, n), None),
        }
    )
    # What is known ahead is the streak at the record's end, not the days to come.
    many = np.empty((ahead, truth))
    path = np.full(truth, streak[pours - 1, 0])
    for k in range(ahead):
        if kind == "alike":
            path = CARRY * path + np.sqrt(1 - CARRY**2) * rng.standard_normal(truth)
        many[k] = told(mean[[pours + k], None], path[None])[0][0]
    record = pd.concat([frame, logged], axis=1).iloc[:pours]
    return Season(record, frame.iloc[pours:].reset_index(drop=True), hours[pours:], quantiles(many))
