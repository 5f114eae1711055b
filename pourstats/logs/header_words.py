"""What the headers of other programs' files may mean: words for our columns, and units in them."""

from __future__ import annotations

import re
import unicodedata
from functools import cache

from pourstats import units
from pourstats.logs.tables import TABLES, Column

WORDS: dict[str, dict[str, str]] = {
    "weather": {
        "air_temp": "air, air temp, air temperature, temperature, temp, tmp, dry bulb, drybulb, t,"
        " ta, tair, air t, t air, outdoor temp, temp out, out temp, outside temp, temperature 2 m,"
        " air tc, air tf, lufttemperatur, temperatur, temperatura, temperatura del aire",
        "humidity": "humidity, relative humidity, rel humidity, rel hum, rh, r h, relh, rhum, hum,"
        " out hum, outdoor humidity, relative humidity 2 m, humedad, humedad relativa, feuchte,"
        " luftfeuchte",
        "wind": "wind speed, wind, windspeed, ws, wspd, wnd spd, wind spd, wind vel, wind velocity,"
        " avg wind, mean wind, wind avg, wind speed avg, sknt, wind speed 10 m, viento,"
        " velocidad del viento, windgeschwindigkeit",
        "sun": "ghi, solar, solar radiation, solar rad, sun, global horizontal,"
        " global horizontal irradiance, global radiation, irradiance, srad, slr w, shortwave,"
        " shortwave radiation, radiation, radiacion solar, globalstrahlung",
        "cloud": "sky, cloud, clouds, cloud cover, cloudcover, sky cover, tot cld,"
        " total cloud cover, total sky cover, nubes, nubosidad, bewolkung",
        "rain": "rain, rainfall, precip, precipitation, prcp, precip amount, lprecip depth, lluvia,"
        " niederschlag, rain mm tot, rain in tot, hourly rain, p 01 i, p 01 m",
        "site": "site, station, station name, station id, location, place, job site, jobsite, obra",
        "time": "time, timestamp, date time, datetime, date and time, valid, observed, observed at,"
        " epoch, unix time, dt, dt iso, local time, utc time, time utc, date time utc,"
        " time local, date, date utc, hora, fecha, fecha y hora, zeit, zeitpunkt, datum",
        "wind_height": "wind height, anemometer height",
        "source": "source",
    },
    "crew_time": {
        "worker": "employee, employee name, worker, name, emp, emp name, who, person, initials,"
        " crew member, staff, employee id, badge, trabajador, empleado, nombre, full name,"
        " team member, user",
        "start": "in, time in, clock in, punch in, start, start time, from, begin, clocked in,"
        " in time, entrada, hora entrada, desde, start date time, date in, beginn",
        "end": "out, time out, clock out, punch out, end, end time, to, finish, stop, clocked out,"
        " out time, stop time, finish time, salida, hora salida, hasta, end date time, date out,"
        " ende",
        "pour_id": "pour, pour id, pour number, pour no, job id, job number, job no, colado",
        "site": "site, job site, jobsite, job, job name, project, project name, location, obra,"
        " customer, job code",
        "task": "task, activity, work, work type, type of work, phase, cost code, code, service,"
        " tarea, actividad",
        "wait_for": "waiting on, wait for",
        "kind": "type, in out, in or out, punch, punch type, action, event, status, direction,"
        " entry type, kind, tipo",
        "at": "time, punch time, timestamp, date time, datetime, clock time, when, hora",
    },
}
"""Spellings of our columns, a table; ``site``, ``kind`` and ``at`` help to read timesheets."""

AGAINST: dict[str, str] = {
    "air_temp": "dew dewpoint soil max min maximum minimum high low wet feels heat index chill"
    " water concrete slab surface inside indoor battery panel road source uncert flag qc code"
    " apparent hi lo std normal humidity setpoint in",
    "humidity": "specific absolute inside indoor max min high low source uncert flag qc soil in"
    " ratio in std",
    "wind": "dir direction gust gusts max peak deg degrees chill source uncert flag qc run std"
    " hi high bearing height",
    "sun": "dni dhi direct normal diffuse net longwave infrared uv illum source uncert max high"
    " extraterrestrial energy flag qc terrestrial",
    "cloud": "opaque source uncert height base low mid high flag qc ceiling",
    "rain": "rate prob probability chance day daily month monthly year yearly week weekly event"
    " quantity source uncert flag qc storm type intensity max accum accumulated total",
    "worker": "job project company task supervisor manager",
    "start": "lunch break date", "end": "lunch break date",
    "time": "zone sunrise sunset",
    "site": "elevation latitude longitude type zone",
}  # fmt: skip
"""Words beside which a header means something else."""

