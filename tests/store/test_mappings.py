"""Files of other programs in, by a kept mapping: as is, undone as any, nothing lost."""

from __future__ import annotations

import datetime as dt
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.logs import foreign
from pourstats.logs.mapping import Drawn, FileMapping, Known
from pourstats.logs.proposal import Wish
from pourstats.logs.proposing import proposed
from pourstats.reporting.export import write_export
from pourstats.store import mappings, previewing
from pourstats.store.database import Store
from pourstats.store.history import undo
from pourstats.store.loading import load
from pourstats.store.rules import set_rule

STATION = FileMapping(
    "weather",
    {"site": Drawn(("Where",)), "air_temp": Drawn(("T",), "degC"), "humidity": Drawn(("RH",)),
     "wind": Drawn(("WS",), "m/s")},
    {"time": {"at": "When"}},
)  # fmt: skip


def kept(store: Store, file: Path, mapping: FileMapping) -> FileMapping:
    (sheet,) = foreign.read(file)
    return mappings.keep(store, sheet, mapping)


def test_a_kept_mapping_reads_a_file_of_another_name_and_unit(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    kept(store, file, STATION)
    # The same header in another order, in a file of another name.
    other = tmp_path / "july.txt"
    other.write_text("T;RH;Where;When;WS\n20;50;Mill;2031-07-03 06:00;10\n")
    report = load(store, [file, other])
    assert report.status == 0, report.set_aside
    with store.read() as connection:
        found = connection.execute("SELECT site, air_temp, wind FROM weather").fetchall()
    # 20 degC = 68 degF; 10 m/s = 22.369 mph (NIST SP 811: 1 mi/h = 0.447 04 m/s exactly).
    assert [(s, round(t, 6), round(w, 4)) for s, t, w in found] == [
        ("Mill", 68.0, round(10 / 0.44704, 4))
    ] * 2
    assert load(store, [file, other]).tables["weather"]["unchanged"] == 2


def test_without_a_mapping_the_file_is_reported(tmp_path: Path) -> None:
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T\n10,20\n")
    report = load(Store(tmp_path / "s.duckdb"), [file])
    assert report.status == 2
    assert "no log table is called so" in report.set_aside[0].reason
    assert "pourstats map station_export.csv" in report.set_aside[0].reason


def test_a_row_that_fails_is_told_with_the_files_own_line_column_and_text(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    file = tmp_path / "station.csv"
    file.write_text(
        "Logger 7\n\nWS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n"
        "10,abc,50,Mill,2031-06-03 07:00\n10,20,50,Mill,soon\n10,20,,Mill,2031-06-03 09:00\n"
        "10,20,500,Mill,2031-06-03 10:00\n"
    )
    kept(store, file, STATION)
    report = load(store, [file])
    assert [(f.line, f.column, f.value) for f in report.set_aside] == [
        (5, "T", "abc"), (6, "When", "soon"), (7, "RH", None), (8, "RH", "500"),
    ]  # fmt: skip
    assert report.tables["weather"] == {
        "read": 5, "added": 1, "replaced": 0, "unchanged": 0, "set_aside": 4, "taken_up": 0,
    }  # fmt: skip
    with store.read() as connection:
        texts = connection.execute(
            "SELECT text FROM set_aside WHERE state = 'open' ORDER BY line"
        ).fetchall()
    assert texts[0] == ("10,abc,50,Mill,2031-06-03 07:00",)
    file.write_text(file.read_text().replace("abc", "21"))
    load(store, [file])
    with store.read() as connection:
        lines = connection.execute("SELECT line FROM set_aside WHERE state = 'open'").fetchall()
    assert sorted(lines) == [(6,), (7,), (8,)]


def test_undo_takes_back_a_load_through_a_mapping(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    file = tmp_path / "station.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    kept(store, file, STATION)
    load(store, [file])
    file.write_text("WS,T,RH,Where,When\n10,30,50,Mill,2031-06-03 06:00\n")
    assert load(store, [file]).tables["weather"]["replaced"] == 1
    undo(store)
    with store.read() as connection:
        assert connection.execute("SELECT round(air_temp, 6) FROM weather").fetchall() == [(68.0,)]
    undo(store)
    with store.read() as connection:
        assert connection.execute("SELECT count(*) FROM weather").fetchall() == [(0,)]
    assert "station" in {mapping.name for mapping in mappings.kept(store).values()}


def test_mappings_are_listed_replaced_and_forgotten(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    assert mappings.kept(store) == {}
    file = tmp_path / "station.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    other = tmp_path / "b" / "station.csv"
    other.parent.mkdir()
    other.write_text("Wind,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    assert kept(store, file, STATION).name == "station"
    assert kept(store, other, STATION).name == "station_2"
    again = kept(store, file, FileMapping(**{**STATION.__dict__, "zone": "America/Denver"}))
    assert again.name == "station"
    assert {m.name: m.zone for m in mappings.kept(store).values()} == {
        "station": "America/Denver", "station_2": None,
    }  # fmt: skip
    assert mappings.forget(store, "station").table == "weather"
    with pytest.raises(Refusal, match="station_2") as caught:
        mappings.forget(store, "station")
    assert caught.value.status == 1
    assert load(store, [file]).status == 2


def proposed_and_kept(store: Store, file: Path, wish: Wish) -> None:
    (sheet,) = foreign.read(file)
    found = proposed(sheet, wish, mappings.known(store))
    assert found.questions == []
    mappings.keep(store, sheet, found.mapping)


POUR = "pour_id,date,site,slab_type,area,thickness,place_start\n"


def test_a_timesheet_waits_for_its_pour_and_is_told_in_its_own_words(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    sheet = tmp_path / "hours.csv"
    sheet.write_text(
        "Name,Job No,Clock In,Clock Out\nJo,B1,6/13/2031 6:40 AM,6/13/2031 2:15 PM\n"
        "Ray,B1,6/13/2031 2:00 PM,6/13/2031 1:00 PM\nRay,B1,6/13/2031 6:40 AM,\n"
    )
    proposed_and_kept(store, sheet, Wish(given={"task": "place"}))
    report = load(store, [sheet])
    assert report.tables["crew_time"]["set_aside"] == 3
    (tmp_path / "pours.csv").write_text(f"{POUR}B1,2031-06-13,Oak,garage,600,4,7:00\n")
    report = load(store, [tmp_path / "pours.csv"])
    assert report.tables["crew_time"]["taken_up"] == 1
    # The same folder in one go: pours first, whatever the names.
    report = load(store, [sheet, tmp_path / "pours.csv"])
    assert report.tables["crew_time"]["unchanged"] == 1
    told = {f.line: f for f in report.set_aside}
    assert {line: (f.column, f.value) for line, f in told.items()} == {
        3: ("Clock Out", "6/13/2031 1:00 PM"), 4: ("Clock Out", None),
    }  # fmt: skip
    assert "comes before start" in told[3].reason
    sheet.write_text(sheet.read_text().replace("Ray,B1,6/13/2031 6:40 AM,",
                                               "Ray,B1,6/13/2031 6:40 AM,6/13/2031 2:00 PM"))  # fmt: skip
    report = load(store, [sheet])
    assert (report.tables["crew_time"]["added"], len(report.set_aside)) == (1, 1)


def test_a_pour_logged_later_is_found_by_site_and_day_when_the_sheet_is_loaded_again(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path / "s.duckdb")
    sheet = tmp_path / "a_hours.csv"
    sheet.write_text("Name,Site,In,Out\nJo,Oak,2031-06-13 06:40,2031-06-13 14:15\n")
    proposed_and_kept(store, sheet, Wish(given={"task": "place"}))
    report = load(store, [sheet])
    assert [(f.column, f.value) for f in report.set_aside] == [("Site", "Oak")]
    (tmp_path / "pours.csv").write_text(f"{POUR}B1,2031-06-13,Oak,garage,600,4,7:00\n")
    report = load(store, [tmp_path])  # the store among the files is passed over
    assert report.tables["crew_time"]["added"] == 1
    with store.read() as connection:
        assert connection.execute("SELECT pour_id FROM crew_time").fetchall() == [("B1",)]
        waiting = connection.execute("SELECT count(*) FROM set_aside WHERE state = 'open'")
        assert waiting.fetchall() == [(0,)]


def test_the_sites_zone_and_the_house_zone_of_the_store_count(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    (tmp_path / "sites.csv").write_text("site,zone\nMill,America/Denver\nOak,\n")
    load(store, [tmp_path / "sites.csv"])
    set_rule(store, "zone", "America/Chicago")
    file = tmp_path / "station.csv"
    file.write_text(
        "Where,UTC time,Temp_F,RH %,Wind mph\nMill,2031-06-03 12:00,60,50,5\n"
        "Oak,2031-06-03 12:00,60,50,5\n"
    )
    proposed_and_kept(store, file, Wish(sets={"site": "Where"}))
    assert load(store, [file]).status == 0
    with store.read() as connection:
        found = connection.execute("SELECT site, hour(time) FROM weather ORDER BY site").fetchall()
    assert found == [("Mill", 6), ("Oak", 7)]


def test_a_weather_year_through_the_autumn_hour_loads_twice_without_a_change(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path / "s.duckdb")
    file = tmp_path / "station.csv"
    rows = "".join(f"2031-11-02 {hour:02d}:00,{hour + 10},50,5\n" for hour in range(4, 12))
    file.write_text(f"UTC time,Temp_C,RH %,Wind mph\n{rows}")
    proposed_and_kept(store, file, Wish(given={"site": "Mill"}, zone="America/Chicago"))
    report = load(store, [file])
    assert (report.status, report.tables["weather"]["added"]) == (0, 7)
    assert any("station.csv: the clock showed an hour twice on 2031-11-02; 1 reading" in line
               for line in report.warnings)  # fmt: skip
    again = load(store, [file])
    assert again.tables["weather"]["unchanged"] == 7
    with store.read() as connection:
        found = connection.execute(
            "SELECT round((air_temp - 32) / 1.8) FROM weather WHERE time = '2031-11-02 01:00'"
        ).fetchall()
        assert connection.execute("SELECT count(*) FROM history").fetchall() == [(0,)]
    assert found == [(17.0,)]  # 7:00 UTC, the second 1:00 of the night


def test_sheets_of_a_workbook_with_a_mapping_are_read(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in (["Station 7"], [], ["UTC time", "Temp_F", "RH %", "Wind mph"],
                [dt.datetime(2031, 6, 3, 12), 60, 50, 5]):  # fmt: skip
        page.append(row)
    other = book.create_sheet("Lunch")
    other.append(["what", "cost"])
    other.append(["soup", 7])
    book.save(tmp_path / "b.xlsx")
    store = Store(tmp_path / "s.duckdb")
    sheet = mappings.opened(tmp_path / "b.xlsx", "Sheet")
    found = proposed(sheet, Wish(given={"site": "Mill"}, zone="America/Denver"), Known())
    mappings.keep(store, sheet, found.mapping)
    report = load(store, [tmp_path / "b.xlsx"])
    assert (report.status, report.tables["weather"]["added"]) == (0, 1)
    assert any("Lunch" in line for line in report.warnings)
    with store.read() as connection:
        assert connection.execute("SELECT site, hour(time), _line FROM weather").fetchall() == [
            ("Mill", 6, 4)
        ]
    with pytest.raises(Refusal, match="Lunch"):
        mappings.opened(tmp_path / "b.xlsx")


def test_an_upload_in_the_browser_is_read_by_the_mapping_and_mended_in_place(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path / "s.duckdb")
    text = "a note above\n\nWS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n"
    text += "10,abc,50,Mill,2031-06-03 07:00\n"
    file = tmp_path / "station.csv"
    file.write_text(text)
    kept(store, file, STATION)
    upload = previewing.read(store, {"station.csv": text.encode()})
    report = previewing.preview(store, upload)
    assert [(f.line, f.column, f.value) for f in report.set_aside] == [(5, "T", "abc")]
    (broken,) = previewing.broken(upload, report)
    assert broken.cells[5] == ["10", "abc", "50", "Mill", "2031-06-03 07:00"]
    upload = previewing.mended(
        upload, "station.csv", None, {5: ["10", "21", "50", "Mill", "2031-06-03 07:00"]}
    )
    report = previewing.put_in(store, upload)
    assert (report.status, report.tables["weather"]["added"]) == (0, 2)


@pytest.mark.parametrize(
    ("name", "content", "status"),
    [
        ("none.csv", None, 2), ("a.csv", b"", 1), ("a.csv", b"\n\n", 1), ("a.csv", b"a,b\n", 1),
        ("a.csv", b"a\x00b", 2), ("a.xlsx", b"PK\x03\x04oops", 2), ("a.csv", b"%PDF-1.4", 2),
        ("a.csv", b'a,b\n"1,2\n', 2), ("a.csv", b"\xff\xfea", 2),
    ],
)  # fmt: skip
def test_what_cannot_be_looked_at_is_refused(
    tmp_path: Path, name: str, content: bytes | None, status: int
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(Refusal) as caught:
        mappings.opened(tmp_path / name)
    assert caught.value.status == status
    assert name in str(caught.value)
    with pytest.raises(Refusal):
        mappings.opened(tmp_path)


def test_two_stations_with_one_header_are_told_apart_by_their_files_names(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    text = "time,Temp_F,RH %,Wind mph\n2031-06-03 06:00,{},50,5\n"
    for name, site, temp in (("mill_2031-05.csv", "Mill", 60), ("oak 1.csv", "Oak", 70)):
        (tmp_path / name).write_text(text.format(temp))
        proposed_and_kept(store, tmp_path / name, Wish(given={"site": site}))
    (tmp_path / "mill_2031-06.csv").write_text(text.format(61).replace("-03 ", "-04 "))
    (tmp_path / "third.csv").write_text(text.format(99))
    report = load(store, sorted(tmp_path.glob("*.csv")))
    assert report.tables["weather"]["added"] == 3
    (fault,) = report.set_aside
    assert (fault.file, fault.line) == ("third.csv", None)
    assert "Mill and Oak" in fault.reason
    assert "pourstats map third.csv --site NAME" in fault.reason
    with store.read() as connection:
        found = connection.execute("SELECT site, air_temp FROM weather ORDER BY air_temp")
        assert found.fetchall() == [("Mill", 60.0), ("Mill", 61.0), ("Oak", 70.0)]
    assert len(mappings.kept(store)) == 1


def test_one_station_is_taken_for_all_files_of_its_header_and_told(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    (tmp_path / "a.csv").write_text("time,Temp_F,RH %,Wind mph\n2031-06-03 06:00,60,50,5\n")
    proposed_and_kept(store, tmp_path / "a.csv", Wish(given={"site": "Mill"}))
    (tmp_path / "a.csv").rename(tmp_path / "b.csv")
    report = load(store, [tmp_path / "b.csv"])
    assert (report.status, report.tables["weather"]["added"]) == (0, 1)
    assert any("b.csv: every row taken for site Mill" in line for line in report.warnings)


def test_a_foreign_file_with_our_name_is_pointed_to_the_mapping(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    file = tmp_path / "weather.csv"
    file.write_text("When,T (C),RH %,W km/h\n2031-06-03 06:00,14,70,8\n")
    report = load(store, [file])
    assert report.status == 3
    assert any("`pourstats map weather.csv`" in line for line in report.warnings)
    proposed_and_kept(store, file, Wish(sets={"wind": "W km/h"}, given={"site": "Mill"}))
    report = load(store, [file])
    assert (report.status, report.tables["weather"]["added"]) == (0, 1)
    with store.read() as connection:
        left = connection.execute("SELECT count(*) FROM set_aside WHERE state = 'open'").fetchall()
    assert left == [(0,)]


def test_an_export_takes_the_kept_mappings_along(tmp_path: Path) -> None:
    store, other = Store(tmp_path / "s.duckdb"), Store(tmp_path / "other.duckdb")
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    kept(store, file, STATION)
    proposed_and_kept(store, _hours(tmp_path), Wish(given={"task": "place"}))
    written = write_export(store, tmp_path / "out", "us", lambda line: None)
    assert written == {mappings.FILE: 2}
    report = load(other, [tmp_path / "out"])
    assert report.status == 0
    assert "hours, station_export" in report.warnings[0]
    assert mappings.kept(other) == mappings.kept(store)
    # Again: nothing to tell; and from then on such files are read.
    assert load(other, [tmp_path / "out"]).warnings == []
    assert load(other, [file]).tables["weather"]["added"] == 1
    # Beside the files that they are for, one load does both.
    shutil.copy(file, tmp_path / "out")
    third = Store(tmp_path / "third.duckdb")
    assert load(third, [tmp_path / "out"]).tables["weather"]["added"] == 1
    assert mappings.kept(third) == mappings.kept(store)


def test_a_mapping_that_comes_back_goes_over_the_one_of_its_header(tmp_path: Path) -> None:
    store, other = Store(tmp_path / "s.duckdb"), Store(tmp_path / "other.duckdb")
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    kept(store, file, STATION)
    write_export(store, tmp_path / "out", "us", lambda line: None)
    wrong = replace(STATION, columns={**STATION.columns, "air_temp": Drawn(("T",), "degF")})
    kept(other, file, wrong)
    # Another header's mapping of the same name keeps it; the one that comes gets another.
    file.write_text("When,Where,C,RH,WS\n2031-06-03 06:00,Mill,20,50,10\n")
    mappings.forget(other, "station_export")
    kept(other, file, replace(STATION, columns={**STATION.columns, "air_temp": Drawn(("C",))}))
    load(other, [tmp_path / "out" / mappings.FILE])
    found = {mapping.name: mapping for mapping in mappings.kept(other).values()}
    assert set(found) == {"station_export", "station_export_2"}
    assert found["station_export_2"].columns == STATION.columns


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"weather"', '"tables"'),
        ('"local"', '"noon"'),
        ('"T"', "5"),
        ('"zone": null', '"zone": "Middle/Earth"'),
        ('"at"', '"never"'),
        ('"given": {}', '"given": []'),
        ('"layout": "rows"', '"layout": "pages"'),
        ('"scale": 1.0', '"scale": NaN'),
        ('"scale": 1.0', '"scale": 1e999'),
        ('"scale": 1.0', f'"scale": {"9" * 400}'),
        ('"year": null', f'"year": {"9" * 30}'),
        ('"T"', ""),
        ('"unit": null', '"unit": 0'),
        ('"time": {', '"wind": {'),
        ('"at": "When"', ""),
        ('"name": "station_export"', r'"name": "\ud800"'),
        ('"signature": "', r'"signature": "\ud800'),
        ('"signature"', '"sign"'),
        ("{", "["),
    ],
)
def test_a_damaged_file_of_mappings_is_set_aside_whole(tmp_path: Path, old: str, new: str) -> None:
    store, other = Store(tmp_path / "s.duckdb"), Store(tmp_path / "other.duckdb")
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    kept(store, file, STATION)
    write_export(store, tmp_path / "out", "us", lambda line: None)
    listed = tmp_path / "out" / mappings.FILE
    text = listed.read_text(encoding="utf-8")
    assert old in text
    listed.write_text(text.replace(old, new, 1), encoding="utf-8")
    report = load(other, [listed])
    assert report.status == 2
    assert "holds no kept mappings" in report.set_aside[0].reason
    assert mappings.kept(other) == {}


def _hours(folder: Path) -> Path:
    file = folder / "hours.csv"
    file.write_text("Employee,Date,Clock in,Clock out,Job\nJB,2031-06-03,7:00,15:00,Mill\n")
    return file
