"""Recommended spacing against the best on a fine grid of the true process.

Fifty jobs of crews and plants invented anew, each learned from forty logged pours:
    python tests/benchmarks/bench_trucks.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.planning import trucks
from tests.simulators.trucks_yard import Yard, split, times, true_cost

HOUSE = {"default_pay": 28.0, "truck_wait_usd_per_min": 2.0}


def jobs(seeds: range, free_min: float, pours: int = 40) -> np.ndarray:
    """Cost of the recommended spacing, the least, and both spacings; a job of two loads or more."""
    found = []
    for seed in seeds:
        yard = Yard.invented(seed)
        logged, loads = yard.log(pours)
        frames = {"pours": logged, "trucks": loads, "truck_times": times(logged, loads)}
        job = yard.job("J")
        while job["area"] * job["thickness"] / 324 < 15:
            job = yard.job("J")
        house = HOUSE | {"free_min_per_yd3": free_min}
        told = trucks.trucks(pd.DataFrame([job]), frames, house)["jobs"][0]
        yd3, balance = trucks.loads(told["order_yd3"])
        assert yd3.size == split(told["order_yd3"]).size
        grid = np.arange(2.0, 150.0, 1.0)
        cost = true_cost(yard, job, yd3, grid, told["idle_usd_per_min"], 2.0, free_min, balance)
        own = float(np.interp(told["spacing_min"], grid, cost))
        found.append((own, cost.min(), told["spacing_min"], grid[np.argmin(cost)]))
    return np.array(found)


def main() -> None:
    for free_min in (10.0, 6.0, 0.0):
        began = time.process_time()
        found = jobs(range(50), free_min)
        ratio = found[:, 0] / found[:, 1]
        print(
            f"free {free_min:g} min/yd3, {len(found)} jobs: all together"
            f" {found[:, 0].sum() / found[:, 1].sum():.4f} of the least cost, mean of ratios"
            f" {ratio.mean():.4f}, within 5 %: {np.mean(ratio <= 1.05):.2f},"
            f" worst {ratio.max():.3f}, {time.process_time() - began:.0f} s"
        )


if __name__ == "__main__":
    sys.exit(main())
