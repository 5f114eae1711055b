"""Another program's file → sheets of text, with the header found below whatever stands above it.

Everything is kept as written, on its own line; what it means is a mapping's to say.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from pourstats.faults import legible
from pourstats.logs import files, limits, weather_files, workbook
from pourstats.logs.cell import normalized
from pourstats.logs.files import Sheet, UnusableError, shown
from pourstats.logs.header_words import recognised
from pourstats.logs.weather_files import Place

WORKBOOKS = (".xlsx", ".xlsm")
TEXTS = (".csv", ".txt", ".tsv", ".tab", ".dat", ".epw", ".tm3", ".tmy3", ".tmy")
MOST_ABOVE = 60
"""How many lines may stand above the header."""
_FIRST_BYTES = 1 << 18


@dataclass
class Foreign(Sheet):
    """A sheet as written, with where its header stands and what stands around it.

    ``kind``: table, epw or tmy3; ``above``: lines before the header; ``below``: rows of units or
    the like between header and values, cell by cell; ``signature``: what such a file is known by.
    """

    kind: str = "table"
    signature: str = ""
    header_line: int = 1
    above: list[str] = field(default_factory=list)
    below: list[list[str]] = field(default_factory=list)
    place: Place | None = None


def signature(header: list[str]) -> str:
    """What tells one kind of file from another: its header names, in any order."""
    return "|".join(sorted(normalized(name) for name in header if name.strip()))


def named(header: list[str]) -> list[str]:
    """The header with every name its own: a blank one by its place, a repeated one with a count."""
    found: list[str] = []
    for place, text in enumerate(header):
        name = text.strip() or f"column {place + 1}"
        count, wanted = 1, name
        while wanted in found:
            count += 1
            wanted = f"{name} ({count})"
        found.append(wanted)
    return found


def read(path: Path, known: Collection[str] = (), name: str | None = None) -> list[Foreign]:
    """The sheets of a file, one for a text file; none if it is empty. Raises UnusableError.

    ``known`` are signatures that are kept: a line that has one is the header, wherever it stands.
    """
    try:
        if unreadable := limits.unreadable(path):
            raise UnusableError(unreadable)
        data = path.read_bytes()
    except OSError as error:
        raise UnusableError(
            f"can't be read ({error.strerror}); check that you may open it"
        ) from None
    return sheets(data, name or legible(path.name), known)


def sheets(data: bytes, name: str, known: Collection[str] = ()) -> list[Foreign]:
    """As :func:`read`, from the bytes of the file. Raises UnusableError."""
    if name.lower().endswith(WORKBOOKS) or data.startswith(b"PK\x03\x04"):
        return _workbook(data, name, known)
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            data = data.decode("utf-16").encode()
        except UnicodeError:
            raise UnusableError("it begins as UTF-16 but is damaged; save it again") from None
    files._refuse_foreign(data)
    text, warnings = files._decoded(data, name)
    text = _with_tabs(text)
    lines = _first_lines(text, MOST_ABOVE + 10)
    kind = weather_files.kind_of(lines)
    if kind == "epw":
        head, below, place = weather_files.epw_head(lines)
        lines[head] = ",".join(weather_files.EPW_HEADER) + "\n"
    elif kind == "tmy3":
        head, below, place = 1, 0, weather_files.tmy3_place(lines[0])
    else:
        head, below = _header(lines, known)
        place = None
    if head < 0:
        return []
    return _text_sheet(text, lines, head, below, name, kind, place, warnings)


def _first_lines(text: str, most: int) -> list[str]:
    found = []
    for line in files._lines(text):
        found.append(line)
        if len(found) == most:
            break
    return found


def _with_tabs(text: str) -> str:
    """A text whose columns stand apart by bars or spaces, with tabs instead; any other as it is."""
    lines = [line for line in _first_lines(text, MOST_ABOVE) if line.strip()]
    if any(mark in line for line in lines for mark in ",;\t"):
        return text
    if sum("|" in line for line in lines) * 2 > len(lines):
        return text.replace("|", "\t")
    for i, line in enumerate(lines[:-1]):
        words = line.lstrip("# ").split()
        known = sum(recognised(word) for word in words)
        if known >= 3 and known * 2 >= len(words) == len(lines[i + 1].split()):
            return re.sub(r"(?m)^[ #]+", "", re.sub(r" +(?=\S)", "\t", text).replace("\n\t", "\n"))
    return text


def _text_sheet(
    text: str, lines: list[str], head: int, below: int, name: str, kind: str,
    place: Place | None, warnings: list[str],
) -> list[Foreign]:  # fmt: skip
    """The sheet below the header; what stands above is blanked, so that lines keep their number."""
    rest = text[sum(len(line) for line in _first_lines(text, len(lines))) :]
    blanked = [
        line if i == head or i > head + below or line.startswith("sep=") else _end(line)
        for i, line in enumerate(lines)
    ]
    sheet = files.csv_sheet(("".join(blanked) + rest).encode("utf-8", "replace"), name)
    if sheet is None:
        return []
    found = _foreign(sheet)
    found.kind, found.header_line, found.place = kind, head + 1, place
    found.above = [line.strip() for line in lines[:head] if line.strip()]
    found.below = [_cells(line, _delimiter(lines[head])) for line in lines[head + 1 :][:below]]
    found.warnings = warnings
    found.signature = _signature(found)
    found.header = named(found.header)
    return [found]


def may_be(path: Path, known: Collection[str]) -> bool:
    """Whether a file may have a header that is known, by its first lines; workbooks always may."""
    suffix = path.suffix.lower()
    if suffix in WORKBOOKS:
        return True
    if suffix not in TEXTS:
        return False
    with suppress(OSError), path.open("rb") as file:
        data = file.read(_FIRST_BYTES)
        wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        text = _with_tabs(data.decode("utf-16" if wide else "utf-8-sig", "replace"))
        lines = _first_lines(text, MOST_ABOVE + 10)
        # Letters that are no UTF-8 may hide a name, but the careful reading then finds it.
        return (
            "\ufffd" in text
            or weather_files.kind_of(lines) != "table"
            or any(signature(_cells(line, _delimiter(line))) in known for line in lines)
        )
    return False


def _foreign(sheet: Sheet) -> Foreign:
    return Foreign(**{each.name: getattr(sheet, each.name) for each in fields(Sheet)})


def _signature(sheet: Foreign) -> str:
    # A weather year's header says nothing of the place, and its site is kept with the mapping.
    where = f"|{sheet.place.name}|{sheet.place.latitude:g}" if sheet.place else ""
    return f"{sheet.kind}{where}" if sheet.kind != "table" else signature(sheet.header)


def _end(line: str) -> str:
    return line[len(line.rstrip("\r\n")) :] or "\n"


def _delimiter(line: str) -> str:
    bare = re.sub(r'"[^"]*"?', "", line)
    return max(",;\t", key=bare.count)


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line.rstrip("\r\n")], delimiter=delimiter), [])
    except csv.Error:
        return []


def _header(lines: list[str], known: Collection[str]) -> tuple[int, int]:
    """(place of the header line, how many rows of units follow); −1 for a file without a line."""
    rows = [_cells(line, _delimiter(line)) for line in lines]
    return _header_row(rows, known, lambda i: lines[i].count(_delimiter(lines[i])))


def _header_row(
    rows: list[list[str]], known: Collection[str], width: Callable[[int], int]
) -> tuple[int, int]:
    filled = [i for i, row in enumerate(rows) if any(shown(cell).strip() for cell in row)]
    filled = [i for i in filled if not (len(rows[i]) == 1 and rows[i][0].startswith("sep="))]
    if not filled:
        return -1, 0
    best, most = filled[0], 0.0
    for place, i in enumerate(filled[:MOST_ABOVE]):
        if known and signature([shown(cell) for cell in rows[i]]) in known:
            best = i
            break
        score = _likeness(rows[i], [rows[j] for j in filled[place + 1 : place + 7]])
        if score > most:
            best, most = i, score
    below = 0
    for i in range(best + 1, min(best + 4, len(rows))):
        if i not in filled or not _is_of_words(rows[i]) or width(i) != width(best):
            break
        below += 1
    # A table without a figure in it has no rows of units: they are its rows.
    after = [i for i in filled if i > best + below]
    return best, below if after and not _is_of_words(rows[after[0]]) else 0


_FIGURE = re.compile(r"\s*[\"']?[-+−]?[.,]?\d")


def _is_of_words(row: list[str]) -> bool:
    return not any(_FIGURE.match(shown(cell)) for cell in row)


def _likeness(row: list[str], after: list[list[str]]) -> float:
    """How much a row looks like a header: names that are known, and figures below them."""
    cells = [shown(cell).strip() for cell in row]
    named = [cell for cell in cells if cell]
    if len(named) < 2:
        return 0.0
    words = sum(1 for cell in named if not _FIGURE.match(cell))
    if words < 0.6 * len(named):
        return 0.0
    known = sum(recognised(cell) for cell in named)
    below = [other for other in after if abs(len(other) - len(row)) <= 1]
    figures = any(not _is_of_words(other) for other in below)
    return 1.0 + 3.0 * known + (2.0 if figures else 0.0) + len(set(named)) / len(named)


# Workbooks ----------------------------------------------------------------------------------------


def _workbook(data: bytes, name: str, known: Collection[str]) -> list[Foreign]:
    pages = workbook.each_page(data, lambda page, formulas: _page(page, name, known, formulas))
    return [page for page in pages if page is not None]


def _page(
    page: Any, name: str, known: Collection[str], formulas: workbook.Formulas
) -> Foreign | None:
    rows = list(workbook.filled_rows(page, formulas))
    texts = [[shown(cell) for cell in row] for _, row in rows[: MOST_ABOVE + 10]]
    head, below = _header_row(texts, known, lambda i: 0)
    if head < 0:
        return None
    sheet = workbook.sheet_of(name, page.title, rows[head][1], rows[head + 1 + below :])
    found = _foreign(sheet)
    found.header_line = rows[head][0]
    found.above = ["\t".join(row).strip() for row in texts[:head]]
    found.below = texts[head + 1 : head + 1 + below]
    found.signature = _signature(found)
    found.header = named(found.header)
    return found
