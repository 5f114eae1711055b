"""Evaporation from a wet slab. An estimate: what a pan shows may differ by 40 % either way.

That +-40 % is Hover's (2020, ACI SP-338, pp. 10-28): a guide to precautions, not a measurement.
Wind is that at 0.5 m over the slab (`air.wind_at_slab_mph`); where the concrete is below the dew
point water condenses, and the rate is given as 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pourstats.science.air import PA_PER_PSI, celsius, saturation_pressure_pa, vapor_pressure_pa

Array = NDArray[np.float64]

KG_M2_PER_LB_FT2 = 4.88243
UNCERTAINTY = 0.40
"""Relative error of any of these formulas against what really dries (Hover 2020)."""

CAUTION_LB_FT2_H = 0.10
"""From here caution: FHWA-HRT-05-038 ch. 5 (0.5 kg/m2/h)."""
PRECAUTIONS_LB_FT2_H = 0.20
"""From here precautions: ACI 305R, NRMCA CIP 5 and 12, FHWA-HRT-05-038 (1.0 kg/m2/h)."""


def uno_lb_ft2_h(
    concrete_f: ArrayLike, air_f: ArrayLike, humidity_pct: ArrayLike, wind_mph: ArrayLike
) -> Array:
    """Evaporation rate, lb/ft2/h, by Uno 1998 (ACI Materials Journal 95-M34, pp. 365-375), US form.

    Temperatures in degF (below 0 counts as 0), humidity 0 to 100, wind in mph at 0.5 m. A fit of
    the vapour pressure curve: 6 % above Menzel at 70 degF, up to 24 % where air is 30 to 50 degF.
    """
    concrete = np.maximum(np.asarray(concrete_f, dtype=float), 0.0)
    air = np.maximum(np.asarray(air_f, dtype=float), 0.0)
    drying = concrete**2.5 - np.asarray(humidity_pct, dtype=float) / 100.0 * air**2.5
    rate = drying * (1.0 + 0.4 * np.asarray(wind_mph, dtype=float)) * 1e-6
    return np.asarray(np.maximum(rate, 0.0))


def uno_kg_m2_h(
    concrete_c: ArrayLike, air_c: ArrayLike, humidity_pct: ArrayLike, wind_km_h: ArrayLike
) -> Array:
    """Evaporation rate, kg/m2/h, by Uno's printed SI form; its rounding runs 4 % below the US form.

    Temperatures in degC (below -18 counts as -18), humidity 0 to 100, wind in km/h at 0.5 m.
    """
    concrete = np.maximum(np.asarray(concrete_c, dtype=float) + 18.0, 0.0)
    air = np.maximum(np.asarray(air_c, dtype=float) + 18.0, 0.0)
    drying = concrete**2.5 - np.asarray(humidity_pct, dtype=float) / 100.0 * air**2.5
    rate = 5.0 * drying * (np.asarray(wind_km_h, dtype=float) + 4.0) * 1e-6
    return np.asarray(np.maximum(rate, 0.0))


def menzel_lb_ft2_h(
    concrete_f: ArrayLike, air_f: ArrayLike, humidity_pct: ArrayLike, wind_mph: ArrayLike
) -> Array:
    """Evaporation rate, lb/ft2/h, by Menzel 1954 (PCA Proceedings, pp. 130-136), vapour in psi.

    Temperatures in degF, humidity 0 to 100, wind in mph at 0.5 m. The better reference of the two:
    it takes the vapour pressure from ASHRAE's formula.
    """
    surface = saturation_pressure_pa(celsius(concrete_f)) / PA_PER_PSI
    above = vapor_pressure_pa(celsius(air_f), humidity_pct) / PA_PER_PSI
    rate = 0.44 * (surface - above) * (0.253 + 0.096 * np.asarray(wind_mph, dtype=float))
    return np.asarray(np.maximum(rate, 0.0))


def menzel_kg_m2_h(
    concrete_c: ArrayLike, air_c: ArrayLike, humidity_pct: ArrayLike, wind_km_h: ArrayLike
) -> Array:
    """Evaporation rate, kg/m2/h, by Menzel in SI as Uno 1998 prints it (kPa, km/h).

    Its rounded constants run 1.6 % above the US form.
    """
    surface = saturation_pressure_pa(concrete_c) / 1000.0
    above = vapor_pressure_pa(air_c, humidity_pct) / 1000.0
    rate = 0.315 * (surface - above) * (0.253 + 0.060 * np.asarray(wind_km_h, dtype=float))
    return np.asarray(np.maximum(rate, 0.0))


def caution(rate_lb_ft2_h: float) -> str:
    """The class of a rate in lb/ft2/h: ``low``, ``caution`` (0.1 up), ``precautions`` (0.2 up)."""
    if not np.isfinite(rate_lb_ft2_h):
        return "unknown"
    if rate_lb_ft2_h >= PRECAUTIONS_LB_FT2_H:
        return "precautions"
    return "caution" if rate_lb_ft2_h >= CAUTION_LB_FT2_H else "low"
