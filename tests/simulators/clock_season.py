"""What both clock simulators share: invented jobs, invented weather, and how a log is written.

Nothing here knows how concrete sets; that is in clock_heat.py and clock_rules.py, which have
different structure on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

SITES = ("North lot", "River road", "Mill yard")
TYPES = ("basement", "garage", "shop", "driveway", "patio", "warehouse")
TYPE_SHARE = (0.32, 0.2, 0.13, 0.15, 0.1, 0.1)
AREA = {
    "basement": (1100, 0.3),
    "garage": (650, 0.25),
    "shop": (2400, 0.4),
    "driveway": (900, 0.4),
    "patio": (400, 0.35),
    "warehouse": (6500, 0.4),
}
OUTDOORS = ("driveway", "patio")


@dataclass
class Season:
    """Frames in the log's columns and house units, and what only the simulator knows."""

    pours: pd.DataFrame
    passes: pd.DataFrame
    weather: pd.DataFrame
    sites: pd.DataFrame
    first_min: np.ndarray
    """(pour x draw) first pass after the end of placing, by the one who knows the process."""
    last_min: np.ndarray
    """(pour x draw) end of the last pass after the end of placing."""
    held: np.ndarray = field(default_factory=lambda: np.array([]))


def weather_of_year(rng: np.random.Generator, site: str, first: str, days: int) -> pd.DataFrame:
    """Hourly weather with seasons, fronts and days: no real place."""
    hours = np.arange(days * 24)
    times = pd.Timestamp(first) + pd.to_timedelta(hours, unit="h")
    doy = times.day_of_year.to_numpy()
    clock = hours % 24
    daily = rng.normal(size=days + 1)
    for i in range(1, days + 1):
        daily[i] = 0.7 * daily[i - 1] + np.sqrt(1 - 0.49) * daily[i]
    cloud_day = np.clip(0.45 + 0.35 * rng.normal(size=days), 0, 1)
    cloud = np.clip(np.repeat(cloud_day, 24) + 0.15 * rng.normal(size=hours.size), 0, 1)
    mean = 55 + 22 * np.sin((doy - 110) / 365 * 2 * np.pi)
    swing = (12 - 6 * np.repeat(cloud_day, 24)) * np.cos((clock - 15.5) / 24 * 2 * np.pi)
    air = mean + 8 * np.interp(hours / 24, np.arange(days + 1), daily) + swing
    humid = np.clip(
        62 - 1.4 * swing + 18 * (cloud - 0.45) + 6 * np.repeat(rng.normal(size=days), 24), 12, 99
    )
    gust = np.repeat(np.exp(rng.normal(np.log(7), 0.45, days)), 24)
    wind = np.maximum(gust * (1 + 0.4 * np.cos((clock - 15) / 24 * 2 * np.pi)), 0)
    wind = wind * np.exp(0.15 * rng.normal(size=hours.size))
    declination = 23.45 * np.sin((284 + doy) / 365 * 2 * np.pi)
    lat, dec = np.radians(40.0), np.radians(declination)
    height = np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(
        np.radians(15 * (clock - 13))
    )
    up = np.maximum(height, 0)
    clear = np.where(up > 0, 1098 * up * np.exp(-0.059 / np.maximum(up, 1e-3)), 0)
    sun = clear * (1 - 0.75 * cloud**3.4)
    return pd.DataFrame(
        {
            "site": site,
            "time": times,
            "air_temp": air.round(1),
            "humidity": humid.round(0),
            "wind": wind.round(1),
            "wind_height": np.nan,
            "sun": sun.round(0),
            "cloud": (cloud * 100).round(0),
            "rain": 0.0,
            "source": "measured",
        }
    )


