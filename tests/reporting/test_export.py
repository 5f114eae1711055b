"""A store written out and loaded into an empty one is the same store, history apart."""

from __future__ import annotations

import csv
import datetime as dt
import tempfile
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES, Column, Table
from pourstats.reporting.export import write_export
from pourstats.store import forecasts, measures, openpours, reading, rules
from pourstats.store.database import Store
from pourstats.store.history import delete
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder
from pourstats.store.tapping import Tap, take_back, tap
from pourstats.units import System

DAY = dt.datetime(2025, 11, 3, 6, 0)
ABOUT = "date=2025-11-03;site=Mill Flats;slab_type=garage;area=600;thickness=4"


def at(minutes: int) -> dt.datetime:
    return DAY + dt.timedelta(minutes=minutes)


def tapped(store: Store, pour_id: str, *marks: tuple[str, str, int]) -> list[str]:
    first = (Tap("describe", ABOUT, DAY), Tap("hands", "4", DAY))
    return tap(store, pour_id, *first, *(Tap(event, what, at(when)) for event, what, when in marks))


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """The sample season with all that a store can hold beside: house rules, a bid that was told,
    taps of a pour that is whole, of one that was corrected by a file, of one deleted, of one
    under way; times with seconds, text that a spreadsheet would run."""
    folder = tmp_path_factory.mktemp("store")
    store = Store(folder / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    for name, value in (("burden", "0.41"), ("default_pay", "29.5"), ("free_min_per_yd3", "6")):
        rules.set_rule(store, name, value)
    told = [forecasts.Told("B270", "labor_h", level, 31.4 + level) for level in (0.1, 0.5, 0.9)]
    assert forecasts.keep(store, "bid", [*told, forecasts.Told("B270", "usd", None, 9e3)]) is None
    day = (("first_concrete", "", 60), ("load_in", "load-1;volume=8.5;ticket=01", 55),
           ("load_empty", "load-1", 90), ("strike_off_done", "", 130), ("machine_on", "", 270),
           ("pass_on", "1;tool=pan", 270), ("pass_off", "1", 300), ("last_pass_off", "", 400),
           ("gone", "", 490))  # fmt: skip
    ids = tapped(store, "T1", *day)
    take_back(store, ids[6])
    tapped(store, "T2", *day)
    (folder / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness,machine_on,passes_done,notes\n"
        "T2,2025-11-03,Mill Flats,garage,600,4 1/2,10:31:07,,'=SUM(A1)\n",
        encoding="utf-8",
    )
    load(store, [folder / "pours.csv"])
    tapped(store, "T3", *day)
    delete(store, "T3")
    tapped(store, "T4", *day[:3])
    return store


def whole(store: Store) -> dict[str, pd.DataFrame]:
    """Every table and measure in an order of its own, and the pours under way."""
    with store.read() as connection:
        found = reading.frames(connection, *TABLES, *measures.MEASURES)
        found["unfinished"] = pd.DataFrame(openpours.unfinished(connection))
    # Taps of a deleted pour are history.
    found["stamps"] = found["stamps"][found["stamps"]["pour_id"] != "T3"]
    return {
        name: frame.sort_values(list(frame.columns), ignore_index=True, key=lambda s: s.astype(str))
        for name, frame in found.items()
    }


def same(found: dict[str, pd.DataFrame], wanted: dict[str, pd.DataFrame], system: System) -> None:
    for name, frame in wanted.items():
        # A metric length reads back to a few units of its last place (the contract: 1e-9).
        # Tables to the last digit; a measure adds up in an order that differs from run to run.
        exact: dict[str, Any] = (
            {"check_exact": True} if system == "us" and name in TABLES else {"rtol": 1e-9}
        )
        pd.testing.assert_frame_equal(found[name], frame, obj=f"{name} ({system})", **exact)


@pytest.fixture(scope="module")
def before(season: Store) -> dict[str, pd.DataFrame]:
    return whole(season)


@pytest.mark.parametrize("system", ["us", "metric"])
def test_the_season_comes_back_whole(
    season: Store, before: dict[str, pd.DataFrame], tmp_path: Path, system: System
) -> None:
    written = write_export(season, tmp_path / "out", system, lambda line: None)
    assert {"settings.csv", "stamps.csv", "forecasts.csv", "jobs.csv", "pours.csv"} <= set(written)
    fresh = Store(tmp_path / "fresh.duckdb")
    report = load(fresh, [tmp_path / "out"])
    assert (report.status, report.set_aside) == (0, [])
    # Of taps a load says which pour is under way, and which a file says otherwise.
    assert all(line.startswith("stamps: ") for line in report.warnings)
    assert sum(c["added"] for c in report.tables.values()) == sum(written.values())
    same(whole(fresh), before, system)


@pytest.mark.parametrize("there", [False, True])
def test_an_export_that_is_cut_short_leaves_nothing_that_passes_for_the_record(
    season: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: bool
) -> None:
    from pourstats.reporting import export

    folder, written = tmp_path / "out", []
    if there:
        folder.mkdir()
        (folder / "mine.txt").write_text("kept")

    def full(*given: Any, **named: Any) -> None:
        if len(written) == 5:
            raise Refusal(f"{given[4]} can't be written (No space left on device)")
        written.append(given[1])
        usual(*given, **named)

    usual = export.tables.write
    monkeypatch.setattr(export.tables, "write", full)
    with pytest.raises(Refusal) as caught:
        write_export(season, folder, "us", lambda line: None)
    assert str(folder / "passes.csv").rpartition("/")[0] in str(caught.value)
    assert ".part" not in str(caught.value)
    assert [path.name for path in tmp_path.rglob("*")] == (["out", "mine.txt"] if there else [])
    monkeypatch.undo()
    write_export(season, folder, "us", lambda line: None)
    with pytest.raises(Refusal, match="is there already"):
        write_export(season, folder, "us", lambda line: None)


def test_the_parquet_files_hold_the_same_rows(
    season: Store, before: dict[str, pd.DataFrame], tmp_path: Path
) -> None:
    written = write_export(season, tmp_path / "out", "us", lambda line: None)
    for file, rows in written.items():
        name = file.removesuffix(".csv")
        read = duckdb.sql(f"FROM '{tmp_path / 'out' / name}.parquet'").df()
        assert len(read) == rows
        read = read.sort_values(list(read), ignore_index=True, key=lambda s: s.astype(str))
        pd.testing.assert_frame_equal(
            read.astype(object).where(read.notna(), None),
            before[name].astype(object).where(before[name].notna(), None),
            check_dtype=False, obj=name,
        )  # fmt: skip


# Any store ----------------------------------------------------------------------------------------

POURS, SITES = ("=1+1", "01", "Peña 2"), ("Oak", "@x")
WORDS = st.sampled_from(["", "x", "'=x", "a;b", 'so, "so"', "line\nline", "-5", "n/a", "01"])
DAYS = st.dates(dt.date(2031, 1, 1), dt.date(2031, 12, 31))
MINUTES = st.integers(6 * 60, 20 * 60)


@st.composite
def rows(draw: st.DrawFn, table: Table) -> list[dict[str, str]]:
    """A few rows that the format takes: keys once, ends after starts, the rest as drawn."""
    found: dict[tuple[str, ...], dict[str, str]] = {}
    for _ in range(draw(st.integers(1, 4))):
        day = draw(DAYS)
        row = {c.name: _cell(draw, c, day) for c in table.columns}
        pairs = [*table.order, *((c.end_of, c.name) for c in table.columns if c.end_of)]
        for first, last in pairs:
            if row[first] and row[last]:
                row[first], row[last] = sorted((row[first], row[last]))
        if table.name == "settings":
            row["value"] = {"burden": "0.42", "free_min_per_yd3": "6"}[row["name"]]
        if table.name == "stamps":
            row |= {"pour_id": "under way", "event": "first_concrete", "subject": ""}
        found[tuple(row[name] for name in table.key)] = row
    return list(found.values())


def _cell(draw: st.DrawFn, column: Column, day: dt.date) -> str:
    named = {"pour_id": POURS, "site": SITES, "name": ("burden", "free_min_per_yd3"),
             "zone": ("America/Denver",)}  # fmt: skip
    if column.name in named:
        return draw(st.sampled_from(named[column.name]))
    if column.kind == "date":
        return day.isoformat()
    if column.kind == "time":
        minute = draw(MINUTES)
        return f"{day} {minute // 60:02d}:{minute % 60:02d}:{draw(st.sampled_from((0, 0, 7))):02d}"
    if column.kind == "choice":
        return draw(st.sampled_from(column.choices))
    if column.kind == "choices":
        return ";".join(draw(st.lists(st.sampled_from(column.choices), max_size=3)))
    if column.kind == "whole":
        return str(draw(st.integers(1, 20)))
    if column.kind == "number":
        low = (column.low or 0.0) + (1e-3 if column.above_low else 0.0)
        return repr(draw(st.floats(low, column.high or 1e6)))
    return draw(WORDS) or ("w" if column.required else "")


@pytest.mark.parametrize("system", ["us", "metric"])
@settings(max_examples=2, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_store_comes_back_whole(system: System, data: st.DataObject) -> None:
    log = {name: data.draw(rows(table), label=name) for name, table in TABLES.items()}
    # Several choices of which one is none contradict each other: left out of the drawing.
    for row in log["pours"] + log["jobs"]:
        row["reinforcement"] = row["reinforcement"].replace("none", "mesh")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "in").mkdir()
        for name, drawn in log.items():
            with (folder / "in" / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, TABLES[name].names)
                writer.writeheader()
                writer.writerows(drawn)
        one, other = Store(folder / "one.duckdb"), Store(folder / "other.duckdb")
        load(one, [folder / "in"])
        write_export(one, folder / "out", system, lambda line: None)
        assert load(other, [folder / "out"]).status == 0
        first, second = (reading_of(store) for store in (one, other))
        assert {"settings", "stamps", "forecasts", "jobs", "weather"} <= {
            name for name, frame in first.items() if len(frame)
        }
        same(second, first, system)


def reading_of(store: Store) -> dict[str, pd.DataFrame]:
    with store.read() as connection:
        found = reading.frames(connection, *TABLES)
    return {
        name: frame.sort_values(
            list(TABLES[name].key), ignore_index=True, key=lambda s: s.astype(str)
        )
        for name, frame in found.items()
    }
