"""Results that took long, kept with the change counter that they were worked out at."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
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


def state(connection: duckdb.DuckDBPyConnection, *tables: str) -> str:
    """What those log tables hold (all, without any), in one short text: the same as long as no row
    of theirs comes, goes or changes, and this is the program that made it.

    Each version of a row has a place (``_seq``) of its own, which never comes twice.
    """
    parts = " UNION ALL ".join(
        f"SELECT '{name}' AS name, count(*), max(_seq), sum(_seq) FROM {name}"
        for name in tables or tuple(TABLES)
    )
    told = connection.execute(f"SELECT * FROM ({parts}) ORDER BY name").fetchall()
    return hashlib.sha256(f"{_program()} {told}".encode()).hexdigest()[:32]


@functools.cache
def _program() -> str:
    """This program's files, by name, size and date: another version works results out anew."""
    package = Path(__file__).resolve().parent.parent
    found = [
        (str(path.relative_to(package)), path.stat().st_size, path.stat().st_mtime_ns)
        for kind in ("*.py", "*.sql")
        for path in sorted(package.rglob(kind))
    ]
    return hashlib.sha256(repr(found).encode()).hexdigest()
