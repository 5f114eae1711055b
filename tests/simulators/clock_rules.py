"""A season run by rules of thumb: so many percent per ten degrees, in sun, in wind, on plastic.

Different in structure from clock_heat.py: no heat, no drying, multipliers on hourly means, heavy
tails, gaps that shrink from pass to pass. Not tuned on.
"""

from __future__ import annotations

import numpy as np

from tests.simulators import clock_season as shared


def season(n: int, seed: int, draws: int = 200) -> shared.Season:
    """n pours in date order; truth (pour x draw) with the crew's and the mixes' effects known."""
    rng = np.random.default_rng(seed + 10_000)
    frame, weather = shared.jobs(rng, n)
    sites = shared.by_site(weather)
    crew = np.log(150) + 0.18 * rng.normal()
    per_ten = rng.normal(-0.20, 0.03)
    mixes = {m: 0.14 * rng.normal() for m in sorted(set(frame["mix"]))}
    bases = {"soil": -0.03, "stone": -0.05, "vapor_sheet": 0.12, "foam_board": 0.08}
    leads = {lead: 0.07 * rng.normal() for lead in ("A", "B")}
    types = {k: 0.08 * rng.normal() for k in shared.TYPES}
    sunny = {"sun": 1.0, "mixed": 0.5, "shade": 0.1, "indoors": 0.0}
    windy = {"sun": 1.0, "mixed": 0.8, "shade": 0.6, "indoors": 0.0}
    k_sun, k_wind, k_humid = (
        rng.normal(-0.16, 0.04),
        rng.normal(-0.02, 0.006),
        rng.normal(0.004, 0.001),
    )
    sigma = np.exp(rng.normal(np.log(0.12), 0.15))
    first = np.empty((n, draws))
    last = np.empty((n, draws))
    counts = np.empty(n)
    for i, row in frame.iterrows():
        w = shared.at(sites, row["site"], row["place_end"], np.arange(0, 181, 20.0))
        temp = 0.5 * row["concrete_temp"] + 0.5 * w["air_temp"].mean()
        mean = (
            crew
            + per_ten * (temp - 70) / 10
            + 0.008 * max(0.0, 55 - temp)
            + k_sun * sunny[row["exposure"]] * w["sun"].mean() / 600
            + k_wind * windy[row["exposure"]] * (w["wind"].mean() - 7)
            + k_humid * (w["humidity"].mean() - 55)
            + mixes[row["mix"]] + bases[row["base"]] + leads[row["lead"]] + types[row["slab_type"]]
            + 0.04 * (row["slump"] - 5)
        )  # fmt: skip
        noise = rng.standard_t(5, size=draws)
        ready = np.exp(mean + sigma * noise)
        placing = (row["place_end"] - row["place_start"]).total_seconds() / 60
        first[i] = ready - 0.35 * placing + 12
        usual = {"broom": 1, "trowel": 4, "hard_trowel": 6}[row["finish"]]
        passes = np.maximum(usual + rng.integers(-1, 2, draws), 1)
        counts[i] = passes[0]
        total = np.zeros(draws)
        for k in range(passes.max()):
            run = row["area"] / 60.0 * 0.9**k
            slow = np.exp(0.8 * (mean - crew) + 0.25 * rng.normal(size=draws))
            gap = 0.0 if k == 0 else 38 * 0.88**k * slow
            total = total + np.where(k < passes, run * 0.5 + gap, 0.0)
        last[i] = first[i] + total
    return shared.logged(frame, weather, first, last, counts, rng)
