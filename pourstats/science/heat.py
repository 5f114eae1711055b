"""Temperature of a fresh slab: a layered heat balance over time, many slabs at once.

Sun, long-wave exchange, wind, evaporation and the cement's own heat above; below, a base that
stores heat (soil, stone) or keeps it out (foam board). One-dimensional: edges are not in it.
Reckoned implicitly, so any step is stable; an error of 1 to 2 degC against a real slab is usual for
such models (HIPERPAV, FHWA-RD-98-167, reports about that), most of it from the inputs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pourstats.science.air import saturation_pressure_pa, vapor_pressure_pa
from pourstats.science.setting import affinity

Array = NDArray[np.float64]

STEFAN_BOLTZMANN = 5.670374e-8
LATENT_J_KG = 2.45e6
"""Latent heat of evaporation near 20 degC, J/kg (ASHRAE)."""

CONCRETE_W_M_K = 1.8
CONCRETE_J_M3_K = 2400.0 * 1000.0
"""Fresh normal-weight concrete: 1.7 to 2.2 W/(m K), about 1,000 J/(kg K) (ACI 207.2R; memory)."""
BASES: dict[str, tuple[float, float]] = {
    "soil": (1.4, 2.0e6),
    "stone": (1.2, 1.7e6),
    "foam_board": (0.035, 0.04e6),
}
"""Conductivity W/(m K) and heat capacity J/(m3 K) of what lies below (ASHRAE; memory). A vapor
sheet is too thin to count for heat."""
FOAM_M = 0.05

ABSORBS_SUN = 0.65
"""Solar absorptivity of fresh grey concrete, 0.55 to 0.7 (FHWA-RD-98-167; memory)."""
EMISSIVITY = 0.9

CEMENT_KG_M3 = 310.0
HEAT_J_KG = 450_000.0
HYDRATION_TAU_H = 13.5
HYDRATION_BETA = 0.9
HYDRATION_ULTIMATE = 0.72
HYDRATION_ENERGY_J_MOL = 40_000.0
"""Three-parameter hydration curve at 20 degC, ordinary cement: Schindler and Folliard 2005 (ACI
Materials Journal 102-M04) give tau 11 to 18 h, beta 0.7 to 1, ultimate 0.7 to 0.8 (memory)."""


@dataclass(frozen=True)
class SlabHeat:
    """Temperatures and energy of a batch of slabs.

    ``layers_c`` (slab x step + 1 x slab layer, top first) at the steps' ends, the start included;
    ``base_c`` the same below the slab; ``stored_j_m2`` and ``gained_j_m2`` (slab) are the heat
    that the layers took up and what came in through top and cement: they must agree.
    """

    layers_c: Array
    base_c: Array
    stored_j_m2: Array
    gained_j_m2: Array

    @property
    def mean_c(self) -> Array:
        """Mean over the slab's depth (slab x step + 1)."""
        return np.asarray(self.layers_c.mean(axis=2))

    @property
    def surface_c(self) -> Array:
        """Top layer (slab x step + 1)."""
        return np.asarray(self.layers_c[:, :, 0])


def sky_c(air_c: ArrayLike, humidity_pct: ArrayLike, cloud_share: ArrayLike = 0.3) -> Array:
    """Sky temperature in degC for long-wave exchange.

    Brunt's clear-sky emissivity 0.52 + 0.065 sqrt(e in hPa) (1932), clouds closing the gap to 1 by
    three fifths of their share; +-4 degC.
    """
    hpa = vapor_pressure_pa(air_c, humidity_pct) / 100.0
    clear = 0.52 + 0.065 * np.sqrt(hpa)
    share = np.clip(np.asarray(cloud_share, dtype=float), 0.0, 1.0)
    emissivity = np.minimum(clear + (1.0 - clear) * 0.6 * share, 1.0)
    return np.asarray((np.asarray(air_c, dtype=float) + 273.15) * emissivity**0.25 - 273.15)


