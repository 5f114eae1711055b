"""What a load changes beside its own rows: rows taken up once their pour comes, and bare times
dated anew when a pour's date is corrected."""

from __future__ import annotations

import json
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from pourstats.logs import clocks, intake
from pourstats.logs.cell import quoted
from pourstats.logs.checked import Checked
from pourstats.logs.tables import TABLES, Table
from pourstats.store import books
from pourstats.store.comparing import array, bare_clocks
from pourstats.store.rows import store_rows
from pourstats.store.schema import first_row

if TYPE_CHECKING:
    import duckdb

    from pourstats.store.report import Report


def changed(connection: duckdb.DuckDBPyConnection, change: books.Change, first_seq: int) -> bool:
    """Whether rows were added or replaced from a place in the order of loading on."""
    for table in TABLES.values():
        row = first_row(
            connection.execute(f"SELECT 1 FROM {table.name} WHERE _seq >= ? LIMIT 1", [first_seq])
        )
        if row is not None:
            return True
    return False


def take_up(
    connection: duckdb.DuckDBPyConnection, change: books.Change, table: Table, report: Report
) -> None:
    """Store the rows that waited for a pour that has come, in their original order."""
    waiting = connection.execute(
        """SELECT s.aside_id, s.seq, s.cells, s.file, s.sheet, s.line, s.text
           FROM set_aside AS s JOIN pours AS p ON p.pour_id = s.pour_id
           WHERE s.state = 'open' AND s.waits_for_pour AND s.table_name = ? ORDER BY s.seq""",
        [table.name],
    ).fetchall()
    if not waiting:
        return
    ids = [entry[0] for entry in waiting]
    connection.register("taken", pa.table({"aside_id": pa.array(ids, pa.int64())}))
    connection.execute(
        """UPDATE set_aside SET state = 'taken_up', closed_change = ?
           WHERE aside_id IN (SELECT aside_id FROM taken)""", [change.number],
    )  # fmt: skip
    connection.unregister("taken")
    for (file, sheet, _), group in groupby(waiting, key=lambda e: (e[3], e[4], _manner(e[2]))):
        rows = list(group)
        text = intake.sheet_from_cells(
            [row[2] for row in rows], file, sheet, [row[5] for row in rows],
            [row[6] for row in rows],
        )  # fmt: skip
        ready = intake.checked(text, table)
        seqs = np.array([row[1] for row in rows], dtype=np.int64)
        outcome = store_rows(connection, ready, change, seqs)
        report.counts(table.name)["taken_up"] += len(rows) - outcome.set_aside
        report.set_aside += [fault for _, fault in outcome.faults]
        report.warnings += outcome.warnings


def _manner(cells: str) -> str:
    """What rows must share to be read as one sheet: header, comma and kind."""
    kept = json.loads(cells)
    return json.dumps([kept["head"], kept["comma"], kept["typed"]])


def resolve_anew(
    connection: duckdb.DuckDBPyConnection, change: books.Change, moved: list[str], report: Report
) -> None:
    """Date the bare times of corrected pours' rows again, as replacements; a row whose times no
    longer hold is set aside."""
    if not moved:
        return
    connection.register("moved", pa.table({"pour_id": pa.array(moved, pa.string())}))
    connection.execute("CREATE OR REPLACE TEMP TABLE moved_pours AS SELECT * FROM moved")
    connection.unregister("moved")
    for name in ("trucks", "passes", "crew_time"):
        _resolve_table(connection, change, TABLES[name], report)


def _resolve_table(
    connection: duckdb.DuckDBPyConnection, change: books.Change, table: Table, report: Report
) -> None:
    found = connection.sql(
        f"""SELECT t.*, p.date AS _day, p.place_start AS _start FROM {table.name} AS t
            JOIN moved_pours USING (pour_id) JOIN pours AS p USING (pour_id)
            WHERE t._bare IS NOT NULL ORDER BY t._seq"""
    ).to_arrow_table()
    if found.num_rows == 0:
        return
    names = [column.name for column in table.columns if column.kind == "time"]
    bare_of = [bare_clocks(text) for text in found["_bare"].to_pylist()]
    bare = {n: np.array([b.get(n, -1) for b in bare_of], np.int32) for n in names}
    times = {n: array(found[n]).astype("datetime64[us]") for n in names}
    stood = {n: np.where(bare[n] >= 0, clocks.NONE, times[n]) for n in names}
    task = np.array(found["task"].to_pylist(), object) if table.name == "crew_time" else None
    after, broken = clocks.resolved(
        table, stood, bare, array(found["_day"]).astype("datetime64[D]"),
        array(found["_start"]).astype("datetime64[us]"), task,
    )  # fmt: skip
    bad = np.zeros(found.num_rows, dtype=bool)
    for rule in broken:
        bad |= rule.rows
    differs = bad.copy()
    for n in names:
        differs |= (after[n] != times[n]) & ~(np.isnat(after[n]) & np.isnat(times[n]))
    if not differs.any():
        return
    born = array(found["_born"])
    places = pa.table({
        "_born": pa.array(born[differs]),
        "bad": pa.array(bad[differs]),
        **{n: pa.array(after[n][differs], pa.timestamp("us")) for n in names},
    })  # fmt: skip
    connection.register("placed", places)
    connection.execute("CREATE OR REPLACE TEMP TABLE placed_anew AS SELECT * FROM placed")
    connection.unregister("placed")
    books.record(
        connection, change, "replaced", table,
        f"SELECT t.* FROM {table.name} AS t JOIN placed_anew AS a ON a._born = t._born"
        " WHERE NOT a.bad",
    )  # fmt: skip
    books.record(
        connection, change, "set_aside", table,
        f"SELECT t.* FROM {table.name} AS t JOIN placed_anew AS a ON a._born = t._born WHERE a.bad",
    )  # fmt: skip
    sets = ", ".join(f'"{n}" = a."{n}"' for n in names)
    connection.execute(
        f"UPDATE {table.name} AS t SET {sets} FROM placed_anew AS a"
        " WHERE a._born = t._born AND NOT a.bad"
    )
    for rule in broken:
        _put_aside(connection, change, table, found, rule, report)
    connection.execute(
        f"DELETE FROM {table.name} WHERE _born IN (SELECT _born FROM placed_anew WHERE bad)"
    )
    if set(names) & set(table.key):
        _keep_newest(connection, change, table)


