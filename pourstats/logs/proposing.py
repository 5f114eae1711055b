"""What an unknown file may be: which table, which column is which, and what must be asked."""

from __future__ import annotations

import re
from dataclasses import replace
from difflib import get_close_matches

from pourstats.faults import Refusal
from pourstats.logs import header_words as words
from pourstats.logs import moments, time_columns, weather_files
from pourstats.logs.column_kinds import (
    Looks,
    decimal_comma,
    looks,
    samples,
)
from pourstats.logs.files import shown
from pourstats.logs.foreign import Foreign
from pourstats.logs.header_words import likeness
from pourstats.logs.mapping import Drawn, FileMapping, Known, column_texts
from pourstats.logs.proposal import ZONE_OF_OFFSET, Guess, Proposal, Question, Wish
from pourstats.logs.proposed_units import fix_units, is_number
from pourstats.logs.tables import TABLES

LEAST_LIKE = 0.6
_TIMES = {"start": "time in", "end": "time out"}


def proposed(sheet: Foreign, wish: Wish, known: Known) -> Proposal:
    """How a file may be read. Raises Refusal for a wish that can't be met."""
    _check(sheet, wish)
    if sheet.kind != "table":
        return _weather_year(sheet, wish, known)
    shape = {theirs: looks(sheet, theirs) for theirs in sheet.header}
    table = wish.table or _likely_table(sheet, shape)
    found = Proposal(sheet, FileMapping(table, {}, {}, dict(wish.given), year=wish.year))
    times = time_columns.times_of(sheet, table, shape, wish.sets)
    twice = sorted({*times.moments} & {*wish.given})
    if twice:
        drawn_from = " + ".join(times.moments[twice[0]].values())
        raise Refusal(
            f"--give {twice[0]}: the file's own {drawn_from!r} gives it; leave that --give out"
        )
    used = {theirs for roles in times.moments.values() for theirs in roles.values()}
    drawn = _assigned(sheet, table, shape, wish, used, times.layout)
    _jobs_as_pours(sheet, table, drawn, known)
    numeric = [d.theirs[0] for ours, d in drawn.items() if is_number(table, ours)]
    if (not drawn and not times.moments) or _is_of_figures(sheet.header):
        raise Refusal(_nothing_known(sheet), 1)
    mapping = replace(
        found.mapping, moments=times.moments, layout=times.layout,
        comma=decimal_comma(sheet, numeric),
    )  # fmt: skip
    found.mapping = replace(mapping, columns=drawn)
    fix_units(found, wish, times.summer)
    time_columns.tell(found, times, wish, known)
    _ask_for_missing(found, wish, known)
    order = [*TABLES[table].names, "at", "kind"]
    given = set(found.mapping.given)
    found.guesses.sort(
        key=lambda g: (g.ours in given, order.index(g.ours) if g.ours in order else len(order))
    )
    used |= {theirs for d in found.mapping.columns.values() for theirs in d.theirs}
    found.left_out = [theirs for theirs in sheet.header if theirs not in used]
    _note_limits(found)
    return found


def _note_limits(found: Proposal) -> None:
    """Say what a file has that can't be taken as it stands."""
    mapping = found.mapping
    at = mapping.moments.get("time", {}).get("at")
    if mapping.table == "weather" and at and looks(found.sheet, at).kind == "day":
        found.notes.append("its days have no hour; figures of whole days are no readings")
    if mapping.table != "crew_time":
        return
    breaks = [n for n in found.left_out if {"break", "lunch"} & set(words.tokens(n))]
    if breaks:
        found.notes.append(
            f"{breaks[0]!r} is not taken off; an unpaid break is a gap between two stretches"
        )
    if not mapping.moments and any("hours" in words.tokens(n) for n in found.left_out):
        found.notes.append(
            "it has hours but no times; crew time needs when each stretch began and ended. Hours"
            " alone can be told by the pour's hands, crew_in and crew_out"
        )


# The wish -----------------------------------------------------------------------------------------


