"""The quick reader and the careful one give the same sheet wherever the quick one takes a file."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from pourstats.logs import files

CELL = st.text(
    st.characters(codec="utf-8", exclude_characters='\x00\r\n,;"\t', exclude_categories=("Cs",)),
    max_size=6,
)
ROW = st.lists(CELL, min_size=3, max_size=3)


@given(
    rows=st.lists(ROW, max_size=8),
    end=st.sampled_from(["\n", "\r\n"]),
    last=st.booleans(),
    bom=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_both_readers_agree(rows: list[list[str]], end: str, last: bool, bom: bool) -> None:
    lines = ["a,b,c", *(",".join(row) for row in rows)]
    text = end.join(lines) + (end if last else "")
    quick = files.csv_sheet(text.encode("utf-8-sig" if bom else "utf-8"), "x.csv")
    reader = files._Rows(text, ",")
    _, header = reader.header()
    careful = reader.sheet(len(header))
    assert quick is not None
    assert quick.header == header
    assert quick.lines.tolist() == careful.lines.tolist()
    assert [c.to_pylist() for c in quick.columns] == [c.to_pylist() for c in careful.columns]
    assert quick.raw.to_pylist() == careful.raw.to_pylist()
    assert quick.beyond == careful.beyond


def test_a_row_of_any_blanks_is_a_blank_row_for_both() -> None:
    every = [chr(i) for i in range(0x110000) if chr(i).isspace() and chr(i) not in "\r\n\t"]
    text = "a,b\n" + "".join(f"{mark},{mark}\n" for mark in every) + "1,2\n"
    quick = files.csv_sheet(text.encode(), "x.csv")
    assert quick is not None
    assert quick.lines.tolist() == [len(every) + 2]


def test_the_quick_reader_is_really_taken_for_a_plain_file() -> None:
    text = "a,b,c\n1,2,3\n4,5,6\n"
    assert files._plain_sheet(text, ",", 1, 3) is not None
    assert files._plain_sheet(text.replace("5", '"5"'), ",", 1, 3) is None
    assert files._plain_sheet("a,b,c\n1,2\n", ",", 1, 3) is None
