"""One cell's text → a value in house units, or the reason why not.

Each function is asked once for every distinct text of a column, so it may take its time to explain.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache

from pourstats.logs.cell import BLANK, Cell, Reading, normalized, quoted
from pourstats.logs.choice_words import SPANISH, without_accents
from pourstats.logs.files import MARK, shown
from pourstats.logs.numbers import number_cell
from pourstats.logs.tables import Column

UNKNOWN_WORDS = frozenset({"n/a", "na", "nan", "null", "none", "unknown", "-", "?"})
"""Words that mean "not known" in columns of numbers, times and choices."""

EARLIEST, LATEST = dt.date(1970, 1, 1), dt.date(2199, 12, 31)


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
    return number_cell(plain, column, reading, mark)


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
_HOUR = re.compile(r"(\d{1,2})()()\s*([ap])\.?m\.?", re.IGNORECASE)
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
    match = _CLOCK.fullmatch(text) or _HOUR.fullmatch(text)
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
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            return Cell(fault=f"{quoted(text)} is not a time; with AM or PM the hour is 1 to 12")
        hour = hour % 12 + (12 if match[4].lower() == "p" else 0)
    if hour > 23 or minute > 59 or second > 59:
        after = "; midnight is 0:00 of the next day" if hour == 24 else ""
        return Cell(fault=f"{quoted(text)} is not a time of day{after}")
    return hour * 3600 + minute * 60 + second
