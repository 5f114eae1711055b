"""A sheet of text → checked columns, and the faults of the rows that break a rule.

Whole columns are checked over their distinct texts, and only the cells that fail are explained.
What needs the store (whether a row's pour is there, on which day a bare clock time lies) is settled
when the rows are stored; see :mod:`pourstats.store.rows`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pourstats import settings, units
from pourstats.faults import Fault
from pourstats.logs.as_written import AsWritten
from pourstats.logs.cell import Cell, Reading, normalized, quoted
from pourstats.logs.cells import read_cell
from pourstats.logs.checked import Checked
from pourstats.logs.files import MARK, Sheet, UnusableError, marked, shown
from pourstats.logs.tables import SQL_TYPES, TABLES, Column, Table

ARROW_TYPES: dict[str, Any] = {
    "VARCHAR": pa.string(), "DOUBLE": pa.float64(), "BIGINT": pa.int64(), "DATE": pa.date32(),
    "TIMESTAMP": pa.timestamp("us"),
}  # fmt: skip
MANY_TEXTS = 512
"""From this many distinct texts on, the usual spellings are read by Arrow, the rest one by one."""


def sheet_from_cells(
    rows: list[str], file: str, sheet: str | None, lines: list[int], raw: list[str]
) -> Sheet:
    """Rows kept by :meth:`Checked.cells`, all of one header and manner, as a sheet again."""
    kept = [json.loads(row) for row in rows]
    head = kept[0]["head"]
    columns = [pa.array([row["cells"][i] for row in kept], pa.string()) for i in range(len(head))]
    return Sheet(
        file, sheet, head, columns, np.array(lines, dtype=np.int64), pa.array(raw, pa.string()),
        decimal_comma=kept[0]["comma"], typed=kept[0]["typed"],
    )  # fmt: skip


def table_named(name: str) -> Table | None:
    """The table that a file or sheet of that name holds, or None."""
    wanted = normalized(name)
    for table in TABLES.values():
        if normalized(table.name) == wanted:
            return table
    return None


def check_header(sheet: Sheet, table: Table) -> None:
    """Raises UnusableError for a header that names a column twice."""
    _heads(sheet, table)


def checked(sheet: Sheet, table: Table, written: AsWritten | None = None) -> Checked:
    """The sheet's rows, checked against the table. Faults are told as they stood in another
    program's file where the sheet was made from one. Raises UnusableError for a header that names
    a column twice."""
    heads, warnings = _heads(sheet, table)
    n = len(sheet.lines)
    result = Checked(
        table, sheet.file, sheet.sheet, tuple(heads), {}, {}, {}, sheet.lines, sheet.raw,
        np.ones(n, dtype=bool), sheet, warnings=[*sheet.warnings, *warnings],
    )  # fmt: skip
    for fault in written.faults if written is not None else ():
        result.fault(*fault)
    for row, text in sorted(sheet.beyond.items()):
        result.fault(
            row, None, text, f"{quoted(text)} stands in a cell beyond the header; is a comma or a"
            " quote out of place?"
        )  # fmt: skip
    for column in table.columns:
        if column.name in heads:
            place, reading = heads[column.name]
            _check_column(result, column, sheet.columns[place], reading)
        elif column.required:
            for row in range(n):
                result.fault(
                    row, column.name, None,
                    f"the file has no column {column.name}, which every row needs; add it",
                )  # fmt: skip
    _check_rows(result)
    if written is not None:
        _tell_as_written(result, written)
    result.faults.sort(key=lambda entry: entry[0])
    return result


def _tell_as_written(result: Checked, written: AsWritten) -> None:
    own = len(written.faults)
    said = {(row, ours) for row, ours, _, _ in written.faults} | set(written.covered)
    rest = [(row, fault) for row, fault in result.faults[own:] if (row, fault.column) not in said]
    result.faults = [(row, written.told(row, fault)) for row, fault in result.faults[:own] + rest]
    result.as_written = written


def _heads(sheet: Sheet, table: Table) -> tuple[dict[str, tuple[int, Reading]], list[str]]:
    """Our column → (place in the sheet, how its cells are read), and warnings."""
    names = {normalized(name): name for name in table.names}
    heads: dict[str, tuple[int, Reading]] = {}
    warnings: list[str] = []
    seen: set[str] = set()
    for place, written in enumerate(sheet.header):
        base, unit = _head(written, names)
        name = names.get(normalized(base))
        same = name or normalized(written)
        if same in seen:
            raise UnusableError(f"its header names {name or written.strip()} twice; take one out")
        if same:
            seen.add(same)
        where = sheet.file + (f", sheet {sheet.sheet}" if sheet.sheet else "")
        if name is None:
            if written.strip():
                near = get_close_matches(normalized(base), names, n=1, cutoff=0.7)
                hint = f"; did you mean {names[near[0]]}?" if near else ""
                warnings.append(f"{where}: column {quoted(written.strip())} is not known and was"
                                f" not read{hint}")  # fmt: skip
            else:
                warnings.append(f"{where}: column {place + 1} has no name and was not read")
            continue
        heads[name] = (place, Reading(unit if table.column(name).unit else None,
                                      sheet.decimal_comma))  # fmt: skip
    return heads, warnings


def _head(written: str, names: Mapping[str, str]) -> tuple[str, str | None]:
    """(column name, unit in brackets or None) of a header cell."""
    match = re.fullmatch(r"\s*(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]\s*", written, re.S)
    if match is None or normalized(written) in names:
        return written, None
    return match[1], match[2] or None


def _check_column(result: Checked, column: Column, texts: Any, reading: Reading) -> None:
    kind = SQL_TYPES[column.kind]
    n = len(texts)
    if column.kind in ("id", "text", "notes") and not result.source.typed:
        result.columns[column.name] = _plain_text(result, column, texts)
        return
    if not result.source.typed:
        texts = _as_text(texts)
    encoded = texts.dictionary_encode()
    distinct = encoded.dictionary
    places = encoded.indices.to_numpy(zero_copy_only=False)
    values, left = _usual(column, distinct, reading, result.source.typed)
    clocks = np.full(len(distinct), -1, dtype=np.int32)
    told: dict[int, Cell] = {}
    slow: dict[int, object] = {}
    for i in left:
        cell = read_cell(distinct[i].as_py(), column, reading)
        slow[i] = cell.value
        if cell.clock is not None:
            clocks[i] = cell.clock
        if cell.fault is not None or cell.warning is not None:
            told[i] = cell
    values = _merged(values, slow, len(distinct), ARROW_TYPES[kind])
    array = values.take(pa.array(places)) if len(distinct) else pa.nulls(n, ARROW_TYPES[kind])
    result.columns[column.name] = array
    if column.kind == "time":
        result.written[column.name] = texts
        result.clocks[column.name] = clocks[places] if n else np.zeros(0, dtype=np.int32)
    _tell(result, column, told, places, distinct)
    _require(result, column, array)


def _as_text(texts: Any) -> Any:
    """Cells that no workbook wrote and that begin as its marks do are marked as the text they are:
    nobody may pass a number off as read already."""
    begins = pc.starts_with(texts, MARK)
    if not pc.any(begins).as_py():
        return texts
    return pc.if_else(begins, pc.binary_join_element_wise(marked("s", ""), texts, ""), texts)


def _plain_text(result: Checked, column: Column, texts: Any) -> Any:
    guarded = pc.match_substring_regex(texts, r"^'+[=+\-@\t]")
    if pc.any(guarded).as_py():
        # The apostrophe that keeps a spreadsheet from taking a text for a formula.
        texts = pc.if_else(guarded, pc.utf8_slice_codeunits(texts, 1), texts)
    trimmed = pc.utf8_trim_whitespace(texts)
    blank = pc.equal(trimmed, "")
    kept = texts if column.kind == "notes" else trimmed
    array = pc.if_else(blank, pa.scalar(None, pa.string()), kept)
    _require(result, column, array)
    return array


_USUAL_TIME = (
    r"^(19[7-9]\d|20\d\d|21\d\d)-((0[1-9]|1[0-2])-(0[1-9]|1\d|2[0-8])|(0[13-9]|1[0-2])-(29|30)"
    r"|(0[13578]|1[02])-31)[ T]([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?$"
)
_USUAL_NUMBER = r"^-?\d{1,15}(\.\d{1,17})?$"


def _usual(column: Column, texts: Any, reading: Reading, typed: bool) -> tuple[Any, Iterable[int]]:
    """(values of the texts in a usual spelling, places of those left to read one by one)."""
    everything = range(len(texts))
    if len(texts) < MANY_TEXTS or typed:
        return None, everything
    if column.kind == "time":
        usual = pc.match_substring_regex(texts, _USUAL_TIME)
        chosen = pc.if_else(usual, texts, pa.scalar(None, pa.string()))
        values = pc.cast(chosen, pa.timestamp("us"))
    elif column.kind == "number":
        usual = pc.match_substring_regex(texts, _USUAL_NUMBER)
        chosen = pc.if_else(usual, texts, pa.scalar(None, pa.string()))
        values = _usual_numbers(column, pc.cast(chosen, pa.float64()), reading)
        if values is None:
            return None, everything
    else:
        return None, everything
    return values, np.flatnonzero(pc.is_null(values).to_numpy(zero_copy_only=False)).tolist()


def _usual_numbers(column: Column, values: Any, reading: Reading) -> Any:
    """In house units, null where a value is out of range or odd; None if the unit can't be."""
    numbers = values.to_numpy(zero_copy_only=False)
    if reading.unit:
        if column.unit is None:
            return None
        try:
            unit = units.checked_unit(reading.unit, column.unit)
        except units.UnitError:
            return None
        numbers = units.to_house(numbers, unit, column.unit)
    low = max(_or(column.low, -np.inf), _or(column.odd_low, -np.inf))
    high = min(_or(column.high, np.inf), _or(column.odd_high, np.inf))
    with np.errstate(invalid="ignore"):
        good = (numbers >= low) & (numbers <= high)
        if column.above_low:
            good &= numbers > _or(column.low, -np.inf)
        if column.odd_hint == "fraction":
            good &= (numbers > 1) | (numbers == 0)
    # A zero has no sign: -0 would be another value in the store, and 0 in a file.
    return pa.array(np.where(good, numbers + 0.0, np.nan), pa.float64(), from_pandas=True)


