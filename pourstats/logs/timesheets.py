"""Punches of a time clock → stretches of crew time: pairs found, the pour found, the task named.

A punch without its mate is set aside with what to do; nothing is guessed.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from dataclasses import dataclass

from pourstats.logs.cell import normalized, quoted
from pourstats.logs.drawn_times import drawn_moments, local, written_as
from pourstats.logs.files import shown
from pourstats.logs.header_words import tokens
from pourstats.logs.mapping import Rows
from pourstats.logs.moments import Moment
from pourstats.logs.tables import TASKS

MOST_H = 16
"""A stretch longer than this is a punch that was forgotten."""

EARLY_H = 5
"""A stretch that begins before this hour may belong to a pour of the day before."""

TASK_WORDS: dict[str, str] = {
    "set_up": "set up, setup, form, forms, forming, formwork, grade, grading, prep, preparation,"
    " layout, base, steel, rebar, preparar, cimbra",
    "place": "place, placing, placement, pour, pouring, concrete, screed, screeding, colado, colar,"
    " vaciado",
    "finish": "finish, finishing, trowel, troweling, float, floating, acabado, acabar",
    "saw": "saw, sawing, saw cut, saw cutting, sawcut, sawcutting, cut, cutting, joints, corte",
    "wait": "wait, waiting, standby, stand by, espera",
    "travel": "travel, drive, driving, travel time, viaje, mobilization",
    "clean_up": "clean up, cleanup, clean, cleaning, wash out, washout, strip, stripping, limpieza",
    "return_visit": "return, return visit, repair, callback, call back, warranty, punch list",
}  # fmt: skip
_TASKS = {tuple(tokens(word)): task for task, words in TASK_WORDS.items()
          for word in words.split(",")}  # fmt: skip

_IN = frozenset({"in", "i", "start", "begin", "on", "arrive", "arrived", "arrival", "entrada", "e",
                 "1", "clockin", "checkin", "login", "resume"})  # fmt: skip
_OUT = frozenset({"out", "o", "end", "stop", "off", "leave", "left", "departure", "depart",
                  "salida", "s", "0", "clockout", "checkout", "logout", "finish"})  # fmt: skip
_SWITCH = frozenset({"switch", "transfer", "change"})
_BREAK = frozenset({"break", "lunch", "meal", "pause", "descanso", "comida", "almuerzo"})


def way(text: str) -> str | None:
    """in, out or switch, as a time clock's word has it; None for another word."""
    words = set(tokens(shown(text)))
    if words & _SWITCH:
        return "switch"
    found = "in" if words & _IN else "out" if words & _OUT else None
    if words & _BREAK and words & {"start", "begin", "end", "stop", "finish"}:
        # The beginning of a break is a punch out.
        return {"in": "out", "out": "in", None: None}[found]
    return found


def task(text: str) -> str | None:
    """Our task of that name, or None."""
    plain = shown(text).strip()
    for name in TASKS:
        if normalized(name) == normalized(plain):
            return name
    return _TASKS.get(tuple(tokens(plain)))


def fill(rows: Rows) -> None:
    """Turn drawn timesheet rows into rows of crew_time: start, end, task and pour."""
    starts = _pair(rows) if rows.mapping.layout == "punches" else _beside(rows)
    if "task" in rows.texts:
        rows.texts["task"] = [task(text) or text for text in rows.texts["task"]]
    _find_pours(rows, starts)


# In and out in one row ----------------------------------------------------------------------------


def _beside(rows: Rows) -> list[dt.datetime | None]:
    roles = rows.mapping.moments
    for ours in ("start", "end"):
        if ours not in roles:
            # Asked for while a mapping is being made; until then every row lacks it.
            return [None] * len(rows.lines)
    started, ended = drawn_moments(rows, "start"), drawn_moments(rows, "end")
    day = roles["start"].get("date")
    one_day = day is not None and day == roles["end"].get("date")
    starts: list[dt.datetime | None] = []
    for row, (start, end) in enumerate(zip(started, ended, strict=True)):
        begun = _placed(rows, row, "start", start)
        done = _placed(rows, row, "end", end)
        if isinstance(begun, dt.datetime):
            if isinstance(done, int):
                done = dt.datetime.combine(begun.date(), dt.time()) + dt.timedelta(seconds=done)
                done += dt.timedelta(days=int(done < begun))
            elif isinstance(done, dt.datetime) and one_day and done < begun:
                done += dt.timedelta(days=1)
            if isinstance(done, dt.datetime) and done - begun > dt.timedelta(hours=MOST_H):
                _too_long(rows, row)
        _missing(rows, row, start, end)
        rows.texts.setdefault("start", []).append(_text(rows, row, "start", begun))
        rows.texts.setdefault("end", []).append(_text(rows, row, "end", done))
        starts.append(begun if isinstance(begun, dt.datetime) else None)
    for name in ("start", "end"):
        rows.texts.setdefault(name, [])
    return starts


