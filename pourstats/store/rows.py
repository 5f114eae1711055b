"""Checked rows → stored rows: added, replaced, unchanged or set aside, and nothing lost.

Rows of a file are taken in order, as if loaded one at a time. Whole files go by SQL; only keys that
occur twice in one file are folded row by row.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pourstats.logs.cell import quoted
from pourstats.logs.checked import Checked
from pourstats.logs.intake import ARROW_TYPES
from pourstats.logs.tables import SQL_TYPES
from pourstats.store import books
from pourstats.store.comparing import near, on, same
from pourstats.store.dating import Dating
from pourstats.store.report import Outcome
from pourstats.store.schema import DELETABLE, first_row

if TYPE_CHECKING:
    import duckdb


def store_rows(
    connection: duckdb.DuckDBPyConnection,
    rows: Checked,
    change: books.Change,
    seqs: NDArray[np.int64] | None = None,
) -> Outcome:
    """Store the rows of one sheet, inside the caller's transaction.

    ``seqs`` are the rows' places in the order of loading where they already have them (rows that
    were set aside earlier); else they get the next ones.
    """
    return _Storing(connection, rows, change, seqs).outcome()


class _Storing(Dating):
    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        rows: Checked,
        change: books.Change,
        seqs: NDArray[np.int64] | None,
    ) -> None:
        super().__init__(connection, rows)
        self.change = change
        self.earlier = seqs is not None
        self.seqs = change.take(connection, rows.read) if seqs is None else seqs
        self.result = Outcome(read=rows.read)
        self.written = [name for name in self.table.names if name in rows.names]

    def outcome(self) -> Outcome:
        if self.rows.read:
            deleted_pour = self.resolve()
            source = books.source(self.connection, self.change, self.rows)
            self._stage(source, deleted_pour)
            self._classify()
        self._keep_set_aside()
        done = self.result
        done.set_aside = len({row for row, _ in self.rows.faults})
        done.faults = self.rows.faults
        return done

    # Staging ------------------------------------------------------------------------------------

    def _stage(self, source: int, deleted_pour: NDArray[np.bool_]) -> None:
        rows = self.rows
        kept = np.flatnonzero(rows.whole)
        chosen = pa.array(kept)
        columns: dict[str, Any] = {}
        for column in self.table.columns:
            if column.name in self.resolved:
                array = pa.array(self.resolved[column.name], pa.timestamp("us"))
            elif column.name in rows.columns:
                array = rows.columns[column.name]
            elif column.name in self.table.key:
                array = pa.nulls(rows.read, ARROW_TYPES[SQL_TYPES[column.kind]])
            else:
                continue
            columns[column.name] = array.take(chosen)
        self.stored = list(columns)
        columns["_i"] = chosen
        columns["_source"] = pa.array(np.full(len(kept), source))
        columns["_line"] = pa.array(rows.lines[kept])
        columns["_raw"] = rows.raw.take(chosen)
        columns["_bare"] = self.bare_texts().take(chosen)
        columns["_seq"] = pa.array(self.seqs[kept])
        columns["_gone"] = pa.array(deleted_pour[kept])
        self.staged = pa.table(columns)

    # Comparing ----------------------------------------------------------------------------------

    def _classify(self) -> None:
        if self.staged.num_rows == 0:
            return
        connection, table = self.connection, self.table.name
        connection.register("staged", self.staged)
        connection.execute("CREATE OR REPLACE TEMP TABLE incoming AS SELECT * FROM staged")
        connection.unregister("staged")
        keys = ", ".join(f'"{name}"' for name in self.table.key)
        connection.execute(
            f"""CREATE OR REPLACE TEMP TABLE often AS
                SELECT {keys} FROM incoming GROUP BY {keys} HAVING count(*) > 1"""
        )
        alike = same(self.table, self.written, "i", "t")
        gone = (
            f"LEFT JOIN deleted_{table} AS d ON {on(self.table.key, 'i', 'd')}"
            if table in DELETABLE
            else ""
        )
        alike_gone = same(self.table, self.written, "i", "d") if gone else "false"
        connection.execute(
            f"""CREATE OR REPLACE TEMP TABLE fate AS
                SELECT i._i, t._born AS born,
                    CASE WHEN o.repeated THEN 'repeated'
                         WHEN {"t._seq > i._seq" if self.earlier else "false"} THEN 'older'
                         WHEN t._seq IS NOT NULL AND ({alike}) THEN 'unchanged'
                         WHEN t._seq IS NOT NULL THEN 'replaced'
                         WHEN {"d._seq IS NOT NULL" if gone else "false"} AND ({alike_gone})
                             THEN 'gone'
                         WHEN {"d._seq IS NOT NULL OR i._gone" if gone else "false"} THEN 'refused'
                         ELSE 'added' END AS fate
                FROM incoming AS i LEFT JOIN {table} AS t ON {on(self.table.key, "i", "t")} {gone}
                LEFT JOIN (SELECT *, true AS repeated FROM often) AS o
                    ON {on(self.table.key, "i", "o")}
                QUALIFY row_number() OVER (PARTITION BY i._i ORDER BY
                    {"d._change DESC" if gone else "i._i"}) = 1"""
        )
        fates = dict(connection.execute("SELECT fate, count(*) FROM fate GROUP BY fate").fetchall())
        if fates.get("repeated"):
            self._fold()
        self._refuse("fate")
        if fates.get("added"):
            self._add("fate")
        if fates.get("replaced"):
            self._replace("fate")
        self.result.unchanged += fates.get("unchanged", 0)
        self._mend()

    def _refuse(self, fate: str) -> None:
        """Rows that were deleted: met again unchanged they stay so, changed they are set aside."""
        found = self.connection.execute(
            f"""SELECT f._i, f.fate, i._gone FROM {fate} AS f JOIN incoming AS i USING (_i)
                WHERE f.fate IN ('gone', 'refused') ORDER BY f._i"""
        ).fetchall()
        gone = [row for row, what, _ in found if what == "gone"]
        if gone:
            self.result.unchanged += len(gone)
            self.result.warnings.append(
                f"{self.rows.file}: {len(gone)} rows of {self.table.name} were deleted and stay"
                " deleted (`pourstats undo` brings back the last deletion)"
            )
        for row, what, whole_pour in found:
            if what == "refused":
                self._set_aside_deleted(row, whole_pour)

    def _set_aside_deleted(self, row: int, whole_pour: bool) -> None:
        ids = self.rows.columns["pour_id"]
        name = ids[row].as_py()
        if not whole_pour and self.table.name != "pours":
            name = " ".join(json.loads(self._key(row) or "[]")) or name
        self.rows.fault(
            row, self.table.key[0], name,
            f"{quoted(str(name))} was deleted, and this row is not the one that was; undo the"
            " deletion first, or give the row an id of its own",
        )  # fmt: skip

    def _add(self, fate: str) -> None:
        columns = [*self.stored, "_source", "_line", "_raw", "_bare", "_seq"]
        listed = ", ".join(f'"{name}"' for name in columns)
        picked = ", ".join(f'i."{name}"' for name in columns)
        self.connection.execute(
            f"""INSERT INTO {self.table.name} ({listed}, _born)
                SELECT {picked}, i._seq FROM incoming AS i JOIN {fate} AS f USING (_i)
                WHERE f.fate = 'added' ORDER BY i._i"""
        )
        self.result.added += self._count(fate, "added")

    def _replace(self, fate: str) -> None:
        connection, table = self.connection, self.table.name
        if table == "pours":
            moved = connection.execute(
                f"""SELECT i.pour_id FROM incoming AS i JOIN {fate} AS f USING (_i)
                    JOIN pours AS t ON t._born = f.born WHERE f.fate = 'replaced'
                    AND (t.date IS DISTINCT FROM i.date OR
                         {
                    "t.place_start IS DISTINCT FROM i.place_start"
                    if "place_start" in self.stored
                    else "false"
                })"""
            ).fetchall()
            self.result.moved_pours += [name for (name,) in moved]
        books.record(
            connection, self.change, "replaced", self.table,
            f"SELECT t.* FROM {table} AS t JOIN {fate} AS f ON f.born = t._born"
            " WHERE f.fate = 'replaced'",
        )  # fmt: skip
        lacking = [name for name in self.times if name not in self.written]
        bare = "i._bare"
        if lacking:
            # A bare time of a column that this file lacks keeps its text.
            stays = " ".join(
                f"|| CASE WHEN strpos(coalesce(t._bare, ''), '{name}=') > 0"
                f" AND strpos(coalesce(i._bare, ''), '{name}=') = 0 THEN ';' ||"
                f" regexp_extract(t._bare, '{name}=[0-9:]+') ELSE '' END"
                for name in lacking
            )
            bare = f"nullif(trim(coalesce(i._bare, '') {stays}, ';'), '')"
        sets = ", ".join(f'"{name}" = i."{name}"' for name in self.stored)
        connection.execute(
            f"""UPDATE {table} AS t SET {sets}, _source = i._source, _line = i._line,
                    _raw = i._raw, _bare = i.new_bare, _seq = i._seq
                FROM (SELECT i.*, f.born, {bare} AS new_bare FROM incoming AS i
                      JOIN {fate} AS f USING (_i) JOIN {table} AS t ON t._born = f.born
                      WHERE f.fate = 'replaced') AS i
                WHERE t._born = i.born"""
        )
        self.result.replaced += self._count(fate, "replaced")

    def _count(self, fate: str, what: str) -> int:
        row = first_row(
            self.connection.execute(f"SELECT count(*) FROM {fate} WHERE fate = ?", [what])
        )
        assert row is not None
        return int(row[0])

    # Keys that occur more than once in the file --------------------------------------------------

    def _fold(self) -> None:
        """Take rows of repeated keys one at a time, keep every version between, write the last."""
        connection = self.connection
        rows = (
            connection.sql(
                """SELECT i.* FROM incoming AS i JOIN fate AS f USING (_i)
               WHERE f.fate = 'repeated' ORDER BY i._i"""
            )
            .to_arrow_table()
            .to_pylist()
        )
        stored = self._stored_rows(self.table.name)
        gone = self._stored_rows(f"deleted_{self.table.name}") if (
            self.table.name in DELETABLE) else {}  # fmt: skip
        last: dict[tuple[Any, ...], dict[str, Any]] = {}
        between: list[dict[str, Any]] = []
        fates: list[tuple[int, int | None, str]] = []
        for row in rows:
            key = tuple(row[name] for name in self.table.key)
            before = last.get(key) or stored.get(key)
            if before is not None and self.earlier and before["_seq"] > row["_seq"]:
                continue
            if before is not None:
                if self._is_same(row, before):
                    self.result.unchanged += 1
                    continue
                if key in last:
                    between.append(last[key])
                self.result.replaced += 1
            elif key in gone and self._is_same(row, gone[key]):
                fates.append((row["_i"], None, "gone"))
                continue
            elif key in gone or row["_gone"]:
                fates.append((row["_i"], None, "refused"))
                continue
            else:
                self.result.added += 1
            last[key] = row
        for key, row in last.items():
            before = stored.get(key)
            fates.append(
                (row["_i"], before["_born"] if before else None, "replaced" if before else "added")
            )
        if not fates:
            return
        listed = pa.table(
            {"_i": pa.array([f[0] for f in fates], pa.int64()),
             "born": pa.array([f[1] for f in fates], pa.int64()),
             "fate": pa.array([f[2] for f in fates], pa.string())}
        )  # fmt: skip
        connection.register("listed", listed)
        connection.execute("CREATE OR REPLACE TEMP TABLE folded AS SELECT * FROM listed")
        connection.unregister("listed")
        counted = (self.result.added, self.result.replaced)
        self._refuse("folded")
        self._replace("folded")
        self._add("folded")
        self.result.added, self.result.replaced = counted
        self._record_between(between)

    def _stored_rows(self, table: str) -> dict[tuple[Any, ...], dict[str, Any]]:
        found = (
            self.connection.sql(
                f"SELECT t.* FROM {table} AS t JOIN often AS o ON {on(self.table.key, 't', 'o')}"
            )
            .to_arrow_table()
            .to_pylist()
        )
        return {tuple(row[name] for name in self.table.key): row for row in found}

    def _is_same(self, row: dict[str, Any], before: dict[str, Any]) -> bool:
        for name in self.written:
            new, old = row[name], before[name]
            if new == old:
                continue
            if isinstance(new, float) and isinstance(old, float) and near(new, old):
                continue
            return False
        return True

    def _record_between(self, versions: list[dict[str, Any]]) -> None:
        """Versions that were replaced within the file itself."""
        if not versions:
            return
        for version in versions:
            version["_born"] = version["_seq"]
        columns = [*self.table.names, "_source", "_line", "_raw", "_bare", "_seq", "_born"]
        types = {c.name: ARROW_TYPES[SQL_TYPES[c.kind]] for c in self.table.columns}
        arrays = {
            name: pa.array([version.get(name) for version in versions],
                           types.get(name) or (pa.string() if name in ("_raw", "_bare")
                                               else pa.int64()))
            for name in columns
        }  # fmt: skip
        self.connection.register("versions", pa.table(arrays))
        books.record(self.connection, self.change, "replaced", self.table, "SELECT * FROM versions")
        self.connection.unregister("versions")

    # Set aside ----------------------------------------------------------------------------------

    def _mend(self) -> None:
        """A row set aside earlier whose key has now been stored is mended."""
        waiting = first_row(self.connection.execute(
            "SELECT 1 FROM set_aside WHERE state = 'open' AND table_name = ? AND key IS NOT NULL"
            " LIMIT 1", [self.table.name],
        ))  # fmt: skip
        if waiting is None:
            return
        self.connection.execute(
            f"""UPDATE set_aside SET state = 'mended', closed_change = ?
                WHERE state = 'open' AND table_name = ? AND NOT waits_for_pour AND key IN (
                    SELECT {books.key_text(self.table, "i")} FROM incoming AS i
                    JOIN fate AS f USING (_i) WHERE f.fate IN ('added', 'replaced', 'unchanged',
                    'repeated'))""",
            [self.change.number, self.table.name],
        )

    def _keep_set_aside(self) -> None:
        rows = self.rows
        if not rows.faults:
            return
        waiting = {
            row for row in self.waiting if sum(1 for other, _ in rows.faults if other == row) == 1
        } if len(self.waiting) < 2000 else self._waiting_alone()  # fmt: skip
        cells: dict[int, str] = {}
        entries: list[dict[str, Any]] = []
        for row, fault in rows.faults:
            text = cells.setdefault(row, rows.cells(row))
            mark = hashlib.md5(f"{self.table.name}|{text}".encode()).hexdigest()
            entries.append({
                "seq": int(self.seqs[row]), "table_name": self.table.name, "file": fault.file,
                "sheet": fault.sheet, "line": fault.line, "column": fault.column,
                "value": fault.value, "reason": fault.reason, "text": rows.raw[row].as_py(),
                "cells": text, "mark": mark, "key": self._key(row),
                "pour_id": self._pour_id(row), "waits_for_pour": row in waiting,
            })  # fmt: skip
        books.set_aside(self.connection, self.change, entries)

    def _waiting_alone(self) -> set[int]:
        from collections import Counter

        count = Counter(row for row, _ in self.rows.faults)
        return {row for row in self.waiting if count[row] == 1}

    def _key(self, row: int) -> str | None:
        parts = []
        for name in self.table.key:
            if name in self.times and name in self.resolved:
                value: Any = self.resolved[name][row]
                value = None if np.isnat(value) else str(value.astype("datetime64[s]"))
            else:
                array = self.rows.columns.get(name)
                value = array[row].as_py() if array is not None else None
            if value is None and not (self.table.name == "crew" and name == "since"):
                return None
            parts.append("" if value is None else str(value))
        return json.dumps(parts, ensure_ascii=False)

    def _pour_id(self, row: int) -> str | None:
        array = self.rows.columns.get("pour_id")
        return array[row].as_py() if array is not None else None
