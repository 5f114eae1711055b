"""What the values of another program's column look like: times, figures, words; in which unit."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pourstats.logs import moments
from pourstats.logs.files import MARK, Sheet, shown
from pourstats.logs.mapping import as_number, column_texts
from pourstats.logs.moments import Moment, Order

Kind = Literal["moment", "day", "clock", "hour", "number", "text", "blank"]
Sure = Literal["sure", "likely", "open"]

MOST_SAMPLES = 400
_ENOUGH = 0.6
"""This share of a column's values settles what it holds; some cells are always odd."""


@dataclass(frozen=True)
class Looks:
    """What a column looks like: its kind, and for times whether they carry an offset from UTC."""

    kind: Kind
    with_offset: bool = False
    since_1970: bool = False


def samples(sheet: Sheet, theirs: str) -> list[str]:
    """Distinct texts of a column that aren't blank, nor its name again, spread over the file."""
    texts = dict.fromkeys(column_texts(sheet, theirs))
    found = [text for text in texts if shown(text).strip() not in ("", theirs)]
    step = max(1, len(found) // MOST_SAMPLES)
    return found[::step][:MOST_SAMPLES]


def looks(sheet: Sheet, theirs: str) -> Looks:
    """What a column's values look like."""
    texts = samples(sheet, theirs)
    if not texts:
        return Looks("blank")
    count = len(texts)
    if all(text.startswith(MARK + "c") for text in texts):
        return Looks("clock")
    parsed = [moments.moment(text, "mdy") for text in texts]
    parsed += [moments.moment(text, "dmy") for text in texts if _has_three_numbers(text)]
    full = [each for each in parsed if isinstance(each, Moment)]
    if len(full) >= _ENOUGH * count:
        epoch = sum(bool(re.fullmatch(r"\d{9,10}(\.\d+)?|\d{12,13}", shown(t).strip()))
                    for t in texts)  # fmt: skip
        offsets = sum(each.offset_min is not None for each in full)
        midnight = all(text.startswith(MARK + "d") and text.endswith("00:00:00") for text in texts)
        return Looks("day" if midnight else "moment", offsets > 0, epoch >= _ENOUGH * count)
    if _share(isinstance(moments.day(text, "mdy"), dt.date)
              or isinstance(moments.day(text, "dmy"), dt.date) for text in texts):  # fmt: skip
        return Looks("day")
    numbers = [as_number(shown(text).strip(), comma=True) for text in texts]
    if _share(":" in shown(text) and isinstance(_clock(text), int) for text in texts):
        offsets = sum(moments.written_offset(shown(text).strip()) is not None for text in texts)
        return Looks("clock", offsets > 0)
    whole = [n for n in numbers if n is not None and n.is_integer() and 0 <= n <= 2400]
    if len(whole) >= _ENOUGH * count and all(n <= 24 or n % 100 < 60 for n in whole):
        return Looks("hour")
    if _share(number is not None for number in numbers):
        return Looks("number")
    if _share(isinstance(moments.clock(text), int) and re.search(r"[ap]\.?\s?m", shown(text), re.I)
              is not None for text in texts):  # fmt: skip
        return Looks("clock")
    return Looks("text")


def _clock(text: str) -> int | str:
    plain = shown(text).strip()
    if moments.written_offset(plain) is not None:
        plain = moments.without_offset(plain)
    return moments.clock(plain)


def _share(flags: Iterable[bool]) -> bool:
    listed = list(flags)
    return sum(listed) >= _ENOUGH * len(listed)


_THREE = re.compile(r"\s*(?:[A-Za-z]{3,9}\.?,?\s+)?(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d\d)(?!\d)")


def _has_three_numbers(text: str) -> bool:
    return _THREE.match(shown(text)) is not None


def date_order(sheet: Sheet, columns: list[str], semicolon: bool) -> tuple[Order | None, Sure, str]:
    """(how dates of three numbers are meant, how sure, why); None where none occurs."""
    matches = [
        match for theirs in columns for text in column_texts(sheet, theirs)
        if (match := _THREE.match(shown(text)))
    ]  # fmt: skip
    if not matches:
        return None, "sure", "the year stands first"
    first = {int(match[1]) for match in matches}
    second = {int(match[3]) for match in matches}
    day_first, month_first = max(first) > 12, max(second) > 12
    if day_first != month_first:
        order: Order = "dmy" if day_first else "mdy"
        top = max(first) if day_first else max(second)
        return order, "sure", f"a {top} can only be a day"
    likely: Order = "dmy" if semicolon else "mdy"
    if day_first:
        return likely, "open", "some dates can only be day first, others only month first"
    if "." in {match[2] for match in matches}:
        return "dmy", "likely", "dates with dots are written so"
    runs = {order: _runs_on(matches, order) for order in ("mdy", "dmy")}
    if runs["mdy"] != runs["dmy"]:
        return ("mdy" if runs["mdy"] else "dmy"), "likely", "so read, day follows day"
    return likely, "open", "no day is above 12, so that both ways are possible"


def _runs_on(matches: list[re.Match[str]], order: str) -> bool:
    """Whether the dates, so read, go on from day to day (or back), with at most a week between."""
    days = []
    for match in matches:
        a, b = int(match[1]), int(match[3])
        year = int(match[4]) + (2000 if len(match[4]) == 2 else 0)
        try:
            days.append(dt.date(year, *((a, b) if order == "mdy" else (b, a))).toordinal())
        except ValueError:
            return False
    steps = np.diff(np.array(days))
    steps = steps[steps != 0]
    return len(steps) > 0 and bool((steps > 0).all() or (steps < 0).all()) and (
        int(np.abs(steps).max()) <= 7
    )  # fmt: skip


def decimal_comma(sheet: Sheet, columns: list[str]) -> bool:
    """Whether the figures of these columns carry a decimal comma."""
    commas = points = 0
    for theirs in columns:
        for text in samples(sheet, theirs):
            plain = shown(text).strip()
            commas += re.fullmatch(r"[-+]?\d*,\d+", plain) is not None
            points += re.fullmatch(r"[-+]?\d*\.\d+", plain) is not None
    if commas == points == 0:
        return bool(sheet.decimal_comma)
    return commas > points


def figures(sheet: Sheet, theirs: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """The figures of a column, without the texts that are none."""
    found = [as_number(shown(text).strip(), comma=True) for text in column_texts(sheet, theirs)]
    return np.array([n for n in found if n is not None and abs(n) < 900], dtype=np.float64)


def guessed_unit(
    column: str, values: np.ndarray[tuple[int], np.dtype[np.float64]], hint: str | None,
    summer: bool,
) -> tuple[str | None, Sure, str]:  # fmt: skip
    """(unit, how sure, why) of a weather column whose header names none.

    ``hint``: us or metric, as the units of the other headers are; ``summer``: whether at least half
    of the rows are of May to September.
    """
    if len(values) == 0:
        return None, "open", "it has no figures"
    low, high = (float(x) for x in np.percentile(values, (1, 99)))
    span = f"values of {values.min():.3g} to {values.max():.3g}"
    if column == "air_temp":
        return _temperature(low, high, span, hint, summer)
    if column == "humidity" or column == "cloud":
        if high <= 1.0:
            return "fraction", "likely", f"{span}: shares of one"
        return "percent", "sure" if high > 10 else "likely", f"{span}"
    if column == "sun":
        return "W/m2", "sure" if high > 200 else "likely", f"{span}, as watts a square meter are"
    if column == "wind_height":
        return "m", "likely", span
    pairs = {"wind": ("mph", "m/s"), "rain": ("in", "mm")}
    if column not in pairs:
        return None, "likely", "the house unit"
    us, metric = pairs[column]
    if column == "rain" and high > 3:
        return "mm", "likely", f"{span}: too much for inches in an hour"
    if hint == "us":
        return us, "likely", "the other columns are in US units"
    if hint == "metric" and column == "rain":
        return "mm", "likely", "the other columns are in metric units"
    if hint == "metric":
        return metric, "open", f"{span} may be m/s or km/h"
    if column == "rain" and high == 0:
        return us, "likely", "it is nought throughout"
    return us, "open", f"{span} may be {us} or {metric}"


def _temperature(
    low: float, high: float, span: str, hint: str | None, summer: bool
) -> tuple[str, Sure, str]:
    if low > 200:
        return "kelvin", "sure", f"{span}: nothing else is so high"
    if high > 55:
        return "degF", "sure", f"{span}: no air has {high:.0f} °C"
    if summer and high < 45:
        return "degC", "likely", f"{span} in summer: {high:.0f} °F would be too cold"
    if hint == "metric" and high < 45:
        return "degC", "likely", f"{span}, and the other columns are metric"
    if hint == "us":
        return "degF", "likely", f"{span}, and the other columns are in US units"
    if high > 45:
        return "degF", "likely", f"{span}: air of {high:.0f} °C is rare"
    return "degC", "open", f"{span} may be °C, or °F of cold days"
