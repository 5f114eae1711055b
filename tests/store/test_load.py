"""What becomes of each row: added, replaced, unchanged, set aside, taken up; and nothing is lost.

Every case is a sentence of the format page or of the command contract.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pourstats.faults import Refusal
from pourstats.store import rules
from pourstats.store.database import Store
from pourstats.store.history import delete, undo
from pourstats.store.loading import load
from pourstats.store.report import Report

HEAD = "pour_id,date,site,slab_type,area,thickness"
GOOD = "A1,2031-06-03,Oak,garage,600,4"
COUNTS = ("read", "added", "replaced", "unchanged", "set_aside", "taken_up")


def tally(report: Report, table: str) -> dict[str, int]:
    """The counts of a table that are not nought, without ``read``."""
    return {k: v for k, v in report.tables[table].items() if v and k != "read"}


def told(report: Report) -> list[tuple[str, int | None, str | None]]:
    return [(fault.file, fault.line, fault.column) for fault in report.set_aside]


def workbook(folder: Path, name: str, **sheets: list[list[Any]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        page = book.create_sheet(title)
        for row in rows:
            page.append(row)
    book.save(folder / name)
    return (folder / name).read_bytes()


# Added, unchanged, replaced -----------------------------------------------------------------------


def test_json_shape(ledger: Any) -> None:
    report = ledger.csv("pours", f"{HEAD},boss\n{GOOD},Al\nB2,2031-06-03,Oak,garage,0,4,\n")
    found = json.loads(json.dumps(report.as_json(), allow_nan=False))
    assert found["tables"] == {
        "pours": {"read": 2, "added": 1, "replaced": 0, "unchanged": 0, "set_aside": 1,
                  "taken_up": 0}
    }  # fmt: skip
    (entry,) = found["set_aside"]
    assert {k: entry[k] for k in ("file", "sheet", "line", "column", "value")} == {
        "file": "pours.csv", "sheet": None, "line": 3, "column": "area", "value": "0",
    }  # fmt: skip
    assert "1 to 10,000,000" in entry["reason"]
    assert len(found["warnings"]) == 1
    assert report.status == 3


def test_a_row_that_breaks_two_rules_makes_two_entries_and_counts_once(ledger: Any) -> None:
    report = ledger.csv("pours", f"{HEAD}\nA1,2031-06-03,Oak,garage,0,99\n")
    assert tally(report, "pours") == {"set_aside": 1}
    assert told(report) == [("pours.csv", 2, "area"), ("pours.csv", 2, "thickness")]


def test_loading_the_same_files_twice_changes_nothing(ledger: Any) -> None:
    files = {name: [row] for name, row in _all().items()}
    files["pours"] = [*files["pours"], {**files["pours"][0], "pour_id": "B2", "area": "0"}]
    first = ledger.load(files)
    assert first.status == 3
    before = _everything(ledger)
    second = ledger.load(files)
    assert second.status == 3
    for counts in second.tables.values():
        assert counts["unchanged"] + counts["set_aside"] == counts["read"]
    assert _everything(ledger) == before


@pytest.mark.parametrize(
    "again",
    [
        "A1,2031-06-03,Oak,garage,600,4,7:00,mesh;rebar,20",
        "A1,2031-6-3,Oak,Garage,600.0,4.00,07:00 AM,rebar; Mesh,20",
        'A1,2031-06-03,Oak,garage,6e2,"4""",2031-06-03 07:00,"mesh,rebar",20 percent',
        'A1,2031-06-03,Oak,garage,"600 sf",10.16 cm,2031-06-03T07:00:00,mesh+rebar,20%',
        "A1,2031-06-03, Oak ,GARAGE,55.741824 m2,101.6 mm,7:00,mesh;rebar;mesh,20",
        "A1,2031-06-03,Oak,garage,600.0000000001,4,7:00,mesh;rebar,20.00000000001",
    ],
)
def test_unchanged_however_written(ledger: Any, again: str) -> None:
    head = f"{HEAD},place_start,reinforcement,scm\n"
    quoted = again.replace("mesh,rebar", "mesh;rebar") if '"mesh' not in again else again
    ledger.csv("pours", head + "A1,2031-06-03,Oak,garage,600,4,7:00,mesh;rebar,20\n")
    report = ledger.csv("pours", head + quoted + "\n")
    assert tally(report, "pours") == {"unchanged": 1}, report.set_aside


@pytest.mark.parametrize(
    ("column", "value"),
    [("area", "600.00001"), ("site", "oak"), ("lead", "al"), ("notes", " so"), ("hands", ""),
     ("place_start", "7:01"), ("trouble", "pump"), ("mix", "n/a")],
)  # fmt: skip
def test_replaced_if_a_stored_value_differs(ledger: Any, column: str, value: str) -> None:
    base = {**_all()["pours"], "lead": "Al", "notes": "so", "hands": "5", "place_start": "7:00",
            "trouble": "rain", "mix": "M1"}  # fmt: skip
    ledger.load(pours=[base])
    report = ledger.load(pours=[{**base, column: value}])
    assert tally(report, "pours") == {"replaced": 1}
    (old,) = ledger.sql("SELECT action, key, file, line, text FROM history")
    assert old[:4] == ("replaced", '["A1"]', "pours.csv", 2)
    assert "Oak" in old[4]