def _or(bound: float | None, other: float) -> float:
    return other if bound is None else bound


def _merged(values: Any, slow: Mapping[int, object], n: int, kind: Any) -> Any:
    if values is None:
        return pa.array([slow[i] for i in range(n)], kind)
    if not slow:
        return values.cast(kind)
    places = np.fromiter(slow, dtype=np.int64)
    mask = np.zeros(n, dtype=bool)
    mask[places] = True
    order = np.argsort(places)
    replaced = list(slow.values())
    return pc.replace_with_mask(
        values.cast(kind), pa.array(mask), pa.array([replaced[i] for i in order], kind)
    )


def _tell(
    result: Checked, column: Column, told: Mapping[int, Cell], places: NDArray[Any], distinct: Any
) -> None:
    if not told:
        return
    rows_of = _rows_by_place(places, list(told))
    warned: dict[str, list[tuple[int, str, str]]] = {}
    for place, cell in told.items():
        rows = rows_of[place]
        text = shown(distinct[place].as_py()).strip()
        if cell.fault is not None:
            for row in rows:
                result.fault(int(row), column.name, text, cell.fault)
        elif cell.warning is not None:
            kind = re.sub(r"[\d.,]+|'[^']*'", "", cell.warning)
            warned.setdefault(kind, []).extend((int(row), text, cell.warning) for row in rows)
    for entries in warned.values():
        # One line for all cells of a column that are odd in the same way.
        row, text, warning = min(entries)
        line = int(result.lines[row])
        where = Fault(result.file, line, column.name, text, warning, result.sheet)
        more = f" (and {len(entries) - 1} more such cells)" if len(entries) > 1 else ""
        result.warnings.append(f"{where}{more}")


