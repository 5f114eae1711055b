"""Another program's sheet → a sheet in our own format, which is then checked as any other.

Every cell that fails is told with the file's own line, column name and text.
"""

from __future__ import annotations

import datetime as dt
import math
from itertools import pairwise

import numpy as np

from pourstats.logs import files, moments, timesheets, weather_files
from pourstats.logs.as_written import AsWritten
from pourstats.logs.cell import quoted
from pourstats.logs.drawn_times import drawn_moments, instant_of, local, wall_times
from pourstats.logs.files import Sheet, shown
from pourstats.logs.mapping import Drawn, FileMapping, Known, Rows, as_number, column_texts
from pourstats.logs.moments import Moment
from pourstats.logs.tables import TABLES, Column


def translated(
    sheet: Sheet, mapping: FileMapping, known: Known | None = None
) -> tuple[Sheet, AsWritten]:
    """(the sheet in our own format, how it stood in theirs)."""
    rows = _drawn(sheet, mapping, known or Known())
    if mapping.table == "crew_time":
        timesheets.fill(rows)
    else:
        for ours in mapping.moments:
            drawn = drawn_moments(rows, ours)
            rows.texts[ours] = wall_times(rows, ours, drawn)
            if mapping.table == "weather":
                _one_of_repeated(rows, drawn)
    return _sheet(rows), rows.written


def _drawn(sheet: Sheet, mapping: FileMapping, known: Known) -> Rows:
    table = TABLES[mapping.table]
    rows = Rows(sheet, mapping, known, lines=sheet.lines.tolist(), raw=sheet.raw.to_pylist(),
                beyond=dict(sheet.beyond), warnings=list(sheet.warnings))  # fmt: skip
    n = len(rows.lines)
    for ours, drawn in mapping.columns.items():
        texts = _joined(sheet, drawn.theirs)
        rows.written.columns[ours] = " + ".join(drawn.theirs)
        rows.written.texts[ours] = texts
        if ours in table.names and table.column(ours).kind in ("number", "whole"):
            rows.texts[ours] = texts
            _as_numbers(rows, table.column(ours), drawn)
        else:
            rows.texts[ours] = texts
    for ours, roles in mapping.moments.items():
        rows.written.columns[ours] = " + ".join(roles.values())
        rows.written.texts[ours] = _joined(sheet, tuple(roles.values()))
    for ours, value in mapping.given.items():
        if ours in rows.texts:
            rows.texts[ours] = [text if shown(text).strip() else value for text in rows.texts[ours]]
        else:
            rows.texts[ours] = [value] * n
    return rows


def _joined(sheet: Sheet, theirs: tuple[str, ...]) -> list[str]:
    if len(theirs) == 1:
        return column_texts(sheet, theirs[0])
    parts = [column_texts(sheet, name) for name in theirs]
    return [" ".join(filter(None, (shown(cell).strip() for cell in row))) for row in
            zip(*parts, strict=True)]  # fmt: skip


# Numbers ------------------------------------------------------------------------------------------

_GAPS = frozenset({"m", "mm", "--", "---", "----", "*", "**", "***", "#n/a", "n/a", "err", "error"})
_CODES = frozenset({9999.0, 99999.0, 999.9, 999.0, 9999.9, -99.0, -99.9, -999.0, -999.9, -9999.0,
                    -9999.9, -99999.0, -6999.0, -7999.0})  # fmt: skip


def _as_numbers(rows: Rows, column: Column, drawn: Drawn) -> None:
    """Parts of a whole as percent, and what stands for a missing reading as blank."""
    code = weather_files.MISSING.get(rows.mapping.kind, {}).get(column.name)
    texts = rows.texts[column.name]
    changed: dict[str, str] = {}
    for text in set(texts):
        plain = shown(text).strip()
        number = as_number(plain, rows.mapping.comma)
        if plain.lower() in _GAPS and not column.required:
            changed[text] = ""
        elif column.name == "rain" and plain.lower() in ("t", "trace"):
            # Less than the gauge can measure.
            changed[text] = "0"
        elif number is None:
            continue
        elif number == code or (code is None and _is_code(number, column, drawn)):
            changed[text] = ""
        elif drawn.scale != 1.0:
            changed[text] = f"{number * drawn.scale:.12g}".replace(
                ".", "," if rows.mapping.comma else "."
            )
    if not changed:
        return
    rows.texts[column.name] = [changed.get(text, text) for text in texts]
    if column.required:
        lost = {text for text, new in changed.items() if not new}
        for row, text in enumerate(texts):
            if text in lost:
                rows.fault(row, column.name, f"{quoted(shown(text).strip())} stands for a missing"
                           f" reading; every row of {rows.mapping.table} needs one")  # fmt: skip


