"""Jobs ahead and forecasts: rows of the log format that are read for one call, and not stored."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from pourstats.faults import Fault, Refusal
from pourstats.logs import clocks, files, foreign, intake, workbook
from pourstats.logs.cell import normalized, quoted
from pourstats.logs.checked import Checked
from pourstats.logs.files import shown
from pourstats.logs.mapping import FileMapping
from pourstats.logs.tables import SQL_TYPES, TABLES, Table
from pourstats.store import mappings, reading
from pourstats.store.database import Store

if TYPE_CHECKING:
    import pandas as pd


@dataclass
class Ahead:
    """Rows of one table in house units, every column of it, and what was set aside or odd."""

    rows: pd.DataFrame
    set_aside: list[Fault] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    @property
    def status(self) -> int:
        """3 where rows were set aside, else 0."""
        return 3 if self.set_aside else 0


def jobs_ahead(store: Store, wanted: tuple[str, ...]) -> Ahead:
    """The jobs of files in the log format, or of pour ids of `jobs` in the store.

    Raises Refusal: 1 for jobs that aren't stored, 2 for a file that can't be used.
    """
    import pandas as pd

    parts, ids = [], []
    for name in wanted:
        path = Path(name)
        if path.exists() or path.suffix.lower() in (".csv", ".xlsx", ".xlsm"):
            parts.append(rows_ahead(path, "jobs"))
        else:
            ids.append(name)
    if ids:
        parts.append(Ahead(_stored_jobs(store, ids)))
    if not parts:
        raise Refusal("name a jobs file, or pour ids of the jobs table", 1)
    return Ahead(
        pd.concat([part.rows for part in parts], ignore_index=True).drop_duplicates(
            "pour_id", keep="last", ignore_index=True
        ),
        [fault for part in parts for fault in part.set_aside],
        [line for part in parts for line in part.warnings],
    )


def _stored_jobs(store: Store, ids: list[str]) -> pd.DataFrame:
    if not store.exists():
        raise Refusal(
            f"there is no file {ids[0]!r}, and no store that could hold such a job; name a jobs"
            " file (`pourstats template DIR` makes a blank one)",
            1,
        )
    with store.read() as connection:
        jobs = reading.frame(connection, "jobs")
    missing = [name for name in ids if name not in set(jobs["pour_id"])]
    if missing:
        known = ", ".join(jobs["pour_id"].head(8)) or "none"
        raise Refusal(
            f"no file and no stored job is called {missing[0]!r}; stored jobs: {known}", 1
        )
    return jobs[jobs["pour_id"].isin(ids)].reset_index(drop=True)


def forecast_ahead(store: Store, path: Path) -> Ahead:
    """The weather of a forecast file: by the mapping that the store keeps for its header, else in
    the log format. Raises Refusal, which points to `pourstats map` for another program's file."""
    kept = mappings.kept(store)
    mapped = mappings.sheets_of(path, kept)[0] if kept and path.is_file() else []
    if mapped:
        return _by_mapping(store, path, mapped, kept)
    try:
        return rows_ahead(path, "weather")
    except Refusal as refused:
        if not _of_another_program(path):
            raise
        raise Refusal(
            f"{path.name} isn't in the weather format; `pourstats map {path} --site NAME` shows how"
            f" to read it and keeps that for forecasts too ({refused})"
        ) from None


def _by_mapping(
    store: Store, path: Path, mapped: list[foreign.Foreign], kept: dict[str, FileMapping]
) -> Ahead:
    sheets = [sheet for sheet in mapped if kept[sheet.signature].table == "weather"]
    if not sheets:
        other = kept[mapped[0].signature]
        raise Refusal(
            f"{path.name} is read as {other.table}, as the mapping {other.name} says; a forecast"
            " is a weather file"
        )
    unclear = mappings.unclear(sheets, kept)
    if unclear is not None:
        raise Refusal(f"{path.name}: {unclear}")
    try:
        checked, told = mappings.checked(sheets[0], kept, store)
    except files.UnusableError as error:
        raise Refusal(f"{path.name}: {error}") from None
    checked.warnings = [*told, *checked.warnings]
    return _whole(path, checked, TABLES["weather"])


