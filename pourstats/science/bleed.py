"""Bleed water: how much comes up, how fast it dries, when the slab is fit to be finished.

A slab is ready for the machine when it is stiff enough and its bleed water is gone, whichever is
later. Where it dries faster than it bleeds, the skin stiffens over wet concrete: a crust.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CAPACITY_KG_M3 = 3.2
"""Bleed water a plain 4 in slump mix brings up, kg a m3: about 2 % of 160 to 180 kg of mixing water
(ASTM C232 tests run 1 to 4 %; from memory). +-50 %."""
CAPACITY_PER_SLUMP_IN = 0.18
"""Relative growth of that by an inch of slump that water made. Common practice, no source."""


def capacity_kg_m2(
    thickness_in: ArrayLike, slump_in: ArrayLike = 4.0, share: ArrayLike = 1.0
) -> Array:
    """Bleed water that a slab brings up in all, kg/m2; +-50 %.

    ``share`` is below 1 for mixes that bleed less (air, fly ash, fibers, a reducer's slump), above
    it where a vapor sheet lets none go down. Thickness counts to 12 in.
    """
    depth_m = np.minimum(np.asarray(thickness_in, dtype=float), 12.0) * 0.0254
    slump = np.clip(np.asarray(slump_in, dtype=float), 1.0, 9.0)
    wet = np.exp(CAPACITY_PER_SLUMP_IN * (slump - 4.0))
    return np.asarray(CAPACITY_KG_M3 * depth_m * wet * np.asarray(share, dtype=float))


def risen_share(age_share: ArrayLike) -> Array:
    """Share of the bleed water that is up, by age as a share of the time to initial set.

    Fast at first and over by about 60 % of it (the constant-rate and slowing periods of Powers
    1939, drawn as a half parabola; shape from memory).
    """
    x = np.clip(np.asarray(age_share, dtype=float) / 0.6, 0.0, 1.0)
    return np.asarray(x * (2.0 - x))


def standing_kg_m2(risen_kg_m2: ArrayLike, drying_kg_m2: ArrayLike) -> Array:
    """Water standing on the slab, kg/m2, over the last axis, from what rises and dries each step.

    Both are amounts per step. Water that isn't there can't dry.
    """
    rise, dry = np.broadcast_arrays(
        np.asarray(risen_kg_m2, dtype=float), np.asarray(drying_kg_m2, dtype=float)
    )
    standing = np.zeros(rise.shape)
    level = np.zeros(rise.shape[:-1])
    for step in range(rise.shape[-1]):
        level = np.maximum(level + rise[..., step] - dry[..., step], 0.0)
        standing[..., step] = level
    return standing


def crusts(risen_kg_m2: ArrayLike, drying_kg_m2: ArrayLike) -> Array:
    """Whether drying could take over twice what rose (last axis): crust, plastic cracks.

    The factor two leaves room for the +-40 % of the evaporation and the +-50 % of the bleeding.
    """
    rise = np.sum(np.asarray(risen_kg_m2, dtype=float), axis=-1)
    dry = np.sum(np.asarray(drying_kg_m2, dtype=float), axis=-1)
    return np.asarray(dry > 2.0 * rise)
