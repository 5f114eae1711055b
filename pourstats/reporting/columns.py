"""The columns of a table or measure as cells: plain Python values, in the units shown.

A log table's columns come in house units and are headed by name and unit; a measure's columns carry
their unit in their names, which change with the unit system.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from pourstats import units
from pourstats.logs.forms import header
from pourstats.logs.tables import TABLES, Column
from pourstats.units import System

if TYPE_CHECKING:
    import pandas as pd

CellKind = Literal["text", "number", "date", "time", "flag"]
Cell = str | float | int | bool | date | datetime | None


@dataclass(frozen=True)
class Shown:
    """One column as it is written: its header, what its cells are, and the cells.

    ``cells`` hold str, int or float, date, datetime, bool, or None for unknown; never NaN.
    ``sentences`` are texts to be read, which a sheet wraps.
    """

    header: str
    kind: CellKind
    cells: Sequence[Cell]
    declared: Column | None = None
    unit: str | None = None
    sentences: bool = False


def columns(frame: pd.DataFrame, name: str | None, format: str, system: System) -> list[Shown]:
    """The frame's columns as they stand in a file of that format, units changed where due."""
    table = TABLES.get(name) if name is not None else None
    declared = {column.name: column for column in table.columns} if table is not None else {}
    shown = []
    for label in frame.columns:
        series = frame[label]
        column = declared.get(str(label))
        if column is None:
            shown.append(_measured(str(label), series, system))
        else:
            bracketed = format in ("csv", "xlsx", "plain")
            shown.append(_logged(column, series, system if bracketed else "us", bracketed))
    return shown


def _logged(column: Column, series: pd.Series[Any], system: System, bracketed: bool) -> Shown:
    if column.kind in ("number", "whole"):
        cells = _numbers(series)
        unit = None if column.unit is None else units.unit_in(column.unit, system)
        if column.unit is not None and unit != column.unit:
            cells = _changed(cells, column, column.unit, system)
        head = header(column, unit) if bracketed else column.name
        return Shown(head, "number", cells, column, unit)
    if column.kind in ("date", "time"):
        kind: CellKind = "date" if column.kind == "date" else "time"
        return Shown(column.name, kind, _instants(series, kind), column)
    return Shown(column.name, "text", _texts(series), column)


def _measured(label: str, series: pd.Series[Any], system: System) -> Shown:
    kind = _kind(label, series)
    if kind == "number":
        head, change = measure_in(label, system)
        cells = _numbers(series)
        if change is not None:
            values = change(np.array([math.nan if c is None else c for c in cells], dtype=float))
            cells = [_finite(value) for value in values.tolist()]
        return Shown(head, "number", cells)
    if kind in ("date", "time"):
        return Shown(label, kind, _instants(series, kind))
    if kind == "flag":
        return Shown(label, "flag", [None if v is None else bool(v) for v in _known_cells(series)])
    return Shown(label, "text", _texts(series))


@cache
def _date_names() -> frozenset[str]:
    return frozenset(
        column.name
        for table in TABLES.values()
        for column in table.columns
        if column.kind == "date"
    )


def _kind(label: str, series: pd.Series[Any]) -> CellKind:
    """What a measure's column holds, from its dtype or its first known cell, and its name."""
    from pandas.api import types

    dtype = series.dtype
    if types.is_bool_dtype(dtype):
        return "flag"
    if types.is_numeric_dtype(dtype):
        return "number"
    # A date comes out of the database as a timestamp at midnight, so its name decides.
    dated = label in _date_names() or label.endswith("_date")
    if types.is_datetime64_any_dtype(dtype):
        return "date" if dated else "time"
    first = next((value for value in _known_cells(series) if value is not None), None)
    if isinstance(first, bool):
        return "flag"
    if isinstance(first, (int, float, Decimal, np.number)):
        return "number"
    if isinstance(first, datetime):
        return "date" if dated else "time"
    return "date" if isinstance(first, date) else "text"


def _known_cells(series: pd.Series[Any]) -> list[Any]:
    """The cells as Python objects, with None for None, NaN, NaT and NA."""
    cells: list[Any] = series.astype(object).where(series.notna(), None).tolist()
    return cells


def _finite(value: float) -> float | int | None:
    """The number without a needless point: 1200 for 1200.0, None for NaN and infinities."""
    if not math.isfinite(value):
        return None
    return int(value) if value.is_integer() and abs(value) < 1e15 else value


def _numbers(series: pd.Series[Any]) -> list[Cell]:
    return [
        None
        if value is None
        else int(value)
        if isinstance(value, (int, np.integer))
        else _finite(float(value))
        for value in _known_cells(series)
    ]


def _instants(series: pd.Series[Any], kind: CellKind) -> list[Cell]:
    import pandas as pd

    stamps = pd.to_datetime(series)
    if stamps.dt.tz is not None:
        stamps = stamps.dt.tz_localize(None)
    moments = [None if v is None else v.to_pydatetime() for v in _known_cells(stamps)]
    if kind == "date":
        return [None if moment is None else moment.date() for moment in moments]
    return list(moments)


def _texts(series: pd.Series[Any]) -> list[Cell]:
    return [
        value
        if value is None or isinstance(value, str)
        else ";".join(map(str, value))
        if isinstance(value, (list, tuple, np.ndarray))
        else str(value)
        for value in _known_cells(series)
    ]


# Units on the way out


