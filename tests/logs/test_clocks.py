"""Bare clock times, the order of times, and slips; every case is a sentence of the format page.

All cases are one log, loaded once: a pour each, and for most a row that hangs on it.
"""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

DAY = "2031-06-03"
NEXT = "2031-06-04"
_CASES: list[tuple[dict[str, str], str, dict[str, str]]] = []


def case(pour: dict[str, str], table: str = "pours", cells: dict[str, str] | None = None) -> int:
    """A pour, with a row of another table on it; returns its number."""
    _CASES.append((pour, table, cells or {}))
    return len(_CASES) - 1


@dataclass
class Loaded:
    """What became of the cases: stored rows by number, and the columns of their faults."""

    rows: dict[int, dict[str, Any]] = field(default_factory=dict)
    faults: dict[int, list[str | None]] = field(default_factory=dict)

    def time(self, number: int, column: str) -> str | None:
        """A stored time as day offset and clock, as ``+1 00:30``."""
        assert number in self.rows, self.faults.get(number)
        at = self.rows[number][column]
        return at if at is None else f"{(at.date() - dt.date(2031, 6, 3)).days:+d} {at:%H:%M}"


@pytest.fixture(scope="module")
def loaded(shapes: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    ledger = shapes["Ledger"](tmp_path_factory.mktemp("clocks"))
    files: dict[str, list[dict[str, str]]] = {}
    place: dict[tuple[str, int], int] = {}
    for number, (pour, table, cells) in enumerate(_CASES):
        for name, own in {"pours": pour, table: pour if table == "pours" else cells}.items():
            row = {**shapes["rows"][name], "pour_id": f"P{number}", **own}
            files.setdefault(name, []).append(row)
            if name == table:
                place[(f"{name}.csv", len(files[name]) + 1)] = number
    for name, rows in files.items():
        head = list(dict.fromkeys(column for row in rows for column in row))
        files[name] = [{column: row.get(column, "") for column in head} for row in rows]
    report = ledger.load(files)
    found = Loaded()
    for fault in report.set_aside:
        found.faults.setdefault(place[(fault.file, fault.line)], []).append(fault.column)
    with ledger.store.read() as connection:
        for name in files:
            result = connection.execute(f"SELECT * FROM {name}")
            names = [item[0] for item in result.description]
            for values in result.fetchall():
                row = dict(zip(names, values, strict=True))
                number = int(row["pour_id"][1:])
                if _CASES[number][1] == name:
                    found.rows[number] = row
    return found


@pytest.mark.parametrize(
    ("number", "column", "expected"),
    [
        (case({"place_start": start, column: clock}), column, expected)
        for start, column, clock, expected in (
            # A bare time is on the pour's date unless more than 6 h before place_start.
            ("7:00", "place_start", "7:00", "+0 07:00"),
            ("7:00", "bull_float_end", "9:00", "+0 09:00"),
            ("7:00", "bull_float_end", "1:00", "+0 01:00"),
            ("7:00", "bull_float_end", "0:59", "+1 00:59"),
            ("20:00", "bull_float_end", "0:30", "+1 00:30"),
            ("20:00", "bull_float_end", "0:00", "+1 00:00"),
            ("20:00", "bull_float_end", "12:00 AM", "+1 00:00"),
            ("20:00", "cure_start", "14:00", "+0 14:00"),
            ("20:00", "cure_start", "13:59", "+1 13:59"),
            # 12 h for crew_in.
            ("13:00", "crew_in", "1:00", "+0 01:00"),
            ("13:00", "crew_in", "0:59", "+1 00:59"),
            ("7:00", "crew_in", "6:00", "+0 06:00"),
            # An end before its own row's start is the next day.
            ("22:00", "place_end", "1:30", "+1 01:30"),
            ("7:00", "place_end", "6:59", "+1 06:59"),
            ("7:00", "place_end", "7:00", "+0 07:00"),
            ("0:10", "place_end", "3:00", "+0 03:00"),
            (f"{DAY} 20:00", "place_end", "0:15", "+1 00:15"),
            (f"{NEXT} 01:00", "place_end", "3:00", "+1 03:00"),
            ("", "place_end", "12:00 AM", "+0 00:00"),
            # So is machine_on, passes_done or a saw cut before place_start, however little.
            ("7:00", "machine_on", "6:59", "+1 06:59"),
            ("7:00", "passes_done", "2:00", "+1 02:00"),
            ("7:00", "saw_start", "6:30", "+1 06:30"),
            ("7:00", "saw_end", "6:30", "+1 06:30"),
            ("7:00", "machine_on", "7:00", "+0 07:00"),
            ("7:00", "saw_start", "15:00", "+0 15:00"),
            # Without place_start a bare time stands on the date.
            ("", "machine_on", "3:00", "+0 03:00"),
            ("n/a", "bull_float_end", "0:30", "+0 00:30"),
        )
    ]
    + [
        (case({"crew_in": "6:00", "crew_out": "1:00"}), "crew_out", "+1 01:00"),
        (case({"saw_start": "23:00", "saw_end": "0:30"}), "saw_end", "+1 00:30"),
        (
            case({"place_start": "20:00", "saw_start": "6:00", "saw_end": "8:00"}),
            "saw_end",
            "+1 08:00",
        ),
    ],
)
def test_bare_times_of_a_pour(loaded: Loaded, number: int, column: str, expected: str) -> None:
    assert loaded.time(number, column) == expected


@pytest.mark.parametrize(
    ("number", "column", "expected"),
    [
        (case({"place_start": "7:00"}, table, cells), column, expected)
        for table, cells, column, expected in (
            ("trucks", {"due": "1:00"}, "due", "+0 01:00"),
            ("trucks", {"due": "0:59"}, "due", "+1 00:59"),
            ("trucks", {"batched": "6:30"}, "batched", "+0 06:30"),
            ("trucks", {"pour_start": "23:40", "pour_end": "0:10"}, "pour_end", "+1 00:10"),
            ("trucks", {"arrived": "23:40", "left": "0:50"}, "left", "+1 00:50"),
            ("passes", {"start": "6:30"}, "start", "+1 06:30"),
            ("passes", {"start": "7:00"}, "start", "+0 07:00"),
            ("passes", {"start": "23:30", "end": "0:20"}, "end", "+1 00:20"),
            ("passes", {"start": "2:00", "end": "3:00"}, "end", "+1 03:00"),
            ("passes", {"start": "9:00", "ready": "6:00"}, "ready", "+0 06:00"),
            ("crew_time", {"start": "0:59", "end": "2:00"}, "start", "+1 00:59"),
            ("crew_time", {"start": "1:00", "end": "2:00"}, "start", "+0 01:00"),
            ("crew_time", {"start": "22:00", "end": "1:00"}, "end", "+1 01:00"),
            ("crew_time", {"start": "0:30", "end": "0:50"}, "end", "+1 00:50"),
        )
    ]
    + [
        (case({"place_start": "13:00"}, "crew_time", {"task": task, "start": start, "end": "2:00"}),
         "start", expected)
        for task, start, expected in (
            ("set_up", "1:00", "+0 01:00"), ("set_up", "0:59", "+1 00:59"),
            ("travel", "1:00", "+0 01:00"), ("travel", "0:59", "+1 00:59"),
            ("wait", "1:00", "+0 01:00"), ("wait", "0:59", "+1 00:59"),
            ("place", "1:00", "+1 01:00"), ("clean_up", "1:00", "+1 01:00"),
        )
    ]
    + [(case({}, "passes", {"start": "0:10"}), "start", "+0 00:10")],
)  # fmt: skip
def test_bare_times_of_a_pours_rows(
    loaded: Loaded, number: int, column: str, expected: str
) -> None:
    assert loaded.time(number, column) == expected


# Slips --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "column"),
    [
        (case({"place_start": "7:00"}, table, cells), column)
        for table, cells, column in (
            ("trucks", {"pour_start": "8:30", "pour_end": "8:10"}, "pour_end"),
            ("trucks", {"arrived": "8:30", "left": "8:10"}, "left"),
            ("trucks", {"arrived": "20:00", "left": "2:01"}, "left"),
            ("passes", {"start": "14:00", "end": "13:40"}, "end"),
            ("passes", {"start": "14:00", "end": "6:50"}, "end"),
            ("crew_time", {"start": "9:00", "end": "8:30"}, "end"),
            ("crew_time", {"start": "8:00", "end": "0:01"}, "end"),
        )
    ],
)
def test_what_lasts_too_long_only_by_the_next_day_is_a_slip(
    loaded: Loaded, number: int, column: str
) -> None:
    assert loaded.faults[number] == [column]
    assert number not in loaded.rows