def _check(sheet: Foreign, wish: Wish) -> None:
    if wish.table is not None and (wish.table not in TABLES or not TABLES[wish.table].log):
        near = get_close_matches(wish.table, [t.name for t in TABLES.values() if t.log], n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise Refusal(f"no log table is called {wish.table!r}{hint}")
    for ours, theirs in wish.sets.items():
        if theirs and theirs not in sheet.header:
            near = get_close_matches(theirs, sheet.header, n=1, cutoff=0.4)
            hint = (
                f"did you mean {near[0]!r}?" if near else "it has " + ", ".join(sheet.header[:12])
            )
            raise Refusal(f"--set {ours}: {sheet.file} has no column {theirs!r}; {hint}")
    table = TABLES[wish.table] if wish.table else None
    for what in (wish.sets, wish.units, wish.given):
        for ours in what:
            names = _our_names(table.name) if table else {n for t in TABLES for n in _our_names(t)}
            if ours not in names:
                near = get_close_matches(ours, names, n=1)
                hint = f"; did you mean {near[0]}?" if near else ""
                raise Refusal(f"{ours!r} is no column of ours{hint}")
    for zone in filter(None, [wish.zone]):
        if moments.zone_named(zone) is None:
            raise Refusal(f"{zone!r} is no time zone known here; write it as America/Denver")


def _our_names(table: str) -> set[str]:
    return {*TABLES[table].names, *words.WORDS.get(table, {})}


def _is_of_figures(header: list[str]) -> bool:
    figures_in = sum(re.match(r"[-+]?\d", name) is not None for name in header)
    return figures_in * 2 > len(header)


def _nothing_known(sheet: Foreign) -> str:
    names = ", ".join(sheet.header[:8])[:120]
    return (
        f"{sheet.file}: no name in its header is known (read in line {sheet.header_line}: {names})."
        " If it has no row of names, write one on top; else say which is which, as --table weather"
        ' --set time="Their time" --set air_temp="Their temperature"'
    )


# Which table --------------------------------------------------------------------------------------


def _likely_table(sheet: Foreign, shape: dict[str, Looks]) -> str:
    """The table whose required columns the header names best; weather where nothing fits."""
    scores: dict[str, float] = {}
    for name, table in TABLES.items():
        if not table.log:
            continue
        best = {c: max((likeness(h, name, c) for h in sheet.header), default=0.0)
                for c in _our_names(name)}  # fmt: skip
        wanted = {"worker", "start", "end"} if name == "crew_time" else set(table.required)
        if name == "crew_time" and (best["kind"] >= 0.9 and best["at"] >= 0.9):
            wanted = {"worker", "kind", "at"}
        if name == "weather":
            wanted = {"air_temp", "humidity", "wind", "time"}
        hits = sum(best[c] for c in wanted if best[c] >= LEAST_LIKE) / len(wanted)
        scores[name] = hits + 0.05 * sum(value >= 0.9 for value in best.values())
    best_name = max(scores, key=lambda each: scores[each])
    return best_name if scores[best_name] >= 0.3 else "weather"


# Which column -------------------------------------------------------------------------------------


def _assigned(
    sheet: Foreign, table: str, shape: dict[str, Looks], wish: Wish, used: set[str], layout: str
) -> dict[str, Drawn]:
    """Ours → theirs by likeness of names, best first, where the values agree; wishes go first."""
    times = {c.name for c in TABLES[table].columns if c.kind in ("time", "date")} | {"at"}
    drawn: dict[str, Drawn] = {}
    taken = set(used)
    for ours, theirs in wish.sets.items():
        if theirs and ours not in times:
            drawn[ours] = Drawn((theirs,))
            taken.add(theirs)
    if table == "crew_time" and "worker" not in wish.sets:
        both = _two_names(sheet.header)
        if both:
            drawn["worker"] = Drawn(both)
            taken |= set(both)
    options = []
    for ours in _our_names(table) - times - set(wish.sets) - set(drawn):
        if ours == "kind" and layout != "punches":
            continue
        for place, theirs in enumerate(sheet.header):
            like = likeness(theirs, table, ours)
            if like >= LEAST_LIKE and _agrees(table, ours, shape[theirs]):
                options.append((-like, place, ours, theirs))
    for _, _, ours, theirs in sorted(options):
        if ours not in drawn and theirs not in taken:
            drawn[ours] = Drawn((theirs,))
            taken.add(theirs)
    return drawn


def _jobs_as_pours(sheet: Foreign, table: str, drawn: dict[str, Drawn], known: Known) -> None:
    """A timesheet's job may be our pour's id: its values tell."""
    if table != "crew_time" or "site" not in drawn or "pour_id" in drawn:
        return
    ids = {name for name, _, _ in known.pours}
    values = {shown(text).strip() for text in samples(sheet, drawn["site"].theirs[0])}
    if len(values & ids) * 2 >= len(values):
        drawn["pour_id"] = drawn.pop("site")


def _two_names(header: list[str]) -> tuple[str, ...]:
    by_words = {" ".join(words.tokens(name)): name for name in header}
    for first, last in (("first name", "last name"), ("firstname", "lastname"),
                        ("employee first name", "employee last name")):  # fmt: skip
        if first in by_words and last in by_words:
            return by_words[first], by_words[last]
    return ()


def _agrees(table: str, ours: str, shape: Looks) -> bool:
    if shape.kind == "blank":
        return False
    if is_number(table, ours):
        return shape.kind in ("number", "hour", "text")
    return shape.kind not in ("moment", "day")


# What is missing ----------------------------------------------------------------------------------


def _ask_for_missing(found: Proposal, wish: Wish, known: Known) -> None:
    mapping = found.mapping
    table = TABLES[mapping.table]
    have = set(mapping.columns) | set(mapping.moments) | set(mapping.given)
    if mapping.layout == "punches":
        have |= {"start", "end"}
    if mapping.table == "crew_time":
        have.add("pour_id")
        if "pour_id" not in mapping.columns and "pour_id" not in mapping.given:
            how = "its site and day" if "site" in have else "its day, if only one was placed then"
            found.notes.append(f"the pour is found by {how}")
    for name in table.required:
        if name in have:
            continue
        if name == "site":
            found.questions.append(Question("site", "Which site is this file of?", "--site NAME",
                                            _only_site(known)))  # fmt: skip
        elif name == "task":
            found.questions.append(Question(
                "task",
                "Which task were these hours for? " + ", ".join(table.column("task").choices),
                "--give task=place", "place",
            ))  # fmt: skip
        elif table.column(name).kind in ("time", "date"):
            meaning = _TIMES.get(name, table.column(name).meaning)
            found.questions.append(Question(
                f"column:{name}", f"Which column is {name} ({meaning})?",
                f'--set {name}="THEIR COLUMN"',
            ))  # fmt: skip
        else:
            found.questions.append(Question(
                f"column:{name}", f"Which column is {name} ({table.column(name).meaning})?",
                f'--set {name}="THEIR COLUMN" or, for one value in every row, --give {name}=VALUE',
            ))  # fmt: skip
    for name, value in mapping.given.items():
        found.guesses.append(Guess(name, f"{value} in every row", None, "sure", "as you said"))
    height = _wind_height(mapping)
    if height is not None:
        why = f"{' '.join(mapping.columns['wind'].theirs)!r} says so"
        found.guesses.append(Guess("wind_height", f"{height} in every row", None, "likely", why))
        found.mapping = replace(mapping, given={**mapping.given, "wind_height": height})


def _wind_height(mapping: FileMapping) -> str | None:
    """The height that the wind's header names in meters, as in ``wind_speed_2m``."""
    if mapping.table != "weather" or "wind" not in mapping.columns:
        return None
    if "wind_height" in mapping.columns or "wind_height" in mapping.given:
        return None
    base, _ = words.split(mapping.columns["wind"].theirs[0])
    match = re.search(r"(?<![\d.,])(\d{1,2})[ _]?m(?![a-z/])", base, re.IGNORECASE)
    return match[1] if match is not None else None


def _only_site(known: Known) -> str | None:
    sites = {site for _, site, _ in known.pours} | set(known.zones)
    return next(iter(sites)) if len(sites) == 1 else None


# Weather years ------------------------------------------------------------------------------------


def _weather_year(sheet: Foreign, wish: Wish, known: Known) -> Proposal:
    epw = sheet.kind == "epw"
    fields = weather_files.EPW_COLUMNS if epw else weather_files.TMY3_COLUMNS
    place = sheet.place
    assert place is not None
    drawn = {
        ours: Drawn((theirs,), unit, scale)
        for ours, (theirs, unit, scale) in fields.items() if theirs in sheet.header
    }  # fmt: skip
    times = (
        {"year": "Year", "month": "Month", "day": "Day", "hour": "Hour"} if epw else
        {"date": "Date (MM/DD/YYYY)", "clock": "Time (HH:MM)"}
    )  # fmt: skip
    sign = "-" if place.offset_min < 0 else "+"
    clock = f"{sign}{abs(place.offset_min) // 60:02d}:{abs(place.offset_min) % 60:02d}"
    given = {"wind_height": "10", "source": "estimated", **wish.given}
    zone = wish.zone or known.zones.get(given.get("site", "")) or known.zone
    mapping = FileMapping(
        "weather", drawn, {"time": times}, given, order="mdy", clock=clock, zone=wish.zone,
        kind=sheet.kind, year=wish.year,
    )  # fmt: skip
    found = Proposal(sheet, mapping)
    for ours, each in drawn.items():
        found.guesses.append(Guess(ours, each.theirs[0], each.unit, "sure", "its layout says so"))
    found.guesses.insert(0, Guess("time", " + ".join(times.values()), None, "sure",
                                  f"end of the hour, standard time UTC{clock}"))  # fmt: skip
    for name, value in given.items():
        why = "as you said" if name in wish.given else "so are such files"
        found.guesses.append(Guess(name, f"{value} in every row", None, "sure", why))
    if "site" not in given:
        found.questions.append(Question(
            "site", f"Which site is this file of? It says {place.name}"
            f" ({place.latitude:g}, {place.longitude:g}).", "--site NAME", _only_site(known),
        ))  # fmt: skip
    if zone is None:
        found.questions.append(time_columns.zone_question(ZONE_OF_OFFSET.get(place.offset_min)))
    years = sorted({shown(t).strip()[-4:] for t in column_texts(sheet, next(iter(times.values())))})
    if len(years) > 1 and wish.year is None:
        found.notes.append(
            f"its months are of the years {', '.join(years[:12])}; --year {years[-1]} puts all into"
            " one"
        )
    used = {theirs for d in drawn.values() for theirs in d.theirs} | set(times.values())
    found.left_out = [name for name in sheet.header if name not in used]
    return found
