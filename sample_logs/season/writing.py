"""From what happened to what was written down: blanks, clock times, and the CSV files."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Sequence
from pathlib import Path

from season.chance import Chance
from season.office import Row
from season.slabs import BAD_DAY, LAST_WEEK, Slab
from season.valley import SITES, Valley, minute, moment
from season.year import Season

COLUMNS = {
    "pours": "pour_id date site slab_type area thickness ordered_volume hands finish_hands crew_in"
    " crew_out mix strength slump admixtures scm reinforcement base placement exposure"
    " wind_felt finish concrete_temp place_start place_end bull_float_end machine_on passes_done"
    " pass_count saw_start saw_end saw_length saw_type joint_spacing joint_depth cure cure_start"
    " trouble lead notes",
    "trucks": "pour_id ticket volume returned plant called due batched arrived pour_start pour_end"
    " left slump concrete_temp water_added wait_charge",
    "passes": "pour_id pass_no tool machine part ready held_up start end footprint worker",
    "crew_time": "pour_id worker task wait_for start end",
    "weather": "site time air_temp humidity wind wind_height sun cloud rain source",
    "sites": "site latitude longitude zone",
    "callbacks": "callback_id pour_id reported defect fault hours cost notes",
    "bids": "pour_id bid_date bid_hours labor_rate bid_price scope won billed",
    "crew": "worker since skills pay",
    "jobs": "pour_id date site slab_type area thickness ordered_volume hands finish_hands mix"
    " strength slump admixtures scm reinforcement base placement exposure finish concrete_temp"
    " saw_type saw_length lead earliest_start latest_end place_start travel plant_travel",
}


def cell(value: object) -> str:
    """A value as a person would type it."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    return str(value)


def write(path: Path, table: str, rows: Iterable[Row]) -> None:
    """One CSV file in the columns of the log format."""
    path.parent.mkdir(parents=True, exist_ok=True)
    names = COLUMNS[table].split()
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(names)
        for row in rows:
            out.writerow([cell(row.get(name)) for name in names])


class Clock:
    """How the crew wrote times on a slab: in full, or the bare clock where that is unambiguous."""

    def __init__(self, slab: Slab, bare: bool) -> None:
        self._slab, self._bare = slab, bare

    def __call__(self, at: object) -> str:
        """The time as written."""
        if not isinstance(at, int):
            return ""
        when = moment(at)
        start = self._slab.times["place_start"]
        if self._bare and when.date() == self._slab.day and at >= start - 300:
            return f"{when.hour}:{when.minute:02d}"
        return f"{when:%Y-%m-%d %H:%M}"


def choose_logs(seed: int, slabs: Sequence[Slab]) -> None:
    """How much was written down: sloppier in spring, and on small slabs."""
    chance = Chance(seed, "log keeping")
    for slab in slabs:
        spring = slab.day < dt.date(slab.day.year, 5, 20)
        short = 0.28 if spring else 0.10
        slab.log = chance.pick(("short", "headcount", "full"), (short, 0.16, 0.84 - short))
        if slab.day == BAD_DAY or slab.day >= LAST_WEEK[1][0]:
            slab.log = "full"
        if slab.day == LAST_WEEK[0][0]:
            slab.log = "short"