def test_a_replacement_changes_only_the_columns_that_its_file_has(ledger: Any) -> None:
    ledger.one("pours", hands="5", slump="4", lead="Al", place_start="7:00", place_end="9:00")
    report = ledger.one("pours", slump="", hands="6", place_end="9:30")
    assert tally(report, "pours") == {"replaced": 1}
    assert ledger.sql("SELECT hands, slump, lead, place_start::VARCHAR, place_end::VARCHAR FROM pours") == [
        (6.0, None, "Al", "2031-06-03 07:00:00", "2031-06-03 09:30:00")
    ]  # fmt: skip


def test_a_file_without_a_column_can_leave_a_row_unchanged(ledger: Any) -> None:
    ledger.one("pours", hands="5", place_start="7:00")
    assert tally(ledger.one("pours"), "pours") == {"unchanged": 1}
    assert ledger.value("SELECT hands FROM pours") == 5


def test_an_unknown_word_erases_as_a_blank_does(ledger: Any) -> None:
    ledger.one("pours", hands="5")
    ledger.one("pours", hands="n/a")
    assert ledger.value("SELECT hands FROM pours") is None


def test_stored_times_count_in_the_order_of_a_row(ledger: Any) -> None:
    """The file lacks place_start, which stays, so that place_end must not come before it."""
    ledger.one("pours", place_start="2031-06-03 07:00", place_end="2031-06-03 09:00")
    report = ledger.one("pours", place_end="2031-06-03 06:00")
    assert told(report) == [("pours.csv", 2, "place_end")]
    assert ledger.value("SELECT _bare FROM pours") is None
    assert str(ledger.value("SELECT place_end FROM pours")) == "2031-06-03 09:00:00"


@pytest.mark.parametrize("ids", [["01", "1", "1.0"], ["A1", "a1", "A 1"], ["N/A", "none", "-"]])
def test_ids_are_text(ledger: Any, ids: list[str]) -> None:
    rows = [{**_all()["pours"], "pour_id": name} for name in ids]
    assert tally(ledger.load(pours=rows), "pours") == {"added": 3}
    assert [x for (x,) in ledger.sql("SELECT pour_id FROM pours ORDER BY _seq")] == ids


def test_ids_are_trimmed_at_both_ends(ledger: Any) -> None:
    ledger.one("pours", pour_id="A1")
    assert tally(ledger.one("pours", pour_id="  A1\t"), "pours") == {"unchanged": 1}
    assert ledger.one("trucks", pour_id=" A1 ").status == 0


@pytest.mark.parametrize("table", ["pours", "trucks", "passes", "crew_time", "weather", "sites",
                                   "callbacks", "bids", "crew", "jobs"])  # fmt: skip
def test_a_blank_in_a_required_column_sets_aside(ledger: Any, table: str) -> None:
    from pourstats.logs.tables import TABLES

    ledger.one("pours")
    row = {**_all()[table], "pour_id": "A1"} if table != "pours" else {**_all()[table]}
    row = {name: row.get(name, "") for name in TABLES[table].names}
    row |= {"zone": "America/Denver"} if table == "sites" else {}
    required = TABLES[table].required
    rows = [{**row, name: "  "} for name in required]
    report = ledger.load({table: rows})
    assert tally(report, table) == {"set_aside": len(required)}
    assert [(line, column) for _, line, column in told(report)] == [
        (i + 2, name) for i, name in enumerate(required)
    ]


def test_crew_since_blank_is_a_key_like_any_other(ledger: Any) -> None:
    head = "worker,since,pay\n"
    report = ledger.csv("crew", head + "JB,,30\nJB,2031-05-01,32\nKM,,25\nJB,,31\n")
    assert tally(report, "crew") == {"added": 3, "replaced": 1}
    assert ledger.sql("SELECT worker, since::VARCHAR, pay FROM crew ORDER BY worker, since NULLS FIRST") == [
        ("JB", None, 31.0), ("JB", "2031-05-01", 32.0), ("KM", None, 25.0),
    ]  # fmt: skip
    assert tally(ledger.csv("crew", "worker,pay\nJB,31\nKM,26\n"), "crew") == {
        "unchanged": 1, "replaced": 1,
    }  # fmt: skip
    assert ledger.value("SELECT count(*) FROM crew") == 3


def test_a_bid_needs_hours_or_a_price_and_no_pour(ledger: Any) -> None:
    head = "pour_id,bid_date,bid_hours,bid_price\n"
    rows = "Z1,2031-05-01,40,\nZ1,2031-05-02,,9000\nZ1,2031-05-03,,\nZ1,2031-05-01,41,\n"
    report = ledger.csv("bids", head + rows)
    assert tally(report, "bids") == {"added": 2, "replaced": 1, "set_aside": 1}
    assert told(report) == [("bids.csv", 4, "bid_hours")]


def test_weather_crew_sites_need_no_pour(ledger: Any) -> None:
    files = {name: [_all()[name]] for name in ("weather", "crew", "sites", "bids", "jobs")}
    assert ledger.load(files).status == 0


# Keys that occur twice in a file ------------------------------------------------------------------