DAY = "date, day, work date, fecha, dia, datum, tag, date local, local date, shift date, valid date"
CLOCK = "time, clock, hora, uhrzeit, time local, local time, time of day, hhmm, zeit, valid time"
HOUR = "hour, hr, hour ending, he, hh, hora, stunde, hour of day, hour end"
YEAR = "year, yr, yyyy, ano, jahr"
MONTH = "month, mo, mon, mm, mes, monat"
DAY_OF_MONTH = "day, dd, dy, dia, tag, day of month"
MINUTE = "minute, min, mn, minuto"

UTC_WORDS = frozenset({"utc", "gmt", "zulu", "z"})
STANDARD_WORDS = frozenset({"lst", "standard"})

_UNIT_WORDS = {
    "ms": "m/s", "m/s": "m/s", "mps": "m/s", "ms-1": "m/s", "m s-1": "m/s", "kmh": "km/h",
    "km/h": "km/h", "kph": "km/h", "kmph": "km/h", "mph": "mph", "mi/h": "mph", "kt": "knot",
    "kts": "knot", "kn": "knot", "knots": "knot", "c": "degC", "degc": "degC", "celsius": "degC",
    "f": "degF", "degf": "degF", "fahrenheit": "degF", "k": "kelvin", "°c": "degC", "°f": "degF",
    "℃": "degC", "℉": "degF", "pct": "%", "%": "%", "percent": "%", "mm": "mm", "in": "in",
    "inch": "in", "inches": "in", "cm": "cm", "wm2": "W/m2", "w/m2": "W/m2", "w/m^2": "W/m2",
    "w/m²": "W/m2", "w m-2": "W/m2", "wm-2": "W/m2", "wh/m2": "W/m2", "wh/m^2": "W/m2",
    "watts/m2": "W/m2", "deg c": "degC", "deg f": "degF", "tenths": "tenths", "oktas": "oktas",
    "okta": "oktas", "fraction": "fraction", "0-1": "fraction", "1/8": "oktas",
}  # fmt: skip

SCALES: dict[str, tuple[str, float]] = {
    "tenths": ("percent", 10.0), "oktas": ("percent", 12.5), "fraction": ("percent", 100.0),
}  # fmt: skip
"""Parts of a whole that are no unit: what they are times how much."""


