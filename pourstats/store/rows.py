"""Checked rows → stored rows: added, replaced, unchanged or set aside, and nothing lost.

Rows of a file are taken in order, as if loaded one at a time. Whole files go by SQL; only keys that
occur twice in one file are folded row by row.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pourstats.faults import Fault
from pourstats.logs import clocks
from pourstats.logs.cells import quoted
from pourstats.logs.files import shown
from pourstats.logs.intake import ARROW_TYPES, Checked
from pourstats.logs.tables import SQL_TYPES, Table
from pourstats.store import books
from pourstats.store.schema import DELETABLE, first_row

if TYPE_CHECKING:
    import duckdb

SAME = 1e-9
"""Numbers that differ by less than this share of themselves are the same."""
WAITING = "no pour {} is stored or in this load; the row is kept and taken up once that pour comes"


@dataclass
class Outcome:
    """What became of the rows of one sheet; read = added + replaced + unchanged + set_aside."""

    read: int = 0
    added: int = 0
    replaced: int = 0
    unchanged: int = 0
    set_aside: int = 0
    faults: list[tuple[int, Fault]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    moved_pours: list[str] = field(default_factory=list)
    """Pours whose date or place_start was corrected, so that their rows' bare times move."""


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


class _Storing:
    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        rows: Checked,
        change: books.Change,
        seqs: NDArray[np.int64] | None,
    ) -> None:
        self.connection = connection
        self.rows = rows
        self.table: Table = rows.table
        self.change = change
        self.earlier = seqs is not None
        self.seqs = change.take(connection, rows.read) if seqs is None else seqs
        self.waiting: set[int] = set()
        self.result = Outcome(read=rows.read)
        self.times = [c.name for c in self.table.columns if c.kind == "time"]
        self.written = [name for name in self.table.names if name in rows.names]

    def outcome(self) -> Outcome:
        if self.rows.read:
            deleted_pour = self._resolve()
            source = books.source(self.connection, self.change, self.rows)
            self._stage(source, deleted_pour)
            self._classify()
        self._keep_set_aside()
        done = self.result
        done.set_aside = len({row for row, _ in self.rows.faults})
        done.faults = self.rows.faults
        return done

    # Times --------------------------------------------------------------------------------------

    def _resolve(self) -> NDArray[np.bool_]:
        """Date the bare times, check the order of times, find rows whose pour is missing.

        Returns which rows belong to a deleted pour.
        """
        rows, n = self.rows, self.rows.read
        date = np.full(n, "NaT", dtype="datetime64[D]")
        start: clocks.Times | None = None
        deleted = np.zeros(n, dtype=bool)
        if self.table.anchor in ("own", "job") and "date" in rows.columns:
            date = _array(rows.columns["date"]).astype("datetime64[D]")
        if self.table.needs_pour:
            date, start, deleted = self._pours()
        times = {name: _array(rows.columns[name]) for name in self.times if name in rows.columns}
        bare = {name: clock for name, clock in rows.clocks.items() if name in times}
        lacking = [name for name in self.times if name not in times]
        if lacking and self.table.order:
            self._add_stored(times, bare, lacking)
        task = None
        if self.table.name == "crew_time" and "task" in rows.columns:
            task = np.array(rows.columns["task"].to_pylist(), dtype=object)
        self.resolved, broken = clocks.resolved(self.table, times, bare, date, start, task)
        self.bare = bare
        for rule in broken:
            for row in np.flatnonzero(rule.rows & rows.whole):
                self._break(int(row), rule)
        return deleted

    def _break(self, row: int, rule: clocks.Broken) -> None:
        written = self.rows.written.get(rule.column)
        text = shown(written[row].as_py()).strip() if written is not None else None
        stood = str(self.resolved[rule.column][row].astype("datetime64[s]")).replace("T", " ")
        value = text or stood.removesuffix(":00")
        self.rows.fault(row, rule.column, value, f"{quoted(value)} {rule.reason}")

    def _pours(self) -> tuple[NDArray[Any], clocks.Times, NDArray[np.bool_]]:
        """Date and place_start of each row's pour; a row without one is set aside."""
        ids = self.rows.columns.get("pour_id")
        n = self.rows.read
        if ids is None:
            nothing = np.full(n, "NaT", dtype="datetime64[us]")
            return nothing.astype("datetime64[D]"), nothing, np.zeros(n, dtype=bool)
        names = pa.table({"i": np.arange(n), "pour_id": ids})
        self.connection.register("named", names)
        found = self.connection.sql(
            """SELECT coalesce(p.date, d.date) AS date,
                      coalesce(p.place_start, d.place_start) AS place_start,
                      p.pour_id IS NOT NULL AS here, d.pour_id IS NOT NULL AS gone
               FROM named AS n LEFT JOIN pours AS p ON p.pour_id = n.pour_id
               LEFT JOIN (SELECT pour_id, max(date) AS date, max(place_start) AS place_start
                          FROM deleted_pours GROUP BY pour_id) AS d ON d.pour_id = n.pour_id
               ORDER BY n.i"""
        ).to_arrow_table()
        self.connection.unregister("named")
        here, gone = _array(found["here"]).astype(bool), _array(found["gone"]).astype(bool)
        for row in np.flatnonzero(~here & ~gone):
            name = ids[int(row)].as_py()
            if name is not None:
                if self.rows.whole[row]:
                    self.waiting.add(int(row))
                self.rows.fault(int(row), "pour_id", name, WAITING.format(quoted(name)))
        date = _array(found["date"]).astype("datetime64[D]")
        return date, _array(found["place_start"]).astype("datetime64[us]"), ~here & gone

    def _add_stored(
        self, times: dict[str, clocks.Times], bare: dict[str, NDArray[Any]], lacking: list[str]
    ) -> None:
        """Add the stored times of columns that this file lacks: they stay, so they count."""
        key = [name for name in self.table.key if name not in self.times]
        if not all(name in self.rows.columns for name in key) or len(key) < len(self.table.key):
            return
        staged = {name: self.rows.columns[name] for name in key}
        self.connection.register("named", pa.table({"i": np.arange(self.rows.read), **staged}))
        picked = ", ".join(f't."{name}"' for name in lacking)
        found = self.connection.sql(
            f"SELECT {picked}, t._bare FROM named AS n LEFT JOIN {self.table.name} AS t"
            f" ON {_on(key, 'n', 't')} ORDER BY n.i"
        ).to_arrow_table()
        self.connection.unregister("named")
        texts = found["_bare"].to_pylist()
        for name in lacking:
            times[name] = _array(found[name]).astype("datetime64[us]")
            if any(text and f"{name}=" in text for text in texts):
                bare[name] = np.array([bare_clocks(text).get(name, -1) for text in texts], np.int32)
                times[name] = np.where(bare[name] >= 0, clocks.NONE, times[name])

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
        columns["_bare"] = self._bare_texts().take(chosen)
        columns["_seq"] = pa.array(self.seqs[kept])
        columns["_gone"] = pa.array(deleted_pour[kept])
        self.staged = pa.table(columns)

    def _bare_texts(self) -> Any:
        """``place_start=06:40:00;left=…`` for the times a row wrote without a date, else null."""
        parts = []
        for name, clock in self.bare.items():
            if not (clock >= 0).any():
                continue
            distinct, places = np.unique(clock, return_inverse=True)
            words = [
                f"{name}={s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}" if s >= 0 else None
                for s in distinct.tolist()
            ]
            parts.append(pa.array(words, pa.string()).take(pa.array(places)))
        if not parts:
            return pa.nulls(self.rows.read, pa.string())
        joined = pc.binary_join_element_wise(*parts, ";", null_handling="replace")
        joined = pc.utf8_trim(pc.replace_substring_regex(joined, ";+", ";"), ";")
        return pc.if_else(pc.equal(joined, ""), pa.scalar(None, pa.string()), joined)

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
        same = _same(self.table, self.written, "i", "t")
        gone = (
            f"LEFT JOIN deleted_{table} AS d ON {_on(self.table.key, 'i', 'd')}"
            if table in DELETABLE
            else ""
        )
        same_gone = _same(self.table, self.written, "i", "d") if gone else "false"
        connection.execute(
            f"""CREATE OR REPLACE TEMP TABLE fate AS
                SELECT i._i, t._born AS born,
                    CASE WHEN o.repeated THEN 'repeated'
                         WHEN {"t._seq > i._seq" if self.earlier else "false"} THEN 'older'
                         WHEN t._seq IS NOT NULL AND ({same}) THEN 'unchanged'
                         WHEN t._seq IS NOT NULL THEN 'replaced'
                         WHEN {"d._seq IS NOT NULL" if gone else "false"} AND ({same_gone})
                             THEN 'gone'
                         WHEN {"d._seq IS NOT NULL OR i._gone" if gone else "false"} THEN 'refused'
                         ELSE 'added' END AS fate
                FROM incoming AS i LEFT JOIN {table} AS t ON {_on(self.table.key, "i", "t")} {gone}
                LEFT JOIN (SELECT *, true AS repeated FROM often) AS o
                    ON {_on(self.table.key, "i", "o")}
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
            f"SELECT _i, fate FROM {fate} WHERE fate IN ('gone', 'refused') ORDER BY _i"
        ).fetchall()
        gone = [row for row, what in found if what == "gone"]
        if gone:
            self.result.unchanged += len(gone)
            self.result.warnings.append(
                f"{self.rows.file}: {len(gone)} rows of {self.table.name} were deleted and stay"
                " deleted (`pourstats undo` brings back the last deletion)"
            )
        for row, what in found:
            if what == "refused":
                self._set_aside_deleted(row)

    def _set_aside_deleted(self, row: int) -> None:
        ids = self.rows.columns["pour_id"]
        name = ids[row].as_py()
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
                f"SELECT t.* FROM {table} AS t JOIN often AS o ON {_on(self.table.key, 't', 'o')}"
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
            if isinstance(new, float) and isinstance(old, float) and _near(new, old):
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
            if name in self.times and name in getattr(self, "resolved", {}):
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


def bare_clocks(text: str | None) -> dict[str, int]:
    """Column → seconds of day from the kept text of a row's bare times."""
    found = {}
    for part in (text or "").split(";"):
        name, _, clock = part.partition("=")
        if clock:
            hour, minute, second = (int(piece) for piece in clock.split(":"))
            found[name] = hour * 3600 + minute * 60 + second
    return found


def _array(column: Any) -> NDArray[Any]:
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
    if isinstance(column, pa.ChunkedArray):
        column = pa.concat_arrays(column.chunks) if column.chunks else pa.array([], column.type)
    return np.asarray(column.to_numpy(zero_copy_only=False))


def _near(a: float, b: float) -> bool:
    return abs(a - b) <= max(SAME * max(abs(a), abs(b)), 1e-12)


def _on(names: Any, left: str, right: str) -> str:
    parts = []
    for name in names:
        sign = "IS NOT DISTINCT FROM" if name in ("since", "quantile") else "="
        parts.append(f'{left}."{name}" {sign} {right}."{name}"')
    return " AND ".join(parts)


def _same(table: Table, names: list[str], left: str, right: str) -> str:
    parts = []
    for name in names:
        if name in table.key:
            continue
        a, b = f'{left}."{name}"', f'{right}."{name}"'
        equal = f"{a} IS NOT DISTINCT FROM {b}"
        if table.column(name).kind == "number":
            equal = (
                f"({equal} OR coalesce(abs({a} - {b}) <="
                f" greatest({SAME} * greatest(abs({a}), abs({b})), 1e-12), false))"
            )
        parts.append(equal)
    return " AND ".join(parts) or "true"
