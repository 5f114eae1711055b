"""Files of other programs in, by a kept mapping: as is, undone as any, nothing lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.logs import foreign
from pourstats.logs.mapping import Drawn, FileMapping
from pourstats.store import mappings
from pourstats.store.database import Store
from pourstats.store.history import undo
from pourstats.store.loading import load

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
