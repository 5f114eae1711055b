"""House rules in the store: shown with where they come from, set as a change that can be undone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from pourstats import settings
from pourstats.faults import Refusal
from pourstats.logs import intake
from pourstats.logs.files import Sheet
from pourstats.logs.tables import SETTINGS
from pourstats.store import books
from pourstats.store.database import Store
from pourstats.store.rows import store_rows
from pourstats.store.schema import meta_number


def set_rule(store: Store, name: str, value: str) -> None:
    """Set a house rule; an empty value goes back to the default. Raises Refusal."""
    name = settings.as_declared(name)
    try:
        settings.parsed(name, value)
    except settings.RuleError as error:
        raise Refusal(str(error)) from None
    sheet = Sheet(
        "settings", None, ["name", "value"],
        [pa.array([name], pa.string()), pa.array([value.strip()], pa.string())],
        np.array([1], dtype=np.int64), pa.array([f"{name},{value}"], pa.string()),
    )  # fmt: skip
    rows = intake.checked(sheet, SETTINGS)
    with store.write() as connection:
        connection.execute("BEGIN")
        first = meta_number(connection, "next_seq")
        change = books.begin(connection, "settings", f"{name} {value}".strip())
        outcome = store_rows(connection, rows, change)
        if outcome.unchanged:
            connection.execute("ROLLBACK")
            return
        books.finish(connection, change, first)
        connection.execute("COMMIT")


def in_force(store: Store, name: str | None = None) -> dict[str, dict[str, Any]]:
    """Every house rule, or one: value, whether it was set, unit, meaning and source.

    Without a store the defaults. Raises Refusal for a name that is none.
    """
    if name is not None:
        name = settings.as_declared(name)
        try:
            settings.parsed(name, "")
        except settings.RuleError as error:
            raise Refusal(str(error)) from None
    stored: dict[str, str | None] = {}
    if store.exists():
        with store.read() as connection:
            stored = dict(connection.execute("SELECT name, value FROM settings").fetchall())
    found = {}
    for rule in settings.RULES.values():
        if name is not None and rule.name != name:
            continue
        text = stored.get(rule.name)
        found[rule.name] = {
            "value": settings.parsed(rule.name, text) if text else rule.default,
            "set": bool(text),
            "unit": rule.unit,
            "meaning": rule.meaning,
            "source": "set by the house" if text else rule.source,
        }
    return found
