"""Anything as input: never a traceback, never a hang, and memory that is bounded.

A reader may refuse (UnusableError, Refusal, RuleError: each a message for people); nothing else may
come out of it.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pourstats import settings as house
from pourstats.faults import Refusal
from pourstats.logs import files, foreign, intake, limits, stamps, workbook
from pourstats.logs.tables import EVENTS, TABLES
from pourstats.store import previewing, rules, tapping
from pourstats.store.database import Store

MANY = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
SOME = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))

ANY_TEXT = st.text(max_size=40) | st.sampled_from(
    ["=1+1", "-5", "1e999", "nan", "\x00", "\x01n5", "\ufeff", "٣", "½", "4 1/2", "10'", "25:61", "12:00 PM",
     "0001-01-01", "9999-12-31", "2031-02-30", "%", "[m2]", "_x000D_", "True", "\ud800", "a\r\nb"]
)  # fmt: skip


# CSV ----------------------------------------------------------------------------------------------


@MANY
@given(
    table=st.sampled_from(list(TABLES)),
    cells=st.lists(st.lists(ANY_TEXT, min_size=1, max_size=6), max_size=5),
    names=st.data(),
    mark=st.sampled_from(",;\t"),
)
def test_any_cells_under_any_header_of_ours(
    table: str, cells: list[list[str]], names: st.DataObject, mark: str
) -> None:
    import csv

    head = names.draw(st.lists(st.sampled_from(TABLES[table].names) | ANY_TEXT, max_size=6))
    out = io.StringIO()
    csv.writer(out, delimiter=mark).writerows([head, *cells])
    try:
        sheet = files.csv_sheet(out.getvalue().encode("utf-8", "surrogatepass"), f"{table}.csv")
        if sheet is not None:
            rows = intake.checked(sheet, TABLES[table])
            # Where the mark isn't the file's, a line's end inside quotes may be one outside.
            assert rows.read <= out.getvalue().count("\n") + out.getvalue().count("\r")
    except files.UnusableError as error:
        assert len(str(error)) > 10


@MANY
@given(
    data=st.binary(max_size=300) | st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace"))
)
def test_any_bytes_as_a_file_of_another_program(data: bytes) -> None:
    for name in ("x.csv", "x.txt", "x.xlsx"):
        try:
            found = foreign.sheets(data, name)
        except files.UnusableError as error:
            assert len(str(error)) > 10
        else:
            assert all(len(sheet.header) == len(sheet.columns) for sheet in found)


# Workbooks ----------------------------------------------------------------------------------------


def sound_workbook() -> dict[str, bytes]:
    book = openpyxl.Workbook()
    page = book.active
    page.title = "pours"
    page.append(["pour_id", "date", "site", "slab_type", "area", "thickness"])
    page.append(["A1", dt.date(2031, 6, 3), "Oak", "garage", 600, "=2+2"])
    out = io.BytesIO()
    book.save(out)
    with zipfile.ZipFile(out) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


PARTS = sound_workbook()
PIECES = [b"<", b">", b"&", b"</c>", b"</row>", b"</sheetData>", b'"', b"0", b"-1", b"99999999999",
          b'r="A1048577"', b't="s"', b't="e"', b't="b"', b"<v>NaN</v>", b"<v>1e400</v>", b"\x00",
          b"&#0;", b"<f>1</f>", b"<!DOCTYPE x>", b"\xff\xfe", b""]  # fmt: skip


@st.composite
def spoiled_workbook(draw: st.DrawFn) -> bytes:
    """A workbook one of whose parts had pieces put in or cut out, or the bytes of the whole."""
    parts = dict(PARTS)
    for _ in range(draw(st.integers(1, 3))):
        name = draw(st.sampled_from(sorted(parts)))
        text = parts[name]
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.sampled_from([0, 1, 5, 60])))
        parts[name] = text[:start] + draw(st.sampled_from(PIECES)) + text[end:]
    if draw(st.booleans()):
        parts.pop(draw(st.sampled_from(sorted(parts))))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    data = out.getvalue()
    if draw(st.integers(0, 3)) == 0:
        place = draw(st.integers(0, len(data) - 1))
        data = data[:place] + draw(st.binary(max_size=3)) + data[place + 1 :]
    return data


@MANY
@given(data=spoiled_workbook())
def test_any_spoiled_workbook(data: bytes) -> None:
    try:
        for sheet in workbook.workbook_sheets(data, "x.xlsx"):
            if isinstance(sheet, files.Sheet):
                intake.checked(sheet, TABLES["pours"])
    except files.UnusableError as error:
        assert len(str(error)) > 10


# Settings, taps, names ----------------------------------------------------------------------------


@MANY
@example("minimum_job", "1E310")
@given(name=st.sampled_from(list(house.RULES)) | ANY_TEXT, value=ANY_TEXT)
def test_any_house_rule(name: str, value: str) -> None:
    try:
        found = house.parsed(name, value)
    except house.RuleError as error:
        assert str(error)
    else:
        assert found is None or isinstance(found, (float, str))
        assert found != float("inf")
        assert found == found  # not a NaN


@SOME
@given(text=st.text(max_size=80) | st.sampled_from(
    ["[limits]\nfile_mb = 0", "[limits]\nfile_mb = true", "limits = 3", "[limits]\nx = 1",
     "[limits]\nfile_mb = 1e9", "[limits]\ncolumns = 99999999999999", "[limits]"]))  # fmt: skip
def test_any_machine_settings(text: str) -> None:
    try:
        found = limits.parsed(text, "pourstats.toml")
    except Refusal as error:
        assert "pourstats.toml" in str(error)
    else:
        assert found.file_mb >= 1


MARKS = st.lists(
    st.tuples(st.sampled_from(EVENTS), ANY_TEXT | st.sampled_from(
        ["load-1;volume=9", "1;tool=pan", ";;==", "a=b;area=", "1;footprint=1/0", "area=%3", "%"]),
        st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2199, 1, 1))),
    max_size=8,
)  # fmt: skip


@MANY
@given(marks=MARKS)
def test_any_taps_give_rows_that_can_be_checked(marks: list[tuple[str, str, dt.datetime]]) -> None:
    rows = [
        {"stamp_id": str(i), "pour_id": "P", "event": event, "subject": subject, "at": at,
         "undone": "no"} for i, (event, subject, at) in enumerate(marks)
    ]  # fmt: skip
    found = stamps.derived("P", rows, None)
    assert found.missing or found.rows["pours"]


@SOME
@given(marks=MARKS, pour_id=ANY_TEXT)
def test_any_taps_are_stored_or_refused(
    marks: list[tuple[str, str, dt.datetime]], pour_id: str
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "s.duckdb")
        for event, subject, at in marks[:3]:
            try:
                tapping.tap(store, pour_id, tapping.Tap(event, subject, at))
            except Refusal as error:
                assert str(error)


NAMES = st.text(min_size=1, max_size=30) | st.sampled_from(
    ["../../x.csv", "..", ".", "", "/etc/passwd", "a\x00b.csv", "x" * 5000 + ".csv", "CON.csv",
     "..\\..\\pours.csv", "pours.csv/..", "~$pours.csv", ".csv", "a:b|c?.csv", "\ud800.csv",
     "\u202evsc.pours", "pours.csv\n", "é" * 300 + ".xlsx", "=cmd.csv", "<b>.csv"]
)  # fmt: skip


@MANY
@given(name=NAMES)
def test_any_uploaded_name_stays_in_its_folder(name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        plain = previewing.plain_name(name)
        path = Path(folder) / plain
        assert path.parent == Path(folder)
        assert path.resolve().parent == Path(folder).resolve()
        path.write_bytes(b"x")
        assert path.is_file()


@SOME
@given(names=st.lists(NAMES, min_size=1, max_size=3))
def test_any_uploaded_names_are_read_or_set_aside(names: list[str]) -> None:
    head = b"pour_id,date,site,slab_type,area,thickness\nA1,2031-06-03,Oak,garage,600,4\n"
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "in" / "s.duckdb")
        found = previewing.read(store, dict.fromkeys(names, head))
        assert len(found.parts) + len(found.unusable) + len(found.warnings) >= 0
        assert [path.name for path in Path(folder).iterdir()] in ([], ["in"])


def test_two_uploads_of_one_name_are_both_read(tmp_path: Path) -> None:
    row = "pour_id,date,site,slab_type,area,thickness\n{},2031-06-03,Oak,garage,600,4\n"
    store = Store(tmp_path / "s.duckdb")
    found = previewing.read(store, {"a/pours.csv": row.format("A1").encode(),
                                    "b/pours.csv": row.format("B2").encode()})  # fmt: skip
    previewing.put_in(store, found)
    with store.read() as connection:
        stored = connection.execute("SELECT pour_id FROM pours ORDER BY 1").fetchall()
    assert stored == [("A1",), ("B2",)]


@SOME
@given(value=ANY_TEXT)
def test_a_house_rule_set_to_anything_leaves_a_store_that_opens(value: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "s.duckdb")
        for name in ("burden", "day_start", "zone"):
            try:
                rules.set_rule(store, name, value)
            except Refusal as error:
                assert str(error)
        if store.exists():
            with store.read():
                pass
            assert json.dumps(rules.in_force(store))


# Sizes --------------------------------------------------------------------------------------------

PEAK = """
import sys, pathlib, re
from pourstats.logs import files, workbook
path = pathlib.Path(sys.argv[1])
read = workbook.read_workbook if path.suffix == ".xlsx" else files.read_csv
try:
    read(path)
    print("read")
