"""CSV as people and spreadsheets save it: what is read, on which line, and what is refused.

Expected values are the format page's own sentences.
"""

from __future__ import annotations

import pyarrow as pa
import pytest

from pourstats.logs import files, intake
from pourstats.logs.checked import Checked
from pourstats.logs.tables import TABLES

HEAD = "pour_id,date,site,slab_type,area,thickness"
GOOD = "A1,2031-06-03,Oak,garage,600,4"


def sheet(text: str | bytes) -> files.Sheet:
    data = text.encode() if isinstance(text, str) else text
    found = files.csv_sheet(data, "pours.csv")
    assert found is not None
    return found


def read(text: str | bytes, table: str = "pours") -> Checked:
    return intake.checked(sheet(text), TABLES[table])


def column(rows: Checked, name: str) -> list[object]:
    return list(rows.columns[name].to_pylist())


def reasons(rows: Checked) -> list[tuple[int | None, str | None]]:
    return [(fault.line, fault.column) for _, fault in rows.faults]


# Encodings and line ends --------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("last", [True, False])
def test_line_ends_and_byte_order_mark_make_no_difference(
    end: str, mark: bytes, last: bool
) -> None:
    text = end.join([HEAD, GOOD, GOOD.replace("A1", "B2")]) + (end if last else "")
    rows = read(mark + text.encode())
    assert column(rows, "pour_id") == ["A1", "B2"]
    assert column(rows, "area") == [600.0, 600.0]
    assert rows.lines.tolist() == [2, 3]
    assert not rows.faults
    assert not rows.warnings


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_quoted_line_ends_stay_in_the_cell_and_count_as_lines(end: str) -> None:
    text = end.join([HEAD + ",notes", GOOD + f',"two{end}lines, ""so"""', GOOD + ",x"])
    rows = read(text)
    assert column(rows, "notes") == [f'two{end}lines, "so"', "x"]
    assert rows.lines.tolist() == [2, 4]


def test_windows_1252_is_read_with_a_warning() -> None:
    rows = read(f"{HEAD},notes\n{GOOD},caf\xe9 70\xb0\n".encode("cp1252"))
    assert column(rows, "notes") == ["café 70°"]
    assert any("Windows-1252" in warning and "line 2" in warning for warning in rows.warnings)


def test_utf_8_is_not_taken_for_windows_1252() -> None:
    rows = read(f"{HEAD},notes\n{GOOD},café 70°\n")
    assert column(rows, "notes") == ["café 70°"]
    assert not rows.warnings


# Delimiters ---------------------------------------------------------------------------------------


def test_semicolons_bring_decimal_commas() -> None:
    rows = read((HEAD + "\n" + GOOD).replace(",", ";").replace(";4", ";4,5"))
    assert column(rows, "thickness") == [4.5]


@pytest.mark.parametrize("delimiter", [";", ","])
def test_a_separator_line_counts_as_a_line_and_is_no_header(delimiter: str) -> None:
    text = f"sep={delimiter}\n" + (HEAD + "\n" + GOOD).replace(",", delimiter)
    rows = read(b"\xef\xbb\xbf" + text.encode())
    assert column(rows, "pour_id") == ["A1"]
    assert rows.lines.tolist() == [3]


def test_a_semicolon_inside_quotes_is_no_delimiter() -> None:
    rows = read(f'{HEAD},trouble\n{GOOD},"pump;rain"\n')
    assert column(rows, "trouble") == ["pump;rain"]


def test_choices_in_a_semicolon_file_are_quoted() -> None:
    rows = read((f"{HEAD},trouble\n{GOOD}").replace(",", ";") + ';"pump;rain"\n')
    assert column(rows, "trouble") == ["pump;rain"]


# Blank lines and ragged rows ----------------------------------------------------------------------


def test_blank_lines_count_and_are_not_read() -> None:
    rows = read(f"\n , ,\n{HEAD}\n\n{GOOD}\n,,,,,\n   \n{GOOD.replace('A1', 'B2')}\n\n\n")
    assert column(rows, "pour_id") == ["A1", "B2"]
    assert rows.lines.tolist() == [5, 8]
    assert not rows.faults


def test_short_rows_are_filled_with_blanks() -> None:
    rows = read(f"{HEAD},hands,notes\n{GOOD}\n{GOOD},5\n")
    assert column(rows, "hands") == [None, 5.0]
    assert not rows.faults


def test_blank_cells_beyond_the_header_are_nothing() -> None:
    rows = read(f"{HEAD}\n{GOOD},, ,\n")
    assert not rows.faults
    assert column(rows, "pour_id") == ["A1"]


