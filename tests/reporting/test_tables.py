"""Exports against independent readings: the csv module, json, openpyxl, pyarrow, exact factors."""

import csv
import datetime as dt
import io
import json
import math
import re
import zipfile
from fractions import Fraction

import duckdb
import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs import workbook as limits
from pourstats.logs.tables import SQL_TYPES, TABLES
from pourstats.reporting.columns import measure_in, number_text
from pourstats.reporting.tables import plain, text, write

# Exact factors: NIST Special Publication 811 (2008), Appendix B: the foot is 0.3048 m, the yard
# 0.9144 m, the inch 25.4 mm, the mile 1609.344 m, the pound 0.453 592 37 kg, the US gallon 231
# cubic inches, the pound-force 0.453 592 37 kg x 9.806 65 m/s2; t/degC = (t/degF - 32)/1.8.
FOOT, YARD, INCH = Fraction("0.3048"), Fraction("0.9144"), Fraction("25.4")
POUND = Fraction("0.45359237")
PSI_IN_MPA = POUND * Fraction("9.80665") / (INCH / 1000) ** 2 / 10**6
EXACT = {
    "ft2": ("m2", FOOT**2), "yd3": ("m3", YARD**3), "in": ("mm", INCH), "ft": ("m", FOOT),
    "mph": ("km/h", Fraction("1.609344")), "gal": ("L", 231 * (INCH / 100) ** 3),
    "psi": ("MPa", PSI_IN_MPA),
}  # fmt: skip


def test_the_cubic_yard_is_the_printed_one():
    # NIST SP 811, B.8: cubic yard to cubic meter 7.645549 E-01.
    assert float(YARD**3) == 0.764554857984
    # The same: pound-force per square inch to pascal 6.894757 E+03; gallon (US) 3.785412 E-03 m3.
    assert float(PSI_IN_MPA) == pytest.approx(6.894757e-3, rel=1e-7)
    assert float(EXACT["gal"][1]) == pytest.approx(3.785412, rel=1e-7)


def stored(table, *rows):
    """A frame as the store gives it: the table's types, through DuckDB."""
    base = duckdb.connect()
    kinds = ", ".join(f'"{c.name}" {SQL_TYPES[c.kind]}' for c in TABLES[table].columns)
    base.execute(f"CREATE TABLE log ({kinds})")
    for row in rows:
        names = ", ".join(f'"{name}"' for name in row)
        base.execute(
            f"INSERT INTO log ({names}) VALUES ({', '.join('?' * len(row))})", [*row.values()]
        )
    return base.execute("FROM log").df()


POUR = {
    "pour_id": "01", "date": dt.date(2031, 6, 3), "site": "=1+1", "slab_type": "shop",
    "area": 1200.0, "thickness": 4.5, "ordered_volume": 0.1 + 0.2, "strength": 4000.0,
    "concrete_temp": 72.0, "place_start": dt.datetime(2031, 6, 3, 6, 40),
    "place_end": dt.datetime(2031, 6, 3, 8, 5, 30), "saw_length": 1e-7, "trouble": "pump;rain",
    "notes": "'-late, \"again\"\nand\ragain ",
}  # fmt: skip
POURS = ("pours", POUR, {**POUR, "pour_id": "1", "site": "Peña", "notes": None, "area": 1.0})


def read_csv(written):
    rows = list(csv.reader(io.StringIO(written, newline="")))
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def unguarded(value):
    """What the contract says of reading: one ' before a formula's sign, or before more ', goes."""
    return value[1:] if re.match(r"'+[=+\-@\t]", value) else value


