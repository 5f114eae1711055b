"""What coming back may cost on jobs ahead: for bids, and for marking a floor to be looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.callbacks.ahead import call_cost, job_features
from pourstats.learning.callbacks.record import pours_record
from pourstats.learning.callbacks.risk import risk
from pourstats.planning.callbacks import age_limit_min, outlooks, plain

Z90 = 1.6448536269514722


def job_callbacks(
    jobs: pd.DataFrame,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, object],
    evaporation_lb_ft2_h: Sequence[float] | None = None,
    seed: int = 6,
) -> list[dict[str, Any]]:
    """Of each job: the chance that it comes back, what that costs on average, and the reasons.

    ``jobs`` are rows of the log table `jobs`; ``frames`` and ``house`` as callback_picture takes
    them; ``evaporation_lb_ft2_h`` the forecast's mean over the early hours, one a job. A row has
    pour_id, chance with p05 and p95, usual, look_at, reasons (as :func:`outlooks`), cost_usd (the
    mean to set aside in the price, with p05 and p95 of that mean; None where no call is priced),
    each_usd (the same of a floor that does come back) and based_on (pours, called back, calls
    priced: floors called back whose cost is known).
    """
    pours = pours_record(frames, house)
    if not len(pours):
        return [_unknown(str(pour)) for pour in jobs["pour_id"]]
    age_limit = age_limit_min(house)
    found, _ = risk(frames, pours, age_limit)
    values, kinds = job_features(jobs, age_limit, evaporation_lb_ft2_h)
    price = call_cost(pours, seed=seed)
    based_on = {
        "pours": len(pours),
        "called_back": found.called,
        "calls_priced": price.floors if price else 0,
    }
    rng = np.random.default_rng(seed)
    rows = []
    for pour, outlook in zip(jobs["pour_id"], outlooks(found, values, kinds), strict=True):
        cost, each = None, None
        if price:
            each = {"mean": price.mean, **_ends(price.draws)}
            # The chance's interval is symmetric in log odds: its draws are taken there.
            middle, low, high = (_log_odds(outlook[name]) for name in ("chance", "p05", "p95"))
            drawn = middle + (high - low) / (2.0 * Z90) * rng.standard_normal(len(price.draws))
            usd = price.draws / (1.0 + np.exp(-drawn))
            cost = {"mean": outlook["chance"] * price.mean, **_ends(usd)}
        row = {"pour_id": str(pour), **outlook, "cost_usd": cost, "each_usd": each}
        rows.append(plain({**row, "based_on": based_on}))
    return rows


def _ends(usd: NDArray[np.float64]) -> dict[str, float]:
    low, high = np.quantile(usd, [0.05, 0.95])
    return {"p05": float(low), "p95": float(high)}


def _unknown(pour_id: str) -> dict[str, Any]:
    return {
        "pour_id": pour_id, "chance": None, "p05": None, "p95": None, "usual": None,
        "look_at": None, "reasons": [], "cost_usd": None,
        "each_usd": None, "based_on": {"pours": 0, "called_back": 0, "calls_priced": 0},
    }  # fmt: skip


def _log_odds(chance: float) -> float:
    held = min(max(chance, 1e-6), 1.0 - 1e-6)
    return float(np.log(held / (1.0 - held)))