def test_a_filled_cell_beyond_the_header_sets_the_row_aside() -> None:
    rows = read(f"{HEAD}\n{GOOD},,x\n{GOOD.replace('A1', 'B2')}\n")
    assert reasons(rows) == [(2, None)]
    assert rows.faults[0][1].value == "x"
    assert rows.whole.tolist() == [False, True]


def test_header_ending_in_commas_is_no_column() -> None:
    rows = read(f"{HEAD},,\n{GOOD},,\n")
    assert not rows.faults
    assert not rows.warnings


def test_a_column_without_a_name_is_reported() -> None:
    rows = read("pour_id,,date,site,slab_type,area,thickness\nA1,x,2031-06-03,Oak,garage,600,4\n")
    assert not rows.faults
    assert any("column 2" in warning for warning in rows.warnings)


def test_a_row_that_breaks_two_rules_makes_two_entries() -> None:
    rows = read(f"{HEAD}\nA1,2031-06-03,Oak,garage,0,99\n")
    assert reasons(rows) == [(2, "area"), (2, "thickness")]
    assert {row for row, _ in rows.faults} == {0}


# Headers ------------------------------------------------------------------------------------------


def test_case_spaces_hyphens_and_underscores_do_not_matter() -> None:
    rows = read("Pour ID,DATE,site,Slab-Type,Area,THICKNESS,place start\n"
                "A1,2031-06-03,Oak,GARAGE,600,4,2031-06-03 06:40\n")  # fmt: skip
    assert not rows.faults
    assert not rows.warnings
    assert column(rows, "slab_type") == ["garage"]


def test_columns_in_any_order() -> None:
    rows = read("thickness,area,slab_type,site,date,pour_id\n4,600,garage,Oak,2031-06-03,A1\n")
    assert not rows.faults
    assert column(rows, "pour_id") == ["A1"]


def test_units_in_headers() -> None:
    rows = read("pour_id,date,site,slab_type,area [m2],Thickness (mm),Slump(in),strength [MPa],"
                "concrete_temp [degC]\nA1,2031-06-03,Oak,garage,100,101.6,4,20,20\n")  # fmt: skip
    assert not rows.faults, rows.faults
    # NIST SP 811 app. B: 1 ft2 = 0.092 903 04 m2, 1 in = 25.4 mm, both exact.
    assert column(rows, "area")[0] == pytest.approx(100 / 0.09290304, rel=1e-12)
    assert column(rows, "thickness")[0] == pytest.approx(4, rel=1e-12)
    assert column(rows, "slump") == [4.0]
    # 1 psi = 6.894 757 kPa (the same table, seven digits).
    assert column(rows, "strength")[0] == pytest.approx(20000 / 6.894757, rel=1e-6)
    assert column(rows, "concrete_temp")[0] == pytest.approx(68, rel=1e-12)


def test_unknown_columns_are_reported_with_the_near_name() -> None:
    rows = read(f"{HEAD},thicknes,boss\n{GOOD},4,Al\n")
    assert any("'thicknes'" in w and "thickness" in w for w in rows.warnings)
    assert any("'boss'" in w for w in rows.warnings)
    assert not rows.faults


@pytest.mark.parametrize("again", ["Area", "area [ft2]", "AREA (m2)", "a r e a"])
def test_a_column_named_twice_makes_the_file_unusable(again: str) -> None:
    with pytest.raises(files.UnusableError, match=r"area.*twice"):
        read(f"{HEAD},{again}\n{GOOD},600\n")


def test_an_unknown_column_named_twice_makes_the_file_unusable() -> None:
    with pytest.raises(files.UnusableError, match="twice"):
        read(f"{HEAD},boss,Boss\n{GOOD},a,b\n")


def test_a_missing_required_column_sets_every_row_aside_by_its_name() -> None:
    rows = read("pour_id,date,site,slab_type,area\nA1,2031-06-03,Oak,garage,600\n"
                "B2,2031-06-03,Oak,garage,600\n")  # fmt: skip
    assert reasons(rows) == [(2, "thickness"), (3, "thickness")]


# Unusable files -----------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_quote_never_closed_says_where_it_opened(end: str) -> None:
    text = end.join([HEAD + ",notes", GOOD + ",fine", GOOD + ',"open', GOOD + ",more", GOOD])
    with pytest.raises(files.UnusableError, match="line 3 is never closed"):
        read(text)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_quote_never_closed_among_quoted_cells(end: str) -> None:
    rows = [HEAD + ",notes", *(GOOD + f',"note {i}"' for i in range(9))]
    rows[4] = rows[4].rstrip('"')
    with pytest.raises(files.UnusableError, match="line 5 is never closed"):
        read(end.join(rows) + end)