def test_rows_of_a_file_are_taken_in_order_as_if_one_at_a_time(ledger: Any) -> None:
    rows = ["A1,2031-06-03,Oak,garage,600,4", "A1,2031-06-03,Oak,garage,600,4.0",
            "A1,2031-06-03,Oak,garage,700,4", "A1,2031-06-03,Oak,garage,600,4",
            "A1,2031-06-03,Oak,garage,0,4", "A1,2031-06-03,Elm,garage,600,4"]  # fmt: skip
    report = ledger.csv("pours", "\n".join([HEAD, *rows]))
    assert tally(report, "pours") == {"added": 1, "unchanged": 1, "replaced": 3, "set_aside": 1}
    assert ledger.sql("SELECT site, area FROM pours") == [("Elm", 600.0)]
    lines = ledger.sql("SELECT line FROM history WHERE action = 'replaced' ORDER BY hist_seq")
    assert lines == [(2,), (4,), (5,)]
    one_by_one = {"added": 0, "unchanged": 0, "replaced": 0, "set_aside": 0}
    other = type(ledger)(ledger.folder / "load1")
    for row in rows:
        for name, count in tally(other.csv("pours", f"{HEAD}\n{row}"), "pours").items():
            one_by_one[name] += count
    assert one_by_one == {"added": 1, "unchanged": 1, "replaced": 3, "set_aside": 1}


def test_the_same_file_with_a_repeated_key_again(ledger: Any) -> None:
    """As if one at a time: the first row changes the stored one back, the last one again."""
    text = f"{HEAD}\n{GOOD}\n{GOOD.replace('600', '700')}\n"
    ledger.csv("pours", text)
    report = ledger.csv("pours", text)
    assert tally(report, "pours") == {"replaced": 2}
    assert ledger.value("SELECT area FROM pours") == 700


def test_a_whole_repeated_file_of_identical_rows_is_unchanged(ledger: Any) -> None:
    text = f"{HEAD}\n{GOOD}\n{GOOD}\n"
    assert tally(ledger.csv("pours", text), "pours") == {"added": 1, "unchanged": 1}
    assert tally(ledger.csv("pours", text), "pours") == {"unchanged": 2}
    assert ledger.value("SELECT count(*) FROM history") == 0


def test_repeated_keys_keep_columns_that_the_file_lacks(ledger: Any) -> None:
    ledger.one("pours", hands="5", place_start="7:00")
    ledger.csv("pours", f"{HEAD}\n{GOOD.replace('600', '650')}\n{GOOD.replace('600', '700')}\n")
    assert ledger.sql("SELECT area, hands, place_start::VARCHAR FROM pours") == [
        (700.0, 5.0, "2031-06-03 07:00:00")
    ]


# Rows without their pour --------------------------------------------------------------------------


@pytest.mark.parametrize("table", ["trucks", "passes", "crew_time", "callbacks"])
def test_a_row_without_its_pour_waits_and_is_taken_up_by_itself(ledger: Any, table: str) -> None:
    first = ledger.one(table)
    assert tally(first, table) == {"set_aside": 1}
    assert told(first) == [(f"{table}.csv", 2, "pour_id")]
    assert first.status == 3
    second = ledger.one("pours", date="2031-06-03")
    assert second.status == 0
    assert second.tables[table] == {**dict.fromkeys(COUNTS, 0), "taken_up": 1}
    assert ledger.value(f"SELECT count(*) FROM {table}") == 1
    assert ledger.value("SELECT count(*) FROM set_aside WHERE state = 'open'") == 0
    assert tally(ledger.one(table), table) == {"unchanged": 1}


def test_the_pour_may_be_in_the_same_load(ledger: Any) -> None:
    files = {f"{name}.csv": [_all()[name]] for name in ("callbacks", "crew_time", "passes", "pours",
                                                         "trucks")}  # fmt: skip
    folder = ledger.path(files)
    report = load(ledger.store, [folder / name for name in files])
    assert report.status == 0, report.set_aside


def test_a_row_whose_pour_is_set_aside_waits(ledger: Any) -> None:
    report = ledger.load(pours=[{**_all()["pours"], "area": "0"}], trucks=[_all()["trucks"]])
    assert tally(report, "trucks") == {"set_aside": 1}
    mended = ledger.one("pours")
    assert tally(mended, "trucks") == {"taken_up": 1}


def test_the_same_row_set_aside_twice_is_kept_once(ledger: Any) -> None:
    for _ in range(3):
        ledger.one("trucks")
        ledger.one("pours", pour_id="B2", area="0")
    assert ledger.value("SELECT count(*) FROM set_aside WHERE state = 'open'") == 2
    report = ledger.one("pours")
    assert tally(report, "trucks") == {"taken_up": 1}


def test_rows_are_taken_up_in_the_order_in_which_they_came(ledger: Any) -> None:
    ledger.one("trucks", volume="9", plant="North")
    ledger.one("trucks", volume="10")
    report = ledger.one("pours")
    assert tally(report, "trucks") == {"taken_up": 2}
    assert ledger.sql("SELECT volume, plant FROM trucks") == [(10.0, "North")]


@pytest.mark.parametrize("form", ["folder", "workbook"])
def test_a_row_taken_up_never_overrides_a_newer_one(ledger: Any, form: str) -> None:
    ledger.one("trucks", volume="9", plant="North")
    if form == "folder":
        report = ledger.load(pours=[_all()["pours"]], trucks=[{**_all()["trucks"], "volume": "10"}])
    else:
        report = ledger.load({"log.xlsx": workbook(
            ledger.folder, "w.xlsx", pours=[HEAD.split(","), GOOD.split(",")],
            trucks=[["pour_id", "ticket", "volume"], ["A1", "7", 10]])})  # fmt: skip
    assert report.tables["trucks"]["taken_up"] == 1
    assert report.tables["trucks"]["replaced"] == 1
    assert ledger.sql("SELECT volume, plant FROM trucks") == [(10.0, "North")]


