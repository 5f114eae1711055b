"""Volume of a slab and what to order."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

FT2_IN_PER_YD3 = 324.0
"""A yard covers 324 ft2 an inch thick (27 ft3 x 12)."""
OVERRUN = (0.04, 0.10)
"""What to order beyond the plan: 4 to 10 percent (NRMCA CIP 8)."""


def plan_yd3(area_ft2: ArrayLike, thickness_in: ArrayLike) -> Array:
    """Volume of a slab in yd3 by its plan: ft2 x in / 324; exact."""
    area = np.asarray(area_ft2, dtype=float)
    return np.asarray(area * np.asarray(thickness_in, dtype=float) / FT2_IN_PER_YD3)


def cover_ft2_per_yd3(thickness_in: ArrayLike) -> Array:
    """What a yard covers, ft2, at a thickness in inches above 0; exact."""
    return np.asarray(FT2_IN_PER_YD3 / np.asarray(thickness_in, dtype=float))


def order_yd3(area_ft2: ArrayLike, thickness_in: ArrayLike, overrun: float = 0.06) -> Array:
    """Yards to order: the plan and an overrun (0.06 lies within CIP 8's 4 to 10 percent)."""
    return np.asarray(plan_yd3(area_ft2, thickness_in) * (1.0 + overrun))


def shortfall_pct(thickness_in: ArrayLike, low_in: ArrayLike = 0.125) -> Array:
    """Percent that a grade too low by ``low_in`` adds: an eighth on 4 in is 3 % (CIP 8)."""
    low = np.asarray(low_in, dtype=float)
    return np.asarray(100.0 * low / np.asarray(thickness_in, dtype=float))
