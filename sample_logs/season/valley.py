"""The valley: its sites, its ready-mix plants, and its weather by the hour.

Times are whole minutes since the start of 2025, local wall-clock (the season lies wholly within
daylight saving time). Temperatures are degF, wind mph at 10 m, sun W/m2, rain in.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from season.chance import Chance

YEAR = 2025
EPOCH = dt.datetime(YEAR, 1, 1)
UTC_OFFSET_H = -6.0
FIRST, LAST = dt.date(YEAR, 4, 1), dt.date(YEAR, 11, 3)


def minute(day: dt.date, hour: float = 0.0) -> int:
    """Minutes since the start of the year."""
    return (day - EPOCH.date()).days * 1440 + round(hour * 60)


def moment(at: float) -> dt.datetime:
    """The wall-clock time of a count of minutes."""
    return EPOCH + dt.timedelta(minutes=round(at))


@dataclass(frozen=True)
class Site:
    """A job site: where it lies, how it differs from the valley floor, and how it is measured."""

    name: str
    latitude: float
    longitude: float
    warmer_f: float
    windier: float
    station: str
    """``full`` has a sun meter, ``cloud`` only the sky's cover, ``pocket`` is read at 2 m."""


SHOP = (43.520, -112.960)
SITES = {
    site.name: site
    for site in (
        Site("Alder Bench", 43.571, -112.902, -1.6, 1.20, "full"),
        Site("Mill Flats", 43.508, -112.985, 0.8, 0.95, "full"),
        Site("Quarry Hill", 43.562, -113.035, -0.9, 1.10, "cloud"),
        Site("Sorrel Creek", 43.455, -112.948, -0.4, 0.85, "full"),
        Site("Depot Street", 43.524, -112.951, 1.5, 0.80, "cloud"),
        Site("Old Orchard", 43.487, -113.040, 0.2, 0.90, "pocket"),
        Site("Windy Gap", 43.428, -112.865, -1.2, 1.35, "full"),
    )
}
PLANTS = {"River plant": (43.512, -112.931), "Bench plant": (43.590, -113.000)}


def drive_min(start: tuple[float, float], end: tuple[float, float]) -> float:
    """Minutes by road between two points of the valley; 0 within a site."""
    north = (start[0] - end[0]) * 69.0
    east = (start[1] - end[1]) * 50.0
    miles = math.hypot(north, east)
    return 0.0 if miles < 0.05 else 6.0 + 1.9 * miles


def spot(place: str) -> tuple[float, float]:
    """Where a site or the shop lies."""
    if place == "shop":
        return SHOP
    return SITES[place].latitude, SITES[place].longitude


def clear_sky(site: Site, at: float) -> float:
    """Clear-sky irradiance on the level, W/m2 (Haurwitz 1945, a plain solar position)."""
    day = at / 1440 + 1
    tilt = math.radians(23.45) * math.sin(2 * math.pi * (284 + day) / 365)
    b = 2 * math.pi * (day - 81) / 364
    equation = 9.87 * math.sin(2 * b) - 7.53 * math.cos(b) - 1.5 * math.sin(b)
    solar_h = (at % 1440) / 60 - UTC_OFFSET_H + site.longitude / 15 + equation / 60
    angle = math.radians(15 * (solar_h - 12))
    lat = math.radians(site.latitude)
    up = math.sin(lat) * math.sin(tilt) + math.cos(lat) * math.cos(tilt) * math.cos(angle)
    return 1098 * up * math.exp(-0.059 / up) if up > 0.02 else 0.0


def humidity_pct(air_f: float, dew_f: float) -> float:
    """Relative humidity from air temperature and dew point (Magnus)."""

    def pressure(temp_f: float) -> float:
        temp_c = (temp_f - 32) / 1.8
        return math.exp(17.625 * temp_c / (temp_c + 243.04))

    return 100 * pressure(dew_f) / pressure(air_f)


@dataclass(frozen=True)
class Reading:
    """The weather at a site and moment."""

    air_f: float
    humidity: float
    wind_mph: float
    sun_w_m2: float
    cloud: float
    rain_in: float


# Days that make the season: first, last, degF warmer, share of cloud or None, times the wind
SPELLS = (
    (dt.date(YEAR, 4, 21), dt.date(YEAR, 4, 24), -11.0, 0.6, 1.0),
    (dt.date(YEAR, 5, 27), dt.date(YEAR, 5, 31), 5.0, 0.1, 3.2),
    (dt.date(YEAR, 7, 14), dt.date(YEAR, 7, 20), 12.0, 0.05, 2.6),
    (dt.date(YEAR, 8, 13), dt.date(YEAR, 8, 15), 7.0, 0.35, 1.7),
    (dt.date(YEAR, 9, 22), dt.date(YEAR, 9, 25), 2.0, 0.1, 1.9),
    (dt.date(YEAR, 10, 6), dt.date(YEAR, 10, 9), -13.0, 0.5, 1.0),
    (dt.date(YEAR, 10, 29), dt.date(YEAR, 10, 31), -4.0, None, 1.0),
)
STORM = {(dt.date(YEAR, 8, 14), 14): 0.22, (dt.date(YEAR, 8, 14), 15): 0.14,
         (dt.date(YEAR, 8, 14), 16): 0.03}  # fmt: skip
