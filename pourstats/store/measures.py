"""A measure by name: the SQL that counts it, what its columns mean, and its rows as a frame.

Each measure is one SELECT in ``sql/``. Its header, in comments, states the grain, the definitions
that were chosen, and every column with its unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

MEASURES: tuple[str, ...] = (
    "truck_times",
    "pour_output",
    "day_output",
    "pass_intervals",
    "pour_weather",
    "callback_rates",
)
"""The measures that people see, each after those it reads."""

STEPS: tuple[str, ...] = ("crew_shares", "pass_starts", "span_weather")
"""What several measures rest on, each after those it reads."""

CHECKS: tuple[str, ...] = ("crew_time_clashes",)
"""What a load warns of."""

ORDER: tuple[str, ...] = (*STEPS, *MEASURES, *CHECKS)
"""Every SQL file, each after those it reads."""


@dataclass(frozen=True)
class MeasureColumn:
    """One column of a measure, as its header has it; ``unit`` is empty for counts and texts."""

    name: str
    unit: str
    meaning: str
    private: bool


@dataclass(frozen=True)
class Header:
    """What the head of a SQL file says.

    ``key`` tells the rows apart; ``reads`` names the log tables, house rules and earlier measures
    that it reads; ``kept`` says that :func:`define` works it out once, not anew in each query.
    """

    name: str
    title: str
    grain: str
    key: tuple[str, ...]
    kept: bool
    reads: tuple[str, ...]
    notes: str
    columns: tuple[MeasureColumn, ...]


@cache
def sql(name: str) -> str:
    """The text of a measure's SQL file; KeyError if there is none of that name."""
    if name not in ORDER:
        raise KeyError(f"no measure is called {name!r}; there are {', '.join(MEASURES)}")
    return files("pourstats.store").joinpath("sql", f"{name}.sql").read_text(encoding="utf-8")


@cache
def header(name: str) -> Header:
    """The head of a measure's SQL file; KeyError if there is none of that name."""
    lines = []
    for line in sql(name).splitlines():
        if not line.startswith("--"):
            break
        lines.append(line.removeprefix("--").strip())
    fields = dict(line.split(": ", 1) for line in lines[1:5])
    table = lines.index("column | unit | meaning")
    return Header(
        name=name,
        title=lines[0].split(": ", 1)[1],
        grain=fields["grain"],
        key=tuple(fields["key"].split(", ")),
        kept=fields["kept"] == "yes",
        reads=tuple(fields["reads"].split(", ")),
        notes=" ".join(lines[5:table]).strip(),
        columns=tuple(_column(line) for line in lines[table + 1 :] if line),
    )


def _column(line: str) -> MeasureColumn:
    name, unit, meaning, *rest = (cell.strip() for cell in line.split("|"))
    return MeasureColumn(name, unit, meaning, private=rest == ["private"])


def needed(*names: str) -> tuple[str, ...]:
    """The SQL files that ``names`` rest on and they themselves, each after those it reads."""
    wanted: set[str] = set()
    ahead = list(names)
    while ahead:
        name = ahead.pop()
        if name not in wanted:
            wanted.add(name)
            ahead.extend(read for read in header(name).reads if read in ORDER)
    return tuple(name for name in ORDER if name in wanted)


def define(connection: duckdb.DuckDBPyConnection, *names: str) -> None:
    """Make the measures of these names (all, without any) readable as tables of the connection.

    They are temporary: a store opened read-only can have them, and they go with the connection.
    Those marked kept hold the rows of this moment, so call it again after a write.
    KeyError if a name is no measure.
    """
    for name in needed(*(names or ORDER)):
        _make(connection, name)


def frame(connection: duckdb.DuckDBPyConnection, name: str) -> pd.DataFrame:
    """All rows of a measure, in the columns of its header, sorted by its key.

    Defines what isn't defined on this connection yet. KeyError if the name is no measure.
    """
    made = _made(connection)
    for each in needed(name):
        if each not in made:
            _make(connection, each)
    return connection.execute(_query(name)).df()


def frames(connection: duckdb.DuckDBPyConnection, *names: str) -> dict[str, pd.DataFrame]:
    """Several measures as they stand now, by name; what they share is worked out once.

    KeyError if a name is no measure.
    """
    define(connection, *names)
    return {name: frame(connection, name) for name in names}


def _query(name: str) -> str:
    columns = ", ".join(f'"{column.name}"' for column in header(name).columns)
    key = ", ".join(f'"{column}"' for column in header(name).key)
    return f"select {columns} from temp.{name} order by {key}"


def _made(connection: duckdb.DuckDBPyConnection) -> set[str]:
    rows = connection.execute(
        "select table_name from duckdb_tables() where temporary"
        " union all select view_name from duckdb_views() where temporary"
    ).fetchall()
    return {name for (name,) in rows}


def _make(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    kind = "table" if header(name).kept else "view"
    connection.execute(f"create or replace temp {kind} {name} as {sql(name)}")
