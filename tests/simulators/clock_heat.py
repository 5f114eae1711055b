"""A season in which a lump of concrete warms, dries and stiffens minute by minute.

The one to tune on. Its constants are its own: none is taken from the package.
"""

from __future__ import annotations

from math import exp

import numpy as np

from tests.simulators import clock_season as shared


def season(n: int, seed: int, draws: int = 200) -> shared.Season:
    """n pours in date order; truth (pour x draw) with the crew's and the mixes' effects known."""
    rng = np.random.default_rng(seed)
    frame, weather = shared.jobs(rng, n)
    sites = shared.by_site(weather)
    crew = 2.7 * 60 * np.exp(0.15 * rng.normal())
    energy = rng.normal(30_000, 3_000)
    mixes = {
        m: 0.12 * rng.normal() + (0.12 if "ash" in m else 0) for m in sorted(set(frame["mix"]))
    }
    leads = {lead: 0.05 * rng.normal() for lead in ("A", "B")}
    drying = rng.normal(1.0, 0.3)
    sun_on = {"sun": 0.6, "mixed": 0.33, "shade": 0.1, "indoors": 0.0}
    wind_on = {"sun": 0.5, "mixed": 0.4, "shade": 0.3, "indoors": 0.05}
    base_w = {"soil": 9.0, "stone": 7.0, "vapor_sheet": 8.0, "foam_board": 1.5}
    step = 5.0
    minutes = np.arange(0, 16 * 60, step)
    pass_goal = rng.normal(0.20, 0.02)
    chase = np.clip(rng.normal(0.5, 0.15), 0, 1)
    first = np.empty((n, draws))
    last = np.empty((n, draws))
    counts = np.empty(n)
    for i, row in frame.iterrows():
        w = shared.at(sites, row["site"], row["place_end"], minutes)
        day = shared.at(sites, row["site"], row["place_end"], np.arange(-1440.0, 0, 60))
        air, wind = (w["air_temp"] - 32) / 1.8, w["wind"] * 0.447 * wind_on[row["exposure"]]
        ground = (day["air_temp"].mean() - 32) / 1.8 - 1.5
        if row["exposure"] == "indoors":
            air = 0.6 * air + 0.4 * ground
        temp, lag = (row["concrete_temp"] - 32) / 1.8, 2.3e6 * row["thickness"] * 0.0254
        rate = np.empty(minutes.size)
        dried = 0.0
        film = np.empty(minutes.size)
        air, wind, humid, sun = (x.tolist() for x in (air, wind, w["humidity"], w["sun"]))
        for k in range(minutes.size):
            es = 0.611 * exp(17.3 * temp / (temp + 237))
            ea = 0.611 * exp(17.3 * air[k] / (air[k] + 237)) * humid[k] / 100
            evap = max(0.0, (es - ea) * (0.08 + 0.07 * wind[k]))
            dried += evap * step / 60
            film[k] = dried
            heat = (
                (air[k] - temp) * (9 + 4 * wind[k])
                + sun_on[row["exposure"]] * sun[k]
                - 500 * evap
                + (ground - temp) * base_w[row["base"]]
                + 45 * min(1, (k * step + 60) / 240)
            )
            temp += heat * step * 60 / lag
            rate[k] = exp(-energy / 8.314 * (1 / (temp + 273) - 1 / 294.3)) * (
                1 + 0.5 * drying * evap
            )
        age = np.cumsum(rate) * step
        effect = mixes[row["mix"]] + leads[row["lead"]] + 0.05 * (row["slump"] - 5)
        z = rng.normal(size=draws)
        goal = crew * np.exp(effect + 0.10 * z)
        stiff = np.interp(goal, age, minutes)
        bleed = 0.25 * row["thickness"] / 4 * np.exp(0.1 * (row["slump"] - 5))
        if row["base"] == "vapor_sheet":
            bleed *= 1.4
        dry = np.interp(bleed, film, minutes, right=1e9)
        ready = np.maximum(stiff, np.minimum(dry, 1.3 * stiff))
        placing = (row["place_end"] - row["place_start"]).total_seconds() / 60
        first[i] = ready - chase * max(0.0, placing - 45) + 8 * rng.normal(size=draws)
        usual = {"broom": 1, "trowel": 4, "hard_trowel": 6}[row["finish"]]
        passes = np.full(draws, usual)
        if row["finish"] != "broom":
            passes = passes + rng.integers(-1, 2, draws)
        counts[i] = passes[0]
        run = row["area"] / (90.0 if row["area"] > 2000 else 45.0)
        reached = np.interp(ready, minutes, age)
        after = np.interp(
            reached + pass_goal * crew * (passes - 0.5) * np.exp(0.12 * rng.normal(size=draws)),
            age,
            minutes,
        )
        last[i] = np.maximum(first[i] + after - ready, first[i] + passes * run * 0.5) + 0.7 * run
    return shared.logged(frame, weather, first, last, counts, rng)
