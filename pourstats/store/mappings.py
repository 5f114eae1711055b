"""How the columns of other people's files are read: kept by header, asked for by the load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pourstats.logs.cells import normalized
from pourstats.logs.intake import Mapped

if TYPE_CHECKING:
    from pourstats.store.database import Store


@dataclass(frozen=True)
class Mapping:
    """One kind of file: the table that it holds, and its columns, theirs → ours."""

    table: str
    columns: dict[str, Mapped]


def signature(header: list[str]) -> str:
    """What tells one kind of file from another: its header names, in any order."""
    return "|".join(sorted(normalized(name) for name in header))


def kept(store: Store) -> dict[str, Mapping]:
    """Header signature → mapping, of every mapping that the store keeps; none without a store."""
    if not store.exists():
        return {}
    with store.read() as connection:
        rows = connection.execute(
            "SELECT signature, table_name, theirs, ours, unit, zone FROM mappings"
        ).fetchall()
    found: dict[str, Mapping] = {}
    for sign, table, theirs, ours, unit, zone in rows:
        mapping = found.setdefault(sign, Mapping(table, {}))
        mapping.columns[theirs] = Mapped(ours, unit, zone)
    return found