@pytest.mark.parametrize(
    ("number", "column", "expected"),
    [
        (case({"place_start": start}, table, cells), list(cells)[-1], expected)
        for start, table, cells, expected in (
            # Exactly six hours, and sixteen, are no slips.
            ("7:00", "trucks", {"pour_start": "20:00", "pour_end": "2:00"}, "+1 02:00"),
            ("7:00", "passes", {"start": "20:00", "end": "2:00"}, "+1 02:00"),
            ("7:00", "crew_time", {"start": "8:00", "end": "0:00"}, "+1 00:00"),
            # Long, but not because of the next day.
            ("7:00", "trucks", {"arrived": "8:00", "left": "16:00"}, "+0 16:00"),
            ("7:00", "trucks", {"arrived": f"{DAY} 20:00", "left": f"{NEXT} 08:00"}, "+1 08:00"),
            ("7:00", "passes", {"start": f"{DAY} 20:00", "end": f"{NEXT} 08:00"}, "+1 08:00"),
            ("7:00", "crew_time", {"start": f"{DAY} 07:00", "end": f"{NEXT} 05:00"}, "+1 05:00"),
            # Both are the next day, so that the next day does not make it longer.
            ("20:00", "passes", {"start": "0:30", "end": "7:00"}, "+1 07:00"),
            ("20:00", "trucks", {"arrived": "0:30", "left": "7:00"}, "+1 07:00"),
        )
    ],
)
def test_what_is_no_slip(loaded: Loaded, number: int, column: str, expected: str) -> None:
    assert loaded.time(number, column) == expected


