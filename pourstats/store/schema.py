"""The tables of a store, made from the log tables' declaration, and how an older store is upgraded.

Every log table carries where its row came from: ``_source`` and ``_line`` (file and line), ``_raw``
(the row as written), ``_bare`` (times written without a date), ``_seq`` (place in the order of
loading) and ``_born`` (the ``_seq`` it was added under: the row's own identity).
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pourstats import settings
from pourstats.logs.tables import DEPENDENTS, SQL_TYPES, TABLES, Table

if TYPE_CHECKING:
    import duckdb

VERSION = 3
"""Version 1 had no ``mappings`` and no ``kept``; 2 had no ``wind_felt`` of a pour."""

KEPT_COLUMNS = (
    "_source BIGINT", "_line BIGINT", "_raw VARCHAR", "_bare VARCHAR", "_seq BIGINT",
    "_born BIGINT",
)  # fmt: skip

DELETABLE = ("pours", *DEPENDENTS)
"""Tables whose deleted rows stay in a table of their own (``deleted_pours`` …)."""

_BOOKS = """
CREATE TABLE meta (name VARCHAR, value VARCHAR);
CREATE TABLE changes (change_id BIGINT, noted_at TIMESTAMP, command VARCHAR, detail VARCHAR,
    first_seq BIGINT, last_seq BIGINT, undone_at TIMESTAMP);
CREATE TABLE sources (source_id BIGINT, change_id BIGINT, file VARCHAR, sheet VARCHAR,
    path VARCHAR, names VARCHAR);
CREATE TABLE history (hist_seq BIGINT, noted_at TIMESTAMP, change_id BIGINT, action VARCHAR,
    table_name VARCHAR, key VARCHAR, file VARCHAR, sheet VARCHAR, line BIGINT, text VARCHAR,
    "values" VARCHAR, born BIGINT);
CREATE TABLE set_aside (aside_id BIGINT, noted_at TIMESTAMP, change_id BIGINT, seq BIGINT,
    table_name VARCHAR, file VARCHAR, sheet VARCHAR, line BIGINT, "column" VARCHAR, value VARCHAR,
    reason VARCHAR, text VARCHAR, cells VARCHAR, mark VARCHAR, key VARCHAR, pour_id VARCHAR,
    path VARCHAR, waits_for_pour BOOLEAN, state VARCHAR, closed_change BIGINT);
"""

_SINCE_2 = """
CREATE TABLE mappings (signature VARCHAR, theirs VARCHAR, ours VARCHAR, unit VARCHAR, zone VARCHAR,
    table_name VARCHAR);
CREATE TABLE kept (name VARCHAR, change_counter BIGINT, noted_at TIMESTAMP, content BLOB);
"""

_SINCE_3 = "ALTER TABLE mappings ADD COLUMN how VARCHAR"
"""How a file is read as a whole, as JSON, on a mapping's row without ``theirs``."""


def create(connection: duckdb.DuckDBPyConnection) -> None:
    """Make every table of an empty store, in one transaction."""
    connection.execute("BEGIN")
    connection.execute(_BOOKS + _SINCE_2 + _SINCE_3)
    for table in TABLES.values():
        connection.execute(f"CREATE TABLE {table.name} ({_columns(table)})")
    for name in DELETABLE:
        connection.execute(
            f"CREATE TABLE deleted_{name} ({_columns(TABLES[name])}, _change BIGINT)"
        )
    connection.execute(
        "INSERT INTO meta VALUES ('schema_version', ?), ('change_counter', '0'), ('next_seq', '1')",
        [str(VERSION)],
    )
    connection.execute("COMMIT")


def _columns(table: Table) -> str:
    declared = [f'"{column.name}" {SQL_TYPES[column.kind]}' for column in table.columns]
    return ", ".join([*declared, *KEPT_COLUMNS])


def first_row(result: duckdb.DuckDBPyConnection) -> tuple[Any, ...] | None:
    """The first row of a result, or None. Fetches all: a result left half-read blocks the next
    registration of a frame."""
    rows = result.fetchall()
    return rows[0] if rows else None