def _is_code(number: float, column: Column, drawn: Drawn) -> bool:
    """Whether a figure that can't be meant is one of those that loggers write for a gap."""
    if number not in _CODES or drawn.scale != 1.0:
        return False
    low, high = column.odd_low, column.odd_high
    low = column.low if low is None else low
    high = column.high if high is None else high
    return not (
        (-math.inf if low is None else low) <= number <= (math.inf if high is None else high)
    )


# The repeated hour --------------------------------------------------------------------------------


def _one_of_repeated(rows: Rows, drawn: list[Moment | int | str | None]) -> None:
    """Of readings that fall on the same time of a clock that was set back, keep the later one."""
    sites = rows.texts.get("site", [""] * len(rows.lines))
    seen: dict[tuple[str, str], int] = {}
    out: set[int] = set()
    days: dict[str, int] = {}
    for row, (site, text) in enumerate(zip(sites, rows.texts["time"], strict=True)):
        key = (site.strip(), text)
        before = seen.setdefault(key, row)
        if before == row or not text:
            continue
        later = _is_later(rows, drawn, row, before)
        if later is not None:
            out.add(before if later else row)
            seen[key] = row if later else before
            days[text[:10]] = days.get(text[:10], 0) + 1
    _tell_repeated(rows, days)
    _tell_skipped(rows, drawn)
    if out:
        rows.keep([row for row in range(len(rows.lines)) if row not in out])


def _is_later(
    rows: Rows, drawn: list[Moment | int | str | None], row: int, before: int
) -> bool | None:
    """Whether a reading came after another of the same wall time; None where the clock showed that
    time but once."""
    here, there, zone = drawn[row], drawn[before], rows.zone(row)
    if zone is None or not isinstance(here, Moment) or not isinstance(there, Moment):
        return None
    at = local(rows, row, here)
    if isinstance(at, str) or not moments.is_repeated(at, zone):
        return None
    now, then = instant_of(rows, row, here), instant_of(rows, before, there)
    if isinstance(now, dt.datetime) and isinstance(then, dt.datetime):
        return None if now == then else now > then
    return not _is_backwards(rows.texts["time"])


def _is_backwards(texts: list[str]) -> bool:
    pairs = list(pairwise(texts))
    return sum(a > b for a, b in pairs) > sum(a < b for a, b in pairs)


def _tell_repeated(rows: Rows, days: dict[str, int]) -> None:
    if not days:
        return
    count = sum(days.values())
    when = " and ".join(sorted(days)) if len(days) <= 3 else f"{len(days)} autumn days"
    rows.warnings.append(
        f"{rows.source.file}: the clock showed an hour twice on {when}; {count}"
        f" reading{'s' if count > 1 else ''} of its first round left out, the later"
        f" one{'s' if count > 1 else ''} kept"
    )


def _tell_skipped(rows: Rows, drawn: list[Moment | int | str | None]) -> None:
    """Warn of wall-clock times that no clock of the site showed."""
    if rows.mapping.clock != "local":
        return
    skipped = []
    for row, moment in enumerate(drawn):
        if isinstance(moment, Moment) and moment.offset_min is None:
            zone = rows.zone(row)
            if zone is not None and moments.is_skipped(moment.at, zone):
                skipped.append(row)
    if not skipped:
        return
    more = f" (and {len(skipped) - 1} more)" if len(skipped) > 1 else ""
    rows.warnings.append(
        f"{rows.source.file}, line {rows.lines[skipped[0]]}: no clock there showed"
        f" {rows.texts['time'][skipped[0]]}{more}, since it was set forward; is the file in"
        " standard time all year? `pourstats map FILE --clock standard` reads it so"
    )


# The sheet ----------------------------------------------------------------------------------------


def _sheet(rows: Rows) -> Sheet:
    table = TABLES[rows.mapping.table]
    header, columns = [], []
    for column in table.columns:
        if column.name not in rows.texts:
            continue
        drawn = rows.mapping.columns.get(column.name)
        unit = drawn.unit if drawn is not None and column.unit is not None else None
        header.append(f"{column.name} [{unit}]" if unit else column.name)
        columns.append(files.strings(rows.texts[column.name]))
    source = rows.source
    return Sheet(
        source.file, source.sheet, header, columns, np.array(rows.lines, dtype=np.int64),
        files.strings(rows.raw), rows.beyond, rows.mapping.comma, source.typed, rows.warnings,
    )  # fmt: skip
