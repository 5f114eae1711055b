"""A mapping: how one kind of file of another program is read as one of our tables.

:func:`translated` turns such a sheet into one in our own format, which is then checked as any
other. Every cell that fails is told with the file's own line, column name and text.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from dataclasses import asdict, dataclass, field, replace
from itertools import pairwise

from pourstats.logs import files, moments, weather_files
from pourstats.logs.cells import quoted
from pourstats.logs.files import MARK, Sheet, shown
from pourstats.logs.intake import AsWritten
from pourstats.logs.moments import Moment, Order
from pourstats.logs.tables import TABLES, Column

ROLES = ("at", "date", "clock", "hour", "year", "month", "day", "minute")
"""What a column can give to a time: the whole of it, or a part."""


@dataclass(frozen=True)
class Drawn:
    """What one of our columns is drawn from: theirs (several are joined by a space), and how."""

    theirs: tuple[str, ...]
    unit: str | None = None
    scale: float = 1.0


@dataclass(frozen=True)
class FileMapping:
    """How one kind of file is read.

    ``columns``: ours → what it is drawn from (for crew_time also ``site``, which finds the pour,
    and ``kind``, in or out); ``moments``: ours → role → their column (``at`` for punches);
    ``given``: ours → one value for every row; ``clock``: local, utc, standard, or an offset as
    -07:00; ``layout``: rows, or punches (one row a punch); ``kind``: table, epw or tmy3.
    """

    table: str
    columns: dict[str, Drawn]
    moments: dict[str, dict[str, str]]
    given: dict[str, str] = field(default_factory=dict)
    order: Order | None = None
    clock: str = "local"
    zone: str | None = None
    comma: bool = False
    layout: str = "rows"
    kind: str = "table"
    year: int | None = None
    name: str = ""

    def as_json(self) -> str:
        """The mapping as text that :func:`from_json` takes."""
        return json.dumps(asdict(self), ensure_ascii=False)


def from_json(text: str) -> FileMapping:
    """The mapping that :meth:`FileMapping.as_json` wrote."""
    parts = json.loads(text)
    parts["columns"] = {
        ours: Drawn(tuple(drawn["theirs"]), drawn["unit"], drawn["scale"])
        for ours, drawn in parts["columns"].items()
    }
    return FileMapping(**parts)


@dataclass(frozen=True)
class Known:
    """What the store knows that a file may lack: zones of sites, the house's zone, the pours."""

    zones: dict[str, str] = field(default_factory=dict)
    zone: str | None = None
    pours: tuple[tuple[str, str, dt.date], ...] = ()
    """(pour_id, site, date) of each."""


@dataclass
class Rows:
    """A sheet on its way: texts a column of ours, and what they were drawn from."""

    source: Sheet
    mapping: FileMapping
    known: Known
    texts: dict[str, list[str]] = field(default_factory=dict)
    written: AsWritten = field(default_factory=AsWritten)
    warnings: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    raw: list[str] = field(default_factory=list)
    beyond: dict[int, str] = field(default_factory=dict)

    def fault(self, row: int, ours: str, reason: str) -> None:
        """Set a row aside for what stands in a cell, or for what doesn't."""
        texts = self.written.texts.get(ours)
        value = shown(texts[row]).strip() or None if texts else None
        self.written.faults.append((row, ours, value, reason))

    def zone(self, row: int) -> dt.tzinfo | None:
        """The zone of a row's site: from the sites, the mapping, or the house."""
        site = self.texts["site"][row].strip() if "site" in self.texts else ""
        name = self.known.zones.get(shown(site)) or self.mapping.zone or self.known.zone
        return moments.zone_named(name) if name else None

    def keep(self, kept: list[int]) -> None:
        """Leave only these rows."""
        place = {old: new for new, old in enumerate(kept)}
        for texts in (self.texts, self.written.texts):
            for name, column in texts.items():
                texts[name] = [column[row] for row in kept]
        self.lines = [self.lines[row] for row in kept]
        self.raw = [self.raw[row] for row in kept]
        self.beyond = {place[row]: text for row, text in self.beyond.items() if row in place}
        self.written.faults = [
            (place[row], ours, value, reason)
            for row, ours, value, reason in self.written.faults
            if row in place
        ]


def translated(
    sheet: Sheet, mapping: FileMapping, known: Known | None = None
) -> tuple[Sheet, AsWritten]:
    """(the sheet in our own format, how it stood in theirs)."""
    from pourstats.logs import timesheets

    rows = _drawn(sheet, mapping, known or Known())
    if mapping.table == "crew_time":
        timesheets.fill(rows)
    else:
        for ours in mapping.moments:
            rows.texts[ours] = wall_times(rows, ours, drawn_moments(rows, ours))
        if mapping.table == "weather" and "time" in mapping.moments:
            _one_of_repeated(rows)
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