def version(connection: duckdb.DuckDBPyConnection) -> int:
    """The store's schema version; 0 for a database that is no store."""
    import duckdb

    try:
        # Asked at every opening: the catalog's own tables would take ten times as long. By their
        # full names, since a bare one that isn't there is looked for among Python's.
        row = first_row(
            connection.execute("SELECT value FROM main.meta WHERE name = 'schema_version'")
        )
        connection.execute("SELECT 1 FROM main.changes, main.pours LIMIT 0")
    except (duckdb.CatalogException, duckdb.BinderException):
        return 0
    return int(row[0]) if row is not None and str(row[0]).isdecimal() else 0


_COLUMNS = """SELECT table_name, column_name FROM duckdb_columns()
    WHERE database_name = current_database() AND schema_name = 'main' AND NOT internal"""


def lacking(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """The tables and columns of this version that a store doesn't have, in words."""
    import duckdb

    with duckdb.connect(":memory:") as fresh:
        create(fresh)
        wanted = fresh.execute(_COLUMNS + " ORDER BY table_oid, column_index").fetchall()
    found = set(connection.execute(_COLUMNS).fetchall())
    tables = {table for table, _ in found}
    gone = [
        f"the column {column} of {table}" if table in tables else f"the table {table}"
        for table, column in wanted
        if (table, column) not in found
    ]
    return list(dict.fromkeys(gone))


def is_blank(connection: duckdb.DuckDBPyConnection) -> bool:
    """Whether the database holds no table at all."""
    return connection.execute("SELECT 1 FROM duckdb_tables() LIMIT 1").fetchone() is None


def upgrade(connection: duckdb.DuckDBPyConnection) -> None:
    """Bring an older store up to this version, in one transaction; a current one is left alone."""
    found = version(connection)
    if found == VERSION:
        return
    connection.execute("BEGIN")
    if found < 2:
        connection.execute(_SINCE_2)
    if found < 3:
        connection.execute(_SINCE_3)
    for table in TABLES.values():
        for name in (table.name, *([f"deleted_{table.name}"] if table.name in DELETABLE else [])):
            for column in table.columns:
                connection.execute(
                    f'ALTER TABLE {name} ADD COLUMN IF NOT EXISTS "{column.name}"'
                    f" {SQL_TYPES[column.kind]}"
                )
    connection.execute("UPDATE meta SET value = ? WHERE name = 'schema_version'", [str(VERSION)])
    connection.execute("COMMIT")


def refresh_house(connection: duckdb.DuckDBPyConnection) -> None:
    """Lay out the one-row temporary table ``house``: every rule in force, for the measures.

    Not stored, so that a rule that a newer version declares is there in an older store too.
    """
    stored = dict(connection.execute("SELECT name, value FROM settings").fetchall())
    parts, values = [], []
    for rule in settings.RULES.values():
        text = stored.get(rule.name)
        value = settings.parsed(rule.name, text) if text else rule.default
        kind = "DOUBLE" if rule.kind == "number" else "VARCHAR"
        parts.append(f"CAST(? AS {kind}) AS {rule.name}")
        values.append(value)
    connection.execute(f"CREATE OR REPLACE TEMP TABLE house AS SELECT {', '.join(parts)}", values)


def house(connection: duckdb.DuckDBPyConnection) -> dict[str, settings.Value]:
    """Every house rule in force, by name; what is not set has its default."""
    stored = dict(connection.execute("SELECT name, value FROM settings").fetchall())
    return {
        rule.name: settings.parsed(rule.name, stored[rule.name])
        if stored.get(rule.name)
        else rule.default
        for rule in settings.RULES.values()
    }


def meta_number(connection: duckdb.DuckDBPyConnection, name: str) -> int:
    """A count kept in ``meta``."""
    row = first_row(connection.execute("SELECT value FROM meta WHERE name = ?", [name]))
    return int(row[0]) if row is not None else 0


def set_meta(connection: duckdb.DuckDBPyConnection, name: str, value: int) -> None:
    """Keep a count in ``meta``."""
    connection.execute("UPDATE meta SET value = ? WHERE name = ?", [str(value), name])


def names_json(names: tuple[str, ...]) -> str:
    """A file's columns as kept with its source."""
    return json.dumps(list(names))
