"""Any file, any order: no row is lost, none is counted twice, and the store is the same.

The properties are the format page's; the logs are drawn.
"""

from __future__ import annotations

import itertools
import re
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pourstats.logs import files, intake
from pourstats.logs.tables import TABLES
from pourstats.reporting.export import write_export
from pourstats.store import rules
from pourstats.store.loading import load

FEW = settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
MANY = settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))

LOG = {
    "pours": "pour_id,date,site,slab_type,area,thickness,place_start,place_end,trouble,notes\n"
             'A1,2031-06-03,Oak,garage,600,4 1/2,7:00,9:10,"rain;pump","so, ""so"""\n'
             "B2,2031-06-04,Elm,shop,2400 sf,6,6:40 AM,0:30,,\n\n"
             "C3,2031-06-05,Oak,walk,55 m2,4,,,none,\n",
    "trucks": "pour_id,ticket,volume,arrived,left\nA1,1,9,7:00,7:40\nA1,01,9.5,7:30,8:00\n"
              "Z9,1,9,,\n",
    "crew_time": "pour_id,worker,task,start,end\nA1,JB,place,7:00,9:00\nB2,KM,finish,22:00,1:00\n",
    "weather": "site;time;air_temp [degC];humidity;wind\nOak;2031-06-03 07:00;15,5;50;2,5\n",
    "crew": "worker,since,pay\nJB,,30\nJB,2031-01-01,31\n",
    "bids": "pour_id,bid_date,bid_hours,bid_price\nA1,2031-05-01,40,\nQ7,2031-05-02,,9000\n",
}  # fmt: skip


def counted(report: Any) -> None:
    for name, counts in report.tables.items():
        ended = sum(counts[k] for k in ("added", "replaced", "unchanged", "set_aside"))
        assert counts["read"] == ended, (name, counts)


# Mutilated files ----------------------------------------------------------------------------------

SNIPPETS = [
    b'"', b",", b";", b"\n", b"\r", b"\r\n", b"\t", b"\x00", b"\xef\xbb\xbf", b"\xff", b"\x81",
    b"\xe9", "é".encode(), b"-", b"0", b"1/0", b"1e999", b"inf", b"nan", b"n/a", b"2031-02-30",
    b"25:00", b"24:00", b"9999999999", b"'", b"=1+1", b"[m2]", b"(", b"%", b"\xc2\xa0", b"\x1a",
    b"\x01n5", b"\xe2\x80\xa8", b"00:00", b"2031-06-03 06:40", b" A1 ", b"sep=;\n", b"\xf0\x9f\x9a\x9a",
]  # fmt: skip


@st.composite
def mutilated(draw: st.DrawFn, text: bytes) -> bytes:
    """The file with a few pieces cut out, put in, doubled or swapped."""
    for _ in range(draw(st.integers(1, 5))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.sampled_from([0, 0, 1, 2, 7, 40])))
        piece = draw(st.one_of(st.sampled_from(SNIPPETS), st.binary(max_size=4),
                               st.just(text[start:end] * 2), st.just(b"")))  # fmt: skip
        text = text[:start] + piece + text[end:]
    return text


@pytest.mark.parametrize("table", list(LOG))
@MANY
@given(data=st.data())
def test_any_mutilated_file_is_checked_without_a_crash(table: str, data: st.DataObject) -> None:
    """Reading alone: every row has a line, its text, and is whole or has a fault."""
    content = data.draw(mutilated(LOG[table].encode()))
    try:
        sheet = files.csv_sheet(content, f"{table}.csv")
        rows = None if sheet is None else intake.checked(sheet, TABLES[table])
    except files.UnusableError as error:
        assert len(str(error)) > 10
        return
    if rows is None:
        text = content.decode("utf-8-sig" if _is_utf_8(content) else "cp1252")
        assert not re.sub(r"[\s,;\"]|sep=[,;]", "", text)
        return
    assert (~rows.whole).sum() == len({row for row, _ in rows.faults})
    assert (rows.lines[1:] > rows.lines[:-1]).all()
    for array in rows.columns.values():
        assert len(array) == rows.read
    for _, fault in rows.faults:
        assert fault.reason
        assert "\n" not in str(fault)


