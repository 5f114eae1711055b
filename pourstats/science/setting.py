"""Maturity, set, and the earlier moment at which a slab takes a machine.

Three clocks are kept apart. C403 set is counted from the water meeting the cement, and its apparent
activation energy is about 43 kJ/mol. Readiness for the power float (a boot print of a quarter inch)
is counted here from the end of placing, comes earlier, and is less sensitive to temperature: about
28 kJ/mol fits ASCC's survey. Hardening has an energy of its own again (ASTM C1074: 40 to 45).
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

GAS_CONSTANT = 8.314
REFERENCE_C = 21.111
"""70 degF, at which the times below hold."""

SET_ENERGY_J_MOL = 43_000.0
"""NRMCA CIP 27's doubling from 70 to 50 degF gives 43.2; the printed setting-time table, 44.8."""
FLOAT_ENERGY_J_MOL = 28_000.0
"""ASCC Position Statement 15's float times at 50, 70 and 90 degF give 27 to 30."""

FINAL_SET_H = 5.8
"""C403 final set (4,000 psi) at 70 degF from batching. The printed table has 6 h at 70 degF; 5.8 is
closest to it from 50 to 80 degF with one energy."""
INITIAL_SHARE = 0.72
"""Initial set (500 psi) as a share of final: common practice (4 h against 5 3/4), no source."""
FLOAT_H = 2.75
"""End of placing to the power float at 70 degF, quarter-inch boot print: ASCC PS 15 (50 firms).
The survey doesn't say when its clock starts; end of placing is our reading of it."""

PRINTED_SET_H: dict[int, float] = {
    100: 1 + 2 / 3,
    90: 2 + 2 / 3,
    80: 4.0,
    70: 6.0,
    60: 8.0,
    50: 10 + 2 / 3,
    40: 14.0,
}
"""The trade's printed table, hours of set by concrete degF (40 to 60 from memory). Above 80 degF it
falls faster than any one activation energy: show it beside ours there, don't mix them."""
PRINTED_FLOAT_H: dict[int, float] = {50: 4.25, 70: 2.75, 90: 1.75}
"""ASCC Position Statement 15, hours to power floating at a quarter-inch boot print."""

WATER_DELAY_PER_IN = 0.03
"""Share by which an inch of slump above 4 delays readiness where no reducer is named: 0.045 if
water made it all, less a third for a reducer that nobody named. Common practice, no source. Slump
made by a reducer doesn't delay."""
SCM_DELAY_PER_PCT = 0.006
"""Share a percent of fly ash or slag delays set at 70 degF; more when cold (slag below 85 degF,
slagcement.org IS-03; fly ash below 60 degF, ASCC PS 28). Size is common practice, no source."""

SHIFT_H: dict[str, tuple[float, float]] = {
    "retarder": (1.0, 3.5),
    "accelerator": (-3.5, -1.0),
    "water_reducer": (-1.0, 1.5),
    "mid_range_reducer": (-1.0, 1.5),
    "high_range_reducer": (-1.0, 1.5),
}
"""Limits on the shift of initial set, hours at 70 degF: ASTM C494 types B, C, A, A, F (memory)."""


def affinity(temp_c: ArrayLike, energy_j_mol: ArrayLike, reference_c: float = 20.0) -> Array:
    """Rate of reaction against that at the reference temperature (Arrhenius); ASTM C1074.

    Meant for 0 to 45 degC; below -5 degC, where fresh concrete freezes, the rate is 0.
    """
    c = np.asarray(temp_c, dtype=float)
    q = np.asarray(energy_j_mol, dtype=float) / GAS_CONSTANT
    kelvin = np.maximum(c, -5.0) + 273.15
    rate = np.exp(-q * (1.0 / kelvin - 1.0 / (reference_c + 273.15)))
    return np.asarray(np.where(c < -5.0, 0.0, rate))


def nurse_saul_c_h(temp_c: ArrayLike, step_h: ArrayLike, datum_c: float = 0.0) -> Array:
    """Nurse-Saul maturity, degC h, summed over the last axis; mean temperature of each step.

    ASTM C1074; datum 0 degC for Type I without admixtures, -10 historically. Never negative.
    """
    above = np.maximum(np.asarray(temp_c, dtype=float) - datum_c, 0.0)
    return np.asarray(np.sum(above * np.asarray(step_h, dtype=float), axis=-1))


