"""The office's side: bids made by feel, calls to come back, jobs ahead."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from season.chance import Chance
from season.crew import PEOPLE, Day, Stretch
from season.pouring import needed_yd3
from season.slabs import BAD_DAY, LAST_POUR, Slab, choose_sites
from season.stiffening import SUN_ON, WIND_ON, evaporation
from season.valley import PLANTS, SITES, Valley, drive_min, minute, spot
from season.year import Season

AHEAD = LAST_POUR + dt.timedelta(days=1)
AHEAD_KINDS = ("basement", "garage", "patio")
# Labor hours a square foot, as the owner feels them. Garages are felt as quick.
HOURS_PER_FT2 = {"basement": 0.0205, "garage": 0.0270, "shop": 0.0185, "warehouse": 0.0165,
                 "driveway": 0.0195, "patio": 0.0250, "walk": 0.0250, "porch": 0.0280}  # fmt: skip
LOST = ("garage", "shop", "driveway", "basement", "patio", "shop", "garage", "warehouse",
        "driveway", "basement", "porch", "shop", "garage")  # fmt: skip

Row = dict[str, object]


@dataclass
class Numbering:
    """Bid numbers of everything, in the order bid; a number stays with its pour."""

    ids: dict[tuple[dt.date, int], str]
    bid_dates: dict[str, dt.date]
    lost: list[tuple[str, str]]


def number_bids(seed: int, plan: list[tuple[dt.date, tuple[str, ...]]]) -> Numbering:
    """Give every pour, job ahead and lost bid its number."""
    chance = Chance(seed, "bid book")
    book: list[tuple[dt.date, int, tuple[dt.date, int] | str]] = []
    for date, kinds in [*plan, (AHEAD, AHEAD_KINDS)]:
        for nth in range(len(kinds)):
            bid = date - dt.timedelta(days=round(chance.between(6, 27)))
            book.append((bid, len(book), (date, nth)))
    for kind in LOST:
        bid = dt.date(LAST_POUR.year, 4, 3) + dt.timedelta(days=round(chance.between(0, 195)))
        book.append((bid, len(book), kind))
    numbering = Numbering({}, {}, [])
    for nth, (bid, _, what) in enumerate(sorted(book, key=lambda x: x[:2])):
        pour_id = f"B{201 + nth}"
        numbering.bid_dates[pour_id] = bid
        if isinstance(what, str):
            numbering.lost.append((pour_id, what))
        else:
            numbering.ids[what] = pour_id
    return numbering


def sites_of(
    seed: int, plan: list[tuple[dt.date, tuple[str, ...]]]
) -> dict[tuple[dt.date, int], str]:
    """The site of every slab, jobs ahead included."""
    chance = Chance(seed, "sites")
    sites = {}
    for date, kinds in plan:
        for nth, site in enumerate(choose_sites(chance, kinds)):
            sites[date, nth] = site
    for nth, site in enumerate(("Sorrel Creek", "Mill Flats", "Depot Street")):
        sites[AHEAD, nth] = site
    return sites


def _bid(chance: Chance, pour_id: str, bid: dt.date, kind: str, area: float) -> Row:
    """A bid by feel: hours a square foot, rounded to something that sounds right."""
    hours = area * HOURS_PER_FT2[kind] * chance.factor(0.10)
    step = 2 if hours < 30 else 4
    hours = max(8, step * round(hours / step))
    labor_rate = 62.0 if bid < dt.date(bid.year, 7, 1) else 65.0
    price = hours * labor_rate * 1.12 + 0.42 * area + 150
    return {
        "pour_id": pour_id, "bid_date": bid, "bid_hours": float(hours), "labor_rate": labor_rate,
        "bid_price": 25 * round(price / 25),
        "scope": chance.pick(("", "place;finish;saw", "place;finish;saw;cure"), (5, 3, 2)),
    }  # fmt: skip


def bids(seed: int, season: Season, numbering: Numbering, ahead: list[Slab]) -> list[Row]:
    """Every bid, won and lost, by date."""
    rows = []
    for slab in [*season.slabs, *ahead]:
        chance = Chance(seed, f"bid {slab.pour_id}")
        row = _bid(chance, slab.pour_id, numbering.bid_dates[slab.pour_id], slab.slab_type,
                   slab.area_ft2)  # fmt: skip
        row["won"] = "yes"
        waits = sum(float(str(x.get("charge", 0.0))) for x in slab.loads)
        extra = waits + (25 * round(chance.between(4, 16)) if chance.yes(0.12) else 0)
        if slab.day <= LAST_POUR - dt.timedelta(days=9):
            row["billed"] = float(str(row["bid_price"])) + (extra if chance.yes(0.5) else 0)
        rows.append(row)
    for pour_id, kind in numbering.lost:
        chance = Chance(seed, f"bid {pour_id}")
        area = {"garage": 672, "shop": 2400, "driveway": 1200, "basement": 1300, "patio": 640,
                "warehouse": 5000, "porch": 520}[kind]  # fmt: skip
        area *= chance.between(0.85, 1.2)
        row = _bid(chance, pour_id, numbering.bid_dates[pour_id], kind, area)
        row["won"] = "no"
        rows.append(row)
    return sorted(rows, key=lambda x: str(x["pour_id"]))


def _risks(valley: Valley, slab: Slab) -> dict[str, float]:
    """What each defect's odds rest on: the weather of the first hours, the saw, the mix."""
    start = slab.times["place_start"]
    worst = 0.0
    for at in range(start, slab.times["machine_on"] + 1, 15):
        here = valley.at(slab.site, at)
        sunny = slab.concrete_f + 6 * SUN_ON[slab.exposure]
        worst = max(worst, evaporation(sunny, here, WIND_ON[slab.exposure]))
    risks = {"plastic_crack": 0.5 * max(0.0, worst - 0.14) / 0.1}
    saw = slab.times.get("saw_end")
    if saw is not None:
        late_h = (saw - slab.times["place_end"]) / 60
        risks["random_crack"] = 0.05 * max(0.0, late_h - 6.5)
    elif slab.saw_type == "none":
        risks["random_crack"] = 0.10
    if slab.finish == "hard_trowel" and "air_entrainer" in slab.admixtures:
        risks["delamination"] = 0.9
    if slab.finish in ("hard_trowel", "trowel") and "wet_load" in slab.trouble:
        risks["dusting"] = 0.5
    if slab.outdoors and slab.cure == "none":
        risks["scaling"] = 0.4
    risks["low_spot"] = 0.03
    return risks


