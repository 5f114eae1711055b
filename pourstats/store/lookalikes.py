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
_WITHIN = {"ticket": ("trucks", "pour_id"), "callback_id": ("callbacks", "''")}
"""Ids of one table alone, with what they are told apart within."""
_ALIKE = {
    "o": "0", "l": "1", "i": "1", "|": "1", "\u2013": "-",
    "\u0430": "a", "\u0432": "b", "\u0435": "e", "\u0456": "1", "\u043a": "k", "\u043c": "m",
    "\u043d": "h", "\u043e": "0", "\u0440": "p", "\u0441": "c", "\u0442": "t", "\u0443": "y",
    "\u0445": "x", "\u03b1": "a", "\u03bf": "0", "\u03c1": "p",
}  # fmt: skip
"""Letters, and what they look like; from the first with a number on they are Cyrillic and Greek."""
_BLANKS = " \t\u00a0\u2009\u202f"

MOST_TOLD = 20


def _shape(name: str) -> str:
    """SQL for an id without case and blanks, each letter as what it looks like."""
    # What translate has no match for, it leaves out.
    letters, likes = "".join(_ALIKE) + _BLANKS, "".join(_ALIKE.values())
    return f"translate(lower({name}), '{letters}', '{likes}')"


def found(connection: duckdb.DuckDBPyConnection, first_seq: int) -> list[str]:
    """Warnings of ids, one of them loaded since, that differ only in case, blanks or look-alike
    letters."""
    warnings: list[str] = []
    for column, tables in _PLACES.items():
        union = " UNION ALL ".join(
            f"SELECT {column} AS name, '' AS within, _seq >= {first_seq} AS fresh FROM {table}"
            for table in tables
        )
        if column == "pour_id":
            # A row that waits for B214 while b214 is stored would wait for ever.
            union += (
                f" UNION ALL SELECT pour_id, '', seq >= {first_seq} FROM set_aside"
                " WHERE waits_for_pour AND state = 'open'"
            )
        warnings += _alike(connection, column, union)
    for column, (table, within) in _WITHIN.items():
        warnings += _alike(
            connection, column,
            f"SELECT {column} AS name, {within} AS within, _seq >= {first_seq} AS fresh"
            f" FROM {table}",
        )  # fmt: skip
    return warnings


def _alike(connection: duckdb.DuckDBPyConnection, column: str, ids: str) -> list[str]:
    rows = connection.execute(
        f"""SELECT list(name ORDER BY name) FROM (
                SELECT name, within, bool_or(fresh) AS fresh, {_shape("name")} AS shape
                FROM ({ids}) WHERE name IS NOT NULL GROUP BY name, within)
            GROUP BY shape, within HAVING count(*) > 1 AND bool_or(fresh) ORDER BY 1"""
    ).fetchall()
    warnings = []
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
    frame = measures.frame(connection, "crew_time_clashes")
    return [
        f"crew_time: {row.worker} is logged on {row.pour_a} and {row.pour_b} at once,"
        f" {row.minutes:.0f} min; the time is split between them"
        for row in frame.head(MOST_TOLD).itertuples()
    ]