# Order --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "column", "fine"),
    [
        (case({first: begin, last: end} if table == "pours" else {}, table,
              {first: begin, last: end}), last, fine)
        for table, first, last in (
            ("pours", "place_start", "place_end"), ("pours", "saw_start", "saw_end"),
            ("trucks", "pour_start", "pour_end"), ("trucks", "arrived", "left"),
            ("passes", "start", "end"), ("crew_time", "start", "end"),
        )
        for begin, end, fine in (
            (f"{DAY} 12:00", f"{DAY} 12:00", True), (f"{DAY} 12:00", f"{DAY} 12:01", True),
            (f"{DAY} 12:01", f"{DAY} 12:00", False),
        )
    ]
    + [
        (case({"place_start": f"{DAY} 07:00", "place_end": "2031-06-06 07:00"}), "", True),
        (case({"place_start": f"{DAY} 07:00", "place_end": "2031-06-06 07:01"}), "place_end", False),
        (case({}, "crew_time", {"start": f"{DAY} 07:00", "end": f"{NEXT} 07:00"}), "", True),
        (case({}, "crew_time", {"start": f"{DAY} 07:00", "end": f"{NEXT} 07:01"}), "end", False),
        # Other times of a row may stand in any order.
        (case({"place_start": f"{DAY} 07:00", "place_end": f"{DAY} 09:00",
               "bull_float_end": f"{DAY} 08:30", "machine_on": f"{DAY} 06:45",
               "crew_in": f"{DAY} 07:30", "crew_out": f"{DAY} 07:10"}), "", True),
    ],
)  # fmt: skip
def test_order_within_a_row(loaded: Loaded, number: int, column: str, fine: bool) -> None:
    assert loaded.faults.get(number, []) == ([] if fine else [column])
    assert (number in loaded.rows) is fine


# Jobs, weather, and a day on which the clocks change ----------------------------------------------


@pytest.mark.parametrize(
    ("number", "column", "expected"),
    [
        (case({}, "jobs", {"date": DAY, "earliest_start": "7:00", "latest_end": "0:30",
                           "place_start": "20:00"}), column, expected)
        for column, expected in (
            ("earliest_start", "+0 07:00"), ("latest_end", "+0 00:30"), ("place_start", "+0 20:00"),
        )
    ],
)  # fmt: skip
def test_job_times_stand_on_the_jobs_date(
    loaded: Loaded, number: int, column: str, expected: str
) -> None:
    assert loaded.time(number, column) == expected


def test_a_bare_time_in_weather_sets_the_row_aside(shapes: dict[str, Any], tmp_path: Path) -> None:
    report = shapes["Ledger"](tmp_path).one("weather", time="7:00")
    assert [(f.column, f.value) for f in report.set_aside] == [("time", "7:00")]


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="Windows can't change a process's zone")
@pytest.mark.parametrize("zone", ["America/Denver", "Pacific/Kiritimati"])
def test_the_computers_zone_does_not_matter(
    shapes: dict[str, Any], tmp_path: Path, zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """2031-03-09 02:30 does not exist in Denver; a log says what the clock on the wall said."""
    ledger = shapes["Ledger"](tmp_path)
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        ledger.one("pours", date="2031-03-09", place_start="1:30", place_end="2:30")
        found = ledger.sql(
            "SELECT place_start, place_end, epoch(place_end - place_start) / 3600 FROM pours"
        )
    finally:
        monkeypatch.undo()
        time.tzset()
    assert [str(x) for x in found[0]] == ["2031-03-09 01:30:00", "2031-03-09 02:30:00", "1.0"]
