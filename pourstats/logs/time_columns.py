"""Which columns of another program's file tell the time, on which clock."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field, replace

from pourstats.logs import header_words as words
from pourstats.logs import moments
from pourstats.logs.column_kinds import Looks, Sure, date_order, samples
from pourstats.logs.files import shown
from pourstats.logs.foreign import Foreign
from pourstats.logs.header_words import likeness, spelled, tokens
from pourstats.logs.mapping import Known, column_texts
from pourstats.logs.proposal import ZONE_OF_OFFSET, Guess, Proposal, Question, Wish
from pourstats.logs.tables import TABLES


@dataclass
class Times:
    """The time columns of a file: ours → role → theirs, and how punches stand."""

    moments: dict[str, dict[str, str]] = field(default_factory=dict)
    layout: str = "rows"
    with_offset: bool = False
    since_1970: bool = False
    summer: bool = False


def times_of(sheet: Foreign, table: str, shape: dict[str, Looks], sets: dict[str, str]) -> Times:
    """The time columns that a table needs, as far as the file has them."""
    found = Times()
    if table == "crew_time":
        _of_timesheet(sheet, shape, sets, found)
    elif table == "weather":
        roles = _set_roles(sheet, "time", shape, sets) or _of_reading(sheet, shape)
        if roles:
            found.moments["time"] = roles
    else:
        for column in TABLES[table].columns:
            if column.kind in ("time", "date"):
                theirs = sets.get(column.name) or _named(sheet, table, column.name, shape)
                if theirs and sets.get(column.name) != "":
                    found.moments[column.name] = {"date" if column.kind == "date" else "at": theirs}
    used = [shape[theirs] for roles in found.moments.values() for theirs in roles.values()]
    found.with_offset = any(each.with_offset for each in used)
    found.since_1970 = any(each.since_1970 for each in used)
    found.summer = _is_summer(sheet, found)
    return found


def _set_roles(
    sheet: Foreign, ours: str, shape: dict[str, Looks], sets: dict[str, str]
) -> dict[str, str] | None:
    """The roles where the owner named the column: the whole time, or a clock beside a date."""
    theirs = sets.get(ours)
    if not theirs:
        return None
    if shape[theirs].kind not in ("clock", "hour"):
        return {"at": theirs}
    day = _day_column(sheet, shape, theirs)
    role = "hour" if shape[theirs].kind == "hour" else "clock"
    return {"date": day, role: theirs} if day else {"at": theirs}


def _named(sheet: Foreign, table: str, ours: str, shape: dict[str, Looks]) -> str | None:
    best = [(likeness(h, table, ours), -i, h) for i, h in enumerate(sheet.header)]
    like, _, theirs = max(best, default=(0.0, 0, ""))
    fits = theirs and shape[theirs].kind in ("moment", "day", "clock", "hour", "text")
    return theirs if like >= 0.7 and fits else None


def _spelled_so(sheet: Foreign, texts: str, shape: dict[str, Looks], *kinds: str) -> list[str]:
    return [h for h in sheet.header if tuple(tokens(h)) in spelled(texts)
            and shape[h].kind in kinds]  # fmt: skip


def _of_reading(sheet: Foreign, shape: dict[str, Looks]) -> dict[str, str]:
    """The roles of a weather file's time columns; empty where none is found."""
    whole = [h for h in sheet.header if shape[h].kind == "moment"]
    if whole:
        local = [h for h in whole if "local" in tokens(h)]
        liked = [h for h in whole if likeness(h, "weather", "time") >= 0.7]
        return {"at": (local or liked or whole)[0]}
    days = [h for h in sheet.header if shape[h].kind == "day"]
    clocks = _spelled_so(sheet, words.CLOCK, shape, "clock") or [
        h for h in sheet.header if shape[h].kind == "clock"
    ]
    hours = _spelled_so(sheet, words.HOUR, shape, "hour", "number")
    compact = _spelled_so(sheet, words.CLOCK, shape, "hour")
    if days:
        if clocks:
            return {"date": days[0], "clock": clocks[0]}
        if hours or compact:
            return {"date": days[0], "hour": (hours or compact)[0]}
    parts = {}
    for role, texts in (("year", words.YEAR), ("month", words.MONTH), ("day", words.DAY_OF_MONTH),
                        ("hour", words.HOUR), ("minute", words.MINUTE)):  # fmt: skip
        named = _spelled_so(sheet, texts, shape, "hour", "number")
        if named:
            parts[role] = named[0]
    if {"year", "month", "day"} <= set(parts) and ("hour" in parts or clocks):
        if "hour" not in parts:
            parts["clock"] = clocks[0]
        return parts
    return {"at": days[0]} if days else {}


