"""The times of another program's rows: drawn from one or several columns, on the site's clock."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from pourstats.logs import moments
from pourstats.logs.cell import quoted
from pourstats.logs.files import MARK, shown
from pourstats.logs.mapping import FileMapping, Rows, as_number, column_texts
from pourstats.logs.moments import Moment
from pourstats.logs.tables import TABLES


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
