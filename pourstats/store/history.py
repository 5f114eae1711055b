"""Deleting a pour and taking back the last change: rows move aside, none is ever lost."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from pourstats.faults import Refusal
from pourstats.logs.intake import ARROW_TYPES
from pourstats.logs.tables import DEPENDENTS, SQL_TYPES, TABLES, Table
from pourstats.store import books
from pourstats.store.database import Store
from pourstats.store.schema import DELETABLE, first_row, meta_number

if TYPE_CHECKING:
    import duckdb

KEPT = {
    "_source": pa.int64(), "_line": pa.int64(), "_raw": pa.string(), "_bare": pa.string(),
    "_seq": pa.int64(), "_born": pa.int64(),
}  # fmt: skip


def delete(store: Store, pour_id: str) -> dict[str, int]:
    """Take a pour away with its loads, passes, crew time and callbacks; how many rows a table.

    Bids and jobs ahead stay: they stand without a pour. Raises Refusal if there is no such pour.
    """
    with store.write(create=False) as connection:
        here = first_row(connection.execute("SELECT 1 FROM pours WHERE pour_id = ?", [pour_id]))
        if here is None:
            ids = [name for (name,) in connection.execute("SELECT pour_id FROM pours").fetchall()]
            raise Refusal(f"no pour {pour_id!r} is stored{near_ids(pour_id, ids)}", 1)
        connection.execute("BEGIN")
        first = meta_number(connection, "next_seq")
        change = books.begin(connection, "delete", pour_id)
        counts: dict[str, int] = {}
        for name in DELETABLE:
            count = _moved_aside(connection, change, TABLES[name], f"pour_id = {_literal(pour_id)}")
            if count:
                counts[name] = count
        books.finish(connection, change, first)
        connection.execute("COMMIT")
        return counts


def delete_row(store: Store, pour_id: str, name: str, key: Sequence[str]) -> dict[str, int]:
    """Take one load, pass, stretch of crew time or callback away; how many rows a table.

    ``key`` is what tells it apart within its pour: the ticket, the pass number, the callback's id,
    or worker, task and start. Raises Refusal if there is none.
    """
    table = TABLES.get(name)
    if table is None or name not in DEPENDENTS:
        raise Refusal(f"rows of {name!r} can't be taken away; of {', '.join(DEPENDENTS)} they can")
    parts = [part for part in table.key if part != "pour_id"]
    if len(key) != len(parts):
        raise Refusal(f"a row of {name} is named by {', '.join(parts)}, each in quotes if it has"
                      " blanks")  # fmt: skip
    wanted = [pour_id, *(text.replace("T", " ") if table.column(part).kind == "time" else text
                         for part, text in zip(parts, key, strict=True))]  # fmt: skip
    where = " AND ".join(
        f"{_key_text(table, part)} = {_literal(text)}"
        for part, text in zip(["pour_id", *parts], wanted, strict=True)
    )
    with store.write(create=False) as connection:
        if first_row(connection.execute(f"SELECT 1 FROM {name} WHERE {where}")) is None:
            raise Refusal(f"{pour_id} has no such row of {name}; `pourstats table {name}` lists"
                          " them", 1)  # fmt: skip
        connection.execute("BEGIN")
        first = meta_number(connection, "next_seq")
        change = books.begin(connection, "delete", " ".join([pour_id, name, *key]))
        counts = {name: _moved_aside(connection, change, table, where)}
        books.finish(connection, change, first)
        connection.execute("COMMIT")
        return counts


def _key_text(table: Table, name: str) -> str:
    if table.column(name).kind == "time":
        return f"strftime(\"{name}\", '%Y-%m-%d %H:%M')"
    return f'CAST("{name}" AS VARCHAR)'


def _moved_aside(
    connection: duckdb.DuckDBPyConnection, change: books.Change, table: Table, where: str
) -> int:
    """Move rows to the table's deleted ones; how many."""
    name, listed = table.name, _listed(table)
    books.record(connection, change, "deleted", table, f"SELECT * FROM {name} WHERE {where}")
    connection.execute(
        f"""INSERT INTO deleted_{name} ({listed}, _change)
            SELECT {listed}, ? FROM {name} WHERE {where} ORDER BY _seq""",
        [change.number],
    )
    row = first_row(connection.execute(f"DELETE FROM {name} WHERE {where}"))
    return int(row[0]) if row else 0


def near_ids(name: str, ids: list[str]) -> str:
    """``; did you mean …?`` for an id that isn't there, or where to look."""
    from difflib import get_close_matches

    alike = [known for known in ids if known.lower() == name.lower()]
    near = alike or get_close_matches(name, ids, n=3, cutoff=0.5)
    if not near:
        return "; `pourstats table pours` lists them"
    return f"; did you mean {' or '.join(near)}?"