def convection_w_m2_k(wind_m_s: ArrayLike) -> Array:
    """Surface coefficient of a flat slab, W/(m2 K): 5.6 + 3.95 v to 5 m/s, 7.6 v^0.78 above.

    McAdams 1954 as ACI 207.2R and FHWA-RD-98-167 use it; +-25 %.
    """
    v = np.asarray(wind_m_s, dtype=float)
    return np.asarray(np.where(v <= 5.0, 5.6 + 3.95 * v, 7.6 * np.maximum(v, 1e-9) ** 0.78))


def slab_temperatures(
    air_c: ArrayLike,
    humidity_pct: ArrayLike,
    wind_m_s: ArrayLike,
    sun_w_m2: ArrayLike,
    *,
    step_h: float,
    concrete_c: ArrayLike,
    thickness_m: ArrayLike,
    base: str | Sequence[str] = "soil",
    base_c: ArrayLike | None = None,
    age_h: ArrayLike = 0.75,
    hydration: ArrayLike = 1.0,
    evaporation: ArrayLike = 1.0,
    emissivity: ArrayLike = EMISSIVITY,
    absorbs: ArrayLike = ABSORBS_SUN,
    cloud_share: ArrayLike = 0.3,
    slab_layers: int = 4,
    base_layers: int = 5,
    base_m: float = 0.40,
) -> SlabHeat:
    """Heat balance of a batch of slabs from the moment of placing.

    Weather is (slab x step), the mean of each step; ``sun_w_m2`` is what reaches the slab (shade
    already taken off); ``concrete_c``, ``thickness_m`` (0.02 to 0.6) and ``base_c`` (ground at the
    start; the air's mean until given) are one a slab. ``base`` is a key of :data:`BASES`, or one a
    slab. ``hydration``, ``evaporation`` scale those terms (0 leaves them out). Water dries by
    Menzel's formula. The bottom of the base lets no heat through. Air -20 to 50 degC.
    """
    air = np.atleast_2d(np.asarray(air_c, dtype=float))
    humid, wind, sun, cloud = (
        np.broadcast_to(np.asarray(x, dtype=float), air.shape)
        for x in (humidity_pct, wind_m_s, sun_w_m2, cloud_share)
    )
    count, steps = air.shape
    fresh, thick, age, warm, wet, emit, absorb = (
        np.broadcast_to(np.asarray(x, dtype=float), (count,))
        for x in (concrete_c, thickness_m, age_h, hydration, evaporation, emissivity, absorbs)
    )
    ground = air.mean(axis=1) if base_c is None else np.asarray(base_c, dtype=float)
    ground = np.broadcast_to(ground, (count,))

    depth, conduct, capacity = _stack(
        base,
        thick,
        count=count,
        slab_layers=slab_layers,
        base_layers=base_layers,
        base_m=base_m,
    )
    total = slab_layers + base_layers
    dt = step_h * 3600.0
    store = depth * capacity / dt
    between = 2.0 / (depth[:-1] / conduct[:-1] + depth[1:] / conduct[1:])
    half_top = 2.0 * conduct[0] / depth[0]

    # The matrix below the top row never changes: eliminate it upwards once.
    pivot = np.empty_like(store)
    pivot[total - 1] = store[total - 1] + between[total - 2]
    for row in range(total - 2, 0, -1):
        pivot[row] = store[row] + between[row - 1] + between[row]
        pivot[row] -= between[row] ** 2 / pivot[row + 1]
    top_below = between[0] - between[0] ** 2 / pivot[1]

    temps = np.empty((total, count))
    temps[:slab_layers] = fresh
    temps[slab_layers:] = ground
    first = temps.copy()
    matured = np.broadcast_to(np.maximum(age, 0.05), (slab_layers, count)).copy()
    history = np.empty((steps + 1, total, count))
    history[0] = temps
    gained = np.zeros(count)

    sky = sky_c(air, humid, cloud)
    coefficient = convection_w_m2_k(wind)
    vapor_kpa = vapor_pressure_pa(air, humid) / 1000.0
    drying = 0.315 * (0.253 + 0.060 * wind * 3.6) * LATENT_J_KG / 3600.0
    per_volume = CEMENT_KG_M3 * HEAT_J_KG
    for step in range(steps):
        made = np.zeros((total, count))
        if np.any(warm > 0):
            older = matured + step_h * affinity(temps[:slab_layers], HYDRATION_ENERGY_J_MOL)
            released = (_degree(older) - _degree(matured)) * per_volume
            made[:slab_layers] = released * depth[:slab_layers] / dt * warm
            matured = older
        top = temps[0]
        kelvin = (top + sky[:, step]) / 2.0 + 273.15
        radiant = 4.0 * emit * STEFAN_BOLTZMANN * kelvin**3
        flux = absorb * sun[:, step]
        if np.any(wet > 0):
            deficit = saturation_pressure_pa(top) / 1000.0 - vapor_kpa[:, step]
            flux = flux - wet * np.maximum(drying[:, step] * deficit, 0.0)
        # Half a top layer conducts between its middle and the face that the air touches.
        film = coefficient[:, step] + radiant
        pull = coefficient[:, step] * air[:, step] + radiant * sky[:, step] + flux
        share = half_top / (half_top + film)

        right = store * temps + made
        for row in range(total - 2, -1, -1):
            right[row] += between[row] / pivot[row + 1] * right[row + 1]
        fresh_temps = np.empty_like(temps)
        fresh_temps[0] = (right[0] + share * pull) / (store[0] + top_below + share * film)
        for row in range(1, total):
            fresh_temps[row] = (right[row] + between[row - 1] * fresh_temps[row - 1]) / pivot[row]
        gained += (share * (pull - film * fresh_temps[0]) + made.sum(axis=0)) * dt
        temps = fresh_temps
        history[step + 1] = temps

    stored = np.sum(depth * capacity * (temps - first), axis=0)
    ordered = history.transpose(2, 0, 1)
    return SlabHeat(ordered[:, :, :slab_layers], ordered[:, :, slab_layers:], stored, gained)