def test_a_quote_never_closed_in_the_header() -> None:
    with pytest.raises(files.UnusableError, match="line 1 is never closed"):
        read(f'{HEAD},"notes\n{GOOD},x\n')


def test_inch_marks_are_no_open_quotes() -> None:
    rows = read(f'{HEAD}\nA1,2031-06-03,Oak,garage,600,4"\nB2,2031-06-03,Oak,garage,600,3 1/2"\n')
    assert not rows.faults
    assert column(rows, "thickness") == [4.0, 3.5]


def test_quoted_inch_marks() -> None:
    rows = read(f'{HEAD}\nA1,2031-06-03,Oak,garage,600,"3 1/2"""\n')
    assert column(rows, "thickness") == [3.5]


@pytest.mark.parametrize(
    "data",
    [
        b"PK\x03\x04rest", b"\xd0\xcf\x11\xe0rest", b"%PDF-1.7", b"PAR1rest",
        (HEAD + "\n" + GOOD).encode("utf-16"), (HEAD + "\n" + GOOD).encode("utf-16-le"),
        (HEAD + "\nA\x001,2031").encode(), b"\x81\x8d\xff,x\n",
    ],
)  # fmt: skip
def test_what_is_no_text_table_is_unusable(data: bytes) -> None:
    with pytest.raises(files.UnusableError) as caught:
        files.csv_sheet(data, "pours.csv")
    assert len(str(caught.value)) > 20


@pytest.mark.parametrize(
    "data", [b"", b"\xef\xbb\xbf", b"\n\n", b"  \r\n", b"sep=;\n", b",", b'""\n']
)
def test_an_empty_file_has_no_sheet(data: bytes) -> None:
    assert files.csv_sheet(data, "pours.csv") is None


@pytest.mark.parametrize("tail", ["", "\n", "\n\n", "\n,,,,,\n"])
def test_a_header_alone_has_no_rows(tail: str) -> None:
    assert read(HEAD + tail).read == 0


def test_an_endless_cell_is_refused_with_its_line() -> None:
    with pytest.raises(files.UnusableError, match="line 3"):
        read(f'{HEAD},notes\n{GOOD},x\n{GOOD},"{"a" * 1_000_001}"\n')


# The quick reader and the careful one -------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("start", ["", "\n\n", "sep=,\n"])
def test_quick_and_careful_readers_agree(end: str, start: str) -> None:
    body = [f"P{i},2031-06-{i % 28 + 1:02d},Oak é,garage,{600 + i},4" for i in range(700)]
    plain = start.replace("\n", end) + end.join([HEAD, *body]) + end
    quick, careful = sheet(plain), sheet(plain.replace("P0,", '"P0",'))
    assert quick.lines.tolist() == careful.lines.tolist()
    assert quick.header == careful.header
    for one, other in zip(quick.columns, careful.columns, strict=True):
        assert one.to_pylist() == other.to_pylist()
    assert quick.raw.to_pylist()[1:] == careful.raw.to_pylist()[1:]
    assert isinstance(quick.columns[0], pa.StringArray)


def test_many_distinct_texts_read_as_few_do() -> None:
    """Columns of many texts take another way; values, warnings and faults are the same."""
    head = "site,time,air_temp,humidity,wind,rain"
    times = [f"2031-{m:02d}-{d:02d} {h:02d}:00" for m in (6, 7) for d in range(1, 29)
             for h in range(24)]  # fmt: skip
    body = [f"Oak,{t},{50 + i / 100},{20 + i % 80}.{i},{i / 100},0" for i, t in enumerate(times)]
    body[5] = f"Oak,{times[5]},150,0.5,-1,n/a"
    body[6] = f"Oak,{times[6].replace(' ', 'T')}:30,16 degC,1,60.5 km/h,inf"
    whole = read("\n".join([head, *body]), "weather")
    for i in (0, 5, 6, 700, len(body) - 1):
        alone = read("\n".join([head, body[i]]), "weather")
        for name in head.split(","):
            assert column(whole, name)[i] == column(alone, name)[0], (i, name)
        mine = [(f.column, f.value, f.reason) for row, f in whole.faults if row == i]
        assert mine == [(f.column, f.value, f.reason) for _, f in alone.faults]
    assert {row for row, _ in whole.faults} == {5, 6}
