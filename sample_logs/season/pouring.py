"""From the first truck to the bull float: loads, waits for concrete, and the people placing."""

from __future__ import annotations

import math

from season.chance import Chance
from season.crew import Day, slowness, strength_of
from season.slabs import BAD_DAY, Slab
from season.stiffening import Stiffening
from season.valley import PLANTS, Valley, drive_min, spot

# Labor-hours a yard for unloading and striking off, by how the concrete gets there.
LABOR_H_PER_YD3 = {"chute": 0.33, "pump": 0.37, "wheelbarrow": 0.66, "buggy": 0.55}
SET_UP_MIN = {"chute": 32, "pump": 50, "wheelbarrow": 36, "buggy": 36}
FREE_MIN_PER_YD3, CHARGE_USD_PER_MIN = 7.0, 2.25


def needed_yd3(chance: Chance, slab: Slab) -> float:
    """What the slab really takes: uneven grade costs a few percent, seldom much more."""
    over = max(0.005, chance.normal(0.040, 0.018))
    if chance.yes(0.05):
        over += chance.between(0.05, 0.09)
        slab.trouble.append("grade")
    return slab.plan_yd3 * (1 + over)


def split_order(slab: Slab, biggest: float) -> list[float]:
    """The order in loads: full trucks, the last one smaller."""
    total = math.ceil(slab.plan_yd3 * 1.05 * 2) / 2
    slab.ordered_yd3 = total
    count = math.ceil(total / biggest)
    if count == 1:
        return [total]
    if count == 2:
        half = math.ceil(total) / 2
        half = min(biggest, max(half, 5.0))
        return [half, total - half]
    loads = [biggest] * (count - 1)
    rest = total - sum(loads)
    if rest < 4.0:
        loads[-1] -= 4.0 - rest
        rest = 4.0
    return [*loads, rest]


def unload_min_per_yd3(slab: Slab, people: list[str]) -> float:
    """Minutes a yard with these people; above six, more hands help little."""
    hands = min(strength_of(people, slab.day), 6.0) ** 0.85
    rate = LABOR_H_PER_YD3[slab.placement] * 60 / hands * slowness(slab.day, slab.poured)
    rate *= (4.6 / slab.thickness_in) ** 0.35  # thin slabs are held up by the screed
    rate *= min(1.15, (15 / slab.plan_yd3) ** 0.15)  # a crew gets into its stride on a big one
    return max(2.6, rate * slab.spread)


def order_trucks(valley: Valley, slab: Slab, per_yd3: float) -> list[dict[str, object]]:
    """The loads as ordered, batched and driven; unloading comes later."""
    chance = Chance(valley.seed, f"trucks {slab.pour_id}")
    biggest = chance.pick((10.0, 9.0, 10.0, 9.5))
    volumes = split_order(slab, biggest)
    with_balance = len(volumes) >= 3 or (len(volumes) == 2 and chance.yes(0.35))
    spacing = 5 * max(3, round(biggest * per_yd3 / 5))
    road = drive_min(PLANTS[slab.plant], spot(slab.site))
    late_day = "late_truck" in slab.trouble
    late_one = round(chance.between(0, max(0, len(volumes) - 1.01))) if late_day else -1
    loads: list[dict[str, object]] = []
    for nth, volume in enumerate(volumes):
        due = slab.due + nth * spacing
        late = chance.normal(4, 7) if nth else chance.normal(3, 6)
        late += chance.between(0, 25) if chance.yes(0.1) else 0.0
        if nth == late_one:
            late = chance.between(38, 85)
        loads.append({
            "volume": volume, "due": due, "arrived": round(due + max(-18.0, late)),
            "called": "ordered", "road": road * chance.factor(0.08) + chance.between(4, 9),
            "slump": slab.slump_in + chance.normal(0, 0.35),
        })  # fmt: skip
    if with_balance:
        loads[-1]["called"] = "balance"
    slab.concrete_f = concrete_f(valley, slab)
    return loads


def concrete_f(valley: Valley, slab: Slab) -> float:
    """Concrete temperature at discharge: the stockpiles hold the day's mean, heated in the cold."""
    chance = Chance(valley.seed, f"concrete {slab.pour_id}")
    mean = valley.day_mean_f(slab.site, slab.day)
    air = valley.at(slab.site, slab.due).air_f
    temp = max(60.0, 68 + 0.62 * (mean - 60) + 0.15 * (air - mean)) + chance.normal(0, 1.5)
    return float(round(min(temp, 93)))