def test_csv_has_units_times_and_full_precision():
    one, two = read_csv(text(stored(*POURS), "pours", "csv", "us"))
    assert (one["pour_id"], two["pour_id"]) == ("01", "1")
    assert (one["date"], one["place_start"], one["place_end"]) == (
        "2031-06-03", "2031-06-03T06:40", "2031-06-03T08:05:30",
    )  # fmt: skip
    assert (one["area [ft2]"], one["thickness [in]"]) == ("1200", "4.5")
    assert one["ordered_volume [yd3]"] == "0.30000000000000004"
    assert float(one["saw_length [ft]"]) == 1e-7
    assert "e" not in one["saw_length [ft]"]
    assert "\r" not in text(stored("pours", {"pour_id": "a"}), "pours", "csv", "us")
    assert (one["hands"], one["mix"], two["notes"]) == ("", "", "")
    assert one["site"] == "'=1+1"
    assert unguarded(one["notes"]) == POUR["notes"]
    assert two["site"] == "Peña"


def test_json_has_the_names_and_units_of_the_log_in_both_systems():
    frame = stored(*POURS)
    written = text(frame, "pours", "json", "metric")
    assert written == text(frame, "pours", "json", "us")
    one, two = json.loads(written)
    assert list(one) == list(TABLES["pours"].names)
    assert (one["area"], one["concrete_temp"], one["site"]) == (1200, 72, "=1+1")
    assert (one["place_start"], one["date"]) == ("2031-06-03T06:40", "2031-06-03")
    assert one["hands"] is None
    assert one["notes"] == POUR["notes"]
    assert two["site"] == "Peña"


def test_parquet_has_the_types_of_the_log(tmp_path):
    path = tmp_path / "pours.parquet"
    write(stored(*POURS), "pours", "parquet", "metric", path)
    read = pq.read_table(path)
    assert tuple(read.column_names) == TABLES["pours"].names
    assert read.schema.field("date").type == pa.date32()
    assert read.schema.field("place_start").type == pa.timestamp("us")
    one = read.to_pylist()[0]
    for name, value in POUR.items():
        assert one[name] == value, name
    assert one["hands"] is None
    write(stored("passes", {"pour_id": "a", "pass_no": 2}), "passes", "parquet", "us", path)
    assert pq.read_table(path).schema.field("pass_no").type == pa.int64()


def test_xlsx_has_true_dates_and_no_formula(tmp_path):
    path = tmp_path / "pours.xlsx"
    write(stored(*POURS), "pours", "xlsx", "us", path)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["pours", "about"]
    sheet = book["pours"]
    assert sheet.freeze_panes == "A2"
    cells = dict(zip((c.value for c in sheet[1]), sheet[2], strict=True))
    assert cells["date"].value == dt.datetime(2031, 6, 3)
    assert cells["date"].number_format == "yyyy-mm-dd"
    assert cells["place_start"].value == POUR["place_start"]
    assert cells["place_start"].is_date
    assert cells["place_end"].value == POUR["place_end"]
    assert (cells["pour_id"].value, cells["pour_id"].data_type) == ("01", "s")
    assert cells["pour_id"].number_format == "@"
    assert (cells["site"].value, cells["site"].data_type) == ("=1+1", "s")
    assert cells["site"].quotePrefix
    assert (cells["area [ft2]"].value, cells["area [ft2]"].data_type) == (1200, "n")
    assert isinstance(cells["area [ft2]"].value, int)
    assert cells["ordered_volume [yd3]"].value == 0.1 + 0.2
    assert cells["mix"].value is None
    assert sheet.column_dimensions["A"].width > 8
    with zipfile.ZipFile(path) as parts:
        assert b"<f" not in parts.read("xl/worksheets/sheet1.xml").replace(b"<font", b"")
    about = {row[1]: row for row in book["about"].iter_rows(values_only=True)}
    assert set(TABLES["pours"].names) <= set(about)
    assert "plan area" in about["area"]


# Texts that a file or a spreadsheet might eat.
AWKWARD = st.one_of(
    st.text(st.sampled_from("'=+-@\t\"\n\r,; _x0041DF\x01\x1f\x0bé#N/A"), max_size=12),
    st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=20),
)


@given(st.lists(AWKWARD, min_size=1, max_size=30))
def test_every_text_comes_back_from_csv(texts):
    frame = pd.DataFrame({"pour_id": ["x"] * len(texts), "notes": texts})
    written = text(frame, "pours", "csv", "us")
    # Through bytes, as a file does it.
    read = read_csv(written.encode("utf-8").decode("utf-8"))
    assert [unguarded(row["notes"]) for row in read] == texts
    assert not any(re.match(r"[=+\-@\t]", row["notes"]) for row in read)