def _placed(
    rows: Rows, row: int, ours: str, each: Moment | int | str | None
) -> dt.datetime | int | None:
    """The site's clock at a moment, or a bare clock time's seconds; what can't be read is set
    aside."""
    at = local(rows, row, each) if isinstance(each, Moment) else each
    if isinstance(at, str):
        rows.fault(row, ours, at)
        return None
    return at


def _text(rows: Rows, row: int, ours: str, at: dt.datetime | int | None) -> str:
    if isinstance(at, dt.datetime):
        return written_as(at)
    if isinstance(at, int):
        return f"{at // 3600 % 24:02d}:{at // 60 % 60:02d}:{at % 60:02d}"
    return rows.written.texts[ours][row]


def _who(rows: Rows, row: int) -> str:
    name = shown(rows.texts["worker"][row]).strip() if "worker" in rows.texts else ""
    return name or "nobody"


def _missing(rows: Rows, row: int, start: object, end: object) -> None:
    who, what = _who(rows, row), "; ask, write it there and load the file again"
    if end is None and start is not None:
        _lacks(rows, row, "end", f"{who} came in and no time out stands beside it{what}")
    elif start is None and end is not None:
        _lacks(rows, row, "start", f"{who} went out and no time in stands beside it{what}")
    elif start is None:
        _lacks(rows, row, "start", "neither a time in nor a time out stands here; write them, or"
               " take the row out")  # fmt: skip
        rows.written.covered.append((row, "end"))


def _lacks(rows: Rows, row: int, ours: str, reason: str) -> None:
    """Set a row aside for a punch that isn't there, under the column where it should stand."""
    roles = rows.mapping.moments[ours]
    place = f"{ours}:clock"
    rows.written.columns[place] = roles.get("clock") or " + ".join(roles.values())
    rows.fault(row, place, reason)
    rows.written.covered.append((row, ours))


def _too_long(rows: Rows, row: int) -> None:
    rows.fault(row, "end", f"{_who(rows, row)} would have worked over {MOST_H} h without a break;"
               " was a punch forgotten? Mend the times and load the file again")  # fmt: skip


# A punch a row ------------------------------------------------------------------------------------


@dataclass
class _Punch:
    row: int
    at: dt.datetime
    way: str | None
    text: str


def _pair(rows: Rows) -> list[dt.datetime | None]:
    """Pair the punches of each worker in time order; a pair stands on the line of its punch in."""
    drawn = drawn_moments(rows, "at")
    ways = [way(text) for text in rows.texts["kind"]] if "kind" in rows.texts else None
    punches: dict[str, list[_Punch]] = defaultdict(list)
    alone: list[tuple[int, str, str]] = []
    for row, each in enumerate(drawn):
        text = shown(rows.written.texts["at"][row]).strip()
        if isinstance(each, int):
            alone.append((row, "start", f"{quoted(text)} has no date; give the file a date column"))
        elif each is None:
            alone.append((row, "start", "is blank; a punch needs its time"))
        elif isinstance(each, str):
            alone.append((row, "start", each))
        elif isinstance(at := local(rows, row, each), str):
            alone.append((row, "start", at))
        elif ways is not None and ways[row] is None:
            said = shown(rows.texts["kind"][row]).strip()
            alone.append((row, "kind", f"{quoted(said)} says neither in nor out; write in or out"))
        else:
            who = normalized(_who(rows, row))
            punches[who].append(_Punch(row, at, ways[row] if ways else None, text))
    pairs: list[tuple[_Punch, _Punch]] = []
    for each_one in punches.values():
        each_one.sort(key=lambda punch: (punch.at, punch.row))
        found, left = _matched(each_one)
        pairs += found
        alone += [
            (punch.row, "end" if was_in else "start", _no_mate(rows, punch, was_in))
            for punch, was_in in left
        ]
    return _laid_out(rows, pairs, alone)


def _matched(
    punches: list[_Punch],
) -> tuple[list[tuple[_Punch, _Punch]], list[tuple[_Punch, bool]]]:
    """(pairs, punches without a mate and whether they were in) of one worker, in time order."""
    pairs: list[tuple[_Punch, _Punch]] = []
    left: list[tuple[_Punch, bool]] = []
    inside: _Punch | None = None
    for punch in punches:
        long = inside is not None and punch.at - inside.at > dt.timedelta(hours=MOST_H)
        if inside is not None and long:
            left.append((inside, True))
            inside = None
        said = punch.way or ("in" if inside is None else "out")
        if said == "in":
            if inside is not None:
                left.append((inside, True))
            inside = punch
        elif inside is None:
            left.append((punch, False))
            inside = punch if said == "switch" else None
        else:
            pairs.append((inside, punch))
            inside = punch if said == "switch" else None
    if inside is not None:
        left.append((inside, True))
    return pairs, left


def _no_mate(rows: Rows, punch: _Punch, was_in: bool) -> str:
    who = _who(rows, punch.row)
    if was_in:
        return (
            f"{who} came in at {written_as(punch.at)} and no punch out follows within"
            f" {MOST_H} h; ask, add it to the file and load it again"
        )
    return (
        f"{who} went out at {written_as(punch.at)} and no punch in stands before it; ask, add"
        " it to the file and load it again"
    )


