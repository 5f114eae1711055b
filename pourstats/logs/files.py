"""A CSV file or a workbook → sheets of text, each row with its line and its text as written."""

from __future__ import annotations

import codecs
import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

MOST_CELL_CHARACTERS = 1_000_000
MOST_COLUMNS = 2_000
MOST_UNPACKED_BYTES = 100 * 1024 * 1024
BLOCK_ROWS = 100_000


class UnusableError(Exception):
    """A file of which nothing can be read; the text says why and what to do."""


@dataclass
class Sheet:
    """One table of text: ``columns[i]`` is the column under ``header[i]``, one string a row.

    ``typed`` sheets come from a workbook: a cell that is not text starts with a mark
    (see :func:`marked`). ``beyond`` holds, by row, the first cell right of the header.
    """

    file: str
    sheet: str | None
    header: list[str]
    columns: list[pa.StringArray]
    lines: NDArray[np.int64]
    raw: pa.StringArray
    beyond: dict[int, str] = field(default_factory=dict)
    decimal_comma: bool = False
    typed: bool = False
    warnings: list[str] = field(default_factory=list)


MARK = "\x01"
"""Begins a workbook cell that is not plain text; the next letter is its kind."""


def marked(kind: str, text: str) -> str:
    """A workbook cell of a kind: n number, p percent, b yes/no, d date-time, c clock, e error,
    f formula without a value, s text that begins with the mark itself."""
    return MARK + kind + text


def shown(text: str) -> str:
    """A cell's text for a person, without the mark."""
    if text.startswith(MARK):
        return text[2:] + ("%" if text[1:2] == "p" else "")
    return text


