"""After the bull float: how the slab stiffens, when the crew gets on it, and the saw."""

from __future__ import annotations

import math

from season.chance import Chance
from season.crew import Day, can_saw, slowness
from season.slabs import BAD_DAY, Slab
from season.valley import Reading, Valley

# Stiffness is counted in minutes at 70 degF since the concrete was struck off.
QUARTER_INCH_PRINT_MIN = 165.0  # ASCC Position Statement 15: 2 3/4 h at 70 degF
APPARENT_ENERGY_J_PER_MOL = 28_000.0  # fits the float times of the same statement
GAS_CONSTANT = 8.314
SUN_ON = {"sun": 1.0, "mixed": 0.55, "shade": 0.15, "indoors": 0.0}
WIND_ON = {"sun": 1.0, "mixed": 0.75, "shade": 0.45, "indoors": 0.12}
PASS_AT = {"hard_trowel": (1.0, 1.24, 1.44, 1.61, 1.75), "trowel": (1.0, 1.26, 1.47, 1.65),
           "float": (1.0, 1.28), "broom": (0.50, 0.62)}  # fmt: skip
FT2_PER_H = {"walk_behind": 2300.0, "ride_on": 6200.0, "hand": 1150.0}


def rate(temp_f: float) -> float:
    """How fast the concrete stiffens at that temperature, 1 at 70 degF."""
    kelvin = (temp_f - 32) / 1.8 + 273.15
    return math.exp(APPARENT_ENERGY_J_PER_MOL / GAS_CONSTANT * (1 / 294.261 - 1 / kelvin))


def evaporation(concrete_f: float, air: Reading, windy: float) -> float:
    """Evaporation in lb/ft2/h (Uno 1998), wind brought from 10 m to 0.5 m."""
    wind = 0.484 * air.wind_mph * windy
    dry = concrete_f**2.5 - air.humidity / 100 * max(air.air_f, 0) ** 2.5
    return max(0.0, dry * (1 + 0.4 * wind) * 1e-6)


class Stiffening:
    """The slab's stiffness through the day, from its own heat and the weather over it."""

    def __init__(self, valley: Valley, slab: Slab, slowed: float) -> None:
        start = float(slab.times["place_start"])
        first_third = start + 0.35 * (slab.times["place_end"] - start)
        self._zero = first_third
        sun, windy = SUN_ON[slab.exposure], WIND_ON[slab.exposure]
        mean = valley.day_mean_f(slab.site, slab.day)
        ground = 54 + 0.3 * (mean - 54) - (3 if slab.slab_type == "basement" else 0)
        tau = 170 * slab.thickness_in / 4
        temp, age, self._steps = slab.concrete_f, 0.0, []
        self.worst = 0.0
        at = first_third
        for _ in range(360):
            here = valley.at(slab.site, at)
            air = here.air_f if slab.exposure != "indoors" else 0.5 * here.air_f + 0.5 * mean + 2
            drying = evaporation(temp, here, windy)
            around = 0.72 * (air + 0.012 * here.sun_w_m2 * sun - 14 * drying) + 0.28 * ground + 1.5
            temp += (around - temp) * 5 / tau
            age += 5 * rate(temp) * (1 + 0.7 * drying) / slowed
            self._steps.append(age)
            if at < first_third + 200:
                self.worst = max(self.worst, drying)
            at += 5

    def when(self, share: float) -> int:
        """The time at which the slab has that share of a quarter-inch print's stiffness."""
        wanted = share * QUARTER_INCH_PRINT_MIN
        before = 0.0
        for step, age in enumerate(self._steps):
            if age >= wanted:
                return round(self._zero + 5 * (step + (wanted - before) / (age - before)))
            before = age
        return round(self._zero + 5 * len(self._steps))

    def share(self, at: float) -> float:
        """The stiffness at that time as a share of a quarter-inch print's."""
        step = min(len(self._steps) - 1, max(0, int((at - self._zero) / 5)))
        return self._steps[step] / QUARTER_INCH_PRINT_MIN


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
    return slower * (1 - (slab.strength_psi - 3500) / 25_000)


