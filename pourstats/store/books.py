"""The store's books: changes, sources, history and set-aside rows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pourstats.logs.tables import Table
from pourstats.store.schema import first_row, meta_number, names_json, set_meta

if TYPE_CHECKING:
    import duckdb

    from pourstats.logs.checked import Checked


@dataclass
class Change:
    """One thing a user did to the store; all its rows carry sequence numbers of its range."""

    number: int
    command: str
    detail: str
    path: str | None = None

    def take(self, connection: duckdb.DuckDBPyConnection, count: int) -> NDArray[np.int64]:
        """The next ``count`` places in the order of loading."""
        first = meta_number(connection, "next_seq")
        set_meta(connection, "next_seq", first + count)
        return np.arange(first, first + count, dtype=np.int64)


def begin(
    connection: duckdb.DuckDBPyConnection, command: str, detail: str, number: int | None = None
) -> Change:
    """A new change, or the going on of one that spans several transactions."""
    if number is None:
        row = first_row(connection.execute("SELECT coalesce(max(change_id), 0) + 1 FROM changes"))
        assert row is not None
        number = int(row[0])
    return Change(number, command, detail)


def finish(connection: duckdb.DuckDBPyConnection, change: Change, first_seq: int) -> None:
    """Write the change down, or extend it; caches see the counter move."""
    last = meta_number(connection, "next_seq") - 1
    known = first_row(
        connection.execute("SELECT 1 FROM changes WHERE change_id = ?", [change.number])
    )
    if known is None:
        connection.execute(
            "INSERT INTO changes VALUES (?, ?, ?, ?, ?, ?, NULL)",
            [change.number, now(), change.command, change.detail, first_seq, last],
        )
    else:
        connection.execute(
            "UPDATE changes SET last_seq = ?, detail = ? WHERE change_id = ?",
            [last, change.detail, change.number],
        )
    touch(connection)


def touch(connection: duckdb.DuckDBPyConnection) -> None:
    """Move the change counter, so that caches know."""
    set_meta(connection, "change_counter", meta_number(connection, "change_counter") + 1)


def now() -> dt.datetime:
    """Local wall-clock time, to the second."""
    return dt.datetime.now().replace(microsecond=0)


def source(connection: duckdb.DuckDBPyConnection, change: Change, rows: Checked) -> int:
    """The number of the file or sheet that rows come from."""
    row = first_row(connection.execute("SELECT coalesce(max(source_id), 0) + 1 FROM sources"))
    assert row is not None
    connection.execute(
        "INSERT INTO sources VALUES (?, ?, ?, ?, ?, ?)",
        [row[0], change.number, rows.file, rows.sheet, change.path, names_json(rows.names)],
    )
    return int(row[0])


def key_text(table: Table, alias: str) -> str:
    """SQL for a row's key as one JSON list of texts."""
    parts = []
    for name in table.key:
        kind = table.column(name).kind
        column = f'{alias}."{name}"'
        if kind == "time":
            parts.append(f"strftime({column}, '%Y-%m-%dT%H:%M:%S')")
        else:
            parts.append(f"coalesce(CAST({column} AS VARCHAR), '')")
    return f"replace(CAST(to_json([{', '.join(parts)}]) AS VARCHAR), '\",\"', '\", \"')"


def record(
    connection: duckdb.DuckDBPyConnection, change: Change, action: str, table: Table, rows: str
) -> None:
    """Keep the versions that a query over the table gives, as they were, with file and line."""
    fields = ", ".join(f'"{name}" := r."{name}"' for name in table.names)
    kept = ", ".join(f'"{name}" := r."{name}"' for name in
                     ("_source", "_line", "_raw", "_bare", "_seq", "_born"))  # fmt: skip
    connection.execute(
        f"""INSERT INTO history
            SELECT coalesce((SELECT max(hist_seq) FROM history), 0)
                       + row_number() OVER (ORDER BY r._seq), ?, ?, ?, ?,
                   {key_text(table, "r")}, s.file, s.sheet, r._line, r._raw,
                   CAST(to_json(struct_pack({fields}, {kept})) AS VARCHAR), r._born
            FROM ({rows}) AS r LEFT JOIN sources AS s ON s.source_id = r._source""",
        [now(), change.number, action, table.name],
    )


_ENTRY = (
    ("seq", pa.int64()), ("table_name", pa.string()), ("file", pa.string()),
    ("sheet", pa.string()), ("line", pa.int64()), ("column", pa.string()), ("value", pa.string()),
    ("reason", pa.string()), ("text", pa.string()), ("cells", pa.string()), ("mark", pa.string()),
    ("key", pa.string()), ("pour_id", pa.string()), ("waits_for_pour", pa.bool_()),
)  # fmt: skip


def set_aside(
    connection: duckdb.DuckDBPyConnection, change: Change, entries: list[dict[str, Any]]
) -> None:
    """Keep rows that broke a rule. A row that already lies there, open, is kept once."""
    if not entries:
        return
    table = pa.table(
        {name: pa.array([entry.get(name) for entry in entries], kind) for name, kind in _ENTRY}
    )
    connection.register("entries", table)
    connection.execute(
        """INSERT INTO set_aside
           SELECT coalesce((SELECT max(aside_id) FROM set_aside), 0)
                      + row_number() OVER (ORDER BY e.seq),
                  ?, ?, e.seq, e.table_name, e.file, e.sheet, e.line, e."column", e.value, e.reason,
                  e.text, e.cells, e.mark, e.key, e.pour_id, ?, e.waits_for_pour, 'open', NULL
           FROM (SELECT *, min(seq) OVER (PARTITION BY mark) AS first_seq FROM entries) AS e
           WHERE e.seq = e.first_seq AND e.mark NOT IN
               (SELECT mark FROM set_aside WHERE state = 'open' AND mark IS NOT NULL)""",
        [now(), change.number, change.path],
    )
    connection.unregister("entries")