def _of_timesheet(
    sheet: Foreign, shape: dict[str, Looks], sets: dict[str, str], found: Times
) -> None:
    roles = {}
    for ours in ("start", "end"):
        theirs = sets.get(ours) or _punch_column(sheet, ours, shape)
        if not theirs:
            continue
        kind = shape[theirs].kind
        day = _day_column(sheet, shape, theirs) if kind in ("clock", "hour") else None
        roles[ours] = {"date": day, "clock": theirs} if day else {"at": theirs}
    if len(roles) == 2 and "at" not in sets:
        found.moments = roles
        return
    at = sets.get("at") or next(
        (h for h in sheet.header if shape[h].kind == "moment"), None
    )  # fmt: skip
    if at:
        found.moments, found.layout = {"at": {"at": at}}, "punches"
        return
    day = next((h for h in sheet.header if shape[h].kind == "day"), None)
    clock = next((h for h in sheet.header if shape[h].kind == "clock"), None)
    if day and clock:
        found.moments, found.layout = {"at": {"date": day, "clock": clock}}, "punches"
    else:
        found.moments = roles


def _punch_column(sheet: Foreign, ours: str, shape: dict[str, Looks]) -> str | None:
    best = [
        (like, shape[h].kind in ("moment", "clock"), -i, h)
        for i, h in enumerate(sheet.header)
        if shape[h].kind in ("moment", "clock", "hour")
        # Named to the letter, a column is it whatever else stands in it, as a total.
        or (likeness(h, "crew_time", ours) >= 0.95 and shape[h].kind == "text")
        for like in (likeness(h, "crew_time", ours),)
    ]
    like, _, _, theirs = max(best, default=(0.0, False, 0, ""))
    return theirs if like >= 0.7 else None


def _day_column(sheet: Foreign, shape: dict[str, Looks], clock: str) -> str | None:
    """The date column that belongs to a clock column: of the same way (in, out), or the first."""
    days = [h for h in sheet.header if shape[h].kind == "day"]
    way = set(tokens(clock)) & {"in", "out", "start", "end"}
    same = [h for h in days if set(tokens(h)) & way]
    return next(iter(same or days), None)


def _is_summer(sheet: Foreign, found: Times) -> bool:
    """Whether at least half of the readings are of May to September."""
    roles = next(iter(found.moments.values()), {})
    if "month" in roles:
        months = [shown(text).strip() for text in column_texts(sheet, roles["month"])]
        return (
            sum(m.lstrip("0") in ("5", "6", "7", "8", "9") for m in months) * 2 >= len(months) > 0
        )
    theirs = roles.get("at") or roles.get("date")
    if theirs is None:
        return False
    order, sure, _ = date_order(sheet, [theirs], sheet.decimal_comma)
    if sure == "open":
        return False
    count = total = 0
    for text in samples(sheet, theirs):
        each = moments.moment(text, order)
        day = each.at if isinstance(each, moments.Moment) else moments.day(text, order)
        if not isinstance(day, str):
            total += 1
            count += 5 <= day.month <= 9
    return count * 2 >= total > 0


# The clock ----------------------------------------------------------------------------------------


def tell(found: Proposal, times: Times, wish: Wish, known: Known) -> None:
    """Put the times, their order of day and month and their clock into the proposal."""
    dated = [roles[role] for roles in times.moments.values() for role in ("at", "date")
             if role in roles]  # fmt: skip
    order, sure, because = date_order(found.sheet, dated, found.sheet.decimal_comma)
    if wish.order is not None:
        order, sure = wish.order, "sure"
    elif sure == "open" and order is not None:
        found.questions.append(Question(
            "dates", f"Dates as {_first_date(found, dated)}: {because}. mdy (month first) or dmy"
            " (day first)?", f"--dates {order}", order,
        ))  # fmt: skip
    clock, clock_sure, why = _clock(found.sheet, times, wish)
    how = "" if order is None else f"{moments.WORDS[order]}; "
    for ours, roles in times.moments.items():
        worst: Sure = "open" if sure == "open" else clock_sure
        theirs = " + ".join(roles.values())
        found.guesses.insert(0, Guess(ours, theirs, None, worst, f"{how}{why}"))
    zone = wish.zone or _zone_above(found.sheet)
    found.mapping = replace(found.mapping, order=order, clock=clock, zone=zone)
    needs = times.with_offset or times.since_1970 or clock != "local"
    if needs and zone is None and known.zone is None and not _all_known(found, known):
        found.questions.append(zone_question(_zone_hint(clock) or _zone_of(found, times)))