def column_texts(sheet: Sheet, theirs: str) -> list[str]:
    """The texts of one of their columns; blanks where the file lacks it."""
    if theirs not in sheet.header:
        return [""] * len(sheet.lines)
    texts: list[str] = sheet.columns[sheet.header.index(theirs)].to_pylist()
    return texts


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


def as_number(plain: str, comma: bool = False) -> float | None:
    """A figure as a logger writes it, or None."""
    text = plain.replace(",", ".") if comma and "." not in plain else plain
    if not re.fullmatch(r"[-+−]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", text):
        return None
    number = float(text.replace("−", "-"))
    return number if math.isfinite(number) else None


# Times --------------------------------------------------------------------------------------------


def drawn_moments(rows: Rows, ours: str) -> list[Moment | int | str | None]:
    """Each row's moment; seconds of day where only a clock time stands, a reason where it can't be
    read, None where blank."""
    roles = rows.mapping.moments[ours]
    parts = [column_texts(rows.source, theirs) for theirs in roles.values()]
    names = list(roles)
    days = _is_date(rows.mapping, ours)
    cache: dict[tuple[str, ...], Moment | int | str | None] = {}
    found = []
    for texts in zip(*parts, strict=True):
        if texts not in cache:
            cache[texts] = _moment(dict(zip(names, texts, strict=True)), rows.mapping, days)
        found.append(cache[texts])
    return found


def _is_date(mapping: FileMapping, ours: str) -> bool:
    table = TABLES[mapping.table]
    return ours in table.names and table.column(ours).kind == "date"


def _moment(parts: dict[str, str], mapping: FileMapping, days: bool) -> Moment | int | str | None:
    if not any(shown(text).strip() for text in parts.values()):
        return None
    if days:
        found_day = _day(parts, mapping)
        return _midnight(found_day) if isinstance(found_day, dt.date) else found_day
    if "at" in parts:
        if parts["at"].startswith(MARK + "c"):
            return moments.clock(parts["at"])
        found = moments.moment(parts["at"], mapping.order)
        if isinstance(found, str):
            bare = moments.clock(parts["at"])
            return bare if isinstance(bare, int) else found
        return _in_year(found, mapping)
    day, seconds = _day(parts, mapping), _seconds(parts)
    if day is None or isinstance(seconds, str):
        return seconds
    if isinstance(day, str):
        return day
    if seconds is None:
        return None if "clock" in parts else f"{quoted(day.isoformat())} has no time of day"
    offset = None
    if "clock" in parts:
        offset = moments.written_offset(shown(parts["clock"]).strip())
    return _in_year(Moment(_midnight(day).at, offset), mapping, seconds)


def _midnight(day: dt.date) -> Moment:
    return Moment(dt.datetime.combine(day, dt.time()))


def _in_year(found: Moment, mapping: FileMapping, seconds: int = 0) -> Moment | str:
    at = found.at
    if mapping.year is not None:
        try:
            at = at.replace(year=mapping.year)
        except ValueError:
            return f"{at:%Y-%m-%d} has no day in {mapping.year}"
    return Moment(at + dt.timedelta(seconds=seconds), found.offset_min)


def _day(parts: dict[str, str], mapping: FileMapping) -> dt.date | str | None:
    if "date" in parts:
        return moments.day(parts["date"], mapping.order) if shown(parts["date"]).strip() else None
    if "year" not in parts:
        return None
    numbers = [as_number(shown(parts[name]).strip()) for name in ("year", "month", "day")
               if name in parts]  # fmt: skip
    if len(numbers) < 3 or any(number is None for number in numbers):
        return "year, month and day are not three numbers"
    year, month, number = (int(n or 0) for n in numbers)
    try:
        return dt.date(year + (2000 if year < 100 else 0), month, number)
    except (ValueError, OverflowError):
        return f"{year}-{month}-{number} is no day of the calendar"


def _seconds(parts: dict[str, str]) -> int | str | None:
    if "clock" in parts:
        text = parts["clock"]
        if not shown(text).strip():
            return None
        if moments.written_offset(shown(text).strip()) is not None:
            text = moments.without_offset(shown(text).strip())
        return moments.clock(text)
    if "hour" not in parts:
        return None
    hour = moments.hour_of_day(parts["hour"])
    if isinstance(hour, str) or "minute" not in parts:
        return hour
    minute = as_number(shown(parts["minute"]).strip()) or 0.0
    # Some write the last minute of the hour that ends as 60.
    return hour + int(minute) % 60 * 60 if minute <= 60 else f"{minute:g} is no minute"


