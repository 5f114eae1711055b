"""Tables and measures as an xlsx workbook: true dates, text that stays text, a sheet ``about``.

Text is written as strings, never as formulas. Characters that XML can't hold are written as Excel
does it, ``_xHHHH_`` (ISO/IEC 29500-1, 22.9.2.19), and a text that looks like that is escaped too:
``openpyxl.utils.escape.unescape`` gives every text back.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from typing import Any, BinaryIO

from pourstats.faults import Refusal
from pourstats.logs.forms import ABOUT, about_rows
from pourstats.logs.tables import TABLES
from pourstats.reporting.columns import Cell, Shown, measure_in
from pourstats.units import System

MOST_ROWS = 1_048_576
"""Rows of a sheet, header included (Excel specifications and limits)."""
LONGEST_TEXT = 32_767
"""Characters in a cell (the same source)."""

_NOT_XML = "\x00-\x08\x0b-\x1f\ufffe\uffff\ud800-\udfff"
# A carriage return is legal XML, but a parser turns it into a line feed.
_ESCAPED = re.compile(rf"[{_NOT_XML}]|_(?=x[0-9A-Fa-f]{{4}}(?:_|[{_NOT_XML}]))")
_AS_FORMULA = re.compile(r"['=+\-@\t]")
_AS_NUMBER = re.compile(r"[\s(]*[+\-$.]?\d")
_ERRORS = frozenset(("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A"))
_DATE, _TIME, _SECONDS = "yyyy-mm-dd", "yyyy-mm-dd hh:mm", "yyyy-mm-dd hh:mm:ss"


def write_workbook(
    sheets: Mapping[str, Sequence[Shown]],
    path: Path,
    system: System,
    meanings: Mapping[str, Mapping[str, str]] | None = None,
) -> None:
    """Writes one sheet a table or measure, and ``about``, which explains their columns.

    ``meanings`` explains the columns of a sheet that is no log table, by name. Raises Refusal for
    what a sheet can't hold: more than 1,048,575 rows, a text of more than 32,767 characters, or a
    log so large that a load would not take it back.
    """
    from openpyxl import Workbook

    for name, shown in sheets.items():
        _check(name, shown)
    # Opened first, so that a file that can't be written is known before any work is done.
    with path.open("wb") as file:
        book = Workbook(write_only=True)
        try:
            for name, shown in sheets.items():
                _fill(book.create_sheet(name[:31]), shown)
            _explain(book.create_sheet(ABOUT), sheets, system, meanings or {})
            _save(book, file)
        except BaseException:
            # A half-written sheet complains when it is thrown away, unless it is closed.
            for sheet in book.worksheets:
                with suppress(Exception):
                    sheet.close()
            raise
    if any(name in TABLES for name in sheets):
        _check_size(path)


def _save(book: Any, file: BinaryIO) -> None:
    """Writes the book. One that the disk has no room for is closed at once: thrown away open, it
    would complain on standard error."""
    from openpyxl.writer.excel import ExcelWriter

    archive = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED)
    try:
        ExcelWriter(book, archive).save()
    except BaseException:
        with suppress(Exception):
            archive.close()
        raise


def _check_size(path: Path) -> None:
    """Refuses a log that is too large as a workbook to be loaded again."""
    from pourstats.logs import workbook

    with zipfile.ZipFile(path) as archive:
        size = sum(part.file_size for part in archive.infolist())
    if size > workbook.MOST_UNPACKED_BYTES:
        raise Refusal(
            f"as a workbook this would unpack to {size / 2**20:,.0f} MB, more than a load takes "
            f"({workbook.MOST_UNPACKED_BYTES / 2**20:,.0f} MB); take --format csv or parquet"
        )


def escaped(value: str) -> str:
    """The text as a workbook's XML holds it."""
    return _ESCAPED.sub(
        lambda found: "_x005F_" if found[0] == "_" else f"_x{ord(found[0]):04X}_", value
    )


def _check(name: str, shown: Sequence[Shown]) -> None:
    for column in shown:
        if len(column.cells) >= MOST_ROWS:
            raise Refusal(
                f"{name} has {len(column.cells):,} rows, and a workbook's sheet holds "
                f"{MOST_ROWS - 1:,}; take --format csv or parquet"
            )
        for row, cell in enumerate(column.cells, start=2):
            if (
                isinstance(cell, str)
                and len(cell) > LONGEST_TEXT // 7
                and (len(escaped(cell)) > LONGEST_TEXT)
            ):
                raise Refusal(
                    f"{name}, row {row}, {column.header}: the text is longer than the "
                    f"{LONGEST_TEXT:,} characters of a workbook's cell; take --format csv or json"
                )


