"""The whole store looked over: what is broken, doubtful or missing, row by row, with the mend."""

from __future__ import annotations

import datetime as dt
import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pourstats.logs.tables import TABLES
from pourstats.store import checks, lookalikes, measures, openpours, strange, taps
from pourstats.store.schema import first_row

if TYPE_CHECKING:
    import duckdb

UNFINISHED_AFTER = dt.timedelta(hours=36)
"""A tapped pour whose last tap is this old was forgotten."""


@dataclass(frozen=True)
class Finding:
    """One thing to look at: the row (file and line as loaded), the cell, the fault, the mend."""

    table: str | None
    pour_id: str | None
    file: str | None
    sheet: str | None
    line: int | None
    column: str | None
    value: str | None
    what: str
    mend: str


@dataclass(frozen=True)
class Found:
    """Findings of one kind, in the order to look at them."""

    group: checks.Group
    mend: str
    """What to do about all of them; each has its own words too."""
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class LookOver:
    """Everything found, worst kind first, and how many rows were looked at, a table."""

    rows: dict[str, int]
    found: tuple[Found, ...]


def look_over(connection: duckdb.DuckDBPyConnection, now: dt.datetime) -> LookOver:
    """Look over every table. ``now`` (local) tells which jobs and taps are past; where the log is
    ahead of it, as after a clock set back, the log's latest day counts."""
    today = max(now.date(), _latest(connection) or now.date())
    rules = (*checks.RULES, *strange.RULES)
    measures.define(connection, *dict.fromkeys(name for rule in rules for name in rule.needs))
    by_group: dict[str, list[Finding]] = {name: [] for name in checks.GROUPS}
    told: set[tuple[object, ...]] = set()
    for rule in rules:
        by_group[rule.group] += _of_rule(connection, rule, today, told)
    general = {rule.group: _general(rule) for rule in reversed(rules)}
    by_group["set_aside"] = _set_aside(connection)
    by_group["waiting"] = _waiting(connection)
    by_group["look_alike"] = _look_alike(connection)
    by_group["open"] = _open(connection, now)
    rows = {
        name: _count(connection, f"SELECT count(*) FROM {name}")
        for name in TABLES
        if name not in ("forecasts", "settings")
    }
    return LookOver(
        {name: count for name, count in rows.items() if count},
        tuple(
            Found(group, general.get(name, ""), tuple(by_group[name]))
            for name, group in checks.GROUPS.items()
            if by_group[name]
        ),
    )


def _of_rule(
    connection: duckdb.DuckDBPyConnection,
    rule: checks.Rule,
    today: dt.date,
    told: set[tuple[object, ...]],
) -> list[Finding]:
    """What a rule finds. A cell that breaks two rules of a kind is told once."""
    given = {"today": today} if "$today" in rule.sql else None
    rows = connection.execute(
        f"""SELECT r.pour_id, s.file, s.sheet, r._line, r."column", r.value, r.what, r.id,
                   s.source_id
            FROM (SELECT row_number() OVER () AS place, * FROM ({rule.sql})) AS r
            LEFT JOIN sources AS s ON s.source_id = r._source ORDER BY r.place""",
        given,
    ).fetchall()
    found = []
    for pour_id, file, sheet, line, column, value, what, key, source in rows:
        cell = (rule.group, rule.table, source, line, column)
        if source is not None and rule.group in ("times", "strange"):
            if cell in told:
                continue
            told.add(cell)
        words = {
            "where": _where(rule.table, pour_id, file, sheet, line),
            "column": column or "",
            "pour_id": _quoted(pour_id or ""),
            "value": value or "",
            "delete": _delete(rule.table, pour_id, key),
        }
        mend = rule.mend.format(**words)
        found.append(Finding(rule.table, pour_id, file, sheet, line, column, value, what, mend))
    return found


def _general(rule: checks.Rule) -> str:
    """The mend without a certain row."""
    whose = {"weather": "their sites", "no_pay": "each"}.get(rule.group, "it")
    return rule.mend.format(
        where=f"{rule.table}.csv", column="what is missing" if rule.group == "no_hours" else "it",
        pour_id="its id", value=whose, delete="pourstats delete POUR_ID",
    )  # fmt: skip


