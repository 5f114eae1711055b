"""Weather years in the two open layouts, EPW and TMY3: what they are, where, and their fields.

Field lists: EnergyPlus, Auxiliary Programs, "EPW data dictionary"; Wilcox and Marion 2008, Users
Manual for TMY3 Data Sets, NREL/TP-581-43156. In both, hour 1 is the hour that ends at 1:00, and the
clock stays on standard time all year.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

from pourstats.logs.files import UnusableError


@dataclass(frozen=True)
class Place:
    """Where a weather file comes from; ``offset_min`` is its clock's minutes from UTC."""

    name: str
    latitude: float
    longitude: float
    offset_min: int


EPW_HEADER = (
    "Year", "Month", "Day", "Hour", "Minute", "Data Source and Uncertainty Flags",
    "Dry Bulb Temperature [C]", "Dew Point Temperature [C]", "Relative Humidity [%]",
    "Atmospheric Station Pressure [Pa]", "Extraterrestrial Horizontal Radiation [Wh/m2]",
    "Extraterrestrial Direct Normal Radiation [Wh/m2]",
    "Horizontal Infrared Radiation Intensity [Wh/m2]", "Global Horizontal Radiation [Wh/m2]",
    "Direct Normal Radiation [Wh/m2]", "Diffuse Horizontal Radiation [Wh/m2]",
    "Global Horizontal Illuminance [lux]", "Direct Normal Illuminance [lux]",
    "Diffuse Horizontal Illuminance [lux]", "Zenith Luminance [Cd/m2]", "Wind Direction [degrees]",
    "Wind Speed [m/s]", "Total Sky Cover [tenths]", "Opaque Sky Cover [tenths]", "Visibility [km]",
    "Ceiling Height [m]", "Present Weather Observation", "Present Weather Codes",
    "Precipitable Water [mm]", "Aerosol Optical Depth [thousandths]", "Snow Depth [cm]",
    "Days Since Last Snowfall", "Albedo [hundredths]", "Liquid Precipitation Depth [mm]",
    "Liquid Precipitation Quantity [hr]",
)  # fmt: skip
"""An EPW file has no header of its own: its fields' names, in order, with their units."""

EPW_COLUMNS: dict[str, tuple[str, str | None, float]] = {
    "air_temp": ("Dry Bulb Temperature [C]", "degC", 1.0),
    "humidity": ("Relative Humidity [%]", "percent", 1.0),
    "wind": ("Wind Speed [m/s]", "m/s", 1.0),
    "sun": ("Global Horizontal Radiation [Wh/m2]", "W/m2", 1.0),
    "cloud": ("Total Sky Cover [tenths]", "percent", 10.0),
}
"""Ours → (the field, its unit, what it is multiplied by). Wh/m2 in one hour are W/m2 on average.
Rain is left out: both layouts give it for spells of several hours in one figure."""

TMY3_COLUMNS: dict[str, tuple[str, str | None, float]] = {
    "air_temp": ("Dry-bulb (C)", "degC", 1.0),
    "humidity": ("RHum (%)", "percent", 1.0),
    "wind": ("Wspd (m/s)", "m/s", 1.0),
    "sun": ("GHI (W/m^2)", "W/m2", 1.0),
    "cloud": ("TotCld (tenths)", "percent", 10.0),
}

MISSING: dict[str, dict[str, float]] = {
    "epw": {"air_temp": 99.9, "humidity": 999, "wind": 999, "sun": 9999, "cloud": 99},
    "tmy3": dict.fromkeys(("air_temp", "humidity", "wind", "sun", "cloud"), -9900),
}
"""The figure that stands for "not known", a kind and column."""


def kind_of(lines: list[str]) -> str:
    """``epw``, ``tmy3`` or ``table``, by the first lines of a file."""
    if lines and lines[0].upper().startswith("LOCATION,"):
        return "epw"
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY),Time (HH:MM),"):
        cells = _cells(lines[0])
        if len(cells) >= 6 and re.fullmatch(r"[-+]?\d+(\.\d+)?", cells[3].strip()):
            return "tmy3"
    return "table"


def epw_head(lines: list[str]) -> tuple[int, int, Place]:
    """(place of the last line above the values, 0, where). Raises UnusableError."""
    for i, line in enumerate(lines):
        if line.upper().startswith("DATA PERIODS"):
            cells = _cells(lines[0])
            return i, 0, _place("EPW", cells[1:2], cells[6:8], cells[8:9])
    raise UnusableError("it begins as an EPW file but has no line DATA PERIODS; get it whole")


def tmy3_place(line: str) -> Place:
    """Where a TMY3 file comes from. Raises UnusableError."""
    cells = _cells(line)
    return _place("TMY3", cells[1:2], cells[4:6], cells[3:4])


def _place(kind: str, name: list[str], where: list[str], offset: list[str]) -> Place:
    try:
        latitude, longitude = (float(text) for text in where)
        hours = float(offset[0])
        if not (abs(latitude) <= 90 and abs(longitude) <= 180 and abs(hours) <= 14):
            raise ValueError
    except (ValueError, IndexError):
        raise UnusableError(
            f"line 1 of an {kind} file names its place, latitude, longitude and hours from UTC;"
            " here they can't be read"
        ) from None
    return Place((name or [""])[0].strip(), latitude, longitude, round(hours * 60))


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader([line.rstrip("\r\n")]), [])
    except csv.Error:
        return []
