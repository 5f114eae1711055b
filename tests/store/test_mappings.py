"""A kept mapping reads a foreign file; the commands that keep one come with the exchange."""

from pathlib import Path

from pourstats.store import mappings
from pourstats.store.database import Store
from pourstats.store.loading import load


def test_a_kept_mapping_reads_a_file_of_another_name_and_unit(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    sign = mappings.signature(["Where", "When", "T", "RH", "WS"])
    rows = [("Where", "site", None), ("When", "time", None), ("T", "air_temp", "degC"),
            ("RH", "humidity", None), ("WS", "wind", "m/s")]  # fmt: skip
    with store.write() as connection:
        for theirs, ours, unit in rows:
            connection.execute(
                "INSERT INTO mappings (signature, theirs, ours, unit, table_name) VALUES (?,?,?,?,'weather')",
                [sign, theirs, ours, unit],
            )
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T,RH,Where,When\n10,20,50,Mill,2031-06-03 06:00\n")
    report = load(store, [file])
    assert report.status == 0, report.set_aside
    with store.read() as connection:
        found = connection.execute("SELECT site, air_temp, wind FROM weather").fetchall()
    # 20 degC = 68 degF; 10 m/s = 22.369 mph (NIST SP 811: 1 mi/h = 0.447 04 m/s exactly).
    assert [(s, round(t, 6), round(w, 4)) for s, t, w in found] == [
        ("Mill", 68.0, round(10 / 0.44704, 4))
    ]


def test_without_a_mapping_the_file_is_reported(tmp_path: Path) -> None:
    file = tmp_path / "station_export.csv"
    file.write_text("WS,T\n10,20\n")
    report = load(Store(tmp_path / "s.duckdb"), [file])
    assert report.status == 2
    assert "no log table is called so" in report.set_aside[0].reason
