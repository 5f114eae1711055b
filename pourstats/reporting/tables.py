"""Tables and measures as files and on the terminal: csv, json, parquet, xlsx, plain text.

A log table (a name of :data:`pourstats.logs.tables.TABLES`) comes in house units with the column
names of its declaration; csv and xlsx carry the unit in the header, json and parquet keep names and
units. A measure carries its units in its column names, which change with the unit system.
"""

from __future__ import annotations

import csv
import json
import math
import os
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES, Column
from pourstats.units import System

if TYPE_CHECKING:
    import pandas as pd

Format = Literal["csv", "json", "parquet", "xlsx"]
CellKind = Literal["text", "number", "date", "time", "flag"]
Cell = str | float | int | bool | date | datetime | None


@dataclass(frozen=True)
class Shown:
    """One column as it is written: its header, what its cells are, and the cells.

    ``cells`` hold str, int or float, date, datetime, bool, or None for unknown; never NaN.
    """

    header: str
    kind: CellKind
    cells: Sequence[Cell]
    declared: Column | None = None
    unit: str | None = None


def text(frame: pd.DataFrame, name: str | None, format: str, system: System) -> str:
    """The frame as csv or json text, ending with a line break.

    ``name`` is the log table's or the measure's name. Raises Refusal for a format that is no text.
    """
    if format == "csv":
        return _csv(columns(frame, name, format, system))
    if format == "json":
        return _json(columns(frame, name, format, system))
    _known(format)
    raise Refusal(f"{format} is not text; give a file for it with --out FILE.{format}")


def write(
    frame: pd.DataFrame,
    name: str | None,
    format: str,
    system: System,
    path: str | Path,
    *,
    meanings: Mapping[str, str] | None = None,
) -> None:
    """Writes the frame to a file, whole or not at all; a file of that name is replaced.

    ``meanings`` explains a measure's columns (by their name in the frame) on a workbook's sheet
    ``about``; a log table explains itself. Raises Refusal if the file can't be written.
    """
    _known(format)
    target = Path(path)
    with _refused(target):
        target = target.resolve()
        special = target.exists() and not target.is_file()
        if target.is_dir():
            raise Refusal(f"{path} is a folder; name a file in it, as {target / 'table'}.{format}")
        draft = target if special else target.with_name(f".{target.name}.{os.getpid()}.part")
        try:
            shown = columns(frame, name, format, system)
            _drawn(shown, name or "table", format, draft, (system, meanings or {}))
            if draft != target:
                draft.replace(target)
        finally:
            if draft != target:
                draft.unlink(missing_ok=True)


