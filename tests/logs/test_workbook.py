"""Workbooks as spreadsheets save them, built with openpyxl and, where it can't, by their XML."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.datavalidation import DataValidation

from pourstats.logs import files, intake, workbook
from pourstats.logs.checked import Checked
from pourstats.logs.tables import TABLES

HEAD = ["pour_id", "date", "site", "slab_type", "area", "thickness"]
GOOD = ["A1", dt.date(2031, 6, 3), "Oak", "garage", 600, 4]


def book(**sheets: list[list[Any]]) -> openpyxl.Workbook:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        page = made.create_sheet(name)
        for row in rows:
            page.append(row)
    return made


def saved(made: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def edited(data: bytes, part: str, old: str, new: str) -> bytes:
    """The workbook with one piece of XML changed."""
    out = io.BytesIO()
    assert part in zipfile.ZipFile(io.BytesIO(data)).namelist()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w") as target:
        for item in source.infolist():
            content = source.read(item).decode() if item.filename == part else None
            if content is not None:
                assert old in content, content
                target.writestr(item, content.replace(old, new))
            else:
                target.writestr(item, source.read(item))
    return out.getvalue()


def with_shared_text(data: bytes, text: str, declared: str = "") -> bytes:
    """The workbook with the text in its list of shared ones, and in every cell that says SHARED."""
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    data = edited(data, "[Content_Types].xml", "</Types>",
                  f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}" /></Types>')  # fmt: skip
    data = edited(data, SHEET, ' t="inlineStr"><is><t>SHARED</t></is>', ' t="s"><v>0</v>')
    out = io.BytesIO(data)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "xl/sharedStrings.xml",
            f'<?xml version="1.0"?>{declared}<sst xmlns="http://schemas.openxmlformats.org/'
            f'spreadsheetml/2006/main" count="1" uniqueCount="1"><si><t>{text}</t></si></sst>',
        )
    return out.getvalue()


def pours(data: bytes) -> Checked:
    (page,) = workbook.workbook_sheets(data, "log.xlsx")
    assert isinstance(page, files.Sheet)
    return intake.checked(page, TABLES["pours"])


def rows(*cells: Any, head: list[str] | None = None) -> Checked:
    """One pour with more columns: their cells under their names."""
    return pours(saved(book(pours=[HEAD + (head or []), GOOD + list(cells)])))


def column(found: Checked, name: str) -> list[Any]:
    return list(found.columns[name].to_pylist())


def broken(found: Checked) -> list[tuple[int | None, str | None]]:
    return [(fault.line, fault.column) for _, fault in found.faults]


def test_a_sound_sheet() -> None:
    found = rows(dt.datetime(2031, 6, 3, 6, 40), "5", head=["place_start", "hands"])
    assert not found.faults
    assert not found.warnings
    assert column(found, "date") == [dt.date(2031, 6, 3)]
    assert column(found, "place_start") == [dt.datetime(2031, 6, 3, 6, 40)]
    assert column(found, "hands") == [5.0]
    assert found.sheet == "pours"
    assert found.lines.tolist() == [2]


def test_hidden_sheets_and_rows_count() -> None:
    made = book(pours=[HEAD, GOOD, ["B2", *GOOD[1:]]], trucks=[["pour_id"], ["A1"]])
    made["trucks"].sheet_state = "veryHidden"
    made["pours"].row_dimensions[2].hidden = True
    made["pours"].column_dimensions["E"].hidden = True
    pages = workbook.workbook_sheets(saved(made), "log.xlsx")
    assert [page.sheet for page in pages if isinstance(page, files.Sheet)] == ["pours", "trucks"]
    assert pages[0].columns[0].to_pylist() == ["A1", "B2"]


def test_lines_are_the_sheets_rows_and_blank_rows_count() -> None:
    found = pours(
        saved(book(pours=[[], [None, None], HEAD, [], GOOD, ["", " "], ["B2", *GOOD[1:]]]))
    )
    assert column(found, "pour_id") == ["A1", "B2"]
    assert found.lines.tolist() == [5, 7]


def test_a_table_that_does_not_begin_in_the_corner() -> None:
    made = book(pours=[])
    for i, (name, cell) in enumerate(zip(HEAD, GOOD, strict=True)):
        made["pours"].cell(4, 3 + i, name)
        made["pours"].cell(6, 3 + i, cell)
    found = pours(saved(made))
    assert column(found, "pour_id") == ["A1"]
    assert found.lines.tolist() == [6]
    assert not found.faults


def test_an_empty_sheet_is_told() -> None:
    assert workbook.workbook_sheets(saved(book(pours=[], trucks=[[" "]])), "x.xlsx") == [
        ("pours", "empty"), ("trucks", "empty"),
    ]  # fmt: skip


def test_a_cell_beyond_the_header_sets_aside() -> None:
    assert broken(rows("x")) == [(2, None)]
    assert not rows(" ").faults


# Numbers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "text"),
    [(12, "12"), (12.0, "12"), ("01", "01"), ("1.0", "1.0"), (1.5, "1.5"), (1e15, "1000000000000000"),
     (" B7 ", "B7"), ("1E5", "1E5")],
)  # fmt: skip
def test_whole_numbers_in_id_columns_read_without_decimals(cell: Any, text: str) -> None:
    found = pours(saved(book(pours=[HEAD, [cell, *GOOD[1:]]])))
    assert column(found, "pour_id") == [text]


def test_cells_count_by_their_stored_value_not_by_their_format() -> None:
    made = book(pours=[[*HEAD, "scm", "slump"], [12, *GOOD[1:], 0.55, 4.56]])
    page = made["pours"]
    page["A2"].number_format = "0000"
    page["E2"].number_format = '#,##0 "ft2"'
    page["G2"].number_format = "0%"
    page["H2"].number_format = "0"
    found = pours(saved(made))
    assert not found.faults
    assert column(found, "pour_id") == ["12"]
    assert column(found, "area") == [600]
    assert column(found, "scm") == [55]
    assert column(found, "slump") == [4.56]


@pytest.mark.parametrize(
    ("stored", "shown"), [(0.07, 7), (0.29, 29), (0.555, 55.5), (1, 100), (0, 0)]
)
def test_percent_cells(stored: float, shown: float) -> None:
    made = book(pours=[[*HEAD, "scm"], [*GOOD, stored]])
    made["pours"]["G2"].number_format = "0.00%"
    assert column(pours(saved(made)), "scm") == [pytest.approx(shown, rel=1e-12)]


def test_a_percent_cell_under_another_dimension_sets_aside() -> None:
    made = book(pours=[[*HEAD, "strength"], [*GOOD, 40]])
    made["pours"]["G2"].number_format = "0%"
    assert broken(pours(saved(made))) == [(2, "strength")]


def test_text_in_a_number_column_is_read_as_in_a_csv_file() -> None:
    found = rows("18 m3", '3 1/2"', "n/a", head=["ordered_volume", "joint_depth", "slump"])
    assert not found.faults
    assert column(found, "ordered_volume")[0] == pytest.approx(18 / 0.9144**3)
    assert column(found, "joint_depth") == [3.5]
    assert column(found, "slump") == [None]
    assert len(found.warnings) == 1


def test_header_units() -> None:
    found = rows(10, head=["Slump (cm)"])
    assert column(found, "slump")[0] == pytest.approx(10 / 2.54)


# Dates and times ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "cell", [46176, 46176.5, True, False, dt.time(6, 40), dt.datetime(2031, 6, 3, 6, 40), "6:40"]
)
def test_what_is_no_date_in_a_date_column(cell: Any) -> None:
    row = ["A1", cell, *GOOD[2:]]
    assert broken(pours(saved(book(pours=[HEAD, row])))) == [(2, "date")]


@pytest.mark.parametrize("cell", ["2031-06-03", dt.date(2031, 6, 3), dt.datetime(2031, 6, 3)])
def test_dates_as_cells_or_text(cell: Any) -> None:
    found = pours(saved(book(pours=[HEAD, ["A1", cell, *GOOD[2:]]])))
    assert column(found, "date") == [dt.date(2031, 6, 3)]


@pytest.mark.parametrize(
    ("cell", "seconds"),
    [(dt.time(6, 40), 24000), (dt.time(0, 0), 0), (dt.time(23, 59, 59), 86399), ("6:40 AM", 24000),
     (dt.timedelta(hours=6, minutes=40), 24000)],
)  # fmt: skip
def test_a_bare_time_of_day_in_a_time_column(cell: Any, seconds: int) -> None:
    found = rows(cell, head=["place_start"])
    assert not found.faults
    assert found.clocks["place_start"].tolist() == [seconds]


@pytest.mark.parametrize("minute", range(0, 1440, 7))
def test_times_stored_as_a_fraction_of_a_day_lose_no_second(minute: int) -> None:
    """A spreadsheet stores fifteen digits, other programs fewer."""
    made = book(pours=[[*HEAD, "place_start", "place_end"], [*GOOD, 0, 0]])
    page = made["pours"]
    page["G2"].value, page["G2"].number_format = round(minute / 1440, 8), "h:mm"
    page["H2"].value, page["H2"].number_format = 48000 + round(minute / 1440, 8), "yyyy-mm-dd h:mm"
    found = pours(saved(made))
    assert found.clocks["place_start"].tolist() == [minute * 60]
    clock = column(found, "place_end")[0]
    assert (clock.hour, clock.minute, clock.second) == (minute // 60, minute % 60, 0)


@pytest.mark.parametrize(
    "cell", [0.2778, 640, True, dt.date(1969, 7, 20), dt.timedelta(hours=30), "noon", "24:00"]
)
def test_what_is_no_time_in_a_time_column(cell: Any) -> None:
    assert broken(rows(cell, head=["place_start"])) == [(2, "place_start")]


def test_the_workbooks_own_epoch_holds() -> None:
    """Serial day 46541 of the 1904 system is 2031-06-04 (1904-01-01 is day 0)."""
    made = book(pours=[[*HEAD, "place_start"], ["A1", 46541, *GOOD[2:], 46541.25]])
    made["pours"]["B2"].number_format = "yyyy-mm-dd"
    made["pours"]["G2"].number_format = "yyyy-mm-dd h:mm"
    made.epoch = CALENDAR_MAC_1904
    day = dt.date(1904, 1, 1) + dt.timedelta(days=46541)
    found = pours(saved(made))
    assert column(found, "date") == [day]
    assert column(found, "place_start") == [dt.datetime.combine(day, dt.time(6))]
    assert day == dt.date(2031, 6, 4)


@pytest.mark.parametrize(("minute", "clock"), [(0.0, 0), (0.25, 21600)])
def test_a_bare_time_in_the_1904_system(minute: float, clock: int) -> None:
    made = book(pours=[[*HEAD, "place_start"], [*GOOD, minute]])
    made["pours"]["G2"].number_format = "h:mm"
    made.epoch = CALENDAR_MAC_1904
    assert pours(saved(made)).clocks["place_start"].tolist() == [clock]


def test_a_date_beyond_all_calendars_sets_its_row_aside() -> None:
    made = book(pours=[HEAD, ["A1", 99999999, *GOOD[2:]]])
    made["pours"]["B2"].number_format = "yyyy-mm-dd"
    assert broken(pours(saved(made))) == [(2, "date")]


# Formulas, errors, yes/no -------------------------------------------------------------------------


def formula(stored: str, kind: str = "") -> bytes:
    """A pour whose slump is a formula with this stored value, as XML."""
    data = saved(book(pours=[[*HEAD, "slump"], [*GOOD, "=4+1"]]))
    return edited(data, SHEET, '<c r="G2"><f>4+1</f><v /></c>',
                  f'<c r="G2"{kind}><f>4+1</f>{stored}</c>')  # fmt: skip


@pytest.mark.parametrize("stored", ["", "<v />", "<v></v>"])
def test_a_formula_without_a_stored_value_breaks_a_rule(stored: str) -> None:
    found = pours(formula(stored))
    assert broken(found) == [(2, "slump")]
    assert "4+1" in str(found.faults[0][1].value)


@pytest.mark.parametrize("where", [0, 2, 5])
def test_a_formula_without_a_value_breaks_a_rule_in_any_column(where: int) -> None:
    row = list(GOOD)
    row[where] = "=X1"
    assert broken(pours(saved(book(pours=[HEAD, row])))) == [(2, HEAD[where])]


def test_a_formula_counts_by_its_stored_value() -> None:
    assert column(pours(formula("<v>5</v>")), "slump") == [5]


def test_a_formula_that_gave_an_empty_text_is_blank() -> None:
    """What =IF(A1="","",…) leaves behind in a row that is not filled in."""
    found = pours(formula("<v></v>", ' t="str"'))
    assert not found.faults
    assert column(found, "slump") == [None]


def test_a_formula_that_gave_an_error_breaks_a_rule() -> None:
    assert broken(pours(formula("<v>#DIV/0!</v>", ' t="e"'))) == [(2, "slump")]


@pytest.mark.parametrize("error", ["#N/A", "#REF!", "#DIV/0!", "#VALUE!", "#NAME?"])
@pytest.mark.parametrize("where", ["slump", "notes", "mix", "place_start", "placement"])
def test_errors_break_a_rule(error: str, where: str) -> None:
    assert broken(rows(error, head=[where])) == [(2, where)]


@pytest.mark.parametrize("where", ["slump", "hands", "place_start"])
def test_yes_or_no_in_a_number_or_time_column_sets_aside(where: str) -> None:
    assert broken(rows(True, head=[where])) == [(2, where)]


def test_yes_or_no_where_it_is_a_choice() -> None:
    (page,) = workbook.workbook_sheets(
        saved(book(bids=[["pour_id", "bid_date", "bid_hours", "won"],
                         ["A1", dt.date(2031, 5, 1), 40, True],
                         ["A2", dt.date(2031, 5, 1), 40, "No"]])), "log.xlsx",
    )  # fmt: skip
    assert isinstance(page, files.Sheet)
    found = intake.checked(page, TABLES["bids"])
    assert column(found, "won") == ["yes", "no"]


# Unusable workbooks -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [b"", b"pour_id,date\n", b"PK\x03\x04junk", b"\xd0\xcf\x11\xe0", b"PK\x05\x06" + b"\0" * 18],
)
def test_what_is_no_workbook_is_unusable(data: bytes) -> None:
    with pytest.raises(files.UnusableError):
        workbook.workbook_sheets(data, "log.xlsx")


def test_a_damaged_workbook_is_unusable() -> None:
    data = saved(book(pours=[HEAD, GOOD]))
    for cut in (60, len(data) // 2, len(data) - 30):
        with pytest.raises(files.UnusableError):
            workbook.workbook_sheets(data[:cut], "log.xlsx")
    with pytest.raises(files.UnusableError):
        workbook.workbook_sheets(edited(data, SHEET, "</sheetData>", "</sheet"), "log.xlsx")


@pytest.mark.parametrize("part", ["xl/media/image1.bin", "xl/worksheets/sheet9.xml"])
def test_a_workbook_that_unpacks_to_more_than_100_mb_is_unusable(part: str) -> None:
    out = io.BytesIO(saved(book(pours=[HEAD, GOOD])))
    with (
        zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open(part, "w") as target,
    ):
        for _ in range(101):
            target.write(b"\0" * (1 << 20))
    assert len(out.getvalue()) < 1 << 20
    with pytest.raises(files.UnusableError, match="100 MB"):
        workbook.workbook_sheets(out.getvalue(), "log.xlsx")


def test_shared_texts_are_read() -> None:
    data = saved(book(pours=[[*HEAD, "notes"], [*GOOD, "SHARED"]]))
    assert column(pours(with_shared_text(data, "so be it")), "notes") == ["so be it"]


def test_a_long_text_shared_by_many_cells_is_unusable() -> None:
    data = saved(book(pours=[[*HEAD, "notes"], *([[*GOOD, "SHARED"]] * 3500)]))
    with pytest.raises(files.UnusableError, match="100 MB"):
        workbook.workbook_sheets(with_shared_text(data, "x" * 32_000), "log.xlsx")


def test_entities_that_multiply_are_unusable() -> None:
    declared = '<!DOCTYPE b [<!ENTITY a0 "aaaaaaaaaa">' + "".join(
        f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10)
    ) + "]>"  # fmt: skip
    data = saved(book(pours=[[*HEAD, "notes"], [*GOOD, "SHARED"]]))
    with pytest.raises(files.UnusableError, match="entities"):
        workbook.workbook_sheets(with_shared_text(data, "&a9;", declared), "log.xlsx")


def test_a_header_that_names_a_column_twice_makes_the_workbook_unusable(
    tmp_path: Path, shapes: dict[str, Any]
) -> None:
    data = saved(book(pours=[HEAD, GOOD], trucks=[["pour_id", "Pour ID"], ["A1", "A1"]]))
    ledger = shapes["Ledger"](tmp_path, made=False)
    report = ledger.load({"log.xlsx": data})
    assert report.status == 2
    assert [(f.file, f.line) for f in report.set_aside] == [("log.xlsx", None)]
    assert report.rows == 0
    assert not ledger.store.exists()


def test_of_two_workbooks_the_unusable_one_leaves_nothing(
    tmp_path: Path, shapes: dict[str, Any]
) -> None:
    bad = saved(
        book(pours=[HEAD, ["B2", *GOOD[1:]]], trucks=[["pour_id", "Pour ID"], ["A1", "A1"]])
    )
    good = saved(book(pours=[HEAD, GOOD], trucks=[["pour_id", "ticket", "volume"], ["A1", 7, 9]]))
    ledger = shapes["Ledger"](tmp_path)
    report = ledger.load({"a.xlsx": bad, "b.xlsx": good})
    assert report.status == 3
    assert ledger.sql("SELECT pour_id FROM pours") == [("A1",)]
    assert ledger.sql("SELECT ticket FROM trucks") == [("7",)]


# In a load ----------------------------------------------------------------------------------------


def test_sheets_by_lenient_names_unknown_ones_reported_pours_first(
    tmp_path: Path, shapes: dict[str, Any]
) -> None:
    made = book(**{"Trucks ": [["pour_id", "ticket", "volume"], ["A1", 7, 9]],
                   "Crew Time": [["pour_id", "worker", "task", "start", "end"],
                                 ["A1", "JB", "place", dt.time(7), dt.time(9)]],
                   "POURS": [HEAD, GOOD], "Lunch": [["x"], [1]]})  # fmt: skip
    made["Lunch"].add_data_validation(DataValidation(type="list", formula1='"a,b"'))
    ledger = shapes["Ledger"](tmp_path)
    report = ledger.load({"log.xlsx": saved(made)})
    assert report.status == 0, report.set_aside
    assert [name for name, counts in report.tables.items() if counts["added"] == 1] == [
        "pours", "trucks", "crew_time",
    ]  # fmt: skip
    assert any("Lunch" in warning for warning in report.warnings)
    assert str(ledger.value("SELECT start FROM crew_time")) == "2031-06-03 07:00:00"


def test_a_folder_with_csv_files_and_a_workbook(tmp_path: Path, shapes: dict[str, Any]) -> None:
    ledger = shapes["Ledger"](tmp_path)
    report = ledger.load({
        "a_log.XLSX": saved(book(trucks=[["pour_id", "ticket", "volume"], ["A1", 7, 9]])),
        "Pours.CSV": "pour_id,date,site,slab_type,area,thickness\nA1,2031-06-03,Oak,garage,600,4\n",
    })  # fmt: skip
    assert report.status == 0, report.set_aside
    assert report.tables["trucks"]["added"] == 1


def test_a_faulty_cell_names_its_sheet(tmp_path: Path, shapes: dict[str, Any]) -> None:
    ledger = shapes["Ledger"](tmp_path)
    report = ledger.load({"log.xlsx": saved(book(pours=[HEAD, [*GOOD[:4], -5, 4]]))})
    (entry,) = report.as_json()["set_aside"]
    assert {k: entry[k] for k in ("file", "sheet", "line", "column", "value")} == {
        "file": "log.xlsx", "sheet": "pours", "line": 2, "column": "area", "value": "-5",
    }  # fmt: skip
