"""A store's tables, empty, as the measures see them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import duckdb
import pandas as pd
import pytest

from pourstats.logs.tables import SQL_TYPES, TABLES
from pourstats.settings import RULES
from pourstats.store import measures


class Log:
    """A hand-written log: rows in, measures out."""

    def __init__(self) -> None:
        self.connection = duckdb.connect()
        for table in TABLES.values():
            columns = ", ".join(
                f'"{column.name}" {SQL_TYPES[column.kind]}' for column in table.columns
            )
            self.connection.execute(f"create table {table.name} ({columns})")
        rules = ", ".join(
            f"{name} {'DOUBLE' if rule.kind == 'number' else 'VARCHAR'}"
            for name, rule in RULES.items()
        )
        self.connection.execute(f"create table house ({rules})")
        self.connection.execute(
            f"insert into house values ({', '.join('?' * len(RULES))})",
            [rule.default for rule in RULES.values()],
        )

    def house(self, **rules: float | str | None) -> None:
        for name, value in rules.items():
            self.connection.execute(f"update house set {name} = ?", [value])

    def add(self, table: str, *rows: dict[str, Any]) -> None:
        """Insert rows; a bare clock time such as 7:30 in a time column is on 2031-06-03."""
        for row in rows:
            kinds = {name: TABLES[table].column(name).kind for name in row}
            values = [
                clock(value) if kinds[name] == "time" else value for name, value in row.items()
            ]
            names = ", ".join(f'"{name}"' for name in row)
            marks = ", ".join("?" * len(row))
            self.connection.execute(f"insert into {table} ({names}) values ({marks})", values)

    def pour(self, pour_id: str = "A", **values: Any) -> None:
        """A 20 ft by 30 ft floor of 4 in: 7.407 yd3."""
        row = {"pour_id": pour_id, "date": "2031-06-03", "site": "oak", "slab_type": "shop",
               "area": 600, "thickness": 4}  # fmt: skip
        self.add("pours", row | values)

    def crew_time(self, *rows: tuple[str, ...]) -> None:
        """Rows of (pour_id, worker, task, start, end[, wait_for])."""
        names = ("pour_id", "worker", "task", "start", "end", "wait_for")
        self.add("crew_time", *(dict(zip(names, row, strict=False)) for row in rows))

    def frame(self, name: str) -> pd.DataFrame:
        measures.define(self.connection, name)
        return measures.frame(self.connection, name)

    def rows(self, name: str, *keys: str) -> dict[Any, dict[str, Any]]:
        """The rows of a measure by key, unknown as None."""
        frame = self.frame(name)
        rows = [
            {str(key): None if pd.isna(value) else value for key, value in row.items()}
            for row in frame.to_dict("records")
        ]
        return {
            tuple(row[key] for key in keys) if len(keys) > 1 else row[keys[0]]: row for row in rows
        }

    def one(self, name: str) -> dict[str, Any]:
        """The only row of a measure."""
        (row,) = self.rows(name, *measures.header(name).columns[0].name.split()).values()
        return row


def clock(text: str | None) -> str | None:
    return f"2031-06-03 {text}" if text is not None and "-" not in text else text


@pytest.fixture
def log() -> Iterator[Log]:
    made = Log()
    yield made
    made.connection.close()


@pytest.fixture(scope="session")
def new_log() -> Callable[[], Log]:
    """For tests that need many logs."""
    return Log