def read_csv(path: Path, name: str | None = None) -> Sheet | None:
    """The sheet in a CSV file; None if the file is empty. Raises UnusableError."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnusableError(
            f"can't be read ({error.strerror}); check that you may open it"
        ) from None
    return csv_sheet(data, name or path.name)


def csv_sheet(data: bytes, name: str) -> Sheet | None:
    """The sheet in the bytes of a CSV file; None if empty. Raises UnusableError."""
    _refuse_foreign(data)
    text, warnings = _decoded(data, name)
    text, delimiter = _delimiter(text)
    if delimiter is None:
        return None
    # Numbers in a semicolon file have decimal commas, since the comma is free for it.
    decimal_comma = delimiter == ";"
    rows = _Rows(text, delimiter)
    header_line, header = rows.header()
    if not header:
        return None
    while header and not header[-1].strip():
        header.pop()
    if len(header) > MOST_COLUMNS:
        raise UnusableError(f"its header has {len(header)} columns; the most is {MOST_COLUMNS}")
    sheet = _plain_sheet(text, delimiter, header_line, len(header)) or rows.sheet(len(header))
    sheet.file, sheet.header, sheet.decimal_comma = name, header, decimal_comma
    sheet.warnings = warnings
    return sheet


def _refuse_foreign(data: bytes) -> None:
    for start, what in (
        (b"PK\x03\x04", "a workbook or zip archive"),
        (b"\xd0\xcf\x11\xe0", "an old workbook"),
        (b"%PDF", "a PDF"),
        (b"PAR1", "a Parquet file"),
    ):
        if data.startswith(start):
            raise UnusableError(f"its name says CSV but it is {what}; save it as CSV, or as .xlsx")
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise UnusableError('it is saved as UTF-16; save it as "CSV UTF-8"')
    if b"\x00" in data:
        line = data[: data.index(b"\x00")].count(b"\n") + 1
        raise UnusableError(
            f"it holds NUL bytes (first in line {line}); save it again as CSV UTF-8"
        )


def _decoded(data: bytes, name: str) -> tuple[str, list[str]]:
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise UnusableError(
            f"line {line} is neither UTF-8 nor Windows-1252 text; save it as CSV UTF-8"
        ) from None
    note = f"{name}: read as Windows-1252 (line {line} is not UTF-8); check accents and signs"
    return text, [note]


_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")


def _lines(text: str) -> Iterator[str]:
    """The lines with their ends, one at a time: most readers need only the first."""
    return (found[0] for found in _LINE.finditer(text))


def _delimiter(text: str) -> tuple[str, str | None]:
    """(text, delimiter); the delimiter is None for an empty file.

    A first line ``sep=;``, which some spreadsheets write, is blanked but still counts as a line.
    """
    for line in _lines(text):
        if not line.strip():
            continue
        declared = re.fullmatch(r"sep=([,;\t])", line.rstrip("\r\n"))
        if declared:
            rest = text.replace(declared[0], "", 1)
            return rest, (declared[1] if rest.strip() else None)
        bare = re.sub(r'"[^"]*"?', "", line)
        counts = {mark: bare.count(mark) for mark in ",;\t"}
        best = max(counts, key=lambda mark: counts[mark])
        return text, (best if counts[best] else ",")
    return text, None


def _plain_sheet(text: str, delimiter: str, header_line: int, width: int) -> Sheet | None:
    """The sheet by Arrow's reader, for a file without quotes in which every row is whole.

    None where the file needs the careful reader; both give the same.
    """
    if width < 2:
        return None
    data = text.replace("\r\n", "\n").encode() if "\r" in text else text.encode()
    if not data.endswith(b"\n"):
        data += b"\n"
    if b"\r" in data or data.rfind(b'"') >= _start_of_line(data, header_line):
        return None
    buffer = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(buffer == 10)
    marks = np.flatnonzero(buffer == ord(delimiter))
    per_line = np.diff(np.searchsorted(marks, ends), prepend=0)
    body = per_line[header_line:]
    while len(body) and body[-1] == 0 and _line_is_blank(data, ends, header_line + len(body) - 1):
        body = body[:-1]
    if len(body) == 0 or (body != width - 1).any():
        return None
    first = ends[header_line - 1] + 1
    last = ends[header_line + len(body) - 1] + 1
    widest = np.diff(ends[header_line - 1 : header_line + len(body)]).max()
    if widest > MOST_CELL_CHARACTERS:
        return None
    from pyarrow import csv as arrow_csv

    names = [str(i) for i in range(width)]
    block = pa.py_buffer(data)[int(first) : int(last)]
    table = arrow_csv.read_csv(
        pa.BufferReader(block),
        read_options=arrow_csv.ReadOptions(column_names=names, use_threads=False),
        parse_options=arrow_csv.ParseOptions(
            delimiter=delimiter, quote_char=False, ignore_empty_lines=False
        ),
        convert_options=arrow_csv.ConvertOptions(
            column_types={name: pa.string() for name in names}, strings_can_be_null=False
        ),
    )
    if table.num_rows != len(body):
        return None
    starts = ends[header_line - 1 : header_line + len(body)].astype(np.int64) + 1 - first
    # Offsets leave out each line's own end.
    raw = pa.LargeStringArray.from_buffers(
        len(body), pa.py_buffer(starts.astype(np.int64).tobytes()), block
    )
    raw = _without_line_end(raw)
    lines = np.arange(header_line + 1, header_line + 1 + len(body), dtype=np.int64)
    columns = [_combined(table.column(i)) for i in range(width)]
    return _without_blank_rows(Sheet("", None, [], columns, lines, raw))


def _start_of_line(data: bytes, line: int) -> int:
    """Where line ``line`` (counted from 0) begins."""
    place = 0
    for _ in range(line):
        place = data.find(b"\n", place) + 1
    return place


def _without_line_end(raw: Any) -> Any:
    import pyarrow.compute as pc

    return pc.utf8_rtrim(raw, "\n").cast(pa.string())


def _line_is_blank(data: bytes, ends: NDArray[np.int64], line: int) -> bool:
    start = ends[line - 1] + 1 if line else 0
    return not data[start : ends[line]].strip()


def _combined(column: Any) -> Any:
    merged = column.combine_chunks()
    if isinstance(merged, pa.ChunkedArray):
        merged = pa.concat_arrays(merged.chunks)
    return merged


def _without_blank_rows(sheet: Sheet) -> Sheet:
    """The sheet without the rows in which every cell is blank."""
    import pyarrow.compute as pc

    filled: Any = None
    for column in sheet.columns:
        # Any character that is not a space; quick, and stops asking once every row has one.
        here = pc.match_substring_regex(column, r"[^\s\x{00a0}]")
        filled = here if filled is None else pc.or_(filled, here)
        if pc.all(filled).as_py():
            return sheet
    kept = np.flatnonzero(filled.to_numpy(zero_copy_only=False))
    if sheet.beyond:
        kept = np.union1d(kept, np.fromiter(sheet.beyond, dtype=np.int64))
    places = {int(old): new for new, old in enumerate(kept)}
    chosen = pa.array(kept)
    sheet.columns = [column.take(chosen) for column in sheet.columns]
    sheet.lines, sheet.raw = sheet.lines[kept], sheet.raw.take(chosen)
    sheet.beyond = {places[old]: text for old, text in sheet.beyond.items()}
    return sheet


class _Rows:
    """The careful reader: quotes, line ends inside cells, short and long rows."""

    def __init__(self, text: str, delimiter: str) -> None:
        self._taken: list[str] = []
        csv.field_size_limit(MOST_CELL_CHARACTERS)
        self._reader = csv.reader(self._source(text), delimiter=delimiter)
        self._rows = self._numbered()

    def _source(self, text: str) -> Iterator[str]:
        for line in _lines(text):
            self._taken.append(line)
            yield line

    def _numbered(self) -> Iterator[tuple[int, list[str], str]]:
        line = 1
        while True:
            try:
                row = next(self._reader)
            except StopIteration:
                return
            except csv.Error as error:
                if "field larger" in str(error):
                    raise UnusableError(
                        f"line {line} has a cell of more than {MOST_CELL_CHARACTERS:,} characters;"
                        " is a quote missing there?"
                    ) from None
                raise UnusableError(f"line {line} can't be read as CSV ({error})") from None
            raw = "".join(self._taken)
            self._taken.clear()
            if _quote_left_open(raw, self._reader.dialect.delimiter):
                place = line + _opening_line(raw, self._reader.dialect.delimiter)
                raise UnusableError(f"the quote opened in line {place} is never closed; close it")
            yield line, row, raw
            line = self._reader.line_num + 1

    def header(self) -> tuple[int, list[str]]:
        for _, row, _ in self._rows:
            if any(cell.strip() for cell in row):
                return self._reader.line_num, row
        return 0, []

    def sheet(self, width: int) -> Sheet:
        blocks: list[list[Any]] = [[] for _ in range(width)]
        lines: list[int] = []
        raws: list[Any] = []
        beyond: dict[int, str] = {}
        block: list[list[str]] = []
        texts: list[str] = []
        for line, row, raw in self._rows:
            if not any(row) or not any(cell.strip() for cell in row):
                continue
            if len(row) > width:
                extra = next((cell for cell in row[width:] if cell.strip()), None)
                if extra is not None:
                    beyond[len(lines)] = extra
                row = row[:width]
            elif len(row) < width:
                row = row + [""] * (width - len(row))
            lines.append(line)
            block.append(row)
            texts.append(raw.rstrip("\r\n"))
            if len(block) == BLOCK_ROWS:
                _flush(block, texts, blocks, raws)
        _flush(block, texts, blocks, raws)
        columns = [pa.concat_arrays(parts) for parts in blocks]
        return Sheet(
            "", None, [], columns, np.array(lines, dtype=np.int64), pa.concat_arrays(raws), beyond
        )


def _flush(
    block: list[list[str]], texts: list[str], blocks: list[list[Any]], raws: list[Any]
) -> None:
    for i, parts in enumerate(blocks):
        parts.append(_strings([row[i] for row in block]))
    raws.append(_strings(texts))
    block.clear()
    texts.clear()


def _strings(texts: list[str]) -> Any:
    try:
        return pa.array(texts, type=pa.string())
    except (UnicodeEncodeError, pa.ArrowInvalid):
        return pa.array([t.encode("utf-8", "replace").decode() for t in texts], type=pa.string())


def _quote_left_open(raw: str, delimiter: str) -> bool:
    # An even count of quotes on one line settles it for nearly all rows at once.
    body = raw.rstrip("\r\n")
    doubtful = raw.count('"') % 2 == 1 or "\n" in body or "\r" in body
    return doubtful and _opening_line(raw, delimiter) >= 0


def _opening_line(raw: str, delimiter: str) -> int:
    """The line, counted from the row's own, of a quote that is never closed; -1 if there is none.

    A quote opens only at the start of a cell, as csv.reader has it. One that closes lines later
    in front of more text has met the opening quote of another cell: it was never closed either.
    """
    at_start, quoted, opened, line, i = True, False, -1, 0, 0
    while i < len(raw):
        mark = raw[i]
        if mark == "\n" or (mark == "\r" and raw[i + 1 : i + 2] != "\n"):
            line += 1
        if quoted:
            if mark == '"':
                if raw[i + 1 : i + 2] == '"':
                    i += 1
                else:
                    quoted = False
                    if line > opened and raw[i + 1 : i + 2] not in ("", delimiter, "\r", "\n"):
                        return opened
        elif mark == '"' and at_start:
            quoted, opened, at_start = True, line, False
        else:
            at_start = mark in (delimiter, "\n", "\r")
        i += 1
    return opened if quoted else -1


def read_workbook(path: Path, name: str | None = None) -> list[Sheet | tuple[str, str]]:
    """The sheets of a workbook, hidden ones too. An empty one is a pair (sheet name, "empty").

    Raises UnusableError.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnusableError(
            f"can't be read ({error.strerror}); check that you may open it"
        ) from None
    return workbook_sheets(data, name or path.name)


