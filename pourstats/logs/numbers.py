"""Numbers as people write them: units, fractions, feet and inches, thousands, decimal commas."""

from __future__ import annotations

import math
import re

from pourstats import units
from pourstats.logs.cell import Cell, Reading, quoted
from pourstats.logs.choice_words import WET_SKY, without_accents
from pourstats.logs.tables import Column

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


WET = (
    "is kept as a covered sky alone: how much falls goes into column rain, in inches, else no rain"
    " is reckoned with; nobody stays on an open slab while it thunders"
)


def number_cell(text: str, column: Column, reading: Reading, mark: str) -> Cell:
    """A number in house units, with its own unit or the header's; ``mark`` is a workbook cell's."""
    if mark == "b":
        return Cell(fault=f"{quoted(text)} is a yes/no, not a number")
    if mark in ("d", "c"):
        return Cell(
            fault=f"{quoted(text)} is a date or time, not a number; check the cell's format"
        )
    if column.words:
        said = " ".join(without_accents(text).lower().split())
        word = column.words.get(said)
        if word is not None and said in WET_SKY:
            return Cell(word, warning=f"{quoted(text)} {WET}")
        if word is not None:
            return Cell(word)
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
    return Cell(int(value) if column.kind == "whole" else float(value) + 0.0, warning=warning)


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
