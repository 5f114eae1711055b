"""The day's plan for command and page: read, ask planning, keep, write the calendar."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourstats.faults import Refusal
from pourstats.logs.cell import Reading
from pourstats.logs.cells import read_cell
from pourstats.logs.tables import TABLES
from pourstats.reporting.answers import LEVELS, Answer, asked, kept
from pourstats.reporting.outfile import whole
from pourstats.store import forecasts, reading, taps
from pourstats.store.database import Store
from pourstats.store.loading import load

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

SO_FAR = ("pours", "trucks", "passes", "crew_time")


def plan_answer(
    store: Store,
    jobs: tuple[str, ...],
    forecast: Path,
    off: tuple[str, ...] = (),
    now: str | None = None,
    log: Path | None = None,
) -> Answer:
    """The plan of the jobs' days; kept for scoring. Raises Refusal.

    With ``now`` the rest of that day is planned anew from what has happened: the log folder's
    rows and taps, else the store's.
    """
    from pourstats.planning.day import kept_numbers, plan
    from pourstats.planning.day.plan import FRAMES

    call = asked(store, jobs, forecast, FRAMES)
    moment = _moment(now, call.jobs)
    ids = list(call.jobs["pour_id"])
    so_far = _so_far(store, log, ids) if moment is not None else None
    result = plan(call.jobs, call.forecast, call.record, call.house, off, moment, so_far)
    if call.record is not None:
        told = [*_told(result), *(forecasts.Told(*row) for row in kept_numbers(result))]
        call.notes += kept(store, "plan", told)
    return Answer(result, call.notes, call.status)


def _moment(now: str | None, jobs: pd.DataFrame) -> pd.Timestamp | None:
    import pandas as pd

    if now is None:
        return None
    cell = read_cell(now, TABLES["jobs"].column("place_start"), Reading())
    if isinstance(cell.value, dt.datetime):
        return pd.Timestamp(cell.value)
    if cell.clock is None:
        raise Refusal(f"--now takes a time, as 9:15 or 2031-06-03 09:15; got '{now}'")
    return pd.Timestamp(jobs["date"].min()).normalize() + pd.Timedelta(seconds=cell.clock)


def _so_far(store: Store, log: Path | None, ids: list[str]) -> Mapping[str, pd.DataFrame] | None:
    if log is None:
        if not store.exists():
            return None
        with store.read() as connection:
            return happened(connection, ids)
    with tempfile.TemporaryDirectory() as folder:
        own = Store(Path(folder) / "today.duckdb")
        load(own, [log])
        if not own.exists():
            return None
        with own.read() as connection:
            return happened(connection, ids)


def happened(connection: duckdb.DuckDBPyConnection, ids: list[str]) -> dict[str, pd.DataFrame]:
    """What is logged of these pours so far, in the tables of :data:`SO_FAR`; of a pour that is
    still open, what its taps say."""
    import pandas as pd

    found = {}
    stored = reading.frames(connection, *SO_FAR)
    logged = set(stored["pours"]["pour_id"])
    tapped = {name: taps.of_pour(connection, name).rows for name in ids if name not in logged}
    for name in SO_FAR:
        columns = {column.name: column for column in TABLES[name].columns}
        rows = [
            {key: read_cell(text, columns[key], Reading()).value for key, text in row.items()}
            for own in tapped.values()
            for row in own.get(name, [])
        ]
        mine = stored[name][stored[name]["pour_id"].isin(ids)]
        more = pd.DataFrame(rows, columns=list(columns)) if rows else None
        parts = [part for part in (mine, more) if part is not None and len(part)]
        frame = pd.concat(parts, ignore_index=True) if parts else mine
        for key, column in columns.items():
            if column.kind in ("time", "date"):
                frame[key] = pd.to_datetime(frame[key])
        found[name] = frame
    return found


def _told(result: Mapping[str, Any]) -> list[forecasts.Told]:
    """First and last pass in minutes since midnight of the day, as the finishing clock has them."""
    told = []
    for day in result["days"]:
        midnight = dt.datetime.fromisoformat(day["date"][:10])
        for pour in day["pours"]:
            for key, target in (("first_pass", "first_pass_min"),
                                ("last_pass_end", "last_pass_end_min")):  # fmt: skip
                for name, time in (pour[key] or {}).items():
                    if time is not None and name in LEVELS:
                        after = dt.datetime.fromisoformat(time) - midnight
                        minutes = after.total_seconds() / 60
                        told.append(forecasts.Told(pour["pour_id"], target, LEVELS[name], minutes))
    return told


def write_calendar(store: Store, plan: Mapping[str, Any], path: Path) -> str:
    """Write the plan as iCalendar in each site's zone; a line that says so. Raises Refusal."""
    from pourstats.reporting.calendar import calendar_bytes
    from pourstats.store.rules import in_force

    zone = in_force(store, "zone")["zone"]["value"]
    zones: dict[str, str | None] = {"": str(zone) if zone else None}
    if store.exists():
        with store.read() as connection:
            sites = reading.frame(connection, "sites")
        zones |= {
            str(site): str(own)
            for site, own in zip(sites["site"], sites["zone"], strict=True)
            if isinstance(own, str)
        }
    with whole(path, "ics") as draft:
        draft.write_bytes(calendar_bytes(plan, zones))
    return f"calendar written to {path}"
