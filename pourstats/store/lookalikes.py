"""Warnings about ids that are easily taken for one another, and about workers in two places."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pourstats.store.schema import first_row

if TYPE_CHECKING:
    import duckdb

_PLACES = {
    "pour_id": ("pours", "bids", "jobs"),
    "site": ("pours", "weather", "sites", "jobs"),
    "worker": ("crew_time", "crew"),
}
_ALIKE = ("olіiаеорсху|", "01110e0pcxy1")
"""Letters and what they look like; the second half of the first list is Cyrillic."""

MOST_TOLD = 20


def found(connection: duckdb.DuckDBPyConnection, first_seq: int) -> list[str]:
    """Warnings of ids, one of them loaded since, that differ only in case, blanks or look-alike
    letters."""
    warnings: list[str] = []
    for column, tables in _PLACES.items():
        union = " UNION ALL ".join(
            f"SELECT {column} AS name, _seq >= {first_seq} AS fresh FROM {table}"
            for table in tables
        )
        rows = connection.execute(
            f"""SELECT list(name ORDER BY name) FROM (
                    SELECT name, bool_or(fresh) AS fresh,
                           translate(lower(regexp_replace(name, '\\s+', '', 'g')),
                                     '{_ALIKE[0]}', '{_ALIKE[1]}') AS shape
                    FROM ({union}) WHERE name IS NOT NULL GROUP BY name)
                GROUP BY shape HAVING count(*) > 1 AND bool_or(fresh) ORDER BY 1"""
        ).fetchall()
        for (names,) in rows[:MOST_TOLD]:
            listed = " and ".join(f"'{name}'" for name in names[:4])
            warnings.append(f"{column}: {listed} look alike; are they the same?")
        if len(rows) > MOST_TOLD:
            warnings.append(f"{column}: {len(rows) - MOST_TOLD} more look alike")
    return warnings


def clashes(connection: duckdb.DuckDBPyConnection, first_seq: int) -> list[str]:
    """Warnings of workers logged on two pours at once, where one of the rows is loaded since."""
    from pourstats.store import measures

    fresh = first_row(
        connection.execute("SELECT count(*) FROM crew_time WHERE _seq >= ?", [first_seq])
    )
    if not fresh or fresh[0] == 0:
        return []
    measures.define(connection)
    frame = measures.frame(connection, "crew_time_clashes")
    return [
        f"crew_time: {row.worker} is logged on {row.pour_a} and {row.pour_b} at once,"
        f" {row.minutes:.0f} min; the time is split between them"
        for row in frame.head(MOST_TOLD).itertuples()
    ]