def equivalent_age_h(
    temp_c: ArrayLike,
    step_h: ArrayLike,
    energy_j_mol: float = 5000.0 * GAS_CONSTANT,
    reference_c: float = 20.0,
) -> Array:
    """Equivalent age, h at the reference temperature, summed over the last axis; ASTM C1074.

    The default energy is the standard's Q = 5000 K.
    """
    rate = affinity(temp_c, energy_j_mol, reference_c)
    return np.asarray(np.sum(rate * np.asarray(step_h, dtype=float), axis=-1))


def final_set_h(concrete_c: ArrayLike, shift_h: ArrayLike = 0.0) -> Array:
    """Hours from batching to C403 final set of concrete kept at one temperature.

    ``shift_h`` is an admixture's shift at 70 degF. Within 15 % of the printed table from 50 to
    80 degF; above, the table falls faster (:data:`PRINTED_SET_H`). Valid 40 to 95 degF.
    """
    at_reference = np.maximum(FINAL_SET_H + np.asarray(shift_h, dtype=float), 0.8)
    return _at_rate(at_reference, concrete_c, SET_ENERGY_J_MOL)


def printed_set_h(concrete_f: ArrayLike) -> Array:
    """Hours of set by the trade's printed table (:data:`PRINTED_SET_H`), 40 to 100 degF.

    Linear in log time between its rows, NaN outside. To stand beside :func:`final_set_h` where the
    two part: above 80 degF the table is shorter by a fifth and more.
    """
    rows = sorted(PRINTED_SET_H.items())
    temp = np.asarray(concrete_f, dtype=float)
    logs = np.interp(temp, [t for t, _ in rows], np.log([h for _, h in rows]))
    return np.asarray(np.where((temp < rows[0][0]) | (temp > rows[-1][0]), np.nan, np.exp(logs)))


def initial_set_h(concrete_c: ArrayLike, shift_h: ArrayLike = 0.0) -> Array:
    """Hours from batching to C403 initial set (500 psi) at one temperature; see final_set_h."""
    at_reference = np.maximum(FINAL_SET_H * INITIAL_SHARE + np.asarray(shift_h, dtype=float), 0.5)
    return _at_rate(at_reference, concrete_c, SET_ENERGY_J_MOL)


def float_ready_h(concrete_c: ArrayLike) -> Array:
    """Hours from the end of placing to the power float (quarter-inch print) at one temperature.

    Within 5 % of ASCC PS 15 at 50, 70 and 90 degF; the survey's own spread is not printed.
    """
    return _at_rate(FLOAT_H, concrete_c, FLOAT_ENERGY_J_MOL)


def _at_rate(hours: ArrayLike, concrete_c: ArrayLike, energy_j_mol: float) -> Array:
    """Hours at 70 degF stretched to another temperature; endless where concrete freezes."""
    with np.errstate(divide="ignore"):
        whole = np.asarray(hours, dtype=float)
        return np.asarray(whole / affinity(concrete_c, energy_j_mol, REFERENCE_C))


def mix_delay(
    slump_in: float | None, admixtures: Collection[str], scm_pct: float | None, concrete_c: float
) -> float:
    """Factor on the time to set or to the float that a mix makes, 1 for a plain 4 in mix.

    A retarder or accelerator counts by the middle of its C494 limits, against initial set at 70
    degF; slump only as far as it is water's; fly ash and slag more when cold (doubled at 50 degF).
    The middle of a wide range: the crew's own record of that mix corrects it.
    """
    factor = 1.0
    reducers = {"mid_range_reducer", "high_range_reducer"} & set(admixtures)
    if slump_in is not None and np.isfinite(slump_in) and not reducers:
        factor *= float(np.exp(WATER_DELAY_PER_IN * np.clip(slump_in - 4.0, -3.0, 5.0)))
    initial = FINAL_SET_H * INITIAL_SHARE
    if "retarder" in admixtures:
        factor *= 1.0 + 0.5 * sum(SHIFT_H["retarder"]) / initial * 0.7
    if "accelerator" in admixtures:
        factor /= 1.0 - 0.5 * sum(SHIFT_H["accelerator"]) / initial * 0.7
    if scm_pct is not None and np.isfinite(scm_pct):
        cold = float(np.clip(1.0 + (REFERENCE_C - concrete_c) / 11.1, 0.3, 2.5))
        factor *= float(np.exp(SCM_DELAY_PER_PCT * np.clip(scm_pct, 0.0, 60.0) * cold))
    return factor
