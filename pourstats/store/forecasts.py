"""What was forecast, when: kept so that it can be scored once the pour is logged."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pyarrow as pa

from pourstats.faults import Refusal
from pourstats.store import books
from pourstats.store.database import Store

PATIENCE_S = 2.0
"""How long a held store is waited for: a forecast is told all the same."""


@dataclass(frozen=True)
class Told:
    """One number of a forecast: a quantile of a target of a pour (None: its mean)."""

    pour_id: str
    target: str
    quantile: float | None
    value: float | None


def keep(store: Store, command: str, told: Iterable[Told]) -> str | None:
    """Keep a forecast under the time of now; None if it was, else why not.

    Nothing is kept without a store. Asked twice within a second, the later answer stands.
    """
    entries = [entry for entry in told if entry.value is not None]
    if not store.exists() or not entries:
        return None
    now = books.now()
    table = pa.table({
        "pour_id": pa.array([e.pour_id for e in entries], pa.string()),
        "target": pa.array([e.target for e in entries], pa.string()),
        "quantile": pa.array([e.quantile for e in entries], pa.float64()),
        "value": pa.array([float(e.value or 0.0) for e in entries], pa.float64()),
    })  # fmt: skip
    try:
        with Store(store.path, PATIENCE_S).write(create=False) as connection:
            connection.execute("BEGIN")
            seqs = books.Change(0, command, "").take(connection, len(entries))
            connection.execute(
                "DELETE FROM forecasts WHERE issued_at = ? AND command = ?", [now, command]
            )
            connection.register("told", table.append_column("_seq", pa.array(seqs)))
            connection.execute(
                """INSERT INTO forecasts
                       (issued_at, command, pour_id, target, quantile, value, _seq, _born)
                   SELECT ?, ?, pour_id, target, quantile, value, _seq, _seq FROM told""",
                [now, command],
            )
            connection.unregister("told")
            connection.execute("COMMIT")
    except Refusal as error:
        return f"not kept for scoring: {error}"
    return None