except files.UnusableError as error:
    print(error)
# Not the most that getrusage knows of: that begins with the size of the process that started it.
status = pathlib.Path("/proc/self/status").read_text()
print(int(re.search(r"VmHWM:\\s+(\\d+) kB", status)[1]) // 1024)
"""


def refused(path: Path, limit: str = "") -> tuple[str, int]:
    """What reading it says in a process of its own, and that process's peak memory in MB."""
    if not Path("/proc/self/status").exists():
        pytest.skip("peak memory is read from /proc, which only Linux has")
    config = path.parent / "pourstats.toml"
    config.write_text(f"[limits]\n{limit}\n")
    done = subprocess.run(
        [sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, timeout=120,
        env={**os.environ, "POURSTATS_CONFIG": str(config)}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    words, peak = done.stdout.splitlines()
    return words, int(peak)


def test_a_file_beyond_the_limit_is_not_even_read(tmp_path: Path) -> None:
    path = tmp_path / "pours.csv"
    with path.open("wb") as file:
        file.truncate(2**30)
    words, peak = refused(path)
    assert "1,024 MB" in words
    assert "file_mb" in words
    assert peak < 400


def test_a_huge_cell_a_million_columns_and_a_bomb_are_refused_in_little_memory(
    tmp_path: Path,
) -> None:
    (tmp_path / "pours.csv").write_text('pour_id,notes\nA1,"' + "x" * 40_000_000 + '"\n')
    words, peak = refused(tmp_path / "pours.csv")
    assert "cell of more than 1,000,000 characters" in words
    assert peak < 700
    (tmp_path / "pours.csv").write_text("a," * 1_000_000 + "\n1\n")
    words, peak = refused(tmp_path / "pours.csv")
    assert "1000000 columns" in words
    assert peak < 700
    with zipfile.ZipFile(tmp_path / "pours.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in PARTS.items():
            archive.writestr(name, text)
        archive.writestr("xl/media/a.bin", b"\x00" * (300 * 2**20))
    words, peak = refused(tmp_path / "pours.xlsx")
    assert "more than 100 MB" in words
    assert peak < 700


def test_the_limits_are_the_machines_own(tmp_path: Path) -> None:
    (tmp_path / "pours.csv").write_text("a,b,c,d\n1,2,3,4\n")
    assert "4 columns; the most is 3" in refused(tmp_path / "pours.csv", "columns = 3")[0]
    assert refused(tmp_path / "pours.csv", "columns = 4")[0] == "read"
    (tmp_path / "pours.csv").write_text('a,b\n1,"' + "x" * 600 + '"\n')
    assert "500 characters" in refused(tmp_path / "pours.csv", "cell_characters = 500")[0]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are POSIX")
@pytest.mark.parametrize("name", ["pours.csv", "pours.xlsx"])
def test_what_may_never_end_is_refused_at_once(tmp_path: Path, name: str) -> None:
    os.mkfifo(tmp_path / name)
    assert "a pipe, a device" in refused(tmp_path / name)[0]
    (tmp_path / name).unlink()
    (tmp_path / name).symlink_to("/dev/zero")
    words, peak = refused(tmp_path / name)
    assert "a pipe, a device" in words
    assert peak < 400


def test_a_settings_file_that_is_named_must_be_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("POURSTATS_CONFIG", str(tmp_path / "none.toml"))
    limits.in_force.cache_clear()
    try:
        with pytest.raises(Refusal, match=r"no file .*none\.toml, which POURSTATS_CONFIG names"):
            limits.in_force()
    finally:
        monkeypatch.undo()
        limits.in_force.cache_clear()