def _keep_newest(connection: duckdb.DuckDBPyConnection, change: books.Change, table: Table) -> None:
    """Where a moved row now has the key of another, the newer one replaces the older."""
    keys = ", ".join(f't."{name}"' for name in table.key)
    older = (
        f"SELECT t._born, row_number() OVER (PARTITION BY {keys} ORDER BY t._seq DESC) AS place"
        f" FROM {table.name} AS t JOIN moved_pours USING (pour_id)"
    )
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE outdone AS SELECT _born FROM ({older}) WHERE place > 1"
    )
    rows = f"SELECT * FROM {table.name} WHERE _born IN (SELECT _born FROM outdone)"
    books.record(connection, change, "replaced", table, rows)
    connection.execute(f"DELETE FROM {table.name} WHERE _born IN (SELECT _born FROM outdone)")


def _put_aside(
    connection: duckdb.DuckDBPyConnection,
    change: books.Change,
    table: Table,
    found: Any,
    rule: clocks.Broken,
    report: Report,
) -> None:
    from pourstats.faults import Fault

    entries = []
    sources = {
        number: (file, sheet)
        for number, file, sheet in connection.execute(
            "SELECT source_id, file, sheet FROM sources"
        ).fetchall()
    }
    for row in np.flatnonzero(rule.rows):
        kept = found.slice(int(row), 1).to_pylist()[0]
        file, sheet = sources.get(kept["_source"], ("the store", None))
        text = f"{bare_clocks(kept['_bare']).get(rule.column, 0) // 3600}:" + (
            f"{bare_clocks(kept['_bare']).get(rule.column, 0) // 60 % 60:02d}"
        )
        reason = f"{quoted(text)} {rule.reason} (its pour's date was corrected)"
        report.set_aside.append(Fault(file, kept["_line"], rule.column, text, reason, sheet))
        entries.append({
            "seq": kept["_seq"], "table_name": table.name, "file": file, "sheet": sheet,
            "line": kept["_line"], "column": rule.column, "value": text, "reason": reason,
            "text": kept["_raw"], "cells": None, "mark": f"{table.name}|{kept['_born']}",
            "key": None, "pour_id": kept["pour_id"], "waits_for_pour": False,
        })  # fmt: skip
    books.set_aside(connection, change, entries)


def forget_mended(
    connection: duckdb.DuckDBPyConnection, change: books.Change, rows: Checked
) -> None:
    """A row that was set aside from a file and no longer stands there has been mended."""
    open_ones = first_row(
        connection.execute(
            """SELECT 1 FROM set_aside WHERE state = 'open' AND path = ? AND change_id <> ?
           AND coalesce(sheet, '') = coalesce(?, '') LIMIT 1""",
            [change.path, change.number, rows.sheet],
        )
    )
    if open_ones is None:
        return
    import hashlib

    still = {
        hashlib.md5(f"{rows.table.name}|{rows.cells(row)}".encode()).hexdigest()
        for row in {row for row, _ in rows.faults}
    }
    connection.register("still", pa.table({"mark": pa.array(sorted(still), pa.string())}))
    connection.execute(
        """UPDATE set_aside SET state = 'mended', closed_change = ?
           WHERE state = 'open' AND path = ? AND change_id <> ? AND NOT waits_for_pour
             AND coalesce(sheet, '') = coalesce(?, '') AND cells IS NOT NULL
             AND table_name = ? AND mark NOT IN (SELECT mark FROM still)""",
        [change.number, change.path, change.number, rows.sheet, rows.table.name],
    )
    connection.execute(
        """UPDATE set_aside SET state = 'mended', closed_change = ?
           WHERE state = 'open' AND path = ? AND change_id <> ? AND line IS NULL""",
        [change.number, change.path, change.number],
    )
    connection.unregister("still")