def from_xml(value):
    """ISO/IEC 29500-1, 22.9.2.19 (ST_Xstring): _xHHHH_ stands for a character, _x005F_ for _."""
    return re.sub(r"_x([0-9A-Fa-f]{4})_", lambda m: chr(int(m[1], 16)), value)


@settings(deadline=None)
@example(["_x0041\x01", "_x0041_x0042_", "#N/A", "#REF!", "\x01x0041_", "_x005F_"])
@given(st.lists(AWKWARD.filter(bool), min_size=1, max_size=30))
def test_every_text_comes_back_from_xlsx(tmp_path_factory, texts):
    path = tmp_path_factory.mktemp("book") / "pours.xlsx"
    write(pd.DataFrame({"notes": texts}), "pours", "xlsx", "us", path)
    sheet = openpyxl.load_workbook(path)["pours"]
    cells = [cell for (cell,) in sheet.iter_rows(min_row=2)]
    assert [from_xml(cell.value) for cell in cells] == texts
    assert {cell.data_type for cell in cells} == {"s"}
    for cell, value in zip(cells, texts, strict=True):
        assert bool(cell.quotePrefix) or not re.match(r"[=+\-@\t]", value)


@settings(deadline=None)
@given(
    st.lists(st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2199, 12, 31)), min_size=1),
    st.data(),
)
def test_every_time_comes_back_from_csv_and_xlsx(tmp_path_factory, times, data):
    keep = data.draw(st.sampled_from(("minute", "second", "microsecond")))
    cut = {"minute": {"second": 0, "microsecond": 0}, "second": {"microsecond": 0}}.get(keep, {})
    times = [moment.replace(**cut) for moment in times]
    frame = pd.DataFrame({"crew_in": pd.Series(times, dtype="datetime64[us]")})
    read = read_csv(text(frame, "pours", "csv", "us"))
    assert [dt.datetime.fromisoformat(row["crew_in"]) for row in read] == times
    assert all(len(row["crew_in"]) == 16 for row in read) or keep != "minute"
    path = tmp_path_factory.mktemp("book") / "pours.xlsx"
    write(frame, "pours", "xlsx", "us", path)
    cells = [
        v for (v,) in openpyxl.load_workbook(path)["pours"].iter_rows(min_row=2, values_only=True)
    ]
    assert [dt.datetime.fromisoformat(c) if isinstance(c, str) else c for c in cells] == times


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_comes_back_from_csv(value):
    written = number_text(value)
    assert float(written) == value
    assert re.fullmatch(r"-?\d+(\.\d+)?", written)


