"""Kept mappings: how other programs' files are read, found by header when such a file is loaded."""

from __future__ import annotations

import datetime as dt
import json
import re
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourstats import settings
from pourstats.faults import Fault, Refusal
from pourstats.logs import files, foreign, intake, limits
from pourstats.logs.checked import Checked
from pourstats.logs.mapping import (
    FileMapping,
    Known,
    file_key,
    for_file,
    from_json,
    is_sound,
    is_text,
)
from pourstats.logs.tables import TABLES
from pourstats.logs.translating import translated
from pourstats.store import books
from pourstats.store.database import Store
from pourstats.store.schema import house

if TYPE_CHECKING:
    import duckdb


def kept(store: Store) -> dict[str, FileMapping]:
    """Header signature → mapping, of every mapping that the store keeps; none without a store."""
    if not store.exists():
        return {}
    with store.read() as connection:
        rows = connection.execute(
            "SELECT signature, how FROM mappings WHERE how IS NOT NULL"
        ).fetchall()
    return {sign: from_json(how) for sign, how in rows}


def opened(path: Path, name: str | None = None) -> foreign.Foreign:
    """The sheet of a file, of a workbook the one of that name. Refusal where there is none."""
    if not path.exists():
        raise Refusal(f"there is no file {path}; check the name")
    if path.is_dir():
        raise Refusal(f"{path} is a folder; name one file of it")
    try:
        sheets = foreign.read(path)
    except files.UnusableError as error:
        raise Refusal(f"{path.name}: {error}") from None
    sheets = [each for each in sheets if name is None or each.sheet == name]
    if not sheets:
        what = "is empty" if name is None else f"has no sheet {name!r}"
        raise Refusal(f"{path.name} {what}", 1 if name is None else 2)
    with_rows = [each for each in sheets if len(each.lines)]
    if not with_rows:
        raise Refusal(f"{path.name} has no rows below its header", 1)
    if len(with_rows) > 1:
        listed = ", ".join(each.sheet or "" for each in with_rows)
        raise Refusal(f"{path.name} has several sheets; name one with --sheet: {listed}")
    return with_rows[0]


def keep(store: Store, sheet: foreign.Foreign, mapping: FileMapping) -> FileMapping:
    """Keep a mapping for files with this header; an earlier one goes, but for the sites that it
    gave to files of other names. Returns it with its name."""
    before = kept(store)
    others = {each.name for sign, each in before.items() if sign != sheet.signature}
    if "site" in mapping.given:
        earlier = before[sheet.signature].by_file if sheet.signature in before else {}
        entry = {"site": mapping.given["site"], "zone": mapping.zone or ""}
        mapping = replace(mapping, by_file={**earlier, file_key(sheet.file): entry})
        mapping = replace(mapping, name=before[sheet.signature].name if earlier else mapping.name)
    mapping = replace(mapping, name=_name(mapping.name or sheet.file, others))
    with store.write() as connection:
        connection.execute("BEGIN")
        _put(connection, sheet.signature, mapping)
        books.touch(connection)
        connection.execute("COMMIT")
    return mapping


def _put(connection: duckdb.DuckDBPyConnection, sign: str, mapping: FileMapping) -> None:
    _remove(connection, sign)
    connection.execute(
        "INSERT INTO mappings (signature, table_name, zone, how) VALUES (?, ?, ?, ?)",
        [sign, mapping.table, mapping.zone, mapping.as_json()],
    )


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


# As a file ----------------------------------------------------------------------------------------

FILE = "mappings.json"
"""What an export calls the file of kept mappings; a load takes it back."""


def as_file(store: Store) -> str | None:
    """The kept mappings as the text of that file; None where none is kept."""
    found = [
        {"signature": sign, "how": json.loads(mapping.as_json())}
        for sign, mapping in kept(store).items()
    ]
    return json.dumps({"mappings": found}, ensure_ascii=False, indent=1) + "\n" if found else None


