"""What each slab met: its weather hour by hour, its mix, base and size, as arrays.

Frames come in the log's columns and house units; whatever is blank is filled with what is usual,
and `told` says how much of the weather was really there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.science import air as moist_air

Array = NDArray[np.float64]

STEP_H = 1.0 / 3.0
STEPS = 36
"""Twelve hours in steps of twenty minutes."""
USUAL = {"air_temp": 68.0, "humidity": 55.0, "wind": 6.0, "sun": 530.0, "cloud": 40.0}
"""Where no reading is near: a mild day, wind as a weather station has it, the sun of a working
morning (7 to 12 o'clock, April to October at 40 degrees north). No source; the forecast widens."""
USUAL_NOON_SUN = 600.0
REACH_H = 3.5
"""A reading counts for a moment at most this far away (the log allows 3 h between readings)."""
SKY_ASSUMED = "The weather gives neither sun nor cloud: a sky 40 percent covered is assumed."
LEAD_FREE_MIN = 45.0
"""A slab placed within this is ready as one piece; beyond it the first end is ready sooner."""
LEAD_SHARE = 0.6


@dataclass(frozen=True)
class Conditions:
    """Arrays of what each of n slabs met; weather is (slab x step) from `start` on."""

    frame: pd.DataFrame
    start_h: Array
    place_min: Array
    air_f: Array
    humidity_pct: Array
    wind_mph: Array
    """In the open, at slab height; shelter is not yet taken off."""
    sun_w_m2: Array
    """On a free horizontal plane."""
    cloud_share: Array
    ground_f: Array
    concrete_f: Array
    day_air_f: Array
    """Mean air of the day before, as the plant's stone and sand have it."""
    told: Array
    """Share of the first four hours that readings cover."""
    notes: tuple[str, ...] = field(default=())

    @property
    def count(self) -> int:
        """How many slabs."""
        return len(self.frame)

    @property
    def lead_min(self) -> Array:
        """Minutes of placing beyond what is ready as one piece."""
        return np.asarray(np.maximum(self.place_min - LEAD_FREE_MIN, 0.0))


@dataclass(frozen=True)
class Plant:
    """How warm concrete comes by the mean air of its day, not by a cool morning's.

    ACI 305R's mixing formula (0.22 of water's heat for solids, lb): 3,000 of aggregate at the
    day's mean, 550 of cement 30 degF above it, 275 of water half way from 60 degF to it. The
    weights are a usual mix's, the temperatures common practice, until loads are measured.
    """

    warmer_f: float = 0.0
    per_10_f: float = 0.0

    @classmethod
    def of(cls, found: Conditions) -> Plant:
        """Learn from the pours that have a concrete temperature and weather, leaning to usual."""
        logged = number(found.frame, "concrete_temp")
        air = found.day_air_f
        known = ~np.isnan(logged) & (found.told > 0.0)
        x = np.stack([np.ones(known.sum()), (air[known] - 65.0) / 10.0], axis=1)
        off = logged[known] - cls().usual_f(air[known])
        # Loads scatter by 5 degF; plants differ by 5, and by 2 for 10 degF of air.
        lean = np.diag([1.0, 6.0])
        warmer, slope = np.linalg.solve(x.T @ x + lean, x.T @ off)
        return cls(float(warmer), float(slope))

    def usual_f(self, day_air_f: Array) -> Array:
        """Degrees F of fresh concrete on a day of that mean air."""
        usual = day_air_f + 2.1 + 0.13 * (70.0 - day_air_f)
        return np.asarray(usual + self.warmer_f + self.per_10_f * (day_air_f - 65.0) / 10.0)

    def fills(self, found: Conditions) -> Conditions:
        """Conditions whose blank concrete temperatures are this plant's."""
        blank = np.isnan(number(found.frame, "concrete_temp"))
        usual = self.usual_f(found.day_air_f)
        return replace(found, concrete_f=np.where(blank, usual, found.concrete_f))


def hours(times: Any) -> Array:
    """Clock times as hours since 1970, NaN where blank."""
    stamps = pd.to_datetime(pd.Series(times)).to_numpy().astype("datetime64[s]")
    whole = stamps.astype("int64").astype(float) / 3600.0
    return np.asarray(np.where(np.isnat(stamps), np.nan, whole))


def number(frame: pd.DataFrame, name: str, usual: float = np.nan) -> Array:
    """A column of numbers as floats, the usual value where it is blank or not there."""
    if name not in frame:
        return np.full(len(frame), usual)
    values = pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(np.where(np.isnan(values), usual, values))


def words(frame: pd.DataFrame, name: str) -> list[str]:
    """A column of text, empty where it is blank or not there."""
    if name not in frame:
        return [""] * len(frame)
    blank = frame[name].isna().to_numpy()
    whole = frame[name].to_numpy(dtype=object)
    return ["" if no else str(value) for no, value in zip(blank, whole, strict=True)]


def conditions(
    frame: pd.DataFrame,
    weather: pd.DataFrame | None,
    sites: pd.DataFrame | None = None,
    house: Mapping[str, Any] | None = None,
    place_min: Array | None = None,
    plant: Plant | None = None,
) -> Conditions:
    """The conditions of pours or jobs (rows with place_start).

    ``place_min`` is the length of placing where it isn't logged; ``house`` gives the default
    latitude and longitude, needed only where the sun has to be reckoned from cloud; ``plant`` how
    warm concrete comes where nobody says.
    """
    frame = frame.reset_index(drop=True)
    begun = hours(frame["place_start"]) if "place_start" in frame else np.full(len(frame), np.nan)
    ended = hours(frame["place_end"]) if "place_end" in frame else np.full(len(frame), np.nan)
    length = (ended - begun) * 60.0
    if place_min is not None:
        length = np.where(np.isnan(length), place_min, length)
    length = np.where(np.isnan(length), LEAD_FREE_MIN, np.maximum(length, 1.0))
    begun = np.where(np.isnan(begun), ended - length / 60.0, begun)
    finished = begun + length / 60.0
    start = finished - LEAD_SHARE * np.maximum(length - LEAD_FREE_MIN, 0.0) / 60.0

    moments = start[:, None] + STEP_H * (np.arange(STEPS) + 0.5)
    count = len(frame)
    unseen = USUAL | {"wind": float(moist_air.wind_at_slab_mph(USUAL["wind"]))}
    found = {name: np.full((count, STEPS), usual) for name, usual in unseen.items()}
    # A day unseen has a night all the same.
    bright = np.clip(np.sin((moments % 24.0 - 6.0) / 14.0 * np.pi), 0.0, 1.0)
    found["sun"] = USUAL_NOON_SUN * bright
    told = np.zeros(count)
    ground = np.full(count, np.nan)
    notes: list[str] = []
    if weather is not None and len(weather) and count:
        places, exposure = (np.array(words(frame, name)) for name in ("site", "exposure"))
        by_site = {str(site): own for site, own in weather.groupby("site", sort=False)}
        for site in np.unique(places):
            rows = np.flatnonzero((places == site) & ~np.isnan(start))
            if site not in by_site or rows.size == 0:
                continue
            # Under a roof nobody asks for the sun.
            open_air = np.any(exposure[rows] != "indoors")
            said = notes if open_air else []
            own = readings(by_site[site], _where(site, sites, house), said)
            near = _distance(own["time"], moments[rows]) <= REACH_H
            known = np.any(near, axis=1, keepdims=True)
            for name in USUAL:
                at = own["sun_time" if name == "sun" else "time"]
                value = np.interp(moments[rows], at, own[name])
                # Past the last reading hold it for the temperature, not for the sun.
                held = near if name == "sun" else known
                found[name][rows] = np.where(held, value, found[name][rows])
            told[rows] = near[:, :12].mean(axis=1)
            day = start[rows][:, None] - np.arange(1.0, 25.0, 2.0)
            close = _distance(own["time"], day) <= REACH_H
            value = np.where(close, np.interp(day, own["time"], own["air_temp"]), np.nan)
            share = close.mean(axis=1)
            with np.errstate(invalid="ignore"):
                mean = np.where(share > 0.4, np.nansum(value, axis=1) / (12 * share + 1e-9), np.nan)
            ground[rows] = mean
    # Where only the day itself is told, its mean lies between the morning and the working hours.
    told_day = 0.5 * (found["air_temp"][:, 0] + found["air_temp"].mean(axis=1))
    day_air = np.where(np.isnan(ground), told_day, ground)
    # Ground under a slab lags the day's air and is a little cooler by late morning.
    ground = np.where(np.isnan(ground), found["air_temp"][:, :6].mean(axis=1) + 2.0, ground) - 1.0
    fresh = number(frame, "concrete_temp")
    usual = (plant or Plant()).usual_f(day_air)
    fresh = np.where(np.isnan(fresh), usual, fresh)
    return Conditions(
        frame=frame,
        start_h=start,
        place_min=length,
        air_f=found["air_temp"],
        humidity_pct=np.clip(found["humidity"], 1.0, 100.0),
        wind_mph=np.asarray(np.maximum(found["wind"], 0.0)),
        sun_w_m2=np.maximum(found["sun"], 0.0),
        cloud_share=np.clip(found["cloud"] / 100.0, 0.0, 1.0),
        ground_f=ground,
        concrete_f=fresh,
        day_air_f=day_air,
        told=told,
        notes=tuple(dict.fromkeys(notes)),
    )


def readings(
    own: pd.DataFrame, place: tuple[float, float, str] | None, notes: list[str]
) -> dict[str, Array]:
    """One site's readings in time order, wind at slab height, sun filled from cloud by pvlib.

    `time` is in hours, and `sun_time` for the sun: where readings lie hours apart and none has it,
    it is reckoned every half hour, since it rises and falls between them.
    """
    own = own.sort_values("time")
    time = hours(own["time"])
    wind = moist_air.wind_at_slab_mph(
        number(own, "wind", USUAL["wind"]), number(own, "wind_height")
    )
    cloud = number(own, "cloud")
    sun = number(own, "sun")
    blank = np.isnan(sun)
    sun_time = time
    covered = np.where(np.isnan(cloud), USUAL["cloud"], cloud)
    if blank.all() and time.size > 1 and np.median(np.diff(time)) > 1.0:
        sun_time = np.unique(np.concatenate([time, np.arange(time[0], time[-1], 0.5)]))
        covered = np.interp(sun_time, time, covered)
        stamps = pd.to_datetime(np.round(sun_time * 3600.0), unit="s")
        sun = _reckoned_sun(stamps, covered, place)
    elif blank.any():
        sun = np.where(blank, _reckoned_sun(own["time"], covered, place), sun)
    if blank.any():
        if np.isnan(cloud[blank]).any():
            notes.append(SKY_ASSUMED)
        if place is None:
            notes.append("No latitude is known: the sun is reckoned for 40 degrees north.")
    return {
        "time": time,
        "sun_time": sun_time,
        "air_temp": number(own, "air_temp", USUAL["air_temp"]),
        "humidity": number(own, "humidity", USUAL["humidity"]),
        "wind": wind,
        "sun": sun,
        "cloud": np.where(np.isnan(cloud), USUAL["cloud"], cloud),
    }


def _reckoned_sun(times: Any, cloud_pct: Array, place: tuple[float, float, str] | None) -> Array:
    from pourstats.science import sun

    latitude, longitude, zone = place if place is not None else (40.0, -75.0, "")
    stamps = pd.DatetimeIndex(pd.to_datetime(pd.Series(times)))
    if zone:
        aware = stamps.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward")
        utc = aware.tz_convert("UTC").tz_localize(None)
        utc = utc.where(utc.notna(), stamps - pd.Timedelta(hours=round(longitude / 15.0)))
    else:
        # Without a zone the clock is taken for the longitude's own, an hour ahead in summer.
        offset = np.round(longitude / 15.0) + np.where(
            (stamps.month >= 4) & (stamps.month <= 10), 1.0, 0.0
        )
        utc = stamps - pd.to_timedelta(offset, unit="h")
    clear = sun.clear_sky_w_m2(sun.zenith_deg(utc, latitude, longitude))
    return sun.cloudy_w_m2(clear, cloud_pct)


def _where(
    site: str, sites: pd.DataFrame | None, house: Mapping[str, Any] | None
) -> tuple[float, float, str] | None:
    latitude = (house or {}).get("latitude")
    longitude = (house or {}).get("longitude")
    zone = (house or {}).get("zone") or ""
    if sites is not None and len(sites):
        own = sites[sites["site"].astype(str) == site]
        if len(own):
            row = own.iloc[0]
            if pd.notna(row.get("latitude")) and pd.notna(row.get("longitude")):
                latitude, longitude = float(row["latitude"]), float(row["longitude"])
            if pd.notna(row.get("zone")) and str(row.get("zone")):
                zone = str(row["zone"])
    if latitude is None or longitude is None:
        return None
    return float(latitude), float(longitude), str(zone)


def _distance(time: Array, moments: Array) -> Array:
    """Hours from each moment to the nearest reading, none of them within a gap of readings."""
    if time.size == 0:
        return np.full(moments.shape, np.inf)
    place = np.searchsorted(time, moments)
    before = time[np.clip(place - 1, 0, time.size - 1)]
    after = time[np.clip(place, 0, time.size - 1)]
    return np.asarray(np.minimum(np.abs(moments - before), np.abs(after - moments)))
