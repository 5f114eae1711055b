"""The season's slabs: which days, which sites, what kind of floor."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from season.chance import Chance
from season.valley import PLANTS, SITES, YEAR, Valley, minute

LAST_POUR = dt.date(YEAR, 10, 30)
HOLIDAYS = (dt.date(YEAR, 5, 26), dt.date(YEAR, 7, 4), dt.date(YEAR, 9, 1))
BAD_DAY = dt.date(YEAR, 8, 14)
LAST_WEEK = (
    (dt.date(YEAR, 10, 27), ("garage",)),
    (dt.date(YEAR, 10, 28), ("basement", "garage")),
    (dt.date(YEAR, 10, 29), ("shop",)),
    (dt.date(YEAR, 10, 30), ("basement",)),
)
PAIRS = (
    ("basement", "garage"), ("garage", "garage"), ("garage", "porch"), ("basement", "garage"),
    ("driveway", "walk"), ("basement", "basement"), ("garage", "patio"), ("basement", "garage"),
    ("garage", "garage"), ("basement", "walk"), ("garage", "garage"), ("driveway", "patio"),
)  # fmt: skip
ALONE = (
    ["basement"] * 11 + ["garage"] * 9 + ["shop"] * 13 + ["warehouse"] * 2 + ["driveway"] * 6
    + ["patio"] * 2 + ["walk"] * 2 + ["porch"] * 1
)  # fmt: skip


@dataclass
class Slab:
    """One slab as ordered, and later all that happened on it."""

    pour_id: str
    day: dt.date
    site: str
    slab_type: str
    area_ft2: float
    thickness_in: float
    due: int
    placement: str
    exposure: str
    finish: str
    strength_psi: int
    mix: str
    slump_in: float
    admixtures: list[str]
    scm_pct: float
    reinforcement: str
    base: str
    plant: str
    saw_type: str
    joint_spacing_ft: float
    joint_depth_in: float | None
    cure: str
    order_in_day: int = 0
    poured: int = 0
    """Slabs poured before it this season."""
    first_late_min: int = 0
    placers: list[str] = field(default_factory=list)
    chaser: str = ""
    """Who leaves the placing to start the machine on the first end."""
    saw_trip: tuple[int, int] | None = None
    """When it could first be cut, and for how many minutes, if that takes a trip back."""
    cement_mood: float = 1.0
    hands: int = 0
    finish_hands: int = 0
    lead: str = ""
    concrete_f: float = 0.0
    ordered_yd3: float = 0.0
    times: dict[str, int] = field(default_factory=dict)
    saw_length_ft: float = 0.0
    pass_count: int = 0
    trouble: list[str] = field(default_factory=list)
    notes: str = ""
    loads: list[dict[str, object]] = field(default_factory=list)
    passes: list[dict[str, object]] = field(default_factory=list)
    spread: float = 1.0
    log: str = "full"
    """How much the crew wrote down: ``full``, ``headcount`` (no crew time) or ``short``."""

    @property
    def plan_yd3(self) -> float:
        """Area times thickness."""
        return self.area_ft2 * self.thickness_in / 324

    @property
    def outdoors(self) -> bool:
        """Whether it is a slab that meets the winter."""
        return self.slab_type in ("driveway", "patio", "walk", "porch")


def calendar(valley: Valley) -> list[tuple[dt.date, tuple[str, ...]]]:
    """The days poured and the kinds of slab of each, in order."""
    chance = Chance(valley.seed, "calendar")
    days: list[dt.date] = []
    monday = dt.date(YEAR, 4, 7)
    while monday < LAST_WEEK[0][0]:
        summer = dt.date(YEAR, 5, 12) <= monday <= dt.date(YEAR, 9, 22)
        busy = 3 if summer and chance.yes(0.4) else 2
        if monday == dt.date(YEAR, 6, 30):
            busy = 1
        week = [monday + dt.timedelta(days=k) for k in (0, 1, 2, 3, 4)]
        if chance.yes(0.12):
            week.append(monday + dt.timedelta(days=5))
        week = [day for day in week if day not in HOLIDAYS]
        dry = [day for day in week if day not in valley.wet_days] or week[:2]
        taken = chance.shuffled(dry)[:busy]
        if monday <= BAD_DAY < monday + dt.timedelta(days=6):
            taken = [BAD_DAY, *[day for day in taken if day != BAD_DAY][:1]]
        days += sorted(taken)
        monday += dt.timedelta(days=7)
    free = [day for day in days if day != BAD_DAY]
    doubles = sorted(chance.shuffled(free)[: len(PAIRS)])
    pairs = dict(zip(doubles, chance.shuffled(PAIRS), strict=True))
    alone = chance.shuffled(ALONE)
    plan: list[tuple[dt.date, tuple[str, ...]]] = []
    for day in days:
        if day == BAD_DAY:
            plan.append((day, ("shop",)))
        elif day in pairs:
            plan.append((day, pairs[day]))
        else:
            plan.append((day, (alone.pop() if alone else "garage",)))
    return plan + list(LAST_WEEK)


def _size(chance: Chance, kind: str) -> tuple[float, float]:
    """Area in ft2 and thickness in inches, in the round numbers of drawings."""
    if kind == "basement":
        area, inches = chance.between(880, 1750), chance.pick((4.0, 3.5, 4.0))
    elif kind == "garage":
        area = chance.pick((528.0, 576.0, 624.0, 672.0, 728.0, 864.0, 960.0))
        inches = chance.pick((4.0, 4.0, 4.5, 5.0))
    elif kind == "shop":
        inches = chance.pick((5.0, 6.0, 5.0, 5.5))
        area = chance.pick((1500.0, 1800.0, 2000.0, 2400.0, 2880.0, 3200.0, 3600.0, 4000.0))
    elif kind == "warehouse":
        inches, area = 6.0, chance.pick((3600.0, 4000.0))
    elif kind == "driveway":
        area, inches = chance.between(760, 1600), chance.pick((4.0, 5.0, 4.5))
    elif kind == "patio":
        area, inches = chance.between(510, 820), 4.0
    elif kind == "walk":
        area, inches = chance.between(500, 680), 4.0
    else:
        area, inches = chance.between(500, 570), chance.pick((4.0, 4.5))
    return 4.0 * round(area / 4), inches


def _first_load(chance: Chance, mean_f: float, nth: int) -> float:
    """Hour of the first load: early in the heat, later in the cold."""
    hour = 6.5 if mean_f > 66 else 7.0 if mean_f > 52 else 8.0
    if mean_f > 76:
        hour = 5.5
    hour += chance.pick((0.0, 0.25, 0.5))
    return hour if nth == 0 else hour + chance.pick((3.5, 4.0, 4.5))


def describe(
    valley: Valley, pour_id: str, *, day: dt.date, kind: str, site: str, nth: int, poured: int
) -> Slab:
    """A slab as it would be ordered for that day's weather."""
    chance = Chance(valley.seed, f"slab {pour_id}")
    area, inches = _size(chance, kind)
    mean_f = valley.day_mean_f(site, day)
    outdoors = kind in ("driveway", "patio", "walk", "porch")
    under_roof = {"basement": 0.35, "garage": 0.3, "shop": 0.35, "warehouse": 0.5}.get(kind, 0.0)
    if chance.yes(under_roof) or (day in valley.wet_days and not outdoors):
        exposure = "indoors"
    elif kind == "basement":
        exposure = chance.pick(("shade", "mixed"))
    elif kind == "garage":
        exposure = chance.pick(("mixed", "shade", "sun"))
    else:
        exposure = chance.pick(("sun", "sun", "mixed"))
    if outdoors:
        finish = "float" if kind == "patio" and chance.yes(0.3) else "broom"
    elif kind == "basement":
        finish = chance.pick(("trowel", "trowel", "hard_trowel", "float"), (5, 3, 3, 1))
    else:
        finish = chance.pick(("hard_trowel", "trowel"), (3, 1))
    placement = {
        "basement": chance.pick(("pump", "chute"), (3, 2)),
        "garage": "wheelbarrow" if area * inches < 2800 and chance.yes(0.25) else "chute",
        "shop": chance.pick(("chute", "pump"), (3, 2)),
        "warehouse": "pump",
        "driveway": "chute",
        "patio": chance.pick(("wheelbarrow", "pump", "buggy")),
        "walk": chance.pick(("wheelbarrow", "chute", "buggy")),
        "porch": chance.pick(("wheelbarrow", "pump")),
    }[kind]
    strength = {"basement": 3000, "garage": 3500, "shop": 4000, "warehouse": 4000}.get(kind, 4500)
    admixtures = ["air_entrainer"] if outdoors or (kind == "garage" and chance.yes(0.1)) else []
    admixtures += chance.pick(([], ["water_reducer"], ["mid_range_reducer"]), (3, 4, 3))
    high_f = valley.at(site, minute(day, 15)).air_f
    if high_f > 87 and exposure != "indoors" and chance.yes(0.6):
        admixtures.append("retarder")
    if mean_f < 46 and chance.yes(0.65):
        admixtures.append("accelerator")
    slump = 4.5 + (0.6 if placement == "pump" else 0.0) + chance.normal(0, 0.45)
    slump += 0.4 if "mid_range_reducer" in admixtures else 0.0
    scm = chance.pick((0.0, 15.0, 20.0, 25.0), (4, 2, 4, 1)) if mean_f > 50 else 0.0
    base = "stone" if kind != "walk" or chance.yes(0.5) else "soil"
    if kind == "basement" or (kind in ("garage", "shop", "warehouse") and chance.yes(0.5)):
        heated = kind == "shop" and chance.yes(0.3)
        base = "foam_board;vapor_sheet" if heated else "stone;vapor_sheet"
    steel = {"shop": ("rebar", "mesh"), "warehouse": ("rebar",), "garage": ("fiber", "mesh"),
             "basement": ("none", "fiber")}.get(kind, ("fiber", "mesh", "rebar"))  # fmt: skip
    if kind in ("walk", "porch"):
        saw = "tooled"
    elif kind == "basement":
        saw = "none" if chance.yes(0.4) else "early_entry"
    else:
        saw = "conventional" if chance.yes(0.12) else "early_entry"
    spacing = min(15.0, max(5.0 if kind == "walk" else 8.0, round(inches * 2.6)))
    depth = None if saw == "none" else 1.0 if saw == "early_entry" else round(inches) / 4
    cure = chance.pick(("compound", "none", "wet", "sheet"), (5, 3, 1, 1))
    if outdoors and not chance.yes(0.12):
        cure = "compound"
    if mean_f < 45 and valley.at(site, minute(day, 29)).air_f < 36:
        cure = "blankets"
    mix = f"{strength // 100}{'A' if 'air_entrainer' in admixtures else 'N'}{'-F' if scm else ''}"
    return Slab(
        pour_id=pour_id, day=day, site=site, slab_type=kind, area_ft2=area, thickness_in=inches,
        due=minute(day, _first_load(chance, mean_f, nth)), placement=placement, exposure=exposure,
        finish=finish, strength_psi=strength, mix=mix, slump_in=max(3.0, slump),
        admixtures=admixtures, scm_pct=scm, reinforcement=chance.pick(steel), base=base,
        plant=chance.pick(tuple(PLANTS), (3, 2)), saw_type=saw, joint_spacing_ft=spacing,
        joint_depth_in=depth, cure=cure, order_in_day=nth, poured=poured,
        spread=chance.factor(0.07),
        cement_mood=chance.factor(0.07),
    )  # fmt: skip


def choose_sites(chance: Chance, kinds: tuple[str, ...]) -> list[str]:
    """A site for each slab of a day; the second is often next door."""
    first = chance.pick(tuple(SITES), (3, 4, 3, 4, 3, 3, 2))
    if len(kinds) == 1:
        return [first]
    return [first, first if chance.yes(0.35) else chance.pick([s for s in SITES if s != first])]