def boot_print_in(share: float) -> float:
    """Depth of a boot print to the nearest sixteenth."""
    return max(0.0625, round(0.25 * math.exp(-3.0 * (share - 1.0)) * 16) / 16)


def wait_out(
    chance: Chance, day: Day, slab: Slab, person: str, until: int, wait_for: str = "set"
) -> None:
    """Stand by until then, with a lunch (unpaid) or a paid break if it is long."""
    start = day.free[person]
    if until - start >= 95 and chance.yes(0.55):
        half = start + round((until - start) * chance.between(0.3, 0.5))
        day.work(slab, person, "wait", start, half, wait_for)
        day.free[person] = half + 30
    elif until - start >= 60 and chance.yes(0.5):
        half = start + round((until - start) * chance.between(0.3, 0.6))
        day.work(slab, person, "wait", start, half, wait_for)
        day.work(slab, person, "wait", half, half + 15, "break")
    day.work(slab, person, "wait", day.free[person], until, wait_for)


def finish_slab(
    seed: int, valley: Valley, day: Day, slab: Slab, finishers: list[str], poured: int
) -> None:
    """Every pass, the saw, the clean-up; fills the slab's times, passes and the crew's day."""
    chance = Chance(seed, f"finishing {slab.pour_id}")
    stiff = Stiffening(valley, slab, slowed_by(slab) * chance.factor(0.07))
    targets = list(PASS_AT[slab.finish])
    wanted = {"hard_trowel": chance.pick((4, 5, 3), (5, 3, 2)), "trowel": chance.pick((3, 4, 2)),
              "float": chance.pick((2, 1)), "broom": 1}[slab.finish]  # fmt: skip
    targets = targets[:wanted]
    machine = "ride_on" if slab.area_ft2 >= 2300 else "walk_behind"
    by_hand = slab.finish == "broom"
    pace = FT2_PER_H["hand" if by_hand else machine]
    if not by_hand and machine == "walk_behind" and slab.area_ft2 > 1500 and len(finishers) > 2:
        pace *= 1.7
    slower = slowness(slab.day, poured) * slab.spread
    first_ready = stiff.when(targets[0])
    here_at = []
    for person in finishers:
        if day.where[person] == slab.site:
            end = slab.times["bull_float_end"]
            if day.free[person] < end:
                day.work(slab, person, "place", day.free[person], end)
            here_at.append(day.free[person])
        else:
            leave = max(day.free[person], first_ready - 25 - day.distance(person, slab))
            here_at.append(day.go(slab, person, leave))
    crew_at = min(here_at)
    habit = chance.between(-6, 10) + (chance.between(5, 20) if chance.yes(0.12) else 0)
    start = max(round(first_ready + habit), min(slab.times["bull_float_end"] + 6, first_ready + 6))
    held = "no"
    if crew_at + 4 > start + 4:
        start = crew_at + round(chance.between(4, 9))
        held = "other_slab" if slab.trouble.count("busy") or crew_at > start - 12 else "people"
    broken = slab.day == BAD_DAY
    number, before_end, worst_late = 0, start, 0.0
    edge = round(0.010 * slab.area_ft2 + chance.between(6, 12))
    edge = min(edge, 22)
    with_edges = not by_hand and chance.yes(0.45) and start - edge > max(here_at) and held == "no"
    for person in finishers:
        late_comer = max(day.free[person], start - edge if with_edges else 0)
        if with_edges:
            wait_out(chance, day, slab, person, late_comer)
        elif day.free[person] < start:
            wait_out(chance, day, slab, person, start)
    if with_edges:
        number += 1
        slab.passes.append({"tool": "hand", "machine": "", "part": "edges", "start": start - edge,
                            "end": start, "worker": finishers[-1], "print": None})  # fmt: skip
    for nth, target in enumerate(targets):
        ready = stiff.when(target)
        begin = start if nth == 0 else max(before_end + 2, ready + round(chance.between(-4, 7)))
        minutes = slab.area_ft2 / pace * 60 * slower * chance.factor(0.08)
        minutes *= 1.0 if nth == 0 else 0.92
        why = held if nth == 0 else "no"
        late = stiff.share(begin) - target
        if broken and nth == 1:
            begin, why, minutes = begin + 55, "machine", minutes * 2.1
        if broken and nth == 2:
            rain_end = begin
            while valley.rained(slab.site, rain_end, rain_end + 1) > 0.02:
                rain_end += 15
            if rain_end > begin:
                begin, why, minutes = rain_end + 10, "rain", minutes * 2.0
        if late > 0.25:
            minutes *= 1 + 0.8 * min(late, 0.6)
        worst_late = max(worst_late, late)
        finish = begin + max(8, round(minutes))
        tool = _tool(slab.finish, nth, len(targets))
        if broken and nth == 1:
            tool = "hand"
        number += 1
        runs = "" if by_hand or tool == "hand" else machine
        if broken and nth == 2:
            runs = "walk_behind"
        slab.passes.append({
            "tool": tool, "machine": runs, "part": "whole", "start": begin, "end": finish,
            "worker": finishers[nth % 2] if by_hand else finishers[0], "held": why,
            "ready": ready if why != "no" and begin - ready > 8 else None,
            "print": boot_print_in(stiff.share(begin)) if nth < 2 and not by_hand else None,
        })  # fmt: skip
        for rank, person in enumerate(finishers):
            if rank >= 2 and nth >= 2 and not broken:
                continue
            gap = begin - max(day.free[person], before_end)
            if gap >= 8:
                wait_out(chance, day, slab, person, begin, "weather" if why == "rain" else "set")
            from_ = max(day.free[person], min(begin, before_end if gap < 8 else begin))
            day.work(slab, person, "finish", from_, finish)
        before_end = finish
    slab.pass_count = len(targets)
    slab.times["machine_on"] = next(int(x["start"]) for x in slab.passes if x["part"] == "whole")
    slab.times["passes_done"] = before_end
    saw_slab(chance, valley, day, slab, finishers, stiff)
    for person in finishers:
        begin = day.free[person]
        day.work(slab, person, "clean_up", begin, begin + round(chance.between(12, 24)))
    slab.finish_hands = len(finishers)


