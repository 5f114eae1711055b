"""Taps in the store → rows, once a pour is whole; until then the pour stays open, apart."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from pourstats.faults import Fault
from pourstats.logs import intake, stamps
from pourstats.logs.files import Sheet
from pourstats.logs.tables import JOBS, STAMPS, TABLES
from pourstats.store import books
from pourstats.store.rows import store_rows

if TYPE_CHECKING:
    import duckdb

_APOSTROPHE = re.compile(r"'+[=+\-@\t]")

FILE = "taps"
"""The source of rows that come from taps, where others have their file's name."""

TAPPED_TABLES = ("pours", "trucks", "passes", "crew_time")

_OPEN = f"""
SELECT DISTINCT s.pour_id FROM stamps AS s LEFT JOIN pours AS p ON p.pour_id = s.pour_id
LEFT JOIN sources AS f ON f.source_id = p._source
LEFT JOIN deleted_pours AS d ON d.pour_id = s.pour_id
WHERE (p.pour_id IS NULL OR f.file = '{FILE}') AND d.pour_id IS NULL ORDER BY s.pour_id
"""


def store_taps(connection: duckdb.DuckDBPyConnection, change: books.Change) -> list[Fault]:
    """Store the rows of every tapped pour that is whole; what is set aside of them.

    A pour that somebody has logged otherwise keeps what was logged.
    """
    faults: list[Fault] = []
    for (pour_id,) in connection.execute(_OPEN).fetchall():
        found = of_pour(connection, pour_id)
        if _outlived(connection, pour_id, found):
            reopen(connection, change, pour_id)
        if not found.whole:
            continue
        for name in TAPPED_TABLES:
            rows = found.rows.get(name)
            if rows:
                checked = intake.checked(_sheet(name, rows), TABLES[name])
                outcome = store_rows(connection, checked, change)
                faults += [fault for _, fault in outcome.faults]
    return faults


def reopen(connection: duckdb.DuckDBPyConnection, change: books.Change, pour_id: str) -> None:
    """Rows that came from this pour's taps go into the history, to be derived anew."""
    for name in reversed(TAPPED_TABLES):
        mine = _mine(name, pour_id)
        books.record(connection, change, "set_aside", TABLES[name], mine)
        connection.execute(f"DELETE FROM {name} WHERE _seq IN (SELECT _seq FROM ({mine}))")


def _mine(table: str, pour_id: str) -> str:
    named = pour_id.replace("'", "''")
    return (
        f"SELECT t.* FROM {table} AS t JOIN sources AS f ON f.source_id = t._source"
        f" WHERE f.file = '{FILE}' AND t.pour_id = '{named}'"
    )


def _outlived(connection: duckdb.DuckDBPyConnection, pour_id: str, found: stamps.Derived) -> bool:
    """Whether a stored row came from taps that were taken back since, or that say it otherwise."""
    for name in TAPPED_TABLES:
        key = TABLES[name].key
        listed = ", ".join(f'CAST("{column}" AS VARCHAR)' for column in key)
        stored = connection.execute(f"SELECT {listed} FROM ({_mine(name, pour_id)})").fetchall()
        given = found.rows.get(name, []) if found.whole else []
        if not set(stored) <= {tuple(row.get(column) for column in key) for row in given}:
            return True
    return False


def of_pour(connection: duckdb.DuckDBPyConnection, pour_id: str) -> stamps.Derived:
    """What a pour's taps give, and what is still missing."""
    taps = _rows(connection, STAMPS.name, STAMPS.names, pour_id)
    jobs = _rows(connection, JOBS.name, JOBS.names, pour_id)
    return stamps.derived(pour_id, taps, jobs[0] if jobs else None)


def _rows(
    connection: duckdb.DuckDBPyConnection, table: str, names: tuple[str, ...], pour_id: str
) -> list[dict[str, Any]]:
    listed = ", ".join(f'"{name}"' for name in names)
    rows = connection.execute(
        f"SELECT {listed} FROM {table} WHERE pour_id = ? ORDER BY _seq", [pour_id]
    ).fetchall()
    return [dict(zip(names, row, strict=True)) for row in rows]


def _sheet(name: str, rows: list[stamps.Row]) -> Sheet:
    head = TABLES[name].names  # all of them: a time that was taken back is blank from then on
    columns = [
        pa.array([as_cell(row.get(column, "")) for row in rows], pa.string()) for column in head
    ]
    raw = pa.array([", ".join(f"{k}={v}" for k, v in row.items()) for row in rows], pa.string())
    return Sheet(FILE, None, list(head), columns, np.arange(1, len(rows) + 1, dtype=np.int64), raw)


def as_cell(text: str) -> str:
    """A text as a file would have it: of an apostrophe that stands before a formula's mark the
    reader takes one off."""
    return f"'{text}" if _APOSTROPHE.match(text) else text