def workbook_sheets(data: bytes, name: str) -> list[Sheet | tuple[str, str]]:
    """As :func:`read_workbook`, from the bytes of the file. Raises UnusableError."""
    formulas = _unpacked_within_limit(data)
    import openpyxl

    try:
        with warnings.catch_warnings():
            # openpyxl warns of styles and validations that it leaves out; no cell is lost by it.
            warnings.simplefilter("ignore")
            return _pages(openpyxl, data, name, formulas)
    except (UnusableError, MemoryError):
        raise
    except Exception as error:  # openpyxl lets many kinds through for a broken file
        raise UnusableError(
            f"can't be read as a workbook ({type(error).__name__}); open it and save it again"
            " as .xlsx"
        ) from None


def _pages(openpyxl: Any, data: bytes, name: str, formulas: bool) -> list[Sheet | tuple[str, str]]:
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    plain = openpyxl.load_workbook(io.BytesIO(data), read_only=True) if formulas else None
    sheets: list[Sheet | tuple[str, str]] = []
    for page in book.worksheets:
        if hasattr(page, "reset_dimensions"):
            page.reset_dimensions()
        unsolved = _formulas(plain[page.title]) if plain is not None else {}
        sheets.append(_page(page, name, unsolved) or (page.title, "empty"))
    return sheets