def test_a_faulty_row_without_its_pour_is_not_taken_up(ledger: Any) -> None:
    report = ledger.one("trucks", volume="0")
    assert {fault.column for fault in report.set_aside} == {"pour_id", "volume"}
    assert tally(report, "trucks") == {"set_aside": 1}
    assert "trucks" not in ledger.one("pours").tables
    assert ledger.value("SELECT count(*) FROM trucks") == 0


def test_bare_times_of_a_row_taken_up_rest_on_its_pour(ledger: Any) -> None:
    ledger.one("passes", start="0:30", end="1:10")
    ledger.one("pours", place_start="18:00")
    assert str(ledger.value("SELECT start FROM passes")) == "2031-06-04 00:30:00"


def test_a_row_taken_up_that_then_breaks_a_rule_is_told(ledger: Any) -> None:
    ledger.one("passes", start="14:00", end="13:50")
    report = ledger.one("pours", place_start="7:00")
    assert told(report) == [("passes.csv", 2, "end")]
    assert report.status == 3
    assert ledger.value("SELECT count(*) FROM passes") == 0


def test_a_row_from_a_semicolon_file_is_read_again_as_it_was(ledger: Any) -> None:
    ledger.csv("trucks", "pour_id;ticket;volume [m3]\nA1;7;6,5\n")
    ledger.one("pours")
    assert ledger.value("SELECT volume FROM trucks") == pytest.approx(6.5 / 0.9144**3)


def test_a_row_from_a_workbook_is_read_again_as_it_was(ledger: Any) -> None:
    ledger.load({"w.xlsx": workbook(ledger.folder, "w.xlsx", trucks=[
        ["pour_id", "ticket", "volume"], ["A1", 7, 9.5]])})  # fmt: skip
    ledger.one("pours")
    assert ledger.sql("SELECT ticket, volume FROM trucks") == [("7", 9.5)]


def test_rows_of_a_pour_with_a_look_alike_id_wait(ledger: Any) -> None:
    ledger.one("pours", pour_id="A1")
    assert tally(ledger.one("trucks", pour_id="a1"), "trucks") == {"set_aside": 1}


def test_a_truck_file_without_pour_id_names_the_column(ledger: Any) -> None:
    report = ledger.csv("trucks", "ticket,volume\n7,9\n8,9\n")
    assert told(report) == [("trucks.csv", 2, "pour_id"), ("trucks.csv", 3, "pour_id")]


# Mended rows --------------------------------------------------------------------------------------


def test_a_mended_row_leaves_the_list(ledger: Any) -> None:
    folder = ledger.path({"pours": [{**_all()["pours"], "area": "0"}]})
    load(ledger.store, [folder])
    (folder / "pours.csv").write_text(f"{HEAD}\n{GOOD}\n")
    report = load(ledger.store, [folder])
    assert tally(report, "pours") == {"added": 1}
    assert ledger.value("SELECT count(*) FROM set_aside WHERE state = 'open'") == 0
    kept = ledger.sql("SELECT file, line, text FROM set_aside")
    assert kept == [("pours.csv", 2, "A1,2031-06-03,Oak,garage,0,4")]


# Deleting and undoing -----------------------------------------------------------------------------


def _whole(ledger: Any) -> dict[str, Any]:
    return {name: [row] for name, row in _all().items()}