def _of_another_program(path: Path) -> bool:
    """Whether a file is there that can be mapped, without the columns that weather needs."""
    if not path.is_file() or path.suffix.lower() not in (*foreign.WORKBOOKS, *foreign.TEXTS):
        return False
    try:
        sheet = _sheet(path, TABLES["weather"])
    except (Refusal, files.UnusableError):
        return True
    if sheet is None:
        return False
    names = intake.checked(sheet, TABLES["weather"]).names
    return not set(TABLES["weather"].required) <= set(names)


def rows_ahead(path: Path, name: str) -> Ahead:
    """The rows of a file that holds one table, whatever the file's name. Raises Refusal."""
    table = TABLES[name]
    try:
        sheet = _sheet(path, table)
        if sheet is None:
            raise Refusal(f"{path.name} is empty; it should hold {table.meaning}", 1)
        checked = intake.checked(sheet, table)
    except files.UnusableError as error:
        raise Refusal(f"{path.name}: {error}") from None
    return _whole(path, checked, table)


def _whole(path: Path, checked: Checked, table: Table) -> Ahead:
    frame = _frame(checked, table)
    faults = [fault for _, fault in checked.faults]
    if checked.read == 0:
        raise Refusal(f"{path.name} has a header but no rows; it should hold {table.meaning}", 1)
    if frame.empty:
        raise Refusal(f"no row of {path.name} can be used: {faults[0]}", 1)
    keys = list(table.key)
    twice = int(frame.duplicated(keys).sum())
    if twice:
        checked.warnings.append(
            f"{path.name}: {twice} rows repeat a {' and '.join(keys)}; the last one counts"
        )
        frame = frame.drop_duplicates(keys, keep="last", ignore_index=True)
    return Ahead(frame, faults, checked.warnings)


def _sheet(path: Path, table: Table) -> files.Sheet | None:
    if path.is_dir():
        inside = path / f"{table.name}.csv"
        if not inside.exists():
            raise Refusal(f"the folder {path} holds no {table.name}.csv")
        path = inside
    if not path.exists():
        raise Refusal(f"there is no file {path}; check the name")
    if path.suffix.lower() not in (".xlsx", ".xlsm"):
        return files.read_csv(path, path.name)
    sheets = [sheet for sheet in workbook.read_workbook(path) if isinstance(sheet, files.Sheet)]
    named = [s for s in sheets if normalized(s.sheet or "") == normalized(table.name)]
    return next(iter(named or sheets), None)


def _frame(checked: Checked, table: Table) -> pd.DataFrame:
    """Whole rows as a frame with every column of the table; bare times are on the job's date."""
    n = checked.read
    columns = dict(checked.columns)
    if table.anchor == "job" and "date" in columns:
        date = columns["date"].to_numpy(zero_copy_only=False).astype("datetime64[D]")
        times = {
            name: columns[name].to_numpy(zero_copy_only=False).astype("datetime64[us]")
            for name in checked.clocks
        }
        done, broken = clocks.resolved(table, times, checked.clocks, date, None)
        for name, array in done.items():
            columns[name] = pa.array(array, pa.timestamp("us"))
        for rule in broken:
            for row in np.flatnonzero(rule.rows & checked.whole):
                text = shown(checked.written[rule.column][int(row)].as_py()).strip()
                checked.fault(int(row), rule.column, text, f"{quoted(text)} {rule.reason}")
    whole = pa.array(np.flatnonzero(checked.whole))
    arrays = {
        column.name: (
            columns[column.name]
            if column.name in columns
            else pa.nulls(n, intake.ARROW_TYPES[SQL_TYPES[column.kind]])
        ).take(whole)
        for column in table.columns
    }
    frame: pd.DataFrame = pa.table(arrays).to_pandas(date_as_object=False)
    return frame