def _rows_by_place(places: NDArray[Any], wanted: list[int]) -> dict[int, NDArray[np.int64]]:
    order = np.argsort(places, kind="stable")
    ranked = places[order]
    begins = np.searchsorted(ranked, wanted, side="left")
    ends = np.searchsorted(ranked, wanted, side="right")
    return {w: order[b:e] for w, b, e in zip(wanted, begins, ends, strict=True)}


def _require(result: Checked, column: Column, array: Any) -> None:
    if not column.required:
        return
    missing = array.is_null().to_numpy(zero_copy_only=False)
    clocks = result.clocks.get(column.name)
    if clocks is not None:
        missing = missing & (clocks < 0)
    if not missing.any():
        return
    # A cell that already has a fault is not blank.
    faulty = {row for row, fault in result.faults if fault.column == column.name}
    for row in np.flatnonzero(missing):
        if int(row) not in faulty:
            result.fault(
                int(row), column.name, None,
                f"is blank; every row of {result.table.name} needs it",
            )  # fmt: skip


def _check_rows(result: Checked) -> None:
    """Rules over several cells of a row that need nothing but the row."""
    table = result.table
    if table.anchor == "none":
        for name, clock in result.clocks.items():
            for row in np.flatnonzero(clock >= 0):
                text = shown(result.written[name][int(row)].as_py()).strip()
                result.fault(
                    int(row), name, text,
                    f"{quoted(text)} has no date; write it as 2031-06-03 {text}",
                )  # fmt: skip
    if table.needs_one_of:
        empty = np.ones(result.read, dtype=bool)
        for name in table.needs_one_of:
            if name in result.columns:
                empty &= result.columns[name].is_null().to_numpy(zero_copy_only=False)
        told = {row for row, fault in result.faults if fault.column in table.needs_one_of}
        for row in np.flatnonzero(empty):
            if int(row) not in told:
                words = " or ".join(table.needs_one_of)
                result.fault(int(row), table.needs_one_of[0], None, f"is blank; {words} is needed")
    if table.name == "settings":
        _check_settings(result)
    if table.name == "sites" and "zone" in result.columns:
        _check_zones(result)


def _check_settings(result: Checked) -> None:
    names, values = result.columns.get("name"), result.columns.get("value")
    for row in range(result.read):
        name = names[row].as_py() if names is not None else None
        value = (values[row].as_py() if values is not None else None) or ""
        if name is None:
            continue
        try:
            settings.parsed(name, value)
        except settings.RuleError as error:
            known = name in settings.RULES
            result.fault(row, "value" if known else "name", value if known else name, str(error))


def _check_zones(result: Checked) -> None:
    from zoneinfo import available_timezones

    zones = available_timezones()
    for row, zone in enumerate(result.columns["zone"].to_pylist()):
        if zone is not None and zone not in zones:
            where = Fault(
                result.file, int(result.lines[row]), "zone", zone,
                f"{quoted(zone)} is no time zone known here; write it as America/Denver",
                result.sheet,
            )  # fmt: skip
            result.warnings.append(str(where))