def _where(
    table: str, pour_id: str | None, file: str | None, sheet: str | None, line: int | None
) -> str:
    if file is None or file == taps.FILE:
        home = f"{table}.csv"
        return f"a row of {home} for {pour_id} (it was tapped)" if file else home
    place = f"{file}, sheet {sheet}" if sheet else file
    return f"{place}, line {line}"


def _delete(table: str, pour_id: str | None, key: list[str] | None) -> str:
    parts = ["pourstats", "delete", pour_id or ""]
    if key:
        parts += [table, *key]
    return " ".join(_quoted(part) for part in parts)


def _quoted(text: str) -> str:
    return shlex.quote(text) if text else text


def _set_aside(connection: duckdb.DuckDBPyConnection) -> list[Finding]:
    rows = connection.execute(
        """SELECT table_name, pour_id, file, sheet, line, "column", value, reason FROM set_aside
           WHERE state = 'open' AND NOT coalesce(waits_for_pour, false) ORDER BY aside_id"""
    ).fetchall()
    return [
        Finding(
            table, pour_id, file, sheet, line, column, value, reason,
            f"mend {'line ' + str(line) + ' of ' if line is not None else ''}{file}"
            f"{', sheet ' + sheet if sheet else ''}, and load it again",
        )
        for table, pour_id, file, sheet, line, column, value, reason in rows
    ]  # fmt: skip


def _waiting(connection: duckdb.DuckDBPyConnection) -> list[Finding]:
    rows = connection.execute(
        """SELECT pour_id, count(*), min(file), min(line), string_agg(DISTINCT table_name, ', '
               ORDER BY table_name), min(table_name) FROM set_aside
           WHERE state = 'open' AND waits_for_pour GROUP BY pour_id
           ORDER BY count(*) DESC, pour_id"""
    ).fetchall()
    return [
        Finding(
            table, pour_id, file, None, line, "pour_id", pour_id,
            f"{pour_id}: {count} row{'s' if count > 1 else ''} of {tables}, the first in {file},"
            f" line {line}",
            f"log the pour {pour_id} in pours.csv and load it; if the id is a slip, mend it there",
        )
        for pour_id, count, file, line, tables, table in rows
    ]  # fmt: skip


def _look_alike(connection: duckdb.DuckDBPyConnection) -> list[Finding]:
    found = []
    for line in lookalikes.found(connection, 0):
        column, _, what = line.partition(": ")
        found.append(
            Finding(
                None, None, None, None, None, column, None, line,
                "if they are one, write the same name in every file; `pourstats table"
                f" {_home(column)}` shows where each stands",
            )
        )  # fmt: skip
        assert what
    return found


def _home(column: str) -> str:
    homes = {"site": "pours", "worker": "crew_time", "ticket": "trucks", "callback_id": "callbacks"}
    return homes.get(column, "pours")


def _open(connection: duckdb.DuckDBPyConnection, now: dt.datetime) -> list[Finding]:
    found = []
    for pour in openpours.unfinished(connection):
        if pour["last_tap"] > now - UNFINISHED_AFTER:
            continue
        missing = _listed(pour["missing"])
        found.append(
            Finding(
                "stamps", pour["pour_id"], None, None, None, None, None,
                f"{pour['pour_id']}: last tap {pour['last_tap']:%Y-%m-%d %H:%M}"
                + (f", still without {missing}" if missing else ""),
                "tap the rest on the page Log a pour, or log it in pours.csv and load it",
            )
        )  # fmt: skip
    return found


def _listed(names: Any) -> str:
    return ", ".join(str(name).replace("_", " ") for name in names)


def _latest(connection: duckdb.DuckDBPyConnection) -> dt.date | None:
    row = first_row(
        connection.execute(
            "SELECT max(d) FROM (SELECT max(date) AS d FROM pours UNION ALL"
            " SELECT max(reported) FROM callbacks)"
        )
    )
    return None if row is None else row[0]


def _count(connection: duckdb.DuckDBPyConnection, query: str) -> int:
    row = first_row(connection.execute(query))
    return int(row[0]) if row else 0
