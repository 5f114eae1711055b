"""Tables and measures as files: csv, json, parquet, xlsx; and on the terminal.

A log table (a name of :data:`pourstats.logs.tables.TABLES`) comes in house units with the column
names of its declaration; csv and xlsx carry the unit in the header, json and parquet keep names and
units. A measure carries its units in its column names, which change with the unit system.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

from pourstats.faults import Refusal
from pourstats.reporting.columns import Cell, Shown, columns, number_text, time_text
from pourstats.reporting.listing import plain
from pourstats.reporting.outfile import whole
from pourstats.units import System

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Format", "plain", "text", "write"]

Format = Literal["csv", "json", "parquet", "xlsx"]


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
    with whole(path, format) as draft:
        shown = columns(frame, name, format, system)
        _drawn(shown, name or "table", format, draft, (system, meanings or {}))


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

        system, meanings = about
        write_workbook({name: shown}, path, system, {name: meanings})
    else:
        lines = _csv(shown) if format == "csv" else _json(shown)
        path.write_text(lines, encoding="utf-8", newline="")


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