def _unpacked_within_limit(data: bytes) -> bool:
    """Whether the workbook holds formulas. Raises UnusableError for what is none or too large.

    Sizes in a zip's own list may lie, so it is unpacked and counted.
    """
    if not data.startswith(b"PK"):
        raise UnusableError("its name says .xlsx but it is no workbook; save it again as .xlsx")
    total, formulas = 0, False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in archive.infolist():
                with archive.open(entry) as part:
                    tail = b""
                    while chunk := part.read(1 << 20):
                        total += len(chunk)
                        if total > MOST_UNPACKED_BYTES:
                            raise UnusableError("it would unpack to more than 100 MB; split it")
                        if b"<!DOCTYPE" in chunk or b"<!ENTITY" in chunk:
                            raise UnusableError(
                                "it declares entities of its own, which no spreadsheet writes;"
                                " open it and save it again"
                            )
                        if "worksheets" in entry.filename and not formulas:
                            window = tail + chunk
                            formulas = b"<f>" in window or b"<f " in window or b"<f/" in window
                            tail = chunk[-3:]
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise UnusableError(f"it is damaged ({error}); open it and save it again") from None
    except Exception as error:
        if isinstance(error, UnusableError):
            raise
        raise UnusableError(f"it is damaged ({error}); open it and save it again") from None
    return formulas


