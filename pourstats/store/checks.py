"""What `pourstats check` looks for: each rule a query, a title in plain words, and the mend.

A rule's query gives, a row a finding: ``pour_id``, ``_source``, ``_line``, ``"column"``, ``value``,
``what`` (the finding in words) and ``id`` (the row's key behind its pour, as `pourstats delete`
takes it; null where there is no such row). In ``mend`` stand ``{where}`` (file and line),
``{column}``, ``{pour_id}``, ``{value}`` and ``{delete}`` (the command that takes the row away).

The limits are rules of thumb (common practice, no source); outside them a value may still be right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pourstats.logs.tables import DEPENDENTS, TABLES

Grave = Literal[1, 2, 3]
"""1: figures are wrong or rows are missing; 2: look at it; 3: known less than could be."""


@dataclass(frozen=True)
class Rule:
    """One thing to look for in one table."""

    group: str
    table: str
    sql: str
    mend: str
    needs: tuple[str, ...] = ()
    """Measures that the query reads."""


@dataclass(frozen=True)
class Group:
    """Findings of one kind: how grave, and what an owner reads above them."""

    name: str
    grave: Grave
    title: str


GROUPS: dict[str, Group] = {
    group.name: group
    for group in (
        Group("links", 1, "Rows whose pour is gone"),
        Group("twice", 1, "Stored twice"),
        Group("set_aside", 1, "Set aside: in no figure until mended"),
        Group("waiting", 1, "Waiting for a pour that was never logged"),
        Group("same_ticket", 1, "The same ticket on two pours"),
        Group("same_pour", 1, "Perhaps one floor logged twice"),
        Group("same_call", 1, "Perhaps one callback under two ids"),
        Group("two_places", 1, "One person on two pours at once"),
        Group("times", 1, "Times that can't be right"),
        Group("look_alike", 2, "Names that look alike"),
        Group("open", 2, "Pours begun by taps and never finished"),
        Group("strange", 2, "Far from what you usually log"),
        Group("overlaps", 2, "One person logged twice on a pour; counted once"),
        Group("people", 2, "Hands and crew time don't agree"),
        Group("jobs", 2, "Jobs whose day has passed, not poured"),
        Group("bids", 2, "Bids won long ago, not poured"),
        Group("no_hours", 3, "Pours whose hours can't be counted"),
        Group("no_passes", 3, "Pours without passes"),
        Group("no_loads", 3, "Pours without loads or an order"),
        Group("weather", 3, "Pours without whole weather"),
        Group("no_pay", 3, "People without pay"),
    )
}
"""The groups, worst first."""

SAME_CALL = """a.pour_id = b.pour_id AND a.defect = b.defect AND a._seq < b._seq
    AND (a.reported = b.reported OR (abs(date_diff('day', a.reported, b.reported)) <= 3
         AND coalesce(a.hours = b.hours, true) AND coalesce(a.cost = b.cost, true)))"""
"""Callbacks a and b that may be one: the same floor and defect on one day, or within three days
with hours and cost that don't differ."""

SAME_CALL_WORDS = """a.callback_id || ' and ' || b.callback_id || ' of ' || a.pour_id || ': both '
    || replace(a.defect, '_', ' ') || ', reported ' || strftime(a.reported, '%Y-%m-%d')
    || CASE WHEN a.reported = b.reported THEN ''
            ELSE ' and ' || strftime(b.reported, '%Y-%m-%d') END"""

CELL = "mend {column} in {where} and load it again"

_AT = "strftime({}, '%Y-%m-%d %H:%M')"


def _at(column: str) -> str:
    return _AT.format(column)


def _time(
    table: str, column: str, wrong: str, what: str, mend: str = CELL, pour: bool = True
) -> Rule:
    """A rule on times: ``wrong`` is a condition over the row t and (with ``pour``) its pour p."""
    joined = " JOIN pours AS p USING (pour_id)" if pour else ""
    key = [name for name in TABLES[table].key if name != "pour_id"]
    parts = [
        _at(f't."{name}"')
        if TABLES[table].column(name).kind == "time"
        else f'CAST(t."{name}" AS VARCHAR)'
        for name in key
    ]
    names = f"[{', '.join(parts)}]" if table in DEPENDENTS else "NULL"
    kind = TABLES[table].column(column).kind
    value = _at(f't."{column}"') if kind == "time" else f'CAST(t."{column}" AS VARCHAR)'
    return Rule(
        "times", table,
        f"""SELECT t.pour_id, t._source, t._line, '{column}' AS "column", {value} AS value,
                   {what} AS what, {names} AS id
            FROM {table} AS t{joined} WHERE {wrong} ORDER BY t._seq""",
        mend,
    )  # fmt: skip


