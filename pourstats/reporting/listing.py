"""A table or measure on the terminal, for people."""

from __future__ import annotations

import unicodedata
from datetime import datetime
from typing import TYPE_CHECKING

from pourstats.reporting.columns import Cell, Shown, columns, number_text, time_text
from pourstats.units import System

if TYPE_CHECKING:
    import pandas as pd

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
    right = column.kind == "number"
    cells = _numbers(column) if right else [_readable(cell) for cell in column.cells]
    wide = max(map(_width, [column.header, *cells]))
    rows = [column.header, "-" * wide, *cells]
    return [_padded(row, wide, right) for row in rows]


def _numbers(column: Shown) -> list[str]:
    """A number column's cells, with as many decimals as its largest number makes worth reading.

    A log table's numbers are shown to four decimals: what somebody wrote is not rounded away.
    """
    known = [float(cell) for cell in column.cells if isinstance(cell, (int, float))]
    largest = max(map(abs, known), default=0.0)
    most = 4 if column.declared is not None else 3 if largest < 10 else 2 if largest < 1000 else 1
    shortest = (number_text(round(value, most)) for value in known)
    digits = max((len(t.partition(".")[2]) for t in shortest if not t.endswith(".0")), default=0)
    return [f"{cell:.{digits}f}" if isinstance(cell, (int, float)) else "" for cell in column.cells]


def _readable(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return time_text(cell, " ")
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if not isinstance(cell, str):
        return str(cell)
    # A control character could move the cursor or turn the line around: it is shown as a blank.
    start = cell[: 4 * _WIDEST]
    seen = quiet(start)
    if _width(seen) <= _WIDEST:
        return seen
    while _width(seen) > _WIDEST - 1:
        seen = seen[:-1]
    return seen + "…"


def quiet(text: str, but: str = "") -> str:
    """The text with a blank for each control character, except those named in ``but``."""
    return "".join(
        " " if c not in but and unicodedata.category(c) in _CONTROLS else c for c in text
    )


def _width(seen: str) -> int:
    """Terminal cells that a text takes: two for a wide character, none for a combining one."""
    if seen.isascii():
        return len(seen)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in seen
    )  # fmt: skip


def _padded(seen: str, wide: int, right: bool) -> str:
    fill = " " * (wide - _width(seen))
    return fill + seen if right else seen + fill
