"""Warnings about rows that were stored but hardly mean what they say, of those loaded since."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pourstats.store import taps
from pourstats.store.checks import SAME_CALL, SAME_CALL_WORDS

if TYPE_CHECKING:
    import duckdb

MOST_TOLD = 10

_RULES: tuple[str, ...] = (
    """SELECT 'trucks: load ' || ticket || ' of ' || pour_id || ' began unloading before it'
              || ' arrived; check both times'
       FROM trucks WHERE _seq >= {first} AND pour_start < arrived ORDER BY _seq""",
    """SELECT 'callbacks: ' || c.callback_id || ' was reported before ' || c.pour_id
              || ' was poured; check its date'
       FROM callbacks AS c JOIN pours AS p USING (pour_id)
       WHERE c._seq >= {first} AND c.reported < p.date ORDER BY c._seq""",
    """SELECT 'callbacks: ' || {same_call_words}
              || '; if it was one call, delete one (`pourstats check` has the command)'
       FROM callbacks AS a JOIN callbacks AS b ON {same_call}
       WHERE greatest(a._seq, b._seq) >= {first} ORDER BY b._seq, a._seq""",
    """SELECT 'passes: pass ' || a.pass_no || ' of ' || a.pour_id || ' begins more than 18 h after'
              || ' the first concrete; is its day right?'
       FROM passes AS a JOIN pours AS p USING (pour_id)
       WHERE a._seq >= {first} AND a.start > p.place_start + INTERVAL 18 HOUR ORDER BY a._seq""",
    """SELECT 'crew_time: ' || p.pour_id || ' had ' || CAST(p.hands AS INTEGER) || ' hands, but the'
              || ' crew time of only ' || t.people || ' is logged; its hours count those alone'
       FROM pours AS p JOIN (
           SELECT pour_id, count(DISTINCT worker) AS people, max(_seq) AS seq FROM crew_time
           WHERE task NOT IN ('travel', 'return_visit') GROUP BY pour_id) AS t USING (pour_id)
       WHERE greatest(p._seq, t.seq) >= {first} AND t.people < p.hands ORDER BY p._seq""",
)


def found(connection: duckdb.DuckDBPyConnection, first_seq: int) -> list[str]:
    """A line a row, at most ten of a kind and then how many more."""
    lines: list[str] = []
    said = {"first": first_seq, "same_call": SAME_CALL, "same_call_words": SAME_CALL_WORDS}
    queries = [rule.format(**said) for rule in _RULES]
    told = [[text for (text,) in connection.execute(query).fetchall()] for query in queries]
    for rows in (*told, _tapped(connection, first_seq)):
        lines += rows[:MOST_TOLD]
        if len(rows) > MOST_TOLD:
            lines.append(f"and {len(rows) - MOST_TOLD} more such rows")
    return lines


def _tapped(connection: duckdb.DuckDBPyConnection, first_seq: int) -> list[str]:
    """What taps that came now did not bring about: a pour still open, a load without a volume."""
    rows = connection.execute(
        """SELECT s.pour_id, min(f.file) FROM stamps AS s
           LEFT JOIN pours AS p ON p.pour_id = s.pour_id
           LEFT JOIN sources AS f ON f.source_id = p._source
           WHERE s._seq >= ? AND coalesce(s.undone, 'no') = 'no' GROUP BY 1 ORDER BY 1""",
        [first_seq],
    ).fetchall()
    lines = []
    for pour_id, logged_in in rows:
        if logged_in not in (None, taps.FILE):
            lines.append(f"stamps: {pour_id} is logged in {logged_in}, which goes before its taps")
            continue
        state = taps.of_pour(connection, pour_id)
        if state.missing:
            lines.append(
                f"stamps: {pour_id} stays open, in no figure yet; still to come:"
                f" {', '.join(state.missing)}"
            )
        lines += [f"stamps: {pour_id}: {words}" for words in state.waiting]
    return lines