def _everything(ledger: Any) -> dict[str, list[Any]]:
    """Every row of every table, the books too, without what a second load may count anew."""
    with ledger.store.read() as connection:
        names = [n for (n,) in connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE NOT temporary ORDER BY 1").fetchall()]  # fmt: skip
        return {n: sorted(map(str, connection.execute(f'SELECT * FROM "{n}"').fetchall()))
                for n in names}  # fmt: skip


def _log(ledger: Any) -> dict[str, list[Any]]:
    """The rows of every log table, as a reader of the store sees them."""
    from pourstats.logs.tables import TABLES

    with ledger.store.read() as connection:
        found = {}
        for name, table in TABLES.items():
            listed = ", ".join(f'"{c}"' for c in table.names)
            rows = connection.execute(f"SELECT {listed} FROM {name}").fetchall()
            found[name] = sorted(map(str, rows))
        return found


def _all() -> dict[str, dict[str, str]]:
    return dict(_ROWS)


_ROWS: dict[str, dict[str, str]] = {}


@pytest.fixture(autouse=True)
def _shared_rows(shapes: dict[str, Any]) -> None:
    _ROWS.update(shapes["rows"])


def test_delete_takes_a_pour_with_its_rows_and_undo_brings_all_back(full: Any) -> None:
    before = _log(full)
    assert delete(full.store, "A1") == {
        "pours": 1, "trucks": 1, "passes": 1, "crew_time": 1, "callbacks": 1,
    }  # fmt: skip
    after = _log(full)
    assert [name for name in after if after[name] != before[name]] == [
        "pours", "trucks", "passes", "crew_time", "callbacks",
    ]  # fmt: skip
    undo(full.store)
    assert _log(full) == before


def test_a_deleted_row_met_again_unchanged_stays_deleted(full: Any) -> None:
    delete(full.store, "A1")
    report = full.load(_whole(full))
    assert report.status == 0
    for name in ("pours", "trucks", "passes", "crew_time", "callbacks"):
        assert tally(report, name) == {"unchanged": 1}
        assert any("deleted" in w and name in w for w in report.warnings)
        assert full.value(f"SELECT count(*) FROM {name}") == 0


@pytest.mark.parametrize(
    ("table", "cells"),
    [("pours", {"area": "700"}), ("trucks", {"volume": "8"}), ("trucks", {"ticket": "8"}),
     ("passes", {"start": "11:00"}), ("crew_time", {"end": "9:30"}), ("crew_time", {"start": "8:00"}),
     ("callbacks", {"defect": "scaling"}), ("callbacks", {"callback_id": "c2"})],
)  # fmt: skip
def test_a_deleted_row_met_again_changed_is_set_aside(
    full: Any, table: str, cells: dict[str, str]
) -> None:
    delete(full.store, "A1")
    report = full.one(table, **cells)
    assert tally(report, table) == {"set_aside": 1}
    assert report.status == 3
    assert full.value(f"SELECT count(*) FROM {table}") == 0
    # Undo the load, then the deletion: all is back as it was.
    undo(full.store)
    undo(full.store)
    assert full.value(f"SELECT count(*) FROM {table}") == 1


def test_deleting_what_is_not_there(ledger: Any) -> None:
    with pytest.raises(Refusal) as caught:
        delete(ledger.store, "Z9")
    assert caught.value.status == 1


def test_a_pour_deleted_twice(full: Any) -> None:
    delete(full.store, "A1")
    undo(full.store)
    delete(full.store, "A1")
    assert tally(full.one("pours"), "pours") == {"unchanged": 1}
    undo(full.store)
    assert full.value("SELECT count(*) FROM trucks") == 1


@pytest.mark.parametrize("which", range(6))
def test_undo_takes_back_the_last_load_whole(full: Any, which: int) -> None:
    full.one("trucks", pour_id="B2", ticket="1")
    before = _log(full)
    waiting = full.sql("SELECT text FROM set_aside WHERE state = 'open'")
    second: dict[str, Any] = [
        {"pours": [{**_all()["pours"], "pour_id": "C3"}]},
        {"pours": [{**_all()["pours"], "area": "700", "hands": "5"}]},
        {"pours": [{**_all()["pours"], "date": "2031-06-05"}]},
        {"pours": [{**_all()["pours"], "pour_id": "B2"}]},
        {"pours": [{**_all()["pours"], "pour_id": "B2"}],
         "trucks": [{**_all()["trucks"], "pour_id": "B2", "ticket": "1", "volume": "5"}]},
        {"pours": [{**_all()["pours"], "area": "700"}, {**_all()["pours"], "area": "800"}],
         "crew": [{"worker": "JB", "pay": "31"}], "weather": [{**_all()["weather"], "wind": "9"}]},
    ][which]  # fmt: skip
    full.load(second)
    after = _log(full)
    assert after != before
    undo(full.store)
    assert _log(full) == before
    assert full.sql("SELECT text FROM set_aside WHERE state = 'open'") == waiting
    report = full.load(second)
    assert report.rows
    assert _log(full) == after


def test_undo_after_two_waiting_rows_of_one_key_were_taken_up(ledger: Any) -> None:
    ledger.one("trucks", volume="9")
    ledger.one("trucks", volume="10")
    ledger.one("pours")
    undo(ledger.store)
    assert ledger.value("SELECT count(*) FROM trucks") == 0
    assert ledger.value("SELECT count(*) FROM set_aside WHERE state = 'open'") == 2
    ledger.one("pours")
    assert ledger.sql("SELECT volume FROM trucks") == [(10.0,)]


def test_undo_all_the_way_back(ledger: Any) -> None:
    empty = _log(ledger)
    ledger.load(_whole(ledger))
    ledger.one("pours", area="700")
    rules.set_rule(ledger.store, "burden", "0.4")
    delete(ledger.store, "A1")
    for _ in range(4):
        undo(ledger.store)
    assert _log(ledger) == empty
    with pytest.raises(Refusal) as caught:
        undo(ledger.store)
    assert caught.value.status == 1


def test_undo_of_a_house_rule(ledger: Any) -> None:
    rules.set_rule(ledger.store, "burden", "0.4")
    rules.set_rule(ledger.store, "burden", "0.5")
    undo(ledger.store)
    assert rules.in_force(ledger.store, "burden")["burden"]["value"] == 0.4
    undo(ledger.store)
    found = rules.in_force(ledger.store, "burden")["burden"]
    assert (found["value"], found["set"]) == (0.35, False)


def test_undo_without_a_store_is_nothing_to_work_with(
    tmp_path: Path, shapes: dict[str, Any]
) -> None:
    ledger = shapes["Ledger"](tmp_path, made=False)
    for action in (lambda: undo(ledger.store), lambda: delete(ledger.store, "A1")):
        with pytest.raises(Refusal) as caught:
            action()
        assert caught.value.status == 1
    assert not ledger.store.exists()


# Corrected pours ----------------------------------------------------------------------------------


def test_a_corrected_date_moves_bare_times_as_replacements(ledger: Any) -> None:
    ledger.load(
        pours=[{**_all()["pours"], "place_start": "20:00", "bull_float_end": "0:30"}],
        trucks=[{**_all()["trucks"], "arrived": "2031-06-03 19:50", "pour_start": "20:00"}],
        passes=[{**_all()["passes"], "start": "1:00", "end": "1:30"}],
        crew_time=[{**_all()["crew_time"], "start": "2031-06-03 19:00", "end": "2031-06-04 02:00"}],
    )
    report = ledger.one("pours", date="2031-06-10", place_start="20:00", bull_float_end="0:30")
    assert report.status == 0, report.set_aside
    assert ledger.sql("SELECT place_start::VARCHAR, bull_float_end::VARCHAR FROM pours") == [
        ("2031-06-10 20:00:00", "2031-06-11 00:30:00")
    ]
    assert ledger.sql("SELECT arrived::VARCHAR, pour_start::VARCHAR FROM trucks") == [
        ("2031-06-03 19:50:00", "2031-06-10 20:00:00")
    ]
    assert ledger.sql('SELECT start::VARCHAR, "end"::VARCHAR FROM passes') == [
        ("2031-06-11 01:00:00", "2031-06-11 01:30:00")
    ]
    assert ledger.sql("SELECT start::VARCHAR FROM crew_time") == [("2031-06-03 19:00:00",)]
    moved = ledger.sql("SELECT table_name FROM history WHERE action = 'replaced' ORDER BY 1")
    assert moved == [("passes",), ("pours",), ("trucks",)]


def test_a_corrected_place_start_moves_bare_times(ledger: Any) -> None:
    ledger.load(
        pours=[{**_all()["pours"], "place_start": "7:00"}],
        passes=[{**_all()["passes"], "start": "1:00"}],
        crew_time=[{**_all()["crew_time"], "start": "5:00", "end": "6:00"}],
    )
    assert str(ledger.value("SELECT start FROM passes")) == "2031-06-04 01:00:00"
    ledger.one("pours", place_start="0:30")
    assert str(ledger.value("SELECT start FROM passes")) == "2031-06-03 01:00:00"
    ledger.one("pours", place_start="12:00")
    assert str(ledger.value("SELECT start FROM crew_time")) == "2031-06-04 05:00:00"


def test_a_date_corrected_by_a_file_without_the_times(ledger: Any) -> None:
    """The pour's own bare times move too, although the file doesn't have them."""
    ledger.one("pours", place_start="20:00", place_end="1:00", machine_on="2031-06-04 02:00")
    ledger.one("pours", date="2031-06-10")
    assert ledger.sql("SELECT place_start::VARCHAR, place_end::VARCHAR, machine_on::VARCHAR FROM pours") == [
        ("2031-06-10 20:00:00", "2031-06-11 01:00:00", "2031-06-04 02:00:00")
    ]  # fmt: skip
    ledger.one("passes", start="2:00")
    ledger.one("pours", date="2031-06-11")
    assert str(ledger.value("SELECT start FROM passes")) == "2031-06-12 02:00:00"


def test_bare_times_keep_their_text_once_over_many_corrections(ledger: Any) -> None:
    ledger.one("pours", place_start="7:00", place_end="9:00")
    for day in ("2031-06-10", "2031-06-11", "2031-06-12"):
        ledger.one("pours", date=day)
    assert ledger.sql("SELECT place_end::VARCHAR, _bare FROM pours") == [
        ("2031-06-12 09:00:00", "place_start=07:00:00;place_end=09:00:00")
    ]
    # Written with its date at last, it no longer moves; the other still does, and then is too far.
    ledger.one("pours", date="2031-06-12", place_start="2031-06-12 07:00", area="650")
    report = ledger.one("pours", date="2031-06-20")
    (fault,) = report.set_aside
    assert (fault.column, fault.value) == ("place_end", "2031-06-20 09:00")


def test_a_row_whose_times_no_longer_hold_is_set_aside(ledger: Any) -> None:
    """Its start was written with its date, its end without: that now lies days before it."""
    ledger.load(pours=[_all()["pours"]],
                passes=[{**_all()["passes"], "start": "2031-06-03 09:00", "end": "10:00"}])  # fmt: skip
    before = _log(ledger)
    report = ledger.one("pours", date="2031-06-01")
    assert told(report) == [("passes.csv", 2, "end")]
    assert report.status == 3
    assert ledger.value("SELECT count(*) FROM passes") == 0
    assert ledger.value("SELECT count(*) FROM set_aside WHERE state = 'open'") == 1
    undo(ledger.store)
    assert _log(ledger) == before


def test_rows_in_the_order_of_corrections_equal_a_fresh_load(
    ledger: Any, shapes: dict[str, Any], tmp_path: Path
) -> None:
    rows = {"trucks": [{**_all()["trucks"], "arrived": "23:50", "left": "0:40"}],
            "passes": [{**_all()["passes"], "start": "3:00", "end": "3:40"}],
            "crew_time": [{**_all()["crew_time"], "task": "wait", "start": "11:00", "end": "2:00"}]}  # fmt: skip
    right = [{**_all()["pours"], "date": "2031-06-08", "place_start": "22:30"}]
    ledger.load(pours=[{**_all()["pours"], "date": "2031-06-07", "place_start": "6:30"}], **rows)
    ledger.load(pours=right)
    (tmp_path / "fresh").mkdir()
    fresh = shapes["Ledger"](tmp_path / "fresh")
    fresh.load(pours=right, **rows)
    assert _log(ledger) == _log(fresh)


def test_a_crew_time_row_met_again_after_its_pour_moved_is_unchanged(ledger: Any) -> None:
    """Its key holds a time, which has moved with the pour."""
    ledger.load(pours=[_all()["pours"]], crew_time=[_all()["crew_time"]])
    ledger.one("pours", date="2031-06-10")
    assert tally(ledger.one("crew_time"), "crew_time") == {"unchanged": 1}


# Settings, stamps, forecasts ----------------------------------------------------------------------


def test_settings_load_and_unknown_rules_are_set_aside(ledger: Any) -> None:
    text = "name,value\nburden,0.4\nfree_minutes,6\ncallback_age_days,-3\nzone,America/Denver\n"
    report = ledger.csv("settings", text)
    assert tally(report, "settings") == {"added": 2, "set_aside": 2}
    assert told(report) == [("settings.csv", 3, "name"), ("settings.csv", 4, "value")]
    assert rules.in_force(ledger.store, "burden")["burden"]["value"] == 0.4
    assert tally(ledger.csv("settings", text), "settings") == {"unchanged": 2, "set_aside": 2}


def test_stamps_and_forecasts_load(ledger: Any) -> None:
    report = ledger.load({
        "stamps.csv": "stamp_id,pour_id,event,subject,at,undone\n"
                      "s1,A1,hands,5,2031-06-03 06:40,no\ns1,A1,hands,5,2031-06-03 06:40,yes\n"
                      "s2,A1,blastoff,,2031-06-03 06:40,\n",
        "forecasts.csv": "issued_at,command,pour_id,target,quantile,value\n"
                         "2031-06-02 18:00,bid,A1,labor_h,0.5,40\n"
                         "2031-06-02 18:00,bid,A1,labor_h,,41\n"
                         "2031-06-02 18:00,bid,A1,labor_h,1.5,41\n",
    })  # fmt: skip
    assert tally(report, "stamps") == {"added": 1, "replaced": 1, "set_aside": 1}
    assert tally(report, "forecasts") == {"added": 2, "set_aside": 1}


# Files --------------------------------------------------------------------------------------------


def test_upper_case_names_and_extensions(ledger: Any) -> None:
    report = ledger.load({"POURS.CSV": f"{HEAD}\n{GOOD}\n", "Crew-Time.Csv":
                          "pour_id,worker,task,start,end\nA1,JB,place,7:00,9:00\n"})  # fmt: skip
    assert report.status == 0
    assert tally(report, "crew_time") == {"added": 1}


def test_unknown_files_are_reported_and_parquet_is_not(ledger: Any) -> None:
    report = ledger.load({"pours": [_all()["pours"]], "lunch.csv": "a\n1\n", "readme.md": "x",
                          "pours.parquet": b"PAR1"})  # fmt: skip
    assert report.status == 0
    (warning,) = report.warnings
    assert "lunch.csv" in warning
    assert "readme.md" in warning
    assert "parquet" not in warning


def test_a_single_file_loads(ledger: Any) -> None:
    folder = ledger.path({"pours": [_all()["pours"]]})
    assert load(ledger.store, [folder / "pours.csv"]).status == 0


@pytest.mark.parametrize(
    "bad",
    [
        f"{HEAD},Area [m2]\n{GOOD},5\n", f'{HEAD},notes\n{GOOD},"open\n{GOOD},x\n',
        b"pour_id\x00,date\n", b"PK\x03\x04zip", f"{HEAD}\n{GOOD}\n".encode("utf-16"),
    ],
)  # fmt: skip
def test_an_unusable_file_is_one_entry_and_the_others_load(ledger: Any, bad: Any) -> None:
    report = ledger.load({"pours.csv": bad, "crew": [_all()["crew"]]})
    assert report.status == 3
    assert told(report) == [("pours.csv", None, None)]
    assert report.tables.get("pours", {}).get("read", 0) == 0
    assert tally(report, "crew") == {"added": 1}
    assert ledger.value("SELECT count(*) FROM pours") == 0
    listed = ledger.sql("SELECT file, line FROM set_aside WHERE state = 'open'")
    assert listed == [("pours.csv", None)]
    alone = ledger.load({"pours.csv": bad})
    assert alone.status == 2
    assert alone.tables.get("pours", {}).get("read", 0) == 0


def test_a_load_of_several_files_is_one_change_called_by_the_first(
    tmp_path: Path, ledger: Any
) -> None:
    rows = _all()
    assert ledger.load({name: [rows[name]] for name in ("pours", "crew", "trucks")}).status == 0
    assert ledger.sql("SELECT command, detail FROM changes") == [("load", "pours.csv and 2 more")]
    assert undo(ledger.store).startswith("taken back: load pours.csv and 2 more of ")


def test_an_unusable_file_again_leaves_no_empty_change_to_undo(tmp_path: Path, ledger: Any) -> None:
    bad = tmp_path / "crew.csv"
    bad.write_bytes(b"\x00")
    assert ledger.load({"pours": [_all()["pours"]]}).status == 0
    assert load(ledger.store, [bad]).status == load(ledger.store, [bad]).status == 2
    assert ledger.sql("SELECT detail FROM changes ORDER BY 1") == [("crew.csv",), ("pours.csv",)]


def test_nothing_but_unusable_files_makes_no_store(tmp_path: Path, shapes: dict[str, Any]) -> None:
    ledger = shapes["Ledger"](tmp_path, made=False)
    assert ledger.load({"pours.csv": b"\x00"}).status == 2
    assert not ledger.store.exists()


@pytest.mark.parametrize("text", ["", "\n\n", HEAD, HEAD + "\n", f"{HEAD}\n,,,,,\n"])
def test_an_empty_or_header_only_file_is_a_warning(ledger: Any, text: str) -> None:
    report = ledger.csv("pours", text)
    assert report.status == 1
    assert len(report.warnings) == 1
    assert "pours.csv" in report.warnings[0]
    assert not report.set_aside
    both = ledger.load({"pours.csv": text, "crew": [_all()["crew"]]})
    assert both.status == 0
    assert len(both.warnings) == 1


def test_an_empty_folder_is_nothing_to_work_with(ledger: Any) -> None:
    report = ledger.load({})
    assert report.status == 1
    assert report.as_json()["tables"] == {}


def test_a_path_that_is_not_there(ledger: Any) -> None:
    with pytest.raises(Refusal) as caught:
        load(ledger.store, [ledger.folder / "nowhere"])
    assert caught.value.status == 2


def test_all_rows_set_aside_is_still_done(ledger: Any) -> None:
    assert ledger.one("pours", area="0").status == 3


def test_two_files_of_one_table_are_taken_in_order(ledger: Any) -> None:
    folder = ledger.path({"pours.csv": f"{HEAD}\n{GOOD}\n"})
    other = ledger.path({"Pours.csv": f"{HEAD}\n{GOOD.replace('600', '700')}\n"})
    load(ledger.store, [folder, other])
    assert ledger.value("SELECT area FROM pours") == 700


# Warnings -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "column", "ids", "alike"),
    [
        ("pours", "pour_id", ["B-1", "b-1"], True), ("pours", "pour_id", ["B 1", "B1"], True),
        ("pours", "pour_id", ["B10", "B1O"], True), ("pours", "pour_id", ["Bl", "BI"], True),
        ("pours", "site", ["Oak St", "OAK ST"], True), ("pours", "site", ["Oak", "\u041eak"], True),
        ("pours", "site", ["Cab 5", "\u0421\u0430b5"], True),
        ("crew", "worker", ["JB", "jb"], True), ("pours", "pour_id", ["B1", "B2"], False),
        ("trucks", "ticket", ["t1", "T1"], True), ("callbacks", "callback_id", ["c1", "C1"], True),
    ],
)  # fmt: skip
def test_ids_that_look_alike_are_warned_of(
    ledger: Any, table: str, column: str, ids: list[str], alike: bool
) -> None:
    if table in ("trucks", "callbacks"):
        ledger.one("pours")
    rows = [{**_all()[table], "pour_id": f"P{i}"} if table == "pours" else {**_all()[table]}
            for i in range(2)]  # fmt: skip
    report = ledger.load(
        {table: [{**row, column: name} for row, name in zip(rows, ids, strict=True)]}
    )
    assert tally(report, table) == {"added": 2}
    assert any(all(f"'{name}'" in w for name in ids) for w in report.warnings) is alike
    again = ledger.load(sites=[{"site": "Far"}])
    assert not again.warnings


