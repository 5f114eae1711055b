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
from pourstats.settings import RULES, RuleError, parsed
from pourstats.store import forecasts, reading, taps
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.rules import in_force, set_rule

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

SO_FAR = ("pours", "trucks", "passes", "crew_time")
MACHINES = ("trowels_walk_behind", "trowels_ride_on", "saws", "vehicles")
"""House rules that count what the crew has; a plan may be asked for with other counts."""


def machines_in_force(store: Store) -> dict[str, tuple[int | None, int | None]]:
    """Of each machine how many the house has set, and how many are taken until it has; None where
    that depends on the day."""
    rules, usual = in_force(store), {name: RULES[name].default for name in MACHINES}
    return {
        name: (
            int(rules[name]["value"]) if rules[name]["set"] else None,
            None if usual[name] is None else int(float(str(usual[name]))),
        )
        for name in MACHINES
    }


def set_machines(store: Store, machines: Mapping[str, int | None]) -> None:
    """Set the counts as the house's; one that is None goes back to what is taken until it is set.
    Raises Refusal."""
    before = machines_in_force(store)
    for name in MACHINES:
        count = machines.get(name)
        if count != before[name][0]:
            set_rule(store, name, "" if count is None else str(count))


def plan_answer(
    store: Store,
    jobs: tuple[str, ...],
    forecast: Path,
    off: tuple[str, ...] = (),
    now: str | None = None,
    log: Path | None = None,
    machines: Mapping[str, int | None] | None = None,
) -> Answer:
    """The plan of the jobs' days; kept for scoring. Raises Refusal.

    With ``now`` the rest of that day is planned anew from what has happened: the log folder's
    rows and taps, else the store's. ``machines`` counts those of :data:`MACHINES` for this plan
    alone, None as until it is set; where that differs from the house's, it is a what-if and not
    kept.
    """
    from pourstats.planning.day import kept_numbers, plan
    from pourstats.planning.day.plan import FRAMES

    call = asked(store, jobs, forecast, FRAMES)
    moment = _moment(now, call.jobs)
    ids = list(call.jobs["pour_id"])
    so_far = _so_far(store, log, ids) if moment is not None else None
    what_if = machines is not None and any(
        machines.get(name) != own for name, (own, _) in machines_in_force(store).items()
    )
    house = call.house | _counted(machines) if machines is not None and what_if else call.house
    result = plan(call.jobs, call.forecast, call.record, house, off, moment, so_far)
    if call.record is not None and not what_if:
        told = [*_told(result), *(forecasts.Told(*row) for row in kept_numbers(result))]
        call.notes += kept(store, "plan", told)
    return Answer(result, call.notes, call.status)


def _counted(machines: Mapping[str, int | None]) -> dict[str, Any]:
    """The counts as house rules, within what is allowed. Raises Refusal."""
    given = {name: machines.get(name) for name in MACHINES}
    try:
        return {
            name: parsed(name, "" if count is None else str(count)) for name, count in given.items()
        }
    except RuleError as error:
        raise Refusal(str(error)) from None


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
