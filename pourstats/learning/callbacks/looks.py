"""Several looks at one record: which may be believed, and how many pours the others need."""

from __future__ import annotations

from math import log
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

FALSE_SHARE = 0.05
"""Of what is told of, the share that may be luck (false discovery rate). With nothing in it at all
it is the chance that anything is told of."""
DOUBLED = 2.0
"""The odds ratio that a record should be able to show before it is called silent on a habit."""
TRIPLED = 3.0
"""A strong habit, for comparison."""
POWER = 0.8


def stand_out(p_values: ArrayLike, false_share: float = FALSE_SHARE) -> NDArray[np.bool_]:
    """Which of several p-values stand at this false discovery rate (Benjamini, Hochberg 1995).

    1-D, each 0 to 1. Holds for looks that are independent or lean the same way.
    """
    values = np.asarray(p_values, dtype=float)
    order = np.argsort(values, kind="stable")
    within = values[order] <= false_share * np.arange(1, len(values) + 1) / max(1, len(values))
    found = np.zeros(len(values), dtype=bool)
    if within.any():
        found[order[: int(np.flatnonzero(within)[-1]) + 1]] = True
    return found


def pours_needed(
    rate: float,
    variance: float,
    looks: int,
    tied: float = 0.0,
    odds_ratio: float = DOUBLED,
    false_share: float = FALSE_SHARE,
    power: float = POWER,
) -> float:
    """Pours at which such an effect is told of with this power, after the correction.

    ``rate`` of pours called back, ``variance`` of the feature (share x (1 - share) for yes and no),
    ``tied`` the share of that variance that the other features explain (R2); ``looks`` are the
    features looked at, of which this one is first in line: its one-sided level is false_share /
    looks.
    From the information of a logistic slope (Hsieh, Bloch and Larsen 1998, Stat. Med. 17); near
    rates and shares of 0 or 1 it is rough. Infinite where the feature doesn't vary.
    """
    normal = NormalDist()
    reach = normal.inv_cdf(1.0 - false_share / max(1, looks)) + normal.inv_cdf(power)
    information = rate * (1.0 - rate) * variance * (1.0 - tied) * log(odds_ratio) ** 2
    return reach**2 / information if information > 0.0 else float("inf")
