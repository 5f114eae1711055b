"""Contraction joints: spacing, depth, and when a saw may cut. Guides; drawings go before them."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pourstats.science.setting import REFERENCE_C, SET_ENERGY_J_MOL, affinity

Array = NDArray[np.float64]

MAX_SPACING_FT = 18.0
"""ACI 302.1R-96: widest spacing of an unreinforced slab."""
EARLY_DEPTH_IN = 1.0
"""Early entry: 1 in at least, for slabs to 9 in (Shields, Concrete News 0410)."""

EARLY_OPEN_H = 2.0
"""Early entry opens this long after finishing at 70 degF: 1 h hot to about 4 h cold (ACI 224.4R-13,
ACI FAQ 915); Shields: usually within 2 h of finishing."""
CONVENTIONAL_OPEN_H = 6.5
"""Conventional opens this long after placing at 70 degF: 4 to 12 h (ACI 302.1R-15, FAQ 915), near
final set plus the strength that keeps the edges from ravelling."""
CONVENTIONAL_CLOSE_H = 14.0
"""Cut by then at 70 degF: 4 to 12 h (ACI 302.1R-15), most vulnerable 6 to 18 h (PCA, from Shields);
the middle of the two ends."""
EARLY_CLOSE_H = 9.0
"""Early entry at 70 degF, hours from placing: shallow cuts must lead the first cooling, near the
end of the first day's warming. Common practice, no source."""


def spacing_ft(thickness_in: ArrayLike, factor: float = 30.0) -> Array:
    """Joint spacing in feet for a plain slab: 24 to 36 thicknesses, at most 18 ft.

    ACI 302.1R-96; low slump and large stone allow the wider end. ``factor`` within 24 to 36.
    """
    if not 24.0 <= factor <= 36.0:
        raise ValueError(f"joint spacing is 24 to 36 thicknesses, not {factor:g}")
    return np.asarray(
        np.minimum(np.asarray(thickness_in, dtype=float) * factor / 12.0, MAX_SPACING_FT)
    )


def spacing_range_ft(thickness_in: float) -> tuple[float, float]:
    """Narrowest and widest usual spacing in feet: 24 and 36 thicknesses, at most 18 ft."""
    return float(spacing_ft(thickness_in, 24.0)), float(spacing_ft(thickness_in, 36.0))


def saw_depth_in(thickness_in: ArrayLike, saw: Literal["early_entry", "conventional"]) -> Array:
    """Least depth of cut in inches: a quarter of the slab (ACI 327R-14); early entry 1 in.

    Early entry on slabs over 9 in has no printed 1-inch rule: a quarter there too.
    """
    thickness = np.asarray(thickness_in, dtype=float)
    quarter = thickness / 4.0
    if saw == "early_entry":
        return np.asarray(np.where(thickness <= 9.0, np.minimum(EARLY_DEPTH_IN, quarter), quarter))
    return np.asarray(quarter)


def saw_hours(
    mean_concrete_c: ArrayLike, saw: Literal["early_entry", "conventional"]
) -> tuple[Array, Array]:
    """Hours at which cutting opens and should be done, at one concrete temperature.

    Early entry opens counted from the end of finishing; every other time from the end of placing.
    Times at 70 degF scaled by the setting energy, kept within the printed ranges: early entry 1
    to 4 h, conventional 4 to 72 h (Concrete Construction: cold, up to three days). The window is
    no more certain than half its length either way: make a trial cut.
    """
    # Frozen concrete keeps the window's last end.
    rate = np.maximum(affinity(mean_concrete_c, SET_ENERGY_J_MOL, REFERENCE_C), 1e-3)
    if saw == "early_entry":
        return np.clip(EARLY_OPEN_H / rate, 1.0, 4.0), np.clip(EARLY_CLOSE_H / rate, 5.0, 20.0)
    opening = np.clip(CONVENTIONAL_OPEN_H / rate, 4.0, 24.0)
    closing = np.clip(CONVENTIONAL_CLOSE_H / rate, 8.0, 72.0)
    return np.asarray(opening), np.asarray(closing)