class _refused:  # noqa: N801
    """Turns an operating system's error over a file into a Refusal that names the file."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, FileNotFoundError):
            raise Refusal(
                f"{self.path} can't be written: there is no folder {self.path.parent}; make it "
                "first, or name a file elsewhere"
            ) from None
        if isinstance(error, OSError):
            reason = error.strerror or str(error)
            raise Refusal(f"{self.path} can't be written ({reason}); name another file") from None


def _known(format: str) -> None:
    if format not in get_args(Format):
        raise Refusal(f"{format!r} is no format; take csv, json, parquet or xlsx")


def _drawn(
    shown: list[Shown], name: str, format: str, path: Path, about: tuple[System, Mapping[str, str]]
) -> None:
    if format == "parquet":
        _write_parquet(shown, path)
    elif format == "xlsx":
        from pourstats.reporting.workbook import write_workbook

        write_workbook({name: shown}, path, *about)
    else:
        lines = _csv(shown) if format == "csv" else _json(shown)
        path.write_text(lines, encoding="utf-8", newline="")


# The columns of a frame, as cells


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
        header = f"{column.name} [{unit}]" if unit is not None and bracketed else column.name
        return Shown(header, "number", cells, column, unit)
    if column.kind in ("date", "time"):
        kind: CellKind = "date" if column.kind == "date" else "time"
        return Shown(column.name, kind, _instants(series, kind), column)
    return Shown(column.name, "text", _texts(series), column)


def _measured(label: str, series: pd.Series[Any], system: System) -> Shown:
    kind = _kind(label, series)
    if kind == "number":
        header, change = measure_in(label, system)
        cells = _numbers(series)
        if change is not None:
            values = change(np.array([math.nan if c is None else c for c in cells], dtype=float))
            cells = [_finite(value) for value in values.tolist()]
        return Shown(header, "number", cells)
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
    near = np.where(values == 0.0, 0.0, 4.0 * np.spacing(np.abs(values)))
    # Celsius is counted from absolute zero on the way, so its steps are those of the kelvin.
    step = np.spacing(np.abs(plain) + (273.15 if house == "degF" else 0.0))
    best, error = plain, np.full(plain.shape, np.inf)
    for candidate in (
        *(_rounded(plain, digits) for digits in (12, 14, 15, 16)),
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


_GUARDED = re.compile(r"'*[=+\-@\t]")


def guarded(value: str) -> str:
    """The text with one ``'`` before it if a spreadsheet would take it for a formula.

    So is a text that already begins with ``'`` and such a character, so that a reader that strips
    exactly one ``'`` there gives every text back. A NUL, which no reader takes, becomes U+FFFD.
    """
    value = value.replace("\0", "\ufffd")
    return "'" + value if _GUARDED.match(value) else value


def cell_text(cell: Cell) -> str:
    """A cell as it stands in a csv file; unknown is blank."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return guarded(cell)
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, datetime):
        return time_text(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    return number_text(cell)


class _Lines(list[str]):
    """Takes a csv writer's lines and ends each with a bare line feed.

    The writer itself must end them with CR LF: only then does it quote a text with a lone CR.
    """

    def write(self, line: str) -> None:
        self.append(line.removesuffix("\r\n") + "\n")


def _csv(shown: Sequence[Shown]) -> str:
    lines = _Lines()
    writer = csv.writer(lines)
    writer.writerow([guarded(column.header) for column in shown])
    written = [[cell_text(cell) for cell in column.cells] for column in shown]
    writer.writerows(zip(*written, strict=True))
    return "".join(lines)


def _json(shown: Sequence[Shown]) -> str:
    headers = [column.header for column in shown]
    cells = [[_json_cell(cell) for cell in column.cells] for column in shown]
    rows = [
        json.dumps(dict(zip(headers, row, strict=True)), allow_nan=False)
        for row in zip(*cells, strict=True)
    ]
    return "[" + ",".join("\n" + row for row in rows) + "\n]\n"


def _json_cell(cell: Cell) -> Cell:
    if isinstance(cell, datetime):
        return time_text(cell)
    return cell.isoformat() if isinstance(cell, date) else cell


def _write_parquet(shown: Sequence[Shown], path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet

    types = {"text": pa.string(), "date": pa.date32(), "time": pa.timestamp("us"),
             "flag": pa.bool_(), "number": pa.float64()}  # fmt: skip
    arrays, names = [], []
    for column in shown:
        kind = types[column.kind]
        declared = column.declared
        if declared is not None and declared.kind == "whole":
            kind = pa.int64()
        cells = column.cells
        if kind == pa.float64():
            cells = [None if cell is None else float(cell) for cell in cells]  # type: ignore[arg-type]
        arrays.append(pa.array(cells, type=kind))
        names.append(column.header)
    pyarrow.parquet.write_table(pa.table(arrays, names=names), str(path))


# On the terminal

_WIDEST = 32
_CONTROLS = ("Cc", "Cf", "Zl", "Zp")


def plain(
    frame: pd.DataFrame, system: System, name: str | None = None, width: int | None = None
) -> str:
    """The frame for people: aligned columns within ``width``, then how many rows there are.

    Columns without a single known cell, and those beyond the width, are named below instead.
    ``width`` None takes the terminal's. Numbers are rounded for reading; files carry them whole.
    """
    if width is None:
        import shutil

        width = shutil.get_terminal_size((100, 24)).columns
    shown = columns(frame, name, "plain", system)
    blank = [c.header for c in shown if all(cell is None for cell in c.cells)]
    filled = [c for c in shown if c.header not in blank] or shown
    blocks = [_block(column) for column in filled]
    fitting, used = 0, 0
    for block in blocks:
        used += _width(block[0]) + (2 if fitting else 0)
        if fitting and used > width:
            break
        fitting += 1
    lines = ["  ".join(row).rstrip() for row in zip(*blocks[:fitting], strict=True)]
    count = len(frame)
    notes = [f"{count:,} row" + ("" if count == 1 else "s")]
    if fitting < len(filled):
        rest = [column.header for column in filled[fitting:]]
        notes.append(f"{len(rest)} more columns: " + ", ".join(rest))
    if blank and count:
        notes.append("blank throughout: " + ", ".join(blank))
    folded = [line for note in notes for line in _folded(note, width)]
    return "\n".join([*lines, "", *folded]) + "\n"


def _folded(note: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(note, max(width, 20), break_long_words=False, subsequent_indent="  ")


def _block(column: Shown) -> list[str]:
    """Header, rule and cells of one column, all of one width."""
    cells = [_readable(cell) for cell in _eased(column).cells]
    right = column.kind == "number"
    wide = max(map(_width, [column.header, *cells]))
    rows = [column.header, "-" * wide, *cells]
    return [_padded(row, wide, right) for row in rows]


def _eased(column: Shown) -> Shown:
    """A number column rounded to what its largest number makes worth reading."""
    if column.kind != "number":
        return column
    known = [abs(float(c)) for c in column.cells if isinstance(c, (int, float))]
    largest = max(known, default=0.0)
    digits = 4 if column.declared is not None else 3 if largest < 10 else 2 if largest < 1000 else 1
    cells = [_finite(round(float(c), digits)) if isinstance(c, (int, float)) else c
             for c in column.cells]  # fmt: skip
    return replace(column, cells=cells)


def _readable(cell: Cell) -> str:
    if isinstance(cell, datetime):
        return time_text(cell, " ")
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if not isinstance(cell, str):
        return cell_text(cell)
    # A control character could move the cursor or turn the line around: it is shown as a blank.
    seen = "".join(" " if unicodedata.category(c) in _CONTROLS else c for c in cell)
    if _width(seen) <= _WIDEST:
        return seen
    while _width(seen) > _WIDEST - 1:
        seen = seen[:-1]
    return seen + "…"


def _width(seen: str) -> int:
    """Terminal cells that a text takes: two for a wide character, none for a combining one."""
    if seen.isascii():
        return len(seen)
    return sum(
        0 if unicodedata.combining(c) or unicodedata.category(c) == "Cf"
        else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in seen
    )  # fmt: skip


def _padded(seen: str, wide: int, right: bool) -> str:
    fill = " " * (wide - _width(seen))
    return fill + seen if right else seen + fill
