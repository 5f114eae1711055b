"""Pours that are under way: tapped, but not yet whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pourstats.store import taps

if TYPE_CHECKING:
    import duckdb


def unfinished(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Pours with taps in force that are not yet among the pours.

    Of each: pour_id, site (if known), first_tap, last_tap, taps, and what is still missing.
    """
    rows = connection.execute(
        """SELECT s.pour_id, min(s."at"), max(s."at"), count(*)
           FROM stamps AS s LEFT JOIN pours AS p ON p.pour_id = s.pour_id
           LEFT JOIN deleted_pours AS d ON d.pour_id = s.pour_id
           WHERE p.pour_id IS NULL AND d.pour_id IS NULL AND coalesce(s.undone, 'no') = 'no'
           GROUP BY s.pour_id ORDER BY 2"""
    ).fetchall()
    found = []
    for pour_id, first, last, count in rows:
        state = taps.of_pour(connection, pour_id)
        found.append({
            "pour_id": pour_id, "site": state.rows["pours"][0].get("site"), "first_tap": first,
            "last_tap": last, "taps": count, "missing": state.missing,
        })  # fmt: skip
    return found
