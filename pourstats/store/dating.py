"""The times of rows on their way into the store: bare ones dated, and their order checked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pourstats.logs import clocks
from pourstats.logs.cell import quoted
from pourstats.logs.checked import Checked
from pourstats.logs.files import shown
from pourstats.logs.tables import Table
from pourstats.store.comparing import array, bare_clocks, on

if TYPE_CHECKING:
    import duckdb

WAITING = "no pour {} is stored or in this load; the row is kept and taken up once that pour comes"


class Dating:
    """Rows of one sheet with the store that they go into.

    After :meth:`resolve`, ``resolved`` holds every time column dated, ``bare`` the seconds of day
    of those written without a date, and ``waiting`` the rows whose pour isn't there.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, rows: Checked) -> None:
        self.connection = connection
        self.rows = rows
        self.table: Table = rows.table
        self.waiting: set[int] = set()
        self.times = [c.name for c in self.table.columns if c.kind == "time"]
        self.resolved: dict[str, clocks.Times] = {}
        self.bare: dict[str, NDArray[np.int32]] = {}

    def resolve(self) -> NDArray[np.bool_]:
        """Date the bare times, check the order of times, find rows whose pour is missing.

        Returns which rows belong to a deleted pour.
        """
        rows, n = self.rows, self.rows.read
        date = np.full(n, "NaT", dtype="datetime64[D]")
        start: clocks.Times | None = None
        deleted = np.zeros(n, dtype=bool)
        if self.table.anchor in ("own", "job") and "date" in rows.columns:
            date = array(rows.columns["date"]).astype("datetime64[D]")
        if self.table.needs_pour:
            date, start, deleted = self._pours()
        times = {name: array(rows.columns[name]) for name in self.times if name in rows.columns}
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
        here, gone = array(found["here"]).astype(bool), array(found["gone"]).astype(bool)
        for row in np.flatnonzero(~here & ~gone):
            name = ids[int(row)].as_py()
            if name is not None:
                if self.rows.whole[row]:
                    self.waiting.add(int(row))
                self.rows.fault(int(row), "pour_id", name, WAITING.format(quoted(name)))
        date = array(found["date"]).astype("datetime64[D]")
        return date, array(found["place_start"]).astype("datetime64[us]"), ~here & gone

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
            f" ON {on(key, 'n', 't')} ORDER BY n.i"
        ).to_arrow_table()
        self.connection.unregister("named")
        texts = found["_bare"].to_pylist()
        for name in lacking:
            times[name] = array(found[name]).astype("datetime64[us]")
            if any(text and f"{name}=" in text for text in texts):
                bare[name] = np.array([bare_clocks(text).get(name, -1) for text in texts], np.int32)
                times[name] = np.where(bare[name] >= 0, clocks.NONE, times[name])

    def bare_texts(self) -> Any:
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