def pour_rows(seed: int, slabs: Sequence[Slab], clocks: dict[str, Clock]) -> list[Row]:
    """The table of pours."""
    rows: list[Row] = []
    for slab in slabs:
        chance = Chance(seed, f"writing {slab.pour_id}")
        at = {name: clocks[slab.pour_id](when) for name, when in slab.times.items()}
        row: Row = {
            "pour_id": slab.pour_id, "date": slab.day, "site": slab.site,
            "slab_type": slab.slab_type, "area": slab.area_ft2, "thickness": slab.thickness_in,
            "hands": slab.hands,
        }  # fmt: skip
        short = ("crew_out", "place_start", "place_end", "bull_float_end", "machine_on",
                 "passes_done", "saw_end")  # fmt: skip
        row.update({name: at[name] for name in short if name in at})
        if slab.finish == "broom":
            row.pop("machine_on", None)
        if slab.log != "short":
            sawn = slab.saw_type not in ("none", "tooled")
            row.update({name: at.get(name) for name in ("crew_in", "saw_start", "cure_start")})
            row.update({
                "ordered_volume": slab.ordered_yd3, "finish_hands": slab.finish_hands,
                "mix": slab.mix, "strength": slab.strength_psi,
                "slump": _maybe(chance, 0.8, round(slab.slump_in * 4) / 4),
                "admixtures": ";".join(slab.admixtures), "scm": _maybe(chance, 0.8, slab.scm_pct),
                "reinforcement": slab.reinforcement, "base": slab.base,
                "placement": slab.placement, "exposure": slab.exposure, "finish": slab.finish,
                "concrete_temp": _maybe(chance, 0.75, slab.concrete_f),
                "pass_count": _maybe(chance, 0.8, slab.pass_count),
                "saw_length": _maybe(chance, 0.85, slab.saw_length_ft) if sawn else None,
                "saw_type": slab.saw_type,
                "joint_spacing": slab.joint_spacing_ft if slab.saw_type != "none" else None,
                "joint_depth": slab.joint_depth_in, "cure": _maybe(chance, 0.9, slab.cure),
                "trouble": ";".join(dict.fromkeys(slab.trouble)), "lead": slab.lead,
                "notes": slab.notes,
            })  # fmt: skip
            if not chance.yes(0.6):
                row["cure_start"] = None
        rows.append(row)
    return rows


def _maybe(chance: Chance, share: float, value: object) -> object:
    """The value, or a blank where nobody wrote it."""
    return value if chance.yes(share) else None


def truck_rows(seed: int, slabs: Sequence[Slab], clocks: dict[str, Clock]) -> list[Row]:
    """The loads, with ticket numbers that run on through the plant's season."""
    rows: list[Row] = []
    ticket = {"River plant": 61840, "Bench plant": 20415}
    number = Chance(seed, "tickets")
    for slab in slabs:
        chance = Chance(seed, f"tickets {slab.pour_id}")
        ticket[slab.plant] += round(number.between(60, 320))
        clock = clocks[slab.pour_id]
        no_left = chance.yes(0.12)
        for load in slab.loads:
            ticket[slab.plant] += round(number.between(1, 9))
            if slab.log == "short":
                continue
            rows.append({
                "pour_id": slab.pour_id, "ticket": ticket[slab.plant], "volume": load["volume"],
                "returned": load.get("returned"), "plant": slab.plant, "called": load["called"],
                "due": clock(load["due"]), "batched": _maybe(chance, 0.9, clock(load["batched"])),
                "arrived": clock(load["arrived"]), "pour_start": clock(load["pour_start"]),
                "pour_end": clock(load["pour_end"]),
                "left": "" if no_left else clock(load["left"]),
                "slump": _maybe(chance, 0.6, round(float(str(load["slump"])) * 4) / 4),
                "concrete_temp": _maybe(
                    chance, 0.45, float(round(slab.concrete_f + chance.normal(0, 1.2)))
                ),
                "water_added": load.get("water"), "wait_charge": load.get("charge"),
            })  # fmt: skip
    return rows