def jobs(rng: np.random.Generator, n: int, first: str = "2031-04-06", days: int = 210):
    """Invented jobs in date order, with their weather."""
    weather = pd.concat(
        [weather_of_year(rng, s, first, days + 2) for s in SITES], ignore_index=True
    )
    day = np.sort(rng.integers(0, days, n))
    kind = rng.choice(TYPES, n, p=TYPE_SHARE)
    area = np.array([AREA[k][0] * np.exp(AREA[k][1] * rng.normal()) for k in kind]).round(0)
    inside = ~np.isin(kind, OUTDOORS)
    exposure = np.where(
        inside,
        rng.choice(["shade", "mixed", "indoors", "sun"], n, p=[0.3, 0.3, 0.25, 0.15]),
        rng.choice(["sun", "mixed", "shade"], n, p=[0.6, 0.3, 0.1]),
    )
    thickness = np.where(kind == "warehouse", 6.0, np.where(rng.random(n) < 0.75, 4.0, 5.0))
    finish = np.where(inside, rng.choice(["trowel", "hard_trowel"], n, p=[0.7, 0.3]), "broom")
    hands = np.where(area > 2000, 7, rng.choice([4, 5], n)).astype(float)
    start = [
        pd.Timestamp(first) + pd.Timedelta(days=int(d), minutes=int(m))
        for d, m in zip(day, rng.choice([360, 390, 420, 450, 480, 600, 780], n), strict=True)
    ]
    volume = area * thickness / 324
    place_min = np.maximum(
        20, volume / (8.0 + 6.0 * (hands - 4)) * 60 * np.exp(0.2 * rng.normal(size=n))
    )
    frame = pd.DataFrame(
        {
            "pour_id": [f"S{i:04d}" for i in range(n)],
            "date": [t.normalize() for t in start],
            "site": rng.choice(SITES, n),
            "slab_type": kind,
            "area": area,
            "thickness": thickness,
            "hands": hands,
            "finish_hands": np.where(area > 2000, 3.0, 2.0),
            "mix": rng.choice(["3000 plain", "4000 plain", "4000 ash", "4500 air"], n),
            "slump": np.round(rng.normal(5, 0.8, n) * 2) / 2,
            "base": rng.choice(["soil", "stone", "vapor_sheet", "foam_board"], n, p=[0.15, 0.4, 0.3, 0.15]),
            "placement": rng.choice(["chute", "pump"], n),
            "exposure": exposure,
            "finish": finish,
            "lead": rng.choice(["A", "B"], n),
            "place_start": start,
        }
    )  # fmt: skip
    frame["admixtures"] = np.where(frame["mix"] == "4500 air", "air_entrainer", "")
    frame["scm"] = np.where(frame["mix"] == "4000 ash", 25.0, 0.0)
    frame["place_end"] = frame["place_start"] + pd.to_timedelta(place_min.round(), unit="min")
    frame["bull_float_end"] = frame["place_end"] + pd.Timedelta(minutes=12)
    own = {s: w.set_index("time") for s, w in weather.groupby("site")}
    air = np.array(
        [
            own[s]["air_temp"].asof(t)
            for s, t in zip(frame["site"], frame["place_start"], strict=True)
        ]
    )
    frame["concrete_temp"] = (66 + 0.45 * (air - 60) + rng.normal(0, 3, n)).round(0)
    return frame, weather


FELT = ("air_temp", "humidity", "wind", "sun", "cloud")


def by_site(weather: pd.DataFrame) -> dict[str, dict[str, np.ndarray]]:
    """Each site's weather as arrays, `minute` counted from 1970."""
    return {
        site: {c: own[c].to_numpy() for c in FELT} | {"minute": _minute(own["time"])}
        for site, own in weather.groupby("site")
    }


def at(sites: dict, site: str, start: pd.Timestamp, minutes: np.ndarray) -> dict:
    """Weather at minutes after a moment, interpolated; ``sites`` is of :func:`by_site`."""
    own = sites[site]
    when = _minute(pd.Series([start]))[0] + minutes
    return {c: np.interp(when, own["minute"], own[c]) for c in FELT}


def _minute(times: pd.Series) -> np.ndarray:
    return times.to_numpy().astype("datetime64[s]").astype("int64") / 60.0


def logged(frame, weather, first, last, counts, rng, *, held_share=0.07) -> Season:
    """Write what a crew would have written: rounded, some passes late for people, some not logged.

    ``first``, ``last`` are (pour x draw); draw 0 is what happened.
    """
    n = len(frame)
    frame = frame.copy()
    happened_first = np.round(first[:, 0] / 5) * 5
    happened_last = np.maximum(np.round(last[:, 0] / 5) * 5, happened_first + 10)
    held = rng.random(n) < held_share
    late = np.where(held, np.round(rng.exponential(35, n) / 5) * 5 + 5, 0)
    end = frame["place_end"]
    on = end + pd.to_timedelta(happened_first + late, unit="min")
    done = end + pd.to_timedelta(happened_last + 0.6 * late, unit="min")
    frame["machine_on"], frame["passes_done"], frame["pass_count"] = on, done, counts.astype(float)
    detailed = rng.random(n) < 0.6
    rows = []
    for i in np.flatnonzero(detailed):
        k = int(counts[i])
        length = (done[i] - on[i]).total_seconds() / 60
        starts = np.linspace(0, length, k + 1)[:-1]
        for j, s in enumerate(starts):
            stop = s + 0.55 * length / k if j < k - 1 else length
            rows.append(
                {
                    "pour_id": frame["pour_id"][i], "pass_no": j + 1, "tool": "pan",
                    "machine": "walk_behind", "part": "whole", "ready": pd.NaT,
                    "held_up": ("people" if held[i] else "no") if j == 0 else None,
                    "start": on[i] + pd.Timedelta(minutes=round(s)),
                    "end": on[i] + pd.Timedelta(minutes=round(stop)),
                    "footprint": np.nan, "worker": None,
                }
            )  # fmt: skip
    columns = [
        "pour_id",
        "pass_no",
        "tool",
        "machine",
        "part",
        "ready",
        "held_up",
        "start",
        "end",
        "footprint",
        "worker",
    ]
    passes = pd.DataFrame(rows, columns=columns)
    sites = pd.DataFrame(
        {"site": list(SITES), "latitude": 40.0, "longitude": -89.0, "zone": "America/Chicago"}
    )
    held = held & detailed  # a delay nobody wrote down is part of the noise
    return Season(frame, passes, weather, sites, first, last, held)
