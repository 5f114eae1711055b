"""Taps during a pour into the store: each can be sent twice without harm, and be undone."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from pourstats.faults import Refusal
from pourstats.logs import intake
from pourstats.logs.files import Sheet
from pourstats.logs.tables import STAMPS
from pourstats.store import books, taps
from pourstats.store.database import Store
from pourstats.store.rows import store_rows
from pourstats.store.schema import first_row, meta_number

if TYPE_CHECKING:
    import duckdb

SAME_TAP_S = 3.0
"""A second tap of the same thing within this many seconds counts once."""


@dataclass(frozen=True)
class Tap:
    """One thing tapped: ``event`` of :data:`pourstats.logs.tables.EVENTS`, its subject, its time.

    ``at`` is local wall-clock time; ``stamp_id`` is made by the device, so that the same tap sent
    twice is one.
    """

    event: str
    subject: str
    at: dt.datetime
    stamp_id: str = ""


def tap(store: Store, pour_id: str, *marks: Tap) -> list[str]:
    """Store taps of one pour, together or not at all; their stamp ids in order.

    A tap whose stamp_id is stored changes nothing, and one of the same event and subject within
    3 s of a standing one gives that one's id. Once the pour is whole its rows are stored too.
    Raises Refusal for a tap that breaks a rule of the stamps table.
    """
    pour_id = _sendable(pour_id)
    marks = tuple(replace(mark, subject=_sendable(mark.subject)) for mark in marks)
    with store.write() as connection:
        connection.execute("BEGIN")
        first = meta_number(connection, "next_seq")
        change = books.begin(connection, "tap", f"{pour_id}, {marks[0].event.replace('_', ' ')}")
        ids, fresh = [], []
        for mark in marks:
            known = _standing(connection, pour_id, mark)
            ids.append(known or mark.stamp_id or uuid.uuid4().hex)
            if known is None:
                fresh.append(_row(pour_id, mark, ids[-1]))
        if not fresh:
            connection.execute("ROLLBACK")
            return ids
        _stored(connection, change, fresh)
        taps.store_taps(connection, change)
        books.finish(connection, change, first)
        connection.execute("COMMIT")
    return ids


def _sendable(text: str) -> str:
    """A text without halves of letters, which UTF-8 can't hold."""
    return text.encode("utf-8", "replace").decode()


def take_back(store: Store, *stamp_ids: str) -> bool:
    """Undo taps of one pour as one change; False if all were undone already.

    Rows that the pour's taps had given are derived anew: if it is no longer whole, the pour is open
    again. Raises Refusal if there is no such tap.
    """
    with store.write(create=False) as connection:
        found = [_stored_tap(connection, stamp_id) for stamp_id in stamp_ids]
        open_taps = [tap for tap in found if tap["undone"] != "yes"]
        if not open_taps:
            return False
        connection.execute("BEGIN")
        first = meta_number(connection, "next_seq")
        pour_id, event = open_taps[0]["pour_id"], open_taps[0]["event"].replace("_", " ")
        change = books.begin(connection, "undo of a tap", f"{pour_id}, {event}")
        rows = [
            _row(pour_id, Tap(tap["event"], tap["subject"] or "", tap["at"]), tap["stamp_id"])
            | {"undone": "yes"}
            for tap in open_taps
        ]
        _stored(connection, change, rows)
        taps.reopen(connection, change, pour_id)
        taps.store_taps(connection, change)
        books.finish(connection, change, first)
        connection.execute("COMMIT")
    return True


def _stored_tap(connection: duckdb.DuckDBPyConnection, stamp_id: str) -> dict[str, Any]:
    names = ", ".join(f'"{name}"' for name in STAMPS.names)
    row = first_row(
        connection.execute(f"SELECT {names} FROM stamps WHERE stamp_id = ?", [stamp_id])
    )
    if row is None:
        raise Refusal(f"no tap {stamp_id!r} is stored; reload the page", 1)
    return dict(zip(STAMPS.names, row, strict=True))


def standing(connection: duckdb.DuckDBPyConnection, pour_id: str) -> list[dict[str, Any]]:
    """The pour's taps that are not undone, in time order: stamp_id, event, subject, at."""
    rows = connection.execute(
        """SELECT stamp_id, event, coalesce(subject, ''), "at" FROM stamps
           WHERE pour_id = ? AND coalesce(undone, 'no') = 'no' ORDER BY "at", _seq""",
        [pour_id],
    ).fetchall()
    return [dict(zip(("stamp_id", "event", "subject", "at"), row, strict=True)) for row in rows]


def _standing(connection: duckdb.DuckDBPyConnection, pour_id: str, mark: Tap) -> str | None:
    near = dt.timedelta(seconds=SAME_TAP_S)
    row = first_row(
        connection.execute(
            """SELECT stamp_id FROM stamps
               WHERE stamp_id = ? OR (pour_id = ? AND event = ? AND coalesce(subject, '') = ?
                   AND "at" BETWEEN ? AND ? AND coalesce(undone, 'no') = 'no')
               ORDER BY stamp_id <> ? LIMIT 1""",
            [mark.stamp_id, pour_id, mark.event, mark.subject, mark.at - near, mark.at + near,
             mark.stamp_id],
        )
    )  # fmt: skip
    return None if row is None else str(row[0])


def _row(pour_id: str, mark: Tap, stamp_id: str) -> dict[str, str]:
    return {
        "stamp_id": stamp_id, "pour_id": pour_id, "event": mark.event, "subject": mark.subject,
        "at": mark.at.isoformat(sep=" ", timespec="seconds"), "undone": "no",
    }  # fmt: skip


def _stored(
    connection: duckdb.DuckDBPyConnection, change: books.Change, rows: list[dict[str, str]]
) -> None:
    columns = [
        pa.array([taps.as_cell(row[name]) for row in rows], pa.string()) for name in STAMPS.names
    ]
    raw = pa.array([", ".join(row.values()) for row in rows], pa.string())
    lines = np.arange(1, len(rows) + 1, dtype=np.int64)
    sheet = Sheet(taps.FILE, None, list(STAMPS.names), columns, lines, raw)
    outcome = store_rows(connection, intake.checked(sheet, STAMPS), change)
    if outcome.faults:
        fault = outcome.faults[0][1]
        raise Refusal(f"the tap was not stored: {fault.column}: {fault.reason}")