def _fill(sheet: Any, shown: Sequence[Shown]) -> None:
    from openpyxl.utils import get_column_letter

    sheet.freeze_panes = "A2"
    for number, column in enumerate(shown, start=1):
        dimension = sheet.column_dimensions[get_column_letter(number)]
        dimension.width = _width(column)
        if column.kind == "text":
            dimension.number_format = "@"
    sheet.append([_header(sheet, column.header) for column in shown])
    cells = [_written(sheet, column) for column in shown]
    for row in zip(*cells, strict=True):
        sheet.append(row)


def _width(column: Shown) -> float:
    if column.sentences:
        return 90.0
    least = {"date": 12, "time": 17}.get(column.kind, 9)
    longest = max(
        (len(c) if isinstance(c, str) else 9 for c in column.cells[:500] if c is not None),
        default=0,
    )
    return float(min(max(least, len(column.header) + 2, longest + 2), 60))


def _header(sheet: Any, text: str) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    cell = WriteOnlyCell(sheet, escaped(text))
    cell.data_type = "s"
    cell.font = Font(bold=True)
    return cell


def _written(sheet: Any, column: Shown) -> Iterator[Any]:
    number_format = None
    if column.kind == "number" and column.declared is None:
        known = [abs(c) for c in column.cells if isinstance(c, (int, float))]
        if any(isinstance(c, float) for c in column.cells):
            number_format = "#,##0.00" if max(known) >= 10 else "0.000"
    for cell in column.cells:
        written = _cell(sheet, cell, number_format)
        yield _wrapped(sheet, written) if column.sentences else written


def _wrapped(sheet: Any, written: Any) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment

    cell = written if hasattr(written, "alignment") else WriteOnlyCell(sheet, written)
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    return cell


def _cell(sheet: Any, value: Cell, number_format: str | None) -> Any:
    """The value itself where openpyxl writes it right, else a cell that makes it right."""
    from openpyxl.cell import WriteOnlyCell

    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _text(sheet, value)
    if isinstance(value, datetime):
        if value.microsecond % 1000:
            # A workbook's times are read to the millisecond; as text nothing is lost.
            return value.isoformat()
        cell = WriteOnlyCell(sheet, value)
        cell.number_format = _SECONDS if value.second or value.microsecond else _TIME
        return cell
    if isinstance(value, date):
        cell = WriteOnlyCell(sheet, datetime(value.year, value.month, value.day))
        cell.number_format = _DATE
        return cell
    exact = isinstance(value, int) or float(f"{value:.16g}") == value
    if exact and number_format is None:
        return value
    # openpyxl writes 16 digits; a number given as text with the type of a number is kept whole.
    cell = WriteOnlyCell(sheet, value if exact else repr(value))
    cell.data_type = "n"
    if number_format is not None:
        cell.number_format = number_format
    return cell


def _text(sheet: Any, value: str) -> Any:
    from openpyxl.cell import WriteOnlyCell

    formula = _AS_FORMULA.match(value) is not None
    number = _AS_NUMBER.match(value) is not None
    if not formula and not number and value not in _ERRORS:
        return escaped(value)
    cell = WriteOnlyCell(sheet, escaped(value))
    cell.data_type = "s"
    if formula:
        cell.quotePrefix = True
    if number:
        # Text format, so that editing the cell doesn't turn 01 into 1.
        cell.number_format = "@"
    return cell


def _explain(
    sheet: Any,
    sheets: Mapping[str, Sequence[Shown]],
    system: System,
    meanings: Mapping[str, Mapping[str, str]],
) -> None:
    known = [name for name in sheets if name in TABLES]
    for letter, width in zip("ABCDEFGHIJ", (12, 18, 18, 10, 14, 24, 9, 9, 46, 46), strict=True):
        sheet.column_dimensions[letter].width = width
    sheet.freeze_panes = "A2"
    if known:
        header, *rows = about_rows({name: TABLES[name].names for name in known}, system=system)
    else:
        header, rows = ("sheet", "column", "meaning"), []
    sheet.append([_header(sheet, text) for text in header])
    for row in rows:
        sheet.append([_text(sheet, text) for text in row])
    for name, shown in sheets.items():
        if name in TABLES:
            continue
        for column, meaning in zip(
            shown, _meanings(shown, meanings.get(name, {}), system), strict=True
        ):
            sheet.append([_text(sheet, t) for t in (name, column.header, meaning)])


def _meanings(shown: Sequence[Shown], meanings: Mapping[str, str], system: System) -> Iterator[str]:
    named = {measure_in(name, system)[0]: meaning for name, meaning in meanings.items()}
    for column in shown:
        yield named.get(column.header, meanings.get(column.header, ""))