def _laid_out(
    rows: Rows, pairs: list[tuple[_Punch, _Punch]], alone: list[tuple[int, str, str]]
) -> list[dt.datetime | None]:
    """The rows as pairs and single punches, in the file's order."""
    raw, texts = rows.raw, rows.written.texts["at"]
    entries: list[tuple[int, _Punch | None, _Punch | None, str, str]] = [
        (begun.row, begun, done, "", "") for begun, done in pairs
    ] + [(row, None, None, ours, reason) for row, ours, reason in alone]
    entries.sort(key=lambda entry: entry[0])
    for name in ("task", "site", "pour_id", "wait_for"):
        column = rows.texts.get(name)
        for begun, done in pairs:
            # Some clocks ask for the job only on the way out.
            if column is not None and not shown(column[begun.row]).strip():
                column[begun.row] = column[done.row]
    rows.keep([entry[0] for entry in entries])
    rows.raw = [
        raw[row] if done is None or done.row == row else f"{raw[row]}\n{raw[done.row]}"
        for row, _, done, _, _ in entries
    ]
    label = rows.written.columns["at"]
    for name, end in (("start", 1), ("end", 2)):
        rows.written.columns[name] = label
        at = [entry[1] if end == 1 else entry[2] for entry in entries]
        rows.texts[name] = ["" if each is None else written_as(each.at) for each in at]
        rows.written.texts[name] = [
            texts[entry[0]] if each is None else each.text
            for each, entry in zip(at, entries, strict=True)
        ]
    for place, (_, first, _, ours, reason) in enumerate(entries):
        if first is None:
            rows.fault(place, ours, reason)
            # Keeps two broken rows apart that are alike in all else.
            rows.texts["start"][place] = rows.written.texts["start"][place]
            rows.written.covered += [(place, "start"), (place, "end")]
    return [None if begun is None else begun.at for _, begun, _, _, _ in entries]


# The pour -----------------------------------------------------------------------------------------


def _find_pours(rows: Rows, starts: list[dt.datetime | None]) -> None:
    """The pour by its id, else by site and day where only one was placed, else set aside."""
    n = len(rows.lines)
    ids = {name for name, _, _ in rows.known.pours}
    by_day: dict[dt.date, list[tuple[str, str]]] = defaultdict(list)
    for name, site, day in rows.known.pours:
        by_day[day].append((name, normalized(site)))
    given = rows.texts.get("pour_id")
    sites = rows.texts.get("site")
    found = []
    for row in range(n):
        said = shown(given[row]).strip() if given is not None else ""
        site = shown(sites[row]).strip() if sites is not None else ""
        if said in ids or (not (site or said) and (given or sites)):
            found.append(said)
            continue
        start = starts[row]
        matches = _placed_then(by_day, site or said, start)
        if len(matches) == 1:
            found.append(matches[0])
        elif said and not site and not matches:
            # An id of a pour that may come yet: the row waits for it.
            found.append(said)
        else:
            found.append(said)
            if start is not None:
                _no_pour(rows, row, site or said, start, matches)
            elif any(row == at for at, _, _, _ in rows.written.faults):
                rows.written.covered.append((row, "pour_id"))
    rows.texts["pour_id"] = found
    if "pour_id" not in rows.written.columns:
        rows.written.columns["pour_id"] = rows.written.columns.get("site", "the pour")
        if "site" in rows.written.texts:
            rows.written.texts["pour_id"] = rows.written.texts["site"]


def _placed_then(
    by_day: dict[dt.date, list[tuple[str, str]]], site: str, start: dt.datetime | None
) -> list[str]:
    """The pours of a site (of all, without one) on the day of a start; after midnight also of the
    day before."""
    if start is None:
        return []
    days = [start.date()]
    if start.hour < EARLY_H:
        days.append(start.date() - dt.timedelta(days=1))
    for day in days:
        matches = [
            name for name, where in by_day.get(day, []) if not site or where == normalized(site)
        ]
        if matches:
            return matches
    return []


def _no_pour(rows: Rows, row: int, site: str, start: dt.datetime, matches: list[str]) -> None:
    where = f" at {quoted(site)}" if site else ""
    day = start.date().isoformat()
    if not matches:
        reason = (
            f"no pour{where} on {day} is stored; log the pour and load this file again, or give it"
            " a column with the pour's id"
        )
    else:
        listed = ", ".join(matches[:6])
        reason = (
            f"{len(matches)} pours{where} on {day} ({listed}): write which one into a column of"
            " the pour's id, and load it again"
        )
    label = "pour_id" if "pour_id" in rows.written.columns else "site"
    rows.fault(row, label if label in rows.written.columns else "pour_id", reason)
    rows.written.covered.append((row, "pour_id"))


def counted(texts: list[str]) -> tuple[int, int]:
    """(how many texts say in or out, how many say anything)."""
    count: Counter[bool] = Counter(way(text) is not None for text in texts if shown(text).strip())
    return count[True], count[True] + count[False]