@settings(deadline=None)
@given(st.lists(st.floats(0, 1e7), min_size=1))
def test_every_number_comes_back_from_xlsx(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("book") / "pours.xlsx"
    write(pd.DataFrame({"area": values}), "pours", "xlsx", "us", path)
    rows = openpyxl.load_workbook(path)["pours"].iter_rows(min_row=2, values_only=True)
    assert [value for (value,) in rows] == values


def measured():
    return [
        (table.name, column)
        for table in TABLES.values()
        for column in table.columns
        if column.unit in units.METRIC
    ]


@pytest.mark.parametrize(("table", "column"), measured(), ids=lambda v: getattr(v, "name", v))
def test_metric_export_is_exact_and_reads_back_within_the_range(table, column):
    ends = [v for v in (column.low, column.high, column.odd_low, column.odd_high) if v is not None]
    values = [float(v) for v in {*ends, 4.5, 37.0, 55.5, 70.0, 99.0}]
    (header, *cells) = csv.reader(
        io.StringIO(text(pd.DataFrame({column.name: values}), table, "csv", "metric"))
    )
    unit = units.METRIC[column.unit]
    assert header == [f"{column.name} [{unit}]"]
    shown = np.array([float(cell) for (cell,) in cells])
    for value, metric in zip(values, shown.tolist(), strict=True):
        if column.unit == "degF":
            exact = (Fraction(value) - 32) / Fraction("1.8")
        else:
            assert EXACT[column.unit][0] == unit
            exact = Fraction(value) * EXACT[column.unit][1]
        assert metric == pytest.approx(float(exact), rel=1e-12, abs=1e-12)
    back = units.to_house(shown, units.checked_unit(unit, column.unit), column.unit)
    for value, again in zip(values, back.tolist(), strict=True):
        assert math.isclose(again, value, rel_tol=1e-13, abs_tol=0.0)
        if column.low is not None and value >= column.low:
            assert again >= column.low
        if column.high is not None and value <= column.high:
            assert again <= column.high


@settings(deadline=None)
@given(
    st.lists(st.floats(-80, 140), min_size=1, max_size=20),
    st.lists(st.floats(0.5, 60), min_size=1, max_size=20),
)
def test_metric_export_reads_back_within_the_contract(temps, thicknesses):
    for table, name, house, values in (
        ("weather", "air_temp", "degF", [t for t in temps if t == 0 or abs(t) > 1e-3]),
        ("pours", "thickness", "in", thicknesses),
    ):
        column = TABLES[table].column(name)
        rows = read_csv(text(pd.DataFrame({name: values}), table, "csv", "metric"))
        shown = np.array([float(*row.values()) for row in rows])
        unit = units.checked_unit(units.METRIC[house], house)
        for value, again in zip(values, units.to_house(shown, unit, house).tolist(), strict=True):
            assert math.isclose(again, value, rel_tol=1e-9, abs_tol=0.0)
            assert column.low <= again <= column.high


def test_metric_numbers_are_written_without_noise():
    frame = pd.DataFrame({"area": [1200.0, 1234.567], "thickness": 4.5, "concrete_temp": 32.0})
    row, second = read_csv(text(frame, "pours", "csv", "metric"))
    assert Fraction(second["area [m2]"]) == Fraction("1234.567") * EXACT["ft2"][1]
    # 1200 x 0.3048 x 0.3048; 4.5 x 25.4.
    assert row["area [m2]"] == "111.483648"
    assert row["thickness [mm]"] == "114.3"
    assert abs(float(row["concrete_temp [degC]"])) < 1e-12


# The columns of the measures, and what each is called in metric.
NAMES = {
    "area_ft2": "area_m2", "placed_yd3": "placed_m3", "yd3_per_crew_h": "m3_per_crew_h",
    "yd3_per_labor_h": "m3_per_labor_h", "ft2_per_labor_h": "m2_per_labor_h",
    "finish_ft2_per_labor_h": "finish_m2_per_labor_h",
    "finish_stay_ft2_per_labor_h": "finish_stay_m2_per_labor_h",
    "labor_h_per_100ft2": "labor_h_per_100m2", "place_yd3_per_h": "place_m3_per_h",
    "yd3_per_clock_h": "m3_per_clock_h", "unload_min_per_yd3": "unload_min_per_m3",
    "evaporation_lb_ft2_h": "evaporation_kg_m2_h",
    "evaporation_max_lb_ft2_h": "evaporation_max_kg_m2_h", "air_temp_f": "air_temp_c",
    "wind_mph": "wind_kmh", "thickness_in": "thickness_mm", "saw_length_ft": "saw_length_m",
    "strength_psi": "strength_mpa", "water_added_gal": "water_added_l",
    "callbacks_per_1000yd3": "callbacks_per_1000m3", "hours_per_yd3": "hours_per_m3",
    "cost_per_yd3": "cost_per_m3", "all_in_cost_per_yd3": "all_in_cost_per_m3",
    "ft2_per_labor_h_p05": "m2_per_labor_h_p05", "yd3_per_crew_h_mean": "m3_per_crew_h_mean",
    # These have no unit that changes.
    "labor_h": "labor_h", "wait_min": "wait_min", "pass_min": "pass_min", "sun_w_m2": "sun_w_m2",
    "humidity_pct": "humidity_pct", "labor_cost_usd": "labor_cost_usd", "rate_p05": "rate_p05",
    "overrun_pct": "overrun_pct", "pours": "pours", "mean_hands": "mean_hands", "pass_no": "pass_no",
}  # fmt: skip


@pytest.mark.parametrize(("name", "metric"), NAMES.items())
def test_a_measures_suffix_follows_the_unit(name, metric):
    assert measure_in(name, "metric")[0] == metric
    assert measure_in(name, "us") == (name, None)


M3, M2 = YARD**3, FOOT**2


@pytest.mark.parametrize(
    ("name", "value", "exact"),
    [
        ("area_ft2", 1200, 1200 * M2),
        ("yd3_per_crew_h", 7, 7 * M3),
        ("labor_h_per_100ft2", 3, 3 / M2),
        ("callbacks_per_1000yd3", 2, 2 / M3),
        ("unload_min_per_yd3", 4, 4 / M3),
        ("wind_mph", 10, Fraction("16.09344")),
        ("thickness_in", 4, 4 * INCH),
        ("evaporation_lb_ft2_h", Fraction("0.2"), Fraction("0.2") * POUND / M2),
        ("air_temp_f", 50, Fraction(10)),
        ("air_temp_f", 32, Fraction(0)),
        ("temp_drop_f", 9, Fraction(5)),
        ("cooling_f_per_h", 9, Fraction(5)),
    ],
)
def test_a_measure_is_converted_exactly(name, value, exact):
    frame = pd.DataFrame({name: [float(value), float("nan")]})
    one, two = json.loads(text(frame, "some_measure", "json", "metric"))
    assert next(iter(one.values())) == pytest.approx(float(exact), rel=1e-12, abs=1e-12)
    assert [*two.values()] == [None]
    assert exact != 0 or [*one.values()] == [0]
    (same, _) = json.loads(text(frame, "some_measure", "json", "us"))
    assert same == {name: float(value)}


def test_a_measure_is_renamed_in_every_format(tmp_path):
    frame = pd.DataFrame({"pour_id": ["=a"], "yd3_per_crew_h": [2.5], "crew_in": [None]})
    write(frame, "pour_output", "parquet", "metric", tmp_path / "m.parquet")
    assert pq.read_table(tmp_path / "m.parquet").column_names == [
        "pour_id",
        "m3_per_crew_h",
        "crew_in",
    ]
    write(
        frame, "pour_output", "xlsx", "metric", tmp_path / "m.xlsx",
        meanings={"yd3_per_crew_h": "placed over crew-hours"},
    )  # fmt: skip
    book = openpyxl.load_workbook(tmp_path / "m.xlsx")
    assert [c.value for c in book["pour_output"][1]] == ["pour_id", "m3_per_crew_h", "crew_in"]
    assert ("pour_output", "m3_per_crew_h", "placed over crew-hours") in [
        row[:3] for row in book["about"].iter_rows(values_only=True)
    ]
    (row,) = read_csv(text(frame, "pour_output", "csv", "metric"))
    assert row["pour_id"] == "'=a"


def test_nulls_of_every_make_are_blank():
    frame = pd.DataFrame(
        {
            "a": pd.array([1, None], dtype="Int64"),
            "b": [1.5, float("inf")],
            "c": pd.Series(["x", None], dtype="str"),
            "d": [dt.datetime(2031, 6, 3), pd.NaT],
            "e": pd.array([True, None], dtype="boolean"),
            "f": pd.Series([1, None], dtype=pd.ArrowDtype(pa.int64())),
            "g": pd.Series([dt.date(2031, 6, 3), None], dtype=object),
            "h": pd.Series([["pump", "rain"], None], dtype=object),
            "date": [dt.datetime(2031, 6, 3), pd.NaT],
        }
    )
    one, two = json.loads(text(frame, None, "json", "us"))
    assert one == {
        "a": 1, "b": 1.5, "c": "x", "d": "2031-06-03T00:00", "e": True, "f": 1, "g": "2031-06-03",
        "h": "pump;rain", "date": "2031-06-03",
    }  # fmt: skip
    assert set(two.values()) == {None}
    assert text(frame, None, "csv", "us").splitlines()[2] == "," * 8


def test_an_empty_table_still_has_its_header(tmp_path):
    frame = stored("passes")
    assert text(frame, "passes", "csv", "us").startswith("pour_id,pass_no,tool,")
    assert json.loads(text(frame, "passes", "json", "us")) == []
    for format in ("csv", "json", "parquet", "xlsx"):
        write(frame, "passes", format, "metric", tmp_path / f"passes.{format}")
    assert pq.read_table(tmp_path / "passes.parquet").num_rows == 0
    assert "0 rows" in plain(frame, "us", "passes", 80)


def test_what_cant_be_written_is_refused_with_a_remedy(tmp_path):
    frame = pd.DataFrame({"notes": ["x"]})
    with pytest.raises(Refusal, match=r"parquet is not text; .*--out FILE\.parquet"):
        text(frame, None, "parquet", "us")
    with pytest.raises(Refusal, match="'ods' is no format; take csv, json, parquet or xlsx"):
        write(frame, None, "ods", "us", tmp_path / "x.ods")
    for format in ("csv", "json", "parquet", "xlsx"):
        with pytest.raises(Refusal, match=r"there is no folder .*nowhere; make it first"):
            write(frame, None, format, "us", tmp_path / "nowhere" / f"x.{format}")
    with pytest.raises(Refusal, match="is a folder; name a file in it"):
        write(frame, None, "csv", "us", tmp_path)


def test_a_refused_export_leaves_the_old_file(tmp_path):
    path = tmp_path / "pours.xlsx"
    path.write_text("kept")
    frame = pd.DataFrame({"notes": ["y", "x" * 32_768]})
    with pytest.raises(Refusal, match=r"pours, row 3, notes: the text is longer .* csv or json"):
        write(frame, "pours", "xlsx", "us", path)
    assert path.read_text() == "kept"
    assert list(tmp_path.iterdir()) == [path]
    write(frame, "pours", "csv", "us", path)
    assert len(read_csv(path.read_text(encoding="utf-8"))[1]["notes"]) == 32_768


def test_a_log_too_large_to_load_again_is_refused_as_a_workbook(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "MOST_UNPACKED_BYTES", 1000)
    frame = pd.DataFrame({"notes": ["y"]})
    with pytest.raises(Refusal, match=r"more than a load takes .*; take --format csv or parquet"):
        write(frame, "pours", "xlsx", "us", tmp_path / "pours.xlsx")
    assert not list(tmp_path.iterdir())
    write(frame, "pour_output", "xlsx", "us", tmp_path / "measure.xlsx")


@pytest.mark.parametrize("width", [40, 80, 200])
def test_the_listing_keeps_to_the_width_and_tells_what_is_left_out(width):
    frame = stored(*POURS)
    lines = plain(frame, "metric", "pours", width).splitlines()
    assert all(len(line) <= width for line in lines)
    assert "2 rows" in lines
    body = " ".join(lines)
    for name in TABLES["pours"].names:
        assert name in body, name
    assert "area [m2]" in lines[0] or "area [m2]" in body


def test_the_listing_can_not_drive_the_terminal():
    frame = pd.DataFrame({"notes": ["\x1b[2Jgone\r\n\u202eback", "x" * 500], "n": [1.25, 3]})
    seen = plain(frame, "us", None, 80)
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", seen)
    assert max(map(len, seen.splitlines())) <= 80
    assert "…" in seen
    rows = seen.splitlines()
    assert rows[2].endswith("1.25")
    assert rows[3].endswith("3.00")


def test_the_listing_aligns_wide_letters():
    frame = pd.DataFrame({"site": ["倉庫", "shop"], "n": [1, 2]})
    rows = plain(frame, "us", None, 80).splitlines()
    # Two cells a letter (Unicode Standard Annex 11).
    assert rows[2] == "倉庫  1"
    assert rows[3] == "shop  2"
