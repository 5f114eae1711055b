"""A pour filled in as a form: what is known of it, what is wrong with what was filled in, stored.

Rows are held to the same checks as a load's. Of a pour that was tapped, what the form changes is
stored as taps too, so that they can still be undone and added to; any other is loaded.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from pourstats import units
from pourstats.faults import Fault, Refusal
from pourstats.logs import forms, stamps
from pourstats.logs.cell import quoted
from pourstats.logs.files import Sheet
from pourstats.logs.tables import JOBS, POURS, STAMPS, TABLES, Column, Table
from pourstats.store import taps
from pourstats.store.database import Store
from pourstats.store.history import delete_row
from pourstats.store.loading import Part
from pourstats.store.previewing import Upload, preview, put_in
from pourstats.store.report import Report
from pourstats.store.schema import first_row
from pourstats.store.tapping import Tap, take_back, tap

if TYPE_CHECKING:
    import duckdb

NAME = "form"
"""The source of rows that were filled in, where others have their file's name."""

FORM_TABLES = ("pours", "trucks", "passes")
EVENTS = {"trucks": stamps.LOAD_TIMES, "passes": stamps.PASS_TIMES}
KINDS = {"trucks": "load", "passes": "pass"}
KEYS = {"trucks": "ticket", "passes": "pass_no"}
GONE = "is blank; until the crew has left, the pour stays open"
TWICE = "stands twice; each needs its own"

Row = dict[str, str]


@dataclass
class Filled:
    """A pour as a form shows it: rows by table, as text in house units, blank where unknown.

    ``tapped``: it rests on taps; ``labels`` then has, by table, each row's label among them, and
    ``last_tap`` is the time of the latest.
    """

    pour_id: str
    rows: dict[str, list[Row]]
    tapped: bool = False
    labels: dict[str, list[str]] = field(default_factory=dict)
    last_tap: dt.datetime | None = None


def known(store: Store, pour_id: str) -> Filled:
    """What is known of a pour, from its taps, the record, or the planned job."""
    blank = Filled(pour_id, {"pours": [{"pour_id": pour_id}], "trucks": [], "passes": []})
    if not store.exists():
        return blank
    with store.read() as connection:
        if tapped(connection, pour_id):
            found = taps.of_pour(connection, pour_id)
            standing = _rows(connection, STAMPS, pour_id)
            loads, passes = stamps.labelled(standing)
            return Filled(
                pour_id,
                {"pours": found.rows["pours"], "trucks": _keyed(pour_id, loads, "trucks"),
                 "passes": _keyed(pour_id, passes, "passes")},
                True, {"trucks": list(loads), "passes": list(passes)},
                max(tap["at"] for tap in standing if tap["undone"] != "yes"),
            )  # fmt: skip
        rows = {name: _texts(connection, TABLES[name], pour_id) for name in FORM_TABLES}
        if rows["pours"]:
            return Filled(pour_id, rows)
        jobs = _texts(connection, JOBS, pour_id)
        if jobs:
            job = {name: text for name, text in jobs[0].items() if name in stamps.FROM_JOB}
            blank.rows["pours"] = [{"pour_id": pour_id, **job}]
    return blank


def elsewhere(connection: duckdb.DuckDBPyConnection, pour_id: str) -> bool:
    """Whether the record has the pour from a form or a file, so that taps change nothing of it."""
    row = first_row(
        connection.execute(
            """SELECT f.file FROM pours AS p LEFT JOIN sources AS f ON f.source_id = p._source
               WHERE p.pour_id = ?""",
            [pour_id],
        )
    )
    return row is not None and row[0] != taps.FILE


def tapped(connection: duckdb.DuckDBPyConnection, pour_id: str) -> bool:
    """Whether the pour has taps that stand, and is not in the record from elsewhere."""
    row = first_row(
        connection.execute(
            "SELECT count(*) FROM stamps WHERE pour_id = ? AND coalesce(undone, 'no') = 'no'",
            [pour_id],
        )
    )
    return row is not None and row[0] > 0 and not elsewhere(connection, pour_id)


