"""How far apart to order loads: what to try, and which of them to take."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.unloading import JobLoads

Array = NDArray[np.float64]

TOO_OLD = 0.1
"""Chance of a load past its age from which it is spoken of."""
FRESH_WITHIN, FRESH_USD = 0.03, 2.0
"""What fresher concrete may cost over the cheapest spacing: a share of it, or so many dollars."""
FIRST = 6
"""Loads after which a crew knows how fast it goes that day. Common practice, no source."""
WITHIN = 0.01
"""A spacing in round five minutes is taken if it costs at most this share more than the best."""


def spacings(yd3: Array, drawn: JobLoads) -> Array:
    """Spacings to try, whole minutes: from a third of a load's usual turn to twice a slow one."""
    turn = drawn.unload_min[:, 0] + drawn.change_min[:, 0]
    low = max(3.0, np.floor(np.quantile(turn, 0.2) / 3.0))
    high = np.ceil(np.quantile(turn, 0.95) * 2.0) + 10.0
    step = max(1.0, round((high - low) / 90.0))
    return np.arange(low, high + step, step)


def told_sooner(
    yd3: Array,
    drawn: JobLoads,
    spacing: float,
    cost_usd: Callable[[float, Array, JobLoads], float],
) -> str | None:
    """What to say of many loads, whose doubt adds up; None for a few, or where it moves nothing.

    A spacing holds for the whole job, though after the first loads the crew knows how fast it goes
    and can tell the plant. ``cost_usd`` is what a spacing of some loads costs.
    """
    if yd3.size <= FIRST:
        return None
    few = JobLoads(**{name: getattr(drawn, name)[:, :FIRST] for name in drawn.__dataclass_fields__})
    tried = spacings(yd3[:FIRST], few)
    cost = np.array([cost_usd(float(apart), yd3[:FIRST], few) for apart in tried])
    sooner = best_spacing(tried, cost)
    if sooner > 0.9 * spacing:
        return None
    return (
        f"Over {yd3.size} loads the doubt of how fast they empty adds up and sets them far apart:"
        f" you may order the first six {sooner:g} minutes apart, and then tell the plant how"
        " fast you go."
    )


def best_spacing(tried: Array, cost: Array, old: Array | None = None) -> float:
    """The spacing to order by: round five minutes where that costs hardly more than the best.

    ``old`` is the chance of a load past its age; one that keeps to it nine times in ten is taken
    where it costs little more.
    """
    least = float(cost.min())
    enough = cost <= least + WITHIN * least
    if old is not None and not (enough & (old <= TOO_OLD)).any():
        fresh = (old <= TOO_OLD) & (cost <= least + max(FRESH_WITHIN * least, FRESH_USD))
        if fresh.any():
            enough = fresh & (cost <= float(cost[fresh].min()) * (1.0 + WITHIN))
    elif old is not None:
        enough &= old <= TOO_OLD
    fives = enough & (np.abs(tried % 5) < 1e-9)
    if fives.any():
        # Of spacings that cost the same the one nearest the middle of the flat part.
        middle = tried[enough].mean()
        own = tried[fives]
        return float(own[np.argmin(np.abs(own - middle))])
    return float(tried[int(np.argmin(np.where(enough, cost, np.inf)))])