_TIMES = (
    _time("pours", "place_end", "t.place_end <= t.place_start",
          "t.pour_id || ': placing has no length'", pour=False),
    _time("pours", "place_end", "t.place_end > t.place_start + INTERVAL 16 HOUR",
          f"t.pour_id || ': placing from ' || {_at('t.place_start')} || ' to '"
          f" || {_at('t.place_end')}", pour=False),
    _time("pours", "bull_float_end", "t.bull_float_end < t.place_start",
          "t.pour_id || ': bull floated before the first concrete'", pour=False),
    _time("pours", "machine_on", "t.machine_on < t.place_start",
          "t.pour_id || ': machine on before the first concrete'", pour=False),
    _time("pours", "passes_done", "t.passes_done < t.machine_on",
          "t.pour_id || ': last pass off before the machine was on'", pour=False),
    _time("pours", "passes_done", "t.passes_done < t.place_end"
          " AND coalesce(t.passes_done >= t.machine_on, true)",
          "t.pour_id || ': last pass off before placing had ended'", pour=False),
    _time("pours", "saw_start", "t.saw_start < t.place_end",
          "t.pour_id || ': sawn before placing had ended'", pour=False),
    _time("pours", "saw_start", "t.saw_start > t.place_end + INTERVAL 7 DAY",
          "t.pour_id || ': sawn more than a week after placing'", pour=False),
    _time("pours", "crew_in", "t.crew_in > t.place_start",
          "t.pour_id || ': the first of the crew came after the first concrete'", pour=False),
    _time("pours", "crew_out", "t.crew_out < greatest(t.place_end, t.passes_done)",
          "t.pour_id || ': the last of the crew left before the floor was done'", pour=False),
    _time("trucks", "pour_start", "t.pour_start < t.arrived",
          "'load ' || t.ticket || ' of ' || t.pour_id || ': unloading before it arrived'"),
    _time("trucks", "batched", "t.batched > t.arrived",
          "'load ' || t.ticket || ' of ' || t.pour_id || ': batched after it arrived'"),
    _time("trucks", "batched", "t.pour_end > t.batched + INTERVAL 4 HOUR",
          "'load ' || t.ticket || ' of ' || t.pour_id || ': over 4 h old when it was empty'"),
    _time("trucks", "left", '"left" < pour_end',
          "'load ' || t.ticket || ' of ' || t.pour_id || ': left before it was empty'"),
    _time("trucks", "pour_start", "t.pour_start < p.place_start - INTERVAL 1 HOUR"
          " OR t.pour_start > p.place_end + INTERVAL 1 HOUR",
          "'load ' || t.ticket || ' of ' || t.pour_id || ': unloading began '"
          f" || {_at('t.pour_start')} || ', an hour or more outside the placing'"),
    _time("passes", "end", 't."end" <= t."start"',
          "'pass ' || t.pass_no || ' of ' || t.pour_id || ' has no length'"),
    _time("passes", "end", 't."end" > t."start" + INTERVAL 6 HOUR',
          "'pass ' || t.pass_no || ' of ' || t.pour_id || ' lasts over 6 h'"),
    _time("passes", "start", 't."start" < p.place_start',
          "'pass ' || t.pass_no || ' of ' || t.pour_id || ' begins before the first concrete'"),
    _time("passes", "start", 't."start" > p.place_start + INTERVAL 18 HOUR',
          "'pass ' || t.pass_no || ' of ' || t.pour_id || ' begins more than 18 h after the first"
          " concrete'"),
    _time("passes", "start", """EXISTS (SELECT 1 FROM passes AS b WHERE b.pour_id = t.pour_id
              AND b.pass_no < t.pass_no AND b."start" > t."start")""",
          "'pass ' || t.pass_no || ' of ' || t.pour_id || ' begins before one of a lower number'"),
    _time("passes", "end", 't."end" > p.passes_done + INTERVAL 10 MINUTE',
          "'pass ' || t.pass_no || ' of ' || t.pour_id || ' ends after the last pass was off'",
          "mend {column} in {where}, or passes_done of {pour_id} in pours.csv, and load it again"),
    _time("crew_time", "end", 't."end" <= t."start"',
          "t.worker || ', ' || t.task || ' on ' || t.pour_id || ': has no length'",
          "mend {column} in {where} and load it again, or `{delete}`"),
    _time("crew_time", "end", 't."end" > t."start" + INTERVAL 16 HOUR',
          "t.worker || ', ' || t.task || ' on ' || t.pour_id || ': over 16 h on end'"),
    _time("crew_time", "start", """t.task = 'place' AND (t."start" > p.place_end
              + INTERVAL 3 HOUR OR t."end" < p.place_start - INTERVAL 3 HOUR)""",
          "t.worker || ' places on ' || t.pour_id || ' at ' || " + _at('t."start"')
          + " || ', three hours or more outside the placing'"),
    _time("crew_time", "end", """t."end" > p.crew_out + INTERVAL 1 HOUR
              AND t.task NOT IN ('travel', 'return_visit', 'saw')
              AND t."end" <= t."start" + INTERVAL 16 HOUR""",
          "t.worker || ', ' || t.task || ' on ' || t.pour_id || ': to ' || " + _at('t."end"')
          + " || ', though the last of the crew left at ' || strftime(p.crew_out, '%H:%M')",
          "mend {column} in {where}, or crew_out of {pour_id} in pours.csv, and load it again"),
    _time("callbacks", "reported", "t.reported < p.date",
          "t.callback_id || ' was reported before ' || t.pour_id || ' was poured'"),
    Rule("times", "pours",
         f"""SELECT pour_id, _source, _line, 'date' AS "column", CAST(date AS VARCHAR) AS value,
                    pour_id || ': ' || strftime(date, '%Y-%m-%d')
                    || ' is over a year from every other pour' AS what, NULL AS id
             FROM (SELECT *, lag(date) OVER (ORDER BY date) AS before,
                          lead(date) OVER (ORDER BY date) AS after, count(*) OVER () AS pours
                   FROM pours)
             WHERE pours >= {10} AND coalesce(before < date - 366, true)
               AND coalesce(after > date + 366, true) ORDER BY date""",
         CELL),
)  # fmt: skip

