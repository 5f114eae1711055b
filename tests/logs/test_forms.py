"""Blank forms, entry fields and the reference page agree with the declaration of the tables."""

import csv
import subprocess
import sys

import openpyxl
import pytest

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs import forms
from pourstats.logs.cell import Reading
from pourstats.logs.cells import read_cell
from pourstats.logs.files import read_csv
from pourstats.logs.intake import checked
from pourstats.logs.tables import TABLES

LOGS = [table for table in TABLES.values() if table.log]
# The short log of the format: hands, first concrete, strike-off done, bull float done, machine on,
# last pass off, saw done, gone, beside what every pour needs.
SHORT_POUR = {
    "pour_id", "date", "site", "slab_type", "area [ft2]", "thickness [in]", "hands", "place_start",
    "place_end", "bull_float_end", "machine_on", "passes_done", "saw_end", "crew_out",
}  # fmt: skip


def headers(path):
    with path.open(encoding="utf-8", newline="") as file:
        (row,) = csv.reader(file)
    return row


def test_the_shipped_reference_page_is_current():
    assert forms.PAGE.read_text(encoding="utf-8") == forms.reference_page(), (
        "run `python -m pourstats.logs.forms`"
    )


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_reference_page_has_every_column(lang):
    sections = forms.reference_page(lang).split("\n## ")[1:]
    assert [s.split(":")[0] for s in sections[: len(TABLES)]] == list(TABLES)
    for section, table in zip(sections, TABLES.values(), strict=False):
        rows = [line for line in section.splitlines() if line.startswith("| `")]
        assert [row.split("`")[1] for row in rows] == list(table.names)
        for row, column in zip(rows, table.columns, strict=True):
            cells = [cell.strip() for cell in row.strip("|").split("|")]
            assert len(cells) == 9
            assert cells[1] == (column.spanish if lang == "es" else column.english)
            assert cells[2] == (column.unit or "")
            assert bool(cells[5]) == column.required
            assert bool(cells[7]) == column.private
            assert all(f"`{choice}`" in cells[8] for choice in column.choices)


def test_ranges_read_as_the_format_says():
    # The ranges of the log format page.
    words = {
        ("pours", "area"): "1 to 10,000,000",
        ("pours", "thickness"): "0.5 to 60",
        ("trucks", "volume"): "above 0 to 100",
        ("pours", "ordered_volume"): "above 0",
        ("weather", "air_temp"): "-80 to 140",
        ("callbacks", "cost"): "0 or more",
        ("pours", "date"): "",
    }
    for (table, column), said in words.items():
        assert forms.range_text(TABLES[table].column(column)) == said


def test_the_page_is_made_by_the_command(tmp_path, monkeypatch):
    monkeypatch.setattr(forms, "PAGE", tmp_path / "columns.md")
    forms.main()
    assert (tmp_path / "columns.md").read_bytes() == forms.reference_page().encode()


def test_short_templates_are_the_short_log(tmp_path):
    paths = forms.write_templates(tmp_path / "log")
    assert {p.name for p in paths} == {f"{t.name}.csv" for t in LOGS} | {"pour_log.xlsx"}
    assert set(headers(tmp_path / "log" / "pours.csv")) == SHORT_POUR
    assert headers(tmp_path / "log" / "trucks.csv") == ["pour_id", "ticket", "volume [yd3]"]
    assert {"bid_hours [h]", "bid_price [USD]"} <= set(headers(tmp_path / "log" / "bids.csv"))
    assert "pay [USD/h]" in headers(tmp_path / "log" / "crew.csv")


@pytest.mark.parametrize("full", [False, True])
def test_templates_can_be_filled_and_hold_what_is_required(tmp_path, full):
    forms.write_templates(tmp_path, full=full)
    book = openpyxl.load_workbook(tmp_path / "pour_log.xlsx")
    assert book.sheetnames == [*(t.name for t in LOGS), "about", "about defects"]
    for table in LOGS:
        row = headers(tmp_path / f"{table.name}.csv")
        assert [cell.value for cell in book[table.name][1]] == row
        names = [head.split(" [")[0] for head in row]
        assert {*table.required, *table.key, *table.needs_one_of} <= set(names)
        assert names == [name for name in table.names if name in names]
        assert not full or names == list(table.names)
        for head, name in zip(row, names, strict=True):
            unit = table.column(name).unit
            assert head == (name if unit is None else f"{name} [{unit}]")
            if unit is not None:
                assert units.checked_unit(unit, unit)


def test_the_reader_knows_every_column_of_a_template(tmp_path):
    forms.write_templates(tmp_path, full=True)
    for table in LOGS:
        path = tmp_path / f"{table.name}.csv"
        with path.open("a", encoding="utf-8") as file:
            file.write("x\n")
        found = checked(read_csv(path), table)
        assert found.names == table.names
        assert found.warnings == []