def test_odd_values_are_stored_and_warned_of(ledger: Any) -> None:
    report = ledger.one("weather", humidity="0.5")
    assert report.status == 0
    assert any("did you mean 50 percent?" in w and "line 2" in w for w in report.warnings)
    assert ledger.value("SELECT humidity FROM weather") == 0.5
    report = ledger.one("pours", thickness="40")
    assert tally(report, "pours") == {"added": 1}
    assert report.warnings


def test_a_worker_on_two_pours_at_once_is_named(ledger: Any) -> None:
    pours = [{**_all()["pours"], "pour_id": name} for name in ("A1", "B2")]
    rows = [{**_all()["crew_time"], "pour_id": name} for name in ("A1", "B2")]
    report = ledger.load(pours=pours, crew_time=rows)
    (warning,) = report.warnings
    for word in ("JB", "A1", "B2", "120 min"):
        assert word in warning


# History ------------------------------------------------------------------------------------------


def test_the_earlier_version_stays_readable(ledger: Any) -> None:
    ledger.one("pours", area="600", hands="5")
    ledger.one("pours", area="700")
    ledger.one("pours", area="800")
    found = ledger.sql("SELECT \"values\" FROM history WHERE action = 'replaced' ORDER BY hist_seq")
    versions = [json.loads(values) for (values,) in found]
    assert [(v["area"], v["hands"]) for v in versions] == [(600.0, 5.0), (700.0, 5.0)]


