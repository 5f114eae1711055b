"""How long the models take to learn 5,000 pours, beside scikit-learn on as many rows.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_fit.py

The reference, in the same run: a quantile gradient boosting fit (median only) of 5,000 rows and 12
columns.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pourstats.learning import clock
from pourstats.learning.hours import hours_model
from tests.simulators import clock_rules, hours_ratebook


def took(what: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds of the second of two calls, and its result: the first pays for imports."""
    what()
    began = time.perf_counter()
    result = what()
    return time.perf_counter() - began, result


def main() -> None:
    """Print seconds and ratios."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    rng = np.random.default_rng(1)
    x, y = rng.normal(size=(5000, 12)), rng.normal(size=5000)
    reference, _ = took(
        lambda: HistGradientBoostingRegressor(loss="quantile", quantile=0.5).fit(x, y)
    )
    record = hours_ratebook.season(1, 5000, truth=5).record
    hours_s, model = took(lambda: hours_model(record))
    jobs = hours_ratebook.season(2, 40, truth=5).jobs
    draws_s, _ = took(lambda: model.draws(jobs.head(2)))
    print(f"scikit-learn boosting, 5,000 rows {reference:.2f} s")
    print(f"hours: fit {hours_s:.2f} s (x {hours_s / reference:.1f}), two jobs {draws_s:.3f} s")
    season = clock_rules.season(5000, 3, draws=1)
    frames = (season.pours, season.passes, None, season.weather, season.sites)
    clock_s, fitted = took(lambda: clock.fit(*frames))
    ahead = season.pours.tail(2)
    jobs_s, _ = took(lambda: fitted.forecast(ahead, season.weather))
    told = (
        f"clock: fit of {len(season.pours):,} pours {clock_s:.2f} s (x {clock_s / reference:.1f})"
    )
    print(f"{told}, two jobs {jobs_s:.3f} s")


if __name__ == "__main__":
    main()