def choices_offered(book, formula):
    """What a drop-down offers: its own list, or the cells that it names."""
    if formula.startswith('"'):
        return formula.strip('"').split(",")
    sheet, _, cells = formula.partition("!")
    return [row[0].value for row in book[sheet.strip("'")][cells.replace("$", "")]]


def test_the_workbook_tells_the_defects_apart(tmp_path):
    # The sheets' numbers by NRMCA's list of Concrete in Practice: 2 scaling, 13 blisters,
    # 20 delamination.
    forms.write_templates(tmp_path)
    sheet = openpyxl.load_workbook(tmp_path / "pour_log.xlsx")["about defects"]
    _, *rows = sheet.iter_rows(values_only=True)
    assert [row[0] for row in rows] == list(TABLES["callbacks"].column("defect").choices)
    assert all(all(row) for row in rows)
    told = {row[0]: row for row in rows}
    for word, number in (("scaling", 2), ("blister", 13), ("delamination", 20)):
        assert told[word][5] == f"NRMCA CIP {number}"
    page = forms.reference_page()
    assert all(f"| {row[3]} | {row[4]} | {row[5]} |" in page for row in rows)


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_blank_workbook_helps_to_fill_it(tmp_path, lang):
    forms.write_templates(tmp_path, full=True, lang=lang)
    book = openpyxl.load_workbook(tmp_path / "pour_log.xlsx")
    for table in LOGS:
        sheet = book[table.name]
        assert sheet.freeze_panes == "A2"
        rules = {str(rule.sqref): rule for rule in sheet.data_validations.dataValidation}
        for cell, column in zip(sheet[1], table.columns, strict=True):
            wanted = {"id": "@", "text": "@", "notes": "@", "date": "yyyy-mm-dd"}.get(column.kind)
            style = sheet.column_dimensions[cell.column_letter].number_format
            assert wanted is None or style == wanted
            if column.kind == "time":
                assert "hh:mm" in style
            rule = rules.pop(f"{cell.column_letter}2:{cell.column_letter}2000", None)
            assert (rule is not None) == bool(column.choices), column.name
            if rule is not None:
                offered = choices_offered(book, rule.formula1)
                read = [read_cell(word, column, Reading()).value for word in offered]
                assert read == list(column.choices)
                assert lang == "es" or offered == read
                assert len(rule.formula1) <= 257
                # Several joined by ; must not be refused by the spreadsheet.
                assert bool(rule.showErrorMessage) == (column.kind == "choice")
        assert not rules
    # A clock time is enough where the day is the pour's; weather has no pour.
    letter = {cell.value: cell.column_letter for cell in book["weather"][1]}["time"]
    assert book["weather"].column_dimensions[letter].number_format == "yyyy-mm-dd hh:mm"
    about = [tuple(cell or "" for cell in row) for row in book["about"].iter_rows(values_only=True)]
    assert [row[:2] for row in about[1:]] == [(t.name, c.name) for t in LOGS for c in t.columns]
    labels = {(row[0], row[1]): row[2] for row in about}
    assert labels["pours", "crew_out"] == ("Se fue la gente" if lang == "es" else "Gone")


@pytest.mark.parametrize("name", ["pours.csv", "pour_log.xlsx"])
def test_a_template_never_takes_the_place_of_a_log(tmp_path, name):
    (tmp_path / name).write_text("mine")
    with pytest.raises(Refusal, match=rf"{name} is already there and may hold a log"):
        forms.write_templates(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_a_folder_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "log").write_text("")
    with pytest.raises(Refusal, match=r"can't be written to .*; name another folder"):
        forms.write_templates(tmp_path / "log")


@pytest.mark.parametrize("lang", ["en", "es"])
def test_form_fields_follow_the_declaration(lang):
    for table in TABLES.values():
        fields = forms.form_fields(table.name, lang)
        assert [field.name for field in fields] == list(table.names)
        for field, column in zip(fields, table.columns, strict=True):
            assert (field.kind, field.unit, field.choices) == (
                column.kind,
                column.unit,
                column.choices,
            )
            assert (field.required, field.private) == (column.required, column.private)
            assert field.label == (column.spanish if lang == "es" else column.english)
            assert column.meaning in field.help
    (thickness,) = [f for f in forms.form_fields("pours", lang) if f.name == "thickness"]
    assert ("0.5 to 60 in" if lang == "en" else "0.5 a 60 in") in thickness.help


def test_importing_forms_stays_light():
    code = (
        "import sys, pourstats.logs.forms; "
        "print(sorted({'pandas', 'openpyxl', 'pint'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