def test_set_aside_rows_keep_file_line_and_text(ledger: Any) -> None:
    ledger.csv("pours", f'{HEAD},notes\n\n{GOOD.replace("600", "0")},"a\nb"\n')
    assert ledger.sql("SELECT file, line, text FROM set_aside") == [
        ("pours.csv", 3, 'A1,2031-06-03,Oak,garage,0,4,"a\nb"')
    ]


def test_a_corrected_date_that_moves_a_stretch_onto_another_keeps_one_row(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    pour = "pour_id,date,site,slab_type,area,thickness,place_start\nP1,{},Mill,garage,600,4,7:00\n"
    (tmp_path / "pours.csv").write_text(pour.format("2031-06-03"))
    (tmp_path / "crew_time.csv").write_text(
        "pour_id,worker,task,start,end\n"
        "P1,Bo,place,2031-06-04 07:00,2031-06-04 08:00\n"
        "P1,Bo,place,7:00,9:00\n"
    )
    load(store, [tmp_path / "pours.csv", tmp_path / "crew_time.csv"])
    (tmp_path / "pours.csv").write_text(pour.format("2031-06-04"))
    load(store, [tmp_path / "pours.csv"])
    with store.read() as connection:
        rows = connection.execute('SELECT start, "end" FROM crew_time').fetchall()
    # The later written row wins, as if the two had been loaded one after the other.
    assert [(str(a), str(b)) for a, b in rows] == [("2031-06-04 07:00:00", "2031-06-04 09:00:00")]
    undo(store)
    with store.read() as connection:
        rows = connection.execute('SELECT "end" FROM crew_time ORDER BY 1').fetchall()
    assert [str(a) for (a,) in rows] == ["2031-06-03 09:00:00", "2031-06-04 08:00:00"]