def look_over(
    store: Store, filled: Filled, rows: Mapping[str, Sequence[Row]], system: units.System
) -> Report:
    """What a load of these rows would say; nothing is stored.

    ``rows``: by table, as text in the units of ``system``, bare clock times as the log allows. A
    fault's ``sheet`` is its table, its ``line`` the row, from 1.
    """
    report = preview(store, _upload(store, rows, system))
    if any(fault.sheet == "pours" for fault in report.set_aside):
        # Its loads and passes only wait for it.
        report.set_aside = [
            fault for fault in report.set_aside
            if fault.sheet == "pours" or fault.column != "pour_id"
        ]  # fmt: skip
    report.set_aside = [fault for fault in report.set_aside if not _waits(filled, fault)]
    for name, key in KEYS.items():
        given = [row.get(key, "") for row in rows.get(name, ())]
        report.set_aside += [
            Fault(NAME, place + 1, key, text, f"{quoted(text)} {TWICE}", name)
            for place, text in enumerate(given)
            if text and text in given[:place]
        ]
    if filled.tapped and not rows["pours"][0].get("crew_out"):
        gone = any(fault.column == "crew_out" for fault in report.set_aside)
        if not gone and filled.rows["pours"][0].get("crew_out"):
            report.set_aside.append(Fault(NAME, 1, "crew_out", None, GONE, "pours"))
    return report


def fill_in(
    store: Store, filled: Filled, rows: Mapping[str, Sequence[Row]], system: units.System
) -> None:
    """Store rows that :func:`look_over` found nothing wrong with. Raises Refusal if it does."""
    if filled.tapped:
        marks = _marks(filled, rows, system)
        if marks:
            tap(store, filled.pour_id, *marks)
        return
    report = put_in(store, _upload(store, rows, system))
    if report.set_aside:
        raise Refusal(str(report.set_aside[0]))


def take_out(store: Store, filled: Filled, name: str, place: int) -> None:
    """Take a load or pass out that was never there; one change, which can be taken back.

    ``place`` counts the rows of :func:`known`, from 0. Raises Refusal if it is gone already.
    """
    if not filled.tapped:
        delete_row(store, filled.pour_id, name, [filled.rows[name][place][KEYS[name]]])
        return
    with store.read() as connection:
        standing = _rows(connection, STAMPS, filled.pour_id)
    found = stamps.of_label(standing, filled.labels[name][place])
    if not found:
        raise Refusal("it is gone already; reload the page", 1)
    take_back(store, *(mark["stamp_id"] for mark in found))


def _waits(filled: Filled, fault: Fault) -> bool:
    """Whether a tapped load only waits for its volume, or a pass for its start: no fault yet."""
    tapped_rows = len(filled.labels.get(fault.sheet or "", ()))
    waited = {"trucks": "volume", "passes": "start"}.get(fault.sheet or "")
    return (fault.line or 0) <= tapped_rows and fault.column == waited and fault.value is None


def _upload(store: Store, rows: Mapping[str, Sequence[Row]], system: units.System) -> Upload:
    path = store.path.resolve().with_name(f"{store.path.stem}_uploads") / NAME
    parts = [
        Part(path, NAME, [(TABLES[name], _sheet(TABLES[name], list(given), system))])
        for name, given in rows.items()
        if given
    ]
    return Upload(parts)


def _sheet(table: Table, rows: list[Row], system: units.System) -> Sheet:
    names = [name for name in table.names if any(name in row for row in rows)]
    heads = []
    for name in names:
        column = table.column(name)
        heads.append(forms.header(column, units.unit_in(column.unit, system))
                     if column.unit else name)  # fmt: skip
    columns = [pa.array([row.get(name) or "" for row in rows], pa.string()) for name in names]
    raw = pa.array([", ".join(f"{k}={v}" for k, v in row.items()) for row in rows], pa.string())
    return Sheet(NAME, table.name, heads, columns, np.arange(1, len(rows) + 1, dtype=np.int64), raw)


# Taps -------------------------------------------------------------------------------------------


def _marks(filled: Filled, rows: Mapping[str, Sequence[Row]], system: units.System) -> list[Tap]:
    """The taps that say what the form changed."""
    # After every tap that it may correct: of several the latest counts.
    now = max(dt.datetime.now().replace(microsecond=0), filled.last_tap or dt.datetime.min)
    old, new = filled.rows["pours"][0], dict(rows["pours"][0])
    changed = _changed(POURS, old, new, system)
    marks: list[Tap] = []
    if changed.get("crew_out") and not old.get("crew_out"):
        marks.append(Tap("gone", "", _moment(changed.pop("crew_out"), new)))
    if changed.get("crew_in") and not old.get("crew_in"):
        hands = changed.pop("hands", old.get("hands", ""))
        marks.append(Tap("hands", hands, _moment(changed.pop("crew_in"), new, end=False)))
    if changed:
        marks.append(Tap("describe", _pairs(changed), now))
    for name in EVENTS:
        marks += _row_marks(filled, name, rows.get(name, ()), now, system)
    return marks