FAULT = {"plastic_crack": ("ours", "ours", "mix", ""), "random_crack": ("ours", "normal", "base"),
         "delamination": ("mix", "ours"), "dusting": ("mix", ""), "scaling": ("use", "mix"),
         "low_spot": ("ours",), "trowel_burn": ("ours",)}  # fmt: skip
SAID = {"plastic_crack": "short parallel cracks, stop before the edge", "random_crack":
        "crack runs off the joint", "delamination": "sounds hollow by the door", "dusting":
        "chalky under tires", "scaling": "flakes at the apron", "low_spot": "puddle by the drain",
        "trowel_burn": "dark swirls, owner wants it lighter"}  # fmt: skip


def callbacks(seed: int, valley: Valley, season: Season) -> list[Row]:
    """Calls reported by the end of October; young slabs have had less time to draw one."""
    rows: list[Row] = []
    for slab in season.slabs:
        chance = Chance(seed, f"callback {slab.pour_id}")
        for defect, risk in _risks(valley, slab).items():
            weeks = {"plastic_crack": 3, "random_crack": 9, "delamination": 10}.get(defect, 8)
            days = round(7 * weeks * chance.factor(0.35))
            reported = slab.day + dt.timedelta(days=days)
            if chance.yes(min(0.9, risk)) and reported <= LAST_POUR and len(rows) < 12:
                rows.append({"pour_id": slab.pour_id, "reported": reported, "defect": defect})
        if slab.day == BAD_DAY:
            rows.append({"pour_id": slab.pour_id, "reported": slab.day + dt.timedelta(days=12),
                         "defect": "trowel_burn"})  # fmt: skip
    rows.sort(key=lambda x: (str(x["reported"]), str(x["pour_id"])))
    for nth, row in enumerate(rows):
        chance = Chance(seed, f"callback work {row['pour_id']} {row['defect']}")
        row["callback_id"] = f"C{nth + 1:02d}"
        row["fault"] = chance.pick(FAULT[str(row["defect"])])
        if chance.yes(0.75) and row["fault"] != "normal":
            row["hours"] = round(2 * chance.between(1.0, 6.0)) / 2
            row["cost"] = 5.0 * round(chance.between(4, 60))
        row["notes"] = SAID[str(row["defect"])] if chance.yes(0.6) else ""
    return rows