def _zone_hint(clock: str) -> str | None:
    offset = moments.fixed_offset(clock)
    return ZONE_OF_OFFSET.get(offset) if offset else None


def _zone_of(found: Proposal, times: Times) -> str | None:
    """The usual US zone whose clock has the offsets that the values carry, at their times."""
    offsets = []
    for roles in times.moments.values():
        for text in samples(found.sheet, roles["at"]) if "at" in roles else ():
            each = moments.moment(text, found.mapping.order)
            if isinstance(each, moments.Moment) and each.offset_min:
                offsets.append(each)
    for name in ZONE_OF_OFFSET.values() if offsets else ():
        zone = moments.zone_named(name)
        if zone is not None and all(_has_offset(each, zone) for each in offsets):
            return name
    return None


def _has_offset(moment: moments.Moment, zone: dt.tzinfo) -> bool:
    found = moment.at.replace(tzinfo=zone).utcoffset()
    return found is not None and found.total_seconds() / 60 == moment.offset_min


def zone_question(default: str | None) -> Question:
    """What is asked where times in UTC are to be put on a clock of unknown zone."""
    return Question(
        "zone", "In which time zone is the site, as America/Denver? Its clock is what counts here.",
        "--zone Area/City", default,
    )  # fmt: skip


def _first_date(found: Proposal, columns: list[str]) -> str:
    return next((shown(t).strip() for name in columns for t in samples(found.sheet, name)), "")


def _all_known(found: Proposal, known: Known) -> bool:
    given = found.mapping.given.get("site")
    if given is not None:
        return given in known.zones
    drawn = found.mapping.columns.get("site")
    if drawn is None:
        return False
    return {shown(t).strip() for t in samples(found.sheet, drawn.theirs[0])} <= set(known.zones)


def _clock(sheet: Foreign, times: Times, wish: Wish) -> tuple[str, Sure, str]:
    """(local, utc, standard or an offset; how sure; why)."""
    if wish.clock is not None:
        return wish.clock, "sure", f"{_clock_words(wish.clock)}, as you said"
    if times.since_1970:
        return "utc", "sure", "seconds since 1970, which are UTC"
    names = [theirs for roles in times.moments.values() for theirs in roles.values()]
    said = " ".join(names + [" ".join(row) for row in sheet.below])
    if times.with_offset:
        return "local", "sure", "each carries its offset from UTC"
    named = _zone_above(sheet)
    if named is not None:
        return "local", "likely", f"the clock of {named}, which a line above the header names"
    for text, sure in ((said, "sure"), (" ".join(sheet.above), "likely")):
        fixed = re.search(r"\b(?:UTC|GMT)\s*([+\-−]\d{1,2}(?::?\d{2})?)\b", text, re.IGNORECASE)
        level: Sure = "sure" if sure == "sure" else "likely"
        where = "the header says" if sure == "sure" else "a line above the header says"
        if fixed is not None and moments.fixed_offset(fixed[1]):
            return fixed[1], level, f"{where} UTC{fixed[1]}"
        in_words = set(tokens(text))
        if in_words & words.UTC_WORDS and "local" not in in_words:
            return "utc", level, f"{where} UTC"
        if in_words & words.STANDARD_WORDS:
            return "standard", level, f"{where} standard time"
    return "local", "likely", "the clock on the wall, since nothing says UTC"


def _zone_above(sheet: Foreign) -> str | None:
    """A zone that a line above the header names, as some exports do."""
    for line in sheet.above:
        for name in re.findall(r"\b[A-Z][a-z]+/[A-Z][A-Za-z_]+(?:/[A-Z][A-Za-z_]+)?\b", line):
            if moments.zone_named(name) is not None:
                return str(name)
    return None


def _clock_words(clock: str) -> str:
    return {
        "local": "the clock on the wall",
        "utc": "UTC",
        "standard": "standard time all year",
    }.get(clock, f"UTC{clock}")
