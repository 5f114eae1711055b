"""One cell's text → a value in house units, or the reason why not.

Each function is asked once for every distinct text of a column, so it may take its time to explain.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache

from pourstats import units
from pourstats.logs.choice_words import SPANISH, without_accents
from pourstats.logs.files import MARK, shown
from pourstats.logs.tables import Column

UNKNOWN_WORDS = frozenset({"n/a", "na", "nan", "null", "none", "unknown", "-", "?"})
"""Words that mean "not known" in columns of numbers, times and choices."""

EARLIEST, LATEST = dt.date(1970, 1, 1), dt.date(2199, 12, 31)


@dataclass(frozen=True)
class Cell:
    """What a text turned into: a value, nothing known, or a fault; with a warning or none.

    ``value`` is a float, int, str, datetime.date or datetime.datetime; ``clock`` the seconds of a
    time of day that stands without its date.
    """

    value: object = None
    clock: int | None = None
    fault: str | None = None
    warning: str | None = None


@dataclass(frozen=True)
class Reading:
    """How a column's cells are to be read: the header's unit, and what a comma means."""

    unit: str | None = None
    decimal_comma: bool = False


BLANK = Cell()


def quoted(text: str) -> str:
    """The text between quotes for an error, on one line and not endless."""
    line = text if text.isprintable() else text.encode("unicode_escape").decode()
    return f"'{line}'" if len(line) <= 60 else f"'{line[:57]}...'"


def normalized(name: str) -> str:
    """A name without case, spaces, hyphens and underscores."""
    return re.sub(r"[\s_\-]+", "", name).lower()


def read_cell(text: str, column: Column, reading: Reading) -> Cell:
    """The cell's value by the column's kind; text of a workbook cell carries its mark."""
    plain = shown(text).strip()
    if not plain:
        return BLANK
    mark = text[1:2] if text.startswith(MARK) else ""
    if mark == "e":
        return Cell(
            fault=f"{quoted(plain)} is a spreadsheet error; put the value there, or leave blank"
        )
    if mark == "f":
        return Cell(
            fault=f"{quoted(plain)} is a formula that was never worked out; open the workbook in a"
            " spreadsheet and save it, or write the value"
        )
    if column.kind == "notes":
        return Cell(shown(text))
    if column.kind in ("id", "text"):
        return Cell(plain)
    if column.kind in ("choice", "choices"):
        return _read_choice(plain, column, mark)
    if plain.lower() in UNKNOWN_WORDS:
        return Cell(warning=f"{quoted(plain)} read as not known")
    if column.kind == "date":
        return _read_date(plain, mark)
    if column.kind == "time":
        return _read_time(plain, mark)
    return _read_number(plain, column, reading, mark)


@cache
def spanish_choices(column: Column) -> dict[str, str]:
    """The Spanish words that may stand in a column of choices, without case and accents, → the
    choice."""
    return {
        normalized(without_accents(word)): choice
        for choice in column.choices
        for word in SPANISH.get(choice, ())
    }


def _read_choice(text: str, column: Column, mark: str) -> Cell:
    choices = {normalized(choice): choice for choice in column.choices}
    spanish = spanish_choices(column)
    if mark == "b" and {"yes", "no"} <= set(column.choices):
        return Cell("yes" if text == "TRUE" else "no")
    parts = [text] if column.kind == "choice" else re.split(r"[;,+]", text)
    found: list[str] = []
    for part in parts:
        if not part.strip():
            continue
        choice = choices.get(normalized(part)) or spanish.get(normalized(without_accents(part)))
        if choice is None:
            if text.lower() in UNKNOWN_WORDS:
                return Cell(warning=f"{quoted(text)} read as not known")
            hint = _nearest(part, choices) or _nearest(without_accents(part), spanish)
            hint = f"did you mean {hint}?" if hint else "use one of " + ", ".join(column.choices)
            return Cell(
                fault=f"{quoted(part.strip())} is no {column.name.replace('_', ' ')}; {hint}"
            )
        found.append(choice)
    if column.kind == "choice":
        return Cell(found[0])
    if "none" in found and len(set(found)) > 1:
        return Cell(fault=f"{quoted(text)} says none and something else; keep one of them")
    ordered = [choice for choice in column.choices if choice in found]
    return Cell(";".join(ordered)) if ordered else BLANK


def _nearest(text: str, choices: Mapping[str, str]) -> str | None:
    near = get_close_matches(normalized(text), choices, n=1, cutoff=0.6)
    return choices[near[0]] if near else None


_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?\s*(?:([ap])\.?m\.?)?", re.IGNORECASE)
_ZONED = re.compile(r"(?:Z|[+-]\d{2}:?\d{2}|UTC|GMT)$", re.IGNORECASE)
_OTHER_DATE = re.compile(r"(\d{1,4})[/.](\d{1,2})[/.](\d{1,4})")


def _read_date(text: str, mark: str) -> Cell:
    if mark == "n" or mark == "p":
        return Cell(fault=f"{quoted(text)} is a plain number, not a date; write it as 2031-06-03")
    if mark == "b":
        return Cell(fault=f"{quoted(text)} is a yes/no, not a date; write it as 2031-06-03")
    if mark == "c":
        return Cell(fault=f"{quoted(text)} is a time of day, not a date; write it as 2031-06-03")
    day, rest = _split(text)
    if day is None:
        return Cell(fault=_date_remedy(text))
    if isinstance(day, str):
        return Cell(fault=day)
    if rest and not re.fullmatch(r"0?0:00(:00(\.0+)?)?", rest):
        return Cell(
            fault=f"{quoted(text)} has a time of day in a date column; write {day.isoformat()}"
        )
    return Cell(day)


def _split(text: str) -> tuple[dt.date | str | None, str]:
    """(date, rest) of a text that begins with an ISO date; a reason instead of an impossible date;
    None where there is no such date."""
    match = re.match(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T\s]+|$)", text)
    if match is None:
        return None, text
    try:
        day = dt.date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        return f"{quoted(text)} is no day of the calendar; check month and day", ""
    if not EARLIEST <= day <= LATEST:
        return f"{quoted(text)} is outside {EARLIEST} to {LATEST}; check the year", ""
    return day, text[match.end() :].strip()


def _date_remedy(text: str) -> str:
    other = _OTHER_DATE.match(text)
    if other is None:
        return f"{quoted(text)} is not a date; write it as 2031-06-03"
    how = "in a spreadsheet, format the column as yyyy-mm-dd"
    first, second, year = (int(other[i]) for i in (1, 2, 3))
    if len(other[1]) == 4:
        return f"{quoted(text)}: write the date with hyphens, as 2031-06-03; {how}"
    if (first > 12) != (second > 12) and year >= 1970:
        month, day = (second, first) if first > 12 else (first, second)
        return f"{quoted(text)}: write the year first, as {year}-{month:02d}-{day:02d}; {how}"
    return f"{quoted(text)} can be read in two ways; write year first, as 2031-06-03; {how}"


def _read_time(text: str, mark: str) -> Cell:
    if mark == "n" or mark == "p":
        return Cell(
            fault=f"{quoted(text)} is a plain number, not a time; write 2031-06-03 06:40 or 6:40"
        )
    if mark == "b":
        return Cell(fault=f"{quoted(text)} is a yes/no, not a time; write 2031-06-03 06:40 or 6:40")
    day, rest = _split(text)
    if isinstance(day, str):
        return Cell(fault=day)
    if day is None:
        if _OTHER_DATE.match(text):
            return Cell(
                fault=f"{quoted(text)}: the date can be read in two ways; write 2031-06-03 06:40"
            )
        seconds = _clock_seconds(text)
        return seconds if isinstance(seconds, Cell) else Cell(clock=seconds)
    if not rest:
        return Cell(fault=f"{quoted(text)} has no time of day; write {day.isoformat()} 06:40")
    seconds = _clock_seconds(rest)
    if isinstance(seconds, Cell):
        return seconds
    return Cell(dt.datetime.combine(day, dt.time()) + dt.timedelta(seconds=seconds))


def _clock_seconds(text: str) -> int | Cell:
    match = _CLOCK.fullmatch(text)
    if match is None:
        if _CLOCK.match(text) and _ZONED.search(text):
            return Cell(
                fault=f"{quoted(text)} carries a time zone; write the local clock time without"
            )
        if re.fullmatch(r"\d{3,4}", text) and int(text[-2:]) < 60 and int(text[:-2]) < 24:
            return Cell(
                fault=f"{quoted(text)} is not a time; was {int(text[:-2])}:{text[-2:]} meant?"
            )
        return Cell(fault=f"{quoted(text)} is not a time; write 2031-06-03 06:40, 6:40 or 6:40 AM")
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            return Cell(fault=f"{quoted(text)} is not a time; with AM or PM the hour is 1 to 12")
        hour = hour % 12 + (12 if match[4].lower() == "p" else 0)
    if hour > 23 or minute > 59 or second > 59:
        after = "; midnight is 0:00 of the next day" if hour == 24 else ""
        return Cell(fault=f"{quoted(text)} is not a time of day{after}")
    return hour * 3600 + minute * 60 + second


_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
    "⅓": "1/3", "⅔": "2/3",
}  # fmt: skip
_POINT = r"(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_GROUPED = r"[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?"
_POINT_NUMBER = re.compile(
    rf"(?P<sign>[+\-−]?)\s*(?P<digits>{_GROUPED}|{_POINT})(?P<rest>.*)", re.S
)
_COMMA = r"(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?"
_COMMA_GROUPED = r"[1-9]\d{0,2}(?:\.\d{3})+,\d+|[1-9]\d{0,2}(?:\.\d{3}){2,}"
_COMMA_NUMBER = re.compile(
    rf"(?P<sign>[+\-−]?)\s*(?P<digits>{_COMMA_GROUPED}|{_POINT}(?![\d,])|{_COMMA})(?P<rest>.*)",
    re.S,
)
_FRACTION = re.compile(r"(?:(\d+)[\s-]+)?(\d+)\s*/\s*(\d+)(.*)", re.S)
_FEET_INCHES = re.compile(
    r"(\d+(?:\.\d+)?)\s*(?:'|′|’|ft\.?(?![23]\s*$)|feet|foot)\s*-?\s*"
    r"((?:\d+[\s-]+)?\d+\s*/\s*\d+|\d+(?:\.\d+)?)\s*(?:\"|″|”|''|in\.?|inch|inches)?"
)


def _read_number(text: str, column: Column, reading: Reading, mark: str) -> Cell:
    if mark == "b":
        return Cell(fault=f"{quoted(text)} is a yes/no, not a number")
    if mark in ("d", "c"):
        return Cell(
            fault=f"{quoted(text)} is a date or time, not a number; check the cell's format"
        )
    written, unit_text, fault = _number_and_unit(text, column, reading, mark)
    if fault is not None or written is None:
        return Cell(fault=fault)
    unit_text = unit_text or (reading.unit or "")
    value = written
    if unit_text:
        if column.unit is None:
            return Cell(fault=f"{quoted(text)}: {column.name} has no unit; write the number alone")
        try:
            unit = units.checked_unit(unit_text, column.unit)
        except units.UnitError as error:
            return Cell(fault=f"{quoted(text)}: {error}")
        value = _converted(written, unit, column.unit)
    return _in_range(text, value, column, converted=value != written)


def _converted(value: float, unit: str, house: str) -> float:
    import numpy as np

    return float(units.to_house(np.array([value]), unit, house)[0])


def _number_and_unit(
    text: str, column: Column, reading: Reading, mark: str
) -> tuple[float | None, str, str | None]:
    """(number as written, its unit or "", fault)."""
    body = text
    if mark == "p":
        return float(text[:-1]), "%", None
    if mark == "n":
        return float(text), "", None
    money = column.unit is not None and column.unit.startswith("USD")
    if money:
        body = re.sub(r"^([+\-−]?)\s*(?:US\$|\$|USD)\s*", r"\1", body)
    length = column.unit in ("in", "ft", "m")
    for sign, plain in _VULGAR.items():
        body = body.replace(sign, f" {plain}")
    body = body.replace("⁄", "/").strip()
    if length:
        both = _FEET_INCHES.fullmatch(body)
        # Inches beside feet stay below 12: 1'200 is no 17 feet, it is unclear.
        if both is not None and _fraction_value(both[2]) < 12:
            return float(both[1]) * 12 + _fraction_value(both[2]), "in", None
    fraction = _FRACTION.fullmatch(body)
    if fraction is not None and (length or fraction[1]):
        if int(fraction[3]) == 0:
            return None, "", f"{quoted(text)} divides by zero"
        whole = int(fraction[1] or 0)
        return whole + int(fraction[2]) / int(fraction[3]), fraction[4].strip(), None
    return _decimal(text, body, column, reading)


def _fraction_value(text: str) -> float:
    match = _FRACTION.fullmatch(text)
    if match is None or int(match[3]) == 0:
        return float(text) if match is None else float("nan")
    return int(match[1] or 0) + int(match[2]) / int(match[3])


def _decimal(
    text: str, body: str, column: Column, reading: Reading
) -> tuple[float | None, str, str | None]:
    pattern = _COMMA_NUMBER if reading.decimal_comma else _POINT_NUMBER
    match = pattern.fullmatch(body)
    if match is None:
        unit = f" ({column.unit})" if column.unit else ""
        return None, "", f"{quoted(text)} is not a number; write one{unit}, or leave it blank"
    digits, rest = match["digits"], match["rest"].strip()
    if re.match(r"[\d.,]", rest):
        if reading.decimal_comma:
            hint = "in a semicolon file the comma is the decimal sign; leave out thousands signs"
        else:
            hint = "write decimals with a point, as 4.5, and thousands as 1,200 or 1200"
        return None, "", f"{quoted(text)} can be read in two ways; {hint}"
    if reading.decimal_comma and re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", digits):
        plain, small = digits.replace(".", ""), digits.replace(".", ",")
        return (
            None,
            "",
            (
                f"{quoted(text)} can be read in two ways in a semicolon file;"
                f" write {plain} or {small}"
            ),
        )
    if reading.decimal_comma:
        digits = (
            digits.replace(".", "").replace(",", ".")
            if "," in digits
            else (digits.replace(".", "") if digits.count(".") > 1 else digits)
        )
    else:
        digits = digits.replace(",", "")
    if rest.startswith("/") and column.unit is not None and column.unit.startswith("USD"):
        rest = "USD" + rest
    if rest and re.search(r"\d", rest.replace("2", "").replace("3", "")):
        return None, "", f"{quoted(text)} is more than one number; write one"
    if rest and units.known_unit(rest) is None and column.unit is None:
        return None, "", f"{quoted(text)} is not a number; write the number alone"
    value = float(digits)
    if value != value or value in (float("inf"), float("-inf")):
        return None, "", f"{quoted(text)} is too large to be a number here"
    return (-value if match["sign"] in ("-", "−") else value), rest, None


def _in_range(text: str, value: float, column: Column, *, converted: bool) -> Cell:
    unit = f" {column.unit}" if column.unit else ""
    seen = quoted(text) + (f" ({value:.6g}{unit})" if converted else "")
    if not math.isfinite(value):
        return Cell(fault=f"{seen} is not a number that can stand here")
    if column.kind == "whole" and not float(value).is_integer():
        return Cell(fault=f"{seen} is not a whole number")
    low, high = column.low, column.high
    for end in (low, high):
        # Converted, a value at the very end of a range may lie a hair beyond it.
        if end is not None and converted and abs(value - end) <= 1e-9 * abs(end):
            value = end
    if low is not None and (value < low or (column.above_low and value <= low)):
        bound = f"not above {low:g}" if column.above_low else f"below {low:g}"
        hint = "; check the sign" if value < 0 <= low else ""
        return Cell(fault=f"{seen} is {bound}{unit or ''}{hint}{_allowed(column)}")
    if high is not None and value > high:
        return Cell(fault=f"{seen} is above {high:,.10g}{unit}{_meant(value, column)}")
    warning = None
    if column.odd_hint == "fraction" and 0 < value <= 1:
        warning = f"{quoted(text)}: did you mean {value * 100:g} percent?"
    elif column.odd_low is not None and value < column.odd_low:
        warning = f"{seen} is unusually low for {column.name.replace('_', ' ')}; is it right?"
    elif column.odd_high is not None and value > column.odd_high:
        warning = f"{seen} is unusually high for {column.name.replace('_', ' ')}; is it right?"
    return Cell(int(value) if column.kind == "whole" else float(value), warning=warning)


def _allowed(column: Column) -> str:
    if column.high is None:
        return ""
    return f"; {column.low:g} to {column.high:,.10g} is allowed"


def _meant(value: float, column: Column) -> str:
    """What may have been meant by a number that is too high: a digit or a point slipped."""
    assert column.high is not None
    digits = f"{value:.10g}"
    whole = column.unit == "percent" and digits.isdigit()
    shorter = digits[1:].lstrip("0") if whole else ""
    for guess in (shorter, f"{value / 10:.6g}", f"{value / 100:.6g}"):
        if guess and (column.low or 0) < float(guess) <= (column.odd_high or column.high):
            return f"; was {guess} meant?"
    return f"; {column.low or 0:g} to {column.high:,.10g} is allowed"
