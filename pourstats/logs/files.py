"""A CSV file → a sheet of text, each row with its line and its text as written."""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pourstats.faults import legible
from pourstats.logs import limits

MOST_CELL_CHARACTERS = limits.in_force().cell_characters
MOST_COLUMNS = limits.in_force().columns
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
        if unreadable := limits.unreadable(path):
            raise UnusableError(unreadable)
        data = path.read_bytes()
    except OSError as error:
        raise UnusableError(
            f"can't be read ({error.strerror}); check that you may open it"
        ) from None
    return csv_sheet(data, name or legible(path.name))


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
        raise UnusableError(
            f"its header has {len(header)} columns; the most is {MOST_COLUMNS}"
            f" ({limits.named('columns')})"
        )
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


_NOT_BLANK = (
    r"[^\s\x{0b}\x{1c}-\x{1f}\x{85}\x{a0}\x{1680}\x{2000}-\x{200a}\x{2028}\x{2029}\x{202f}"
    r"\x{205f}\x{3000}]"
)
"""Any character that Python's strip would leave, for Arrow's regular expressions."""


def _without_blank_rows(sheet: Sheet) -> Sheet:
    """The sheet without the rows in which every cell is blank."""
    import pyarrow.compute as pc

    filled: Any = None
    for column in sheet.columns:
        # Any character that is not a space; quick, and stops asking once every row has one.
        here = pc.match_substring_regex(column, _NOT_BLANK)
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
                        f" is a quote missing there? ({limits.named('cell_characters')})"
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
        parts.append(strings([row[i] for row in block]))
    raws.append(strings(texts))
    block.clear()
    texts.clear()


def strings(texts: list[str]) -> Any:
    """Texts as an Arrow array; a lone surrogate, which UTF-8 can't hold, as a question mark."""
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