def repair_trips(seed: int, season: Season, calls: list[Row]) -> list[Stretch]:
    """The few repairs that made it into the crew's time, on days without a pour."""
    poured = {slab.day for slab in season.slabs}
    by_id = {slab.pour_id: slab for slab in season.slabs}
    stretches: list[Stretch] = []
    taken: set[dt.date] = set()
    for row in calls:
        slab = by_id[str(row["pour_id"])]
        reported = row["reported"]
        hours = row.get("hours")
        if hours is None or slab.log != "full" or not isinstance(reported, dt.date):
            continue
        for later in range(2, 14):
            date = reported + dt.timedelta(days=later)
            quiet = date not in poured and date - dt.timedelta(days=1) not in poured
            if quiet and date not in taken and date.weekday() < 5 and date <= LAST_POUR:
                taken.add(date)
                trip = Day(["RB"], minute(date, 8.0))
                arrived = trip.go(slab, "RB", minute(date, 8.0))
                end = arrived + round(60 * float(str(hours)))
                trip.work(slab, "RB", "return_visit", arrived, end)
                trip.home(by_id, "RB")
                stretches += trip.stretches
                break
    return stretches


def jobs(seed: int, ahead: list[Slab]) -> list[Row]:
    """The jobs of the day after the last pour, as ordered."""
    rows = []
    for nth, slab in enumerate(ahead):
        need = math.ceil(needed_yd3(Chance(seed, f"job {slab.pour_id}"), slab) * 2) / 2
        sawn = slab.saw_type not in ("none", "tooled")
        cut_ft = 5 * round(slab.area_ft2 * 2 / slab.joint_spacing_ft * 0.82 / 5)
        rows.append({
            "pour_id": slab.pour_id, "date": slab.day, "site": slab.site,
            "slab_type": slab.slab_type, "area": slab.area_ft2, "thickness": slab.thickness_in,
            "ordered_volume": need, "hands": (4, 4, 3)[nth], "finish_hands": (2, 2, 1)[nth],
            "mix": slab.mix, "strength": slab.strength_psi, "slump": round(slab.slump_in * 2) / 2,
            "admixtures": ";".join(slab.admixtures), "scm": slab.scm_pct,
            "reinforcement": slab.reinforcement, "base": slab.base, "placement": slab.placement,
            "exposure": slab.exposure, "finish": slab.finish, "concrete_temp": slab.concrete_f,
            "saw_type": slab.saw_type,
            "saw_length": cut_ft if sawn else None,
            "lead": ("RB", "MK", "")[nth],
            "earliest_start": ("07:00", "07:30", "")[nth],
            "latest_end": ("", "20:00", "18:30")[nth],
            "place_start": ("", "11:30", "")[nth],
            "travel": round(drive_min(spot("shop"), spot(slab.site))),
            "plant_travel": round(drive_min(PLANTS[slab.plant], spot(slab.site))),
        })  # fmt: skip
    return rows


def crew_rows() -> list[Row]:
    """The people."""
    names = ("worker", "since", "skills", "pay")
    return [dict(zip(names, person, strict=True)) for person in PEOPLE]


def site_rows() -> list[Row]:
    """The sites."""
    return [
        {"site": site.name, "latitude": site.latitude, "longitude": site.longitude,
         "zone": "America/Boise"}
        for site in SITES.values()
    ]  # fmt: skip
