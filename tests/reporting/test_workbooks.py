"""The week, the rate card and every measure as workbooks, opened by openpyxl and held against the
JSON that the same command prints."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from pourstats.cli import cli
from pourstats.reporting import tables
from pourstats.reporting.workbook_week import write_week
from pourstats.store import measures, reading
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder

SITE = "=HYPERLINK(1)"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """The sample season, its last week's sites renamed to what a spreadsheet would run."""
    folder = tmp_path_factory.mktemp("store")
    (folder / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness,notes\n"
        f"B293,2025-10-30,{SITE},basement,1120,3.5,@SUM(A1)\n",
        encoding="utf-8",
    )
    store = Store(folder / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    load(store, [folder / "pours.csv"])
    return store


def run(*words: str) -> str:
    result = CliRunner().invoke(cli, list(words))
    assert result.exit_code == 0, result.output
    return result.stdout


def rows_of(sheet: Any) -> list[dict[str, Any]]:
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def sound(book: Any) -> Iterator[Any]:
    """Every sheet but the explanation; all as sheets should be."""
    explained = {(row["sheet"], row["column"]): row for row in rows_of(book["about"])}
    for sheet in book:
        assert sheet.freeze_panes == "A2"
        assert all(cell.font.bold for cell in sheet[1])
        for row in sheet.iter_rows(min_row=2):
            for cell in row:
                assert cell.data_type != "f"
                if isinstance(cell.value, str) and cell.value[:1] in tuple("=+-@\t"):
                    assert cell.quotePrefix
                if isinstance(cell.value, datetime):
                    assert cell.number_format.startswith("yyyy-mm-dd")
        if sheet.title != "about":
            for cell in sheet[1]:
                assert explained[sheet.title, cell.value]["meaning"], (sheet.title, cell.value)
            yield sheet


def same(cell: Any, value: Any) -> bool:
    """A workbook's cell and the JSON's value say the same."""
    if isinstance(cell, datetime):
        return value is not None and cell.isoformat().startswith(str(value)[:16])
    if isinstance(value, list):
        return cell == ";".join(value)
    if isinstance(value, bool) or isinstance(cell, bool) or not isinstance(value, (int, float)):
        return cell == value
    return math.isclose(cell, value, rel_tol=1e-14)


def test_the_weeks_workbook_says_what_its_json_says(season: Store, tmp_path: Path) -> None:
    file = tmp_path / "week.xlsx"
    said = json.loads(run("week", "--store", str(season.path), "--json"))
    assert run("week", "--store", str(season.path), "--xlsx", str(file)) == ""
    book = openpyxl.load_workbook(file)
    sheets = {sheet.title: rows_of(sheet) for sheet in sound(book)}
    assert list(sheets)[:3] == ["review", "figures", "floors"]
    for name, key in (("floors", "pours"), ("days", "days"), ("par", "par")):
        assert len(sheets[name]) == len(said[key]) > 0
        for row, told in zip(sheets[name], said[key], strict=True):
            assert set(row) == set(told)
            assert all(same(row[column], told[column]) for column in told)
    for row in sheets["figures"]:
        told = said["figures"][row["figure"].removesuffix(" (private)")]
        assert all(same(row[name], told[name]) for name in row if name in told and name != "unit")
    assert len(sheets["figures"]) == len(said["figures"])
    assert [row["ratio"] for row in sheets["chart"]] == [
        p["ratio"] for p in said["control"]["points"]
    ]
    assert [row["what"] for row in sheets["stood_out"]] == [
        i["sentence"] for i in said["stands_out"]
    ]
    assert [(row["do"], row["because"]) for row in sheets["changes"]] == [
        (change["do"], change["because"]) for change in said["changes"]
    ]
    answers = {row["question"]: row["answer"] for row in sheets["review"]}
    assert answers["What did it take?"] == said["headline"]["sentence"]
    assert answers["Are we getting better?"].startswith(said["trend"]["answer"])
    assert SITE in [row["site"] for row in sheets["floors"]]
    assert isinstance(sheets["floors"][0]["date"], datetime)


def test_the_weeks_workbook_in_metric_units(season: Store, tmp_path: Path) -> None:
    from pourstats.reporting.week_record import review

    found = review(season, date(2025, 8, 17))
    write_week(found, tmp_path / "w.xlsx", "metric")
    book = openpyxl.load_workbook(tmp_path / "w.xlsx")
    sheets = {sheet.title: rows_of(sheet) for sheet in sound(book)}
    # NIST SP 811, B.8: 1 ft2 = 0.09290304 m2, 1 yd3 = 0.764554857984 m3 (from the foot).
    for row, pour in zip(sheets["floors"], found["pours"], strict=True):
        assert row["area_m2"] == pytest.approx(pour["area_ft2"] * 0.09290304, rel=1e-12)
        assert row["placed_m3"] == pytest.approx(pour["placed_yd3"] * 0.764554857984, rel=1e-12)
    figures = {row["figure"]: row for row in sheets["figures"]}
    wanted = found["figures"]["ft2_per_labor_h"]["usual_high"] * 0.09290304
    assert figures["m2_per_labor_h"]["usual_high"] == pytest.approx(wanted, rel=1e-12)
    assert figures["m2_per_labor_h"]["unit"] == "m2"
    dear = found["figures"]["labor_cost_usd_per_yd3"]["value"] / 0.764554857984
    assert figures["labor_cost_usd_per_m3 (private)"]["value"] == pytest.approx(dear, rel=1e-12)
    assert not any(
        "yd3" in str(row["unit"]) or "ft2" in str(row["unit"]) for row in figures.values()
    )


@pytest.mark.parametrize("ending", [date(2025, 4, 10), date(2025, 12, 25)])
def test_small_and_quiet_weeks_have_a_workbook(season: Store, tmp_path: Path, ending: date) -> None:
    from pourstats.reporting.week_record import review

    write_week(review(season, ending), tmp_path / "w.xlsx")
    sheets = {sheet.title for sheet in sound(openpyxl.load_workbook(tmp_path / "w.xlsx"))}
    assert "review" in sheets


def test_the_rate_cards_workbook_says_what_its_json_says(season: Store, tmp_path: Path) -> None:
    file = tmp_path / "rates.xlsx"
    said = json.loads(run("bid", "--rates", "--store", str(season.path), "--json"))
    run("bid", "--rates", "--store", str(season.path), "--out", str(file))
    (sheet,) = sound(openpyxl.load_workbook(file))
    rows = rows_of(sheet)
    assert len(rows) == len(said["rates"]) > 10
    for row, rate in zip(rows, said["rates"], strict=True):
        assert (row["slab_type"], row["pours"], row["area_ft2"]) == (
            rate["slab_type"], rate["pours"], rate["area_ft2"],
        )  # fmt: skip
        for level in said["confidences"]:
            for name in ("hours_per_100ft2", "hours_per_yd3", "usd_per_ft2"):
                assert same(row[f"c{round(level * 100)}_{name}"], rate[name][f"{level:g}"])
        assert row["bids"] == (rate["bid"] or {}).get("pours", 0)


@pytest.mark.parametrize("name", measures.MEASURES)
def test_every_measures_workbook_says_what_its_json_says(
    season: Store, tmp_path: Path, name: str
) -> None:
    from pourstats.cli.record import tables_meanings

    file = tmp_path / f"{name}.xlsx"
    with season.read() as connection:
        frame = reading.frame(connection, name)
    said = json.loads(tables.text(frame, name, "json", "us"))
    tables.write(frame, name, "xlsx", "us", file, meanings=tables_meanings(name))
    (sheet,) = sound(openpyxl.load_workbook(file))
    rows = rows_of(sheet)
    assert sheet.title == name
    assert len(rows) == len(said) > 0
    for row, told in list(zip(rows, said, strict=True))[:200]:
        assert list(row) == list(told)
        assert all(same(row[column], told[column]) for column in told), (row, told)
