"""What a load would do, before anything is stored; and rows mended in place before it is done.

Files are read once, into sheets of text; a preview loads them into a copy of the store that is
thrown away, so that it says exactly what the load itself will say.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from pourstats.faults import Fault, Refusal
from pourstats.logs import files
from pourstats.logs.tables import Table
from pourstats.store import loading
from pourstats.store.database import Store
from pourstats.store.report import Report

BEYOND = "beyond the header"
"""The column of a broken row under which a cell right of the header is shown."""


@dataclass
class Upload:
    """Files that were read, and what of them can't be."""

    parts: list[loading.Part]
    unusable: list[tuple[Fault, Path]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


@dataclass
class Broken:
    """Rows of one sheet that would be set aside: a line's cells as written, and its reasons."""

    file: str
    sheet: str | None
    table: str
    header: list[str]
    cells: dict[int, list[str]]
    reasons: dict[int, list[str]]


def read(store: Store, contents: Mapping[str, bytes]) -> Upload:
    """Files by name → sheets. The names say which log table each holds, as for a load."""
    report = Report()
    with tempfile.TemporaryDirectory() as folder:
        work = loading.Loading(store, report, lambda line: None)
        parts = []
        for place, (name, data) in enumerate(contents.items()):
            # A folder each: two files may bear one name.
            path = Path(folder) / str(place) / plain_name(name)
            path.parent.mkdir()
            path.write_bytes(data)
            parts += [_read(work, part) for part in work.parts(path)]
    kept = _uploads(store)
    for part in parts:
        # A file of the same name, mended and uploaded again, is the same file.
        part.path = kept / part.name
    return Upload(
        [part for part in parts if part.tables],
        [(fault, kept / path.name) for fault, path in work.unusable], report.warnings,
    )  # fmt: skip


MOST_NAME_BYTES = 120


def plain_name(name: str) -> str:
    """What a file that came over the network is called here: no folders, no signs that can't be
    printed or that a file system refuses, not too long; its ending stays."""
    last = re.split(r"[\\/]", name)[-1]
    plain = "".join("_" if mark in '<>:"|?*' else mark for mark in last if mark.isprintable())
    stem, dot, ending = plain.strip(" .").rpartition(".")
    if not dot:
        stem, ending = ending, ""
    ending = ending.encode("utf-8", "ignore")[:12].decode("utf-8", "ignore")
    kept = stem.encode("utf-8", "ignore")[:MOST_NAME_BYTES].decode("utf-8", "ignore").strip(" .")
    return (kept or "file") + (f".{ending}" if ending else "")


def _uploads(store: Store) -> Path:
    return store.path.resolve().with_name(f"{store.path.stem}_uploads")


def _read(work: loading.Loading, part: loading.Part) -> loading.Part:
    tables: list[tuple[Table, files.Sheet | None]] = []
    for table, sheet in part.tables:
        if sheet is None:
            try:
                sheet = files.read_csv(part.path, part.name)
            except files.UnusableError as error:
                work.fail(part.path, str(error))
                return replace(part, tables=[])
            if sheet is None:
                work.report.warnings.append(f"{part.name}: is empty")
                continue
        tables.append((table, sheet))
    return replace(part, tables=tables)


def preview(store: Store, upload: Upload) -> Report:
    """What :func:`put_in` would do; the store is left as it is."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Store(Path(folder) / "copy.duckdb")
        if store.exists():
            with store.read():
                shutil.copyfile(store.path, copy.path)
        return put_in(copy, upload)


def put_in(store: Store, upload: Upload) -> Report:
    """Load the sheets, as a load of their files would."""
    report = Report(
        set_aside=[fault for fault, _ in upload.unusable],
        warnings=list(upload.warnings),
        usable=len(upload.parts),
        unusable=len(upload.unusable),
    )
    work = loading.Loading(store, report, lambda line: None)
    work.unusable = list(upload.unusable)
    parts = sorted(upload.parts, key=loading.rank)
    for part in parts:
        work.store_part(part, [t for t in part.tables if t[0].name == "pours"])
    for part in parts:
        work.store_part(part, [t for t in part.tables if t[0].name != "pours"])
    work.finish()
    return report


def broken(upload: Upload, report: Report) -> list[Broken]:
    """The rows that a report set aside, as they were written, sheet by sheet."""
    found = []
    for part in upload.parts:
        for table, sheet in part.tables:
            if sheet is None:
                continue
            faults = [
                fault
                for fault in report.set_aside
                if fault.file == part.name and fault.sheet == sheet.sheet and fault.line is not None
            ]
            rows = _rows(sheet, [fault.line for fault in faults if fault.line is not None])
            if not rows:
                continue
            wide = bool(sheet.beyond)
            each = Broken(part.name, sheet.sheet, table.name, [*sheet.header], {}, {})
            if wide:
                each.header.append(BEYOND)
            for line, row in rows.items():
                cells = [files.shown(column[row].as_py()) for column in sheet.columns]
                each.cells[line] = cells + ([sheet.beyond.get(row, "")] if wide else [])
                each.reasons[line] = [
                    f"{fault.column}: {fault.reason}" if fault.column else fault.reason
                    for fault in faults
                    if fault.line == line
                ]
            found.append(each)
    return found


def _rows(sheet: files.Sheet, lines: Sequence[int]) -> dict[int, int]:
    places = {int(line): row for row, line in enumerate(sheet.lines)}
    return {line: places[line] for line in sorted(set(lines)) if line in places}


def mended(
    upload: Upload, file: str, sheet_name: str | None, cells: Mapping[int, Sequence[str]]
) -> Upload:
    """The upload with the rows of those lines as given, in the header's order (a cell beyond it
    last, if the sheet has any). Raises Refusal for a line that the sheet doesn't have."""
    parts = []
    for part in upload.parts:
        tables = [
            (table, _mended(sheet, cells) if sheet is not None and sheet.sheet == sheet_name
             and part.name == file else sheet)
            for table, sheet in part.tables
        ]  # fmt: skip
        parts.append(replace(part, tables=tables))
    return replace(upload, parts=parts)


def _mended(sheet: files.Sheet, cells: Mapping[int, Sequence[str]]) -> files.Sheet:
    places = _rows(sheet, list(cells))
    if len(places) < len(cells):
        raise Refusal(f"{sheet.file} has no line {min(set(cells) - set(places))}")
    columns = [column.to_pylist() for column in sheet.columns]
    raw, beyond = sheet.raw.to_pylist(), dict(sheet.beyond)
    for line, row in places.items():
        for place, column in enumerate(columns):
            # A cell of a workbook that was left alone keeps the mark that says what it was.
            if cells[line][place] != files.shown(column[row]):
                column[row] = cells[line][place]
        beyond.pop(row, None)
        over = cells[line][len(columns)] if len(cells[line]) > len(columns) else ""
        if over.strip():
            beyond[row] = over
        raw[row] = ",".join(cells[line])
    return replace(
        sheet, columns=[pa.array(column, pa.string()) for column in columns],
        raw=pa.array(raw, pa.string()), beyond=beyond, lines=np.array(sheet.lines),
    )  # fmt: skip
