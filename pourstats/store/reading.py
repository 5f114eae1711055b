"""Any log table, book or measure of the store by name → a frame."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
from pourstats.store import measures

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

BOOKS: dict[str, str] = {
    "set_aside": """SELECT file, sheet, line, "column", reason, value, text,
        table_name AS "table", noted_at FROM set_aside WHERE state = 'open' ORDER BY aside_id""",
    "history": """SELECT noted_at, action, "table", key, file, sheet, line, text, "values" FROM (
            SELECT noted_at, action, table_name AS "table", key, file, sheet, line, text,
                   "values", change_id, hist_seq AS place FROM history
            UNION ALL
            SELECT noted_at, CASE state WHEN 'open' THEN 'set_aside' ELSE state END, table_name,
                   key, file, sheet, line, text, reason, change_id, seq FROM set_aside)
        ORDER BY change_id, noted_at, place""",
    "changes": """SELECT change_id, noted_at, command, detail, undone_at FROM changes
        ORDER BY change_id""",
}
"""The store's own books, each with its query."""

NAMES: tuple[str, ...] = (*TABLES, *BOOKS, *measures.MEASURES)
"""Everything that `pourstats table` takes."""


def frame(connection: duckdb.DuckDBPyConnection, name: str) -> pd.DataFrame:
    """The whole table or measure, in house units; log tables in the order of loading.

    Raises Refusal for a name that is neither.
    """
    if name in TABLES:
        listed = ", ".join(f'"{column}"' for column in TABLES[name].names)
        return connection.execute(f"SELECT {listed} FROM {name} ORDER BY _seq").df()
    if name in BOOKS:
        return connection.execute(BOOKS[name]).df()
    if name in measures.MEASURES:
        measures.define(connection, name)
        return measures.frame(connection, name)
    near = get_close_matches(name, NAMES, n=1)
    hint = f"did you mean {near[0]}?" if near else "it takes " + ", ".join(NAMES)
    raise Refusal(f"no table or measure is called {name!r}; {hint}")


def frames(connection: duckdb.DuckDBPyConnection, *names: str) -> dict[str, pd.DataFrame]:
    """Several of them by name."""
    counted = [name for name in names if name in measures.MEASURES]
    found = {name: frame(connection, name) for name in names if name not in counted}
    return {**found, **(measures.frames(connection, *counted) if counted else {})}


def deleted_pours(connection: duckdb.DuckDBPyConnection) -> frozenset[str]:
    """The ids of the pours that were deleted and not brought back."""
    rows = connection.execute("SELECT pour_id FROM deleted_pours").fetchall()
    return frozenset(str(pour_id) for (pour_id,) in rows)