def _row_marks(
    filled: Filled, name: str, rows: Sequence[Row], now: dt.datetime, system: units.System
) -> list[Tap]:
    """The same for loads or passes: the first so many rows are those that were tapped."""
    table, marks = TABLES[name], []
    labels = filled.labels.get(name, [])
    taken = {int(label.rpartition("-")[2]) for label in labels if label[-1:].isdigit()}
    event = next(iter(EVENTS[name]))
    column = EVENTS[name][event]
    for place, row in enumerate(rows):
        own = {"pour_id": filled.pour_id}
        old = filled.rows[name][place] if place < len(labels) else own
        changed = _changed(table, old, row, system)
        if not changed:
            continue
        if place < len(labels):
            label = labels[place]
        else:
            number = int(row[KEYS[name]]) if name == "passes" else max(taken, default=0) + 1
            taken.add(number)
            label = f"{KINDS[name]}-{number}"
        # The form's own time is no time of the load or pass.
        said = {column: old.get(column, ""), **changed}
        marks.append(Tap(event, f"{label};{_pairs(said)}", now))
    return marks


def _changed(table: Table, old: Row, new: Row, system: units.System) -> Row:
    """What differs, in house units; a blank erases."""
    found: Row = {}
    for name, text in new.items():
        house, was = _house(table.column(name), text, system), old.get(name) or ""
        if house != was and not (table.column(name).unit and _same(house, was)):
            found[name] = house
    return found


def _same(text: str, other: str) -> bool:
    try:
        return math.isclose(float(text), float(other), rel_tol=1e-9)
    except ValueError:
        return False


def _house(column: Column, text: str, system: units.System) -> str:
    if not text or not column.unit or units.unit_in(column.unit, system) == column.unit:
        return text
    unit = units.checked_unit(units.unit_in(column.unit, system), column.unit)
    value = units.to_house(np.array([float(text)]), unit, column.unit)[0]
    return f"{value:.10g}"


def _moment(text: str, pour: Row, end: bool = True) -> dt.datetime:
    """A time of the form as a moment: a bare one on the pour's day, or the next."""
    day = dt.date.fromisoformat(pour["date"])
    if len(text) > 8:
        return dt.datetime.fromisoformat(text)
    found = dt.datetime.combine(day, dt.time.fromisoformat(text.zfill(5)))
    begun = pour.get("place_start") or pour.get("crew_in") or ""
    if end and begun:
        start = _moment(begun, {"date": pour["date"]}, end=False)
        if found < start:
            found += dt.timedelta(days=1)
    return found


def _pairs(values: Row) -> str:
    return ";".join(f"{name}={stamps.escaped(text)}" for name, text in values.items())


# Rows as text -----------------------------------------------------------------------------------


def _keyed(pour_id: str, rows: Mapping[str, Row], name: str) -> list[Row]:
    key = KEYS[name]
    return [
        {"pour_id": pour_id, key: label if name == "trucks" else label.rpartition("-")[2], **row}
        for label, row in rows.items()
    ]


def _rows(
    connection: duckdb.DuckDBPyConnection, table: Table, pour_id: str
) -> list[dict[str, Any]]:
    listed = ", ".join(f'"{name}"' for name in table.names)
    found = connection.execute(
        f"SELECT {listed} FROM {table.name} WHERE pour_id = ? ORDER BY _seq", [pour_id]
    ).fetchall()
    return [dict(zip(table.names, row, strict=True)) for row in found]


def _texts(connection: duckdb.DuckDBPyConnection, table: Table, pour_id: str) -> list[Row]:
    return [
        {name: text for name, value in row.items() if (text := _text(value))}
        for row in _rows(connection, table, pour_id)
    ]


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, dt.date):
        return value.isoformat()
    return f"{value:.10g}" if isinstance(value, float) else str(value)
