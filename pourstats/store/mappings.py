"""Kept mappings: how other programs' files are read, found by header when such a file is loaded."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pourstats import settings
from pourstats.faults import Refusal
from pourstats.logs.mapping import FileMapping, Known, from_json
from pourstats.store import books
from pourstats.store.database import Store
from pourstats.store.schema import house

if TYPE_CHECKING:
    import duckdb

    from pourstats.logs.foreign import Foreign


def kept(store: Store) -> dict[str, FileMapping]:
    """Header signature → mapping, of every mapping that the store keeps; none without a store."""
    if not store.exists():
        return {}
    with store.read() as connection:
        rows = connection.execute(
            "SELECT signature, how FROM mappings WHERE how IS NOT NULL"
        ).fetchall()
    return {sign: from_json(how) for sign, how in rows}


def keep(store: Store, sheet: Foreign, mapping: FileMapping) -> FileMapping:
    """Keep a mapping for files with this header; an earlier one goes. Returns it with its name."""
    others = {each.name for sign, each in kept(store).items() if sign != sheet.signature}
    mapping = replace(mapping, name=_name(mapping.name or sheet.file, others))
    with store.write() as connection:
        connection.execute("BEGIN")
        _remove(connection, sheet.signature)
        connection.execute(
            "INSERT INTO mappings (signature, table_name, zone, how) VALUES (?, ?, ?, ?)",
            [sheet.signature, mapping.table, mapping.zone, mapping.as_json()],
        )
        books.touch(connection)
        connection.execute("COMMIT")
    return mapping


def _remove(connection: duckdb.DuckDBPyConnection, sign: str) -> None:
    connection.execute("DELETE FROM mappings WHERE signature = ?", [sign])


def _name(file: str, others: set[str]) -> str:
    base = re.sub(r"\W+", "_", re.sub(r"\.\w{2,5}$", "", file)).strip("_").lower() or "file"
    name, count = base, 1
    while name in others:
        count += 1
        name = f"{base}_{count}"
    return name


def forget(store: Store, name: str) -> FileMapping:
    """Forget the mapping of that name. Refusal (status 1) if none is called so."""
    found = {mapping.name: sign for sign, mapping in kept(store).items()}
    if name not in found:
        listed = ", ".join(sorted(found)) or "none is kept"
        raise Refusal(f"no mapping is called {name!r}; kept: {listed}", 1)
    mapping = kept(store)[found[name]]
    with store.write(create=False) as connection:
        connection.execute("BEGIN")
        _remove(connection, found[name])
        books.touch(connection)
        connection.execute("COMMIT")
    return mapping


def known(store: Store) -> Known:
    """What the store knows that a file may lack: sites' zones, the house's zone, the pours."""
    if not store.exists():
        return Known()
    with store.read() as connection:
        return known_to(connection)


def known_to(connection: duckdb.DuckDBPyConnection) -> Known:
    """As :func:`known`, on an open connection."""
    zones: dict[str, Any] = dict(
        connection.execute("SELECT site, zone FROM sites WHERE zone IS NOT NULL").fetchall()
    )
    pours = connection.execute("SELECT pour_id, site, date FROM pours ORDER BY _seq").fetchall()
    zone: settings.Value = house(connection)["zone"]
    return Known(zones, str(zone) if zone else None, tuple(pours))