_LINKS = tuple(
    Rule(
        "links", name,
        f"""SELECT t.pour_id, t._source, t._line, 'pour_id' AS "column", t.pour_id AS value,
                   'a row of {name} hangs on ' || t.pour_id || ', which isn''t stored' AS what,
                   NULL AS id
            FROM {name} AS t LEFT JOIN pours AS p USING (pour_id) WHERE p.pour_id IS NULL
            ORDER BY t._seq""",
        "log the pour {pour_id} in pours.csv and load it",
    )
    for name in DEPENDENTS
)  # fmt: skip


def _twice(name: str) -> Rule:
    key = TABLES[name].key
    keys = ", ".join(f'"{column}"' for column in key)
    shown = " || ' ' || ".join(f"coalesce(CAST(\"{column}\" AS VARCHAR), '')" for column in key)
    pour = "pour_id" if "pour_id" in TABLES[name].names else "NULL"
    pour = pour if pour == "NULL" or pour in key else "any_value(pour_id)"
    return Rule(
        "twice", name,
        f"""SELECT {pour} AS pour_id, max(_source) AS _source, max(_line) AS _line,
                   '{key[0]}' AS "column", {shown} AS value,
                   '{name}: ' || {shown} || ' is there ' || count(*) || ' times' AS what,
                   NULL AS id
            FROM {name} GROUP BY {keys} HAVING count(*) > 1 ORDER BY {keys}""",
        "`pourstats export DIR`, then `pourstats load DIR --store NEW`: a new store keeps the last",
    )  # fmt: skip