@pytest.mark.parametrize("cell", ["\x01n515,5", "\x01pabc", "\x01dx", "\x01c9", "\x01", "\x01e7"])
@pytest.mark.parametrize("column", ["air_temp", "time", "cloud"])
def test_a_cell_of_a_csv_file_is_never_taken_for_a_workbooks(
    ledger: Any, shapes: dict[str, Any], cell: str, column: str
) -> None:
    """A control character at its start is what marks a workbook's cell as a number or a date."""
    report = ledger.load(weather=[{**shapes["rows"]["weather"], column: cell}])
    (fault,) = report.set_aside
    assert (fault.column, fault.value) == (column, cell)


def _is_utf_8(content: bytes) -> bool:
    try:
        content.decode()
    except UnicodeDecodeError:
        return False
    return True


@FEW
@given(data=st.data())
def test_any_mutilated_log_loads_without_a_crash_and_counts(
    shapes: dict[str, Any], data: st.DataObject
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        ledger = shapes["Ledger"](Path(folder), full=True)
        names = data.draw(st.lists(st.sampled_from(list(LOG)), min_size=1, max_size=3, unique=True))
        log = {f"{name}.csv": data.draw(mutilated(LOG[name].encode())) for name in names}
        path = ledger.path(log)
        first = load(ledger.store, [path])
        counted(first)
        assert first.status in (0, 1, 2, 3)
        stored = _stored(ledger)
        second = load(ledger.store, [path])
        counted(second)
        assert {n: c["read"] for n, c in second.tables.items() if c["read"]} == {
            n: c["read"] for n, c in first.tables.items() if c["read"]
        }
        assert second.status == first.status
        # A key with two contents in one file comes out as its last; else nothing is new.
        assert sum(c["added"] for c in second.tables.values()) == 0
        assert _stored(ledger) == stored


# Any order, in one go or in pieces ----------------------------------------------------------------

IDS = ["A1", "a1", "B2", "01", "1"]
CLOCKS = ["", "0:15", "6:30", "7:00", "12:00", "18:00", "23:50", "2031-06-04 01:00"]


@st.composite
def logs(draw: st.DrawFn) -> dict[str, list[dict[str, str]]]:
    """Rows of several tables in which no key occurs with two contents."""

    def rows(keys: list[tuple[str, ...]], **cells: st.SearchStrategy[str]) -> list[dict[str, str]]:
        chosen = draw(st.lists(st.sampled_from(keys), unique=True, max_size=5))
        return [dict(zip(("k0", "k1", "k2", "k3"), key, strict=False))
                | {name: draw(cell) for name, cell in cells.items()} for key in chosen]  # fmt: skip

    def named(found: list[dict[str, str]], *names: str) -> list[dict[str, str]]:
        return [{(names[int(k[1:])] if k[0] == "k" and k[1:].isdigit() else k): v
                 for k, v in row.items()} for row in found]  # fmt: skip

    clock = st.sampled_from(CLOCKS)
    number = st.sampled_from(["", "4", "4.5", "n/a", "0.125"])
    log = {
        "pours": named(rows([(i,) for i in IDS], date=st.sampled_from(["2031-06-03", "2031-06-04"]),
                            site=st.sampled_from(["Oak", "Elm"]), slab_type=st.just("garage"),
                            area=st.sampled_from(["600", "0", "1200 sf"]), thickness=st.just("4"),
                            place_start=clock, place_end=clock, hands=number), "pour_id"),
        "trucks": named(rows(list(itertools.product(IDS, ["1", "2"])),
                             volume=st.sampled_from(["9", "9.5", ""]), arrived=clock, left=clock,
                             slump=number), "pour_id", "ticket"),
        "passes": named(rows(list(itertools.product(IDS, ["1", "2"])), start=clock, end=clock),
                        "pour_id", "pass_no"),
        "crew_time": named(rows(list(itertools.product(
            IDS, ["JB", "KM"], ["place", "wait"], ["6:30", "2031-06-04 07:00"])),
            end=clock), "pour_id", "worker", "task", "start"),
        "callbacks": named(rows([(i,) for i in IDS], pour_id=st.sampled_from(IDS),
                                reported=st.just("2031-09-01"), defect=st.just("dusting")),
                           "callback_id"),
        "crew": named(rows(list(itertools.product(["JB", "KM"], ["", "2031-01-01"])), pay=number),
                      "worker", "since"),
        "bids": named(rows(list(itertools.product(IDS, ["2031-05-01"])), bid_hours=number),
                      "pour_id", "bid_date"),
    }  # fmt: skip
    return {name: found for name, found in log.items() if found}


@settings(FEW, max_examples=8)
@given(log=logs(), data=st.data())
def test_any_order_and_any_pieces_give_the_same_store(
    shapes: dict[str, Any], log: dict[str, list[dict[str, str]]], data: st.DataObject
) -> None:
    text = shapes["csv_text"]
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        whole = shapes["Ledger"](Path(one))
        counted(load(whole.store, [whole.path(log)]))
        pieces = []
        for name, rows in log.items():
            mixed = data.draw(st.permutations(rows))
            cut = data.draw(st.integers(0, len(mixed)))
            pieces += [(name, part) for part in (mixed[:cut], mixed[cut:]) if part]
        parted = shapes["Ledger"](Path(other))
        taken = set_aside = 0
        for name, rows in data.draw(st.permutations(pieces)):
            report = load(parted.store, [parted.path({name: text(rows)})])
            counted(report)
            taken += sum(c["taken_up"] for c in report.tables.values())
            set_aside += sum(c["set_aside"] for c in report.tables.values())
        assert _stored(parted) == _stored(whole)
        assert _waiting(parted) == _waiting(whole)


def _stored(ledger: Any) -> dict[str, list[str]]:
    found = {}
    with ledger.store.read() as connection:
        for name, table in TABLES.items():
            listed = ", ".join(f'"{column}"' for column in table.names)
            found[name] = sorted(
                map(str, connection.execute(f"SELECT {listed} FROM {name}").fetchall())
            )
    return found


def _waiting(ledger: Any) -> list[Any]:
    return sorted(
        ledger.sql("SELECT DISTINCT table_name, text FROM set_aside WHERE state = 'open'")
    )


# Export and load again ----------------------------------------------------------------------------

WORDS = st.one_of(
    st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12),
    st.sampled_from(["=1+1", "-5", "+x", "@x", "'=x", "''", "n/a", '"', "a;b", "a,b", "a\nb", "a\r\nb",
                     "\ta", "_x0041_", "\u2028", "01", "1e5", "TRUE", "#N/A", "\ufeff", "'"]),
)  # fmt: skip


