"""Results that took long, kept with the change counter that they were worked out at."""

from __future__ import annotations

import contextlib
import json
from typing import TYPE_CHECKING, Any

from pourstats.faults import Refusal
from pourstats.store import books
from pourstats.store.database import Store
from pourstats.store.schema import first_row, meta_number

if TYPE_CHECKING:
    import duckdb

PATIENCE_S = 1.0
"""A result that can't be kept at once is told all the same."""


def keep(store: Store, name: str, result: Any, counter: int) -> None:
    """Keep a result under its name; an earlier one goes. Not kept where the store is held."""
    with (
        contextlib.suppress(Refusal),
        Store(store.path, PATIENCE_S).write(create=False) as connection,
    ):
        connection.execute("BEGIN")
        connection.execute("DELETE FROM kept WHERE name = ?", [name])
        connection.execute(
            "INSERT INTO kept VALUES (?, ?, ?, ?)",
            [name, counter, books.now(), json.dumps(result).encode()],
        )
        connection.execute("COMMIT")


def read(connection: duckdb.DuckDBPyConnection, name: str) -> tuple[Any, bool] | None:
    """(result, whether the store has not changed since), or None if none is kept."""
    row = first_row(
        connection.execute("SELECT content, change_counter FROM kept WHERE name = ?", [name])
    )
    if row is None:
        return None
    return json.loads(bytes(row[0])), row[1] == meta_number(connection, "change_counter")
