"""Hours as a power of size times factors, with t-distributed luck: no parts that add up.

Each slab type has a size exponent of its own; tasks are a random split of the total; the crew's
level jumps now and then instead of walking. Looked at while
the noise was chosen, so only partly unseen.
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


def season(seed: int, pours: int, ahead: int = 10, truth: int = 3000) -> Season:
    rng = np.random.default_rng([2, seed, pours])
    jobs = described(rng, pours + ahead)
    n = len(jobs)
    size = np.log(jobs["area"].to_numpy() / 800)
    exponent = {kind: rng.normal(0.72, 0.05) for kind in TYPES}
    kind = {name: rng.normal(0, 0.12) for name in TYPES}
    place = {
        "chute": 0.0,
        "pump": rng.normal(0.03, 0.08),
        "wheelbarrow": rng.normal(0.25, 0.1),
        "buggy": rng.normal(0.12, 0.1),
    }
    finish = {"broom": -0.35, "float": -0.15, "trowel": 0.0, "hard_trowel": 0.2}
    finish = {name: value + rng.normal(0, 0.1) for name, value in finish.items()}
    lead = {name: rng.normal(0, 0.08) for name in "ABC"}
    steel = {"none": 0.0, "fiber": rng.normal(0, 0.03), "rebar": rng.normal(0.08, 0.05)}
    by_thickness, by_hands = rng.normal(0.35, 0.12), rng.normal(0.25, 0.12)
    warmth = rng.normal(-0.03, 0.03)
    jumps = np.cumsum((rng.random(n) < 0.03) * rng.normal(-0.03, 0.15, n))
    learn = -max(0.0, rng.normal(0.03, 0.04)) * np.log(np.arange(n) + rng.integers(1, 30))
    middle = season_temp_f(jobs["date"])
    temps = middle + rng.normal(0, 9, n)
    level = rng.normal(np.log(26), 0.3) - jumps[-1] - learn[-1]
    known = (
        level + jumps + learn + np.array([exponent[k] for k in jobs["slab_type"]]) * size
        + jobs["slab_type"].map(kind) + jobs["placement"].map(place) + jobs["finish"].map(finish)
        + jobs["lead"].map(lead) + jobs["reinforcement"].map(steel)
        + by_thickness * np.log(jobs["thickness"] / 4.5) + by_hands * np.log(jobs["hands"] / 4)
    ).to_numpy()  # fmt: skip
    scale, freedom, share = rng.uniform(0.1, 0.2), rng.uniform(3, 8), rng.uniform(0.0, 0.08)

    def luck(temp):
        wreck = (rng.random(temp.shape) < share) * rng.uniform(0.2, 0.9, temp.shape)
        return warmth * (temp - 60) / 10 + scale * rng.standard_t(freedom, temp.shape) + wreck

    hours = np.exp(known + luck(temps))
    split = np.column_stack(
        [
            0.18 + 0 * size,
            0.22 + 0.05 * size,
            0.4 + 0.03 * size,
            0.15 - 0.03 * size,
            0.06 + 0 * size,
        ]
    )
    split = np.clip(split, 0.03, None) * np.where(
        jobs["saw_type"].eq("none").to_numpy()[:, None], [1, 1, 1, 1, 0], 1
    )
    split = np.array([rng.dirichlet(30 * row + 1e-3) for row in split])
    timed = rng.random(n) < rng.choice([0.0, 0.5, 1.0], p=[0.15, 0.35, 0.5])
    rough = rng.normal(0.06, 0.05) + rng.normal(0, 0.1, n)
    frame = blanked(rng, jobs, 0.25)
    logged = pd.DataFrame(
        {
            "labor_h": hours * np.where(timed, 1.0, np.exp(rough)),
            "crew_h": hours / jobs["hands"] / rng.uniform(0.65, 0.9, n),
            "hours_from": np.where(timed, "crew_time", "headcount"),
            "trouble": np.where(rng.random(n) < 0.06, rng.choice(TROUBLES, n), None),
            **{f"{task}_labor_h": np.where(timed, hours * split[:, c], np.nan)
               for c, task in enumerate(("other", "place", "finish", "wait", "saw"))},
        }
    )  # fmt: skip
    if rng.random() < 0.6:
        logged["air_temp_f"] = temps
    many = known[pours:, None] + luck(middle[pours:, None] + rng.normal(0, 9, (ahead, truth)))
    record = pd.concat([frame, logged], axis=1).iloc[:pours]
    return Season(
        record, frame.iloc[pours:].reset_index(drop=True), hours[pours:], quantiles(np.exp(many))
    )