def place_slab(
    valley: Valley, day: Day, slab: Slab, people: list[str], floaters: list[str]
) -> None:
    """Set up, unload, strike off; the floaters bull float. All are then still on the slab."""
    chance = Chance(valley.seed, f"placing {slab.pour_id}")
    need = needed_yd3(chance, slab)
    per_yd3 = unload_min_per_yd3(slab, people)
    loads = order_trucks(valley, slab, per_yd3)
    set_up = SET_UP_MIN[slab.placement] + 0.006 * slab.area_ft2 + chance.between(-6, 14)
    set_up *= slowness(slab.day, slab.poured)
    arrivals = {}
    for nth, person in enumerate(people):
        late = 0 if nth < 2 else round(chance.between(0, 12))
        leave = round(slab.due - set_up - day.distance(person, slab) - 5 + late)
        arrivals[person] = day.go(slab, person, max(day.free[person], leave))
    here = sorted(arrivals.values())
    ready = max(here[min(2, len(here) - 1)], min(here) + round(set_up * 0.8))
    others = round(chance.between(25, 55)) if "others_on_site" in slab.trouble else 0
    ready += others
    slab.times["crew_in"] = min(here)
    gaps: list[tuple[int, int]] = []
    clock, left_to_place = ready, need
    if slab.order_in_day and ready > slab.due + 10 and "others_on_site" not in slab.trouble:
        slab.notes = "crew came late from the other slab"
    stopped = -1
    if "pump" in slab.trouble:
        stopped = round(chance.between(0, max(0, len(loads) - 1)))
    done: list[dict[str, object]] = []
    while loads:
        load = loads.pop(0)
        if load["called"] == "balance" and done:
            called = clock - round(chance.between(25, 45))
            load["due"] = called + 5 * round(chance.between(7, 10))
            load["arrived"] = round(int(load["due"]) + chance.normal(5, 8))
            load["volume"] = max(1.5, math.ceil((left_to_place + chance.between(0.1, 0.7)) * 2) / 2)
        arrived = int(load["arrived"])
        start = max(arrived + round(chance.between(3, 7)), clock)
        if done and start - clock >= 10:
            gaps.append((clock, start))
        volume = float(load["volume"])
        used = min(volume, left_to_place)
        pace = per_yd3 * chance.factor(0.10)
        if chance.yes(0.2):
            load["water"] = 5.0 * round(chance.between(1, 3))
        if len(done) == stopped:
            pace += chance.between(30, 55) / max(used, 1.0)
        end = start + max(4, round(used * pace))
        left_to_place -= used
        load.update(pour_start=start, pour_end=end, left=end + round(chance.between(6, 13)),
                    batched=arrived - round(float(load["road"])))  # fmt: skip
        if volume - used > 0.2:
            load["returned"] = round((volume - used) * 4) / 4
            left_to_place = min(left_to_place, 0.0)
        over = load["left"] - max(arrived, int(load["due"])) - FREE_MIN_PER_YD3 * volume
        if over > 15 and chance.yes(0.6):
            load["charge"] = round(over * CHARGE_USD_PER_MIN * 4) / 4
        clock = end + round(chance.between(1, 4))
        done.append(load)
        if left_to_place <= 0.05 or len(done) > 12:
            break
        if not loads and left_to_place > 0.35:
            slab.trouble.append("short_load")
            loads.append({
                "volume": math.ceil(left_to_place * 2 + 1) / 2, "due": clock + 30,
                "called": "balance", "arrived": clock + round(chance.between(28, 60)),
                "road": done[-1]["road"], "slump": slab.slump_in,
            })  # fmt: skip
    slab.loads = done
    start, last = int(done[0]["pour_start"]), int(done[-1]["pour_end"])
    slab.times["place_start"] = start
    slab.times["place_end"] = last + round(chance.between(3, 8) + slab.area_ft2 / 400)
    slab.times["bull_float_end"] = slab.times["place_end"] + round(
        chance.between(4, 10) + slab.area_ft2 / 260
    )
    placed = sum(float(x["volume"]) - float(x.get("returned", 0.0)) for x in done)
    slab.ordered_yd3 = max(slab.ordered_yd3, math.ceil(placed * 2) / 2 if len(done) == 1 else 0)
    chase = _chase_at(valley, slab, people, floaters)
    for person in people:
        begin = day.free[person]
        wait_from = max(begin, min(begin + round(set_up), start))
        if start - wait_from >= 8:
            day.work(slab, person, "set_up", begin, wait_from)
            in_the_way = min(start, wait_from + others)
            day.work(slab, person, "wait", wait_from, in_the_way, "others")
            day.work(slab, person, "wait", in_the_way, start, "concrete")
        else:
            day.work(slab, person, "set_up", begin, start)
        clock = max(day.free[person], start)
        for gap_start, gap_end in gaps:
            if gap_start >= clock and not (person == slab.chaser and gap_end >= chase):
                day.work(slab, person, "place", clock, gap_start)
                day.work(slab, person, "wait", gap_start, gap_end, "concrete")
                clock = gap_end
        stays = slab.times["bull_float_end" if person in floaters else "place_end"]
        if person == slab.chaser:
            stays = chase
        day.work(slab, person, "place", clock, stays)
    slab.hands, slab.placers = len(people), list(people)


def _chase_at(valley: Valley, slab: Slab, people: list[str], floaters: list[str]) -> int:
    """When one of the placers has to leave for the machine, if the first end is ready so early."""
    ready = Stiffening(valley, slab, 0.2).when(1.0)
    long_enough = slab.times["place_end"] - ready >= 15 and slab.area_ft2 >= 2300
    if long_enough and len(people) >= 5 and slab.finish != "broom" and slab.day != BAD_DAY:
        slab.chaser = floaters[0]
    return ready


def clean_and_leave(valley: Valley, day: Day, slab: Slab, people: list[str]) -> None:
    """Those who don't stay wash the tools and are free."""
    chance = Chance(valley.seed, f"clean {slab.pour_id}")
    extra = 12 if slab.placement == "pump" else 0
    for person in people:
        start = day.free[person]
        minutes = chance.between(14, 26) * slowness(slab.day, slab.poured)
        day.work(slab, person, "clean_up", start, start + round(minutes) + extra)
