"""Dates and times as other programs write them → a moment → the clock on the site's wall.

A moment is a naive date-time with the offset from UTC that was written or is known for the whole
file, or none: then it is wall-clock time already.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

from pourstats.logs.cell import quoted
from pourstats.logs.cells import EARLIEST, LATEST
from pourstats.logs.files import MARK, shown

Order = Literal["mdy", "dmy", "ymd"]
"""How a date of three numbers is meant where the year doesn't stand first."""

ORDERS: tuple[Order, ...] = ("mdy", "dmy", "ymd")
WORDS: dict[str, str] = {"mdy": "month first", "dmy": "day first", "ymd": "year first"}

_MONTHS = {
    name: number + 1
    for names in (
        "jan feb mar apr may jun jul aug sep oct nov dec",
        "january february march april may june july august september october november december",
        "ene feb mar abr may jun jul ago sep oct nov dic",
        "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    )
    for number, name in enumerate(names.split())
} | {"sept": 9, "set": 9}  # fmt: skip

NAMED_OFFSETS = {
    "z": 0, "utc": 0, "gmt": 0, "est": -300, "edt": -240, "cst": -360, "cdt": -300, "mst": -420,
    "mdt": -360, "pst": -480, "pdt": -420, "akst": -540, "akdt": -480, "hst": -600,
}  # fmt: skip
"""Minutes from UTC of the zone words that US files carry."""

_OFFSET = re.compile(
    r"(?<=[\d\sapmAPM])\s*\(?(?:(?P<name>Z|UTC|GMT|E[SD]T|C[SD]T|M[SD]T|P[SD]T|AK[SD]T|HST)"
    r"(?P<plus>\s*[+\-−]\d{1,2}(?::?\d{2})?)?|(?P<sign>[+\-−])(?P<hour>\d{2}):?(?P<minute>\d{2})?)"
    r"\)?$",
    re.IGNORECASE,
)
_CLOCK = re.compile(
    r"(\d{1,2})[:h](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*(?:([ap])(?:\.?\s?m)?\.?)?", re.IGNORECASE
)
_HOUR_ONLY = re.compile(r"(\d{1,2})\s*([ap])(?:\.?\s?m)?\.?", re.IGNORECASE)
_COMPACT = re.compile(r"(\d{2})(\d{2})(\d{2})?")
_WEEKDAY = re.compile(
    r"(?:mon|tue|wed|thu|fri|sat|sun|lun|mar|mié|mie|jue|vie|sáb|sab|dom)[a-zé]*\.?,?\s+",
    re.IGNORECASE,
)
_SMALL = r"\d{1,2}"
_DAYS = (
    (re.compile(rf"(?P<y>\d{{4}})[-/.](?P<m>{_SMALL})[-/.](?P<d>{_SMALL})"), None),
    (re.compile(rf"(?P<d>{_SMALL})[-\s./]*(?P<name>[^\W\d_]{{3,10}})\.?[-\s,./]*(?P<y>\d{{4}}|\d\d)\b"),
     None),
    (re.compile(rf"(?P<name>[^\W\d_]{{3,10}})\.?[-\s]+(?P<d>{_SMALL})(?:st|nd|rd|th)?,?[-\s]+"
                r"(?P<y>\d{4}|\d\d)\b"), None),
    (re.compile(rf"(?P<a>{_SMALL})[-/.](?P<b>{_SMALL})[-/.](?P<y>\d{{4}}|\d\d)(?!\d)"), "order"),
    (re.compile(r"(?P<y>(?:19|20|21)\d\d)(?P<m>\d\d)(?P<d>\d\d)(?!\d{1,3}$)"), None),
)  # fmt: skip


@dataclass(frozen=True)
class Moment:
    """A date-time as written, with the offset from UTC in minutes if one is known."""

    at: dt.datetime
    offset_min: int | None = None

    @property
    def instant(self) -> dt.datetime | None:
        """The moment in UTC (naive), or None where no offset is known."""
        if self.offset_min is None:
            return None
        return self.at - dt.timedelta(minutes=self.offset_min)


def moment(text: str, order: Order | None) -> Moment | str:
    """A date and time in one cell, or the reason why it is none.

    Takes a workbook's date cell, ISO 8601, the usual US and European spellings, with an offset or
    zone word, and seconds or milliseconds since 1970 (UTC).
    """
    plain = shown(text).strip()
    since = _since_1970(plain)
    if since is not None:
        return Moment(since, 0)
    body, offset = _without_offset(plain)
    if offset is not None and abs(offset) > 14 * 60:
        return f"{quoted(plain)} is further from UTC than any clock"
    found, rest = _day(body, order)
    if isinstance(found, str):
        return found
    seconds = 0 if not rest else clock(rest)
    if isinstance(seconds, str):
        return f"{quoted(plain)}: {seconds}"
    if not rest:
        return f"{quoted(plain)} has no time of day"
    return Moment(dt.datetime.combine(found, dt.time()) + dt.timedelta(seconds=seconds), offset)


def _since_1970(plain: str) -> dt.datetime | None:
    match = re.fullmatch(r"(\d{9,10})(?:\.\d+)?|(\d{12,13})", plain)
    if match is None or re.fullmatch(r"(?:19|20)\d{10}", plain):
        return None
    seconds = int(match[1]) if match[1] else int(match[2]) // 1000
    return dt.datetime(1970, 1, 1) + dt.timedelta(seconds=seconds)


def _without_offset(plain: str) -> tuple[str, int | None]:
    match = _OFFSET.search(plain)
    # A bare "-05" after a date alone is a day, not an offset.
    if match is None or (
        match["sign"] and not re.search(r"\d[:.]?\d\d", plain[: match.start()][9:])
    ):
        return plain, None
    body = plain[: match.start()].rstrip(" (")
    if match["name"]:
        offset = NAMED_OFFSETS[match["name"].lower()]
        if match["plus"]:
            offset += _minutes(match["plus"].strip())
        return body, offset
    return body, _minutes(match[0].strip().rstrip(")"))


def written_offset(text: str) -> int | None:
    """Minutes from UTC that a clock time carries (``06:40Z``, ``6:40 AM EST``), or None."""
    match = _OFFSET.search(text)
    if match is None or ":" not in text[: match.start()]:
        return None
    return _without_offset("2000-01-01 " + text)[1]


def without_offset(text: str) -> str:
    """A clock time without the offset that :func:`written_offset` finds."""
    return _without_offset("2000-01-01 " + text)[0][11:]


def _minutes(text: str) -> int:
    sign = 1 if text[0] == "+" else -1
    digits = re.sub(r"\D", "", text)
    hour, minute = (int(digits[:-2]), int(digits[-2:])) if len(digits) > 2 else (int(digits), 0)
    return sign * (hour * 60 + minute)


def fixed_offset(text: str) -> int | None:
    """Minutes from UTC of ``UTC``, ``-07:00``, ``MST``; None for what is none of these."""
    word = text.strip().lower()
    if word in NAMED_OFFSETS:
        return NAMED_OFFSETS[word]
    match = re.fullmatch(r"(?:utc|gmt)?\s*([+\-−]\d{1,2}(?::?\d{2})?)", word)
    if match is None:
        return None
    minutes = _minutes(match[1])
    return minutes if abs(minutes) <= 14 * 60 else None


def day(text: str, order: Order | None) -> dt.date | str:
    """A date in one cell, or the reason why it is none. A midnight beside it does no harm."""
    plain = shown(text).strip()
    found, rest = _day(plain, order)
    if isinstance(found, str):
        return found
    if rest and clock(rest) != 0:
        return f"{quoted(plain)} has a time of day beside the date"
    return found


def _day(plain: str, order: Order | None) -> tuple[dt.date | str, str]:
    """(date or why it is none, what follows it)."""
    found, rest = _day_alone(plain, order)
    if isinstance(found, str) and (weekday := _WEEKDAY.match(plain)):
        # After the try, since "Mar 3" is March and not a Tuesday.
        return _day_alone(plain[weekday.end() :], order)
    return found, rest


def _day_alone(plain: str, order: Order | None) -> tuple[dt.date | str, str]:
    for pattern, how in _DAYS:
        match = pattern.match(plain)
        if match is None:
            continue
        parts = match.groupdict()
        year = int(parts["y"]) + (2000 if len(parts["y"]) == 2 else 0)
        if how == "order":
            a, b = int(parts["a"]), int(parts["b"])
            if order is None and (a > 12) == (b > 12) and a != b:
                return f"{quoted(plain)} can be read month first or day first", ""
            first_is_day = order == "dmy" if order in ("dmy", "mdy") else a > 12
            month, number = (b, a) if first_is_day else (a, b)
        elif "name" in parts:
            month_of = _MONTHS.get(parts["name"].lower())
            if month_of is None:
                continue
            month, number = month_of, int(parts["d"])
        else:
            month, number = int(parts["m"]), int(parts["d"])
        try:
            found = dt.date(year, month, number)
        except ValueError:
            return f"{quoted(plain)} is no day of the calendar; check month and day", ""
        if not EARLIEST <= found <= LATEST:
            return f"{quoted(plain)} is outside {EARLIEST} to {LATEST}; check the year", ""
        return found, re.sub(r"^[\sT,_;-]+", "", plain[match.end() :]).strip()
    return f"{quoted(plain)} is not a date", ""


def clock(text: str) -> int | str:
    """Seconds of a time of day, 0 to 86400 (24:00), or the reason why it is none."""
    plain = shown(text).strip()
    if text.startswith(MARK + "d"):
        plain = plain[11:]
    match = _CLOCK.fullmatch(plain)
    compact = _COMPACT.fullmatch(plain.zfill(4) if re.fullmatch(r"\d{3,4}|\d{6}", plain) else "")
    if match is not None:
        hour, minute, second, half = int(match[1]), int(match[2]), int(match[3] or 0), match[4]
    elif only := _HOUR_ONLY.fullmatch(plain):
        hour, minute, second, half = int(only[1]), 0, 0, only[2]
    elif compact is not None:
        hour, minute, second, half = int(compact[1]), int(compact[2]), int(compact[3] or 0), None
    else:
        return f"{quoted(plain)} is not a time of day"
    if half:
        if not 1 <= hour <= 12:
            return f"{quoted(plain)} is not a time of day; with AM or PM the hour is 1 to 12"
        hour = hour % 12 + (12 if half.lower() == "p" else 0)
    seconds = hour * 3600 + minute * 60 + second
    if minute > 59 or second > 59 or seconds > 86400:
        return f"{quoted(plain)} is not a time of day"
    return seconds


def hour_of_day(text: str) -> int | str:
    """Seconds of an hour column's cell: ``7``, ``7.0``, ``07:00``, ``700``, ``24``."""
    plain = shown(text).strip()
    match = re.fullmatch(r"(\d{1,2})(?:\.0+)?", plain)
    if match is not None:
        return int(match[1]) * 3600 if int(match[1]) <= 24 else f"{quoted(plain)} is no hour"
    return clock(text)


@cache
def zone_named(name: str) -> dt.tzinfo | None:
    """The time zone of that IANA name, or None."""
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except Exception:
        # zoneinfo lets many kinds through for a name that is no file's.
        return None


def standard_offset(at: dt.datetime, zone: dt.tzinfo) -> int:
    """Minutes from UTC of the zone's standard time (without daylight saving) at that date."""
    there = at.replace(tzinfo=zone)
    offset, saving = there.utcoffset(), there.dst()
    assert offset is not None
    return round((offset - (saving or dt.timedelta())).total_seconds() / 60)


def on_the_wall(instant: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    """The site's clock at a moment in UTC (both naive)."""
    return instant.replace(tzinfo=dt.UTC).astimezone(zone).replace(tzinfo=None)


def is_repeated(at: dt.datetime, zone: dt.tzinfo) -> bool:
    """Whether the site's clock shows that time twice (the autumn hour)."""
    first, second = (at.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and first > second


def is_skipped(at: dt.datetime, zone: dt.tzinfo) -> bool:
    """Whether the site's clock never shows that time (the spring hour)."""
    first, second = (at.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and first < second