def _formulas(page: Any) -> dict[tuple[int, int], str]:
    if hasattr(page, "reset_dimensions"):
        page.reset_dimensions()
    found = {}
    for row in page.iter_rows():
        for cell in row:
            if getattr(cell, "data_type", None) == "f":
                text = cell.value if isinstance(cell.value, str) else "a formula"
                found[(cell.row, cell.column)] = text
    return found


def _page(page: Any, name: str, formulas: dict[tuple[Any, Any], str]) -> Sheet | None:
    header: list[str] = []
    rows: list[list[str]] = []
    lines: list[int] = []
    beyond: dict[int, str] = {}
    written = 0
    for cells in page.iter_rows():
        texts: list[str] = []
        line = None
        for cell in cells:
            row, column = getattr(cell, "row", None), getattr(cell, "column", None)
            line = row or line
            while column is not None and len(texts) < column - 1:
                texts.append("")
            texts.append(_cell_text(cell, formulas.get((row, column)) if formulas else None))
        if len(texts) > MOST_COLUMNS and any(texts[MOST_COLUMNS:]):
            raise UnusableError(f"sheet {page.title} has more than {MOST_COLUMNS} columns")
        # A long text may stand once in the file and in a million cells.
        written += sum(map(len, texts))
        if written > MOST_UNPACKED_BYTES:
            raise UnusableError("it would unpack to more than 100 MB; split it")
        if line is None or not any(shown(text).strip() for text in texts):
            continue
        if not header:
            header = [shown(text) for text in texts]
            while header and not header[-1].strip():
                header.pop()
            continue
        extra = next((t for t in texts[len(header) :] if shown(t).strip()), None)
        if extra is not None:
            beyond[len(rows)] = shown(extra)
        rows.append((texts + [""] * len(header))[: len(header)])
        lines.append(line)
    if not header:
        return None
    columns = [_strings([row[i] for row in rows]) for i in range(len(header))]
    raw = _strings(["\t".join(shown(text) for text in row) for row in rows])
    return Sheet(
        name, page.title, header, columns, np.array(lines, dtype=np.int64), raw, beyond,
        typed=True,
    )  # fmt: skip


def _cell_text(cell: Any, formula: str | None) -> str:
    import datetime as dt

    from openpyxl.utils.escape import unescape

    value = cell.value
    if value is None:
        # A formula that gave an empty text has a value: nothing.
        if formula is None or cell.data_type == "str":
            return ""
        return marked("f", formula)
    if isinstance(value, bool):
        return marked("b", "TRUE" if value else "FALSE")
    if isinstance(value, int | float):
        whole = isinstance(value, int) or (value.is_integer() and abs(value) < 1e21)
        if "%" in (cell.number_format or ""):
            return marked("p", repr(float(f"{value * 100:.12g}")).removesuffix(".0"))
        return marked("n", str(int(value)) if whole else repr(value))
    if isinstance(value, dt.datetime):
        return marked("d", _rounded(value).isoformat(sep=" "))
    if isinstance(value, dt.date):
        return marked("d", value.isoformat() + " 00:00:00")
    if isinstance(value, dt.time):
        moment = dt.datetime.combine(dt.date(2000, 1, 1), value)
        if _rounded(moment).date() == moment.date():
            moment = _rounded(moment)
        return marked("c", moment.time().replace(microsecond=0).isoformat())
    if isinstance(value, dt.timedelta):
        seconds = round(value.total_seconds())
        if 0 <= seconds < 86400:
            return marked("c", f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}")
        return marked("n", repr(value.total_seconds() / 86400))
    # What a spreadsheet can't hold plainly, as a carriage return, stands there as _x000D_.
    text = unescape(str(value))
    if getattr(cell, "data_type", None) == "e":
        return marked("e", text)
    return marked("s", text) if text.startswith(MARK) else text


def _rounded(value: Any) -> Any:
    """A workbook's time is a fraction of a day: take off the dust below a second."""
    import datetime as dt

    return (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)