def wall_times(rows: Rows, ours: str, drawn: list[Moment | int | str | None]) -> list[str]:
    """Texts in our own format: the site's clock, or a bare clock time; what fails is set aside."""
    found = []
    days = _is_date(rows.mapping, ours)
    for row, each in enumerate(drawn):
        text = ""
        if isinstance(each, int):
            text = f"{each // 3600 % 24:02d}:{each // 60 % 60:02d}:{each % 60:02d}"
        elif each is not None:
            at = each if isinstance(each, str) else each.at if days else local(rows, row, each)
            if isinstance(at, str):
                rows.fault(row, ours, at)
                text = rows.written.texts[ours][row]
            else:
                text = at.date().isoformat() if days else written_as(at)
        found.append(text)
    return found


def written_as(at: dt.datetime) -> str:
    """A wall-clock time in our own format."""
    return f"{at:%Y-%m-%d %H:%M:%S}" if at.second else f"{at:%Y-%m-%d %H:%M}"


def local(rows: Rows, row: int, moment: Moment) -> dt.datetime | str:
    """The site's clock at a moment, or why it can't be told."""
    instant = instant_of(rows, row, moment)
    if isinstance(instant, str):
        return instant
    if instant is None:
        return moment.at
    zone = rows.zone(row)
    if zone is None:
        return no_zone(rows, row)
    return moments.on_the_wall(instant, zone)


def no_zone(rows: Rows, row: int) -> str:
    """Why a time in UTC can't be put on the wall."""
    site = shown(rows.texts["site"][row]).strip() if "site" in rows.texts else ""
    whose = f"site {quoted(site)}" if site else "this file"
    return (
        f"is given in UTC or with an offset, and no time zone is known for {whose}; put it into"
        " the sites table, or `pourstats map FILE --zone America/Denver`, with yours"
    )


def instant_of(rows: Rows, row: int, moment: Moment) -> dt.datetime | str | None:
    """The moment in UTC, None for wall-clock time; a reason where no zone is known for it."""
    clock = rows.mapping.clock
    if moment.instant is not None:
        return moment.instant
    if clock == "local":
        return None
    if clock == "standard":
        zone = rows.zone(row)
        if zone is None:
            return no_zone(rows, row)
        offset: int | None = moments.standard_offset(moment.at, zone)
    else:
        offset = moments.fixed_offset(clock)
    return replace(moment, offset_min=offset or 0).instant


def _one_of_repeated(rows: Rows) -> None:
    """Of readings that fall on the same time of a clock that was set back, keep the later one."""
    drawn = drawn_moments(rows, "time")
    first: dict[tuple[str, str], int] = {}
    out: set[int] = set()
    days: dict[str, int] = {}
    skipped: list[int] = []
    backwards = _is_backwards(rows.texts["time"])
    for row, text in enumerate(rows.texts["time"]):
        moment = drawn[row]
        if not isinstance(moment, Moment) or not text:
            continue
        zone = rows.zone(row)
        at = local(rows, row, moment)
        if zone is None or isinstance(at, str):
            continue
        instant = instant_of(rows, row, moment)
        if not isinstance(instant, dt.datetime) and moments.is_skipped(at, zone):
            skipped.append(row)
        if not moments.is_repeated(at, zone):
            continue
        site = rows.texts["site"][row].strip() if "site" in rows.texts else ""
        before = first.setdefault((site, text), row)
        if before == row:
            continue
        then = instant_of(rows, before, drawn[before])  # type: ignore[arg-type]
        if isinstance(instant, dt.datetime) and isinstance(then, dt.datetime):
            if instant == then:
                continue
            later = instant > then
        else:
            later = not backwards
        lost, kept = (before, row) if later else (row, before)
        out.add(lost)
        first[(site, text)] = kept
        days[text[:10]] = days.get(text[:10], 0) + 1
    _tell_repeated(rows, days)
    _tell_skipped(rows, skipped)
    if out:
        rows.keep([row for row in range(len(rows.lines)) if row not in out])


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


def _tell_skipped(rows: Rows, skipped: list[int]) -> None:
    if not skipped:
        return
    first = skipped[0]
    more = f" (and {len(skipped) - 1} more)" if len(skipped) > 1 else ""
    rows.warnings.append(
        f"{rows.source.file}, line {rows.lines[first]}: no clock there showed"
        f" {rows.texts['time'][first]}{more}, since it was set forward; is the file in standard"
        " time all year? `pourstats map FILE --clock standard` reads it so"
    )


# The sheet ----------------------------------------------------------------------------------------


def _sheet(rows: Rows) -> Sheet:
    import numpy as np

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