def pass_rows(seed: int, slabs: Sequence[Slab], clocks: dict[str, Clock]) -> list[Row]:
    """The passes."""
    rows: list[Row] = []
    for slab in slabs:
        if slab.log == "short":
            continue
        chance = Chance(seed, f"pass log {slab.pour_id}")
        clock = clocks[slab.pour_id]
        says_no, names = chance.yes(0.4), chance.yes(0.75)
        for nth, one in enumerate(slab.passes, start=1):
            held = one.get("held", "no")
            rows.append({
                "pour_id": slab.pour_id, "pass_no": nth, "tool": one["tool"],
                "machine": one["machine"], "part": one["part"],
                "ready": _maybe(chance, 0.75, clock(one.get("ready"))),
                "held_up": held if held != "no" or says_no else "",
                "start": clock(one["start"]), "end": clock(one["end"]),
                "footprint": _maybe(chance, 0.6, one["print"]),
                "worker": one["worker"] if names else "",
            })  # fmt: skip
    return rows


def crew_rows(season: Season, clocks: dict[str, Clock]) -> list[Row]:
    """The stretches of crew time of the slabs that have them."""
    full = {slab.pour_id for slab in season.slabs if slab.log == "full"}
    order = {slab.pour_id: nth for nth, slab in enumerate(season.slabs)}
    kept = sorted(
        (x for x in season.stretches if x.pour_id in full),
        key=lambda x: (order[x.pour_id], x.start // 1440, x.worker, x.start),
    )
    return [
        {"pour_id": x.pour_id, "worker": x.worker, "task": x.task, "wait_for": x.wait_for,
         "start": clocks[x.pour_id](x.start), "end": clocks[x.pour_id](x.end)}
        for x in kept
    ]  # fmt: skip


def weather_rows(seed: int, valley: Valley, slabs: Sequence[Slab]) -> list[Row]:
    """Hourly readings of each site, on its days of pours and the morning after."""
    chance = Chance(seed, "readings")
    wanted = {(slab.site, minute(slab.day) + 60 * hour) for slab in slabs for hour in range(4, 36)}
    rows = []
    for name, at in sorted(wanted):
        site, here = SITES[name], valley.at(name, at)
        row = _reading(name, at, valley, "estimated" if site.station == "cloud" else "measured")
        if site.station == "full":
            row["cloud"] = None
        else:
            row["sun"] = None
        if site.station == "pocket":
            row["wind"], row["wind_height"] = round(here.wind_mph * 0.72, 1), 2
        if not chance.yes(0.006):
            rows.append(row)
    return rows


def _reading(name: str, at: int, valley: Valley, source: str) -> Row:
    """One row of weather."""
    here = valley.at(name, at)
    return {
        "site": name, "time": f"{moment(at):%Y-%m-%d %H:%M}", "air_temp": here.air_f,
        "humidity": here.humidity, "wind": here.wind_mph, "sun": here.sun_w_m2,
        "cloud": here.cloud, "rain": here.rain_in, "source": source,
    }  # fmt: skip


def forecast_rows(seed: int, valley: Valley, ahead: Sequence[Slab]) -> list[Row]:
    """The jobs' sites and day by the hour, as a forecast would miss them a little."""
    rows = []
    for site in sorted({slab.site for slab in ahead}):
        chance = Chance(seed, f"forecast {site}")
        off_f, off_wind = chance.normal(0, 1.5), chance.factor(0.12)
        for hour in range(31):
            row = _reading(site, minute(ahead[0].day, hour), valley, "forecast")
            here = valley.at(site, minute(ahead[0].day, hour))
            row["air_temp"] = float(round(here.air_f + off_f))
            row["wind"] = float(round(here.wind_mph * off_wind))
            rows.append(row)
    return rows


def by_hand_rows(forecast: Sequence[Row], site: str) -> list[Row]:
    """Five readings of the same day as one jots them down: the sky, not the sun."""
    hours = ("05:00", "09:00", "12:00", "15:00", "18:00")
    rows = []
    first_day = str(forecast[0]["time"])[:10]
    for row in forecast:
        time = str(row["time"])
        if row["site"] == site and time[:10] == first_day and time[11:] in hours:
            rough = dict(row, sun=None, rain=None)
            for name in ("humidity", "cloud"):
                rough[name] = float(5 * round(float(str(row[name])) / 5))
            rows.append(rough)
    return rows