def tokens(text: str) -> list[str]:
    """The words of a header, without accents: ``AirTC_Avg`` is air, tc, avg; ``°`` is dropped."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    plain = "".join(mark for mark in plain if not unicodedata.combining(mark))
    plain = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", plain)
    plain = re.sub(r"(?<=[A-Z])(?=[A-Z][a-z])", " ", plain)
    plain = re.sub(r"(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])", " ", plain)
    return re.findall(r"[^\W_]+", plain.lower())


def split(header: str) -> tuple[str, str | None]:
    """(name, unit as written or None) of a header: ``Temp (°C)``, ``RH %``, ``wind_ms``.

    A logger's word for how it was taken, as Avg, is left out.
    """
    header = re.sub(r"(?<=[\w)\]])[\s_]+(?:avg|mean|smp|tot)$", "", header.strip(), flags=re.I)
    if re.search(r"[a-z]T[CF]$", header):
        return header[:-1], header[-1]
    if header.lower() == "sknt":
        return "ws", "kt"
    match = re.fullmatch(r"\s*(.*?)\s*[\[({]\s*([^\])}]*?)\s*[\])}]\s*(.*?)\s*", header, re.S)
    if match is not None and unit_word(match[2]) is not None:
        return f"{match[1]} {match[3]}".strip(), match[2]
    base = match[1] if match is not None and match[1] else header
    pieces = re.split(r"[\s_,;:]+", base.strip())
    for count in (2, 1):
        last = " ".join(pieces[-count:])
        if len(pieces) > count and unit_word(last) is not None and _is_unit_here(pieces, last):
            return " ".join(pieces[:-count]), last
    glued = re.fullmatch(r"(.*[a-z])(F|C|[mM][pP][hH]|[kK][mM]/?[hH]|[kK][pP][hH]|%)", base.strip())
    if glued is not None:
        return glued[1], glued[2]
    low = re.fullmatch(r"(temp|tmp|tempout|outtemp|airt|wind|windspeed|wspd|rain|precip)"
                       r"(f|c|mph|kmh|kph|ms|mm|in|kts?)", base.strip().lower())  # fmt: skip
    if low is not None:
        return low[1], low[2]
    return base, None


def _is_unit_here(pieces: list[str], last: str) -> bool:
    """``in`` is a unit behind rain, and a way behind time."""
    return last.lower() != "in" or any(
        word in ("rain", "precip", "rainfall", "precipitation", "prcp") for word in
        tokens(" ".join(pieces))
    )  # fmt: skip


def unit_word(text: str) -> str | None:
    """The unit that a text names, as our reader takes it, or tenths, oktas, fraction; else None."""
    word = re.sub(r"\s+", " ", text.strip().lower())
    word = re.sub(r"^(?:in|unit:?)\s+(?=\S)", "", word)
    found = _UNIT_WORDS.get(word) or _UNIT_WORDS.get(word.replace(" ", ""))
    if found is None and units.known_unit(text) is not None:
        found = text.strip()
    return found


def stands_in(unit: str, column: Column) -> bool:
    """Whether a unit can stand in a column."""
    if column.unit is None:
        return False
    try:
        units.checked_unit(SCALES[unit][0] if unit in SCALES else unit, column.unit)
    except units.UnitError:
        return False
    return True


@cache
def phrases(table: str) -> dict[str, tuple[tuple[str, ...], ...]]:
    """Our column → the word sequences that name it: its own name and labels, and the spellings."""
    found: dict[str, set[tuple[str, ...]]] = {}
    for column in TABLES[table].columns:
        named = {tuple(tokens(text)) for text in (column.name, column.english, column.spanish)}
        found[column.name] = named
    for name, texts in WORDS.get(table, {}).items():
        found.setdefault(name, set()).update(tuple(tokens(text)) for text in texts.split(","))
    return {name: tuple(sorted(options, key=len, reverse=True)) for name, options in found.items()}


@cache
def spelled(texts: str) -> frozenset[tuple[str, ...]]:
    """Word sequences of a list of spellings."""
    return frozenset(tuple(tokens(text)) for text in texts.split(","))


def likeness(header: str, table: str, column: str) -> float:
    """How well a header names one of our columns: 0 not at all, 1 word for word."""
    name, _ = split(header)
    words = tuple(tokens(name))
    whole = tuple(tokens(header))
    if not words:
        return 0.0
    against = set(AGAINST.get(column, "").split())
    best = 0.0
    for phrase in phrases(table).get(column, ()):
        if words == phrase or whole == phrase:
            return 1.0 if words == phrase else 0.95
        if len(phrase) == 1 and len(phrase[0]) < 3:
            # "t" or "in" among other words is no sign of anything.
            continue
        if _within(phrase, words) and not (set(words) - set(phrase)) & against:
            best = max(best, 0.5 + 0.4 * len(phrase) / len(words))
    return best


def _within(phrase: tuple[str, ...], words: tuple[str, ...]) -> bool:
    return any(words[i : i + len(phrase)] == phrase for i in range(len(words) - len(phrase) + 1))


@cache
def recognised(header: str) -> bool:
    """Whether a cell reads like a name that some file gives a column that we know."""
    words = tuple(tokens(split(header)[0]))
    if not words or len(words) > 6:
        return False
    parts = (DAY, CLOCK, HOUR, YEAR, MONTH, DAY_OF_MONTH, MINUTE)
    if any(words in spelled(texts) for texts in parts):
        return True
    return any(
        likeness(header, table, column) >= 0.7
        for table in ("weather", "crew_time", "pours", "trucks")
        for column in phrases(table)
    )