@pytest.mark.parametrize("many", [1, 700])
def test_a_zero_has_no_sign(ledger: Any, shapes: dict[str, Any], many: int) -> None:
    """Few texts are read one by one, many by the column."""
    rows = [{**shapes["rows"]["weather"], "time": f"2031-06-{1 + i // 24:02d} {i % 24:02d}:00",
             "air_temp": f"{-i / 10}"} for i in range(many)]  # fmt: skip
    assert rows[0]["air_temp"] == "0.0"
    rows[0]["air_temp"] = "-0.0"
    ledger.load(weather=rows)
    found = ledger.sql("SELECT air_temp FROM weather WHERE air_temp = 0")
    assert [str(row[0]) for row in found] == ["0.0"]


@pytest.mark.parametrize("system", ["us", "metric"])
@settings(FEW, max_examples=3)
@given(data=st.data())
def test_an_export_loads_again_with_every_row_unchanged(
    shapes: dict[str, Any], system: Any, data: st.DataObject
) -> None:
    def drawn(low: float, high: float) -> str:
        return repr(data.draw(st.floats(low, high)))

    base = shapes["rows"]
    pours = [
        {**base["pours"], "pour_id": name, "area": drawn(1, 1e7), "slump": drawn(0, 12),
         "ordered_volume": drawn(0.01, 5000), "mix": data.draw(WORDS), "notes": data.draw(WORDS),
         "lead": data.draw(WORDS), "place_start": "22:10:07", "trouble": "rain;pump"}
        for name in data.draw(st.lists(WORDS.filter(str.strip), min_size=8, max_size=12,
                                       unique_by=str.strip))
    ]  # fmt: skip
    weather = [
        {**base["weather"], "time": f"2031-06-0{day} 07:00", "air_temp": drawn(-80, 140),
         "humidity": drawn(0, 100), "wind": drawn(0, 200), "rain": drawn(0, 3)}
        for day in range(1, 9)
    ]  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        ledger = shapes["Ledger"](Path(folder))
        report = ledger.load(pours=pours, weather=weather)
        assert report.status == 0, report.set_aside
        rules.set_rule(ledger.store, "burden", "0.4")
        before = _stored(ledger)
        out = ledger.folder / "out"
        write_export(ledger.store, out, system, lambda line: None)
        again = load(ledger.store, [out])
        assert again.status == 0, again.set_aside
        for name, counts in again.tables.items():
            assert counts["unchanged"] == counts["read"], (name, counts)
        assert _stored(ledger) == before
        fresh = shapes["Ledger"](out)
        assert load(fresh.store, [out]).status == 0
        if system == "us":
            assert _stored(fresh) == before