DRY = {dt.date(YEAR, 8, 14), dt.date(YEAR, 10, 31)}


class Valley:
    """Hourly weather of every site, made once from the seed."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        chance = Chance(seed, "valley weather")
        self.wet_days: set[dt.date] = set()
        self._hours: dict[str, dict[int, Reading]] = {name: {} for name in SITES}
        warm = damp = grey = gust = 0.0
        local = {name: Chance(seed, f"weather {name}") for name in SITES}
        for step in range((LAST - FIRST).days + 1):
            day = FIRST + dt.timedelta(days=step)
            warm = 0.72 * warm + chance.normal(0, 3.6)
            damp = 0.65 * damp + chance.normal(0, 3.4)
            grey = 0.45 * grey + chance.normal(0, 1.1)
            gust = 0.35 * gust + chance.normal(0, 0.42)
            year_day = day.timetuple().tm_yday
            mean_f = 50 + 23 * math.cos(2 * math.pi * (year_day - 205) / 365) + warm
            cloudy = 1 / (1 + math.exp(0.9 - 1.3 * grey))
            windier = 1.0
            for first, last, warmer, cloud, times_wind in SPELLS:
                if first <= day <= last:
                    windier = times_wind
                    mean_f += warmer - 0.6 * warm
                    cloudy = cloudy if cloud is None else 0.3 * cloudy + 0.7 * cloud
            dew_f = 31 + 12 * math.cos(2 * math.pi * (year_day - 210) / 365) + damp + 7 * cloudy
            wet = cloudy > 0.55 and chance.yes(0.55) and day not in DRY
            starts, lasts = round(chance.between(4, 18)), round(chance.between(2, 6))
            drops = [chance.between(0.01, 0.11) for _ in range(8)]
            if wet:
                self.wet_days.add(day)
            for hour in range(24):
                swing = (15 - 8 * cloudy) * math.cos(2 * math.pi * (hour - 15.6) / 24)
                swing += 1.6 * math.cos(4 * math.pi * (hour - 15.0) / 24)
                breeze = 4.0 + 7.5 * max(0.0, math.sin(math.pi * (hour - 9) / 12.5))
                rain = drops[hour - starts] if wet and 0 <= hour - starts < lasts else 0.0
                rain = STORM.get((day, hour), rain)
                cover = min(1.0, max(0.0, cloudy + chance.normal(0, 0.10) + (0.5 if rain else 0)))
                wind_noise = math.exp(0.7 * gust + chance.normal(0, 0.16)) * windier
                at = minute(day, hour)
                for name, site in SITES.items():
                    own = local[name]
                    air = mean_f + swing + site.warmer_f + own.normal(0, 0.5) - (6 if rain else 0)
                    dew = min(dew_f + own.normal(0, 0.5) + (6 if rain else 0), air - 1.2)
                    sky = min(1.0, max(0.0, cover + own.normal(0, 0.03)))
                    self._hours[name][at] = Reading(
                        air_f=round(air, 1),
                        humidity=float(round(humidity_pct(air, dew))),
                        wind_mph=round(min(38.0, max(0.4, breeze * wind_noise * site.windier)), 1),
                        sun_w_m2=float(round(clear_sky(site, at) * (1 - 0.72 * sky**3.0))),
                        cloud=float(5 * round(20 * sky)),
                        rain_in=round(rain, 2),
                    )

    def at(self, site: str, time: float) -> Reading:
        """The weather between two hours, drawn straight."""
        hours = self._hours[site]
        low = int(time // 60) * 60
        a, b, part = hours[low], hours[low + 60], (time - low) / 60
        mix = [x + (y - x) * part for x, y in zip(vars(a).values(), vars(b).values(), strict=True)]
        return Reading(*mix)

    def day_mean_f(self, site: str, day: dt.date) -> float:
        """Mean air temperature of a day."""
        return sum(self._hours[site][minute(day, h)].air_f for h in range(24)) / 24

    def rained(self, site: str, start: float, end: float) -> float:
        """Inches of rain from start to end."""
        first = int(start // 60) * 60
        return sum(self._hours[site][at].rain_in for at in range(first, int(end), 60))
