"""Trucks at one slab: they come when they come, and are unloaded one after the other.

The same draws serve every spacing (common random numbers), so that spacings differ by the spacing
and not by luck.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.unloading import JobLoads

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """What a spacing gives, minutes; totals over a job (draw), loads (draw x load).

    Minutes of the day count from the time that the first load is due.
    """

    wait_min: Array
    starved_min: Array
    """Without the balance load, as in the measure."""
    idle_min: Array
    """With it."""
    over_min: Array
    """Billable minutes beyond the free ones."""
    age_min: Array
    gap_min: Array
    """From the end of one load to the beginning of the next (draw x load - 1)."""
    end_min: Array
    """Last load empty (draw)."""
    arrived_min: Array
    start_min: Array
    empty_min: Array
    """Each load empty (draw x load)."""


def line(
    spacing_min: float,
    yd3: Array,
    drawn: JobLoads,
    balance: bool,
    free_min_per_yd3: float,
    clock_from_due: bool,
) -> Line:
    """The trucks of one job at a spacing.

    With ``balance`` the last load is called when half of the one before it is out, and comes no
    sooner than it can be loaded and driven. Trucks are unloaded in the order in which they come.
    """
    n, count = yd3.size, drawn.late_min.shape[0]
    due = spacing_min * np.arange(n)
    arrived = due + drawn.late_min
    fixed = n - 1 if balance else n
    order = np.argsort(arrived[:, :fixed], axis=1, kind="stable")
    free = np.full(count, -np.inf)
    ready = arrived.copy()
    start, end = np.empty_like(arrived), np.empty_like(arrived)
    rows = np.arange(count)
    gaps = np.zeros((count, max(n - 1, 0)))
    starved = np.zeros((count, n))
    for place in range(n):
        which = order[:, place] if place < fixed else np.full(count, n - 1)
        if place == fixed:
            last = order[:, place - 1]
            half = (start[rows, last] + end[rows, last]) / 2.0
            called = half + drawn.batch_to_arrival_min[:, -1]
            ready[:, -1] = arrived[:, -1] = np.maximum(arrived[:, -1], called)
        come = arrived[rows, which]
        begin = np.maximum(come, free) + drawn.change_min[rows, which]
        done = begin + drawn.unload_min[rows, which]
        if place:
            starved[:, place] = np.maximum(0.0, come - free)
            gaps[:, place - 1] = begin - free
        start[rows, which], end[rows, which] = begin, done
        free = done
    left = end + drawn.wash_min
    counted = np.maximum(arrived, due) if clock_from_due else arrived
    over = np.maximum(0.0, left - counted - free_min_per_yd3 * yd3)
    return Line(
        wait_min=(start - arrived).sum(axis=1),
        starved_min=starved[:, :fixed].sum(axis=1),
        idle_min=starved.sum(axis=1),
        over_min=over.sum(axis=1),
        age_min=end - arrived + drawn.batch_to_arrival_min,
        gap_min=gaps,
        end_min=free,
        arrived_min=arrived,
        start_min=start,
        empty_min=end,
    )
