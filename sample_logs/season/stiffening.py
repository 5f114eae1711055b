"""How a slab stiffens through the day, from its own heat, its mix and the weather over it."""

from __future__ import annotations

import math

from season.slabs import Slab
from season.valley import Reading, Valley

# Stiffness is counted in minutes at 70 degF since the concrete was struck off.
QUARTER_INCH_PRINT_MIN = 165.0  # ASCC Position Statement 15: 2 3/4 h at 70 degF
APPARENT_ENERGY_J_PER_MOL = 28_000.0  # fits the float times of the same statement
GAS_CONSTANT = 8.314
SUN_ON = {"sun": 1.0, "mixed": 0.55, "shade": 0.15, "indoors": 0.0}
WIND_ON = {"sun": 1.0, "mixed": 0.75, "shade": 0.45, "indoors": 0.12}


def rate(temp_f: float) -> float:
    """How fast the concrete stiffens at that temperature, 1 at 70 degF."""
    kelvin = (temp_f - 32) / 1.8 + 273.15
    return math.exp(APPARENT_ENERGY_J_PER_MOL / GAS_CONSTANT * (1 / 294.261 - 1 / kelvin))


def evaporation(concrete_f: float, air: Reading, windy: float) -> float:
    """Evaporation in lb/ft2/h (Uno 1998), wind brought from 10 m to 0.5 m."""
    wind = 0.484 * air.wind_mph * windy
    dry = concrete_f**2.5 - air.humidity / 100 * max(air.air_f, 0) ** 2.5
    return max(0.0, dry * (1 + 0.4 * wind) * 1e-6)


def slowed_by(slab: Slab) -> float:
    """What the mix and the base do to the time: above 1 is slower."""
    slower = 1 + 0.05 * (slab.slump_in - 4.5) + 0.006 * slab.scm_pct
    slower *= 1 + 0.03 * (slab.thickness_in - 4.5)
    for name, factor in (("retarder", 1.28), ("accelerator", 0.70), ("mid_range_reducer", 1.05),
                         ("water_reducer", 1.03), ("air_entrainer", 0.97)):  # fmt: skip
        if name in slab.admixtures:
            slower *= factor
    if "vapor_sheet" in slab.base:
        slower *= 1.08
    if slab.base == "soil":
        slower *= 0.95
    return slower * (1 - (slab.strength_psi - 3500) / 25_000) * slab.cement_mood


class Stiffening:
    """The stiffness of one part of the slab by the clock; ``part`` is how far into the placing."""

    def __init__(self, valley: Valley, slab: Slab, part: float = 0.35) -> None:
        start, end = slab.times["place_start"], slab.times["place_end"]
        self._zero = start + part * (end - start)
        sun, windy = SUN_ON[slab.exposure], WIND_ON[slab.exposure]
        mean = valley.day_mean_f(slab.site, slab.day)
        ground = 54 + 0.3 * (mean - 54) - (3 if slab.slab_type == "basement" else 0)
        tau = 170 * slab.thickness_in / 4
        slowed = slowed_by(slab)
        temp, age = slab.concrete_f, 0.0
        self._ages: list[float] = []
        for step in range(360):
            here = valley.at(slab.site, self._zero + 5 * step)
            air = here.air_f if slab.exposure != "indoors" else 0.5 * here.air_f + 0.5 * mean + 2
            drying = evaporation(temp, here, windy)
            around = 0.72 * (air + 0.012 * here.sun_w_m2 * sun - 14 * drying) + 0.28 * ground + 1.5
            temp += (around - temp) * 5 / tau
            age += 5 * rate(temp) * (1 + 0.7 * drying) / slowed
            self._ages.append(age)

    def when(self, share: float) -> int:
        """The time at which that part has so much of a quarter-inch print's stiffness."""
        wanted, before = share * QUARTER_INCH_PRINT_MIN, 0.0
        for step, age in enumerate(self._ages):
            if age >= wanted:
                return round(self._zero + 5 * (step + (wanted - before) / (age - before)))
            before = age
        return round(self._zero + 5 * len(self._ages))

    def share(self, at: float) -> float:
        """The stiffness at that time as a share of a quarter-inch print's."""
        step = min(len(self._ages) - 1, max(0, int((at - self._zero) / 5)))
        return self._ages[step] / QUARTER_INCH_PRINT_MIN


def boot_print_in(share: float) -> float:
    """Depth of a boot print to the nearest sixteenth."""
    return max(0.0625, round(0.25 * math.exp(-3.0 * (share - 1.0)) * 16) / 16)
