"""Pours that are under way: tapped, but not yet whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb


def unfinished(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Pours with taps in force that are not yet among the pours: id, first and last tap, taps."""
    rows = connection.execute(
        """SELECT s.pour_id, min(s."at"), max(s."at"), count(*), max(j.site)
           FROM stamps AS s LEFT JOIN pours AS p ON p.pour_id = s.pour_id
           LEFT JOIN jobs AS j ON j.pour_id = s.pour_id
           WHERE p.pour_id IS NULL AND coalesce(s.undone, 'no') = 'no'
           GROUP BY s.pour_id ORDER BY 2"""
    ).fetchall()
    names = ("pour_id", "first_tap", "last_tap", "taps", "site")
    return [dict(zip(names, row, strict=True)) for row in rows]
