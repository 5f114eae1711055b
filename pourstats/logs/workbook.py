"""A workbook → sheets of text, every cell by its stored value and marked with its kind."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from pourstats.faults import legible
from pourstats.logs import limits
from pourstats.logs.files import (
    MARK,
    MOST_COLUMNS,
    Sheet,
    UnusableError,
    marked,
    shown,
    strings,
)

MOST_UNPACKED_BYTES = limits.in_force().unpacked_mb * 2**20
TOO_LARGE = (
    f"it would unpack to more than {limits.in_force().unpacked_mb} MB"
    f" ({limits.named('unpacked_mb')}); split it"
)

Formulas = dict[tuple[Any, Any], str]
"""(row, column) → the text of a formula, of those on a page."""

Read = TypeVar("Read")


def read_workbook(path: Path, name: str | None = None) -> list[Sheet | tuple[str, str]]:
    """The sheets of a workbook, hidden ones too. An empty one is a pair (sheet name, "empty").

    Raises UnusableError.
    """
    try:
        if unreadable := limits.unreadable(path):
            raise UnusableError(unreadable)
        data = path.read_bytes()
    except OSError as error:
        raise UnusableError(
            f"can't be read ({error.strerror}); check that you may open it"
        ) from None
    return workbook_sheets(data, name or legible(path.name))


def workbook_sheets(data: bytes, name: str) -> list[Sheet | tuple[str, str]]:
    """As :func:`read_workbook`, from the bytes of the file. Raises UnusableError."""
    return each_page(data, lambda page, formulas: _page(page, name, formulas))


def each_page(data: bytes, read: Callable[[Any, Formulas], Read]) -> list[Read]:
    """What a reader makes of each page of a workbook; it is given the page and its formulas that
    have no value. Raises UnusableError."""
    formulas = _unpacked_within_limit(data)
    import openpyxl

    try:
        with warnings.catch_warnings():
            # openpyxl warns of styles and validations that it leaves out; no cell is lost by it.
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            plain = openpyxl.load_workbook(io.BytesIO(data), read_only=True) if formulas else None
            return [
                read(page, _formulas(plain[page.title]) if plain is not None else {})
                for page in book.worksheets
            ]
    except (UnusableError, MemoryError):
        raise
    except Exception as error:  # openpyxl lets many kinds through for a broken file
        raise UnusableError(
            f"can't be read as a workbook ({type(error).__name__}); open it and save it again"
            " as .xlsx"
        ) from None


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
                            raise UnusableError(TOO_LARGE)
                        if b"<!DOCTYPE" in chunk or b"<!ENTITY" in chunk:
                            raise UnusableError(
                                "it declares entities of its own, which no spreadsheet writes;"
                                " open it and save it again"
                            )
                        if "worksheets" in entry.filename and not formulas:
                            window = tail + chunk
                            formulas = b"<f>" in window or b"<f " in window or b"<f/" in window
                            tail = chunk[-3:]
    except UnusableError:
        raise
    except Exception as error:
        # What is wrong with a foreign archive comes out of zipfile as errors of many kinds.
        raise UnusableError(f"it is damaged ({error}); open it and save it again") from None
    return formulas


def _formulas(page: Any) -> Formulas:
    if hasattr(page, "reset_dimensions"):
        page.reset_dimensions()
    found: Formulas = {}
    for row in page.iter_rows():
        for cell in row:
            if getattr(cell, "data_type", None) == "f":
                text = cell.value if isinstance(cell.value, str) else "a formula"
                found[(cell.row, cell.column)] = text
    return found


def _page(page: Any, name: str, formulas: Formulas) -> Sheet | tuple[str, str]:
    rows = filled_rows(page, formulas)
    header = next(rows, None)
    return (page.title, "empty") if header is None else sheet_of(name, page.title, header[1], rows)


def filled_rows(page: Any, formulas: Formulas) -> Iterator[tuple[int, list[str]]]:
    """(number, marked texts) of each row of a page that isn't blank. Raises UnusableError."""
    if hasattr(page, "reset_dimensions"):
        page.reset_dimensions()
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
            raise UnusableError(
                f"sheet {page.title} has more than {MOST_COLUMNS} columns"
                f" ({limits.named('columns')})"
            )
        # A long text may stand once in the file and in a million cells.
        written += sum(map(len, texts))
        if written > MOST_UNPACKED_BYTES:
            raise UnusableError(TOO_LARGE)
        if line is not None and any(shown(text).strip() for text in texts):
            yield line, texts


def sheet_of(
    name: str, title: str, head: list[str], below: Iterable[tuple[int, list[str]]]
) -> Sheet:
    """The sheet of a row of names and the rows below it, as :func:`filled_rows` gives them."""
    header = [shown(text) for text in head]
    while header and not header[-1].strip():
        header.pop()
    rows: list[list[str]] = []
    lines: list[int] = []
    beyond: dict[int, str] = {}
    for line, texts in below:
        extra = next((t for t in texts[len(header) :] if shown(t).strip()), None)
        if extra is not None:
            beyond[len(rows)] = shown(extra)
        rows.append((texts + [""] * len(header))[: len(header)])
        lines.append(line)
    columns = [strings([row[i] for row in rows]) for i in range(len(header))]
    raw = strings(["\t".join(shown(text) for text in row) for row in rows])
    return Sheet(
        name, title, header, columns, np.array(lines, dtype=np.int64), raw, beyond, typed=True
    )


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