def undo(store: Store) -> str:
    """Take back the last change that still stands; says what it was.

    Raises Refusal (status 1) if there is none.
    """
    with store.write(create=False) as connection:
        row = first_row(
            connection.execute(
                """SELECT change_id, noted_at, command, detail, first_seq, last_seq FROM changes
               WHERE undone_at IS NULL ORDER BY change_id DESC LIMIT 1"""
            )
        )
        if row is None:
            raise Refusal("there is no change to take back", status=1)
        number, at, command, detail, first, last = row
        if command == "restore":
            raise Refusal(
                f"the last change was a restore; the store that it replaced lies at {detail}:"
                f" `pourstats restore {detail}` puts it back"
            )
        connection.execute("BEGIN")
        counts: dict[str, int] = {}
        if command == "delete":
            _bring_back(connection, number, counts)
        _take_out(connection, number, first, last, counts)
        _restore_versions(connection, number, first, counts)
        _reopen_set_aside(connection, number)
        connection.execute(
            "UPDATE changes SET undone_at = ? WHERE change_id = ?", [books.now(), number]
        )
        books.touch(connection)
        connection.execute("COMMIT")
    told = ", ".join(f"{count} {name}" for name, count in counts.items()) or "no stored rows"
    return f"taken back: {command} {detail} of {at:%Y-%m-%d %H:%M} ({told})"


def _bring_back(connection: duckdb.DuckDBPyConnection, number: int, counts: dict[str, int]) -> None:
    for name in DELETABLE:
        listed = _listed(TABLES[name])
        connection.execute(
            f"""INSERT INTO {name} ({listed})
                SELECT {listed} FROM deleted_{name} WHERE _change = ? ORDER BY _seq""",
            [number],
        )
        row = first_row(
            connection.execute(f"DELETE FROM deleted_{name} WHERE _change = ?", [number])
        )
        if row and row[0]:
            counts[name] = int(row[0])


def _take_out(
    connection: duckdb.DuckDBPyConnection, number: int, first: int, last: int,
    counts: dict[str, int],
) -> None:  # fmt: skip
    """Rows that the change added go, into the history. Rows it took up go back to waiting."""
    change = books.Change(number, "undo", "")
    for table in TABLES.values():
        born = f"SELECT * FROM {table.name} WHERE {_added(number, first, last, table)}"
        found = first_row(connection.execute(f"SELECT count(*) FROM ({born})"))
        if not found or not found[0]:
            continue
        books.record(connection, change, "undone", table, born)
        connection.execute(f"DELETE FROM {table.name} WHERE {_added(number, first, last, table)}")
        counts[table.name] = counts.get(table.name, 0) + int(found[0])


def _added(number: int, first: int, last: int, table: Table) -> str:
    taken = ""
    if table.name in DEPENDENTS:
        taken = (
            f" OR _born IN (SELECT seq FROM set_aside WHERE closed_change = {number}"
            f" AND state = 'taken_up' AND table_name = '{table.name}')"
        )
    # Another program's rows may lie within the range; their source tells them apart.
    own = f"_source IN (SELECT source_id FROM sources WHERE change_id = {number})"
    return f"((_born BETWEEN {first} AND {last} AND {own}){taken})"


def _restore_versions(
    connection: duckdb.DuckDBPyConnection, number: int, first: int, counts: dict[str, int]
) -> None:
    """Rows that the change replaced or set aside get their version of before it back. What it had
    taken up itself was not stored before, and waits again."""
    found = connection.execute(
        """SELECT table_name, born, "values" FROM history AS h
           WHERE change_id = ? AND action IN ('replaced', 'set_aside') AND born < ?
             AND NOT EXISTS (SELECT 1 FROM set_aside AS s WHERE s.closed_change = h.change_id
                AND s.state = 'taken_up' AND s.table_name = h.table_name AND s.seq = h.born)
           ORDER BY hist_seq""",
        [number, first],
    ).fetchall()
    earliest: dict[tuple[str, int], str] = {}
    for name, born, values in found:
        earliest.setdefault((name, born), values)
    by_table: dict[str, list[dict[str, Any]]] = {}
    for (name, _), values in earliest.items():
        by_table.setdefault(name, []).append(json.loads(values))
    for name, versions in by_table.items():
        table = TABLES[name]
        arrays = {
            c.name: _typed([v.get(c.name) for v in versions], ARROW_TYPES[SQL_TYPES[c.kind]])
            for c in table.columns
        }
        arrays |= {k: pa.array([v.get(k) for v in versions], kind) for k, kind in KEPT.items()}
        connection.register("versions", pa.table(arrays))
        connection.execute(f"DELETE FROM {name} WHERE _born IN (SELECT _born FROM versions)")
        connection.execute(
            f"INSERT INTO {name} ({_listed(table)}) SELECT {_listed(table)} FROM versions"
        )
        connection.unregister("versions")
        counts[name] = counts.get(name, 0) + len(versions)


def _typed(texts: list[Any], kind: Any) -> Any:
    """Values of a history entry, whose dates and times are text there, as the column's type."""
    if kind == pa.date32():
        return pa.array(texts, pa.string()).cast(kind)
    if pa.types.is_timestamp(kind):
        return pa.array(texts, pa.string()).cast(kind)
    return pa.array(texts, kind)


def _reopen_set_aside(connection: duckdb.DuckDBPyConnection, number: int) -> None:
    connection.execute(
        "UPDATE set_aside SET state = 'open', closed_change = NULL WHERE closed_change = ?",
        [number],
    )
    connection.execute(
        "UPDATE set_aside SET state = 'undone', closed_change = ? WHERE change_id = ?"
        " AND state = 'open'",
        [number, number],
    )


def _listed(table: Table) -> str:
    return ", ".join(f'"{name}"' for name in (*table.names, *KEPT))


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