def _tool(finish: str, nth: int, count: int) -> str:
    """What is on the machine on that pass."""
    if finish == "broom":
        return "broom"
    if nth == 0:
        return "float_blades" if count < 4 else "pan"
    if finish == "float":
        return "float_blades"
    if nth == count - 1:
        return "finish_blades"
    return "combination_blades"


def saw_slab(
    chance: Chance, valley: Valley, day: Day, slab: Slab, finishers: list[str], stiff: Stiffening
) -> None:
    """Cut the joints the same day where the slab and the light allow; else leave it to a trip back."""
    if slab.saw_type in ("none", "tooled"):
        if slab.saw_type == "tooled":
            slab.saw_length_ft = 0.0
        return
    slab.saw_length_ft = float(5 * round(slab.area_ft2 * 2 / slab.joint_spacing_ft * 0.82 / 5))
    speed = 170 if slab.saw_type == "early_entry" else 150
    ready = stiff.when(2.0 if slab.saw_type == "early_entry" else 2.9)
    begin = max(slab.times["passes_done"] + round(chance.between(8, 25)), ready)
    minutes = round(slab.saw_length_ft / speed * 60 * chance.factor(0.1) + 8)
    too_dark = begin % 1440 > 20.4 * 60 or begin // 1440 > (slab.due // 1440)
    if too_dark or begin - slab.times["passes_done"] > 170:
        slab.times["saw_trip"] = minutes
        return
    sawyer = next((x for x in finishers if can_saw(x, slab.day)), finishers[0])
    wait_out(chance, day, slab, sawyer, begin)
    begin = day.free[sawyer]
    day.work(slab, sawyer, "saw", begin, begin + minutes)
    slab.times["saw_start"], slab.times["saw_end"] = begin, begin + minutes