def _changed(cells: Sequence[Cell], column: Column, house: str, system: System) -> list[Cell]:
    """Numbers in house units, in the unit shown, so that reading gives them back.

    A conversion there and back can miss by the last bits. Of the shown number's roundings and
    neighbours the first is taken that reads back within four units in the last place, else the
    nearest; zero only as zero, and nothing that would read back beyond the column's range.
    """
    known = sorted({float(cell) for cell in cells if isinstance(cell, (int, float))})
    values = np.array(known, dtype=float)
    if not known:
        return list(cells)
    unit = units.checked_unit(units.unit_in(house, system), house)
    plain = np.asarray(units.to_system(values, house, system), dtype=float)
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    low, high = np.minimum(low, values), np.maximum(high, values)
    near = 4.0 * np.spacing(np.abs(values))
    step = np.spacing(np.abs(plain))
    best, error = plain, np.full(plain.shape, np.inf)
    for candidate in (
        *(_rounded(plain, digits) for digits in (12, 15)),
        *(plain + count * step for count in (0, 1, -1, 2, -2, 3, -3)),
    ):
        back = units.to_house(candidate, unit, house)
        miss = np.where((back < low) | (back > high), np.inf, np.abs(back - values))
        better = (error > near) & (miss < error)
        best, error = np.where(better, candidate, best), np.where(better, miss, error)
    shown = dict(zip(known, (_finite(value) for value in best.tolist()), strict=True))
    return [shown[float(c)] if isinstance(c, (int, float)) else c for c in cells]


def _rounded(values: NDArray[np.float64], digits: int) -> NDArray[np.float64]:
    return np.array([float(f"{value:.{digits}g}") for value in values.tolist()], dtype=float)


_SUFFIXES: dict[str, tuple[str, str]] = {
    "lb_ft2_h": ("lb/ft2/h", "kg_m2_h"), "ft2": ("ft2", "m2"), "yd3": ("yd3", "m3"),
    "psi": ("psi", "mpa"), "mph": ("mph", "kmh"), "gal": ("gal", "l"), "ft": ("ft", "m"),
    "in": ("in", "mm"), "f": ("degF", "c"),
}  # fmt: skip
"""A measure's unit suffix: the house unit it means, and the suffix in metric."""

_STATISTIC = re.compile(r"(?:_(?:p\d\d|mean|median|max|low|high|total|sd|usual|par|bid|spent))*$")
_DENOMINATOR = re.compile(rf"(\d*)({'|'.join(_SUFFIXES)})(?=_|$)")
_DIFFERENCE = re.compile(r"(?:^|_)(?:diff|difference|delta|drop|rise|range|spread|sd)(?:_|$)")


class _Change:
    """A measure's change of unit: scale, and for a temperature the offset."""

    def __init__(self, scale: float, house: str | None = None) -> None:
        self.scale = scale
        self.house = house

    def __call__(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        if self.house is not None:
            values = np.asarray(units.to_system(values, self.house, "metric"), dtype=float)
        if self.house == "degF":
            # The way by absolute zero leaves noise in the 14th decimal: 32 degF is 0 degC.
            values = np.round(values, 12)
        # The sixteenth digit is noise of the conversion: 111.483648, not 111.48364799999999.
        return _rounded(values * self.scale, 15)


def measure_in(name: str, system: System) -> tuple[str, _Change | None]:
    """A measure column's name in that system, and the change of its numbers (None for none).

    ``yd3_per_crew_h`` becomes ``m3_per_crew_h``, ``labor_h_per_100ft2`` ``labor_h_per_100m2``.
    A name of a temperature difference (``drop``, ``range`` …) or of a rate is scaled, not shifted.
    """
    if system != "metric":
        return name, None
    found = _STATISTIC.search(name)
    tail = found.group() if found else ""
    head = name[: len(name) - len(tail)]
    over, per, under = head.partition("_per_")
    house: str | None = None
    for suffix, (unit, metric) in _SUFFIXES.items():
        if over == suffix or over.endswith("_" + suffix):
            house, over = unit, over[: len(over) - len(suffix)] + metric
            break
    scale = 1.0
    match = _DENOMINATOR.match(under) if per else None
    if match is not None:
        unit, metric = _SUFFIXES[match.group(2)]
        scale = 1.0 / _scale(unit)
        under = match.group(1) + metric + under[match.end() :]
    if house is None and match is None:
        return name, None
    if house == "degF" and (per or _DIFFERENCE.search(name)):
        scale, house = scale * _scale(house), None
    return over + per + under + tail, _Change(scale, house)


@cache
def _scale(house: str) -> float:
    """Metric units in one house unit; for a temperature, degrees of difference."""
    one, zero = units.to_system(np.array([1.0, 0.0]), house, "metric")
    if house == "degF":
        # The offset costs the last bits; a wide difference keeps them.
        high, low = units.to_system(np.array([212.0, 32.0]), house, "metric")
        return round(float(high - low), 9) / 180.0
    return float(one - zero)


# Text of cells


def number_text(value: float) -> str:
    """The shortest decimal text that reads back as the very number, without an exponent."""
    if isinstance(value, int):
        return str(value)
    written = repr(value)
    return format(Decimal(written), "f") if "e" in written else written


def time_text(moment: datetime, between: str = "T") -> str:
    """``YYYY-MM-DDTHH:MM``, with seconds only where they are not zero."""
    whole = moment.second == 0 and moment.microsecond == 0
    return moment.isoformat(between, "minutes" if whole else "auto")