def _degree(equivalent_h: Array) -> Array:
    """Degree of hydration at an equivalent age in hours at 20 degC."""
    return np.asarray(
        HYDRATION_ULTIMATE * np.exp(-((HYDRATION_TAU_H / equivalent_h) ** HYDRATION_BETA))
    )


def _stack(
    base: str | Sequence[str],
    thick: Array,
    *,
    count: int,
    slab_layers: int,
    base_layers: int,
    base_m: float,
) -> tuple[Array, Array, Array]:
    """Depth, conductivity and heat capacity of every layer (layer x slab), top first."""
    kinds = [base] * count if isinstance(base, str) else list(base)
    total = slab_layers + base_layers
    depth, conduct, capacity = (np.empty((total, count)) for _ in range(3))
    depth[:slab_layers] = thick / slab_layers
    conduct[:slab_layers] = CONCRETE_W_M_K
    capacity[:slab_layers] = CONCRETE_J_M3_K
    # Thin layers below the slab, thicker ones deeper, where little changes in a day.
    grow = 1.6 ** np.arange(base_layers)
    depth[slab_layers:] = (base_m * grow / grow.sum())[:, None]
    soil_k, soil_c = BASES["soil"]
    below = np.array([BASES[kind] for kind in kinds])
    conduct[slab_layers:] = below[:, 0]
    capacity[slab_layers:] = below[:, 1]
    foam = np.array([kind == "foam_board" for kind in kinds])
    if foam.any():
        depth[slab_layers, foam] = FOAM_M
        conduct[slab_layers + 1 :, foam] = soil_k
        capacity[slab_layers + 1 :, foam] = soil_c
    return depth, conduct, capacity