def from_file(path: Path) -> dict[str, FileMapping]:
    """Header signature → mapping, of a file that an export wrote. Raises UnusableError."""
    if unreadable := limits.unreadable(path):
        raise files.UnusableError(unreadable)
    found: dict[str, FileMapping] = {}
    with suppress(OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        listed = json.loads(path.read_text(encoding="utf-8-sig"))["mappings"]
        for each in listed:
            mapping = from_json(json.dumps(each["how"]))
            sign = each["signature"]
            if not (is_text(sign) and sign and is_sound(mapping)):
                break
            found[sign] = mapping
        else:
            return found
    raise files.UnusableError(
        "holds no kept mappings as `pourstats export` writes them; export again, or map such files"
        " anew"
    )


def take_back(store: Store, found: dict[str, FileMapping]) -> list[str]:
    """Keep those mappings, each in the place of an earlier one for its header; the names of those
    that are new or changed."""
    before = kept(store)
    fresh = {sign: mapping for sign, mapping in found.items() if before.get(sign) != mapping}
    if not fresh:
        return []
    names = {mapping.name for sign, mapping in before.items() if sign not in fresh}
    with store.write() as connection:
        connection.execute("BEGIN")
        for sign, mapping in fresh.items():
            named = replace(mapping, name=_name(mapping.name, names))
            names.add(named.name)
            _put(connection, sign, named)
        books.touch(connection)
        connection.execute("COMMIT")
    return sorted(mapping.name for mapping in fresh.values())


# Loading ------------------------------------------------------------------------------------------


def sheets_of(path: Path, kept: dict[str, FileMapping]) -> tuple[list[foreign.Foreign], list[str]]:
    """(the sheets of a file that have a mapping, the names of the others)."""
    try:
        sheets = foreign.read(path, kept) if foreign.may_be(path, kept) else []
    except files.UnusableError:
        # Told when it is read as our own, or not at all.
        return [], []
    mapped = [sheet for sheet in sheets if sheet.signature in kept]
    return mapped, [each.sheet or "" for each in sheets if each.signature not in kept]


def unclear(sheets: list[foreign.Foreign], kept: dict[str, FileMapping]) -> str | None:
    """Why it can't be told which site a file is of, or None."""
    for sheet in sheets:
        mapping = kept[sheet.signature]
        if for_file(mapping, sheet.file) is None:
            sites = sorted({entry["site"] for entry in mapping.by_file.values()})
            return (
                f"files of {' and '.join(sites)} have this header, and its name is none of theirs:"
                f" `pourstats map {sheet.file} --site NAME` says whose it is"
            )
    return None


def checked(
    sheet: foreign.Foreign, kept: dict[str, FileMapping], store: Store
) -> tuple[Checked, list[str]]:
    """(a sheet's rows by its mapping, what a load should tell)."""
    mapping = for_file(kept[sheet.signature], sheet.file)
    assert mapping is not None  # else the file was refused
    given = [f"{name} {mapping.given[name]}" for name in ("site", "pour_id")
             if name in mapping.given]  # fmt: skip
    # So that a second station's file with the same header is not taken for the first's.
    told = [
        f"{sheet.file}: every row taken for {' and '.join(given)}, as the mapping {mapping.name}"
        " says"
    ] if given else []  # fmt: skip
    ours, written = translated(sheet, mapping, known(store))
    return intake.checked(ours, TABLES[mapping.table], written), told


# Trying -------------------------------------------------------------------------------------------


@dataclass
class Trial:
    """What a file's rows would be if they were loaded so: our columns, and what would be set aside.

    ``rows`` are the first few, by column, as text; ``read`` counts all.
    """

    rows: list[dict[str, str]]
    read: int
    set_aside: list[Fault]
    warnings: list[str]


def trial(sheet: foreign.Foreign, mapping: FileMapping, known: Known, most: int = 5) -> Trial:
    """Read a file by a mapping, and store nothing."""
    table = TABLES[mapping.table]
    ours, written = translated(sheet, mapping, known)
    read = intake.checked(ours, table, written)
    rows = []
    for row in range(min(most, read.read)):
        cells = {}
        for name in read.names:
            value = read.columns[name][row].as_py()
            text = "" if value is None else _shown(value)
            clock = read.clocks.get(name)
            if clock is not None and clock[row] >= 0:
                text = f"{clock[row] // 3600:02d}:{clock[row] // 60 % 60:02d}"
            stood = files.shown(written.texts[name][row]).strip() if name in written.texts else ""
            lost = (row, name) in written.covered or any(
                row == at and name == of for at, of, _, _ in written.faults
            )
            cells[name] = "?" if lost or (stood and not text and not read.whole[row]) else text
        rows.append(cells)
    first_of = dict(reversed(read.faults))
    return Trial(rows, read.read, [first_of[row] for row in sorted(first_of)], read.warnings)


def _shown(value: Any) -> str:
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    return f"{value:.5g}" if isinstance(value, float) else str(value)