_OTHERS = (
    Rule("same_ticket", "trucks",
         """SELECT b.pour_id, b._source, b._line, 'ticket' AS "column", b.ticket AS value,
                   'ticket ' || b.ticket || ', ' || CAST(round(b.volume, 2) AS VARCHAR)
                   || ' yd3: on ' || a.pour_id || ' and on ' || b.pour_id AS what, [b.ticket] AS id
            FROM trucks AS a JOIN trucks AS b ON a.ticket = b.ticket AND a._seq < b._seq
                AND a.pour_id <> b.pour_id
            JOIN pours AS p ON p.pour_id = a.pour_id JOIN pours AS q ON q.pour_id = b.pour_id
            WHERE a.volume = b.volume AND abs(date_diff('day', p.date, q.date)) <= 1
              AND coalesce(a.plant, '') = coalesce(b.plant, '')
              AND NOT starts_with(a.ticket, 'load-')
              AND coalesce(a.arrived = b.arrived, length(a.ticket) > 3)
            ORDER BY b._seq""",
         "if it was one load: `{delete}`"),
    Rule("same_pour", "pours",
         """SELECT b.pour_id, b._source, b._line, 'pour_id' AS "column", b.pour_id AS value,
                   a.pour_id || ' and ' || b.pour_id || ': both ' || strftime(b.date, '%Y-%m-%d')
                   || ', ' || b.site || ', ' || b.slab_type || ', '
                   || CAST(round(b.area, 1) AS VARCHAR) || ' ft2' AS what, NULL AS id
            FROM pours AS a JOIN pours AS b ON a.date = b.date AND a.site = b.site
                AND a.slab_type = b.slab_type AND a.area = b.area AND a.thickness = b.thickness
                AND a._seq < b._seq
            WHERE coalesce(a.place_start = b.place_start, true) ORDER BY b._seq""",
         "if it was one floor: `pourstats delete {pour_id}`"),
    Rule("same_call", "callbacks",
         f"""SELECT b.pour_id, b._source, b._line, 'callback_id' AS "column",
                    b.callback_id AS value, {SAME_CALL_WORDS} AS what, [b.callback_id] AS id
             FROM callbacks AS a JOIN callbacks AS b ON {SAME_CALL} ORDER BY b._seq, a._seq""",
         "if it was one call: `{delete}`"),
    Rule("two_places", "crew_time",
         f"""SELECT b.pour_id, b._source, b._line, 'start' AS "column", {_at('b."start"')} AS value,
                    b.worker || ': ' || a.task || ' on ' || a.pour_id || ' to ' || {_at('a."end"')}
                    || ', ' || b.task || ' on ' || b.pour_id || ' from ' || {_at('b."start"')}
                    AS what, [b.worker, b.task, {_at('b."start"')}] AS id
             FROM crew_time_clashes AS c
             JOIN crew_time AS a ON a.worker = c.worker AND a.pour_id IN (c.pour_a, c.pour_b)
             JOIN crew_time AS b ON b.worker = c.worker AND b.pour_id IN (c.pour_a, c.pour_b)
             WHERE a.pour_id <> b.pour_id AND (a.task = 'wait') = (b.task = 'wait')
               AND a."start" < b."end" AND b."start" < a."end"
               AND (a."start" < b."start" OR (a."start" = b."start" AND a._seq < b._seq))
             ORDER BY c.minutes DESC, b._seq""",
         "the minutes are split between the two; mend start or end in {where} and load it again",
         needs=("crew_time_clashes",)),
    Rule("overlaps", "crew_time",
         f"""SELECT b.pour_id, b._source, b._line, 'start' AS "column", {_at('b."start"')} AS value,
                    b.worker || ' on ' || b.pour_id || ': ' || a.task || ' to ' || {_at('a."end"')}
                    || ', ' || b.task || ' from ' || {_at('b."start"')} AS what,
                    [b.worker, b.task, {_at('b."start"')}] AS id
             FROM crew_time AS a JOIN crew_time AS b ON a.pour_id = b.pour_id
                 AND a.worker = b.worker
             WHERE (a.task = 'wait') = (b.task = 'wait') AND a."start" < b."end"
               AND b."start" < a."end" AND a."end" > a."start" AND b."end" > b."start"
               AND (a."start" < b."start" OR (a."start" = b."start" AND a._seq < b._seq))
             ORDER BY b._seq""",
         "mend start or end in {where} and load it again, or `{delete}`"),
    Rule("people", "pours",
         """SELECT p.pour_id, p._source, p._line, 'hands' AS "column",
                   CAST(CAST(p.hands AS INTEGER) AS VARCHAR) AS value,
                   p.pour_id || ': ' || CAST(p.hands AS INTEGER) || ' hands, crew time of '
                   || t.people AS what, NULL AS id
            FROM pours AS p JOIN (
                SELECT pour_id, count(DISTINCT worker) AS people FROM crew_time
                WHERE task NOT IN ('travel', 'return_visit') GROUP BY pour_id) AS t USING (pour_id)
            WHERE t.people < p.hands ORDER BY p._seq""",
         "its hours count the crew time alone: log the others in crew_time.csv, or mend hands in"
         " {where}"),
    Rule("jobs", "jobs",
         """SELECT j.pour_id, j._source, j._line, 'date' AS "column", CAST(j.date AS VARCHAR)
                   AS value, j.pour_id || ': ' || j.slab_type || ' at ' || j.site || ', '
                   || strftime(j.date, '%Y-%m-%d') AS what, NULL AS id
            FROM jobs AS j LEFT JOIN pours AS p USING (pour_id)
            WHERE p.pour_id IS NULL AND j.date < $today
              AND NOT EXISTS (SELECT 1 FROM stamps AS s WHERE s.pour_id = j.pour_id)
            ORDER BY j.date, j._seq""",
         "log it under {pour_id} in pours.csv; if it was put off, mend date in {where}"),
    Rule("bids", "bids",
         """SELECT b.pour_id, b._source, b._line, 'won' AS "column", b.won AS value,
                   b.pour_id || ': bid ' || strftime(b.bid_date, '%Y-%m-%d') || ' and won' AS what,
                   NULL AS id
            FROM bids AS b LEFT JOIN pours AS p USING (pour_id) LEFT JOIN jobs AS j USING (pour_id)
            WHERE p.pour_id IS NULL AND j.pour_id IS NULL AND b.won = 'yes'
              AND b.bid_date < $today - 180 ORDER BY b.bid_date, b._seq""",
         "log the pour under {pour_id}; if it was poured under another id, or lost, mend {where}"),
    Rule("no_hours", "pours",
         """SELECT p.pour_id, p._source, p._line,
                   CASE WHEN p.hands IS NULL THEN 'hands' WHEN p.place_start IS NULL
                        THEN 'place_start' WHEN p.place_end IS NULL THEN 'place_end'
                        ELSE 'crew_out' END AS "column",
                   NULL AS value, p.pour_id || ': no crew time, and no '
                   || CASE WHEN p.hands IS NULL THEN 'hands' WHEN p.place_start IS NULL
                           THEN 'first concrete' WHEN p.place_end IS NULL THEN 'strike-off'
                           ELSE 'time the crew left' END AS what, NULL AS id
            FROM pours AS p JOIN pour_output AS o USING (pour_id)
            WHERE o.labor_h IS NULL ORDER BY p.date, p._seq""",
         "fill in {column} in {where} and load it again",
         needs=("pour_output",)),
    Rule("no_passes", "pours",
         """SELECT p.pour_id, p._source, p._line, 'machine_on' AS "column", NULL AS value,
                   p.pour_id || ': no pass and no machine on' AS what, NULL AS id
            FROM pours AS p
            WHERE p.machine_on IS NULL AND coalesce(p.finish, 'trowel') <> 'broom' AND
              NOT EXISTS (SELECT 1 FROM passes AS a WHERE a.pour_id = p.pour_id)
            ORDER BY p.date, p._seq""",
         "fill in machine_on and passes_done in {where}, or log its passes in passes.csv"),
    Rule("no_loads", "pours",
         """SELECT p.pour_id, p._source, p._line, 'ordered_volume' AS "column", NULL AS value,
                   p.pour_id || ': its yards are taken from the plan' AS what, NULL AS id
            FROM pours AS p WHERE p.ordered_volume IS NULL AND
              NOT EXISTS (SELECT 1 FROM trucks AS t WHERE t.pour_id = p.pour_id)
            ORDER BY p.date, p._seq""",
         "log its tickets in trucks.csv, or fill in ordered_volume in {where}"),
    Rule("weather", "weather",
         f"""SELECT w.pour_id, p._source, p._line, 'site' AS "column", w.site AS value,
                    w.pour_id || ': ' || CASE WHEN w.site NOT IN (SELECT site FROM weather)
                        THEN 'no weather at ' || w.site
                        ELSE 'a gap at ' || w.site || ', ' || {_at('w.from_time')} || ' to '
                             || strftime(w.to_time, '%H:%M') END AS what, NULL AS id
             FROM pour_weather AS w JOIN pours AS p USING (pour_id)
             WHERE w.air_temp_f IS NULL AND w.from_time IS NOT NULL AND w.to_time > w.from_time
             ORDER BY w.date, p._seq""",
         "add rows of {value} to weather.csv, at most 3 h apart, from before to after",
         needs=("pour_weather",)),
    Rule("no_pay", "crew_time",
         """SELECT NULL AS pour_id, NULL AS _source, NULL AS _line, 'pay' AS "column",
                   worker AS value, worker || ': on ' || count(DISTINCT pour_id)
                   || ' pours, with no pay' AS what, NULL AS id
            FROM crew_time AS t
            WHERE (SELECT default_pay FROM house) IS NULL AND
              worker NOT IN (SELECT worker FROM crew WHERE pay IS NOT NULL)
            GROUP BY worker ORDER BY count(DISTINCT pour_id) DESC, worker""",
         "add {value} with pay to crew.csv, or `pourstats settings default_pay 27`"),
)  # fmt: skip

RULES: tuple[Rule, ...] = (
    *_LINKS,
    *(_twice(name) for name in TABLES if name != "forecasts"),
    *_TIMES,
    *_OTHERS,
)
"""Every rule that is one query; names that look alike, taps and strange values come beside."""
